//! Writes SVG elements in millimetres. Knows nothing of cards.

use std::fmt::Write;

/// Grey of lines and marks: visible, yet with little effect on light that falls on the vial.
const LINE: &str = "#6e6e6e";
/// Thickness of lines and marks, mm: thin, yet above the hairline that printers drop.
const LINE_MM: f64 = 0.2;

/// How a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Line {
    Solid,
    /// Dashes: a fold away from the reader.
    Back,
    /// Dashes and dots: a fold towards the reader.
    Forward,
}

/// Where a text stands against its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// Size (height of the em in mm) and weight of letters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Type {
    pub size: f64,
    pub bold: bool,
}

/// Collects the elements of a drawing.
#[derive(Debug, Default)]
pub(super) struct Pen {
    body: String,
}

impl Pen {
    /// What is drawn by `content`, moved by (`dx`, `dy`) mm.
    pub(super) fn moved(&mut self, dx: f64, dy: f64, content: impl FnOnce(&mut Pen)) {
        self.put(format_args!(
            "<g transform=\"translate({} {})\">",
            num(dx),
            num(dy)
        ));
        content(self);
        self.put(format_args!("</g>"));
    }

    /// A filled shape from SVG path data; where it winds round twice it is left open.
    pub(super) fn fill(&mut self, path: &str, rgb: [u8; 3]) {
        let [r, g, b] = rgb;
        self.put(format_args!(
            "<path fill=\"#{r:02x}{g:02x}{b:02x}\" fill-rule=\"evenodd\" d=\"{path}\"/>"
        ));
    }

    /// A line through points.
    pub(super) fn line(&mut self, points: &[(f64, f64)], line: Line) {
        let dashes = match line {
            Line::Solid => "",
            Line::Back => " stroke-dasharray=\"2.4 1.6\"",
            Line::Forward => " stroke-dasharray=\"4 1.2 0.4 1.2\"",
        };
        let points: Vec<String> = points
            .iter()
            .map(|(x, y)| format!("{},{}", num(*x), num(*y)))
            .collect();
        self.put(format_args!(
            "<polyline fill=\"none\" stroke=\"{LINE}\" stroke-width=\"{LINE_MM}\"{dashes} points=\"{}\"/>",
            points.join(" ")
        ));
    }

    /// A circle.
    pub(super) fn circle(&mut self, cx: f64, cy: f64, radius: f64) {
        self.put(format_args!(
            "<circle fill=\"none\" stroke=\"{LINE}\" stroke-width=\"{LINE_MM}\" cx=\"{}\" cy=\"{}\" r=\"{}\"/>",
            num(cx),
            num(cy),
            num(radius)
        ));
    }

    /// One line of text with its baseline at `y`.
    pub(super) fn text(&mut self, (x, y): (f64, f64), anchor: Anchor, letters: Type, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let weight = if letters.bold { 600 } else { 400 };
        let text = text.replace('&', "&amp;").replace('<', "&lt;");
        self.put(format_args!(
            "<text font-family=\"Open Sans\" font-weight=\"{weight}\" font-size=\"{}\" text-anchor=\"{anchor}\" \
             x=\"{}\" y=\"{}\">{text}</text>",
            num(letters.size),
            num(x),
            num(y)
        ));
    }

    /// The whole drawing, `width` x `height` mm, one user unit to a millimetre.
    pub(super) fn svg(&self, width: f64, height: f64) -> String {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}\" height=\"{}\">\n{}</svg>\n",
            num(width),
            num(height),
            self.body
        )
    }

    fn put(&mut self, element: std::fmt::Arguments) {
        // Writing to a string cannot fail.
        let _ = writeln!(self.body, "{element}");
    }
}

/// A length in mm, to a ten-thousandth, without trailing zeros.
pub(super) fn num(mm: f64) -> String {
    let rounded = (mm * 1e4).round() / 1e4;
    format!("{rounded}")
}
