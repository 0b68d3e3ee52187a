//! A sample above the chart: how to dilute it so that the chart can read it.
//!
//! Knows only a lower bound of the sample, which may hold far more: it is brought down to the middle of the chart, where there is
//! as much room above it again. If the diluted sample is again above the chart, its new bound is the factor times the top, and
//! the next factor is twice the last. Never reads anything. Arithmetic: balance of mass.

use std::fmt;

use serde::Serialize;

use super::check;
use crate::error::{Error, Result};

/// One part of sample with so many parts of water free of the substance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OneTo {
    /// Parts of water to one part of sample, by volume; 1 or more.
    pub water: u32,
    /// Where the lower bound comes to lie: in the lower half of the chart, or at its middle.
    pub bound_then: f64,
}

impl OneTo {
    /// What a reading of the diluted sample, and its uncertainty, is multiplied by.
    pub fn factor(self) -> f64 {
        f64::from(self.water) + 1.0
    }
}

impl fmt::Display for OneTo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "1:{}", self.water)
    }
}

/// More parts of water than this are a chain of dilutions, whose uncertainty is another.
const MOST: f64 = 100.0;

/// A bound that is a whole number of tops but for rounding counts as one.
const ROUNDING: f64 = 1e-9;

/// The smallest dilution, one part of sample with a whole number of parts of water, that brings a sample of `at_least` from
/// at or above the chart's top down to the middle of the chart, half of its top, or under it. Both in the chart's unit.
///
/// # Errors
/// A bound below the top (the chart reads it as it is), more than 100 parts of water, anything not a number above 0.
pub fn dilution(at_least: f64, chart_top: f64) -> Result<OneTo> {
    let top = check::positive("top of the chart", chart_top)?;
    let bound = check::positive("lower bound", at_least)?;
    if bound < top {
        return Err(Error::new(
            format!("a sample of {bound} or more may lie within the chart, whose top is {top}"),
            "read it undiluted, or give a lower bound at or above the top",
        )
        .about("lower bound"));
    }
    // As many parts in all as half of the top goes into the bound; one of them is the sample.
    let water = (2.0 * (bound / top) * (1.0 - ROUNDING)).ceil() - 1.0;
    if water > MOST {
        return Err(Error::new(
            format!("to bring {bound} to the middle of the chart, whose top is {top}, takes more than {MOST:.0} parts of water"),
            "dilute in two stages, each with its own factor",
        )
        .about("lower bound"));
    }
    Ok(OneTo {
        water: water as u32,
        bound_then: bound / (water + 1.0),
    })
}
