//! A page about a water: one HTML file that needs nothing else, for a screen, a printer and a screen reader.
//!
//! Plain words first, then the plot, then every reading in a table, with where the program looked. Meaning never rests on colour;
//! pictures have words beside them. Nothing is fetched, nothing runs: the page's own policy forbids both.

use std::collections::HashMap;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::course::View;
use super::course::picture::{self, Style};
use super::number::plain;
use super::text::clean;
use super::trend::{self, said};
use crate::course::Course;
use crate::error::Result;
use crate::flag::Verdict;
use crate::logbook::{Entry, Event, Jpeg, Moment, Reading, Source, Water};

/// A water, and what is to be told of it.
pub struct Report<'a> {
    pub water: &'a Water,
    /// One for each test.
    pub courses: &'a [Course],
    /// All events.
    pub events: &'a [(Entry, Event)],
    /// Where the program looked, as far as it is to be shown.
    pub pictures: &'a HashMap<Entry, Jpeg>,
    /// How many older pictures are not shown.
    pub left_out: usize,
    /// When the page is made.
    pub made: &'a Moment,
}

const STYLE: &str = "\
:root{color-scheme:light dark}\
body{font:1rem/1.5 system-ui,sans-serif;max-width:60rem;margin:0 auto;padding:1rem;color:#1c1c1c;background:#fff}\
h1{font-size:1.6rem;margin:0 0 .3rem}h2{font-size:1.25rem;margin:2rem 0 .3rem;border-top:2px solid #5a5a5a;padding-top:.8rem}\
p{margin:.4rem 0;max-width:45rem}ul{margin:.4rem 0;padding-left:1.2rem}\
.quiet{color:#5a5a5a}.care{border-left:4px solid #5a5a5a;padding:.2rem .8rem;margin:1.2rem 0}\
.scroll{overflow-x:auto}table{border-collapse:collapse;width:100%;margin:.6rem 0;font-size:.92rem}\
caption{text-align:left;font-weight:600;padding:.3rem 0}\
th,td{text-align:left;vertical-align:top;padding:.3rem .6rem .3rem 0;border-bottom:1px solid #d0d0d0}\
td.figure{font-variant-numeric:tabular-nums;white-space:nowrap}\
svg{width:100%;height:auto;margin:.4rem 0}img{width:9rem;height:auto;display:block}\
@media (prefers-color-scheme:dark){body{color:#ededed;background:#15191d}.quiet{color:#adb5bd}\
h2,.care{border-color:#adb5bd}th,td{border-color:#3a4249}}\
@media print{body{max-width:none;padding:0;color:#000;background:#fff}h2{break-after:avoid}tr,svg{break-inside:avoid}}";

/// Nothing from outside, no script.
const POLICY: &str = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'";

/// What is said on every page.
const CARE: [&str; 3] = [
    "Reagents: wear gloves and eye protection, keep them from children and animals, follow the maker's safety sheet.",
    "Not for drinking water, medical or compliance decisions; local rules and licensed practice come first.",
    "Intervals hold the truth in 95 of 100 cases if what they rest on is right.",
];

/// The page about a water.
///
/// # Errors
/// If a plot cannot be drawn.
pub fn of_water(report: &Report) -> Result<String> {
    let sections = report
        .courses
        .iter()
        .map(|c| section(c, &trend::view(c), report.made, report.pictures))
        .collect::<Result<Vec<_>>>()?;
    let title = clean(&report.water.name);
    let body = html! {
        header {
            h1 { (title) }
            @let facts = facts(report.water);
            @if !facts.is_empty() { p { (facts) } }
            p.quiet { "Made " (report.made.short()) " from the logbook." }
        }
        @if report.courses.is_empty() { p { "No reading is logged." } }
        @else {
            ul { @for course in report.courses { li { (in_short(course, report.made)) } } }
        }
        @for section in &sections { (section) }
        @if report.left_out > 0 {
            p.quiet { "Pictures are shown of the newest readings; those of " (report.left_out) " older ones are in the logbook." }
        }
        @if !report.events.is_empty() { (happenings(report.events)) }
    };
    Ok(whole(&title, &body))
}

/// The page about one test.
///
/// # Errors
/// If the plot cannot be drawn.
pub fn of_course(course: &Course, view: &View, now: &Moment) -> Result<String> {
    let title = trend::title(course);
    let section = section(course, view, now, &HashMap::new())?;
    Ok(whole(&title, &html! { h1 { (title) } (section) }))
}

