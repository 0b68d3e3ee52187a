//! The liquid between the outlines of a vial: the lowest even stretch, and what stands on it and under it.

use nalgebra::Vector3;
use rayon::prelude::*;

use super::{LEAST_LIQUID, PLAIN_TINT, cells, jumps, level, mean_ln};
use crate::light::spot::median;
use crate::light::tint;
use crate::vial::bay::BayPicture;

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
/// Tints whose directions have at least this cosine are of one hue: an angle of 20 degrees.
const SAME_HUE: f64 = 0.94;
/// The faintest outline (cube root of light): 3 % of light from one cell to the next.
const FAINT: f64 = 0.01;
/// How much deeper than it should be a surface may be seen, mm: what rises at the glass, and blur.
const SURFACE_OFF: f64 = 1.5;
/// What stands on the liquid is looked at up to so far above it, mm.
const NEAR: f64 = 4.0;
/// Least height of a pool under what was taken for the liquid, mm.
const POOL: f64 = 2.0;
/// From where to where beside the vial the table is looked at, mm.
const BESIDE_VIAL: (f64, f64) = (2.0, 5.0);
/// A line is darker than both sides by this much (natural log of light).
const LINE: f64 = 0.05;
/// Sharpening overdraws the edge of two layers by up to this part of its height (drawn pictures with an unsharp mask: a seventh).
const OVERDRAWN: f64 = 0.25;
/// Empty glass over a liquid has up to this part of its tint: light that the liquid throws on the paper behind. In scenes of
/// `tests/scenes` (study seed 9203) up to a sixth; drawn layers of less than half the concentration below have a third or more.
const GLASS_TINT: f64 = 0.25;
/// What has more than this part of the liquid's tint is no glass, whatever is drawn or printed between the two. An assumption, well
/// above [`GLASS_TINT`].
const NO_GLASS: f64 = 0.4;
/// Dark lines across the vial thinner than this, mm, are printed ones: they are 0.4 mm thick, and a lens blurs them.
const THIN: f64 = 1.2;

/// The even stretch that is taken for the liquid.
pub(super) struct Liquid {
    pub top: f64,
    pub bottom: f64,
    pub deeper_below: bool,
    pub paler_above: f64,
    pub surface: bool,
}

/// A stretch of rows: the first, and the one after the last.
type Run = (usize, usize);

/// The vial's middle, row by row.
struct Profiles {
    /// Each band of it on its own.
    bands: Vec<Vec<Vector3<f64>>>,
    /// The median of the bands: what is printed on the glass covers less than half of them.
    typical: Vec<Vector3<f64>>,
    /// Their mean, which is less noisy: for tints near none.
    mean: Vec<Vector3<f64>>,
}

impl Profiles {
    fn of(bands: Vec<Vec<Vector3<f64>>>) -> Profiles {
        let rows = 0..bands[0].len();
        let median_of = |j: usize| {
            Vector3::from_fn(|c, _| {
                median(&mut bands.iter().map(|b| b[j][c]).collect::<Vec<f64>>())
            })
        };
        let mean_of =
            |j: usize| bands.iter().map(|b| b[j]).sum::<Vector3<f64>>() / bands.len() as f64;
        Profiles {
            typical: rows.clone().map(median_of).collect(),
            mean: rows.map(mean_of).collect(),
            bands,
        }
    }

    /// The light of a stretch, natural log, with what is printed on the glass left out.
    fn light(&self, run: Run) -> Vector3<f64> {
        mean_ln(&self.typical, run)
    }

    /// The tint of a stretch, over all that is seen of it.
    fn mean_tint(&self, run: Run) -> Vector3<f64> {
        tint(&mean_ln(&self.mean, run))
    }

    /// Whether a line darker than both sides by `depth` (natural log of light) runs between two stretches, across most of the vial's
    /// middle: what is printed on the glass does not.
    fn line_between(&self, above: Run, below: Run, depth: f64) -> bool {
        let dip = |rows: &Vec<Vector3<f64>>| {
            let sides = mean_ln(rows, above).mean().min(mean_ln(rows, below).mean());
            let darkest = rows[above.1..below.0].iter().map(|v| level(v).mean());
            sides - darkest.fold(f64::INFINITY, f64::min)
        };
        median(&mut self.bands.iter().map(dip).collect::<Vec<f64>>()) > depth
    }
}

