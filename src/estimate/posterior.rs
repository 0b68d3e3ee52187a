//! Density over concentration, given a colour with its covariance and the curve of a chart.
//!
//! Taken on a grid over the position among the steps (equal weight to every step: users chose steps where they matter),
//! with a Student-t likelihood in CIELAB, because covariances are themselves estimates (Lange, Little & Taylor 1989,
//! J. Am. Stat. Assoc. 84:881-896). The interval is the highest-density region (Box & Tiao 1973, 2.8).

use nalgebra::{Matrix3, Vector3};

use crate::chart::curve::Curve;
use crate::colour::{Lab, ciede2000};

/// Grid points per step of the chart.
const PER_STEP: usize = 200;
/// How far past the last step (or before a first step above zero) a colour is followed, to tell "beyond" from "on".
pub const BEYOND: f64 = 2.0;
/// Degrees of freedom of the likelihood: about what a session with two photos of each of six standards leaves.
const NU: f64 = 8.0;

/// What the colour says about the concentration.
#[derive(Debug, Clone, PartialEq)]
pub struct Posterior {
    /// Positions of the grid, in steps.
    pub positions: Vec<f64>,
    /// Density at each position, per step; integrates to 1.
    pub density: Vec<f64>,
    /// Probability that the concentration is above the last step.
    pub above: f64,
    /// Probability that it is below the first step (only for charts whose first step is not zero).
    pub below: f64,
    /// Positions that the concentration exceeds, or stays below, with 95 % probability each, beyond the chart included.
    pub at_least: f64,
    pub at_most: f64,
    /// Median of the density on the chart, position in steps; where the region is in pieces, of its likeliest piece.
    pub median: f64,
    /// The highest-density region of the asked level, as far as its pieces reach the chart: one piece or more, positions in steps, lowest
    /// first. A piece may go on past an end, where the curve is continued, for two steps at most.
    pub pieces: Vec<(f64, f64)>,
    /// Squared Mahalanobis distance of the colour from the curve (beyond included), about chi-squared with 2 degrees.
    pub distance2: f64,
    /// Position on the curve nearest in that sense.
    pub nearest: f64,
    /// CIEDE2000 from the colour to the curve at `nearest`.
    pub delta_e_curve: f64,
    /// CIEDE2000 to the nearest step.
    pub delta_e_step: f64,
    /// Index of the step nearest by CIEDE2000: what an eye would pick.
    pub nearest_step: usize,
}

