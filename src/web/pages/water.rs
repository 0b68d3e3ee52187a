//! Forms about a water: adding one, a reading that was made by eye, and limits.

use axum::extract::{Form, Path, State};
use axum::response::Redirect;
use maud::{Markup, html};
use serde::Deserialize;

use super::parts::{
    LONGEST, LONGEST_NOTE, back, bounds, figure, line, moment, needed, note, now, number, page,
    text, water as find, when,
};
use crate::chart::Medium;
use crate::flag::Verdict;
use crate::logbook::{Amount, Limit, Reading, Source, Water};
use crate::report::text::clean;
use crate::web::refusal::Refusal;
use crate::web::state::Shared;
use crate::web::words::Words;

/// A form for a water.
pub(super) async fn new(words: Words) -> Markup {
    page(
        words,
        words.say("water.new"),
        html! {
            form method="post" action="/waters/new" {
                (line(words.say("water.name"), "name", "", true))
                (figure(words.say("water.volume"), "volume", "", false))
                label {
                    (words.say("water.medium"))
                    select name="medium" {
                        option value="" { (words.say("water.untold")) }
                        option value="salt" { (words.say("water.salt")) }
                        option value="fresh" { (words.say("water.fresh")) }
                    }
                }
                (line(words.say("water.lives"), "lives", "", false))
                label.check {
                    input type="checkbox" name="invertebrates" value="yes";
                    span { (words.say("water.invertebrates")) }
                }
                button { (words.say("water.add")) }
            }
            p { a.away href="/waters" { (words.say("history.title")) } }
        },
    )
}

#[derive(Deserialize)]
pub(super) struct NewWater {
    name: String,
    #[serde(default)]
    volume: String,
    #[serde(default)]
    medium: String,
    #[serde(default)]
    lives: String,
    invertebrates: Option<String>,
}

/// Adds a water.
pub(super) async fn add(
    State(app): State<Shared>,
    Form(told): Form<NewWater>,
) -> Result<Redirect, Refusal> {
    let water = Water {
        name: text(&told.name, LONGEST)?.unwrap_or_default(),
        volume_l: number(&told.volume, "the volume")?,
        medium: match told.medium.as_str() {
            "salt" => Some(Medium::Salt),
            "fresh" => Some(Medium::Fresh),
            _ => None,
        },
        lives: text(&told.lives, LONGEST)?.unwrap_or_default(),
        invertebrates: told.invertebrates.is_some(),
    };
    let entry = app
        .in_logbook(move |mut logbook| logbook.add_water(&water))
        .await?;
    Ok(Redirect::to(&format!("/water/{entry}")))
}

/// Names of tests and units that are offered, and typed by whoever has another.
fn offered(app: &Shared, tests: &[String]) -> Markup {
    let charts = app.charts();
    let mut names: Vec<&str> = charts.iter().map(|c| c.chart.terms.test.as_str()).collect();
    names.extend(tests.iter().map(String::as_str));
    names.sort_unstable();
    names.dedup();
    let mut units: Vec<&str> = charts.iter().map(|c| c.chart.terms.unit.as_str()).collect();
    units.sort_unstable();
    units.dedup();
    html! {
        datalist #tests { @for name in names { option value=(clean(name)); } }
        datalist #units { @for unit in units { option value=(clean(unit)); } }
    }
}

fn test_and_unit(words: Words) -> Markup {
    html! {
        label { (words.say("water.test")) input name="test" list="tests" required maxlength=(LONGEST) autocomplete="off"; }
        label { (words.say("water.unit")) input name="unit" list="units" required maxlength="40" autocomplete="off" value="mg/L"; }
    }
}

/// A form for a reading that was not made by this program.
pub(super) async fn reading(
    State(app): State<Shared>,
    words: Words,
    Path(entry): Path<String>,
) -> Result<Markup, Refusal> {
    let (entry, water, tests) = app
        .in_logbook(move |logbook| {
            let (entry, water) = find(&logbook, &entry)?;
            let tests = logbook.tests(&water.name)?;
            Ok((entry, water, tests))
        })
        .await?;
    Ok(page(
        words,
        words.say("water.reading"),
        html! {
            form method="post" action={ "/water/" (entry) "/reading" } {
                (offered(&app, &tests))
                (test_and_unit(words))
                label {
                    (words.say("water.it_was"))
                    select name="answer" {
                        option value="value" { (words.say("water.at")) }
                        option value="below" { (words.say("water.below")) }
                        option value="above" { (words.say("water.above")) }
                    }
                }
                div.pair {
                    (figure(words.say("water.value"), "value", "", true))
                    (figure(words.say("water.plus_minus"), "plus_minus", "", false))
                }
                p.hint { (words.say("water.plus_minus_hint")) }
                label {
                    (words.say("water.how"))
                    select name="how" {
                        option value="eye" { (words.say("history.by_eye")) }
                        option value="other" { (words.say("history.by_other")) }
                    }
                }
                label.check {
                    input type="checkbox" name="doubtful" value="yes";
                    span { (words.say("water.doubtful")) }
                }
                (when(words, &now(&app)))
                (note(words, "", false))
                button { (words.say("water.log")) }
            }
            (back(words, entry, &water))
        },
    ))
}

