//! Where the vial and its liquid are, in the bay seen from the side.
//!
//! A straight line parallel to the card is seen parallel to its projection on the card, so an upright vial is an upright
//! band in card coordinates, whatever the camera's pose. Its two outlines are the outermost lasting edges; its liquid
//! is the lowest even stretch between base and meniscus.

use nalgebra::Vector3;
use rayon::prelude::*;

use super::bay::BayPicture;
use crate::error::{Error, Result};
use crate::light::spot::median;
use crate::light::tint;
use crate::place::Area;

/// The vial as found, plane units.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Vial {
    /// Left outline.
    pub left: f64,
    /// Right outline.
    pub right: f64,
    /// Upper end of the even liquid.
    pub top: f64,
    /// Lower end of the even liquid.
    pub bottom: f64,
    /// Whether something of a deeper tint lies below the even stretch: a low liquid under empty glass.
    pub deeper_below: bool,
    /// Height, mm, of what stands right on the even stretch, with no line between, and is of the same hue, only paler.
    pub paler_above: f64,
    /// Whether the upper end of the even stretch looks like the surface of a liquid.
    pub surface: bool,
    /// Strength of the weaker outline over the noise of edges in the bay.
    pub clarity: f64,
}

impl Vial {
    /// Outer width.
    pub fn width(&self) -> f64 {
        self.right - self.left
    }

    /// The axis.
    pub fn axis(&self) -> f64 {
        (self.left + self.right) / 2.0
    }

    /// Left, top, width and height of the liquid between the outlines.
    pub fn liquid(&self) -> Area {
        Area {
            x: self.left,
            y: self.top,
            w: self.width(),
            h: self.bottom - self.top,
        }
    }
}

/// Vials of 12 to 28 mm, with allowance for standing nearer to the camera than the card (up to 20 %) and for blur.
const WIDTHS: (f64, f64) = (10.5, 34.0);
/// Height of the strips in which outlines are looked for, mm.
const STRIP: f64 = 5.0;
/// An edge of this height counts in full (cube-root scale: 0.03 is 9 % of light, a wall seen against paper).
const PLAIN: f64 = 0.03;
/// The faintest outline, on the same scale: 3 % of light from one cell to the next.
const FAINT: f64 = 0.01;
/// Least mean share of an outline over the strips of the bay.
const LEAST_SHARE: f64 = 0.08;
/// What standing 8 mm off the middle of the bay costs, in shares of an edge.
const ASIDE: f64 = 0.3;
/// From where to where outside a pair, mm, an edge is one that it missed, surely or perhaps, and what that costs in shares of it: a
/// vial is up to 28 mm wide, and the edge of a shadow behind it may run through its middle.
const MISSED: (f64, f64, f64) = (0.7, 6.0, 14.0);
const MISSED_NEAR: f64 = 0.7;
const MISSED_FAR: f64 = 0.2;
/// How far from the vial's outline, mm, the edge of its shadow is told apart: nearer lie its walls.
const SHADOW_WIDTH: (f64, f64) = (2.2, 12.0);
/// Beside the liquid lies paper if its tint is less than this part of the liquid's, and liquid if it is more than that: near its
/// wall, light goes through about half as much of it.
const PAPER_TINT: f64 = 0.3;
const LIQUID_TINT: f64 = 0.5;
/// Strips that must agree on it.
const LEAST_STRIPS: usize = 2;
/// From where to where under the foot of the card the outlines of a vial before it are looked for, mm.
const UNDER_FOOT: (f64, f64) = (1.5, 4.0);
/// An edge there is plain from here on (share of [`PLAIN`]).
const UNDER_EDGE: f64 = 0.5;
/// A change along the vial's middle counts as an end of the liquid from 0.015 (about 4 % of light), and however noisy the
/// photo, from 0.06 (about 18 %).
const STEP_LEAST: f64 = 0.015;
const STEP_MOST: f64 = 0.06;
/// The lower end of the liquid is at most this far above the foot of the bay, mm: what lies higher is cap or glass.
const HIGHEST: f64 = 25.0;
/// Half of the vial's middle in which the liquid is looked for, in parts of its width, and the bands it is cut into.
const MIDDLE: f64 = 0.3;
const BANDS: usize = 5;
/// Tints differ by less than this part of the deeper one in one liquid: air has no tint.
const SAME_TINT: f64 = 0.4;
/// A tint that differs by this much (natural log) is another colour to any eye.
const PLAIN_TINT: f64 = 0.15;
/// Tints whose directions have at least this cosine are of one hue: an angle of 20 degrees.
const SAME_HUE: f64 = 0.94;
/// Least height of a pool under what was taken for the liquid, mm.
const POOL: f64 = 2.0;
/// From where to where beside the vial the table is looked at, mm.
const BESIDE_VIAL: (f64, f64) = (2.0, 5.0);
/// Shades under this (2 % of light) are taken for it: there, noise makes a tint.
const DARK: f64 = 0.27;
/// A line is darker than both sides by this much (natural log of light).
const LINE: f64 = 0.05;
/// Dark lines across the vial thinner than this, mm, are printed ones: they are 0.4 mm thick, and a lens blurs them.
const THIN: f64 = 1.2;
/// Least height of even liquid, mm.
const LEAST_LIQUID: f64 = 6.0;

