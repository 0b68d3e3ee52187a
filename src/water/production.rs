//! How much of a substance is made in a week, from readings between which water was changed.
//!
//! A change takes out its share of what is there and brings in the source water's; between changes the level rises evenly.
//! So each reading is a sum of three known parts: what is left of the first level, what was made and is left, and what came
//! in with source water. The first level and the production are fitted to the readings. Without a change this is the line
//! of [`crate::trend::slope`]; with changes it is that slope with what they took out put back. Never says what makes or uses
//! the substance: doses, new filter material and the like count as made or used up.
//!
//! Science: balance of mass; the fit is that of [`crate::trend::likelihood`], so that readings beyond a limit stay bounds.

use nalgebra::DMatrix;
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, StudentsT};

use super::{Estimate, check};
use crate::error::{Error, Result};
use crate::trend::likelihood::{Tau, maximise};
use crate::trend::slope::LEAST_READINGS;
use crate::trend::{LEVEL, Point, Seen, WEEK, days_with_values};

/// A water change that was made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// Days since the origin of the readings' days. A reading of the same instant counts as taken before it.
    pub day: f64,
    /// Share of the water that was changed, above 0, at most 1; counts as exact.
    pub share: f64,
}

/// What the readings say of the production.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Production {
    /// Rise in a week without a change, in the unit of the test; negative if more is used up than made.
    pub per_week: f64,
    /// Its interval at 95 %: Student's t for the readings, and the source water's uncertainty.
    pub low: f64,
    pub high: f64,
    /// Water changes between the first and the last reading.
    pub changes: usize,
    /// Degrees of freedom of the readings' part.
    pub freedom: f64,
}

/// 95 % of a normal distribution lies within so many standard deviations.
const K95: f64 = 1.96;

impl Production {
    /// The production with the standard uncertainty of a normal distribution as wide as the interval.
    pub fn estimate(&self) -> Estimate {
        Estimate::new(self.per_week, (self.high - self.low) / 2.0 / K95)
    }
}

/// The production by readings (any order) and the changes made meanwhile (any order; those before the first and after the
/// last reading do not count), with water of `source`.
///
/// # Errors
/// Fewer than three readings, fewer than two days with values, a reading that cannot be used, a share out of range, a
/// negative source, or readings that cannot tell the production (as after changes of all the water).
pub fn production(points: &[Point], changes: &[Change], source: Estimate) -> Result<Production> {
    let source = check::amount("source water", source)?;
    for change in changes {
        check::share("share of a change", Estimate::exact(change.share))?;
        if !change.day.is_finite() {
            return Err(Error::new(
                format!("the day of a change is {}", change.day),
                "give the day as a number",
            ));
        }
    }
    let value_days = days_with_values(points);
    if points.len() < LEAST_READINGS || value_days < 2 {
        return Err(Error::new(
            format!(
                "a production needs at least {LEAST_READINGS} readings, with values (not only bounds) on 2 days: there are \
                 {}, with values on {}",
                points.len(),
                value_days
            ),
            "add readings on other days, or give the production yourself",
        ));
    }
    let ends = points
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), p| {
            (a.min(p.day), b.max(p.day))
        });
    let mut between: Vec<Change> = changes
        .iter()
        .filter(|c| c.day >= ends.0 && c.day < ends.1)
        .copied()
        .collect();
    between.sort_by(|a, b| a.day.total_cmp(&b.day));

    let parts: Vec<Parts> = points
        .iter()
        .map(|p| Parts::on(p.day, ends.0, &between))
        .collect();
    let design = DMatrix::from_fn(points.len(), 2, |i, j| match j {
        0 => parts[i].kept,
        _ => parts[i].made,
    });
    let with = |source: f64| {
        let less: Vec<Point> = points
            .iter()
            .zip(&parts)
            .map(|(p, part)| Point {
                seen: lowered(p.seen, source * part.brought),
                ..*p
            })
            .collect();
        maximise(&less, &design, Tau::Restricted)
    };
    let fit = with(source.value)?;
    let per_week = fit.coefficients[1];
    let t = StudentsT::new(0.0, 1.0, fit.freedom)
        .map_err(|_| {
            Error::new(
                "the readings are too few to tell how sure they are",
                "add readings",
            )
        })?
        .inverse_cdf(0.5 * (1.0 + LEVEL));
    let by_source = if source.u > 0.0 && !between.is_empty() {
        with(source.value + source.u)?.coefficients[1] - per_week
    } else {
        0.0
    };
    let half = (t * fit.covariance[(1, 1)].sqrt()).hypot(K95 * by_source);
    Ok(Production {
        per_week,
        low: per_week - half,
        high: per_week + half,
        changes: between.len(),
        freedom: fit.freedom,
    })
}

/// What a level is made of.
struct Parts {
    /// Share of the first day's level that is left.
    kept: f64,
    /// Weeks of production that are left.
    made: f64,
    /// Share of the water that came in by changes.
    brought: f64,
}

impl Parts {
    fn on(day: f64, first: f64, changes: &[Change]) -> Parts {
        let mut parts = Parts {
            kept: 1.0,
            made: 0.0,
            brought: 0.0,
        };
        let mut since = first;
        for change in changes.iter().filter(|c| c.day < day) {
            let stays = 1.0 - change.share;
            parts.kept *= stays;
            parts.made = (parts.made + (change.day - since) / WEEK) * stays;
            parts.brought = parts.brought * stays + change.share;
            since = change.day;
        }
        parts.made += (day - since) / WEEK;
        parts
    }
}

fn lowered(seen: Seen, by: f64) -> Seen {
    match seen {
        Seen::Value { value, u } => Seen::Value {
            value: value - by,
            u,
        },
        Seen::Below(limit) => Seen::Below(limit - by),
        Seen::Above(limit) => Seen::Above(limit - by),
    }
}
