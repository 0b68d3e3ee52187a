//! The colour of a vial along concentration: a shape-preserving curve through the steps.
//!
//! Between steps each coordinate follows a monotone cubic (Fritsch & Butland 1984, see [`super::pchip`]), either in
//! CIELAB or in absorbance (the logarithm of relative light, in which Beer-Lambert's law is a straight line), over an
//! axis that is linear, square root or log1p of concentration. The pair that best predicts left-out steps is taken.

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

use super::Step;
use super::pchip::Pchip;
use crate::colour::{Lab, Relative};
use crate::error::{Error, Result};

/// What is interpolated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Space {
    /// Natural log of relative light, proportional to absorbance.
    Absorbance,
    /// CIELAB.
    Lab,
}

/// Over what it is interpolated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Axis {
    Linear,
    SquareRoot,
    Log1p,
}

/// The choice made, with its evidence.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Choice {
    pub space: Space,
    pub axis: Axis,
    /// Root mean square CIELAB distance of left-out inner steps from the curve through the others; `None` with three
    /// steps, where nothing can be left out.
    pub left_out_error: Option<f64>,
}

/// A curve through the steps, evaluated by position among the steps (see [`super::Chart::step_position`]).
#[derive(Debug, Clone)]
pub struct Curve {
    space: Space,
    axis: Axis,
    values: Vec<f64>,
    coordinates: [Pchip; 3],
    step_cov: Vec<Matrix3<f64>>,
    /// Per interval: interpolation error in its middle, CIELAB, as an outer product.
    between: Vec<Matrix3<f64>>,
    /// Covariance, CIELAB, of how far the curves over the other axes lie from this one, [`PER_INTERVAL`] places an interval.
    others: Vec<Matrix3<f64>>,
}

/// Places of an interval at which curves over other axes are compared.
const PER_INTERVAL: usize = 8;

/// With a step left out the gap is twice as wide; the error of a smooth interpolant falls at least with the square of
/// the gap, so a quarter of the left-out error remains in the middle of a gap.
const GAP_SHARE: f64 = 0.25;

/// Every space and axis that is tried, the simplest first.
fn all_choices() -> impl Iterator<Item = (Space, Axis)> {
    [Space::Absorbance, Space::Lab]
        .into_iter()
        .flat_map(|space| [Axis::Linear, Axis::SquareRoot, Axis::Log1p].map(|axis| (space, axis)))
}

/// Root mean square of left-out errors; `None` if there are none.
fn score(errors: &[(usize, Vector3<f64>)]) -> Option<f64> {
    let squares = errors.iter().map(|e| e.1.norm_squared()).sum::<f64>();
    (!errors.is_empty()).then(|| (squares / errors.len() as f64).sqrt())
}

impl Choice {
    /// Chooses space and axis by leave-one-step-out error. At least three steps, in rising order of value.
    ///
    /// # Errors
    /// If the steps cannot be interpolated (fewer than three, or not rising).
    pub fn choose(steps: &[Step]) -> Result<Choice> {
        let mut best: Option<Choice> = None;
        for (space, axis) in all_choices() {
            Curve::through(steps, space, axis)?;
            let score = score(&left_out(steps, space, axis));
            let better = match (&best, score) {
                (None, _) => true,
                (Some(b), Some(s)) => b.left_out_error.is_some_and(|t| s < t),
                (Some(_), None) => false,
            };
            if better {
                best = Some(Choice {
                    space,
                    axis,
                    left_out_error: score,
                });
            }
        }
        best.ok_or_else(|| Error::new("the chart has no steps", "give at least three standards"))
    }
}

/// Inner steps, each with its CIELAB distance from the curve through the others.
fn left_out(steps: &[Step], space: Space, axis: Axis) -> Vec<(usize, Vector3<f64>)> {
    if steps.len() < 4 {
        return Vec::new();
    }
    (1..steps.len() - 1)
        .filter_map(|i| {
            let others: Vec<Step> = steps
                .iter()
                .enumerate()
                .filter(|(j, _)| *j != i)
                .map(|(_, s)| s.clone())
                .collect();
            let curve = Curve::through(&others, space, axis).ok()?;
            Some((
                i,
                curve.relative_at_value(steps[i].value).to_lab().to_vector()
                    - steps[i].lab().to_vector(),
            ))
        })
        .collect()
}

impl Curve {
    /// The curve of a chart.
    ///
    /// # Errors
    /// As [`Choice::choose`].
    pub fn new(steps: &[Step], choice: &Choice) -> Result<Curve> {
        let mut curve = Curve::through(steps, choice.space, choice.axis)?;
        let errors = left_out(steps, choice.space, choice.axis);
        curve.between = (0..steps.len() - 1)
            .map(|gap| {
                let near: Vec<_> = errors
                    .iter()
                    .filter(|(i, _)| *i == gap || *i == gap + 1)
                    .collect();
                let sum: Matrix3<f64> = near.iter().map(|(_, e)| e * e.transpose()).sum();
                sum * (GAP_SHARE * GAP_SHARE) / near.len().max(1) as f64
            })
            .collect();
        curve.others = curve.unlike(steps, &errors);
        Ok(curve)
    }

