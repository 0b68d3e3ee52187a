//! The face of the card: markers and patches, and nothing else on the upright one.

use super::pen::{Line, Pen, num};
use crate::card::design::{Design, Tag};
use crate::card::find::family;
use crate::place::{Area, View};

/// Draws the face with its top left corner at the origin. The design has passed its check.
pub(super) fn draw(design: &Design, pen: &mut Pen) {
    for tag in &design.tags {
        pen.fill(&marker(tag), [0; 3]);
    }
    for patch in &design.patches {
        pen.fill(&rectangle(patch.area), patch.srgb);
    }
    if design.view == View::Above {
        frame(design.bay, pen);
    }
}

/// The black of a marker: its square, with the white cells cut out. One path, so that no seams show between cells.
fn marker(tag: &Tag) -> String {
    let mut path = rectangle(tag.area());
    let cells = family::cells(tag.id).unwrap_or([[true; family::CELLS]; family::CELLS]);
    let cell = tag.cell();
    for (row, blacks) in cells.iter().enumerate() {
        for (column, _) in blacks.iter().enumerate().filter(|(_, black)| !**black) {
            let (x, y) = (tag.x + cell * column as f64, tag.y + cell * row as f64);
            path += &rectangle(Area {
                x,
                y,
                w: cell,
                h: cell,
            });
        }
    }
    path
}

fn rectangle(a: Area) -> String {
    format!(
        "M{} {}h{}v{}h{}z",
        num(a.x),
        num(a.y),
        num(a.w),
        num(a.h),
        num(-a.w)
    )
}

/// Marks around the bay of the flat card: its corners, and where its middle lies. They stand outside the bay, because
/// anything printed under the vial would be seen through the liquid.
fn frame(bay: Area, pen: &mut Pen) {
    // Half of the millimetre and a half that the designs leave between the bay and the named paper.
    let off = 0.75;
    let arm = 7.0;
    let around = bay.shrunk(-off);
    let (cx, cy) = bay.centre();
    for (x, inward_x) in [(around.x, 1.0), (around.x + around.w, -1.0)] {
        for (y, inward_y) in [(around.y, 1.0), (around.y + around.h, -1.0)] {
            pen.line(
                &[(x, y + inward_y * arm), (x, y), (x + inward_x * arm, y)],
                Line::Solid,
            );
        }
        pen.line(
            &[(x, cy - 1.0), (x + 0.5 * inward_x, cy), (x, cy + 1.0)],
            Line::Solid,
        );
    }
    for (y, inward) in [(around.y, 1.0), (around.y + around.h, -1.0)] {
        pen.line(
            &[(cx - 1.0, y), (cx, y + 0.5 * inward), (cx + 1.0, y)],
            Line::Solid,
        );
    }
}