fn whole(title: &str, body: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    (body)
                    div.care {
                        p { (trend::CAUTION) }
                        @for line in CARE { p { (line) } }
                    }
                }
            }
        }
    }
    .into_string()
}

fn facts(water: &Water) -> String {
    let mut facts = Vec::new();
    facts.extend(water.volume_l.map(|v| format!("{} L", plain(v))));
    facts.extend(water.medium.map(|m| format!("{} water", m.word())));
    if !water.lives.is_empty() {
        facts.push(clean(&water.lives));
    }
    if water.invertebrates {
        facts.push("invertebrates live there".into());
    }
    facts.join(", ")
}

/// A test in one sentence: the last reading and where it goes.
fn in_short(course: &Course, now: &Moment) -> Markup {
    let last = course.readings.last().map(|(_, r)| r);
    html! {
        @if let Some(last) = last {
            strong { (clean(&course.test)) ": " (said(last)) }
            " on " (last.at.short()) ", "
        }
        (trend::way(course, now)) "."
    }
}

fn section(
    course: &Course,
    view: &View,
    now: &Moment,
    pictures: &HashMap<Entry, Jpeg>,
) -> Result<Markup> {
    let svg = picture::svg(view, Style::Page)?;
    let told = trend::text(course, now);
    let paragraphs = told.split("\n\n").map(|p| p.lines().map(str::trim));
    Ok(html! {
        section {
            h2 { (clean(&course.test)) }
            @for lines in paragraphs {
                @let lines: Vec<&str> = lines.filter(|l| !l.is_empty()).collect();
                @if let [first, rest @ ..] = lines.as_slice() {
                    p { (first) }
                    @if !rest.is_empty() { ul { @for line in rest { li { (line) } } } }
                }
            }
            (PreEscaped(svg))
            (readings(course, pictures))
        }
    })
}

fn readings(course: &Course, pictures: &HashMap<Entry, Jpeg>) -> Markup {
    let shown = |entry: &Entry| pictures.get(entry);
    let any = course
        .readings
        .iter()
        .any(|(entry, _)| shown(entry).is_some());
    html! {
        div.scroll {
            table {
                caption { "Readings of " (clean(&course.test)) ", the newest first" }
                thead {
                    tr {
                        th scope="col" { "When" }
                        th scope="col" { "Reading" }
                        th scope="col" { "Trust" }
                        th scope="col" { "How" }
                        th scope="col" { "Findings and notes" }
                        @if any { th scope="col" { "Where it looked" } }
                    }
                }
                tbody {
                    @for (entry, r) in course.readings.iter().rev() {
                        tr {
                            th scope="row" { (r.at.short()) " " span.quiet { (entry) } }
                            td.figure { (said(r)) }
                            td { (r.verdict.word()) }
                            td { (how(r)) }
                            td { (findings(r)) }
                            @if any {
                                td {
                                    @if let Some(jpeg) = shown(entry) {
                                        img src={ "data:image/jpeg;base64," (STANDARD.encode(&jpeg.0)) }
                                            alt={ "Photo of " (r.at.short()) ": card and liquid outlined where the program looked" };
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn how(r: &Reading) -> String {
    match r.source {
        Source::Photo => "photo".into(),
        Source::Eye => "by eye".into(),
        Source::Other => "other".into(),
    }
}

/// Flags of the record, and the note.
fn findings(r: &Reading) -> Markup {
    let flags = r.record.as_ref().and_then(|r| r["flags"].as_array());
    let messages: Vec<String> = flags
        .into_iter()
        .flatten()
        .filter_map(|f| f["message"].as_str().map(clean))
        .collect();
    html! {
        @for message in &messages { p { (message) } }
        @if !r.note.is_empty() { p { (clean(&r.note)) } }
        @if messages.is_empty() && r.note.is_empty() {
            @if r.verdict == Verdict::Trusted { span.quiet { "none" } } @else { span.quiet { "not told" } }
        }
    }
}

fn happenings(events: &[(Entry, Event)]) -> Markup {
    html! {
        section {
            h2 { "What was done" }
            div.scroll {
                table {
                    caption { "Events, the newest first" }
                    thead { tr { th scope="col" { "When" } th scope="col" { "What" } } }
                    tbody {
                        @for (entry, e) in events.iter().rev() {
                            tr {
                                th scope="row" { (e.at.short()) " " span.quiet { (entry) } }
                                td { (trend::happened(e)) }
                            }
                        }
                    }
                }
            }
        }
    }
}
