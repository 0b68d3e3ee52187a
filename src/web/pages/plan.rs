//! Plans for a water: how much to change for a target, and where a weekly routine leads. Nothing is logged, so the form asks with
//! GET and its answer can be reloaded and kept.

use axum::extract::{Path, Query, State};
use maud::{Markup, html};
use serde::Deserialize;

use super::parts::{back, figure, now, number, page, water as find};
use crate::error::{Error, Result};
use crate::face::plan::change::{self, poured};
use crate::face::plan::figure::{Figure, mixes};
use crate::face::plan::level::{Newest, Otherwise, Source, newest};
use crate::face::plan::{LIVESTOCK, USE, routine};
use crate::logbook::{Entry, Logbook, Moment, Water};
use crate::report::number::plain;
use crate::report::text::clean;
use crate::web::refusal::{Refusal, sentence};
use crate::web::state::Shared;
use crate::web::words::Words;

#[derive(Default, Deserialize)]
#[serde(default)]
pub(super) struct Asked {
    test: String,
    target: String,
    source: String,
    source_plus_minus: String,
    volume: String,
    most_a_day: String,
    share: String,
}

/// The same as numbers.
struct Numbers {
    target: Option<f64>,
    source: Source,
    volume: Option<f64>,
    most_a_day: Option<f64>,
    share: Option<f64>,
}

impl Asked {
    fn numbers(&self) -> std::result::Result<Numbers, Refusal> {
        let at_least_nothing = |told: &str, what: &str| match number(told, what)? {
            Some(v) if v < 0.0 => Err(Refusal::wrong(
                format!("{what} is below 0"),
                "write it without a minus",
            )),
            v => Ok(v),
        };
        let more = |told: &str, what: &str, most: f64| match number(told, what)? {
            Some(v) if !(v > 0.0 && v <= most) => Err(Refusal::wrong(
                format!("{what} has to be above 0 and at most {}", plain(most)),
                "write another number",
            )),
            v => Ok(v),
        };
        Ok(Numbers {
            target: more(&self.target, "the target", 1e9)?,
            source: Source {
                value: at_least_nothing(&self.source, "the source water's level")?.unwrap_or(0.0),
                plus_minus: at_least_nothing(&self.source_plus_minus, "its plus-minus")?,
            },
            volume: more(&self.volume, "the volume", 1e9)?,
            most_a_day: more(&self.most_a_day, "the most a day", 100.0)?,
            share: more(&self.share, "the share a week", 100.0)?,
        })
    }
}

type Answer<T> = Option<Result<(T, Vec<String>)>>;

/// What is known, and what was reckoned.
struct Known {
    entry: Entry,
    water: Water,
    /// With the unit of the newest reading.
    tests: Vec<(String, String)>,
    /// The test that is looked at, and its newest level.
    test: Option<String>,
    newest: Option<Result<Newest>>,
    change: Answer<change::Plan>,
    routine: Answer<routine::Plan>,
}

/// The form, and the answers to what was asked.
pub(super) async fn page_of(
    State(app): State<Shared>,
    words: Words,
    Path(entry): Path<String>,
    Query(asked): Query<Asked>,
) -> std::result::Result<Markup, Refusal> {
    let numbers = asked.numbers()?;
    let test = asked.test.clone();
    let today = now(&app);
    let known = app
        .in_logbook({
            let today = today.clone();
            move |logbook| reckon(&logbook, &entry, &test, &numbers, &today)
        })
        .await?;
    Ok(show(words, &known, &asked, &today))
}

fn reckon(
    logbook: &Logbook,
    entry: &str,
    test: &str,
    numbers: &Numbers,
    today: &Moment,
) -> Result<Known> {
    let (entry, water) = find(logbook, entry)?;
    let lasts = logbook.lasts(&water.name)?.into_iter();
    let tests: Vec<(String, String)> = lasts.map(|(_, r)| (r.test, r.unit)).collect();
    let found = tests.iter().find(|(t, _)| t == test);
    let test = found.or(tests.first()).map(|(t, _)| t.clone());
    let level = || {
        let test = test.as_deref()?;
        Some(
            newest(logbook, &water.name, test, Otherwise::Tell, today)
                .and_then(|found| mixes(&found.unit).map(|()| found)),
        )
    };
    let (mut change, mut routine) = (None, None);
    if let (Some(Ok(found)), Some(test)) = (level(), &test) {
        change = numbers.target.map(|target| {
            change::plan(change::Asked {
                unit: found.unit.clone(),
                now: found.now.clone(),
                target,
                source: numbers.source,
                volume: numbers.volume.or(water.volume_l),
                most_a_day: numbers.most_a_day,
            })
        });
        routine = numbers.share.map(|share| {
            let source = numbers.source;
            let unit = &found.unit;
            let made = routine::Made::found(logbook, &water.name, test, None, source, unit, today)?;
            routine::plan(routine::Asked {
                unit: found.unit.clone(),
                now: Some(found.now.clone()),
                made,
                share,
                share_plus_minus: None,
                source,
            })
        });
    }
    Ok(Known {
        entry,
        newest: level(),
        test,
        tests,
        water,
        change,
        routine,
    })
}

/// The unit of the levels that are asked for: of whichever test is chosen.
fn unit(words: Words, tests: &[(String, String)]) -> String {
    match tests.split_first() {
        Some(((_, unit), others)) if others.iter().all(|(_, u)| u == unit) => clean(unit),
        _ => words.say("plan.its_unit").to_owned(),
    }
}

