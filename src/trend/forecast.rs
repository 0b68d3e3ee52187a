//! When would a limit be reached, if the line went on?
//!
//! From the interval of the line, its slope included: the limit may be reached from the day on which the interval touches
//! it, and is reached for sure on the day on which the interval has passed it. It is the level that is meant; single readings
//! scatter around it and pass the limit before. Never looks further ahead than the readings bear, and never says that the
//! water will go on as it did.
//!
//! Science: Fieller (1954) J. R. Stat. Soc. B 16(2):175-185 (the days are the ends of his interval for the crossing of a line
//! with a level).

use serde::{Deserialize, Serialize};

use super::quantile;
use super::slope::Line;
use crate::error::{Error, Result};

/// When a limit would be reached. Days are those of the readings' own count.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Crossing {
    /// The earliest day that the 95 % interval allows, not before the last reading.
    pub earliest: f64,
    /// Where the line itself gets there; `None` if not within [`HORIZON`].
    pub central: Option<f64>,
    /// The latest day that the interval allows; `None` if not within [`HORIZON`], or never.
    pub latest: Option<f64>,
}

/// How far ahead of the last reading a line is followed, in spans from the first reading to the last. A line that is known
/// over one span is a guess over three (common practice; at three the uncertainty of the slope has grown to seven times its
/// share at the ends).
pub const HORIZON: f64 = 3.0;
/// Halvings of the time ahead: down to the rounding of a day.
const HALVINGS: usize = 60;

/// The last day to which a line is followed.
pub fn horizon(line: &Line) -> f64 {
    line.last_day + HORIZON * (line.last_day - line.first_day)
}

/// When the line would reach a limit (in the unit of the test), from above or below. `None` if it is at the limit, or even the
/// earliest day is further than [`HORIZON`]. A line that leads away may still be told to reach it, if its interval does.
///
/// # Errors
/// If the limit is not finite.
pub fn crossing(line: &Line, limit: f64) -> Result<Option<Crossing>> {
    if !limit.is_finite() {
        return Err(Error::new(
            format!("the limit is {limit}"),
            "give the limit as a number in the unit of the test",
        ));
    }
    let ahead = limit - line.level_at(line.last_day).0;
    if ahead == 0.0 {
        return Ok(None);
    }
    let end = horizon(line);
    let t = quantile(line.freedom);
    // What is still missing on a day, for the line moved so many uncertainties towards the limit.
    let missing = |day: f64, towards: f64| {
        let (level, u) = line.level_at(day);
        (limit - level) * ahead.signum() - towards * u
    };
    let first = |towards: f64| {
        let (mut low, mut high) = (line.last_day, end);
        if missing(low, towards) <= 0.0 {
            return Some(low);
        }
        if missing(high, towards) > 0.0 {
            return None;
        }
        // A bound that leads towards the limit bends one way only and passes it once.
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if missing(middle, towards) > 0.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some(high)
    };
    Ok(first(t).map(|earliest| Crossing {
        earliest,
        central: first(0.0),
        latest: first(-t),
    }))
}