#[derive(Deserialize)]
pub(super) struct NewReading {
    test: String,
    unit: String,
    #[serde(default)]
    answer: String,
    value: String,
    #[serde(default)]
    plus_minus: String,
    #[serde(default)]
    how: String,
    doubtful: Option<String>,
    #[serde(default)]
    at: String,
    #[serde(default)]
    note: String,
}

/// Logs it.
pub(super) async fn log_reading(
    State(app): State<Shared>,
    Path(entry): Path<String>,
    Form(told): Form<NewReading>,
) -> Result<Redirect, Refusal> {
    let value = needed(&told.value, "the value")?;
    let half = number(&told.plus_minus, "the plus-minus")?;
    let answer = match (told.answer.as_str(), half) {
        ("below", _) => Amount::Below { high: value },
        ("above", _) => Amount::Above { low: value },
        (_, Some(half)) if half > 0.0 => Amount::around(value, half, &told.unit),
        _ => {
            return Err(Refusal::wrong(
                "a value needs its plus-minus, more than nothing: no reading is exact",
                "by eye give at least half the distance of the neighbouring chart steps",
            ));
        }
    };
    let required = |told: Option<String>, what: &str| {
        told.ok_or_else(|| Refusal::wrong(format!("{what} is not told"), "fill in that field"))
    };
    let mut reading = Reading {
        water: String::new(),
        test: required(text(&told.test, LONGEST)?, "the test")?,
        unit: required(text(&told.unit, 40)?, "the unit")?,
        at: moment(&app, &told.at)?,
        answer,
        source: match told.how.as_str() {
            "other" => Source::Other,
            _ => Source::Eye,
        },
        verdict: match told.doubtful {
            Some(_) => Verdict::Doubtful,
            None => Verdict::Trusted,
        },
        photo: None,
        sha256: None,
        chart_sha256: None,
        dilution_factor: None,
        note: text(&told.note, LONGEST_NOTE)?.unwrap_or_default(),
        record: None,
        picture: None,
    };
    let entry = app
        .in_logbook(move |mut logbook| {
            let (entry, water) = find(&logbook, &entry)?;
            reading.water = water.name;
            logbook.add_reading(&reading)?;
            Ok(entry)
        })
        .await?;
    Ok(Redirect::to(&format!("/water/{entry}#readings")))
}

/// A form for the bounds of a test.
pub(super) async fn limits(
    State(app): State<Shared>,
    words: Words,
    Path(entry): Path<String>,
) -> Result<Markup, Refusal> {
    let (entry, water, tests, limits) = app
        .in_logbook(move |logbook| {
            let (entry, water) = find(&logbook, &entry)?;
            let tests = logbook.tests(&water.name)?;
            let limits = logbook.limits(&water.name)?;
            Ok((entry, water, tests, limits))
        })
        .await?;
    Ok(page(
        words,
        words.say("water.limits"),
        html! {
            dl.facts { @for limit in &limits { dt { (clean(&limit.test)) } dd { (bounds(words, limit)) } } }
            p { (words.say("water.limits_hint")) }
            form method="post" action={ "/water/" (entry) "/limits" } {
                (offered(&app, &tests))
                (test_and_unit(words))
                div.pair {
                    (figure(words.say("water.low"), "low", "", false))
                    (figure(words.say("water.high"), "high", "", false))
                }
                button { (words.say("water.set_limits")) }
            }
            (back(words, entry, &water))
        },
    ))
}

#[derive(Deserialize)]
pub(super) struct NewLimit {
    test: String,
    unit: String,
    #[serde(default)]
    low: String,
    #[serde(default)]
    high: String,
}

/// Sets them; without any they are taken away.
pub(super) async fn set_limits(
    State(app): State<Shared>,
    Path(entry): Path<String>,
    Form(told): Form<NewLimit>,
) -> Result<Redirect, Refusal> {
    let mut limit = Limit {
        water: String::new(),
        test: text(&told.test, LONGEST)?.unwrap_or_default(),
        unit: text(&told.unit, 40)?.unwrap_or_default(),
        low: number(&told.low, "the lower limit")?,
        high: number(&told.high, "the upper limit")?,
    };
    if limit.test.is_empty() || limit.unit.is_empty() {
        return Err(Refusal::wrong(
            "a limit belongs to a test and a unit",
            "fill in both",
        ));
    }
    let now = now(&app);
    let entry = app
        .in_logbook(move |mut logbook| {
            let (entry, water) = find(&logbook, &entry)?;
            limit.water = water.name;
            logbook.set_limit(&limit, &now)?;
            Ok(entry)
        })
        .await?;
    Ok(Redirect::to(&format!("/water/{entry}#limits")))
}
