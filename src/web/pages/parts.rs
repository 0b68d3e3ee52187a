//! What pages share: finding a water, reading the fields of a form, showing readings, events and findings.

use axum::http::StatusCode;
use jiff::ZonedDateTime;
use jiff::tz::{Offset, TimeZone};
use maud::{Markup, html};

use super::layout;
use crate::chart::Medium;
use crate::error::{Error, Result};
use crate::flag::{Flag, Severity, Verdict, advised};
use crate::logbook::{Entry, Limit, Logbook, Moment, Reading, Source, Water};
use crate::report::number::plain;
use crate::report::text::clean;
use crate::report::words as in_words;
use crate::web::assets::HISTORY;
use crate::web::refusal::{Refusal, sentence};
use crate::web::state::App;
use crate::web::words::Words;

/// Longest text of one line in a form, letters.
pub(super) const LONGEST: usize = 200;
/// Longest note.
pub(super) const LONGEST_NOTE: usize = 2000;

/// A page with the stylesheet of these pages.
pub(super) fn page(words: Words, title: &str, body: Markup) -> Markup {
    layout(
        words,
        title,
        html! {
            link rel="stylesheet" href=(HISTORY.path);
            (body)
        },
    )
}

/// Findings, each with how much it says and what to do about it, said once.
pub(super) fn found(words: Words, flags: &[Flag]) -> Markup {
    html! {
        ul.findings {
            @for (flag, fix) in advised(flags) {
                li {
                    @let (class, severity) = match flag.severity {
                        Severity::Stop => ("tag stop", "findings.stop"),
                        Severity::Doubt => ("tag doubt", "findings.doubt"),
                        Severity::Note => ("tag", "findings.note"),
                    };
                    span class=(class) { (words.say(severity)) } " "
                    span lang="en" { (sentence(&clean(&flag.message))) @if let Some(fix) = fix { " " strong { (sentence(&clean(fix))) } } }
                }
            }
        }
    }
}

/// The water of an address such as `/water/w1`.
///
/// # Errors
/// If there is none.
pub(super) fn water(logbook: &Logbook, told: &str) -> Result<(Entry, Water)> {
    let entry: Option<Entry> = told.parse().ok();
    let mut waters = logbook.waters()?.into_iter();
    waters.find(|(e, _)| Some(*e) == entry).ok_or_else(|| {
        Error::new(
            "there is no such water",
            "choose one from the list of waters",
        )
    })
}

/// Now, where this computer is.
pub(super) fn now(app: &App) -> Moment {
    Moment::from(&ZonedDateTime::new(app.now(), TimeZone::system()))
}

/// The moment of a form; now if none was told.
///
/// # Errors
/// If it is no time.
pub(super) fn moment(app: &App, told: &str) -> std::result::Result<Moment, Refusal> {
    if told.trim().is_empty() {
        return Ok(now(app));
    }
    Moment::parse(told, &TimeZone::system()).map_err(|e| Refusal::wrong(e, "give the time anew"))
}

/// A number of a form; `None` if nothing was told. A comma counts as a point: phones offer the one of their country.
///
/// # Errors
/// If it is no number, or one whose comma may part thousands as well.
pub(super) fn number(told: &str, what: &str) -> std::result::Result<Option<f64>, Refusal> {
    let told = told.trim();
    if told.is_empty() {
        return Ok(None);
    }
    if parts_thousands(told) {
        return Err(Refusal::wrong(
            format!("{what} \"{told}\" can be read in two ways"),
            format!(
                "write {} or {}",
                told.replace(',', ""),
                told.replace(',', ".")
            ),
        ));
    }
    match told.replace(',', ".").parse::<f64>() {
        Ok(v) if v.is_finite() && v.abs() < 1e12 => Ok(Some(v)),
        _ => Err(Refusal::wrong(
            format!("{what} \"{told}\" is not understood"),
            "write a number such as 2.5",
        )),
    }
}

/// Whether the comma of a number may part thousands from hundreds: three digits after it, and one to three before, not 0.
fn parts_thousands(told: &str) -> bool {
    told.split_once(',').is_some_and(|(whole, rest)| {
        let whole = whole.trim_start_matches(['-', '+']);
        let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
        digits(whole)
            && digits(rest)
            && rest.len() == 3
            && (1..=3).contains(&whole.len())
            && !whole.starts_with('0')
    })
}

/// A number that has to be there.
///
/// # Errors
/// If it is not, or is no number.
pub(super) fn needed(told: &str, what: &str) -> std::result::Result<f64, Refusal> {
    number(told, what)?
        .ok_or_else(|| Refusal::wrong(format!("{what} is not told"), "fill in that field"))
}

/// A text without the space around it, its lines ended as elsewhere in the logbook (browsers send CR LF); `None` if there is none.
///
/// # Errors
/// If it is too long.
pub(super) fn text(told: &str, most: usize) -> std::result::Result<Option<String>, Refusal> {
    let told = told.trim().replace("\r\n", "\n");
    if told.chars().count() > most {
        return Err(Refusal::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            format!("a text has more than {most} letters"),
            "write less",
        ));
    }
    Ok((!told.is_empty()).then_some(told))
}

