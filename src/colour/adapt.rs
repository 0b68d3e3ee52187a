//! Chromatic adaptation: how XYZ under one white corresponds to XYZ under another.
//!
//! Linear Bradford, as ICC.1:2022 Annex E prescribes for profiles. It serves values that are *stated* under a white
//! (profile colourants, published tables). The light of a photo is never "adapted": it is divided by bare paper.

use nalgebra::{Matrix3, Vector3};

use super::White;

/// XYZ to the sharpened cone responses of Lam (1985), ICC.1:2022 Annex E.
const CONES: Matrix3<f64> = Matrix3::new(
    0.8951, 0.2664, -0.1614, //
    -0.7502, 1.7135, 0.0367, //
    0.0389, -0.0685, 1.0296,
);

/// Matrix that takes XYZ under white `from` to XYZ under white `to` (both on one scale, cone responses not 0).
///
/// It takes `from` itself to `to`, up to rounding.
pub fn bradford(from: White, to: White) -> Matrix3<f64> {
    let seen = |white: White| CONES * Vector3::from(white.0);
    let gains = seen(to).component_div(&seen(from));
    let back = CONES
        .try_inverse()
        .expect("a constant matrix with an inverse");
    back * Matrix3::from_diagonal(&gains) * CONES
}