    /// How far the curves over the other axes lie from this one. Before the first inner step and after the last nothing can be
    /// left out, so only the other curves tell what the choice of the axis makes there. They count by how well they predict
    /// left-out steps (model averaging: Hoeting et al. 1999, Stat. Sci. 14(4):382-417; likelihoods of residuals whose variance is
    /// unknown are their sums of squares to the power of minus half their number).
    fn unlike(&self, steps: &[Step], errors: &[(usize, Vector3<f64>)]) -> Vec<Matrix3<f64>> {
        let own = score(errors);
        let others: Vec<(f64, Curve)> = all_choices()
            .filter(|other| *other != (self.space, self.axis))
            .filter_map(|(space, axis)| {
                let curve = Curve::through(steps, space, axis).ok()?;
                let ratio = match (own, score(&left_out(steps, space, axis))) {
                    (Some(own), Some(other)) => (own / other.max(f64::MIN_POSITIVE)).min(1.0),
                    _ => 1.0,
                };
                Some((ratio.powi(errors.len() as i32), curve))
            })
            .collect();
        let total = 1.0 + others.iter().map(|o| o.0).sum::<f64>();
        (0..=PER_INTERVAL * (self.len() - 1))
            .map(|k| k as f64 / PER_INTERVAL as f64)
            .map(|p| {
                let here = self.lab(p).to_vector();
                others
                    .iter()
                    .map(|(weight, other)| {
                        let off = other.lab(p).to_vector() - here;
                        off * off.transpose() * (weight / total)
                    })
                    .sum()
            })
            .collect()
    }

    /// A curve over some axis; what is open between its steps is not known yet.
    fn through(steps: &[Step], space: Space, axis: Axis) -> Result<Curve> {
        let values: Vec<f64> = steps.iter().map(|s| s.value).collect();
        if values.len() < 3 {
            return Err(Error::new(
                format!(
                    "a chart needs at least 3 steps, this one has {}",
                    values.len()
                ),
                "add standards",
            ));
        }
        let x: Vec<f64> = values.iter().map(|v| axis_of(axis, *v, &values)).collect();
        let points: Vec<Vector3<f64>> = steps
            .iter()
            .map(|s| match space {
                Space::Absorbance => s.ln_vector(),
                Space::Lab => s.lab().to_vector(),
            })
            .collect();
        let coordinate = |c: usize| {
            let y: Vec<f64> = points.iter().map(|p| p[c]).collect();
            Pchip::new(&x, &y)
        };
        Ok(Curve {
            space,
            axis,
            coordinates: [coordinate(0)?, coordinate(1)?, coordinate(2)?],
            step_cov: steps.iter().map(Step::covariance_matrix).collect(),
            between: Vec::new(),
            others: Vec::new(),
            values,
        })
    }

    /// Colour at a concentration. Outside the steps it goes on straight: only to tell "beyond" from "on the chart".
    fn relative_at_value(&self, value: f64) -> Relative {
        let x = axis_of(self.axis, value, &self.values);
        let (lo, hi) = (
            axis_of(self.axis, self.values[0], &self.values),
            axis_of(self.axis, self.values[self.values.len() - 1], &self.values),
        );
        let at = |c: usize| {
            let inside = x.clamp(lo, hi);
            let p = &self.coordinates[c];
            p.value(inside).unwrap_or(f64::NAN)
                + (x - inside) * p.derivative(inside).unwrap_or(f64::NAN)
        };
        let v = Vector3::new(at(0), at(1), at(2));
        match self.space {
            Space::Absorbance => Relative(v.map(f64::exp).into()),
            Space::Lab => Lab::from(v).to_relative(),
        }
    }

    /// Steps of the chart.
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Never: a curve has at least three steps.
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// Colour at a position among the steps (0 = first). Positions outside 0..=len-1 go on straight.
    pub fn relative(&self, position: f64) -> Relative {
        self.relative_at_value(self.value_at(position))
    }

    /// CIELAB at a position among the steps.
    pub fn lab(&self, position: f64) -> Lab {
        self.relative(position).to_lab()
    }

    /// What a share of more concentration adds to a colour (natural log of relative light) at a position among the steps: with one dye,
    /// the same as that share of a longer path (Beer-Lambert law), also where the phone crushes a channel.
    pub fn per_share(&self, position: f64) -> Vector3<f64> {
        let last = (self.len() - 1) as f64;
        let at = position.clamp(0.0, last);
        let (p, q) = ((at - NEAR_BY).max(0.0), (at + NEAR_BY).min(last));
        let ln = |p: f64| Vector3::from(self.relative(p).0).map(f64::ln);
        (ln(q) - ln(p)) * (self.value_at(at) / (self.value_at(q) - self.value_at(p)))
    }

