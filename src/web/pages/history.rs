//! The history: all waters, one water with its trends, all readings, and what can be taken along.

use axum::extract::{Path, Query, State};
use axum::http::{HeaderName, header};
use axum::response::{IntoResponse, Response};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;

use super::events::happened;
use super::parts::{self, back, bounds, facts, how, page, said, verdict};
use crate::course::{Course, Wanted};
use crate::error::{Error, Result};
use crate::face::water;
use crate::logbook::exchange::Whole;
use crate::logbook::{Entry, Event, Jpeg, Limit, Logbook, Moment, Reading, Water};
use crate::report::course::picture::{self, Style};
use crate::report::text::clean;
use crate::report::trend::{self, view};
use crate::web::refusal::Refusal;
use crate::web::state::Shared;
use crate::web::words::Words;

/// What was removed just now, if anything was.
#[derive(Deserialize)]
pub(super) struct JustNow {
    removed: Option<String>,
}

impl JustNow {
    /// Tells it, and lets it be taken back.
    fn undo(&self, words: Words) -> Markup {
        let entry = self.removed.as_deref().map(str::parse::<Entry>);
        html! {
            @if let Some(Ok(entry)) = entry {
                form method="post" action={ "/restore/" (entry) } role="status" {
                    p { (words.fill("water.removed", &[("entry", &entry)])) }
                    button.second { (words.say("water.restore")) }
                }
            }
        }
    }
}

/// Entries of a kind on a water's own page.
const NEWEST: usize = 5;
/// Entries on a page of all: what a thumb can scroll through.
const A_PAGE: usize = 20;

/// A water with the last reading of each test.
type Last = (Entry, Water, Vec<Reading>);

/// All waters.
pub(super) async fn waters(
    State(app): State<Shared>,
    words: Words,
    Query(just_now): Query<JustNow>,
) -> std::result::Result<Markup, Refusal> {
    let waters: Vec<Last> = app
        .in_logbook(|logbook| {
            let waters = logbook.waters()?.into_iter();
            waters
                .map(|(entry, water)| {
                    let lasts = logbook.lasts(&water.name)?.into_iter();
                    let lasts = lasts.map(|(_, r)| r).collect();
                    Ok((entry, water, lasts))
                })
                .collect()
        })
        .await?;
    Ok(page(
        words,
        words.say("history.title"),
        html! {
            (just_now.undo(words))
            @if waters.is_empty() { p { (words.say("history.no_water")) } }
            ul.plain {
                @for (entry, water, lasts) in &waters {
                    li {
                        a href={ "/water/" (entry) } { strong { (clean(&water.name)) } }
                        p.quiet { (facts(words, water)) }
                        @if lasts.is_empty() { p { (words.say("history.no_reading")) } }
                        dl.facts {
                            @for r in lasts {
                                dt { (clean(&r.test)) }
                                dd { (said(r)) br; span.quiet { (r.at.short()) ", " (verdict(words, r.verdict)) } }
                            }
                        }
                    }
                }
            }
            ul.deeds {
                li { a href="/waters/new" { (words.say("water.new")) } }
                li { a href="/calibrate" { (words.say("calibrate.title")) } }
                li { a href="/export/logbook.json" download { (words.say("history.export_json")) } }
                li { a href="/export/logbook.csv" download { (words.say("history.export_csv")) } }
            }
            p { a.away href="/" { (words.say("layout.home")) } }
        },
    ))
}

/// What a water's page shows.
struct Shown {
    entry: Entry,
    water: Water,
    courses: Vec<(Course, String)>,
    readings: Vec<Row>,
    all_readings: usize,
    events: Vec<(Entry, Event)>,
    all_events: usize,
    limits: Vec<Limit>,
}

/// A reading, and whether there is a picture of it.
struct Row {
    entry: Entry,
    reading: Reading,
    picture: bool,
}

fn rows(logbook: &Logbook, newest: Vec<(Entry, Reading)>) -> Result<Vec<Row>> {
    let rows = newest.into_iter().map(|(entry, reading)| {
        Ok(Row {
            entry,
            reading,
            picture: logbook.has_picture(entry)?,
        })
    });
    rows.collect()
}

