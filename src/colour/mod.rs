//! Colour types that forbid mistakes.
//!
//! Light as the photo recorded it is [`CameraRgb`]; light relative to bare paper (paper = 1, 1, 1) is [`Relative`]. The
//! one does not turn into the other by accident, and only the second has a CIELAB value.

/// Linear light as photographed: BT.2020 primaries, white D65, 1 = the file's white. Components are not negative.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CameraRgb(pub [f64; 3]);

/// Linear light relative to bare paper under the same light: BT.2020 primaries, bare paper = (1, 1, 1).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Relative(pub [f64; 3]);