/// Finds the vial in the picture of the search area around `bay`.
///
/// # Errors
/// If no two outlines stand out, or no even stretch of liquid is found between them.
pub fn find(picture: &BayPicture, bay: Area) -> Result<Vial> {
    let strips = Strips::of(picture, bay);
    let (left, right, clarity) = outlines(picture, &strips, bay).ok_or_else(|| {
        Error::new(
            "no vial was found in the bay of the card",
            "stand the vial on its ring on the card, upright and filled, against the bare paper of the bay",
        )
    })?;
    let Liquid {
        top,
        bottom,
        deeper_below,
        paler_above,
        surface,
    } = liquid(picture, left, right, bay.y + bay.h).ok_or_else(|| {
        Error::new(
            format!("a vial was found, but no even stretch of at least {LEAST_LIQUID} mm of liquid in it"),
            "fill the vial to its mark, let bubbles clear, and photograph it without reflections over the liquid",
        )
    })?;
    Ok(Vial {
        left,
        right,
        top,
        bottom,
        deeper_below,
        paler_above,
        surface,
        clarity,
    })
}

/// The bay in strips across.
struct Strips {
    /// From its top to the foot of the card: each column's mean shade.
    bay: Vec<Vec<Vector3<f64>>>,
    /// Under the foot of the card, where a vial that stands before it still shows: each column's edge.
    under: Vec<f64>,
}

impl Strips {
    fn of(p: &BayPicture, bay: Area) -> Strips {
        let rows = cells(p, STRIP).max(2);
        let across = |j0: usize, rows: usize| -> Vec<Vector3<f64>> {
            (0..p.nx)
                .map(|i| (j0..j0 + rows).map(|j| p.shade(i, j)).sum::<Vector3<f64>>() / rows as f64)
                .collect()
        };
        let foot = bay.y + bay.h;
        let end = p.row(foot) + 1;
        let under = p.row(foot + UNDER_FOOT.0);
        Strips {
            bay: (p.row(bay.y + 0.1 * bay.h)..)
                .step_by(rows)
                .take_while(|j0| j0 + rows <= end)
                .map(|j0| across(j0, rows))
                .collect(),
            under: edges_of(
                p,
                &across(under, (p.row(foot + UNDER_FOOT.1) - under).max(1)),
            ),
        }
    }
}

/// For every column: in what share of the strips of the bay a sharp upright edge runs through it, weak ones in part.
///
/// The outline of a vial is sharp and runs along liquid, glass and cap; a shadow or a bright line that the vial throws
/// on the card is soft, or runs along the liquid alone.
fn outline_strength(p: &BayPicture, strips: &Strips) -> Vec<f64> {
    let each: Vec<Vec<f64>> = strips
        .bay
        .iter()
        .map(|column| edges_of(p, column))
        .collect();
    (0..p.nx)
        .map(|i| each.iter().map(|edges| edges[i]).sum::<f64>() / each.len().max(1) as f64)
        .collect()
}

/// For every column of a strip: the edge that runs through it, 1 from [`PLAIN`] on.
fn edges_of(p: &BayPicture, column: &[Vector3<f64>]) -> Vec<f64> {
    jumps(column, cells(p, 0.6), cells(p, 2.0).max(2))
        .into_iter()
        .map(|edge| (edge / PLAIN).min(1.0))
        .collect()
}

