//! The line through the readings: how high, how fast, how sure.
//!
//! Level = a + b (day - centre), with a scatter of the water around it. Never bends: a series that first rose and then fell
//! is one line here, see [`super::split`].
//!
//! Science: weighted least squares with an unknown variance on top of known ones, as in Hartung, Knapp & Sinha (2008)
//! *Statistical Meta-Analysis with Applications*, chapter on meta-regression; [`super::likelihood`] for the rest.

use nalgebra::DMatrix;
use serde::{Deserialize, Serialize};

use super::likelihood::{Tau, maximise};
use super::{Effect, Point, WEEK, chance_below_zero, check, days_with_values};
use crate::error::{Error, Result};

/// A line through the readings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// The mean day of the readings by weight, where level and slope are nearly independent.
    pub centre: f64,
    /// Level there, in the unit of the test.
    pub level: f64,
    /// Change of the level in a week.
    pub slope_per_week: f64,
    /// Its interval, at 95 %.
    pub slope_interval: (f64, f64),
    /// Covariance of level and slope per week.
    pub covariance: [[f64; 2]; 2],
    /// Standard deviation of the water around the line, beyond the uncertainties of the readings.
    pub tau: f64,
    /// Readings used, and how many of them are bounds only.
    pub n: usize,
    pub n_censored: usize,
    /// Degrees of freedom of the intervals (Student's t; [`super::AS_KNOWN`] where nothing had to be estimated).
    pub freedom: f64,
    /// First and last day of the readings.
    pub first_day: f64,
    pub last_day: f64,
}

/// Least number of readings: two make a line, the third tells how well.
pub const LEAST_READINGS: usize = 3;

/// The line through the points.
///
/// # Errors
/// If there are fewer than three readings, fewer than two values on different days, a reading cannot be used, or the
/// readings cannot tell the scatter of the water.
pub fn fit(points: &[Point]) -> Result<Line> {
    check(points)?;
    let value_days = days_with_values(points);
    if points.len() < LEAST_READINGS || value_days < 2 {
        return Err(Error::new(
            format!(
                "a trend needs at least {LEAST_READINGS} readings, with values (not only bounds) on 2 days; readings: {}, days \
                 with values: {value_days}",
                points.len()
            ),
            "add readings on other days",
        ));
    }
    let sum: f64 = points.iter().map(|p| p.weight).sum();
    // From the first day on, so that a far origin of the days costs no digits.
    let origin = points[0].day;
    let centre = origin
        + points
            .iter()
            .map(|p| p.weight * (p.day - origin))
            .sum::<f64>()
            / sum;
    let design = DMatrix::from_fn(points.len(), 2, |i, j| match j {
        0 => 1.0,
        _ => (points[i].day - centre) / WEEK,
    });
    let fit = maximise(points, &design, Tau::Restricted)?;
    let v = &fit.covariance;
    let slope = Effect::new(fit.coefficients[1], v[(1, 1)], fit.freedom);
    Ok(Line {
        centre,
        level: fit.coefficients[0],
        slope_per_week: slope.value,
        slope_interval: (slope.low, slope.high),
        covariance: [[v[(0, 0)], v[(0, 1)]], [v[(1, 0)], v[(1, 1)]]],
        tau: fit.tau,
        n: points.len(),
        n_censored: points.iter().filter(|p| p.seen.is_censored()).count(),
        freedom: fit.freedom,
        first_day: points.iter().map(|p| p.day).fold(f64::INFINITY, f64::min),
        last_day: points
            .iter()
            .map(|p| p.day)
            .fold(f64::NEG_INFINITY, f64::max),
    })
}

impl Line {
    /// The line of readings that have an error of this variance in common: it moves all of them alike, and so the level, not the slope.
    #[must_use]
    pub fn with_common(mut self, variance: f64) -> Line {
        self.covariance[0][0] += variance;
        self
    }

    /// Level of the water on a day and its standard uncertainty, in the unit of the test: the line itself, without the
    /// scatter of the water around it.
    pub fn level_at(&self, day: f64) -> (f64, f64) {
        let weeks = (day - self.centre) / WEEK;
        let [[level, both], [_, slope]] = self.covariance;
        let variance = level + 2.0 * weeks * both + weeks * weeks * slope;
        (
            self.level + weeks * self.slope_per_week,
            variance.max(0.0).sqrt(),
        )
    }

    /// The same with its interval.
    pub fn at(&self, day: f64) -> Effect {
        let (level, u) = self.level_at(day);
        Effect::new(level, u * u, self.freedom)
    }

    /// Probability that the level falls, between 0 and 1.
    pub fn chance_falling(&self) -> f64 {
        chance_below_zero(
            self.slope_per_week,
            self.covariance[1][1].sqrt(),
            self.freedom,
        )
    }
}