/// The density of the concentration for a colour `lab` with covariance `covariance` on `curve`.
///
/// `covariance` is that of the reading; that of the curve is added from the curve itself. `level` is the coverage of the
/// highest-density region, such as 0.95. `starts_at_zero` tells that there is nothing below the first step.
pub fn posterior(
    lab: Lab,
    covariance: &Matrix3<f64>,
    curve: &Curve,
    starts_at_zero: bool,
    level: f64,
) -> Posterior {
    let last = (curve.len() - 1) as f64;
    let first = if starts_at_zero { 0.0 } else { -BEYOND };
    let n = ((last + BEYOND - first) * PER_STEP as f64).round() as usize;
    let step = (last + BEYOND - first) / n as f64;
    let grid: Vec<f64> = (0..=n).map(|i| first + i as f64 * step).collect();
    let colour = lab.to_vector();
    // Per grid point: squared distance of the colour, and the log determinant of the covariance it is measured in.
    let apart: Vec<(f64, f64)> = grid
        .iter()
        .map(|&p| {
            let (steps, between) = curve.covariance(p);
            let sigma = covariance + steps + between + Matrix3::identity() * LEAST_VARIANCE;
            mahalanobis(&sigma, &(colour - curve.lab(p).to_vector()))
        })
        .collect();
    let (distance2, nearest) = apart
        .iter()
        .zip(&grid)
        .map(|(a, p)| (a.0, *p))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .expect("a grid has points");
    // A colour that lies farther from the curve than its budget explains has met something unknown, which may move it along
    // the curve as much as off it: all variances grow by the ratio found (Birge 1932, Phys. Rev. 40:207-227; two degrees of
    // freedom, since a curve leaves two of three dimensions).
    let birge = (distance2 / 2.0).max(1.0);
    let log_density: Vec<f64> = apart
        .iter()
        .map(|(d2, ln_det)| -0.5 * ln_det - 0.5 * (NU + 3.0) * (d2 / birge / NU).ln_1p())
        .collect();
    let top = log_density
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let mass: Vec<f64> = log_density.iter().map(|l| (l - top).exp()).collect();
    let total: f64 = mass.iter().sum();
    let share = |f: &dyn Fn(f64) -> bool| {
        grid.iter()
            .zip(&mass)
            .filter(|(p, _)| f(**p))
            .map(|(_, m)| m)
            .sum::<f64>()
            / total
    };
    let quantile = |q: f64| {
        let mut sum = 0.0;
        grid.iter()
            .zip(&mass)
            .find(|(_, m)| {
                sum += **m;
                sum >= q * total
            })
            .map_or(grid[n], |(p, _)| *p)
    };
    let above = share(&|p| p > last + 1e-9);
    let below = share(&|p| p < -1e-9);

    let on: Vec<usize> = (0..grid.len())
        .filter(|&i| grid[i] >= -1e-9 && grid[i] <= last + 1e-9)
        .collect();
    let on_mass: f64 = on.iter().map(|&i| mass[i]).sum();
    let positions: Vec<f64> = on.iter().map(|&i| grid[i].clamp(0.0, last)).collect();
    let probability: Vec<f64> = on
        .iter()
        .map(|&i| mass[i] / on_mass.max(f64::MIN_POSITIVE))
        .collect();
    // Of all that is possible, past the ends too; a piece that lies past them altogether is no answer.
    let all: Vec<f64> = mass.iter().map(|m| m / total).collect();
    let pieces: Vec<(f64, f64)> = highest_density(&grid, &all, level)
        .into_iter()
        .filter(|(a, b)| *a <= last && *b >= 0.0)
        .collect();
    let median = median(&positions, &probability, &pieces);

    let (nearest_step, delta_e_step) = (0..curve.len())
        .map(|i| (i, ciede2000(lab, curve.lab(i as f64))))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .expect("a curve has steps");
    Posterior {
        pieces,
        density: probability.iter().map(|p| p / step).collect(),
        positions,
        above,
        below,
        at_least: quantile(0.05),
        at_most: quantile(0.95),
        median,
        distance2,
        nearest,
        delta_e_curve: ciede2000(lab, curve.lab(nearest)),
        delta_e_step,
        nearest_step,
    }
}

impl Posterior {
    /// The outer ends of the pieces, positions in steps; `None` if none of the region lies on the chart.
    pub fn ends(&self) -> Option<(f64, f64)> {
        Some((self.pieces.first()?.0, self.pieces.last()?.1))
    }

    /// Probability that the truth lies within `half` steps of position `at`, beyond-chart mass counted against it.
    pub fn within(&self, at: f64, half: f64) -> f64 {
        if self.positions.len() < 2 {
            return 0.0;
        }
        let step = self.positions[1] - self.positions[0];
        let on = 1.0 - self.above - self.below;
        let inside: f64 = self
            .positions
            .iter()
            .zip(&self.density)
            .filter(|(p, _)| (**p - at).abs() <= half)
            .map(|(_, d)| d * step)
            .sum();
        (inside * on).clamp(0.0, 1.0)
    }
}

/// Variance of rounding to 8 bits, CIELAB: about a tenth of a unit; keeps a covariance from being singular.
const LEAST_VARIANCE: f64 = 0.01;

fn mahalanobis(sigma: &Matrix3<f64>, d: &Vector3<f64>) -> (f64, f64) {
    match sigma.cholesky() {
        Some(c) => {
            let l = c.l();
            let solved = c.solve(d);
            (
                d.dot(&solved),
                2.0 * l.diagonal().iter().map(|v| v.ln()).sum::<f64>(),
            )
        }
        None => (f64::INFINITY, 0.0),
    }
}