/// Whether the edge in column `outer` is that of a shadow which the vial throws beside itself, if its outline is in column `inner`:
/// what lies between them has the tint of paper, though the liquid has another; or, where liquid and paper are alike, the outline
/// goes on under the foot of the card and the edge does not.
fn shadow_edge(p: &BayPicture, strips: &Strips, outer: usize, inner: usize) -> bool {
    let (clear, near, far) = (cells(p, 0.6), cells(p, 1.2), cells(p, 3.0));
    let inwards = |from: usize, by: usize| {
        if outer < inner {
            from + by
        } else {
            from.saturating_sub(by)
        }
    };
    let between = (
        inwards(outer, clear),
        inwards(outer, outer.abs_diff(inner) - clear),
    );
    let inside = (inwards(inner, near), inwards(inner, far));
    let (mut for_it, mut against) = (0usize, 0usize);
    for column in &strips.bay {
        let of = |(a, b): (usize, usize)| {
            let [a, b] = [a.min(b), a.max(b)].map(|i| i.min(column.len() - 1));
            tint(&mean_ln(column, (a, b + 1))).amax()
        };
        let (beside, liquid) = (of(between), of(inside));
        if liquid > PLAIN_TINT {
            for_it += usize::from(beside < PAPER_TINT * liquid);
            against += usize::from(beside > LIQUID_TINT * liquid);
        }
    }
    if for_it + against >= LEAST_STRIPS {
        return for_it > 2 * against;
    }
    let at = |i: usize| {
        strips.under[i.saturating_sub(clear)..(i + clear + 1).min(p.nx)]
            .iter()
            .copied()
            .fold(0.0, f64::max)
    };
    at(inner) > UNDER_EDGE && at(outer) < 0.5 * at(inner)
}

/// The pair of edges that best encloses everything that is not paper.
fn outlines(p: &BayPicture, strips: &Strips, bay: Area) -> Option<(f64, f64, f64)> {
    let edges = outline_strength(p, strips);
    let mut quiet: Vec<f64> = edges.iter().copied().filter(|e| *e > 0.0).collect();
    let noise = median(&mut quiet).max(0.01);
    let peaks: Vec<usize> = (1..edges.len().saturating_sub(1))
        .filter(|&i| {
            edges[i] >= edges[i - 1]
                && edges[i] > edges[i + 1]
                && edges[i] >= LEAST_SHARE
                && edges[i] > 2.0 * noise
        })
        .collect();
    // Edges of shadows on either side are none of the vial's.
    let without_shadows = |side: f64| -> Vec<usize> {
        let inwards = |from: usize, to: usize| (to as f64 - from as f64) * side * p.step;
        let thrown = |k: usize| {
            peaks.iter().any(|&i| {
                (SHADOW_WIDTH.0..SHADOW_WIDTH.1).contains(&inwards(k, i))
                    && edges[i] > 0.5 * edges[k]
                    && shadow_edge(p, strips, k, i)
            })
        };
        peaks.iter().copied().filter(|&k| !thrown(k)).collect()
    };
    let pair = best_pair(
        p,
        &edges,
        &without_shadows(1.0),
        &without_shadows(-1.0),
        bay,
    )
    .or_else(|| best_pair(p, &edges, &peaks, &peaks, bay));
    let (l, r) = pair?;
    let clarity = edges[l].min(edges[r]) / noise;
    let x = |i: usize| p.area.x + (i as f64 + 0.5) * p.step;
    Some((x(l), x(r), clarity))
}

/// The left and right edge, of those given, that a vial's outline is most likely.
fn best_pair(
    p: &BayPicture,
    edges: &[f64],
    lefts: &[usize],
    rights: &[usize],
    bay: Area,
) -> Option<(usize, usize)> {
    // Edges just outside a pair belong to the outline that it missed; edges inside are walls, reflections, and shadows behind it.
    let beyond = |i: usize, side: f64, of: &[usize]| {
        of.iter()
            .map(|&k| {
                let apart = (k as f64 - i as f64) * side * p.step;
                match apart {
                    d if d < MISSED.0 || d > MISSED.2 => 0.0,
                    d if d < MISSED.1 => MISSED_NEAR * edges[k],
                    _ => MISSED_FAR * edges[k],
                }
            })
            .fold(0.0, f64::max)
    };
    let centre = bay.centre().0;
    let mut best: Option<(f64, usize, usize)> = None;
    for &l in lefts {
        for &r in rights {
            let width = (r as f64 - l as f64) * p.step;
            if width < WIDTHS.0 || width > WIDTHS.1 {
                continue;
            }
            let aside = (l + r) as f64 / 2.0 * p.step + p.area.x - centre;
            let score = edges[l] + edges[r] + edges[l].min(edges[r])
                - beyond(l, -1.0, lefts)
                - beyond(r, 1.0, rights)
                - ASIDE * (aside / 8.0).powi(2);
            if best.is_none_or(|(s, _, _)| score > s) {
                best = Some((score, l, r));
            }
        }
    }
    best.map(|(_, l, r)| (l, r))
}

