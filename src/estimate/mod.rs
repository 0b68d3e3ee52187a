//! From a colour and a chart to a concentration with its interval.
//!
//! [`budget`] says how uncertain the colour is and why; [`posterior`] turns colour and curve into a density over
//! concentration. A second answer is never hidden. [`combine`] makes one value of those of several photos.

pub mod budget;
pub mod combine;
pub mod dilution;
pub mod posterior;
pub(crate) mod student;
