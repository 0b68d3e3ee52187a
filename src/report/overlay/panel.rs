//! The panel beside the photo: value, verdict, the vial next to the steps, legend and findings.

use super::{CARD, LIQUID, PATCHES, VIAL, WHITE};
use crate::chart::Chart;
use crate::colour::srgb_decode;
use crate::flag::{Checked, Flag, Verdict};
use crate::reading::{Answer, LEVEL, Reading};
use crate::report::svg::{Drawing, Type, hex};
use crate::report::words;

/// Width of the panel, pixels.
pub(super) const WIDTH: u32 = 460;
const LEFT: f64 = 28.0;
const INK: &str = "#1c1c1c";
const QUIET: &str = "#5a5a5a";
/// Room for letters, pixels.
const ROOM: f64 = WIDTH as f64 - 2.0 * LEFT;
/// Mean width of a letter of the typeface, in parts of its size.
const LETTER: f64 = 0.55;
/// Space kept free under the scale for legend and findings.
const FOOT: f64 = 250.0;

const fn regular(size: f64) -> Type {
    Type { size, bold: false }
}

/// Draws the panel; `corner` is the x of its left edge and the height of the whole picture.
pub(super) fn draw(
    d: &mut Drawing,
    corner: (f64, f64),
    photo: &str,
    reading: &Checked<Reading>,
    chart: &Chart,
    by_card: bool,
) {
    let (x0, height) = corner;
    let x = x0 + LEFT;
    let r = &reading.value;
    let w = words(&r.answer, &r.unit);
    let size = (ROOM / (LETTER * w.value.chars().count() as f64)).min(40.0);
    d.text(x, 62.0, Type { size, bold: true }, INK, &w.value);
    if let Some(interval) = &w.interval {
        d.text(
            x,
            94.0,
            regular(20.0),
            INK,
            &format!("{interval} {}, {:.0} % interval", r.unit, 100.0 * LEVEL),
        );
    }
    mark(d, x + 8.0, 118.0, r.verdict);
    d.text(
        x + 24.0,
        125.0,
        Type {
            size: 20.0,
            bold: true,
        },
        INK,
        r.verdict.word(),
    );
    d.text(
        x,
        152.0,
        regular(15.0),
        QUIET,
        &shortened(&format!("{} · {}", r.test, file_name(photo)), 15.0),
    );
    let foot = height - FOOT;
    scale(d, x, (176.0, foot), r, chart);
    legend(d, x, foot + 30.0, by_card);
    findings(d, x, foot + 84.0, &reading.flags);
}

/// A shape as well as a colour for each verdict.
fn mark(d: &mut Drawing, x: f64, y: f64, verdict: Verdict) {
    match verdict {
        Verdict::Trusted => d.circle(x, y, 8.0, "#1f8a4c"),
        Verdict::Doubtful => d.filled(
            &[(x, y - 9.0), (x + 9.0, y + 7.0), (x - 9.0, y + 7.0)],
            "#c77700",
            1.0,
        ),
        Verdict::Unreadable => d.rectangle(x - 8.0, y - 8.0, 16.0, 16.0, "#b3261e"),
    }
}