/// Cells that a length on the card, mm, takes; at least one.
fn cells(p: &BayPicture, mm: f64) -> usize {
    ((mm / p.step).round() as usize).max(1)
}

/// The even stretch that is taken for the liquid.
struct Liquid {
    top: f64,
    bottom: f64,
    deeper_below: bool,
    paler_above: f64,
    surface: bool,
}

/// Whether the upper end of a stretch looks like the surface of a liquid: a dark line, or a tint that ends there.
fn surface(rows: &[Vector3<f64>], above: (usize, usize), liquid: (usize, usize)) -> bool {
    let (up, down) = (mean_ln(rows, above), mean_ln(rows, liquid));
    line_between(rows, above, liquid)
        || (tint(&down).amax() > tint(&up).amax() && (tint(&up) - tint(&down)).amax() > PLAIN_TINT)
}

/// The lowest even stretch of the vial's middle. `None` if there is none, or if it goes on above any vial.
///
/// Only what lies above the `foot` of the card counts: below it, what is seen through the vial is no longer the card.
fn liquid(p: &BayPicture, left: f64, right: f64, foot: f64) -> Option<Liquid> {
    let coarse = cells(p, 3.0).max(2);
    if p.ny < 4 * coarse {
        return None;
    }
    // A meniscus or base runs across the vial, bent a little by perspective; light that the vial gathers behind itself
    // draws arcs, which cross the bands at different heights.
    let reach = cells(p, 0.7);
    let profiles: Vec<Vec<Vector3<f64>>> = (0..BANDS)
        .into_par_iter()
        .map(|band| without_thin_lines(&profile(p, left, right, band), cells(p, THIN)))
        .collect();
    let bands: Vec<Vec<f64>> = profiles
        .iter()
        .map(|rows| {
            let jump = jumps(rows, cells(p, 1.0), coarse);
            (0..jump.len())
                .map(|j| {
                    jump[j.saturating_sub(reach)..(j + reach + 1).min(jump.len())]
                        .iter()
                        .copied()
                        .fold(0.0, f64::max)
                })
                .collect()
        })
        .collect();
    let jump: Vec<f64> = (0..p.ny)
        .map(|j| median(&mut bands.iter().map(|b| b[j]).collect::<Vec<f64>>()))
        .collect();
    // Noise of the jumps: most rows lie inside something even.
    let mut sorted: Vec<f64> = jump.iter().copied().filter(|v| *v > 0.0).collect();
    let typical = median(&mut sorted);
    let limit = (5.0 * typical).clamp(STEP_LEAST, STEP_MOST);
    let mut cuts = vec![0usize];
    let mut j = coarse;
    while j + coarse < jump.len() {
        if jump[j] > limit {
            let end = (j..jump.len())
                .find(|&k| jump[k] <= limit)
                .unwrap_or(jump.len() - 1);
            cuts.push(j);
            cuts.push(end);
            j = end + 1;
        } else {
            j += 1;
        }
    }
    cuts.push(jump.len() - 1);
    let rows: Vec<Vector3<f64>> = (0..p.ny)
        .map(|j| profiles.iter().map(|b| b[j]).sum::<Vector3<f64>>() / BANDS as f64)
        .collect();
    // From below: the first stretch long enough is the liquid; what lies under it is the base or the table. What goes on
    // above it in the same colour, with no line between, is the same liquid in other light.
    let mut runs: Vec<(usize, usize)> = cuts
        .chunks(2)
        .filter(|c| c.len() == 2 && c[0] < c[1])
        .map(|c| (c[0], c[1]))
        .collect();
    let y = |j: usize| p.area.y + (j as f64 + 0.5) * p.step;
    let mut below: Vec<(usize, usize)> = Vec::new();
    while let Some((mut top, bottom)) = runs.pop() {
        while let Some(&(a, b)) = runs.last() {
            if !same_liquid(&rows, (a, b), (top, bottom)) {
                break;
            }
            top = a;
            runs.pop();
        }
        let lower = y(bottom).min(foot);
        if lower - y(top) >= LEAST_LIQUID
            && foot - lower <= HIGHEST
            && inside_vial(p, left, right, (top, p.row(lower)))
        {
            let own = tint(&mean_ln(&rows, (top, bottom)));
            let deeper = |&(a, b): &(usize, usize)| {
                let on_card = (a, b.min(p.row(foot)));
                on_card.0 + cells(p, POOL) <= on_card.1 && {
                    let other = tint(&mean_ln(&rows, on_card));
                    other.amax() > own.amax() && (other - own).amax() > PLAIN_TINT
                }
            };
            return (top > coarse).then(|| Liquid {
                top: y(top),
                bottom: lower,
                deeper_below: below.iter().any(deeper)
                    || pool_below(p, &rows, (left, right), own, p.row(lower)),
                paler_above: runs
                    .last()
                    .filter(|&&above| {
                        paler(&mean_ln(&rows, above), &mean_ln(&rows, (top, bottom)))
                            && !line_between(&rows, above, (top, bottom))
                            && inside_vial(p, left, right, above)
                    })
                    .map_or(0.0, |above| y(above.1) - y(above.0)),
                surface: runs.last().is_some_and(|&above| {
                    let near = above.0.max(above.1.saturating_sub(cells(p, 4.0)));
                    inside_vial(p, left, right, (near, above.1))
                        && surface(&rows, above, (top, bottom))
                }),
            });
        }
        below.push((top, bottom));
    }
    None
}

