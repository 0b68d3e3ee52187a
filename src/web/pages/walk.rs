//! The walk through a test: what is tested, the steps of the procedure with their timers, and the photo.
//!
//! One step a page, with one large button at the thumb. When a timer ends is in the address and told by the clock; the script only
//! counts down to it, and calls.

use std::sync::Arc;

use axum::extract::{Query, State};
use axum::response::Redirect;
use jiff::{SignedDuration, Timestamp};
use maud::{Markup, html};
use serde::Deserialize;

use super::route::{Walk, clock, moment, now};
use super::{care, layout};
use crate::chart::ReadWindow;
use crate::chart::procedure::{Doing, Step, Timer, steps};
use crate::report::text::clean;
use crate::web::readings::chart;
use crate::web::refusal::Refusal;
use crate::web::state::{Listed, Shared};
use crate::web::upload::ACCEPT;
use crate::web::words::Words;

/// Most photos of one vial: more say little more.
pub(super) const PHOTOS: usize = 8;

/// For which water the first page was asked: its entry, or nothing.
#[derive(Default, Deserialize)]
#[serde(default)]
pub(super) struct Meant {
    water: String,
}

/// What tells a chart from the others of a list.
fn named(words: Words, listed: &Listed, all: &[Arc<Listed>]) -> String {
    let (terms, steps) = (&listed.chart.terms, listed.chart.values());
    let ends = [steps.first(), steps.last()].map(|v| v.map_or_else(String::new, f64::to_string));
    let test = words.fill(
        "first.test_in",
        &[
            ("test", &clean(&terms.test)),
            ("from", &ends[0]),
            ("to", &ends[1]),
            ("unit", &clean(&terms.unit)),
        ],
    );
    let lot = terms
        .lot
        .as_ref()
        .map(|lot| words.fill("first.lot", &[("lot", &clean(lot))]));
    let of_test = |other: &&Arc<Listed>| other.chart.terms.test == terms.test;
    let file = (all.iter().filter(of_test).count() > 1).then(|| clean(&listed.name));
    [Some(test), lot, file]
        .into_iter()
        .flatten()
        .collect::<Vec<_>>()
        .join(", ")
}

/// The first page: which water, which test.
pub(super) async fn first(
    State(app): State<Shared>,
    words: Words,
    Query(meant): Query<Meant>,
) -> Result<Markup, Refusal> {
    let waters = app.in_logbook(|logbook| logbook.waters()).await?;
    Ok(layout(
        words,
        words.say("first.title"),
        html! {
            @if app.charts().is_empty() {
                p { (words.say("first.no_chart")) }
                p { a.button href="/calibrate" { (words.say("calibrate.title")) } }
            } @else {
                form method="get" action="/walk" {
                    @if !waters.is_empty() {
                        label for="water" { (words.say("first.water")) }
                        select id="water" name="water" {
                            @for (entry, water) in &waters {
                                option value=(water.name) selected[entry.to_string() == meant.water] { (clean(&water.name)) }
                            }
                            option value="" { (words.say("first.no_water")) }
                        }
                    }
                    label for="chart" { (words.say("first.test")) }
                    select id="chart" name="chart" required {
                        @let charts = app.charts();
                        @for listed in &charts {
                            option value=(listed.name) { (named(words, listed, &charts)) }
                        }
                    }
                    details {
                        summary { (words.say("first.diluted")) }
                        label for="dilution" { (words.say("first.dilution")) }
                        input id="dilution" name="dilution" inputmode="text" autocomplete="off" pattern="[0-9.]+:[0-9.]+"
                            aria-describedby="dilution-hint" placeholder="1:4";
                        p.quiet #dilution-hint { (words.say("first.dilution_hint")) }
                    }
                    button { (words.say("first.begin")) }
                    button.second formaction="/photo" { (words.say("first.straight")) }
                }
            }
            (care(words))
            p { a href="/waters" { (words.say("history.title")) } }
            p { a href="/devices" { (words.say("device.title")) } }
        },
    ))
}

