//! The flat card for open vials seen from above.
//!
//! The bay is a square in the middle; the patches of the upright card stand around it on all sides. A vial rises
//! towards the camera and so covers more than its foot: hence the wide bay and the paper around it.

use super::inks::{self, Ink};
use super::{Design, Patch, corner_and_edge_tags, gaps_of_column, without_colours};
use crate::place::{Area, View};

/// Width and height of the card, close to A5.
const WIDTH: f64 = 184.0;
const HEIGHT: f64 = 148.0;
/// Edge of a patch and distance between patches of a column, as on the upright card.
const PATCH: f64 = 11.0;
const PITCH: f64 = 16.5;
/// Left edges of the two columns on the left and their first tops: centred on the height, half a pitch apart.
const OUTER: f64 = 29.0;
const INNER: f64 = 45.0;
const OUTER_TOP: f64 = 35.5;
const INNER_TOP: f64 = OUTER_TOP + PITCH / 2.0;
/// Left edges of the four patches above and the four below the bay, and the tops of the two rows they alternate in.
const ACROSS: [f64; 4] = [53.5, 75.5, 97.5, 119.5];
const NEAR_EDGE: f64 = 8.0;
const NEAR_BAY: f64 = 24.0;

const LEFT_OUTER: [Ink; 5] = [
    inks::BRICK,
    inks::GREY_92,
    inks::TEAL,
    inks::LEMON,
    inks::GREY_15,
];
const LEFT_INNER: [Ink; 4] = [inks::STRAW, inks::GREY_59, inks::BLUSH, inks::MINT];
const RIGHT_INNER: [Ink; 4] = [inks::ICE, inks::APRICOT, inks::GREY_81, inks::LIME];
const RIGHT_OUTER: [Ink; 5] = [
    inks::GREY_26,
    inks::LEAF,
    inks::EMBER,
    inks::GREY_70,
    inks::INDIGO,
];
const TOP: [Ink; 4] = [inks::PINE, inks::GREY_37, inks::ORCHID, inks::SKY];
const BOTTOM: [Ink; 4] = [inks::ROSE, inks::PLUM, inks::GREY_48, inks::HONEY];

/// The card with colour patches.
pub(super) fn colour() -> Design {
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
    for (i, (top, bottom)) in TOP.iter().zip(&BOTTOM).enumerate() {
        let (x, w, h) = (ACROSS[i], PATCH, PATCH);
        let (y_top, y_bottom) = if i % 2 == 0 {
            (NEAR_EDGE, NEAR_BAY)
        } else {
            (NEAR_BAY, NEAR_EDGE)
        };
        patches.push(top.patch(Area { x, y: y_top, w, h }));
        patches.push(bottom.patch(Area {
            x,
            y: HEIGHT - y_bottom - PATCH,
            w,
            h,
        }));
    }

    Design {
        id: "above-1",
        view: View::Above,
        width_mm: WIDTH,
        height_mm: HEIGHT,
        tags: corner_and_edge_tags(124, WIDTH, HEIGHT),
        patches,
        lines: Vec::new(),
        bay: Area {
            x: 67.0,
            y: 49.0,
            w: 50.0,
            h: 50.0,
        },
        paper: paper(),
    }
}

/// The same card in black ink only.
pub(super) fn mono() -> Design {
    without_colours(colour(), "above-mono-1", 130)
}

fn paper() -> Vec<Area> {
    // The strip beside the bay first, as the reference white; each is mirrored to the right.
    let mut left = vec![
        Area {
            x: 57.5,
            y: 38.0,
            w: 8.0,
            h: 72.0,
        },
        // The lane between the two columns.
        Area {
            x: 41.0,
            y: 36.0,
            w: 3.0,
            h: 76.0,
        },
        // Between the markers.
        Area {
            x: 5.0,
            y: 28.0,
            w: 22.0,
            h: 33.0,
        },
        Area {
            x: 5.0,
            y: 87.0,
            w: 22.0,
            h: 33.0,
        },
        // The outer margin.
        Area {
            x: 1.5,
            y: 2.0,
            w: 3.0,
            h: 144.0,
        },
        // The corners inside the corner markers.
        Area {
            x: 29.0,
            y: 3.0,
            w: 23.0,
            h: 31.0,
        },
        Area {
            x: 29.0,
            y: 114.0,
            w: 23.0,
            h: 31.0,
        },
        // Between the patches above and below the bay.
        Area {
            x: 65.5,
            y: 3.0,
            w: 9.0,
            h: 32.0,
        },
        Area {
            x: 65.5,
            y: 113.0,
            w: 9.0,
            h: 32.0,
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

    let middle = [
        Area {
            x: 67.0,
            y: 38.0,
            w: 50.0,
            h: 9.5,
        },
        Area {
            x: 67.0,
            y: 100.5,
            w: 50.0,
            h: 9.5,
        },
        Area {
            x: 87.5,
            y: 3.0,
            w: 9.0,
            h: 32.0,
        },
        Area {
            x: 87.5,
            y: 113.0,
            w: 9.0,
            h: 32.0,
        },
    ];
    let both_sides = left.iter().flat_map(|a| {
        [
            *a,
            Area {
                x: WIDTH - a.x - a.w,
                ..*a
            },
        ]
    });
    both_sides.chain(middle).collect()
}
