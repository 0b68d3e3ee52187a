//! From a colour to a concentration, with its uncertainty.

pub mod limits;
pub mod line;
