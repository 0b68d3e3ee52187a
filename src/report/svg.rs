//! A small pen that writes SVG with the built-in typeface.

use std::fmt::Write;
use std::sync::Arc;

use image::codecs::jpeg::JpegEncoder;
use image::{ImageFormat, RgbImage};
use resvg::{tiny_skia, usvg};

/// A drawing in pixels, origin top left, y down.
pub(super) struct Drawing {
    width: u32,
    height: u32,
    body: String,
}

/// Letters.
#[derive(Clone, Copy)]
pub(super) struct Type {
    pub(super) size: f64,
    pub(super) bold: bool,
}

impl Drawing {
    pub(super) fn new(width: u32, height: u32) -> Drawing {
        Drawing {
            width,
            height,
            body: String::new(),
        }
    }

    /// An outline with a dark edge, so that it shows on light and dark ground.
    pub(super) fn outline(&mut self, points: &[(f64, f64)], colour: &str) {
        let points = list(points);
        let _ = write!(
            self.body,
            "<polygon points='{points}' fill='none' stroke='#000' stroke-opacity='0.55' stroke-width='4'/>\
             <polygon points='{points}' fill='none' stroke='{colour}' stroke-width='2'/>"
        );
    }

    pub(super) fn filled(&mut self, points: &[(f64, f64)], colour: &str, opacity: f64) {
        let _ = write!(
            self.body,
            "<polygon points='{}' fill='{colour}' fill-opacity='{opacity}'/>",
            list(points)
        );
    }

    pub(super) fn rectangle(&mut self, x: f64, y: f64, w: f64, h: f64, colour: &str) {
        let _ = write!(
            self.body,
            "<rect x='{x:.1}' y='{y:.1}' width='{w:.1}' height='{h:.1}' fill='{colour}'/>"
        );
    }

    pub(super) fn circle(&mut self, x: f64, y: f64, r: f64, colour: &str) {
        let _ = write!(
            self.body,
            "<circle cx='{x:.1}' cy='{y:.1}' r='{r:.1}' fill='{colour}'/>"
        );
    }

    /// An open line; `dash` are the lengths of strokes and gaps, empty for none.
    pub(super) fn line(&mut self, points: &[(f64, f64)], colour: &str, width: f64, dash: &str) {
        let _ = write!(
            self.body,
            "<polyline points='{}' fill='none' stroke='{colour}' stroke-width='{width}' stroke-linejoin='round' stroke-dasharray='{dash}'/>",
            list(points)
        );
    }

    /// A disc with a dark rim.
    pub(super) fn dot(&mut self, x: f64, y: f64, r: f64, colour: &str) {
        let _ = write!(
            self.body,
            "<circle cx='{x:.1}' cy='{y:.1}' r='{r:.1}' fill='{colour}' stroke='#1c1c1c' stroke-width='1.5'/>"
        );
    }

    /// Text that starts at `x`.
    pub(super) fn text(&mut self, x: f64, y: f64, letters: Type, colour: &str, text: &str) {
        self.anchored("start", (x, y), letters, colour, text);
    }

    /// Text whose middle is at `x`.
    pub(super) fn centred(&mut self, x: f64, y: f64, letters: Type, colour: &str, text: &str) {
        self.anchored("middle", (x, y), letters, colour, text);
    }

    /// Text that ends at `x`.
    pub(super) fn ending(&mut self, x: f64, y: f64, letters: Type, colour: &str, text: &str) {
        self.anchored("end", (x, y), letters, colour, text);
    }

    fn anchored(
        &mut self,
        anchor: &str,
        (x, y): (f64, f64),
        letters: Type,
        colour: &str,
        text: &str,
    ) {
        let weight = if letters.bold { 600 } else { 400 };
        let _ = write!(
            self.body,
            "<text x='{x:.1}' y='{y:.1}' text-anchor='{anchor}' font-family='Cabin' font-weight='{weight}' font-size='{:.1}' fill='{colour}'>{}</text>",
            letters.size,
            escaped(text)
        );
    }

