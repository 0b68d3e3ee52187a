//! The upright card for vials seen from the side.
//!
//! ```text
//!   tag   patches   paper            paper   patches   tag
//!   tag   patches   paper    bay     paper   patches   tag
//!   tag   patches   paper   (vial)   paper   patches   tag
//!   - - - - - - - - - fold: below it the base flap - - - -
//! ```
//! Patches stand in two staggered columns on either side. The pale colours, which most readings need, stand in the
//! inner columns; the neutral steps are spread over all four, so that no step depends on one corner's light.

use super::inks::{self, Ink};
use super::{Design, Patch, corner_and_edge_tags, gaps_of_column, without_colours};
use crate::place::{Area, View};

/// Width of the face: fits between the printer margins of A4 and US Letter in landscape with a 42 mm wing on each side.
const WIDTH: f64 = 180.0;
/// Height of the face: the 96 mm bay and room for a vial's cap above it.
const HEIGHT: f64 = 124.0;
/// Edge of a patch: about 45 pixels across in a 12-megapixel photo that the card fills by half.
const PATCH: f64 = 11.0;
/// From one patch of a column to the next: leaves 5.5 mm of paper between them.
const PITCH: f64 = 16.5;
/// Left edges of the two columns on the left; the right side mirrors them.
const OUTER: f64 = 29.0;
const INNER: f64 = 45.0;
/// Tops of the first patch of each column: half a pitch apart, like bricks, and centred on the height.
const OUTER_TOP: f64 = 7.0;
const INNER_TOP: f64 = OUTER_TOP + PITCH / 2.0;

const LEFT_OUTER: [Ink; 7] = [
    inks::BRICK,
    inks::GREY_92,
    inks::TEAL,
    inks::HONEY,
    inks::GREY_15,
    inks::ORCHID,
    inks::PINE,
];
const LEFT_INNER: [Ink; 6] = [
    inks::STRAW,
    inks::GREY_59,
    inks::BLUSH,
    inks::MINT,
    inks::GREY_48,
    inks::SKY,
];
const RIGHT_INNER: [Ink; 6] = [
    inks::ICE,
    inks::APRICOT,
    inks::GREY_81,
    inks::LIME,
    inks::ROSE,
    inks::GREY_37,
];
const RIGHT_OUTER: [Ink; 7] = [
    inks::GREY_26,
    inks::LEAF,
    inks::EMBER,
    inks::GREY_70,
    inks::INDIGO,
    inks::LEMON,
    inks::PLUM,
];

/// How far above the foot the faint lines run, mm: where the liquid of vials stands, and no two pairs equally far apart, since
/// what is seen through the liquid is shifted by refraction.
const LINES_UP: [f64; 7] = [31.6, 26.0, 22.0, 17.0, 13.4, 9.0, 6.0];
/// Thickness of the faint lines, mm: three pixels of a small photo.
const LINE_MM: f64 = 0.4;

fn line(bay: &Area, up: f64) -> Area {
    Area {
        y: bay.y + bay.h - up - LINE_MM / 2.0,
        h: LINE_MM,
        ..*bay
    }
}

/// The card with colour patches.
pub(super) fn colour() -> Design {
    let bay = Area {
        x: 70.0,
        y: 28.0,
        w: 40.0,
        h: 96.0,
    };
    let mirrored = |x: f64| WIDTH - x - PATCH;
    let mut patches: Vec<Patch> = Vec::new();
    let mut column = |x: f64, top: f64, inks: &[Ink]| {
        patches.extend(inks.iter().enumerate().map(|(row, ink)| {
            ink.patch(Area {
                x,
                y: top + PITCH * row as f64,
                w: PATCH,
                h: PATCH,
            })
        }));
    };
    column(OUTER, OUTER_TOP, &LEFT_OUTER);
    column(INNER, INNER_TOP, &LEFT_INNER);
    column(mirrored(INNER), INNER_TOP, &RIGHT_INNER);
    column(mirrored(OUTER), OUTER_TOP, &RIGHT_OUTER);

    Design {
        id: "side-1",
        view: View::Side,
        width_mm: WIDTH,
        height_mm: HEIGHT,
        tags: corner_and_edge_tags(112, WIDTH, HEIGHT),
        patches,
        bay,
        lines: LINES_UP.map(|up| line(&bay, up)).to_vec(),
        paper: paper(),
    }
}

/// The same card in black ink only.
pub(super) fn mono() -> Design {
    without_colours(colour(), "side-mono-1", 118)
}

fn paper() -> Vec<Area> {
    // Everything on the left half; the strip beside the bay first, as the reference white.
    let mut left = vec![
        Area {
            x: 57.5,
            y: 28.0,
            w: 11.0,
            h: 92.0,
        },
        // The lane between the two columns.
        Area {
            x: 41.0,
            y: 3.0,
            w: 3.0,
            h: 118.0,
        },
        // Between the markers.
        Area {
            x: 5.0,
            y: 28.0,
            w: 22.0,
            h: 21.5,
        },
        Area {
            x: 5.0,
            y: 74.5,
            w: 22.0,
            h: 21.5,
        },
        // The outer margin.
        Area {
            x: 1.5,
            y: 2.0,
            w: 3.0,
            h: 120.0,
        },
        // Above and below the inner column.
        Area {
            x: 45.0,
            y: 3.0,
            w: 11.0,
            h: 11.0,
        },
        Area {
            x: 45.0,
            y: 110.0,
            w: 11.0,
            h: 11.0,
        },
    ];
    left.extend(gaps_of_column(
        OUTER,
        OUTER_TOP,
        PATCH,
        PITCH,
        LEFT_OUTER.len(),
    ));
    left.extend(gaps_of_column(
        INNER,
        INNER_TOP,
        PATCH,
        PITCH,
        LEFT_INNER.len(),
    ));

    let above_bay = Area {
        x: 57.5,
        y: 3.0,
        w: 65.0,
        h: 23.0,
    };
    let both_sides = left.iter().flat_map(|a| {
        [
            *a,
            Area {
                x: WIDTH - a.x - a.w,
                ..*a
            },
        ]
    });
    both_sides.chain([above_bay]).collect()
}