/// A step.
pub(super) async fn step(
    State(app): State<Shared>,
    words: Words,
    Query(walk): Query<Walk>,
) -> Result<Markup, Refusal> {
    let listed = chart(&app, Some(&walk.chart))?;
    walk.told(&listed)?;
    let terms = &listed.chart.terms;
    let steps = steps(terms);
    let at = walk.step.min(steps.len() - 1);
    let (step, now) = (&steps[at], app.now());
    let title = words.fill(
        "walk.title",
        &[
            ("test", &clean(&terms.test)),
            ("n", &(at + 1)),
            ("all", &steps.len()),
        ],
    );
    let back = (at > 0).then(|| Walk {
        step: at - 1,
        since: String::new(),
        ..walk.clone()
    });
    let is_last = at + 1 == steps.len();
    let (timer, running) = match step.timer {
        None => (None, true),
        Some(Timer::Window(window)) => (window_timer(words, now, window, &walk)?, true),
        Some(Timer::For(seconds)) => {
            let since = moment(&walk.since)?;
            let until = since.and_then(|t| {
                t.checked_add(SignedDuration::from_secs(seconds.into()))
                    .ok()
            });
            let timer = until.map(|end| count_down(words, now, end, None, "timer.step_done"));
            (timer, since.is_some())
        }
    };
    let go = |page| {
        Walk {
            step: at,
            ..walk.clone()
        }
        .at(page)
    };
    Ok(layout(
        words,
        &title,
        html! {
            @if !walk.water.is_empty() { p.quiet { (clean(&walk.water)) } }
            progress max=(steps.len()) value=(at + 1) aria-hidden="true" {}
            div.step {
                p.do lang=[told_in(step)] { (doing(words, step)) }
                @if let Some(hint) = hint(words, step) { p.quiet { (hint) } }
            }
            @if let Some(timer) = &timer { (timer) }
            @if let Some(next) = steps.get(at + 1) {
                p.quiet { (words.say("walk.next")) " " span lang=[told_in(next)] { (doing(words, next)) } }
            } @else {
                p.quiet { (words.say("walk.next")) " " (words.say("walk.photo")) }
            }
            div.thumb {
                @if let (false, Some(Timer::For(seconds))) = (running, step.timer) {
                    a.button href=(go("/walk/begin")) { (words.fill("walk.start", &[("time", &span(words, seconds))])) }
                    a.button.second href=(go("/walk/done")) { (words.say("walk.without")) }
                } @else {
                    a.button href=(go("/walk/done")) {
                        (words.say(if is_last { "walk.to_photo" } else { "walk.done" }))
                    }
                }
                @if let Some(back) = back { a.button.second href=(back.at("/walk")) { (words.say("walk.back")) } }
                @else { a.button.second href="/" { (words.say("walk.other")) } }
            }
            (care(words))
        },
    ))
}

/// Starts the timer of a step.
pub(super) async fn begin(
    State(app): State<Shared>,
    Query(walk): Query<Walk>,
) -> Result<Redirect, Refusal> {
    let steps = steps(&chart(&app, Some(&walk.chart))?.chart.terms);
    let mut next = walk;
    next.since = now(&app);
    // What goes in first and is then shaken, in one step: the colour begins with it.
    if steps.get(next.step).is_some_and(|s| s.starts) {
        next.started = next.since.clone();
    }
    Ok(next.to("/walk"))
}

/// Goes on from a step.
pub(super) async fn done(
    State(app): State<Shared>,
    Query(walk): Query<Walk>,
) -> Result<Redirect, Refusal> {
    let steps = steps(&chart(&app, Some(&walk.chart))?.chart.terms);
    let mut next = walk;
    if steps.get(next.step).is_some_and(|s| s.starts) && next.since.is_empty() {
        next.started = now(&app);
    }
    next.since.clear();
    next.step = next.step.saturating_add(1);
    if next.step < steps.len() {
        return Ok(next.to("/walk"));
    }
    next.step = 0;
    Ok(next.to("/photo"))
}

/// Asks for the photo.
pub(super) async fn photo(
    State(app): State<Shared>,
    words: Words,
    Query(walk): Query<Walk>,
) -> Result<Markup, Refusal> {
    let listed = chart(&app, Some(&walk.chart))?;
    walk.told(&listed)?;
    let timer = match listed.chart.terms.read_window {
        Some(window) => window_timer(words, app.now(), window, &walk)?,
        None => None,
    };
    let more = !walk.with.is_empty();
    let title = words.say(if more { "photo.another" } else { "photo.title" });
    Ok(layout(
        words,
        title,
        html! {
            @if !walk.water.is_empty() { p.quiet { (clean(&walk.water)) } }
            @if let Some(timer) = &timer { (timer) }
            @if listed.chart.card.is_some() {
                ul { @for key in ["photo.card", "photo.light", "photo.close"] { li { (words.say(key)) } } }
                form method="post" action="/reading" enctype="multipart/form-data" data-upload=(words.say("photo.sending")) {
                    (walk.fields())
                    (photo_fields(words))
                    div.thumb { button { (words.say("photo.read")) } }
                }
            }
            @if !more {
                p { a.button.second href=(walk.at("/by-hand")) { (words.say("photo.no_card")) } }
            }
            (care(words))
        },
    ))
}

