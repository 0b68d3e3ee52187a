//! The sheet around the face: flap, wings, cut and fold lines, scale bar, words.
//!
//! ```text
//!   upright card, paper across              flat card, paper along
//!   name               scale bar            name        scale bar
//!   +-------+------------+-------+          +--------------------+
//!   | wing  :    face    : wing  |          |        face        |
//!   |       :            :       |          |                    |
//!   +-------+- - - - - - +-------+          |  photo    cautions |
//!    print  |    flap    |  fold            +--------------------+
//!           +------------+                     print    cut
//! ```
//! A single panel behind the face cannot hold it upright: it would have to be as long as the face, and flap, face and
//! panel together are longer than the paper. Two wings folded back hold it at a right angle to the table.

use super::face::face;
use super::svg::{Anchor, BLACK, Style, Svg, mm};
use super::wording::{self as words, Item};
use super::{Paper, Result};
use crate::card::design::Design;
use crate::error::Error;
use crate::place::View;

/// What printers leave bare along the paper's edges, at most (common practice: 4 to 6 mm).
pub(super) const PRINTER_MARGIN: f64 = 6.0;
/// The head with name and scale bar, mm.
const HEAD: f64 = 22.0;
/// Base flap, mm: deeper than the widest ring, so that the vial's weight holds the flap down.
const FLAP: f64 = 45.0;
/// Wings: as wide as Letter across allows.
const WING: f64 = 42.0;
/// Words below the face of a flat card.
const PANEL: f64 = 54.0;
/// Words below the cut line of a flat card.
const FOOT: f64 = 16.0;
/// Cut and fold lines keep this far off the face, so that they never touch bare paper that is measured.
const CLEAR: f64 = 0.3;

/// Vial widths with a ring of their own, mm.
pub(super) const RINGS: [f64; 5] = [12.0, 16.0, 20.0, 24.0, 28.0];
/// From the card to the back of every ring: nearly touching, and room for a rim wider than the foot.
const RING_GAP: f64 = 1.5;

/// Length of the scale bar, mm.
pub(super) const BAR: f64 = 100.0;

const GREY: [u8; 3] = [96, 96, 96];
/// Deep blue-green of titles and numerals, off the face; black on cards in black ink.
const ACCENT: [u8; 3] = [12, 84, 92];

/// Text sizes, mm: 2.8 mm is about 8 points.
const BODY: f64 = 2.8;
const LINE: f64 = 3.6;
const TITLE: f64 = 3.5;
/// From a title's baseline to that of the first line below.
const UNDER_TITLE: f64 = 4.8;
/// Words on flap and panel start this far from the card's edge, in line with the markers.
const TEXT_INDENT: f64 = 6.0;

/// How a list is set, mm.
#[derive(Clone, Copy)]
struct Set {
    /// Height of the em.
    size: f64,
    /// From line to line.
    line: f64,
    /// More between items.
    gap: f64,
}

/// The wings are read at arm's length beside the standing card: a larger size.
const WING_SET: Set = Set {
    size: 3.1,
    line: 4.0,
    gap: 3.6,
};
const PANEL_SET: Set = Set {
    size: BODY,
    line: LINE,
    gap: 2.2,
};

/// Where the face lies on the sheet: its top left corner, mm.
pub(super) fn face_origin(design: &Design, paper: Paper) -> (f64, f64) {
    let (w, h) = size(design, paper);
    (
        (w - design.width_mm) / 2.0,
        (h - height(design)) / 2.0 + HEAD,
    )
}

/// Width and height of the sheet, mm.
pub(super) fn size(design: &Design, paper: Paper) -> (f64, f64) {
    let (short, long) = paper.edges_mm();
    match design.view {
        View::Side => (long, short),
        View::Above => (short, long),
    }
}

/// Everything from the head to the last line.
fn height(design: &Design) -> f64 {
    HEAD + design.height_mm
        + match design.view {
            View::Side => FLAP,
            View::Above => PANEL + FOOT,
        }
}

fn width(design: &Design) -> f64 {
    design.width_mm
        + match design.view {
            View::Side => 2.0 * WING,
            View::Above => 0.0,
        }
}

