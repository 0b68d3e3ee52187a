//! Text for people. Reads as well without colour: swatches only add to what the words say.

use std::fmt::Write;

use anstyle::{RgbColor, Style};

use super::{Outcome, number, words};
use crate::blank::Blank;
use crate::chart::curve::{Axis, Space};
use crate::chart::{Chart, Origin, limits, resolve};
use crate::error::Result;
use crate::estimate::dilution::Dilution;
use crate::flag::{Checked, Flag, Severity, Verdict, advised};
use crate::reading::{Answer, LEVEL, Reading, Share};
use crate::same_vial::VialReading;

/// Text from a file or a user, fit for a terminal: control characters, which could steer it, are shown as a mark.
pub fn clean(text: &str) -> String {
    text.chars()
        .map(|c| {
            if c.is_control() {
                char::REPLACEMENT_CHARACTER
            } else {
                c
            }
        })
        .collect()
}

/// The report of one reading, several lines. With `colour`, the vial is shown among the chart's steps.
pub fn reading(
    photo: &str,
    taken_at: Option<&str>,
    checked: &Checked<Reading>,
    chart: &Chart,
    colour: bool,
    explain: bool,
) -> String {
    let r = &checked.value;
    let unit = clean(&r.unit);
    let w = words(&r.answer, &unit);
    let mut out = headline(&w, r.verdict, colour);
    let mut line = |name: &str, text: String| {
        let _ = writeln!(out, "  {name:<11} {text}");
    };
    line(
        "photo",
        taken_at.map_or_else(|| photo.to_owned(), |t| format!("{photo}, taken {t}")),
    );
    line("test", clean(&r.test));
    if let Some(d) = r.dilution {
        line("dilution", dilution(d, &r.on_chart, &unit));
    }
    if let Some(b) = r.blank {
        line("blank", blank(&b));
    }
    if let Some(sure) = how_sure(Some(&r.answer), r.confidence) {
        line("confidence", sure);
    }
    line(
        "colour",
        format!(
            "L {:.1}, a {:.1}, b {:.1}; {:.1} CIEDE2000 from the chart, {:.1} from its nearest step, {} {unit}",
            r.lab.l, r.lab.a, r.lab.b, r.delta_e_chart, r.delta_e_step, r.nearest_step
        ),
    );
    if colour {
        line("steps", among_steps(r, chart));
    }
    out += &flags(&checked.flags);
    if explain {
        out += &shares(&r.shares, &unit);
        out += &r.dilution.map(volumes).unwrap_or_default();
    }
    out
}

/// What the volumes of a dilution add to a table of shares, which is of what was in the vial.
fn volumes(d: Dilution) -> String {
    format!(
        "  of what was in the vial; the volumes of the dilution add {:.1} % of the value\n",
        100.0 * d.relative_uncertainty()
    )
}

/// The report of several photos of one vial, several lines.
pub fn vial(checked: &Checked<VialReading>, colour: bool, explain: bool) -> String {
    let r = &checked.value;
    let unit = clean(&r.unit);
    let w = r.answer.as_ref().map_or_else(
        || super::Words {
            value: "no value".into(),
            interval: None,
        },
        |answer| words(answer, &unit),
    );
    let mut out = headline(&w, r.verdict, colour);
    let mut line = |name: &str, text: String| {
        let _ = writeln!(out, "  {name:<11} {text}");
    };
    let used = match r.used.len() {
        0 => "none of them gives an answer".into(),
        1 => "the answer rests on 1 of them".into(),
        n if n == r.photos => "the answer rests on all of them".into(),
        n => format!("the answer rests on {n} of them"),
    };
    line("vial", format!("{} photos; {used}", r.photos));
    line("test", clean(&r.test));
    if let (Some(d), Some(on_chart)) = (r.dilution, &r.on_chart) {
        line("dilution", dilution(d, on_chart, &unit));
    }
    if let Some(sure) = how_sure(r.answer.as_ref(), r.confidence) {
        line("confidence", sure);
    }
    if let Some(c) = &r.combined {
        let s = &c.scatter;
        let tau = s.tau2.sqrt();
        let beyond = if tau < 0.05 {
            "no more than".into()
        } else {
            format!("by {tau:.1} steps (standard deviation) beyond what")
        };
        line(
            "agreement",
            format!(
                "the photos differ {beyond} each is uncertain by (Q {:.1}, degrees of freedom: {})",
                s.q, s.freedom
            ),
        );
    }
    out += &flags(&checked.flags);
    if explain && !r.shares.is_empty() {
        out += &shares(&r.shares, &unit);
        out += &r.dilution.map(volumes).unwrap_or_default();
    }
    out
}