/// Part of a list that is shown the newest first.
fn newest<T>(mut all: Vec<T>, page: usize, each: usize) -> Vec<T> {
    all.reverse();
    all.into_iter().skip(page * each).take(each).collect()
}

/// A water: each test with its trend, then the newest readings and events.
pub(super) async fn water(
    State(app): State<Shared>,
    words: Words,
    Path(entry): Path<String>,
    Query(just_now): Query<JustNow>,
) -> std::result::Result<Markup, Refusal> {
    let now = parts::now(&app);
    let shown = app
        .in_logbook({
            let now = now.clone();
            move |logbook| look(&logbook, &entry, now)
        })
        .await?;
    let Shown { entry, water, .. } = &shown;
    let name = clean(&water.name);
    Ok(page(
        words,
        &name,
        html! {
            (just_now.undo(words))
            p.quiet { (facts(words, water)) }
            ul.deeds {
                li { a href={ "/?water=" (entry) } { (words.say("water.test_it")) } }
                li { a href={ "/water/" (entry) "/event" } { (words.say("events.title")) } }
                li { a href={ "/water/" (entry) "/reading" } { (words.say("water.reading")) } }
                li { a href={ "/water/" (entry) "/plan" } { (words.say("plan.title")) } }
            }
            @if shown.courses.is_empty() { p { (words.say("history.no_reading")) } }
            @for (course, svg) in &shown.courses { (about(words, course, svg, &now)) }
            @if !shown.courses.is_empty() { p.caution lang="en" { (trend::CAUTION) } }
            h2 #readings { (words.say("history.readings")) }
            (readings(words, &shown.readings))
            @if shown.all_readings > shown.readings.len() {
                p { a.away href={ "/water/" (entry) "/readings" } {
                    (words.fill("history.all_readings", &[("n", &shown.all_readings)]))
                } }
            }
            h2 #events { (words.say("history.events")) }
            (events(words, &shown.events))
            @if shown.all_events > shown.events.len() {
                p { a.away href={ "/water/" (entry) "/events" } {
                    (words.fill("history.all_events", &[("n", &shown.all_events)]))
                } }
            }
            h2 #limits { (words.say("water.limits")) }
            @if shown.limits.is_empty() { p { (words.say("water.no_limits")) } }
            dl.facts { @for limit in &shown.limits { dt { (clean(&limit.test)) } dd { (bounds(words, limit)) } } }
            ul.deeds {
                li { a href={ "/water/" (entry) "/limits" } { (words.say("water.set_limits")) } }
                li { a href={ "/water/" (entry) "/report.html" } download { (words.say("history.report")) } }
                li { a href={ "/remove/" (entry) } { (words.say("water.remove")) } }
            }
            p { a.away href="/waters" { (words.say("history.title")) } }
        },
    ))
}

fn look(logbook: &Logbook, entry: &str, now: Moment) -> Result<Shown> {
    let (entry, water) = parts::water(logbook, entry)?;
    let wanted = Wanted {
        now: Some(now),
        ..Wanted::default()
    };
    let mut courses = Vec::new();
    for course in Course::all(logbook, &water.name, &wanted)? {
        let svg = picture::svg(&view(&course), Style::Phone)?;
        courses.push((course, svg));
    }
    let all = logbook.readings(&water.name, None)?;
    let happened = logbook.events(&water.name)?;
    Ok(Shown {
        entry,
        courses,
        all_readings: all.len(),
        readings: rows(logbook, newest(all, 0, NEWEST))?,
        all_events: happened.len(),
        events: newest(happened, 0, NEWEST),
        limits: logbook.limits(&water.name)?,
        water,
    })
}

