//! What inputs may be: one clear error for what is not a number, negative, or out of range.

use super::Estimate;
use crate::error::{Error, Result};

fn refuse(name: &str, found: f64, allowed: &str) -> Error {
    Error::new(
        format!("{found} is not possible here; allowed: {allowed}"),
        format!("give {name} as {allowed}"),
    )
    .about(name)
}

/// A number from `low` to `high`, ends included.
pub(super) fn within(name: &str, value: f64, low: f64, high: f64, unit: &str) -> Result<f64> {
    if (low..=high).contains(&value) {
        Ok(value)
    } else {
        let unit = if unit.is_empty() {
            String::new()
        } else {
            format!(" {unit}")
        };
        Err(refuse(name, value, &format!("{low} to {high}{unit}")))
    }
}

/// A finite number above 0.
pub(super) fn positive(name: &str, value: f64) -> Result<f64> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(refuse(name, value, "a number above 0"))
    }
}

/// A finite number of 0 or more.
pub(super) fn not_negative(name: &str, value: f64) -> Result<f64> {
    if value.is_finite() && value >= 0.0 {
        Ok(value)
    } else {
        Err(refuse(name, value, "a number of 0 or more"))
    }
}

/// The standard uncertainty of `name`: finite, 0 or more.
pub(super) fn uncertainty(name: &str, u: f64) -> Result<f64> {
    not_negative(&format!("standard uncertainty of {name}"), u)
}

/// An amount of 0 or more.
pub(super) fn amount(name: &str, estimate: Estimate) -> Result<Estimate> {
    not_negative(name, estimate.value)?;
    uncertainty(name, estimate.u)?;
    Ok(estimate)
}

/// An amount above 0.
pub(super) fn some(name: &str, estimate: Estimate) -> Result<Estimate> {
    positive(name, estimate.value)?;
    amount(name, estimate)
}

/// A share of a whole: above 0, at most 1.
pub(super) fn share(name: &str, estimate: Estimate) -> Result<Estimate> {
    uncertainty(name, estimate.u)?;
    if estimate.value > 0.0 && estimate.value <= 1.0 {
        Ok(estimate)
    } else {
        Err(refuse(
            name,
            estimate.value,
            "a share above 0, at most 1 (a quarter is 0.25)",
        ))
    }
}