/// The whole sheet.
///
/// # Errors
/// If the paper is too small.
pub(super) fn sheet(design: &Design, paper: Paper) -> Result<Svg> {
    let (w, h) = size(design, paper);
    let room = |edge: f64| edge - 2.0 * PRINTER_MARGIN;
    if width(design) + 2.0 * CLEAR > room(w) || height(design) + 2.0 * CLEAR > room(h) {
        return Err(Error::new(
            format!(
                "the card needs {} x {} mm, {paper:?} has {} x {} mm between the printer margins",
                width(design),
                height(design),
                room(w),
                room(h)
            ),
            "choose larger paper",
        ));
    }
    let (x, y) = face_origin(design, paper);
    let mono = design.patches.iter().all(|p| p.neutral);
    let mut sheet = Sheet {
        svg: Svg::new(w, h),
        design,
        x,
        y,
        accent: if mono { BLACK } else { ACCENT },
    };
    face(&mut sheet.svg, design, x, y)?;
    sheet.head(&words::kind(design.id, design.view, mono));
    match design.view {
        View::Side => sheet.upright(),
        View::Above => sheet.flat(),
    }
    Ok(sheet.svg)
}

struct Sheet<'a> {
    svg: Svg,
    design: &'a Design,
    /// The face's top left corner.
    x: f64,
    y: f64,
    accent: [u8; 3],
}