/// What the water itself takes away.
fn blank(b: &Blank) -> String {
    let share = |v: f64| format!("{:.0} %", 100.0 * (1.0 - v.exp()));
    let [red, green, blue] = [b.tint.x, b.tint.y, b.tint.z].map(share);
    format!(
        "the water itself takes away {red} of red, {green} of green and {blue} of blue light; taken off"
    )
}

/// The first line of a report: the value, its interval, the verdict.
fn headline(w: &super::Words, v: Verdict, colour: bool) -> String {
    let bold = if colour {
        Style::new().bold()
    } else {
        Style::new()
    };
    let interval = w
        .interval
        .as_ref()
        .map(|i| format!(" ({i})"))
        .unwrap_or_default();
    format!(
        "{bold}{}{bold:#}{interval}  {}\n",
        w.value,
        verdict(v, colour)
    )
}

fn dilution(d: Dilution, on_chart: &Answer, unit: &str) -> String {
    let read = words(on_chart, unit).value;
    let factor = number::six(d.factor());
    format!("what was in the vial read {read}, times {factor}")
}

/// How sure an answer is; `None` where there is none.
fn how_sure(answer: Option<&Answer>, of_value: Option<f64>) -> Option<String> {
    let bound = |way: &str| Some(format!("{:.0} % to lie {way} that", 100.0 * LEVEL));
    match answer? {
        Answer::Value { .. } => of_value.map(confidence),
        Answer::Above { .. } => bound("above"),
        Answer::Below { .. } | Answer::Under { .. } => bound("below"),
        Answer::OffChart => None,
    }
}

fn confidence(c: f64) -> String {
    // A model never makes certain.
    let share = if c > 0.99 {
        "over 99 %".into()
    } else {
        format!("{:.0} %", 100.0 * c)
    };
    format!(
        "{share} to lie within half a chart step of the value; the interval is at {:.0} %",
        100.0 * LEVEL
    )
}

/// The verdict as a word, coloured if wanted.
fn verdict(v: Verdict, colour: bool) -> String {
    let style = match v {
        _ if !colour => Style::new(),
        Verdict::Trusted => anstyle::AnsiColor::Green.on_default(),
        Verdict::Doubtful => anstyle::AnsiColor::Yellow.on_default(),
        Verdict::Unreadable => anstyle::AnsiColor::Red.on_default(),
    };
    format!("{style}{}{style:#}", v.word())
}

fn swatch(rgb: [u8; 3]) -> String {
    let style = Style::new().bg_color(Some(RgbColor(rgb[0], rgb[1], rgb[2]).into()));
    format!("{style}    {style:#}")
}

/// Swatches of the steps with the vial's put in where it belongs.
fn among_steps(r: &Reading, chart: &Chart) -> String {
    let vial = format!("[vial {}]", swatch(r.colour.to_srgb8()));
    let after = match r.on_chart {
        Answer::Value { value, .. } => chart.steps.iter().filter(|s| s.value <= value).count(),
        Answer::Above { .. } => chart.steps.len(),
        Answer::Below { .. } => 1,
        Answer::Under { .. } | Answer::OffChart => 0,
    };
    let mut parts: Vec<String> = chart
        .steps
        .iter()
        .map(|s| format!("{} {}", s.value, swatch(s.relative().to_srgb8())))
        .collect();
    parts.insert(after, vial);
    parts.join("  ")
}

/// Findings, each with what to do about it, said once.
pub fn flags(flags: &[Flag]) -> String {
    let mut out = String::new();
    for (f, fix) in advised(flags) {
        let name = match f.severity {
            Severity::Note => "note",
            Severity::Doubt => "doubt",
            Severity::Stop => "stop",
        };
        let _ = writeln!(out, "  {name:<11} {}", clean(&f.message));
        if let Some(fix) = fix {
            let _ = writeln!(out, "  {:<11} what to do: {}", "", clean(fix));
        }
    }
    out
}