fn show(words: Words, known: &Known, asked: &Asked, now: &Moment) -> Markup {
    let Known { entry, water, .. } = known;
    let unit = unit(words, &known.tests);
    let in_unit = |label: &'static str| format!("{}, {unit}", words.say(label));
    let volume = match asked.volume.as_str() {
        "" => water.volume_l.map(plain).unwrap_or_default(),
        told => told.to_owned(),
    };
    page(
        words,
        words.say("plan.title"),
        html! {
            @if known.tests.is_empty() { p { (words.say("history.no_reading")) } }
            @match &known.newest {
                Some(Ok(found)) => {
                    p { (clean(known.test.as_deref().unwrap_or_default())) ", " (words.say("plan.now")) ": "
                        strong { (found.now.figure.words(&found.unit)) }
                        @if let Some(at) = &found.now.at { br; span.quiet { (at) } }
                    }
                    @if let Some(age) = found.now.age(now) { p lang="en" { (age) } }
                    @if let Some(later) = &found.passed_over { p lang="en" { (sentence(later)) } }
                }
                Some(Err(e)) => (lacking(words, e)),
                None => {}
            }
            @if let Some(answer) = &known.change {
                section.caution {
                    h2 { (words.say("plan.change")) }
                    @match answer { Ok((plan, notes)) => { (changed(words, plan)) (beside(notes)) } Err(e) => (lacking(words, e)) }
                }
            }
            @if let Some(answer) = &known.routine {
                section.caution {
                    h2 { (words.say("plan.routine")) }
                    @match answer { Ok((plan, notes)) => { (in_the_long_run(words, plan)) (beside(notes)) } Err(e) => (lacking(words, e)) }
                }
            }
            @if known.change.is_some() || known.routine.is_some() {
                div.caution lang="en" { p { (LIVESTOCK) } p { (USE) } }
            }
            @if !known.tests.is_empty() {
                form method="get" action={ "/water/" (entry) "/plan" } {
                    label {
                        (words.say("water.test"))
                        select name="test" {
                            @for (test, unit) in &known.tests {
                                option value=(test) selected[known.test.as_ref() == Some(test)] { (clean(test)) ", " (clean(unit)) }
                            }
                        }
                    }
                    h2 { (words.say("plan.change")) }
                    (figure(&in_unit("plan.target"), "target", &asked.target, false))
                    (figure(words.say("plan.volume"), "volume", &volume, false))
                    (figure(words.say("plan.most_a_day"), "most_a_day", &asked.most_a_day, false))
                    h2 { (words.say("plan.routine")) }
                    (figure(words.say("plan.share"), "share", &asked.share, false))
                    p.hint { (words.say("plan.share_hint")) }
                    h2 { (words.say("plan.source")) }
                    div.pair {
                        (figure(&in_unit("plan.source_level"), "source", &asked.source, false))
                        (figure(&in_unit("water.plus_minus"), "source_plus_minus", &asked.source_plus_minus, false))
                    }
                    p.hint { (words.say("plan.source_hint")) }
                    button { (words.say("plan.reckon")) }
                }
            }
            (back(words, *entry, water))
        },
    )
}

/// What keeps a plan from being made. The fix that the library tells is one of the command line.
fn lacking(words: Words, e: &Error) -> Markup {
    html! {
        p lang="en" { (sentence(&clean(&e.what))) }
        p { (words.say("plan.lacking")) }
    }
}

fn beside(notes: &[String]) -> Markup {
    html! { ul lang="en" { @for note in notes { li { (note) } } } }
}

fn row(name: &str, what: &str) -> Markup {
    html! { dt { (name) } dd { (what) } }
}

fn changed(words: Words, plan: &change::Plan) -> Markup {
    let unit = &plan.unit;
    let (Some(each), Some(first)) = (plan.share_each_percent, plan.changes.first()) else {
        return html! { p { strong { (words.say("plan.nothing")) } } };
    };
    let litres = first.litres.map(poured);
    html! {
        p {
            strong {
                @if plan.changes.len() == 1 { (words.fill("plan.once", &[("share", &each.words("%"))])) }
                @else { (words.fill("plan.daily", &[("share", &each.words("%")), ("days", &plan.changes.len())])) }
            }
            @if let Some(litres) = litres { br; (words.fill("plan.litres", &[("litres", &litres)])) }
        }
        @if plan.changes.len() == 1 {
            dl.facts { (row(words.say("plan.afterwards"), &first.expected.words(unit))) }
        } @else {
            table {
                thead { tr { th scope="col" { (words.say("plan.day")) } th scope="col" { (words.say("plan.afterwards")) } } }
                tbody {
                    @for c in plan.shown() {
                        @if let Some(c) = c { tr { td { (c.day) } td { (c.expected.words(unit)) } } }
                        @else { tr { td colspan="2" { "…" } } }
                    }
                }
            }
        }
    }
}

fn in_the_long_run(words: Words, plan: &routine::Plan) -> Markup {
    let told = |figure: Figure| figure.words(&plan.unit);
    html! {
        @let key = if plan.is_settled() { "plan.long_run" } else { "plan.long_run_unsettled" };
        p { strong { (words.fill(key, &[("level", &told(plan.before_change))])) } }
        dl.facts {
            (row(words.say("plan.just_after"), &told(plan.after_change)))
            (row(words.say("plan.made"), &told(plan.made_per_week)))
            @if let Some(weeks) = &plan.weeks_until_within_10_percent {
                (row(words.say("plan.near"), &match (weeks.value, weeks.high == Some(weeks.low)) {
                    (0, true) => words.say("plan.near_now").to_owned(),
                    (n, true) => words.fill("plan.weeks", &[("n", &n)]),
                    (n, false) => words.fill("plan.weeks_between", &[("n", &n), ("low", &weeks.low), ("high", &weeks.high.map_or("∞".to_owned(), |h| h.to_string()))]),
                }))
            }
        }
    }
}
