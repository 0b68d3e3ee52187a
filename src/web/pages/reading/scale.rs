//! The vial's colour among the steps of the chart, and the value with its interval on their scale: one drawing with the figures in it,
//! and the same in words for who does not see it.

use maud::{Markup, html};

use crate::chart::Chart;
use crate::reading::Answer;
use crate::report::text::clean;
use crate::web::words::Words;

/// Width of the drawing; a pixel each on a phone of 360.
const WIDTH: f64 = 324.0;
/// Height of the vial's band, of the steps under it, and of what is under those.
const VIAL: f64 = 44.0;
const STEP: f64 = 44.0;
const FOOT: f64 = 62.0;
/// Mean width of a figure of the labels' size.
const FIGURE: f64 = 8.5;

/// A colour as SVG names it.
fn hex(rgb: [u8; 3]) -> String {
    format!("#{:02x}{:02x}{:02x}", rgb[0], rgb[1], rgb[2])
}

/// Draws it. `vials` are the colours of the photos that the answer rests on, as the session saw them.
pub(super) fn scale(
    words: Words,
    chart: &Chart,
    vials: &[[u8; 3]],
    on_chart: Option<&Answer>,
) -> Markup {
    let n = chart.steps.len();
    let cell = WIDTH / n as f64;
    let (low, high) = ends(chart, on_chart, cell);
    let value = match on_chart {
        Some(Answer::Value { value, .. }) => Some(x_of(chart, *value, cell)),
        _ => None,
    };
    let labels: Vec<String> = chart.steps.iter().map(|s| s.value.to_string()).collect();
    let longest = labels.iter().map(String::len).max().unwrap_or(1);
    // The last is always there: it says how far the chart reaches.
    let every = ((longest as f64 + 1.0) * FIGURE / cell).ceil().max(1.0) as usize;
    let labelled = |i: usize| (n - 1 - i).is_multiple_of(every);
    let (base, height) = (VIAL + STEP, VIAL + STEP + FOOT);
    let bar = base + 40.0;
    html! {
        figure {
            svg viewBox={ "0 0 " (WIDTH) " " (height) } role="img" aria-label=(in_words(words, chart, on_chart)) {
                @for (i, rgb) in vials.iter().enumerate() {
                    @let w = WIDTH / vials.len() as f64;
                    rect x=(w * i as f64) y="0" width=(w) height=(VIAL) fill=(hex(*rgb)) {}
                }
                @for (i, s) in chart.steps.iter().enumerate() {
                    rect x=(cell * i as f64) y=(VIAL) width=(cell) height=(STEP) fill=(hex(s.relative().to_srgb8())) {}
                }
                rect.edge x="0.5" y="0.5" width=(WIDTH - 1.0) height=(base - 1.0) {}
                @for (i, label) in labels.iter().enumerate() {
                    @let x = cell * (i as f64 + 0.5);
                    line.edge x1=(x) x2=(x) y1=(base) y2=(base + 5.0) {}
                    @if labelled(i) { text x=(x) y=(base + 20.0) text-anchor="middle" { (label) } }
                }
                line.axis x1="0" x2=(WIDTH) y1=(bar) y2=(bar) {}
                @if let (Some(low), Some(high)) = (low, high) {
                    rect.interval x=(low) y=(bar - 4.0) width=((high - low).max(2.0)) height="8" rx="2" {}
                }
                @if let Some(x) = value {
                    path.mark d={ "M" (x) " " (bar - 12.0) "l9 20h-18z" } {}
                }
            }
            figcaption {
                (words.say("scale.caption")) " "
                (words.fill("scale.unit", &[("unit", &clean(&chart.terms.unit))]))
            }
        }
    }
}

/// Where on the drawing a value is; within it.
fn x_of(chart: &Chart, value: f64, cell: f64) -> f64 {
    ((chart.step_position(value) + 0.5) * cell).clamp(0.0, WIDTH)
}

fn ends(chart: &Chart, answer: Option<&Answer>, cell: f64) -> (Option<f64>, Option<f64>) {
    let x = |v: f64| Some(x_of(chart, v, cell));
    match answer {
        Some(Answer::Value { low, high, .. }) => (x(*low), x(*high)),
        Some(Answer::Below { high } | Answer::Under { high }) => (Some(0.0), x(*high)),
        Some(Answer::Above { low }) => (x(*low), Some(WIDTH)),
        Some(Answer::OffChart) | None => (None, None),
    }
}

/// The drawing in words.
fn in_words(words: Words, chart: &Chart, answer: Option<&Answer>) -> String {
    let steps: Vec<String> = chart.steps.iter().map(|s| s.value.to_string()).collect();
    let scale = words.fill(
        "scale.steps",
        &[
            ("steps", &steps.join(", ")),
            ("unit", &clean(&chart.terms.unit)),
        ],
    );
    let place = match answer {
        Some(Answer::Value { value, .. }) => {
            let at = chart.step_position(*value);
            let last = chart.steps.len() - 1;
            let below = (at.floor().max(0.0) as usize).min(last.saturating_sub(1));
            words.fill(
                "scale.between",
                &[
                    ("low", &chart.steps[below].value),
                    ("high", &chart.steps[(below + 1).min(last)].value),
                ],
            )
        }
        Some(Answer::Below { .. } | Answer::Under { .. }) => words.say("scale.at_bottom").into(),
        Some(Answer::Above { .. }) => words.say("scale.at_top").into(),
        Some(Answer::OffChart) | None => words.say("scale.nowhere").into(),
    };
    format!("{scale} {place}")
}