/// The uncertainty budget.
fn shares(shares: &[Share], unit: &str) -> String {
    let unit_header = format!("alone, {unit}");
    let mut out = format!(
        "\n  {:<42} {:>7}  {unit_header}\n",
        "what makes it uncertain", "share"
    );
    for s in shares {
        let d = number::decimals(s.standard_uncertainty);
        let _ = writeln!(
            out,
            "  {:<42} {:>5.0} %  {}",
            s.reason,
            100.0 * s.share,
            number::to_decimals(s.standard_uncertainty, d)
        );
    }
    out
}

/// A chart: its terms, its steps and what it can tell apart.
///
/// # Errors
/// If the chart has too few steps for a curve.
pub fn chart(chart: &Chart, found: &[Flag], colour: bool) -> Result<String> {
    let terms = &chart.terms;
    let unit = clean(&terms.unit);
    let mut out = format!(
        "{}, {unit}: {} steps\n",
        clean(&terms.test),
        chart.steps.len()
    );
    let mut line = |name: &str, text: Option<String>| {
        if let Some(text) = text {
            let _ = writeln!(out, "  {name:<15} {}", clean(&text));
        }
    };
    line(
        "made from",
        Some(
            match chart.origin {
                Origin::Standards => "vials of known standards",
                Origin::PrintedColours => "printed colours",
            }
            .into(),
        ),
    );
    line(
        "card",
        Some(
            chart
                .card
                .clone()
                .unwrap_or_else(|| "none (regions marked by hand)".into()),
        ),
    );
    line("vials", chart.vial_mm.map(|mm| format!("{mm:.0} mm wide")));
    line(
        "medium",
        terms.medium.map(|m| format!("{} water", m.word())),
    );
    let in_one_line = |text: &String| text.lines().collect::<Vec<_>>().join("; ");
    line("procedure", terms.procedure.as_ref().map(in_one_line));
    line(
        "read after",
        terms
            .read_window
            .map(|w| format!("{} to {} minutes", w.from_min, w.to_min)),
    );
    line("lot", terms.lot.clone());
    line("expires", terms.expires.clone());
    let c = &chart.curve;
    let space = match c.space {
        Space::Absorbance => "absorbance",
        Space::Lab => "CIELAB",
    };
    let axis = match c.axis {
        Axis::Linear => "concentration",
        Axis::SquareRoot => "the square root of concentration",
        Axis::Log1p => "the logarithm of concentration",
    };
    let error = c.left_out_error.map_or_else(
        || "no step could be left out to check it".into(),
        |e| format!("left-out steps missed by {e:.1} CIELAB"),
    );
    line("curve", Some(format!("{space} over {axis}; {error}")));
    for (name, text) in limits_in_words(chart, &unit)? {
        line(name, Some(text));
    }
    out += &steps(chart, &unit, colour)?;
    if !found.is_empty() {
        out.push('\n');
        out += &flags(found);
    }
    Ok(out)
}

/// Currie's limits for one photo in the session's conditions.
fn limits_in_words(chart: &Chart, unit: &str) -> Result<Vec<(&'static str, String)>> {
    let Some(l) = limits::limits(chart)? else {
        let none = format!("none: the chart starts at {} {unit}", chart.steps[0].value);
        return Ok(vec![("detection limit", none)]);
    };
    let from = |limit: Option<f64>| {
        limit.map_or_else(
            || "not reached by this chart".into(),
            |v| format!("{} {unit}", number::rounded_up(v)),
        )
    };
    Ok(vec![
        (
            "critical value",
            format!("{}: a reading past it is not of a blank", from(l.critical)),
        ),
        (
            "detection limit",
            format!(
                "{}: from there one photo tells it from none",
                from(l.detection)
            ),
        ),
        (
            "good to 10 %",
            match (l.quantification, l.quantified_to) {
                (Some(from), Some(to)) => format!(
                    "{} to {} {unit}, as one standard uncertainty: from the quantification limit on",
                    number::rounded_up(from),
                    number::rounded_down(to)
                ),
                _ => "nowhere on this chart".into(),
            },
        ),
    ])
}