/// Whether one light is of a plain tint, of the same hue as another, and paler: less deep and lighter, also where the dye
/// takes least.
fn paler(one: &Vector3<f64>, other: &Vector3<f64>) -> bool {
    let (own, than) = (tint(one), tint(other));
    own.amax() > PLAIN_TINT
        && own.norm() < than.norm()
        && one.mean() > other.mean()
        && one.max() > other.max() - PLAIN_TINT
        && own.dot(&than) > SAME_HUE * own.norm() * than.norm()
}

/// Whether something of a plain tint stands in the vial below a row, under what has none `above`: a low liquid, seen under the foot
/// of the card. What is seen of the table beside the vial may have a tint of its own.
fn pool_below(
    p: &BayPicture,
    rows: &[Vector3<f64>],
    (left, right): (f64, f64),
    above: Vector3<f64>,
    from: usize,
) -> bool {
    if above.amax() > PLAIN_TINT {
        return false;
    }
    let high = cells(p, POOL);
    let beside = |(a, b): (usize, usize)| {
        let columns = [left - BESIDE_VIAL.1, right + BESIDE_VIAL.0].map(|x| {
            let i0 = p.column(x);
            i0..=p.column(x + BESIDE_VIAL.1 - BESIDE_VIAL.0)
        });
        let column: Vec<Vector3<f64>> = (a..b)
            .map(|j| {
                let cells: Vec<Vector3<f64>> = columns
                    .iter()
                    .flat_map(|c| c.clone().map(|i| p.shade(i, j)))
                    .collect();
                cells.iter().sum::<Vector3<f64>>() / cells.len() as f64
            })
            .collect();
        tint(&mean_ln(&column, (0, b - a)))
    };
    (from..(p.ny + 1).saturating_sub(high))
        .map(|j| (j, j + high))
        .any(|run| {
            let own = tint(&mean_ln(rows, run));
            let apart = |other: Vector3<f64>| (own - other).amax() > PLAIN_TINT;
            apart(above) && apart(beside(run)) && inside_vial(p, left, right, run)
        })
}

/// Whether an outline runs along at least half of the rows: bare paper under a vial that is held up has none.
fn inside_vial(p: &BayPicture, left: f64, right: f64, (a, b): (usize, usize)) -> bool {
    let (reach, strip) = (cells(p, 1.5), cells(p, 2.0));
    let mut seen = [0usize; 2];
    let mut strips = 0usize;
    let mut j = a;
    while j + strip <= b {
        for (count, x) in seen.iter_mut().zip([left, right]) {
            let i = p.column(x);
            let at = |i: usize| {
                (j..j + strip).map(|j| p.shade(i, j)).sum::<Vector3<f64>>() / strip as f64
            };
            let near: Vec<Vector3<f64>> = (i.saturating_sub(reach)..=(i + reach).min(p.nx - 1))
                .map(at)
                .collect();
            let edge = near
                .windows(2)
                .map(|w| (w[1] - w[0]).amax())
                .fold(0.0, f64::max);
            *count += usize::from(edge > FAINT);
        }
        strips += 1;
        j += strip;
    }
    strips == 0 || 2 * seen[0].max(seen[1]) >= strips
}