/// The median of the likeliest piece: between two pieces lies what a density rules out. With one piece, that of all.
fn median(positions: &[f64], probability: &[f64], pieces: &[(f64, f64)]) -> f64 {
    let inside = |(a, b): (f64, f64)| {
        let all = positions.iter().zip(probability);
        all.filter(move |(x, _)| (a..=b).contains(*x))
    };
    let mass = |piece: (f64, f64)| inside(piece).map(|(_, p)| p).sum::<f64>();
    let likeliest = match pieces {
        [_, _, ..] => pieces
            .iter()
            .copied()
            .max_by(|a, b| mass(*a).total_cmp(&mass(*b))),
        _ => None,
    };
    let within = likeliest.unwrap_or((f64::NEG_INFINITY, f64::INFINITY));
    let half = mass(within) / 2.0;
    let mut sum = 0.0;
    inside(within)
        .find(|(_, p)| {
            sum += **p;
            sum >= half
        })
        .or_else(|| inside(within).next_back())
        .map_or(0.0, |(x, _)| *x)
}

/// Pieces of the highest-density region: points are taken from the densest down until `level` is reached.
fn highest_density(positions: &[f64], probability: &[f64], level: f64) -> Vec<(f64, f64)> {
    let mut order: Vec<usize> = (0..positions.len()).collect();
    order.sort_by(|&a, &b| probability[b].total_cmp(&probability[a]));
    let mut taken = vec![false; positions.len()];
    let mut sum = 0.0;
    for i in order {
        taken[i] = true;
        sum += probability[i];
        if sum >= level {
            break;
        }
    }
    let mut pieces = Vec::new();
    let mut start = None;
    for i in 0..positions.len() {
        match (taken[i], start) {
            (true, None) => start = Some(i),
            (false, Some(s)) => {
                pieces.push((positions[s], positions[i - 1]));
                start = None;
            }
            _ => {}
        }
    }
    if let Some(s) = start {
        pieces.push((positions[s], positions[positions.len() - 1]));
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::Step;
    use crate::chart::curve::{Axis, Choice, Space};
    use crate::colour::Relative;

    /// Beer-Lambert: absorbance in proportion to concentration, most in green.
    fn ln(value: f64) -> [f64; 3] {
        [-0.02, -0.12, -0.05].map(|a| a * value)
    }

    fn curve(values: &[f64]) -> Curve {
        curve_like(&values.iter().map(|v| (*v, *v)).collect::<Vec<_>>())
    }

    /// Concentrations, and those whose colour each of them has.
    fn curve_like(values: &[(f64, f64)]) -> Curve {
        let steps: Vec<Step> = values
            .iter()
            .map(|(v, like)| Step {
                value: *v,
                ln: ln(*like),
                covariance: [[1e-6, 0.0, 0.0], [0.0, 1e-6, 0.0], [0.0, 0.0, 1e-6]],
                photos: 2,
                clear: None,
            })
            .collect();
        let choice = Choice {
            space: Space::Absorbance,
            axis: Axis::Linear,
            left_out_error: None,
        };
        Curve::new(&steps, &choice).unwrap()
    }

    fn seen(value: f64, sd: f64, curve: &Curve) -> Posterior {
        let lab = Relative(ln(value).map(f64::exp)).to_lab();
        posterior(lab, &(Matrix3::identity() * sd * sd), curve, true, 0.95)
    }

    const EVEN: [f64; 5] = [0.0, 2.0, 4.0, 6.0, 8.0];

    /// Synthetic-known: a colour made from a concentration reads as that concentration.
    #[test]
    fn a_colour_on_the_curve_reads_true() {
        let curve = curve(&EVEN);
        for value in [0.5, 1.7, 3.0, 5.2, 7.5] {
            let post = seen(value, 0.3, &curve);
            assert!(
                (2.0 * post.median - value).abs() < 0.02,
                "{value}: {post:?}"
            );
            let (a, b) = post.pieces[0];
            assert!(2.0 * a < value && value < 2.0 * b);
            assert!(post.delta_e_curve < 0.05 && post.distance2 < 0.1);
        }
    }

    #[test]
    fn more_noise_never_narrows_the_interval() {
        let curve = curve(&EVEN);
        for value in [1.0, 3.3, 6.1] {
            let mut last = 0.0;
            for sd in [0.1, 0.2, 0.4, 0.8, 1.6, 3.2] {
                let pieces = seen(value, sd, &curve).pieces;
                let width: f64 = pieces.iter().map(|(a, b)| b - a).sum();
                assert!(width >= last, "{value} with {sd}: {width} after {last}");
                last = width;
            }
        }
    }

    /// A further standard where the curve is straight tells nothing new about what lies between.
    #[test]
    fn a_step_inside_a_straight_stretch_leaves_the_value() {
        let (few, more) = (curve(&[0.0, 2.0, 4.0, 8.0]), curve(&EVEN));
        for value in [1.0, 3.0, 5.0, 7.0] {
            let position = seen(value, 0.3, &few).median;
            let read = if position <= 2.0 {
                2.0 * position
            } else {
                4.0 + 4.0 * (position - 2.0)
            };
            let again = 2.0 * seen(value, 0.3, &more).median;
            assert!((read - again).abs() < 0.03, "{value}: {read} and {again}");
        }
    }

    /// A chart whose colour turns back: two concentrations look alike, and what lies between them does not.
    #[test]
    fn a_colour_that_fits_twice_has_two_pieces_and_a_value_in_one() {
        let curve = curve_like(&[(0.0, 0.0), (2.0, 2.0), (4.0, 4.0), (6.0, 2.2), (8.0, 0.4)]);
        let post = seen(3.0, 0.3, &curve);
        let [(a, b), (c, d)] = post.pieces[..] else {
            panic!("{:?}", post.pieces);
        };
        assert!(
            a < 1.5 && 1.5 < b && b < 2.0 && 2.0 < c,
            "{:?}",
            post.pieces
        );
        let value = post.median;
        assert!(
            (a..=b).contains(&value) || (c..=d).contains(&value),
            "{value}"
        );
    }

    /// Before a first step that is not zero lie concentrations too.
    #[test]
    fn before_the_first_step_is_a_bound_not_a_number() {
        let curve = curve(&[2.0, 4.0, 6.0, 8.0]);
        let at = |value: f64| {
            let lab = Relative(ln(value).map(f64::exp)).to_lab();
            posterior(lab, &(Matrix3::identity() * 0.09), &curve, false, 0.95)
        };
        let under = at(0.5);
        assert!(under.below > 0.99 && under.at_most < 0.0, "{under:?}");
        let edge = at(2.0);
        assert!((0.2..0.8).contains(&edge.below), "{}", edge.below);
        assert!(at(5.0).below < 1e-6);
    }

    #[test]
    fn past_the_end_is_a_bound_not_a_number() {
        let curve = curve(&EVEN);
        let post = seen(10.5, 0.3, &curve);
        assert!(post.above > 0.99, "{}", post.above);
        assert!(post.at_least > 4.0, "{}", post.at_least);
        // At the end itself neither side is sure, and the bound lies inside the chart.
        let edge = seen(8.0, 0.6, &curve);
        assert!(
            (0.2..0.8).contains(&edge.above) && edge.at_least < 4.0,
            "{edge:?}"
        );
    }

    /// A colour off the curve by more than its covariance explains is less sure along it too (Birge's ratio).
    #[test]
    fn a_colour_beside_the_curve_is_less_sure() {
        let curve = curve(&EVEN);
        let on = Relative(ln(4.0).map(f64::exp)).to_lab();
        let width = |lab: Lab| {
            let pieces = posterior(lab, &(Matrix3::identity() * 0.25), &curve, true, 0.95).pieces;
            pieces.iter().map(|(a, b)| b - a).sum::<f64>()
        };
        let beside = Lab {
            b: on.b + 8.0,
            ..on
        };
        assert!(
            width(beside) > 2.0 * width(on),
            "{} {}",
            width(beside),
            width(on)
        );
    }
}