/// The vial on the left, touching the steps, so that the eye can compare them.
fn scale(d: &mut Drawing, x: f64, (top, bottom): (f64, f64), r: &Reading, chart: &Chart) {
    const VIAL_W: f64 = 170.0;
    const STEP_W: f64 = 110.0;
    let cell = (bottom - top) / chart.steps.len() as f64;
    d.rectangle(x, top, VIAL_W, bottom - top, &hex(r.colour.to_srgb8()));
    let label_every = (18.0 / cell).ceil().max(1.0) as usize;
    for (i, s) in chart.steps.iter().enumerate() {
        let y = top + i as f64 * cell;
        d.rectangle(x + VIAL_W, y, STEP_W, cell, &hex(s.relative().to_srgb8()));
        if i % label_every == 0 {
            d.text(
                x + VIAL_W + STEP_W + 28.0,
                y + cell / 2.0 + 6.0,
                regular(17.0),
                INK,
                &format!("{} {}", s.value, r.unit),
            );
        }
    }
    d.outline(
        &[
            (x, top),
            (x + VIAL_W + STEP_W, top),
            (x + VIAL_W + STEP_W, bottom),
            (x, bottom),
        ],
        WHITE,
    );
    d.text(
        x + 8.0,
        bottom - 10.0,
        regular(14.0),
        contrast(r.colour.to_srgb8()),
        "vial, as the session saw it",
    );
    let y_of = |value: f64| (top + (chart.step_position(value) + 0.5) * cell).clamp(top, bottom);
    let (at, span) = match r.on_chart {
        Answer::Value { value, low, high } => (Some(y_of(value)), Some((y_of(low), y_of(high)))),
        Answer::Below { high } => (None, Some((y_of(0.0), y_of(high)))),
        Answer::Under { .. } => (Some(top), None),
        Answer::Above { .. } => (Some(bottom), None),
        Answer::OffChart => (None, None),
    };
    let edge = x + VIAL_W + STEP_W + 8.0;
    if let Some((low, high)) = span {
        d.rectangle(edge, low, 5.0, (high - low).max(2.0), INK);
    }
    if let Some(y) = at {
        d.filled(
            &[
                (edge - 8.0, y),
                (edge + 14.0, y - 9.0),
                (edge + 14.0, y + 9.0),
            ],
            INK,
            1.0,
        );
    }
}

fn legend(d: &mut Drawing, x: f64, y: f64, by_card: bool) {
    let all = [
        (CARD, "card"),
        (PATCHES, "patches"),
        (VIAL, "sides of the vial"),
        (WHITE, "white paper"),
        (LIQUID, "liquid, filled where sampled"),
    ];
    let entries = if by_card { &all[..] } else { &all[3..] };
    let (mut at, mut row) = (x, y);
    for (colour, name) in entries {
        let width = 34.0 + name.len() as f64 * 14.0 * LETTER;
        if at + width > x + ROOM {
            (at, row) = (x, row + 24.0);
        }
        d.outline(
            &[
                (at + 2.0, row - 10.0),
                (at + 16.0, row - 10.0),
                (at + 16.0, row),
                (at + 2.0, row),
            ],
            colour,
        );
        d.text(at + 24.0, row, regular(14.0), QUIET, name);
        at += width + 12.0;
    }
}

/// As many findings as there is room for, most severe first; the text report has them all.
fn findings(d: &mut Drawing, x: f64, y: f64, flags: &[Flag]) {
    const LINE: f64 = 19.0;
    let most = ((FOOT - 84.0) / LINE) as usize;
    let mut lines: Vec<String> = flags
        .iter()
        .flat_map(|f| wrapped(&format!("· {}", f.message), 14.0))
        .collect();
    if lines.len() > most {
        lines.truncate(most - 1);
        lines.push("… more in the text report".into());
    }
    for (i, text) in lines.iter().enumerate() {
        d.text(x, y + i as f64 * LINE, regular(14.0), INK, text);
    }
    if lines.is_empty() {
        d.text(x, y, regular(14.0), QUIET, "nothing was found against it");
    }
}

fn letters_in_room(size: f64) -> usize {
    (ROOM / (LETTER * size)) as usize
}

fn wrapped(text: &str, size: f64) -> Vec<String> {
    let most = letters_in_room(size);
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

fn shortened(text: &str, size: f64) -> String {
    let most = letters_in_room(size);
    if text.chars().count() <= most {
        text.to_owned()
    } else {
        text.chars().take(most - 1).chain(['…']).collect()
    }
}

/// The last part of a path: its end tells photos apart.
fn file_name(photo: &str) -> &str {
    photo.rsplit(['/', '\\']).next().unwrap_or(photo)
}

/// Black letters on light colours and white ones on dark: which of them has the higher contrast (WCAG 2.2, contrast ratio).
fn contrast(rgb: [u8; 3]) -> &'static str {
    let [r, g, b] = rgb.map(|c| srgb_decode(f64::from(c) / 255.0));
    let luminance = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    if (luminance + 0.05).powi(2) > 1.05 * 0.05 {
        "#000000"
    } else {
        "#ffffff"
    }
}