/// A field of one line with its label above it.
pub(super) fn line(label: &str, name: &str, value: &str, required: bool) -> Markup {
    html! {
        label {
            (label)
            input name=(name) value=(value) required[required] maxlength=(LONGEST) autocomplete="off";
        }
    }
}

/// A field for a number: the phone shows its digits.
pub(super) fn figure(label: &str, name: &str, value: &str, required: bool) -> Markup {
    html! {
        label {
            (label)
            input name=(name) value=(value) required[required] inputmode="decimal" maxlength="20" autocomplete="off";
        }
    }
}

/// The moment of a form that began with `before`, in the time zone of that; `None` if it was left as it was.
///
/// # Errors
/// If it is no time.
pub(super) fn moment_as(
    told: &str,
    before: &Moment,
) -> std::result::Result<Option<Moment>, Refusal> {
    let told = told.trim();
    if told.is_empty() || told == minute(before) {
        return Ok(None);
    }
    let zone = Offset::from_seconds(before.offset_seconds())
        .map_or_else(|_| TimeZone::system(), TimeZone::fixed);
    Moment::parse(told, &zone)
        .map(Some)
        .map_err(|e| Refusal::wrong(e, "give the time anew"))
}

/// As a field for a moment takes it.
fn minute(at: &Moment) -> String {
    at.to_string().chars().take(16).collect()
}

/// A field for a moment, and what it begins with.
pub(super) fn when(words: Words, at: &Moment) -> Markup {
    let value = minute(at);
    html! {
        label { (words.say("water.when")) input type="datetime-local" name="at" value=(value); }
    }
}

/// A field for a note, and what it begins with.
pub(super) fn note(words: Words, value: &str, required: bool) -> Markup {
    html! {
        label {
            (words.say("water.note"))
            textarea name="note" rows="2" maxlength=(LONGEST_NOTE) required[required] { (value) }
        }
    }
}

/// The way back to a water.
pub(super) fn back(words: Words, entry: Entry, water: &Water) -> Markup {
    html! { p { a.away href={ "/water/" (entry) } { (words.fill("water.back", &[("water", &clean(&water.name))])) } } }
}

/// What is known of a water.
pub(super) fn facts(words: Words, water: &Water) -> String {
    let mut facts = Vec::new();
    facts.extend(water.volume_l.map(|v| format!("{} L", plain(v))));
    facts.extend(water.medium.map(|m| {
        match m {
            Medium::Fresh => words.say("water.fresh"),
            Medium::Salt => words.say("water.salt"),
        }
        .to_owned()
    }));
    if !water.lives.is_empty() {
        facts.push(clean(&water.lives));
    }
    if water.invertebrates {
        facts.push(words.say("water.with_invertebrates").into());
    }
    facts.join(", ")
}

/// A reading's answer with its interval.
pub(super) fn said(reading: &Reading) -> Markup {
    let told = in_words(&reading.answer.answer(), &clean(&reading.unit));
    html! {
        strong { (told.value) }
        @if let Some(interval) = told.interval { " (" (interval) ")" }
    }
}

/// How far a reading can be trusted.
pub(super) fn verdict(words: Words, verdict: Verdict) -> &'static str {
    words.say(match verdict {
        Verdict::Trusted => "history.trusted",
        Verdict::Doubtful => "history.doubtful",
        Verdict::Unreadable => "history.unreadable",
    })
}

/// How a reading was made.
pub(super) fn how(words: Words, source: Source) -> &'static str {
    words.say(match source {
        Source::Photo => "history.by_photo",
        Source::Eye => "history.by_eye",
        Source::Other => "history.by_other",
    })
}

/// Bounds in words.
pub(super) fn bounds(words: Words, limit: &Limit) -> String {
    let unit = clean(&limit.unit);
    match (limit.low.map(plain), limit.high.map(plain)) {
        (Some(low), Some(high)) => words.fill(
            "water.between",
            &[("low", &low), ("high", &high), ("unit", &unit)],
        ),
        (Some(low), None) => words.fill("water.not_under", &[("low", &low), ("unit", &unit)]),
        (None, Some(high)) => words.fill("water.not_over", &[("high", &high), ("unit", &unit)]),
        (None, None) => words.say("water.no_bounds").into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_comma_is_a_point_where_it_parts_no_thousands() {
        for (told, value) in [
            ("2,5", 2.5),
            ("0,125", 0.125),
            ("1,2345", 1.2345),
            ("1200", 1200.0),
            ("1.025", 1.025),
            ("1234,567", 1234.567),
        ] {
            assert_eq!(number(told, "it").ok().flatten(), Some(value), "{told}");
        }
        for told in [
            "1,200",
            "12,500",
            "-1,200",
            "1,200,000",
            "1,2,3",
            ",",
            "NaN",
        ] {
            assert!(number(told, "it").is_err(), "{told}");
        }
    }
}