/// A test: the last reading, where the level goes, the plot, and whether what was done worked.
fn about(words: Words, course: &Course, svg: &str, now: &Moment) -> Markup {
    let told = trend::text(course, now);
    let mut paragraphs = told.split("\n\n").map(lines);
    let first = paragraphs.next().unwrap_or_default();
    let rests = first.get(1..).unwrap_or_default();
    html! {
        section {
            h2 { (clean(&course.test)) }
            @if let Some((_, last)) = course.readings.last() {
                p { (said(last)) br; span.quiet { (last.at.short()) ", " (verdict(words, last.verdict)) } }
            }
            p lang="en" { strong { (capital(&trend::way(course, now))) "." } }
            div.course { (PreEscaped(svg)) }
            @for paragraph in paragraphs {
                @if let [first, rest @ ..] = paragraph.as_slice() {
                    p lang="en" { @if rest.is_empty() { (first) } @else { strong { (first) } } }
                    @if !rest.is_empty() { ul lang="en" { @for line in rest { li { (line) } } } }
                }
            }
            @if !rests.is_empty() {
                details {
                    summary { (words.say("history.rests_on")) }
                    ul lang="en" { @for line in rests { li { (line) } } }
                }
            }
        }
    }
}

fn lines(paragraph: &str) -> Vec<&str> {
    let lines = paragraph.lines().map(str::trim);
    lines.filter(|l| !l.is_empty()).collect()
}

fn capital(phrase: &str) -> String {
    let mut letters = phrase.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}

fn readings(words: Words, rows: &[Row]) -> Markup {
    html! {
        @if rows.is_empty() { p { (words.say("history.no_reading")) } }
        ul.plain {
            @for Row { entry, reading: r, picture } in rows {
                li.row id=(entry) {
                    div {
                        (clean(&r.test)) ": " (said(r)) br;
                        span.quiet { (r.at.short()) ", " (verdict(words, r.verdict)) ", " (how(words, r.source)) }
                        @if !r.note.is_empty() { br; (clean(&r.note)) }
                        br; (away(words, *entry))
                    }
                    @if *picture {
                        a href={ "/picture/" (entry) } {
                            img src={ "/picture/" (entry) } loading="lazy" width="104" height="78"
                                alt=(words.fill("history.picture", &[("date", &r.at.short())]));
                        }
                    }
                }
            }
        }
    }
}

fn events(words: Words, events: &[(Entry, Event)]) -> Markup {
    html! {
        @if events.is_empty() { p { (words.say("history.no_event")) } }
        ul.plain {
            @for (entry, event) in events {
                li id=(entry) {
                    (happened(words, event)) br;
                    span.quiet { (event.at.short()) } br;
                    (away(words, *entry))
                }
            }
        }
    }
}

fn away(words: Words, entry: Entry) -> Markup {
    html! {
        a.away href={ "/edit/" (entry) } { (words.fill("history.edit", &[("entry", &entry)])) }
        a.away href={ "/remove/" (entry) } { (words.fill("history.remove", &[("entry", &entry)])) }
    }
}

#[derive(Deserialize)]
pub(super) struct Turned {
    /// From 1.
    #[serde(default)]
    page: usize,
}

/// A page of a list.
struct Leaf<T> {
    entry: Entry,
    water: Water,
    rows: Vec<T>,
    all: usize,
    /// From 0.
    page: usize,
}

impl<T> Leaf<T> {
    fn of(entry: Entry, water: Water, all: Vec<T>, turned: &Turned) -> Leaf<T> {
        let count = all.len();
        let page = turned.page.saturating_sub(1).min(count);
        Leaf {
            entry,
            water,
            rows: newest(all, page, A_PAGE),
            all: count,
            page,
        }
    }

    fn show(&self, words: Words, what: &str, body: Markup) -> Markup {
        let at = |page: usize| format!("/water/{}/{what}?page={page}", self.entry);
        let last = self.all.div_ceil(A_PAGE).max(1);
        html! {
            p.quiet { (words.fill("history.page_of", &[("page", &(self.page + 1)), ("pages", &last)])) }
            (body)
            nav.pages aria-label=(words.say("history.pages")) {
                @if self.page > 0 { a href=(at(self.page)) { (words.say("history.newer")) } }
                @if self.page + 1 < last { a href=(at(self.page + 2)) { (words.say("history.older")) } }
            }
            (back(words, self.entry, &self.water))
        }
    }
}

