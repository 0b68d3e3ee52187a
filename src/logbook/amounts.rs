//! Which numbers of a test a logbook takes: one place for the command line, the page and files that are imported.
//!
//! A concentration is never below nothing; a redox potential and a temperature may be below 0. Numbers beyond those of any
//! chart are slips, and are refused before they stand in every report.

use super::write::folded;
use super::{Amount, Limit, Reading, Source};
use crate::error::{Error, Result};
use crate::reading::is_ph;
use crate::report::number::plain;
use crate::report::text::clean;

/// Largest level, as of the steps of a chart.
pub(crate) const MOST: f64 = 1e9;

/// Units whose 0 is a mark on a scale and not "nothing of it".
const BELOW_ZERO: [&str; 9] = ["mv", "v", "°c", "c", "deg c", "degc", "°f", "f", "deg f"];

/// Tests whose number is a ratio or has no dimension by its definition (pH, IUPAC; practical salinity, UNESCO 1981; specific
/// gravity, a ratio of densities): a unit may be left away.
const WITHOUT_UNIT: [&str; 3] = ["ph", "salinity", "specific gravity"];

/// Top of the scale of pH that colour tests show.
const TOP_OF_PH: f64 = 14.0;

impl Amount {
    /// A value that may be off by `half`, half of a 95 % interval. The interval ends at 0 where nothing lies below.
    pub fn around(value: f64, half: f64, unit: &str) -> Amount {
        // Without the dust of binary fractions: these ends were told in a few digits.
        let told = |v: f64| format!("{v:.11e}").parse().unwrap_or(v);
        let low = told(value - half);
        let low = if goes_below_zero(unit) || value < 0.0 {
            low
        } else {
            low.max(0.0)
        };
        Amount::Value {
            value,
            low,
            high: told(value + half),
        }
    }

    /// The same with its interval ending at 0, where nothing lies below: tables have a value with as much on either side.
    pub(super) fn cut(self, unit: &str) -> Amount {
        match self {
            Amount::Value { value, low, high } if value >= 0.0 && !goes_below_zero(unit) => {
                Amount::Value {
                    value,
                    low: low.max(0.0),
                    high,
                }
            }
            other => other,
        }
    }
}

fn goes_below_zero(unit: &str) -> bool {
    BELOW_ZERO.contains(&folded(unit).as_str())
}

/// Whether a unit goes with a test, and whether the test has a level such as this.
pub(super) fn reading(r: &Reading) -> Result<()> {
    // A chart's unit is what the chart says.
    if r.source != Source::Photo {
        unit(&r.test, &r.unit)?;
    }
    let level = |what: &str, v: f64| level(&r.test, &r.unit, what, v);
    match r.answer {
        Amount::Value { value, low, high } => {
            level("the value", value)?;
            end("the lower end of the interval", &r.test, &r.unit, low)?;
            end("the upper end of the interval", &r.test, &r.unit, high)
        }
        Amount::Below { high } => {
            level("the bound", high)?;
            if high == 0.0 && !goes_below_zero(&r.unit) {
                return Err(Error::new(
                    format!("{}: nothing is below 0 {}", clean(&r.test), clean(&r.unit)),
                    "give the least that the test shows as the bound",
                ));
            }
            Ok(())
        }
        Amount::Above { low } => level("the bound", low),
    }
}

/// The same of bounds that are to be kept.
pub(super) fn limit(l: &Limit) -> Result<()> {
    unit(&l.test, &l.unit)?;
    for (what, bound) in [("the lower limit", l.low), ("the upper limit", l.high)] {
        if let Some(v) = bound {
            level(&l.test, &l.unit, what, v)?;
        }
    }
    Ok(())
}

fn unit(test: &str, unit: &str) -> Result<()> {
    if !unit.trim().is_empty() || WITHOUT_UNIT.contains(&folded(test).as_str()) {
        return Ok(());
    }
    Err(Error::new(
        format!("{} has no unit", clean(test)),
        "give its unit, such as mg/L; only pH, salinity and specific gravity may have none",
    ))
}

fn level(test: &str, unit: &str, what: &str, v: f64) -> Result<()> {
    let least = if goes_below_zero(unit) { -MOST } else { 0.0 };
    let most = if is_ph(unit) || is_ph(test.trim()) {
        TOP_OF_PH
    } else {
        MOST
    };
    within(test, unit, what, v, (least, most))
}

/// An end of an interval may lie beyond where levels end.
fn end(what: &str, test: &str, unit: &str, v: f64) -> Result<()> {
    within(test, unit, what, v, (-MOST, MOST))
}

fn within(test: &str, unit: &str, what: &str, v: f64, (least, most): (f64, f64)) -> Result<()> {
    if (least..=most).contains(&v) {
        return Ok(());
    }
    let (test, unit) = (clean(test), clean(unit));
    let found = |v: f64| format!("{} {unit}", short(v)).trim_end().to_owned();
    let why = if v < least && least == 0.0 {
        ", below 0".to_owned()
    } else {
        String::new()
    };
    let except = if least == 0.0 && v < 0.0 {
        "; only in mV, °C or °F a level may be below 0"
    } else {
        ""
    };
    Err(Error::new(
        format!("{test}: {what} is {}{why}", found(v)),
        format!(
            "give a number from {} to {}{except}",
            short(least),
            short(most)
        ),
    ))
}

/// A number in few letters, however large it is.
fn short(v: f64) -> String {
    if v.abs() < MOST {
        plain(v)
    } else {
        format!("{v:e}")
    }
}

/// How much was dosed, added or taken out.
pub(super) fn dosed(amount: Option<f64>) -> Result<()> {
    match amount {
        Some(v) if !(0.0..=MOST).contains(&v) => Err(Error::new(
            format!("the amount is {}", short(v)),
            format!("give a number from 0 to {}", short(MOST)),
        )),
        _ => Ok(()),
    }
}
