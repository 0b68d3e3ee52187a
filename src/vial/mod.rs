//! The vial: found inside the bay, its liquid sampled without walls, cap, meniscus, base, highlights and bubbles.
//!
//! [`bay::Bay`] is the rectified, flattened picture of the bay; [`find`] tells where the liquid is; [`sample`] takes its
//! colour with an honest covariance. Nothing is averaged that was not looked at.

pub mod bay;
pub mod find;
pub mod sample;
