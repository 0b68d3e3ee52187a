//! The chart: colours of known standards, and the curve through them.

pub mod pchip;
