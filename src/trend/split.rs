//! Did it help? The readings before an event against those after it.
//!
//! With enough readings, two lines that share one scatter of the water: by how much the level jumped on the day of the event,
//! and how the slope changed. With fewer, two levels; then a slope that was there all along counts as a jump. Never says that
//! the event was the cause: whatever else happened on that day is counted with it.
//!
//! Science: segmented regression of an interrupted series, Wagner et al. (2002) J. Clin. Pharm. Ther. 27(4):299-309;
//! [`super::likelihood`] for the fit.

use nalgebra::{DMatrix, DVector, Matrix4, Vector4};
use serde::{Deserialize, Serialize};

use super::likelihood::{Fit, Tau, maximise, worth};
use super::{
    Effect, Point, Seen, WEEK, chance_below_zero, check, distinct, median, quantile,
    sorted_distinct,
};
use crate::error::{Error, Result};

/// What is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Model {
    /// A line before against a line after.
    Lines,
    /// A level before against a level after.
    Levels,
}

/// Before against after.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Split {
    /// The day of the event; a reading on its very instant counts as before.
    pub event_day: f64,
    /// What the readings were enough for.
    pub model: Model,
    /// Level at the event's day by the readings before, and by those after, in the unit of the test.
    pub before: Effect,
    pub after: Effect,
    /// After less before.
    pub step: Effect,
    /// Probability that the step is downwards, between 0 and 1.
    pub chance_fell: f64,
    /// Slope after less slope before, per week, and the two; `None` if only levels are compared.
    pub slope_change: Option<Effect>,
    pub slope_before: Option<Effect>,
    pub slope_after: Option<Effect>,
    /// Standard deviation of the water beyond the uncertainties of the readings.
    pub tau: f64,
    /// Readings on either side.
    pub n_before: usize,
    pub n_after: usize,
    /// Degrees of freedom of the intervals (Student's t; [`super::AS_KNOWN`] where nothing had to be estimated).
    pub freedom: f64,
    /// For levels on other days.
    numbers: Numbers,
}

/// Level before, step, slope before and change of slope, with their covariance; those that a model lacks are zero.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Numbers {
    values: [f64; 4],
    covariance: [[f64; 4]; 4],
    freedom: f64,
}

impl Numbers {
    fn of(fit: &Fit) -> Numbers {
        let n = fit.coefficients.len();
        let known = |i: usize, j: usize| i < n && j < n;
        Numbers {
            values: std::array::from_fn(|i| if i < n { fit.coefficients[i] } else { 0.0 }),
            covariance: std::array::from_fn(|i| {
                std::array::from_fn(|j| {
                    if known(i, j) {
                        fit.covariance[(i, j)]
                    } else {
                        0.0
                    }
                })
            }),
            freedom: fit.freedom,
        }
    }

    fn along(&self, direction: [f64; 4]) -> Effect {
        let c = Vector4::from(direction);
        // Symmetric, so that rows or columns do not matter.
        let covariance = Matrix4::from(self.covariance);
        Effect::new(
            c.dot(&Vector4::from(self.values)),
            c.dot(&(covariance * c)),
            self.freedom,
        )
    }
}

/// One of the two sides of an event.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    Before,
    After,
}

impl Split {
    /// The same of readings that have errors of these variances in common, those before and those after: they move the levels. What
    /// both sides have in common the step has not.
    #[must_use]
    pub fn with_common(mut self, before: f64, after: f64) -> Split {
        let wider =
            |e: Effect, variance: f64| Effect::new(e.value, e.u * e.u + variance, self.freedom);
        self.before = wider(self.before, before);
        self.after = wider(self.after, after);
        self
    }

    /// Level on a day by the readings of one side, whichever side the day is on.
    pub fn level_at(&self, side: Side, day: f64) -> Effect {
        let after = match side {
            Side::Before => 0.0,
            Side::After => 1.0,
        };
        let weeks = (day - self.event_day) / WEEK;
        self.numbers.along([1.0, after, weeks, after * weeks])
    }
}

/// Readings on each side for two lines: as for one ([`super::slope::LEAST_READINGS`]).
const FOR_LINES: usize = super::slope::LEAST_READINGS;
/// Readings on each side for two levels: the second tells how sure the first is.
const FOR_LEVELS: usize = 2;
/// Most further readings worth telling: four years of weekly ones. Whoever needs more cannot settle it by testing.
const MOST_FURTHER: usize = 200;

