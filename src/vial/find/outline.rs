//! The outlines of a vial: the pair of lasting upright edges that best encloses everything that is not paper.

use nalgebra::Vector3;

use super::{PLAIN_TINT, cells, jumps, mean_ln};
use crate::light::spot::median;
use crate::light::tint;
use crate::place::Area;
use crate::vial::bay::BayPicture;

/// Vials of 12 to 28 mm, with allowance for standing nearer to the camera than the card (up to 20 %) and for blur.
const WIDTHS: (f64, f64) = (10.5, 34.0);
/// Height of the strips in which outlines are looked for, mm.
const STRIP: f64 = 5.0;
/// An edge of this height counts in full (cube-root scale: 0.03 is 9 % of light, a wall seen against paper).
const PLAIN: f64 = 0.03;
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

/// An edge is as plain as an outline from this part of it on, and another vial's from so far outside, mm: nearer run the edges of
/// shadows. So far outside 543 vials in the scenes of `tests/scenes` (study seed 11001, diffuse light) no edge had more than 0.3 of it.
const AS_PLAIN: f64 = 0.7;
const BESIDE: f64 = 8.0;

/// The bay in strips across.
pub(super) struct Strips {
    /// From its top to the foot of the card: each column's mean shade.
    bay: Vec<Vec<Vector3<f64>>>,
    /// Under the foot of the card, where a vial that stands before it still shows: each column's edge.
    under: Vec<f64>,
}

impl Strips {
    pub(super) fn of(p: &BayPicture, bay: Area) -> Strips {
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

/// A vial's outlines, plane units.
pub(super) struct Outlines {
    pub left: f64,
    pub right: f64,
    /// Strength of the weaker one over the noise of edges in the bay.
    pub clarity: f64,
    /// How far outside them an edge as plain as they are runs, mm, to the left negative.
    pub beside: Option<f64>,
}

/// The pair of edges that best encloses everything that is not paper.
pub(super) fn outlines(p: &BayPicture, strips: &Strips, bay: Area) -> Option<Outlines> {
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
    let weaker = edges[l].min(edges[r]);
    let outside = |i: usize| {
        let x = i as f64;
        ((x - r as f64).max(0.0) - (l as f64 - x).max(0.0)) * p.step
    };
    let x = |i: usize| p.area.x + (i as f64 + 0.5) * p.step;
    Some(Outlines {
        left: x(l),
        right: x(r),
        clarity: weaker / noise,
        beside: peaks
            .iter()
            .filter(|i| edges[**i] > AS_PLAIN * weaker)
            .map(|i| outside(*i))
            .find(|off| off.abs() > BESIDE),
    })
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
