//! The printed colours: where each lies in CIELAB, why it is there, and the sRGB code that asks the printer for it.
//!
//! The colours were placed first in CIELAB (D65, 2 degree observer, as sRGB has it) and then turned into codes. They
//! fence in the colours of four families of tests: yellow to red, colourless to pink (on to deep pink-violet), yellow
//! to green to blue, colourless to blue. Half of them are pale, because most readings are pale. Each chroma was kept
//! at or below about 60 and each lightness of a colour at or above 40, where an office printer on plain paper can
//! follow (a cautious rule of thumb, from memory, after the solids of offset print on uncoated paper).
//! How well a printer follows matters little: what counts is what a photo of *this* card shows.

use super::Patch;
use crate::place::Area;

/// A printed colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ink {
    pub name: &'static str,
    /// Where the colour was placed: CIELAB under D65. The drawing uses only the code; the tests hold the two together.
    #[cfg_attr(
        not(test),
        allow(
            dead_code,
            reason = "the table is written in Lab; the code follows from it"
        )
    )]
    pub lab: [f64; 3],
    pub srgb: [u8; 3],
    pub neutral: bool,
}

impl Ink {
    const fn colour(name: &'static str, lab: [f64; 3], srgb: [u8; 3]) -> Ink {
        Ink {
            name,
            lab,
            srgb,
            neutral: false,
        }
    }

    const fn grey(name: &'static str, lightness: f64, code: u8) -> Ink {
        Ink {
            name,
            lab: [lightness, 0.0, 0.0],
            srgb: [code; 3],
            neutral: true,
        }
    }

    /// A patch of this colour.
    pub(super) fn patch(&self, area: Area) -> Patch {
        Patch {
            name: self.name,
            area,
            srgb: self.srgb,
            neutral: self.neutral,
        }
    }
}

// Yellow to red.
/// First tinge of yellow; also the start of the yellow-green-blue family.
pub(super) const STRAW: Ink = Ink::colour("straw", [93.0, -5.0, 20.0], [241, 237, 196]);
/// Full yellow, on the green side, so that yellows lie inside.
pub(super) const LEMON: Ink = Ink::colour("lemon", [88.0, -3.0, 58.0], [249, 219, 107]);
/// Amber: half way from yellow to red at full chroma.
pub(super) const HONEY: Ink = Ink::colour("honey", [77.0, 18.0, 56.0], [248, 176, 84]);
/// Pale orange: the inner side of the path from yellow to red.
pub(super) const APRICOT: Ink = Ink::colour("apricot", [81.0, 18.0, 26.0], [250, 188, 154]);
/// Orange-red at full chroma.
pub(super) const EMBER: Ink = Ink::colour("ember", [60.0, 44.0, 40.0], [229, 109, 76]);
/// Deep red: the dark end.
pub(super) const BRICK: Ink = Ink::colour("brick", [46.0, 48.0, 26.0], [188, 68, 68]);

// Colourless to pink and pink-violet.
/// First tinge of pink.
pub(super) const BLUSH: Ink = Ink::colour("blush", [90.0, 9.0, 1.0], [245, 221, 225]);
/// Middle pink.
pub(super) const ROSE: Ink = Ink::colour("rose", [77.0, 27.0, -5.0], [235, 172, 200]);
/// Strong pink.
pub(super) const ORCHID: Ink = Ink::colour("orchid", [58.0, 50.0, -9.0], [213, 101, 157]);
/// Deep pink-violet: the dark end, and the red side of the blues.
pub(super) const PLUM: Ink = Ink::colour("plum", [40.0, 36.0, -17.0], [138, 70, 123]);

// Yellow to green to blue.
/// Pale yellow-green.
pub(super) const LIME: Ink = Ink::colour("lime", [90.0, -14.0, 27.0], [219, 233, 174]);
/// Full yellow-green.
pub(super) const LEAF: Ink = Ink::colour("leaf", [71.0, -30.0, 36.0], [140, 187, 106]);
/// Pale green.
pub(super) const MINT: Ink = Ink::colour("mint", [86.0, -16.0, 6.0], [187, 224, 203]);
/// Deep green: the dark end on the green side.
pub(super) const PINE: Ink = Ink::colour("pine", [48.0, -34.0, 12.0], [45, 128, 93]);
/// Blue-green at full chroma.
pub(super) const TEAL: Ink = Ink::colour("teal", [62.0, -25.0, -14.0], [65, 163, 174]);

// Colourless to blue.
/// First tinge of blue.
pub(super) const ICE: Ink = Ink::colour("ice", [88.0, -6.0, -9.0], [199, 225, 237]);
/// Middle blue.
pub(super) const SKY: Ink = Ink::colour("sky", [72.0, -10.0, -26.0], [120, 184, 223]);
/// Deep blue: the dark end.
pub(super) const INDIGO: Ink = Ink::colour("indigo", [41.0, 5.0, -34.0], [62, 97, 152]);

// Eight neutral steps, 11 units of L* apart: from just below paper to about the black of plain paper.
pub(super) const GREY_92: Ink = Ink::grey("grey-92", 92.0, 232);
pub(super) const GREY_81: Ink = Ink::grey("grey-81", 81.0, 201);
pub(super) const GREY_70: Ink = Ink::grey("grey-70", 70.0, 171);
pub(super) const GREY_59: Ink = Ink::grey("grey-59", 59.0, 142);
pub(super) const GREY_48: Ink = Ink::grey("grey-48", 48.0, 114);
pub(super) const GREY_37: Ink = Ink::grey("grey-37", 37.0, 87);
pub(super) const GREY_26: Ink = Ink::grey("grey-26", 26.0, 62);
pub(super) const GREY_15: Ink = Ink::grey("grey-15", 15.0, 38);

#[cfg(test)]
mod tests {
    use palette::{FromColor, Lab, Srgb, white_point::D65};

    use super::*;

    /// The code is the table's Lab within the rounding of eight bits (one code is up to about 0.6 units of Lab here).
    #[test]
    fn codes_follow_from_the_lab_table() {
        let all = [
            STRAW, LEMON, HONEY, APRICOT, EMBER, BRICK, BLUSH, ROSE, ORCHID, PLUM, LIME, LEAF,
            MINT, PINE, TEAL, ICE, SKY, INDIGO, GREY_92, GREY_81, GREY_70, GREY_59, GREY_48,
            GREY_37, GREY_26, GREY_15,
        ];
        for ink in all {
            let [r, g, b] = ink.srgb;
            let lab: Lab<D65, f64> = Lab::from_color(Srgb::new(r, g, b).into_format::<f64>());
            let off = [lab.l - ink.lab[0], lab.a - ink.lab[1], lab.b - ink.lab[2]];
            let distance = off.iter().map(|d| d * d).sum::<f64>().sqrt();
            assert!(
                distance < 0.6,
                "{}: code {:?} is {lab:?}, table {:?}",
                ink.name,
                ink.srgb,
                ink.lab
            );
        }
    }
}
