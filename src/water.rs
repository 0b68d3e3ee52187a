//! Arithmetic around the water that a colour test reads: other ways to state a concentration, water changes, standards
//! to make a chart from, dilution of a sample above the chart, the un-ionised share of ammonia.
//!
//! Every result carries the uncertainty of what went in, propagated to first order: independent inputs, each with its
//! sensitivity, added as squares (JCGM 100:2008, equation 10). Never says whether a concentration is good or bad, and
//! never what to do about it.

pub mod ammonia;
mod check;
pub mod convert;
pub mod density;
mod estimate;
pub mod mixing;
pub mod over_range;
pub mod production;
pub mod routine;
pub mod series;
pub mod standards;
pub mod volume;

pub use estimate::Estimate;