/// Whether the upper end of a stretch looks like the surface of a liquid: a dark line, or a tint that ends there.
fn surface(vial: &Profiles, above: Run, liquid: Run) -> bool {
    let (up, down) = (tint(&vial.light(above)), tint(&vial.light(liquid)));
    vial.line_between(above, liquid, LINE)
        || (down.amax() > up.amax() && (up - down).amax() > PLAIN_TINT)
}

/// The lowest even stretch of the vial's middle. `None` if there is none, or if it goes on above any vial.
///
/// Only what lies above the `foot` of the card counts: below it, what is seen through the vial is no longer the card. Seen from above,
/// the liquid's surface is seen too, as what stands up to `deep` (mm) on the liquid that is seen from the side; it is left out where an
/// edge shows where it ends.
pub(super) fn liquid(
    p: &BayPicture,
    (left, right): (f64, f64),
    foot: f64,
    deep: f64,
) -> Option<Liquid> {
    let coarse = cells(p, 3.0).max(2);
    if p.ny < 4 * coarse {
        return None;
    }
    // A meniscus or base runs across the vial, bent a little by perspective; light that the vial gathers behind itself
    // draws arcs, which cross the bands at different heights.
    let reach = cells(p, 0.7);
    let vial = Profiles::of(
        (0..BANDS)
            .into_par_iter()
            .map(|band| without_thin_lines(&profile(p, left, right, band), cells(p, THIN)))
            .collect(),
    );
    let bands: Vec<Vec<f64>> = vial
        .bands
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
    // From below: the first stretch long enough is the liquid; what lies under it is the base or the table. What goes on
    // above it in about the same tint is the same liquid in other light, or behind print.
    let mut runs: Vec<Run> = cuts
        .chunks(2)
        .filter(|c| c.len() == 2 && c[0] < c[1])
        .map(|c| (c[0], c[1]))
        .collect();
    let y = |j: usize| p.area.y + (j as f64 + 0.5) * p.step;
    let mut below: Vec<Run> = Vec::new();
    while let Some((mut top, bottom)) = runs.pop() {
        let mut edges = Vec::new();
        while let Some(&(a, b)) = runs.last() {
            if !same_liquid(&vial.light((a, b)), &vial.light((top, bottom))) {
                break;
            }
            edges.push(top);
            top = a;
            runs.pop();
        }
        let lower = y(bottom).min(foot);
        if lower - y(top) >= LEAST_LIQUID
            && foot - lower <= HIGHEST
            && inside_vial(p, left, right, (top, p.row(lower)))
        {
            let light = vial.light((top, bottom));
            let own = vial.mean_tint((top, bottom));
            let deeper = |&(a, b): &Run| {
                let on_card = (a, b.min(p.row(foot)));
                on_card.0 + cells(p, POOL) <= on_card.1 && {
                    let other = vial.mean_tint(on_card);
                    other.amax() > own.amax() && (other - own).amax() > PLAIN_TINT
                }
            };
            let near = |(a, b): Run| (a.max(b.saturating_sub(cells(p, NEAR))), b);
            let front = edges
                .into_iter()
                .map(&y)
                .find(|edge| edge - y(top) <= deep + SURFACE_OFF && lower - edge >= LEAST_LIQUID);
            return (top > coarse).then(|| Liquid {
                top: front.unwrap_or(y(top)),
                bottom: lower,
                deeper_below: below.iter().any(deeper)
                    || pool_below(p, &vial, (left, right), own, p.row(lower)),
                paler_above: runs
                    .iter()
                    .rev()
                    .take_while(|run| of_hue(&vial.light(**run), &light))
                    .find(|&&above| {
                        // From its lower end on, and as a whole.
                        [near(above), above]
                            .into_iter()
                            .all(|run| paler(&vial.light(run), &light))
                            && layer(&vial, above, (top, bottom))
                            && inside_vial(p, left, right, above)
                    })
                    .map_or(0.0, |above| y(above.1) - y(above.0)),
                surface: runs.last().is_some_and(|&above| {
                    inside_vial(p, left, right, near(above)) && surface(&vial, above, (top, bottom))
                }),
            });
        }
        below.push((top, bottom));
    }
    None
}

/// Whether one light is of a plain tint, of the same hue as another.
fn of_hue(one: &Vector3<f64>, other: &Vector3<f64>) -> bool {
    let (own, than) = (tint(one), tint(other));
    own.amax() > PLAIN_TINT && own.dot(&than) > SAME_HUE * own.norm() * than.norm()
}

