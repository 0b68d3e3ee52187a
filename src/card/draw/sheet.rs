//! The sheet around the face: wings and foot of the upright card, the apron of the flat one, lines to cut and fold.
//!
//! The upright card lies across the sheet. Its wings fold back and hold it upright like a screen; its foot folds towards
//! the reader and lies under the vial, whose weight keeps it there.
//!
//! ```text
//!        . . . . . title, cut off . . . . .
//!       +--------+----------------+--------+
//!       |  left  :                :  right |
//!       |  wing  :      face      :  wing  |
//!       +--------+- - - fold - - -+--------+
//!                |      foot      |
//!                +----------------+
//! ```

use super::foot;
use super::pen::{Anchor, Line, Pen, Type};
use super::words::{self, Block};
use super::{Paper, face};
use crate::card::design::Design;
use crate::error::{Error, Result};
use crate::place::{Area, View};

/// Paper along the edge that printers leave blank, mm: common practice, most need 3 to 5.
pub(super) const MARGIN: f64 = 6.0;
/// Width of a wing, mm: what Letter leaves beside a face of 180 mm; folded back by half a right angle or more it stands.
const WING: f64 = 42.0;
/// Depth of the foot, mm: the largest ring and the scale bar.
const FOOT: f64 = 45.0;
/// Depth of the part below the flat card, mm: its words and the scale bar.
const APRON: f64 = 73.0;
/// Height of the title above the cut line, mm.
const TITLE: f64 = 16.0;

const NAME: Type = Type {
    size: 7.0,
    bold: true,
};
const HEADING: Type = Type {
    size: 3.1,
    bold: true,
};
const BODY: Type = Type {
    size: 2.5,
    bold: false,
};
/// From one baseline of the body to the next, mm; a gap between paragraphs is half of it.
const LEADING: f64 = 3.5;

/// Where things lie on the sheet, mm from its top left corner.
#[derive(Debug)]
pub(super) struct Sheet {
    pub width: f64,
    pub height: f64,
    /// The face of the design.
    pub face: Area,
    /// The parts that may bear words; the tests hold the drawing to them.
    #[cfg_attr(not(test), allow(dead_code))]
    pub panels: Vec<Area>,
}

impl Sheet {
    /// The sheet for a design.
    ///
    /// # Errors
    /// If it does not fit within the printer's margins.
    pub(super) fn new(design: &Design, paper: Paper) -> Result<Sheet> {
        let (short, long) = paper.size_mm();
        let (w, h) = (design.width_mm, design.height_mm);
        let (width, height, wing, below) = match design.view {
            View::Side => (long, short, WING, FOOT),
            View::Above => (short, long, 0.0, APRON),
        };
        let (used_width, used_height) = (w + 2.0 * wing, TITLE + h + below);
        if used_width > width - 2.0 * MARGIN || used_height > height - 2.0 * MARGIN {
            return Err(Error::new(
                format!(
                    "the card needs {used_width} x {used_height} mm, but {paper:?} has {:.1} x {:.1} mm within its margins",
                    width - 2.0 * MARGIN,
                    height - 2.0 * MARGIN
                ),
                "choose another paper or a smaller card",
            )
            .about(design.id));
        }
        let (x, top) = ((width - w) / 2.0, (height - used_height) / 2.0);
        let face = Area {
            x,
            y: top + TITLE,
            w,
            h,
        };
        let mut panels = vec![
            Area {
                x: x - wing,
                y: top,
                w: used_width,
                h: TITLE,
            },
            Area {
                x,
                y: face.y + h,
                w,
                h: below,
            },
        ];
        if wing > 0.0 {
            panels.push(Area {
                x: x - wing,
                y: face.y,
                w: wing,
                h,
            });
            panels.push(Area {
                x: x + w,
                y: face.y,
                w: wing,
                h,
            });
        }
        Ok(Sheet {
            width,
            height,
            face,
            panels,
        })
    }
}

/// The sheet as SVG, one user unit to a millimetre.
pub(super) fn svg(design: &Design, paper: Paper) -> Result<String> {
    design.check()?;
    let sheet = Sheet::new(design, paper)?;
    let mut pen = Pen::default();
    pen.moved(sheet.face.x, sheet.face.y, |pen| {
        face::draw(design, pen);
        match design.view {
            View::Side => upright(design, pen),
            View::Above => flat(design, pen),
        }
    });
    Ok(pen.svg(sheet.width, sheet.height))
}

