//! The pen that the picture is drawn with: lines, shapes and text as SVG, and the signs made of them.

use std::fmt::Write;

use unicode_width::UnicodeWidthChar;

use super::{Mark, Seen};
use crate::report::svg;

/// How wide a letter is drawn, in its size, at most in most typefaces: a page brings its own.
fn letter(c: char) -> f64 {
    match c {
        'm' | 'w' | 'M' | 'W' | '@' | '%' => 0.95,
        c if c.is_uppercase() => 0.74,
        '&' | '+' | '=' | '<' | '>' | '~' | '_' => 0.65,
        c => 0.55 * c.width().unwrap_or(0) as f64,
    }
}

/// How wide text is drawn, at most, in most typefaces.
pub(super) fn width(text: &str, size: f64) -> f64 {
    size * text.chars().map(letter).sum::<f64>()
}

/// Text cut to a width.
pub(super) fn fitted(text: &str, size: f64, most: f64) -> String {
    if width(text, size) <= most {
        return text.to_owned();
    }
    // The sign for what is left out takes one size.
    let mut room = most / size - 1.0;
    let cut: String = text
        .chars()
        .take_while(|c| {
            room -= letter(*c);
            room >= 0.0
        })
        .collect();
    cut.trim_end().to_owned() + "…"
}

/// Text broken into lines of a width, at most `lines` of them.
pub(super) fn broken(text: &str, size: f64, most: f64, lines: usize) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let last = found.len() == lines;
        match found.last_mut() {
            // What no longer fits the last line is cut there.
            Some(line) if last || width(line, size) + width(word, size) + size / 2.0 <= most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => found.push(word.to_owned()),
        }
    }
    found.iter().map(|line| fitted(line, size, most)).collect()
}

/// Writes elements.
pub(super) struct Pen {
    pub(super) body: String,
    pub(super) escape: fn(&str) -> String,
}

impl Pen {
    pub(super) fn raw(&mut self, text: std::fmt::Arguments) {
        let _ = self.body.write_fmt(text);
    }

    pub(super) fn line(&mut self, points: &[(f64, f64)], class: &str, width: f64, dash: &str) {
        let dash = if dash.is_empty() {
            String::new()
        } else {
            format!(" stroke-dasharray='{dash}'")
        };
        self.raw(format_args!(
            "<polyline class='{class}' points='{}' stroke-width='{width}' stroke-linejoin='round'{dash}/>",
            svg::list(points)
        ));
    }

    pub(super) fn shape(&mut self, points: &[(f64, f64)], class: &str, width: f64) {
        self.raw(format_args!(
            "<polygon class='{class}' points='{}' stroke-width='{width}'/>",
            svg::list(points)
        ));
    }

    pub(super) fn circle(&mut self, (x, y): (f64, f64), r: f64, class: &str, width: f64) {
        self.raw(format_args!(
            "<circle class='{class}' cx='{x:.1}' cy='{y:.1}' r='{r:.1}' stroke-width='{width}'/>"
        ));
    }

    pub(super) fn text(
        &mut self,
        (x, y): (f64, f64),
        anchor: &str,
        class: &str,
        more: &str,
        text: &str,
    ) {
        let text = (self.escape)(text);
        self.raw(format_args!(
            "<text class='{class}' x='{x:.1}' y='{y:.1}' text-anchor='{anchor}'{more}>{text}</text>"
        ));
    }
}

/// What stands before an entry of the key.
pub(super) enum Sample {
    Mark(Mark),
    Interval,
    Line,
    Later,
    Crossing,
}

