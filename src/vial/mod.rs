//! The vial: found inside the bay, its liquid sampled without walls, cap, meniscus, base, highlights and bubbles.
//!
//! [`bay::BayPicture`] is the rectified, flattened picture of the bay; [`find`] tells where the liquid is in a vial seen from
//! the side, [`above`] in an open vial seen from above; [`sample`] takes its colour with an honest covariance. Nothing is
//! averaged that was not looked at.

pub mod above;
pub mod aside;
pub mod bay;
pub mod clear;
pub mod ends;
pub mod find;
pub(crate) mod gap;
pub mod lens;
mod lines;
pub mod sample;
pub mod slant;

use serde::Serialize;

/// A vial that was found, in plane units.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Found {
    /// Standing upright before the card, seen from the side.
    Standing(find::Vial),
    /// Open, seen from above.
    Open(above::Open),
}

impl Found {
    /// Outer width, or diameter of the mouth, plane units.
    pub fn width(&self) -> f64 {
        match self {
            Found::Standing(vial) => vial.width(),
            Found::Open(vial) => 2.0 * vial.mouth.r,
        }
    }
}
