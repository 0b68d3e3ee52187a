//! The liquid between the outlines of a vial: the lowest even stretch, and what stands on it and under it.

use nalgebra::Vector3;

use super::profiles::{Profiles, Run, coarse};
use super::{LEAST_LIQUID, PLAIN_TINT, cells, mean_ln};
use crate::light::tint;
use crate::vial::bay::BayPicture;

/// The lower end of the liquid is at most this far above the foot of the bay, mm: what lies higher is cap or glass.
const HIGHEST: f64 = 25.0;
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

/// The even stretch that is taken for the liquid.
pub(super) struct Liquid {
    pub top: f64,
    pub bottom: f64,
    pub deeper_below: bool,
    pub paler_above: f64,
    pub surface: bool,
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
    let vial = Profiles::of(p, left, right);
    let mut above = vial.even_runs(p)?;
    let within = Within {
        p,
        left,
        right,
        foot,
        vial,
    };
    // From below: the first stretch long enough is the liquid; what lies under it is the base or the table.
    let mut below: Vec<Run> = Vec::new();
    while let Some(lowest) = above.pop() {
        let (run, edges) = within.gathered(lowest, &mut above);
        if within.may_be_liquid(run) {
            return (run.0 > coarse(p)).then(|| Liquid {
                top: within.front(run, &edges, deep),
                bottom: within.lower_end(run),
                deeper_below: below.iter().any(|under| within.deeper(*under, run))
                    || within.pool_under(run),
                paler_above: within.paler_above(&above, run),
                surface: within.surface(&above, run),
            });
        }
        below.push(run);
    }
    None
}

/// The vial between its outlines, before the bay.
struct Within<'a> {
    p: &'a BayPicture,
    left: f64,
    right: f64,
    /// Foot of the card, plane units.
    foot: f64,
    vial: Profiles,
}

impl Within<'_> {
    /// Where a row lies, plane units.
    fn y(&self, row: usize) -> f64 {
        self.p.area.y + (row as f64 + 0.5) * self.p.step
    }

    /// Where a stretch ends below, at the foot of the card at the latest.
    fn lower_end(&self, run: Run) -> f64 {
        self.y(run.1).min(self.foot)
    }

    /// A stretch with those above it that hold the same liquid in other light, or behind print, which are taken off `above`; and the
    /// rows of the edges between them, lowest first.
    fn gathered(&self, (mut top, bottom): Run, above: &mut Vec<Run>) -> (Run, Vec<usize>) {
        let mut edges = Vec::new();
        while let Some(&(a, b)) = above.last() {
            if !same_liquid(&self.vial.light((a, b)), &self.vial.light((top, bottom))) {
                break;
            }
            edges.push(top);
            top = a;
            above.pop();
        }
        ((top, bottom), edges)
    }

    /// Whether a stretch is high enough for a liquid, near the foot and between outlines.
    fn may_be_liquid(&self, run: Run) -> bool {
        let lower = self.lower_end(run);
        lower - self.y(run.0) >= LEAST_LIQUID
            && self.foot - lower <= HIGHEST
            && self.has_outlines((run.0, self.p.row(lower)))
    }

    /// Where the liquid that is seen from the side begins: under its surface, if an edge shows where that ends.
    fn front(&self, run: Run, edges: &[usize], deep: f64) -> f64 {
        let (upper, lower) = (self.y(run.0), self.lower_end(run));
        edges
            .iter()
            .map(|row| self.y(*row))
            .find(|edge| edge - upper <= deep + SURFACE_OFF && lower - edge >= LEAST_LIQUID)
            .unwrap_or(upper)
    }

    /// Whether a stretch under the liquid is of a deeper tint, as far as it lies on the card.
    fn deeper(&self, under: Run, liquid: Run) -> bool {
        let under = (under.0, under.1.min(self.p.row(self.foot)));
        if under.0 + cells(self.p, POOL) > under.1 {
            return false;
        }
        let (other, own) = (self.vial.mean_tint(under), self.vial.mean_tint(liquid));
        other.amax() > own.amax() && (other - own).amax() > PLAIN_TINT
    }

    /// Whether something of a plain tint stands in the vial under a liquid that has none: a low liquid, seen under the foot of the card.
    /// What is seen of the table beside the vial may have a tint of its own.
    fn pool_under(&self, liquid: Run) -> bool {
        let above = self.vial.mean_tint(liquid);
        if above.amax() > PLAIN_TINT {
            return false;
        }
        let high = cells(self.p, POOL);
        (self.p.row(self.lower_end(liquid))..(self.p.ny + 1).saturating_sub(high))
            .map(|j| (j, j + high))
            .any(|run| {
                let own = self.vial.mean_tint(run);
                let apart = |other: Vector3<f64>| (own - other).amax() > PLAIN_TINT;
                apart(above) && apart(self.tint_beside(run)) && self.has_outlines(run)
            })
    }

    /// The tint of what is seen on both sides of the vial.
    fn tint_beside(&self, (a, b): Run) -> Vector3<f64> {
        let (near, far) = BESIDE_VIAL;
        let columns = [self.left - far, self.right + near].map(|x| {
            let i0 = self.p.column(x);
            i0..=self.p.column(x + far - near)
        });
        let column: Vec<Vector3<f64>> = (a..b)
            .map(|j| {
                let cells: Vec<Vector3<f64>> = columns
                    .iter()
                    .flat_map(|c| c.clone().map(|i| self.p.shade(i, j)))
                    .collect();
                cells.iter().sum::<Vector3<f64>>() / cells.len() as f64
            })
            .collect();
        tint(&mean_ln(&column, (0, b - a)))
    }

    /// Height, mm, of a paler layer among the stretches right above the liquid that are of its hue.
    fn paler_above(&self, above: &[Run], liquid: Run) -> f64 {
        let light = self.vial.light(liquid);
        // From its lower end on, and as a whole.
        let paler_run = |run: Run| {
            [self.near(run), run]
                .into_iter()
                .all(|run| paler(&self.vial.light(run), &light))
        };
        above
            .iter()
            .rev()
            .copied()
            .take_while(|run| of_hue(&self.vial.light(*run), &light))
            .find(|run| {
                paler_run(*run) && layer(&self.vial, *run, liquid) && self.has_outlines(*run)
            })
            .map_or(0.0, |(a, b)| self.y(b) - self.y(a))
    }

    /// Whether the upper end of the liquid looks like the surface of one.
    fn surface(&self, above: &[Run], liquid: Run) -> bool {
        above.last().is_some_and(|&above| {
            self.has_outlines(self.near(above)) && surface(&self.vial, above, liquid)
        })
    }

    /// The lower end of a stretch.
    fn near(&self, (a, b): Run) -> Run {
        (a.max(b.saturating_sub(cells(self.p, NEAR))), b)
    }

    /// Whether an outline runs along at least half of the rows: bare paper under a vial that is held up has none.
    fn has_outlines(&self, (a, b): Run) -> bool {
        let p = self.p;
        let (reach, strip) = (cells(p, 1.5), cells(p, 2.0));
        let mut seen = [0usize; 2];
        let mut strips = 0usize;
        let mut j = a;
        while j + strip <= b {
            for (count, x) in seen.iter_mut().zip([self.left, self.right]) {
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

#[cfg(test)]
mod tests {
    use super::super::profiles::BANDS;
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
            layer(&Profiles::of_bands(bands.collect()), (0, 20), (23, 43))
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
