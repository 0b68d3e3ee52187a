//! The stages of a reading, as spans of `tracing`: who wants to know where the time goes listens, and nobody else pays.
//!
//! Stages do not lie inside each other.

/// File read.
pub const FILE: &str = "file";
/// Decoding, profile, facts, hash.
pub const DECODE: &str = "decode";
/// The card found, or regions taken.
pub const CARD: &str = "card";
/// Paper and patches measured, light fitted.
pub const LIGHT: &str = "light";
/// Bay flattened, vial and liquid found.
pub const VIAL: &str = "vial";
/// How clear the liquid is, from the lines seen through it.
pub const LINES: &str = "lines";
/// Colour map chosen, liquid sampled.
pub const COLOUR: &str = "colour";
/// Budget, flags, value and interval.
pub const ESTIMATE: &str = "estimate";

/// All, in the order in which they come.
pub const ALL: [&str; 8] = [FILE, DECODE, CARD, LIGHT, VIAL, LINES, COLOUR, ESTIMATE];

/// Runs one stage; without work, what it gives back keeps the stage open.
macro_rules! stage {
    ($name:ident) => {
        tracing::info_span!(target: "tintwell::stage", $crate::stage::$name).entered()
    };
    ($name:ident, $work:expr) => {{
        let _open = stage!($name);
        $work
    }};
}
pub(crate) use stage;
