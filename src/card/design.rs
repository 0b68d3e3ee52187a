//! The card's geometry in millimetres and its patch colours; the one source for drawing, finding and reading it.
//!
//! A layout of our own. Coordinates: millimetres on the printed face, origin top left, y down.

use crate::place::{Area, View};

/// A fiducial marker of the AprilTag family 36h11 (Wang & Olson 2016, "AprilTag 2: efficient and robust fiducial
/// detection", IROS).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tag {
    /// Marker number in the family.
    pub id: u32,
    /// Left edge of the black square, mm.
    pub x: f64,
    /// Top edge of the black square, mm.
    pub y: f64,
    /// Edge length of the black square (8 cells), mm.
    pub size: f64,
}

/// A printed patch.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Name, unique on the card.
    pub name: &'static str,
    /// Where it is printed, mm.
    pub area: Area,
    /// The sRGB code that is sent to the printer.
    pub srgb: [u8; 3],
    /// True for the steps of the neutral scale.
    pub neutral: bool,
}

/// A card design: everything that drawing, finding and reading share.
#[derive(Debug, Clone, PartialEq)]
pub struct Design {
    /// Stable id, such as `side-1`; charts remember it.
    pub id: &'static str,
    /// How the vial is seen with this card.
    pub view: View,
    /// Width of the printed face, mm.
    pub width_mm: f64,
    /// Height of the printed face, mm.
    pub height_mm: f64,
    /// Markers; no two designs share an id, so a photo tells which card it shows.
    pub tags: Vec<Tag>,
    /// Patches; a mono card has only neutral ones.
    pub patches: Vec<Patch>,
    /// The open bay of bare paper where the vial stands.
    pub bay: Area,
    /// Areas of bare paper that nothing may be printed on, outside the bay; the first one is the reference white.
    pub paper: Vec<Area>,
}