/// Whether one light is of another's hue and paler: less deep and lighter, also where the dye takes least.
fn paler(one: &Vector3<f64>, other: &Vector3<f64>) -> bool {
    of_hue(one, other)
        && tint(one).norm() < tint(other).norm()
        && one.mean() > other.mean()
        && one.max() > other.max() - PLAIN_TINT
}

/// Whether a paler stretch above a liquid is a layer of it: no surface lies between. Glass over a liquid takes some of its tint too,
/// but less; over more of it, a line counts only from what sharpening does not draw along the edge of two layers, and over much
/// more none does. What is cut by a line but has about the same tint is one liquid behind print.
fn layer(vial: &Profiles, above: Run, liquid: Run) -> bool {
    let (up, down) = (vial.light(above), vial.light(liquid));
    let part = tint(&up).norm() / tint(&down).norm();
    if part > NO_GLASS && !same_tint(&up, &down) {
        return true;
    }
    let drawn = if part > GLASS_TINT {
        OVERDRAWN * (up - down).mean().max(0.0)
    } else {
        0.0
    };
    !vial.line_between(above, liquid, LINE + drawn)
}

/// Whether something of a plain tint stands in the vial below a row, under what has none `above`: a low liquid, seen under the foot
/// of the card. What is seen of the table beside the vial may have a tint of its own.
fn pool_below(
    p: &BayPicture,
    vial: &Profiles,
    (left, right): (f64, f64),
    above: Vector3<f64>,
    from: usize,
) -> bool {
    if above.amax() > PLAIN_TINT {
        return false;
    }
    let high = cells(p, POOL);
    let beside = |(a, b): Run| {
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
            let own = vial.mean_tint(run);
            let apart = |other: Vector3<f64>| (own - other).amax() > PLAIN_TINT;
            apart(above) && apart(beside(run)) && inside_vial(p, left, right, run)
        })
}

/// Whether an outline runs along at least half of the rows: bare paper under a vial that is held up has none.
fn inside_vial(p: &BayPicture, left: f64, right: f64, (a, b): Run) -> bool {
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

/// Whether two stretches of the vial hold the same liquid: of one plain tint, brighter or darker. A line between them is print on the
/// glass then, since nothing that stands on a liquid has nearly its tint. What has no tint may as well be glass, cap and paper.
fn same_liquid(above: &Vector3<f64>, below: &Vector3<f64>) -> bool {
    tint(above).amax().max(tint(below).amax()) > PLAIN_TINT && same_tint(above, below)
}

/// Whether two lights are of about one tint, brighter or darker.
fn same_tint(one: &Vector3<f64>, other: &Vector3<f64>) -> bool {
    let (one, other) = (tint(one), tint(other));
    (one - other).amax() < SAME_TINT * one.amax().max(other.amax())
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Synthetic-known: of two tints over one another, which stretch is a layer of the other.
    #[test]
    fn a_layer_is_told_from_glass_over_a_surface() {
        let dye = Vector3::new(1.26, 0.17, 1.04);
        let shade = |depth: f64| (-depth * dye).map(|v| (v / 3.0).exp());
        // Some of the dye above, a line so much darker than the liquid over so many of the bands, and the liquid.
        let across = |above: f64, line: f64, lined: usize| {
            let rows = |line: f64| {
                let darker = shade(1.0).map(|v| v * (-line / 3.0).exp());
                [
                    vec![shade(above); 20],
                    vec![darker; 3],
                    vec![shade(1.0); 20],
                ]
                .concat()
            };
            let bands = (0..BANDS).map(|band| rows(if band < lined { line } else { 0.0 }));
            layer(&Profiles::of(bands.collect()), (0, 20), (23, 43))
        };
        let is_layer = |above: f64, line: f64| across(above, line, BANDS);
        assert!(is_layer(0.45, 0.0), "two layers");
        assert!(is_layer(0.35, 0.07), "two layers, sharpened");
        assert!(
            is_layer(0.45, 0.25),
            "two layers, and a line across the glass where they meet"
        );
        assert!(
            !is_layer(0.35, 0.25),
            "glass that the liquid tints, and a surface"
        );
        assert!(!is_layer(0.1, 0.07), "bare glass, and a faint surface");
        assert!(!is_layer(0.8, 0.25), "one liquid, cut by print");
        assert!(
            across(0.35, 0.8, 2),
            "two layers, and print on the glass where they meet"
        );
    }
}