/// Natural log of light relative to paper; a channel with next to no light tells nothing finer than that.
fn level(shade: &Vector3<f64>) -> Vector3<f64> {
    shade.map(|s| s.max(DARK).ln()) * 3.0
}

/// Mean [`level`] over rows of shades.
fn mean_ln(rows: &[Vector3<f64>], (a, b): (usize, usize)) -> Vector3<f64> {
    rows[a..b].iter().map(level).sum::<Vector3<f64>>() / (b - a) as f64
}

/// Whether a line darker than both sides runs between two stretches.
fn line_between(rows: &[Vector3<f64>], above: (usize, usize), below: (usize, usize)) -> bool {
    let sides = mean_ln(rows, above).mean().min(mean_ln(rows, below).mean());
    rows[above.1..below.0]
        .iter()
        .any(|v| level(v).mean() < sides - LINE)
}

/// Whether two stretches of the vial hold the same liquid: of one plain tint, brighter or darker, and no line between them, as
/// a meniscus draws. What has no tint may as well be glass, cap and paper.
fn same_liquid(rows: &[Vector3<f64>], above: (usize, usize), below: (usize, usize)) -> bool {
    let (up, down) = (mean_ln(rows, above), mean_ln(rows, below));
    let deepest = tint(&up).amax().max(tint(&down).amax());
    deepest > PLAIN_TINT
        && (tint(&up) - tint(&down)).amax() < SAME_TINT * deepest
        && !line_between(rows, above, below)
}

/// Row by row, the colour of one band of the vial's middle, highlights left out: the mean of its darker half.
fn profile(p: &BayPicture, left: f64, right: f64, band: usize) -> Vec<Vector3<f64>> {
    let (start, width) = (
        (left + right) / 2.0 - MIDDLE * (right - left),
        2.0 * MIDDLE * (right - left) / BANDS as f64,
    );
    let from = start + band as f64 * width;
    let (i0, i1) = (p.column(from), p.column(from + width));
    (0..p.ny)
        .map(|j| {
            let mut cells: Vec<Vector3<f64>> = (i0..=i1).map(|i| p.shade(i, j)).collect();
            cells.sort_by(|a, b| a.sum().total_cmp(&b.sum()));
            let n = (cells.len() / 2).max(1);
            cells[..n].iter().sum::<Vector3<f64>>() / n as f64
        })
        .collect()
}

/// A profile without dark lines thinner than `rows`: a closing, channel by channel (Serra 1982, *Image Analysis and Mathematical
/// Morphology*). The printed lines that are seen through the liquid are thinner than any meniscus.
fn without_thin_lines(profile: &[Vector3<f64>], rows: usize) -> Vec<Vector3<f64>> {
    let (before, after) = ((rows - 1) / 2, rows / 2);
    let over = |values: &[Vector3<f64>], before: usize, after: usize, lighter: bool| {
        (0..values.len())
            .map(|j| {
                let near = &values[j.saturating_sub(before)..(j + after + 1).min(values.len())];
                let first = near[0];
                near.iter()
                    .fold(first, |a, b| if lighter { a.sup(b) } else { a.inf(b) })
            })
            .collect::<Vec<_>>()
    };
    let dilated = over(profile, before, after, true);
    over(&dilated, after, before, false)
}

/// Along a profile, how much the colour changes over `fine` cells beyond what a ramp over `coarse` ones would give, the largest
/// over channels: light that the vial gathers behind itself, and soft shadows, change slowly.
fn jumps(rows: &[Vector3<f64>], fine: usize, coarse: usize) -> Vec<f64> {
    let mean = |a: usize, b: usize| rows[a..b].iter().sum::<Vector3<f64>>() / (b - a) as f64;
    (0..rows.len())
        .map(|j| {
            if j < coarse || j + coarse >= rows.len() {
                return 0.0;
            }
            let step = mean(j + 1, j + 1 + fine) - mean(j - fine, j);
            let ramp = (rows[j + coarse] - rows[j - coarse]) * (fine as f64 / coarse as f64);
            (0..3)
                .map(|c| (step[c].abs() - ramp[c].abs()).max(0.0))
                .fold(0.0, f64::max)
        })
        .collect()
}