/// Compares the readings after an event with those before it.
///
/// A reading on the event's very instant (its `day` is `event_day`) counts as before: what is done is mostly the answer to a
/// reading. Whoever knows days only, and read after the event on its day, gives that reading a later part of the day.
///
/// # Errors
/// If a reading cannot be used, or there are too few; the error says how many more are needed on which side.
pub fn split(points: &[Point], event_day: f64) -> Result<Split> {
    let (model, fit) = compare(points, event_day)?;
    let numbers = Numbers::of(&fit);
    let slope = |direction| (model == Model::Lines).then(|| numbers.along(direction));
    let step = numbers.along([0.0, 1.0, 0.0, 0.0]);
    let n_after = points.iter().filter(|p| p.day > event_day).count();
    Ok(Split {
        event_day,
        model,
        before: numbers.along([1.0, 0.0, 0.0, 0.0]),
        after: numbers.along([1.0, 1.0, 0.0, 0.0]),
        step,
        chance_fell: chance_below_zero(step.value, step.u, fit.freedom),
        slope_change: slope([0.0, 0.0, 0.0, 1.0]),
        slope_before: slope([0.0, 0.0, 1.0, 0.0]),
        slope_after: slope([0.0, 0.0, 1.0, 1.0]),
        tau: fit.tau,
        n_before: points.len() - n_after,
        n_after,
        freedom: fit.freedom,
        numbers,
    })
}

/// How many further readings after the event would make the interval of the step leave out zero, if the present estimate
/// were the truth: one after the other at the usual spacing (median between days of readings), each a trusted value of the
/// usual uncertainty (median) that adds one degree of freedom, in the present model. 0 if it does so now, `None` if 200 do
/// not suffice.
///
/// # Errors
/// As [`split`].
pub fn readings_to_settle(points: &[Point], event_day: f64) -> Result<Option<usize>> {
    let (model, fit) = compare(points, event_day)?;
    let days = sorted_distinct(points.iter().map(|p| p.day));
    let mut gaps: Vec<f64> = days.windows(2).map(|d| d[1] - d[0]).collect();
    gaps.sort_by(f64::total_cmp);
    let mut own: Vec<f64> = points
        .iter()
        .filter_map(|p| match p.seen {
            Seen::Value { u, .. } => Some(u),
            _ => None,
        })
        .collect();
    own.sort_by(f64::total_cmp);
    let (gap, last) = (median(&gaps), days[days.len() - 1]);
    let variance = median(&own).powi(2) + fit.tau * fit.tau;
    let mut covariance = fit.covariance.clone();
    for further in 0..=MOST_FURTHER {
        let half = quantile(fit.freedom + further as f64) * covariance[(1, 1)].sqrt();
        if fit.coefficients[1].abs() > half {
            return Ok(Some(further));
        }
        // One more reading, without inverting anew (Sherman & Morrison 1950, Ann. Math. Stat. 21(1):124-127).
        let row = row(model, last + gap * (further + 1) as f64, event_day);
        let seen = &covariance * &row;
        covariance -= &seen * seen.transpose() / (variance + row.dot(&seen));
    }
    Ok(None)
}

/// The best model that the readings suffice for, and its fit: level before, step, and with lines slope before and change.
fn compare(points: &[Point], event_day: f64) -> Result<(Model, Fit)> {
    check(points)?;
    if !event_day.is_finite() {
        return Err(Error::new(
            format!("the day of the event is {event_day}"),
            "give the day as a number",
        ));
    }
    let (after, before): (Vec<Point>, Vec<Point>) = points.iter().partition(|p| p.day > event_day);
    let value_days =
        |side: &[Point]| distinct(side.iter().filter(|p| !p.seen.is_censored()).map(|p| p.day));
    let lines = [&before, &after].iter().all(|s| s.len() >= FOR_LINES && value_days(s) >= 2)
        // Doubtful readings that are not worth more than the four numbers may still tell two levels.
        && worth(points) > 4.0;
    let missing = |side: &[Point]| {
        let readings = FOR_LEVELS.saturating_sub(side.len());
        readings.max(usize::from(value_days(side) == 0))
    };
    let (more_before, more_after) = (missing(&before), missing(&after));
    if more_before + more_after > 0 {
        let found = |side: &[Point]| {
            let values = side.iter().filter(|p| !p.seen.is_censored()).count();
            format!("{} ({values} of them values)", side.len())
        };
        let sides: Vec<String> = [(more_before, "from before"), (more_after, "after")]
            .iter()
            .filter(|(more, _)| *more > 0)
            .map(|(more, side)| format!("{more} more {side} the event"))
            .collect();
        return Err(Error::new(
            format!(
                "readings before the event: {}, after it: {}; each side needs {FOR_LEVELS}, one of them a value",
                found(&before),
                found(&after)
            ),
            format!(
                "add readings within the range of the test: {}",
                sides.join(", ")
            ),
        ));
    }
    let model = if lines { Model::Lines } else { Model::Levels };
    let columns = row(model, event_day, event_day).len();
    let mut design = DMatrix::zeros(points.len(), columns);
    for (i, p) in points.iter().enumerate() {
        design.set_row(i, &row(model, p.day, event_day).transpose());
    }
    Ok((model, maximise(points, &design, Tau::Restricted)?))
}

/// What a reading on a day says of the coefficients.
fn row(model: Model, day: f64, event_day: f64) -> DVector<f64> {
    let after = if day > event_day { 1.0 } else { 0.0 };
    let weeks = (day - event_day) / WEEK;
    match model {
        Model::Lines => DVector::from_vec(vec![1.0, after, weeks, after * weeks]),
        Model::Levels => DVector::from_vec(vec![1.0, after]),
    }
}