    fn value_at(&self, position: f64) -> f64 {
        value_at(&self.values, position)
    }

    /// Covariance of the curve at a position, CIELAB: that of the steps and that of the interpolation between them.
    pub fn covariance(&self, position: f64) -> (Matrix3<f64>, Matrix3<f64>) {
        let last = self.values.len() - 1;
        let p = position.clamp(0.0, last as f64);
        let i = (p.floor() as usize).min(last - 1);
        let t = p - i as f64;
        let j = self.relative(p).lab_jacobian_ln();
        let steps = j
            * (self.step_cov[i] * (1.0 - t).powi(2) + self.step_cov[i + 1] * t.powi(2))
            * j.transpose();
        let place = p * PER_INTERVAL as f64;
        let k = (place as usize).min(self.others.len() - 2);
        let u = place - k as f64;
        let others = self.others[k] * (1.0 - u) + self.others[k + 1] * u;
        (
            steps,
            self.between[i] * (4.0 * t * (1.0 - t)).powi(2) + others,
        )
    }

    /// How far along the curve its last step may be off, standard uncertainty in steps.
    pub fn end_unsure(&self) -> f64 {
        let end = (self.values.len() - 1) as f64;
        let along = (self.lab(end).to_vector() - self.lab(end - NEAR_END).to_vector()) / NEAR_END;
        let (steps, _) = self.covariance(end);
        (along.transpose() * steps * along)[(0, 0)].sqrt() / along.norm_squared().max(1e-9)
    }
}

/// The concentration at a position among steps of these values; outside them it goes on straight.
pub(super) fn value_at(values: &[f64], position: f64) -> f64 {
    let i = (position.floor().max(0.0) as usize).min(values.len() - 2);
    values[i] + (position - i as f64) * (values[i + 1] - values[i])
}

/// Part of a step to either side over which the course of the curve is taken.
const NEAR_BY: f64 = 0.1;
/// Part of a step over which the course of the curve at its end is taken.
const NEAR_END: f64 = 0.25;

fn axis_of(axis: Axis, value: f64, values: &[f64]) -> f64 {
    let from_first = value - values[0];
    // The scale of the logarithm is the first interval of the chart itself.
    let scale = values[1] - values[0];
    match axis {
        Axis::Linear => from_first,
        Axis::SquareRoot => from_first.signum() * from_first.abs().sqrt(),
        Axis::Log1p => (from_first / scale).max(-0.99).ln_1p(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Steps known exactly, of these values and colours (natural log).
    fn dyed(values: &[f64], ln: impl Fn(f64) -> [f64; 3]) -> Vec<Step> {
        values
            .iter()
            .map(|value| Step {
                value: *value,
                ln: ln(*value),
                covariance: [[0.0; 3]; 3],
                photos: 2,
                clear: None,
            })
            .collect()
    }

    /// Variance of the curve between the first two steps, CIELAB, of a dye whose absorbance runs as `of` along concentration.
    fn open(of: impl Fn(f64) -> f64) -> f64 {
        let steps = dyed(&[0.0, 1.0, 2.0, 4.0, 8.0], |value| {
            [-0.1, -1.0, -0.4].map(|a| a * of(value))
        });
        let curve = Curve::new(&steps, &Choice::choose(&steps).unwrap()).unwrap();
        assert!(curve.covariance(1.0).1.trace() < 1e-12, "a step is known");
        curve.covariance(0.5).1.trace()
    }

    /// Where one axis predicts left-out steps and the others do not, it is believed; where none does, they tell what is open.
    #[test]
    fn axes_that_predict_no_better_leave_the_curve_open() {
        let clear = open(|c| 0.2 * c);
        let jagged = open(|c| match c {
            c if c < 1.5 => 0.25 * c,
            c if c < 3.0 => 0.8,
            c => 0.6 + 0.1 * c,
        });
        assert!(clear < 0.01 && jagged > 1.0, "{clear} {jagged}");
    }

    /// Synthetic-known: with one dye, whose absorbance goes with concentration, a share of more concentration adds that share of the
    /// colour; a channel that is crushed from half of the chart on shows no more of it there.
    #[test]
    fn more_of_one_dye_adds_its_share_of_the_colour() {
        let at_6 = |red: fn(f64) -> f64| {
            let steps = dyed(&[0.0, 2.0, 4.0, 8.0], |c| [red(c), -0.3 * c, -0.1 * c]);
            let choice = Choice {
                space: Space::Absorbance,
                axis: Axis::Linear,
                left_out_error: None,
            };
            Curve::new(&steps, &choice).unwrap().per_share(2.5)
        };
        let clear = at_6(|c| -0.5 * c);
        assert!(
            (clear - Vector3::new(-3.0, -1.8, -0.6)).amax() < 1e-6,
            "{clear}"
        );
        let crushed = at_6(|c| -0.5 * c.min(4.0));
        assert!(
            (crushed - Vector3::new(0.0, -1.8, -0.6)).amax() < 1e-6,
            "{crushed}"
        );
    }
}
