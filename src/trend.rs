//! Is it getting better, and did what I did help? From the readings of one water and one test.
//!
//! * [`slope`]: the line through the readings, with its interval,
//! * [`theil_sen`]: the same question asked in a way that one wild reading cannot sway,
//! * [`split`]: before and after something that was done,
//! * [`forecast`]: when the line would reach a limit.
//!
//! A reading under or over what the test can show stays what it is, a bound: no number is put in its place. The scatter of
//! the water itself, beyond what the readings' uncertainties explain, is estimated along. Never says why a level changed:
//! whatever else happened on the day of an event is counted with it. Knows no calendar: days are numbers.
//!
//! Science: Tobin (1958) Econometrica 26(1):24-36 and Helsel (2012) *Statistics for Censored Environmental Data*, 2nd ed.,
//! for readings beyond a limit; the files name the rest.

pub mod forecast;
pub mod likelihood;
pub mod slope;
pub mod split;
pub mod theil_sen;

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

use crate::error::{Error, Result};
use crate::estimate::student::student_t;

/// Coverage of every interval of this module, unless a function takes another.
pub const LEVEL: f64 = 0.95;
/// Degrees of freedom from which on an interval is that of the normal distribution, as where nothing had to be estimated:
/// Student's t is within 0.02 % of it there.
pub const AS_KNOWN: f64 = 1e4;
/// Slopes are per week: the rhythm in which most keepers test and change water (common practice).
pub const WEEK: f64 = 7.0;

/// One reading of the series.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// Days since any origin; parts of a day count.
    pub day: f64,
    /// What was read.
    pub seen: Seen,
    /// How far the reading is trusted, above 0 and at most 1: its log-likelihood counts so many times.
    pub weight: f64,
}

/// What a reading says, in the unit of the test.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Seen {
    /// A value with its standard uncertainty, above 0.
    Value { value: f64, u: f64 },
    /// Less than this: the test could not show so little.
    Below(f64),
    /// More than this: the test could not show so much.
    Above(f64),
}

impl Seen {
    /// Is it a bound only?
    pub fn is_censored(&self) -> bool {
        !matches!(self, Seen::Value { .. })
    }

    /// The value, or the limit.
    fn number(&self) -> f64 {
        match *self {
            Seen::Value { value, .. } => value,
            Seen::Below(limit) | Seen::Above(limit) => limit,
        }
    }
}

/// A number estimated from the readings, with its interval at [`LEVEL`].
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Effect {
    /// The estimate.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// The ends of its interval.
    pub low: f64,
    pub high: f64,
}

impl Effect {
    fn new(value: f64, variance: f64, freedom: f64) -> Effect {
        let u = variance.sqrt();
        let half = quantile(freedom) * u;
        Effect {
            value,
            u,
            low: value - half,
            high: value + half,
        }
    }

    /// Does the interval leave out zero?
    pub fn is_settled(&self) -> bool {
        self.low > 0.0 || self.high < 0.0
    }
}

/// Refuses readings that cannot be used.
///
/// # Errors
/// If a day, value or limit is not finite, an uncertainty not above 0, or a weight not above 0 and at most 1.
fn check(points: &[Point]) -> Result<()> {
    for (i, p) in points.iter().enumerate() {
        let wrong = |what: String, fix: &str| {
            Err(Error::new(what, fix).about(format!("reading {}", i + 1)))
        };
        if !p.day.is_finite() {
            return wrong(format!("its day is {}", p.day), "give the day as a number");
        }
        if !p.seen.number().is_finite() {
            return wrong(
                format!("its value or limit is {}", p.seen.number()),
                "give a number, or leave the reading out",
            );
        }
        if let Seen::Value { u, .. } = p.seen
            && !(u.is_finite() && u > 0.0)
        {
            return wrong(
                format!("its standard uncertainty is {u}"),
                "give an uncertainty above 0 in the unit of the value",
            );
        }
        if !(p.weight > 0.0 && p.weight <= 1.0) {
            return wrong(
                format!("its weight is {}", p.weight),
                "give a weight above 0 and at most 1, or leave the reading out",
            );
        }
    }
    Ok(())
}

/// How many different days there are.
fn distinct(days: impl Iterator<Item = f64>) -> usize {
    sorted_distinct(days).len()
}

/// Days from one reading to the next from which on they count as of two days: from an evening to the morning after.
const APART: f64 = 0.4;

/// On how many days there are values, not only bounds: those of less than [`APART`] count as of one.
pub(crate) fn days_with_values(points: &[Point]) -> usize {
    let values = points.iter().filter(|p| !p.seen.is_censored());
    let mut count = 0;
    let mut last = f64::NEG_INFINITY;
    for day in sorted_distinct(values.map(|p| p.day)) {
        if day - last >= APART {
            (count, last) = (count + 1, day);
        }
    }
    count
}

/// The different days in order.
fn sorted_distinct(days: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut days: Vec<f64> = days.collect();
    days.sort_by(f64::total_cmp);
    // Through `==`, so that -0 and 0 are one day.
    days.dedup_by(|a, b| a == b);
    days
}

/// The middle of finite numbers in order, at least one of them.
fn median(sorted: &[f64]) -> f64 {
    let n = sorted.len();
    if n % 2 == 1 {
        sorted[n / 2]
    } else {
        0.5 * (sorted[n / 2 - 1] + sorted[n / 2])
    }
}

/// Half width of the interval at [`LEVEL`] in standard uncertainties.
fn quantile(freedom: f64) -> f64 {
    let below = 0.5 * (1.0 + LEVEL);
    if freedom < AS_KNOWN {
        student_t(freedom).inverse_cdf(below)
    } else {
        Normal::standard().inverse_cdf(below)
    }
}

/// Probability that what is estimated as `value` with uncertainty `u` lies below zero.
fn chance_below_zero(value: f64, u: f64, freedom: f64) -> f64 {
    student_t(freedom).cdf(-value / u)
}
