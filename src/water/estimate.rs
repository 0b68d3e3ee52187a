//! A value with its standard uncertainty.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};

/// A value with its standard uncertainty (JCGM 100:2008, 2.3.1), both in the same unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    pub value: f64,
    /// Standard uncertainty, 0 or more; 0 for an exact value.
    pub u: f64,
}

impl Estimate {
    /// A value with its standard uncertainty. Checked where it is used.
    pub fn new(value: f64, u: f64) -> Self {
        Estimate { value, u }
    }

    /// A value without uncertainty.
    pub fn exact(value: f64) -> Self {
        Estimate { value, u: 0.0 }
    }

    /// A result from its contributions: each the sensitivity to an input times that input's standard uncertainty, inputs
    /// independent (JCGM 100:2008, equation 10).
    ///
    /// # Errors
    /// If the result is no finite number: inputs within their ranges, but of units that do not go together.
    pub(super) fn from_contributions(value: f64, contributions: &[f64]) -> Result<Self> {
        let u = contributions.iter().fold(0.0, |u: f64, c| u.hypot(*c));
        if value.is_finite() && u.is_finite() {
            Ok(Estimate { value, u })
        } else {
            Err(Error::new(
                format!("the result is too large for a number ({value} with uncertainty {u})"),
                "check the units of what you gave",
            ))
        }
    }
}
