//! A drawing in millimetres, written as SVG. Knows shapes and text, nothing of cards.

use std::fmt::{Display, Write as _};

/// The typeface's family name.
pub(super) const TYPEFACE: &str = "Cabin";

/// Near-black that prints as black only.
pub(super) const BLACK: [u8; 3] = [0, 0, 0];

/// How a text is set.
#[derive(Debug, Clone, Copy)]
pub(super) struct Style {
    /// Height of the em, mm.
    pub size: f64,
    pub bold: bool,
    pub colour: [u8; 3],
    pub anchor: Anchor,
}

/// Which point of the line the position names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// A drawing that grows shape by shape; origin top left, y down, mm.
pub(super) struct Svg {
    pub width_mm: f64,
    pub height_mm: f64,
    body: String,
}

impl Svg {
    pub(super) fn new(width_mm: f64, height_mm: f64) -> Svg {
        Svg {
            width_mm,
            height_mm,
            body: String::new(),
        }
    }

    pub(super) fn rect(&mut self, x: f64, y: f64, w: f64, h: f64, colour: [u8; 3]) {
        self.shape(format_args!(
            r#"<rect x="{}" y="{}" width="{}" height="{}" fill="{}"/>"#,
            mm(x),
            mm(y),
            mm(w),
            mm(h),
            hex(colour)
        ));
    }

    /// A filled area from path commands; `class` names it for readers of the file.
    pub(super) fn fill(&mut self, class: &str, path: &str, colour: [u8; 3]) {
        self.shape(format_args!(
            r#"<path class="{class}" d="{path}" fill="{}"/>"#,
            hex(colour)
        ));
    }

    /// A line along path commands; `dashes` as SVG has them, empty for a solid line.
    pub(super) fn stroke(&mut self, path: &str, width: f64, dashes: &str, colour: [u8; 3]) {
        let dashes = if dashes.is_empty() {
            String::new()
        } else {
            format!(r#" stroke-dasharray="{dashes}""#)
        };
        self.shape(format_args!(
            r#"<path d="{path}" fill="none" stroke="{}" stroke-width="{}"{dashes}/>"#,
            hex(colour),
            mm(width)
        ));
    }

    pub(super) fn circle(&mut self, cx: f64, cy: f64, r: f64, width: f64, colour: [u8; 3]) {
        self.shape(format_args!(
            r#"<circle cx="{}" cy="{}" r="{}" fill="none" stroke="{}" stroke-width="{}"/>"#,
            mm(cx),
            mm(cy),
            mm(r),
            hex(colour),
            mm(width)
        ));
    }

    /// One line of text with its baseline at `y`.
    pub(super) fn text(&mut self, x: f64, y: f64, style: Style, text: &str) {
        let weight = if style.bold { "bold" } else { "normal" };
        let anchor = match style.anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let text = text
            .replace('&', "&amp;")
            .replace('<', "&lt;")
            .replace('>', "&gt;");
        self.shape(format_args!(
            r#"<text x="{}" y="{}" font-family="{TYPEFACE}, sans-serif" font-size="{}" font-weight="{weight}" text-anchor="{anchor}" fill="{}">{text}</text>"#,
            mm(x),
            mm(y),
            mm(style.size),
            hex(style.colour)
        ));
    }

    /// The whole file, with `head` before the shapes.
    pub(super) fn finish(&self, head: &str) -> String {
        let (w, h) = (mm(self.width_mm), mm(self.height_mm));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\">\n\
             {head}<rect width=\"{w}\" height=\"{h}\" fill=\"#ffffff\"/>\n{}</svg>\n",
            self.body
        )
    }

    fn shape(&mut self, shape: impl Display) {
        // Writing to a string does not fail.
        let _ = writeln!(self.body, "{shape}");
    }
}

/// Millimetres to the micrometre, without trailing zeros.
pub(super) fn mm(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

fn hex([r, g, b]: [u8; 3]) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}
