//! The face: markers, patches and the faint lines of the bay, and nothing else.

use std::fmt::Write as _;

use super::svg::{BLACK, Svg, mm};
use crate::card::design::{Design, LINE_SRGB, Tag};
use crate::card::family;
use crate::error::{Error, Result};

/// Draws the face with its top left corner at (`x`, `y`), mm.
pub(super) fn face(svg: &mut Svg, design: &Design, x: f64, y: f64) -> Result<()> {
    for tag in &design.tags {
        svg.fill("marker", &black_cells(tag, x, y)?, BLACK);
    }
    for p in &design.patches {
        svg.rect(x + p.area.x, y + p.area.y, p.area.w, p.area.h, p.srgb);
    }
    for l in &design.lines {
        svg.rect(x + l.x, y + l.y, l.w, l.h, LINE_SRGB);
    }
    Ok(())
}

/// The black cells as one path, a run of a row after another: shapes of their own would show light seams between them.
fn black_cells(tag: &Tag, x: f64, y: f64) -> Result<String> {
    let cells = family::cells(tag.id).ok_or_else(|| {
        Error::new(
            format!("marker {} is not in the family", tag.id),
            format!("choose an id from 0 to {}", family::COUNT - 1),
        )
    })?;
    let cell = tag.cell();
    let mut path = String::new();
    for (r, row) in cells.iter().enumerate() {
        let mut column = 0;
        for run in row.chunk_by(|a, b| a == b) {
            if run[0] {
                // Writing to a string does not fail.
                let _ = write!(
                    path,
                    "M{} {}h{}v{}h{}z",
                    mm(x + tag.x + cell * column as f64),
                    mm(y + tag.y + cell * r as f64),
                    mm(cell * run.len() as f64),
                    mm(cell),
                    mm(-cell * run.len() as f64),
                );
            }
            column += run.len();
        }
    }
    Ok(path)
}