    /// The drawing made ready to paint; letters become shapes. `None` if it is not to be drawn.
    pub(super) fn tree(&self) -> Option<usvg::Tree> {
        let (w, h) = (self.width, self.height);
        let svg = format!(
            "<svg xmlns='http://www.w3.org/2000/svg' width='{w}' height='{h}'>{}</svg>",
            self.body
        );
        tree(&svg)
    }
}

/// SVG made ready to paint with the built-in typeface; letters become shapes. `None` if it is not to be drawn.
pub(super) fn tree(svg: &str) -> Option<usvg::Tree> {
    let mut fonts = usvg::fontdb::Database::new();
    fonts.load_font_data(include_bytes!("../card/fonts/Cabin-Regular.otf").to_vec());
    fonts.load_font_data(include_bytes!("../card/fonts/Cabin-Bold.otf").to_vec());
    let options = usvg::Options {
        fontdb: Arc::new(fonts),
        ..Default::default()
    };
    usvg::Tree::from_str(svg, &options).ok()
}

/// A picture without transparency as a PNG.
pub(super) fn png(canvas: &tiny_skia::Pixmap) -> Option<Vec<u8>> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    opaque(canvas)?
        .write_to(&mut bytes, ImageFormat::Png)
        .ok()?;
    Some(bytes.into_inner())
}

/// The same as a JPEG of a quality from 1 to 100.
pub(super) fn jpeg(canvas: &tiny_skia::Pixmap, quality: u8) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, quality)
        .encode_image(&opaque(canvas)?)
        .ok()?;
    Some(bytes)
}

fn opaque(canvas: &tiny_skia::Pixmap) -> Option<RgbImage> {
    let rgb: Vec<u8> = canvas
        .data()
        .chunks_exact(4)
        .flat_map(|p| [p[0], p[1], p[2]])
        .collect();
    RgbImage::from_raw(canvas.width(), canvas.height(), rgb)
}

/// A colour as SVG names it.
pub(super) fn hex(rgb: [u8; 3]) -> String {
    format!("#{:02x}{:02x}{:02x}", rgb[0], rgb[1], rgb[2])
}

/// Points as SVG lists them.
pub(super) fn list(points: &[(f64, f64)]) -> String {
    points
        .iter()
        .map(|(x, y)| format!("{x:.1},{y:.1}"))
        .collect::<Vec<_>>()
        .join(" ")
}

/// What the built-in typeface has beyond Latin-1.
const MORE_GLYPHS: &str = "–—‘’“”…−≤≥";

/// Text as SVG takes it, with a stand-in for letters that the typeface lacks.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '<' | '>' | '&' => out += &quoted(c.encode_utf8(&mut [0; 4])),
            // The Greek letter, drawn as the micro sign that looks like it.
            '\u{3bc}' => out.push('\u{b5}'),
            // The letters of Latin-1, but for the macron and the soft hyphen.
            '\u{a1}'..='\u{ac}' | '\u{ae}' | '\u{b0}'..='\u{ff}' => out.push(c),
            c if c == ' ' || c.is_ascii_graphic() || MORE_GLYPHS.contains(c) => out.push(c),
            _ => out.push('?'),
        }
    }
    out
}

/// Text for a reader with typefaces of their own: whatever the letters, it stays text. Letters that XML forbids, or that turn
/// the direction of the line for what follows, are left out.
pub(super) fn quoted(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '<' => out += "&lt;",
            '>' => out += "&gt;",
            '&' => out += "&amp;",
            '\'' => out += "&#39;",
            '"' => out += "&quot;",
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fffe}' | '\u{ffff}' => (),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    #[test]
    fn text_cannot_leave_its_element() {
        assert_eq!(
            super::escaped("<a&b> µg/L é\n水"),
            "&lt;a&amp;b&gt; µg/L é??"
        );
        assert_eq!(
            super::quoted("<a&b> µg/L é\n\u{202e}'"),
            "&lt;a&amp;b&gt; µg/L é &#39;"
        );
    }
}
