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
}

/// With a step left out the gap is twice as wide; the error of a smooth interpolant falls at least with the square of
/// the gap, so a quarter of the left-out error remains in the middle of a gap.
const GAP_SHARE: f64 = 0.25;

impl Choice {
    /// Chooses space and axis by leave-one-step-out error. At least three steps, in rising order of value.
    ///
    /// # Errors
    /// If the steps cannot be interpolated (fewer than three, or not rising).
    pub fn choose(steps: &[Step]) -> Result<Choice> {
        let mut best: Option<Choice> = None;
        for space in [Space::Absorbance, Space::Lab] {
            for axis in [Axis::Linear, Axis::SquareRoot, Axis::Log1p] {
                Curve::through(steps, space, axis)?;
                let errors = left_out(steps, space, axis);
                let score = (!errors.is_empty()).then(|| {
                    (errors.iter().map(|e| e.1.norm_squared()).sum::<f64>() / errors.len() as f64)
                        .sqrt()
                });
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
        Ok(curve)
    }

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
            between: vec![Matrix3::zeros(); values.len() - 1],
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
        let i = (position.floor().max(0.0) as usize).min(self.values.len() - 2);
        let value = self.values[i] + (position - i as f64) * (self.values[i + 1] - self.values[i]);
        self.relative_at_value(value)
    }

    /// CIELAB at a position among the steps.
    pub fn lab(&self, position: f64) -> Lab {
        self.relative(position).to_lab()
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
        (steps, self.between[i] * (4.0 * t * (1.0 - t)).powi(2))
    }
}

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