fn steps(chart: &Chart, unit: &str, colour: bool) -> Result<String> {
    let mut out = format!(
        "\n  {:>10}  {:>6} {:>6} {:>6}  {:>6}  {:>16}  to the next step\n",
        unit, "L", "a", "b", "photos", "one photo reads"
    );
    let pairs = resolve::pairs(chart)?;
    let expected = limits::along(chart, 1)?;
    for (i, s) in chart.steps.iter().enumerate() {
        let lab = s.lab();
        let _ = write!(
            out,
            "  {:>10}  {:>6.1} {:>6.1} {:>6.1}  {:>6}  {:>16}",
            s.value,
            lab.l,
            lab.a,
            lab.b,
            s.photos,
            interval(&expected[i])
        );
        if let Some(p) = pairs.get(i) {
            let alike = if p.sigmas < resolve::TOLD_APART {
                ", not told apart by one photo"
            } else {
                ""
            };
            let _ = write!(out, "  {:.1} CIEDE2000{alike}", p.delta_e);
        }
        if colour {
            let _ = write!(out, "  {}", swatch(s.relative().to_srgb8()));
        }
        out.push('\n');
    }
    out.push_str("  (one photo with the phone and in the light of the standards; others read less closely)\n");
    Ok(out)
}

/// An interval with the digits that its width bears.
fn interval(e: &limits::Expected) -> String {
    let decimals = number::decimals((e.high - e.low) / 2.0);
    format!(
        "{} to {}",
        number::to_decimals(e.low, decimals),
        number::to_decimals(e.high, decimals)
    )
}

/// A table that is written row by row: the widths are settled beforehand.
pub struct Table {
    photo: usize,
    several_tests: bool,
}

/// Width of `2026-03-02 09:14`.
const TAKEN: usize = 16;
/// Width of the value and of the interval; longer ones push the row aside, nothing is cut.
const VALUE: usize = 22;
const INTERVAL: usize = 18;

impl Table {
    /// A table for photos of these names; with several tests each value names its own.
    pub fn new<'a>(photos: impl Iterator<Item = &'a str>, several_tests: bool) -> Table {
        Table {
            photo: photos
                .map(|p| p.chars().count())
                .max()
                .unwrap_or(0)
                .max("photo".len()),
            several_tests,
        }
    }

    /// The header, with its newline.
    pub fn header(&self) -> String {
        let (p, t, v, i) = (self.photo, TAKEN, VALUE, INTERVAL);
        format!(
            "{:<p$}  {:<t$}  {:<v$}  {:<i$}  {:<10}  first flag\n",
            "photo", "taken", "value", "interval", "verdict"
        )
    }

    /// A row, with its newline.
    pub fn row(&self, outcome: &Outcome) -> String {
        let (value, interval) = match &outcome.result {
            Ok(reading) => {
                let r = &reading.value;
                let w = match r.answer {
                    Answer::OffChart => super::Words {
                        value: "off the chart".into(),
                        interval: None,
                    },
                    _ => words(&r.answer, &clean(&r.unit)),
                };
                let test = if self.several_tests {
                    format!(" {}", clean(&r.test))
                } else {
                    String::new()
                };
                (w.value + &test, w.interval)
            }
            Err(_) => ("none".into(), None),
        };
        let taken = outcome
            .taken_at
            .as_deref()
            .map_or_else(|| "unknown".into(), |t| t.replace('T', " "));
        let taken: String = taken.chars().take(TAKEN).collect();
        let flag = outcome
            .flags()
            .first()
            .map(|f| clean(&f.message))
            .unwrap_or_default();
        let (p, t, v, i) = (self.photo, TAKEN, VALUE, INTERVAL);
        let row = format!(
            "{:<p$}  {taken:<t$}  {value:<v$}  {:<i$}  {:<10}  {flag}",
            outcome.photo,
            interval.unwrap_or_else(|| "none".into()),
            outcome.verdict().word()
        );
        row.trim_end().to_owned() + "\n"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bound_tells_how_sure_it_is() {
        let sure = |answer| how_sure(Some(&answer), None);
        let told = |way| Some(format!("95 % to lie {way} that"));
        assert_eq!(sure(Answer::Above { low: 7.0 }), told("above"));
        assert_eq!(sure(Answer::Below { high: 0.2 }), told("below"));
        assert_eq!(sure(Answer::Under { high: 6.0 }), told("below"));
        assert_eq!(sure(Answer::OffChart), None);
        assert_eq!(how_sure(None, None), None);
    }
}
