//! How far apart two colours are.
//!
//! CIEDE2000 is for reporting: it jumps near opposite hues and near grey, so nothing is interpolated or optimised with it.
//! Where a smooth distance is needed, the straight one between [`Lab::to_vector`] serves.

use palette::{Lab as PaletteLab, color_difference::Ciede2000, white_point::D65};

use super::Lab;

/// CIEDE2000 difference with kL = kC = kH = 1. Symmetric. About 1 is just visible side by side.
///
/// Sharma, Wu, Dalal (2005) Color Research & Application 30(1):21-30, doi:10.1002/col.20070.
pub fn ciede2000(a: Lab, b: Lab) -> f64 {
    let of = |c: Lab| PaletteLab::<D65, f64>::new(c.l, c.a, c.b);
    of(a).difference(of(b))
}