/// Everything around the face of the upright card; the origin is the face's top left corner.
fn upright(design: &Design, pen: &mut Pen) {
    let (w, h) = (design.width_mm, design.height_mm);
    let (left, right, bottom) = (-WING, w + WING, h + FOOT);
    // Blunt corners at the front of the foot.
    let blunt = 3.0;
    pen.line(
        &[
            (left, 0.0),
            (right, 0.0),
            (right, h),
            (w, h),
            (w, bottom - blunt),
            (w - blunt, bottom),
            (blunt, bottom),
            (0.0, bottom - blunt),
            (0.0, h),
            (left, h),
            (left, 0.0),
        ],
        Line::Solid,
    );
    pen.line(&[(0.0, 0.0), (0.0, h)], Line::Back);
    pen.line(&[(w, 0.0), (w, h)], Line::Back);
    // The fold leaves out the bay: nothing is printed there.
    pen.line(&[(design.bay.x, h), (0.0, h)], Line::Forward);
    pen.line(&[(design.bay.x + design.bay.w, h), (w, h)], Line::Forward);

    title(design, left, right, pen);
    let key = [
        (Line::Solid, "cut"),
        (Line::Back, "fold back"),
        (Line::Forward, "fold towards you"),
    ];
    let mut x = right - 71.0;
    for (line, meaning) in key {
        pen.line(&[(x, -4.9), (x + 11.0, -4.9)], line);
        pen.text((x + 12.5, -4.0), Anchor::Start, BODY, meaning);
        x += if line == Line::Solid { 19.5 } else { 26.5 };
    }

    block((left + 4.5, 11.0), &words::MAKE_UPRIGHT, pen);
    block((w + 4.5, 11.0), &words::PHOTO_UPRIGHT, pen);

    let middle = design.bay.centre().0;
    foot::rings(middle, h, pen);
    block((8.0, h + 10.0), &words::CARE_UPRIGHT, pen);
    block((w / 2.0 + 28.0, h + 10.0), &words::LIMITS_UPRIGHT, pen);
    scale(design, bottom - 6.8, pen);
}

/// Everything around the face of the flat card; the origin is the face's top left corner.
fn flat(design: &Design, pen: &mut Pen) {
    let (w, h) = (design.width_mm, design.height_mm);
    let bottom = h + APRON;
    pen.line(
        &[(0.0, 0.0), (w, 0.0), (w, bottom), (0.0, bottom), (0.0, 0.0)],
        Line::Solid,
    );
    title(design, 0.0, w, pen);
    let pitch = w / words::FLAT.len() as f64;
    for (column, words) in words::FLAT.iter().enumerate() {
        block((6.0 + pitch * column as f64, h + 8.0), words, pen);
    }
    scale(design, bottom - 7.3, pen);
}

/// Name and purpose above the cut line, between `left` and `right`.
fn title(design: &Design, left: f64, right: f64, pen: &mut Pen) {
    let ink = if design.patches.iter().all(|p| p.neutral) {
        ", black ink only"
    } else {
        ""
    };
    let view = match design.view {
        View::Side => "for vials seen from the side",
        View::Above => "for open vials seen from above",
    };
    pen.text((left, -4.0), Anchor::Start, NAME, "Tintwell");
    pen.text(
        (left + 35.0, -4.0),
        Anchor::Start,
        HEADING,
        &format!("Card {}, {view}{ink}", design.id),
    );
    let advice = "Print at 100 % (“actual size”), never “fit to page”";
    pen.text((right, -9.0), Anchor::End, BODY, advice);
}

/// The scale bar in the middle of the card's width, and below it what it is for and the card's id.
fn scale(design: &Design, y: f64, pen: &mut Pen) {
    let middle = design.width_mm / 2.0;
    foot::bar(middle - f64::from(foot::BAR_MM) / 2.0, y, pen);
    let caption = format!(
        "This bar is exactly {} mm long. If it is not, print again at 100 %.   Tintwell card {}",
        foot::BAR_MM,
        design.id
    );
    pen.text((middle, y + 3.9), Anchor::Middle, BODY, &caption);
}

/// A heading with its baseline at the point, and its lines below.
fn block((x, y): (f64, f64), block: &Block, pen: &mut Pen) {
    pen.text((x, y), Anchor::Start, HEADING, block.heading);
    let mut baseline = y + 1.0;
    for line in block.lines {
        if line.is_empty() {
            baseline += LEADING / 2.0;
            continue;
        }
        baseline += LEADING;
        // Figures hang; the lines of a step stand under its text.
        let (number, text) = line.split_once("  ").unwrap_or(("", line));
        let steps = block.lines[0].starts_with("1  ");
        if !number.is_empty() {
            pen.text((x, baseline), Anchor::Start, BODY, number);
        }
        pen.text(
            (if steps { x + HANG } else { x }, baseline),
            Anchor::Start,
            BODY,
            text,
        );
    }
}

/// Indent of the text of numbered steps, mm.
const HANG: f64 = 3.0;