/// The camera, and photos taken before.
fn photo_fields(words: Words) -> Markup {
    html! {
        (camera(words, false))
        details {
            summary { (words.say("photo.taken")) }
            label for="taken" { (words.fill("photo.choose", &[("most", &PHOTOS)])) }
            input #taken type="file" name="photo" accept=(ACCEPT) multiple data-preview="preview";
            p.quiet { (words.say("photo.choose_hint")) }
        }
        div #preview.preview {}
    }
}

/// The camera of the phone.
pub(super) fn camera(words: Words, required: bool) -> Markup {
    html! {
        label for="camera" { (words.say("photo.camera")) }
        input #camera type="file" name="photo" accept=(ACCEPT) capture="environment" required[required]
            aria-describedby="camera-hint" data-preview="preview";
        p.quiet #camera-hint {
            (words.say("photo.no_flash"))
            @if !cfg!(feature = "heic") { " " (words.say("photo.jpeg")) }
        }
    }
}

/// The waiting for the colour: until it may be read, and how long it may be.
fn window_timer(
    words: Words,
    now: Timestamp,
    window: ReadWindow,
    walk: &Walk,
) -> Result<Option<Markup>, Refusal> {
    let Some(started) = moment(&walk.started)? else {
        return Ok(None);
    };
    let after = |minutes: f64| {
        SignedDuration::try_from_secs_f64(60.0 * minutes)
            .ok()
            .and_then(|d| started.checked_add(d).ok())
    };
    Ok(match (after(window.from_min), after(window.to_min)) {
        (Some(from), Some(to)) => Some(count_down(words, now, from, Some(to), "timer.read_now")),
        _ => None,
    })
}

/// A timer to `end`, and from there to `closes`. The clock time is there without a script.
fn count_down(
    words: Words,
    now: Timestamp,
    end: Timestamp,
    closes: Option<Timestamp>,
    done: &'static str,
) -> Markup {
    let milliseconds = |t: Timestamp| t.as_millisecond();
    let by_clock = match closes {
        Some(closes) if now > closes => words.fill("timer.too_late", &[("time", &clock(closes))]),
        Some(closes) => words.fill(
            "timer.between",
            &[("from", &clock(end)), ("to", &clock(closes))],
        ),
        None => words.fill("timer.until", &[("time", &clock(end))]),
    };
    html! {
        div.timer data-now=(milliseconds(now)) data-until=(milliseconds(end))
            data-closes=[closes.map(milliseconds)]
            data-wait=(words.say("timer.wait")) data-done=(words.say(done)) data-late=(words.say("timer.late")) {
            p.state data-state {
                @if now < end { (words.say("timer.wait")) }
                @else if closes.is_some_and(|c| now > c) { (words.say("timer.late")) }
                @else { (words.say(done)) }
            }
            p.count role="timer" data-count hidden {}
            p { (by_clock) }
            p.unseen role="status" data-say {}
            button.second type="button" data-sound hidden { (words.say("timer.sound")) }
        }
    }
}

/// What is to be done, in words.
fn doing(words: Words, step: &Step) -> String {
    match &step.doing {
        Doing::Told(text) => clean(text),
        Doing::Rinse => words.say("usual.rinse").into(),
        Doing::Fill => words.say("usual.fill").into(),
        Doing::Reagent => words.say("usual.reagent").into(),
        Doing::Shake => words.say("usual.shake").into(),
        Doing::Wait => words.say("usual.wait").into(),
    }
}

/// A user's words are in a language that nobody told.
fn told_in(step: &Step) -> Option<&'static str> {
    matches!(step.doing, Doing::Told(_)).then_some("")
}

fn hint(words: Words, step: &Step) -> Option<&'static str> {
    Some(match step.doing {
        Doing::Told(_) => return None,
        Doing::Rinse => words.say("usual.rinse_hint"),
        Doing::Fill => words.say("usual.fill_hint"),
        Doing::Reagent => words.say("usual.reagent_hint"),
        Doing::Shake => words.say("usual.shake_hint"),
        Doing::Wait => words.say("usual.wait_hint"),
    })
}

/// Seconds in words.
fn span(words: Words, seconds: u32) -> String {
    match (seconds / 60, seconds % 60) {
        (0, s) => words.fill("timer.seconds", &[("s", &s)]),
        (m, 0) => words.fill("timer.minutes", &[("m", &m)]),
        (m, s) => words.fill("timer.both", &[("m", &m), ("s", &s)]),
    }
}