impl Sheet<'_> {
    fn style(&self, size: f64) -> Style {
        Style {
            size,
            bold: false,
            colour: BLACK,
            anchor: Anchor::Start,
        }
    }

    fn title_style(&self) -> Style {
        Style {
            bold: true,
            colour: self.accent,
            ..self.style(TITLE)
        }
    }

    /// Name and kind on the left, scale bar on the right, over the full width of the card.
    fn head(&mut self, kind: &str) {
        let outset = (width(self.design) - self.design.width_mm) / 2.0;
        let (left, right) = (self.x - outset, self.x + self.design.width_mm + outset);
        let top = self.y - HEAD;
        self.emblem(left + 5.0, top + 5.4, 4.6);
        let name = Style {
            size: 8.4,
            ..self.title_style()
        };
        self.svg.text(left + 12.6, top + 8.3, name, words::NAME);
        let kind_style = self.style(BODY);
        self.svg.text(left + 0.4, top + 15.4, kind_style, kind);
        self.bar(right - BAR - 0.2, top + 5.4);
    }

    /// A round well, partly filled: a ring and a segment.
    fn emblem(&mut self, cx: f64, cy: f64, r: f64) {
        let inner = r - 1.3;
        // The liquid's surface lies a fifth of the radius below the middle.
        let (dy, dx) = (0.2 * inner, (1.0_f64 - 0.2 * 0.2).sqrt() * inner);
        let path = format!(
            "M{} {}A{i} {i} 0 0 0 {} {}z",
            mm(cx - dx),
            mm(cy + dy),
            mm(cx + dx),
            mm(cy + dy),
            i = mm(inner)
        );
        self.svg.fill("emblem", &path, self.accent);
        self.svg.circle(cx, cy, r - 0.3, 0.6, self.accent);
    }

    /// The bar to check the scale: its outer edges are exactly [`BAR`] apart. One path, so that edges that meet do not
    /// add up to a darker, longer one.
    fn bar(&mut self, x: f64, y: f64) {
        let deep = 1.6;
        let thin = 0.15;
        let mut path = block(x, y, BAR, thin)
            + &block(x, y + deep - thin, BAR, thin)
            + &block(x + BAR - thin, y, thin, deep);
        for dark in (0..10).step_by(2) {
            path += &block(x + 10.0 * f64::from(dark), y, 10.0, deep);
        }
        let tick = 0.1;
        for at in 0..=100 {
            let long = match at {
                t if t % 10 == 0 => 2.2,
                t if t % 5 == 0 => 1.6,
                _ => 1.0,
            };
            // The first and last tick lie inside the bar, the others on their millimetre.
            let left = (f64::from(at) - tick / 2.0).clamp(0.0, BAR - tick);
            path += &block(x + left, y + deep, tick, long);
        }
        self.svg.fill("scale-bar", &path, BLACK);
        let number = self.style(2.3);
        for (at, anchor, label) in [
            (0.0, Anchor::Start, "0"),
            (BAR / 2.0, Anchor::Middle, "50"),
            (BAR, Anchor::End, "100 mm"),
        ] {
            self.svg
                .text(x + at, y + 6.2, Style { anchor, ..number }, label);
        }
        let caption = Style {
            bold: true,
            ..self.style(2.6)
        };
        self.svg.text(x, y - 1.6, caption, words::BAR);
        let check = Style {
            anchor: Anchor::End,
            ..self.style(2.3)
        };
        self.svg.text(x + BAR, y + 9.8, check, words::BAR_CHECK);
    }

    fn upright(&mut self) {
        let (x, y) = (self.x, self.y);
        let (w, h) = (self.design.width_mm, self.design.height_mm);
        // One outline around wings, face and flap.
        let c = CLEAR;
        self.svg.stroke(
            &format!(
                "M{} {}h{}v{}h{}v{}h{}v{}h{}z",
                mm(x - WING - c),
                mm(y - c),
                mm(w + 2.0 * (WING + c)),
                mm(h + 2.0 * c),
                mm(-WING),
                mm(FLAP),
                mm(-w - 2.0 * c),
                mm(-FLAP),
                mm(-WING),
            ),
            0.2,
            "",
            GREY,
        );
        let wings = format!(
            "M{} {}v{}M{} {}v{}M{} {}h{}",
            mm(x - c),
            mm(y),
            mm(h),
            mm(x + w + c),
            mm(y),
            mm(h),
            mm(x),
            mm(y + h + c),
            mm(w)
        );
        self.svg.stroke(&wings, 0.2, "2.4 1.6", GREY);

        let (title, photo) = (words::PHOTO_TITLE, &words::PHOTO_SIDE);
        self.items(x - WING + 4.0, y + 9.0, title, photo, true, WING_SET);
        let (title, cautions) = (words::CAUTION_TITLE, &words::CAUTIONS_SIDE);
        self.items(x + w + 5.0, y + 9.0, title, cautions, false, WING_SET);
        self.signature(x + w + 5.0, y + h - 6.0, Anchor::Start);
        let below = y + h + 9.0;
        self.lines(x - WING, below, words::PRINT_TITLE, &words::PRINT);
        self.lines(x + w + 4.0, below, words::FOLD_TITLE, &words::FOLD);
        self.flap();
    }

    /// Rings in the middle of the bay, all touching one line before the card, and what they are for.
    fn flap(&mut self) {
        let top = self.y + self.design.height_mm;
        let middle = self.x + self.design.bay.centre().0;
        let back = top + RING_GAP;
        for d in RINGS {
            self.svg.circle(middle, back + d / 2.0, d / 2.0, 0.15, GREY);
        }
        let label = Style {
            size: 1.7,
            anchor: Anchor::Middle,
            colour: GREY,
            ..self.style(1.7)
        };
        for d in RINGS {
            self.svg
                .text(middle, back + d - 0.7, label, &format!("{d}"));
        }
        let x = self.x + TEXT_INDENT;
        self.lines(x, top + 11.0, words::STAND_TITLE, &words::STAND);
        let widths = RINGS.map(|d| d.to_string()).join(", ") + " mm.";
        let below = top + 11.0 + UNDER_TITLE + LINE * words::STAND.len() as f64;
        let style = self.style(BODY);
        self.svg.text(x, below, style, &widths);
        self.body(x, below + 2.0 * LINE, &words::LINES);
        let x = middle + RINGS[RINGS.len() - 1] / 2.0 + 16.0;
        self.lines(x, top + 11.0, words::FIRST_TITLE, &words::FIRST);
    }

    fn flat(&mut self) {
        let (x, y) = (self.x, self.y);
        let (w, h) = (self.design.width_mm, self.design.height_mm);
        let c = CLEAR;
        self.svg.stroke(
            &format!(
                "M{} {}h{}v{}h{}z",
                mm(x - c),
                mm(y - c),
                mm(w + 2.0 * c),
                mm(h + PANEL + c),
                mm(-w - 2.0 * c)
            ),
            0.2,
            "",
            GREY,
        );
        self.svg.stroke(
            &format!("M{} {}h{}", mm(x + 6.0), mm(y + h + c), mm(w - 12.0)),
            0.15,
            "",
            GREY,
        );
        self.ring();
        let (left, right, top) = (x + TEXT_INDENT, x + 122.0, y + h + 9.0);
        let (title, photo) = (words::PHOTO_TITLE, &words::PHOTO_ABOVE);
        self.items(left, top, title, photo, true, PANEL_SET);
        let (title, cautions) = (words::CAUTION_TITLE, &words::CAUTIONS_ABOVE);
        self.items(right, top, title, cautions, false, PANEL_SET);
        self.signature(x + w - TEXT_INDENT, top, Anchor::End);
        let below = y + h + PANEL + 6.5;
        self.lines(left, below, words::PRINT_TITLE, &words::PRINT_FLAT);
        self.lines(right, below, words::CUT_TITLE, &words::CUT);
    }

    /// The foot mark of a flat card: four arcs of a circle, in the strip between the bay and the paper around it, so that
    /// the bay stays bare.
    fn ring(&mut self) {
        let bay = self.design.bay;
        let (cx, cy) = bay.centre();
        let (cx, cy) = (self.x + cx, self.y + cy);
        let r = bay.w / 2.0 + 0.75;
        // Up to here the circle stays outside the bay's edge, with half the line and a little more.
        let reach = ((bay.w / 2.0 + 0.2) / r).acos() * 0.95;
        let (across, along) = (r * reach.sin(), r * reach.cos());
        let mut path = String::new();
        for (ux, uy) in [(0.0, -1.0), (1.0, 0.0), (0.0, 1.0), (-1.0, 0.0)] {
            path += &format!(
                "M{} {}A{r} {r} 0 0 1 {} {}",
                mm(cx + along * ux + across * uy),
                mm(cy + along * uy - across * ux),
                mm(cx + along * ux - across * uy),
                mm(cy + along * uy + across * ux),
                r = mm(r)
            );
        }
        self.svg.stroke(&path, 0.2, "", GREY);
    }

    /// Card id and name where they stay with the cut card.
    fn signature(&mut self, x: f64, y: f64, anchor: Anchor) {
        let style = Style {
            bold: true,
            colour: self.accent,
            anchor,
            ..self.style(BODY)
        };
        let text = format!("{}  {}", words::NAME, self.design.id);
        self.svg.text(x, y, style, &text);
    }

    /// A title with plain lines.
    fn lines(&mut self, x: f64, y: f64, title: &str, lines: &[&str]) {
        let style = self.title_style();
        self.svg.text(x, y, style, title);
        self.body(x, y + UNDER_TITLE, lines);
    }

    /// Lines of plain text, the first at `y`.
    fn body(&mut self, x: f64, y: f64, lines: &[&str]) {
        let style = self.style(BODY);
        for (i, line) in lines.iter().enumerate() {
            self.svg.text(x, y + LINE * i as f64, style, line);
        }
    }

    /// A title and items with a ringed numeral or an upright bar before each.
    fn items(&mut self, x: f64, y: f64, title: &str, items: &[Item], numbered: bool, set: Set) {
        let style = self.title_style();
        self.svg.text(x, y, style, title);
        let body = self.style(set.size);
        let numeral = Style {
            anchor: Anchor::Middle,
            bold: true,
            colour: self.accent,
            ..self.style(2.3)
        };
        let indent = if numbered { 5.4 } else { 2.6 };
        let mut at = y + 7.0;
        for (i, item) in items.iter().enumerate() {
            if numbered {
                self.svg.circle(x + 1.7, at - 0.95, 1.7, 0.2, self.accent);
                self.svg
                    .text(x + 1.7, at - 0.15, numeral, &(i + 1).to_string());
            } else {
                // From the height of the capitals to the baseline of the last line.
                let capitals = 0.75 * set.size;
                let tall = set.line * (item.len() - 1) as f64 + capitals;
                self.svg.rect(x, at - capitals, 0.6, tall, self.accent);
            }
            for line in item.iter() {
                self.svg.text(x + indent, at, body, line);
                at += set.line;
            }
            at += set.gap;
        }
    }
}

/// A rectangle as path commands.
fn block(x: f64, y: f64, w: f64, h: f64) -> String {
    format!("M{} {}h{}v{}h{}z", mm(x), mm(y), mm(w), mm(h), mm(-w))
}