impl Sample {
    pub(super) fn draw(&self, pen: &mut Pen, (x, y): (f64, f64)) {
        let ends = [(x - 12.0, y), (x + 12.0, y)];
        let mut ground = |class: &str| {
            let box_ = [
                (x - 12.0, y - 6.0),
                (x + 12.0, y - 6.0),
                (x + 12.0, y + 6.0),
                (x - 12.0, y + 6.0),
            ];
            pen.shape(&box_, class, 0.0);
        };
        match self {
            Sample::Mark(mark) => {
                let up = match mark.seen {
                    Seen::Value { .. } => 0.0,
                    Seen::Below(_) => 4.5,
                    Seen::Above(_) => -4.5,
                };
                symbol(pen, (x, y - up), 4.5, mark);
            }
            Sample::Interval => interval(pen, x, (y + 9.0, y - 9.0), false, 5.0, (true, true)),
            Sample::Line => {
                ground("course-band");
                pen.line(&ends, "course-line", 2.6, "");
            }
            Sample::Later => {
                ground("course-later");
                pen.line(&ends, "course-line", 2.6, "9 6");
            }
            Sample::Crossing => {
                pen.line(&ends, "course-limit", 5.0, "");
                for (x, y) in ends {
                    pen.line(&[(x, y - 7.0), (x, y + 7.0)], "course-limit", 2.5, "");
                }
            }
        }
    }
}

/// The bar of an interval from `low` to `high` in pixels; an end that is cut has an arrow in place of its cap.
pub(super) fn interval(
    pen: &mut Pen,
    x: f64,
    (low, high): (f64, f64),
    thin: bool,
    r: f64,
    whole: (bool, bool),
) {
    if low - high < 0.5 {
        return;
    }
    // Bars of many, drawn with small marks, are thin.
    let width = if thin { 0.9 } else { 0.06 * r * r + 0.4 };
    pen.line(
        &[(x, low), (x, high)],
        "course-bar course-interval",
        width,
        "",
    );
    for (y, whole, out) in [(low, whole.0, 1.0), (high, whole.1, -1.0)] {
        let inner = if whole { y } else { y - 7.0 * out };
        let ends = [(x - 0.8 * r, inner), (x, y), (x + 0.8 * r, inner)];
        pen.line(&ends, "course-bar", width, "");
    }
}

/// The mark of a reading: round if read from a photo, square if by eye, pointed at one side if a bound, open if doubtful.
pub(super) fn symbol(pen: &mut Pen, (x, y): (f64, f64), r: f64, mark: &Mark) {
    let (class, width) = if mark.doubtful {
        ("course-open", 1.2)
    } else {
        ("course-full", 1.0)
    };
    // The flat side of a bound lies on its level.
    let way = match mark.seen {
        Seen::Below(_) => 1.0,
        Seen::Above(_) => -1.0,
        Seen::Value { .. } => {
            if mark.by_eye {
                let q = 0.9 * r;
                pen.shape(
                    &[
                        (x - q, y - q),
                        (x + q, y - q),
                        (x + q, y + q),
                        (x - q, y + q),
                    ],
                    class,
                    width,
                );
            } else {
                pen.circle((x, y), r, class, width);
            }
            return;
        }
    };
    let wide = 1.25 * r;
    let mut points = vec![(x - wide, y), (x + wide, y)];
    if mark.by_eye {
        points.extend([
            (x + wide, y + way * r),
            (x, y + way * 2.2 * r),
            (x - wide, y + way * r),
        ]);
    } else {
        points.push((x, y + way * 2.0 * r));
    }
    pen.shape(&points, class, width);
}

pub(super) fn badge_width(text: &str) -> f64 {
    (width(text, 13.0) + 8.0).max(20.0)
}

/// The number of an event; filled if before and after are told for it.
pub(super) fn badge(pen: &mut Pen, (x, y): (f64, f64), text: &str, split: bool) {
    let (class, letters) = if split {
        ("course-split", "course-on-split")
    } else {
        ("course-badge", "course-ink")
    };
    let wide = badge_width(text);
    pen.raw(format_args!(
        "<rect class='{class}' x='{:.1}' y='{:.1}' width='{wide:.1}' height='18' rx='5' stroke-width='1.2'/>",
        x - wide / 2.0,
        y - 9.0
    ));
    let class = format!("{letters} course-number");
    pen.text((x, y + 4.6), "middle", &class, " font-size='13'", text);
}

pub(super) fn diamond(pen: &mut Pen, (x, y): (f64, f64)) {
    pen.shape(
        &[(x - 6.0, y), (x, y - 6.0), (x + 6.0, y), (x, y + 6.0)],
        "course-split",
        1.0,
    );
}
