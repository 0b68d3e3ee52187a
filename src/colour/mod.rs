//! Colour types that forbid mistakes, and the colour arithmetic of the whole program.
//!
//! Light as the photo recorded it is [`CameraRgb`]; light relative to bare paper (paper = 1, 1, 1) is [`Relative`]. The
//! one does not turn into the other by accident, and only the second has a CIELAB value: see [`Lab`].
//!
//! Never here: a guess about the light of a scene. Whoever turns [`CameraRgb`] into [`Relative`] divides by the paper.
//!
//! Science: CIELAB from CIE 15:2018 and ISO/CIE 11664-4:2019; primaries from ITU-R BT.2020-2 and IEC 61966-2-1:1999;
//! adaptation from ICC.1:2022 Annex E; difference from Sharma, Wu, Dalal 2005.

mod adapt;
mod difference;
mod lab;
mod space;
mod srgb;

pub use adapt::bradford;
pub use difference::ciede2000;
pub use lab::Lab;
pub use space::{D65, Primaries, RgbSpace, White};
pub use srgb::{srgb_decode, srgb_encode};

/// Linear light as photographed: BT.2020 primaries, white D65, 1 = the file's white. Components are not negative.
///
/// It has no CIELAB value, for nobody said yet what white is:
///
/// ```compile_fail,E0599
/// let pixel = tintwell::colour::CameraRgb([0.4, 0.3, 0.2]);
/// pixel.to_lab();
/// ```
///
/// Light that was divided by that of the paper has one:
///
/// ```
/// use tintwell::colour::Relative;
/// let (pixel, paper) = ([0.4, 0.3, 0.2], [0.8, 0.6, 0.4]);
/// let grey = Relative(std::array::from_fn(|i| pixel[i] / paper[i])).to_lab();
/// assert!((grey.l - 76.07).abs() < 0.01 && grey.a.abs() < 1e-9 && grey.b.abs() < 1e-9);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CameraRgb(pub [f64; 3]);

/// Linear light relative to bare paper under the same light: BT.2020 primaries, bare paper = (1, 1, 1).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Relative(pub [f64; 3]);
