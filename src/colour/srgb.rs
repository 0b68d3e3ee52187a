//! sRGB code values: the transfer functions, and the way from [`Relative`] to a screen.
//!
//! The curve serves photos too, where their profile names it or is missing; the way to a screen serves swatches alone.
//!
//! Science: IEC 61966-2-1:1999 with Amendment 1:2003.

use nalgebra::Vector3;
use palette::encoding::{FromLinear, IntoLinear, Srgb};

use super::{Relative, RgbSpace};

/// Linear light 0..=1 of an encoded value 0..=1.
///
/// The standard's break point is rounded: at 0.04045 the two branches differ by 2.3e-9.
pub fn srgb_decode(encoded: f64) -> f64 {
    Srgb::into_linear(encoded)
}

/// Encoded value 0..=1 of linear light 0..=1; the inverse of [`srgb_decode`] but for the rounding of the break point.
pub fn srgb_encode(linear: f64) -> f64 {
    Srgb::from_linear(linear)
}

impl Relative {
    /// The 8-bit sRGB colour that shows this light on a screen whose white stands for paper. Colours that a screen
    /// cannot show are cut off channel by channel: for showing, not for measuring.
    pub fn to_srgb8(self) -> [u8; 3] {
        let linear = RgbSpace::Srgb.from_xyz() * RgbSpace::Bt2020.to_xyz() * Vector3::from(self.0);
        // A float cast saturates, and takes what is not a number to 0.
        std::array::from_fn(|i| (255.0 * srgb_encode(linear[i].clamp(0.0, 1.0))).round() as u8)
    }
}