/// All readings of a water, page by page.
pub(super) async fn all_readings(
    State(app): State<Shared>,
    words: Words,
    Path(entry): Path<String>,
    Query(turned): Query<Turned>,
) -> std::result::Result<Markup, Refusal> {
    let (leaf, rows) = app
        .in_logbook(move |logbook| {
            let (entry, water) = parts::water(&logbook, &entry)?;
            let all = logbook.readings(&water.name, None)?;
            let mut leaf = Leaf::of(entry, water, all, &turned);
            let rows = rows(&logbook, std::mem::take(&mut leaf.rows))?;
            Ok((leaf, rows))
        })
        .await?;
    let body = leaf.show(words, "readings", readings(words, &rows));
    Ok(page(words, words.say("history.readings"), body))
}

/// All events of a water, page by page.
pub(super) async fn all_events(
    State(app): State<Shared>,
    words: Words,
    Path(entry): Path<String>,
    Query(turned): Query<Turned>,
) -> std::result::Result<Markup, Refusal> {
    let leaf = app
        .in_logbook(move |logbook| {
            let (entry, water) = parts::water(&logbook, &entry)?;
            let all = logbook.events(&water.name)?;
            Ok(Leaf::of(entry, water, all, &turned))
        })
        .await?;
    let body = leaf.show(words, "events", events(words, &leaf.rows));
    Ok(page(words, words.say("history.events"), body))
}

/// Where the program looked for a reading.
pub(super) async fn photo(
    State(app): State<Shared>,
    Path(entry): Path<String>,
) -> std::result::Result<Response, Refusal> {
    let entry: Option<Entry> = entry.parse().ok();
    let Some(entry) = entry.filter(|e| e.what() == "reading") else {
        return Err(Refusal::nothing_here());
    };
    let picture = app
        .in_logbook(move |logbook| logbook.picture(entry))
        .await?;
    match picture {
        Some(Jpeg(bytes)) => Ok(([(header::CONTENT_TYPE, "image/jpeg")], bytes).into_response()),
        None => Err(Refusal::nothing_here()),
    }
}

/// A file to be kept.
fn file(kind: &'static str, name: &str, content: String) -> Response {
    let headers: [(HeaderName, String); 2] = [
        (header::CONTENT_TYPE, kind.into()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"{name}\""),
        ),
    ];
    (headers, content).into_response()
}

/// The page about a water as a file that needs nothing else.
pub(super) async fn report(
    State(app): State<Shared>,
    Path(entry): Path<String>,
) -> std::result::Result<Response, Refusal> {
    let made = parts::now(&app);
    let (entry, page) = app
        .in_logbook(move |logbook| {
            let (entry, water) = parts::water(&logbook, &entry)?;
            Ok((entry, water::page(&logbook, &water.name, None, &made)?))
        })
        .await?;
    let name = format!("tintwell-{entry}.html");
    Ok(file("text/html; charset=utf-8", &name, page))
}

/// The whole logbook as JSON or CSV. Written one at a time with what reads photos: it is all in memory for a moment.
pub(super) async fn export(
    State(app): State<Shared>,
    Path(name): Path<String>,
) -> std::result::Result<Response, Refusal> {
    let (kind, is_csv) = match name.as_str() {
        "logbook.json" => ("application/json", false),
        "logbook.csv" => ("text/csv; charset=utf-8", true),
        _ => return Err(Refusal::nothing_here()),
    };
    let turn = app.readings.clone().acquire_owned().await;
    let turn =
        turn.map_err(|_| Refusal::failed(Error::new("the program ends", "start it again")))?;
    let text = app
        .in_logbook(move |logbook| {
            let whole = Whole::of(&logbook)?;
            let text = if is_csv { whole.csv()? } else { whole.json() };
            drop(turn);
            Ok(text)
        })
        .await?;
    Ok(file(kind, &name, text))
}
