//! A photo read, and logged if that was asked for: what the pages and the endpoint share.

use std::sync::Arc;

use axum::http::StatusCode;
use jiff::tz::TimeZone;
use tokio::sync::OwnedSemaphorePermit;

use super::refusal::Refusal;
use super::state::{App, Listed, Shared};
use super::upload::{Photo, Received};
use crate::chart::Medium;
use crate::error::{Error, Result};
use crate::face::keep::{Keeper, Noted, Seen, picture};
use crate::face::one::{One, one};
use crate::logbook::{Added, Entry, Moment, Water, folded};
use crate::look::Where;
use crate::place::Area;
use crate::reading::{Told, is_ph};
use crate::report::Outcome;

/// The fields of a form that an [`Ask`] is made of.
pub(super) const FIELDS: [&str; 8] = [
    "chart", "white", "vial", "dilution", "started", "log", "at", "note",
];

/// What is asked of a photo.
pub(super) struct Ask {
    pub(super) chart: Arc<Listed>,
    pub(super) by: Where,
    pub(super) told: Told,
    log: Option<Log>,
}

struct Log {
    keeper: Keeper,
    noted: Noted,
}

/// What came of a photo.
pub(super) struct Answered {
    pub(super) outcome: Outcome,
    /// What became of the logging, if it was asked for; `None` inside if there is no reading to rely on.
    pub(super) logged: Option<Result<Option<Added>>>,
}

impl Ask {
    /// What a form asks for.
    ///
    /// # Errors
    /// If a field cannot be understood, or names no chart or water.
    pub(super) async fn of(app: &App, form: &Received) -> std::result::Result<Ask, Refusal> {
        let chart = chart(app, form.field("chart"))?;
        let told = Told {
            started: parsed(form, "started")?,
            dilution: parsed(form, "dilution")?,
            medium: medium(app, form).await?,
            ..Told::default()
        };
        no_dilution_of_ph(&told, &chart)?;
        let by = match (parsed(form, "white")?, parsed(form, "vial")?) {
            (Some(white), Some(liquid)) => Where::Regions {
                white,
                liquid,
                photo: None,
            },
            (None, None) => Where::Card(app.designs().to_vec()),
            _ => {
                return Err(Refusal::wrong(
                    "white and vial belong together",
                    "give both regions, or neither",
                ));
            }
        };
        Ok(Ask {
            log: log(app, form).await?,
            chart,
            by,
            told,
        })
    }

    /// To read a photo by regions.
    pub(super) fn by_hand(chart: Arc<Listed>, white: Area, liquid: Area, told: Told) -> Ask {
        Ask {
            chart,
            by: Where::Regions {
                white,
                liquid,
                photo: None,
            },
            told,
            log: None,
        }
    }
}

/// Refuses to multiply back what is no amount.
pub(super) fn no_dilution_of_ph(told: &Told, chart: &Listed) -> std::result::Result<(), Refusal> {
    if told.dilution.is_some() && is_ph(&chart.chart.terms.unit) {
        return Err(Refusal::wrong(
            "a pH cannot be multiplied back: diluting changes it in no simple proportion",
            "leave the dilution away, and test the sample undiluted",
        ));
    }
    Ok(())
}

/// The chart of a name, or the only one of a test.
pub(super) fn chart(app: &App, told: Option<&str>) -> std::result::Result<Arc<Listed>, Refusal> {
    let charts = app.charts();
    let names: Vec<&str> = charts.iter().map(|c| c.name.as_str()).collect();
    let names = format!("charts are: {}", names.join(", "));
    let Some(told) = told else {
        return Err(Refusal::wrong("no chart is told", names));
    };
    if let Some(chart) = charts.iter().find(|c| c.name == told) {
        return Ok(chart.clone());
    }
    let mut of_test = charts.iter().filter(|c| c.chart.terms.test == told);
    match (of_test.next(), of_test.next()) {
        (Some(chart), None) => Ok(chart.clone()),
        (Some(_), Some(_)) => Err(Refusal::wrong(
            format!("there are several charts of {told}"),
            format!("name one by its file; {names}"),
        )),
        (None, _) => Err(Refusal::wrong(format!("there is no chart {told}"), names)),
    }
}

fn parsed<T: std::str::FromStr<Err = String>>(
    form: &Received,
    name: &str,
) -> std::result::Result<Option<T>, Refusal> {
    form.field(name)
        .map(|text| {
            text.parse()
                .map_err(|e| Refusal::wrong(format!("{name} \"{text}\" is not understood"), e))
        })
        .transpose()
}

/// Whether the water that a form names is fresh or salt: by its entry, as pages do, or by its name.
async fn medium(app: &App, form: &Received) -> std::result::Result<Option<Medium>, Refusal> {
    let Some(told) = form.field("water").or(form.field("log")) else {
        return Ok(None);
    };
    let told = told.to_owned();
    let water = app.in_logbook(move |logbook| {
        let mut waters = logbook.waters()?.into_iter();
        let same =
            |(e, w): &(Entry, Water)| e.to_string() == told || folded(&w.name) == folded(&told);
        Ok(waters.find(same))
    });
    Ok(water.await?.and_then(|(_, w)| w.medium))
}

async fn log(app: &App, form: &Received) -> std::result::Result<Option<Log>, Refusal> {
    let Some(water) = form.field("log") else {
        return match form.field("at").or(form.field("note")) {
            Some(_) => Err(Refusal::wrong(
                "at and note are for the logbook",
                "name the water in log",
            )),
            None => Ok(None),
        };
    };
    let at = form
        .field("at")
        .map(|text| Moment::parse(text, &TimeZone::system()))
        .transpose()
        .map_err(|e| Refusal::wrong(e, "give the time anew"))?;
    let name = water.to_owned();
    let keeper = app
        .in_logbook(move |logbook| Keeper::new(logbook, &name))
        .await?;
    let note = form.field("note").unwrap_or_default().to_owned();
    Ok(Some(Log {
        keeper,
        noted: Noted { at, note },
    }))
}

/// Reads a photo when its turn has come. Its place in memory is free again when it is done, whether somebody still waits or not.
pub(super) async fn read(
    app: &Shared,
    photo: Photo,
    ask: Ask,
    place: OwnedSemaphorePermit,
) -> std::result::Result<Answered, Refusal> {
    in_turn(app, move || {
        let answered = look(photo, ask);
        drop(place);
        answered
    })
    .await
}

/// Works on a photo when its turn has come, to the end, whether somebody still waits or not.
pub(super) async fn in_turn<T: Send + 'static>(
    app: &Shared,
    work: impl FnOnce() -> T + Send + 'static,
) -> std::result::Result<T, Refusal> {
    let failed = || {
        Refusal::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "the program failed while reading this photo",
            "report this fault together with the photo",
        )
    };
    // Never closed.
    let turn = app.readings.clone().acquire_owned().await;
    let turn = turn.map_err(|_| failed())?;
    tokio::task::spawn_blocking(move || {
        let worked = work();
        drop(turn);
        worked
    })
    .await
    .map_err(|_| failed())
}

fn look(photo: Photo, ask: Ask) -> Answered {
    let Ask {
        chart,
        by,
        told,
        log,
    } = ask;
    let One { outcome, seen } = one(
        &photo.name,
        Ok(photo.bytes),
        &by,
        Ok(&chart.chart),
        &told,
        log.is_some(),
    );
    let picture = picture(seen.as_ref());
    drop(seen);
    let logged = log.map(|mut log| {
        if log.noted.at.is_none() && outcome.taken_at.is_none() && outcome.result.is_ok() {
            return Err(Error::new(
                "not logged: the photo does not tell when it was taken",
                "send it again with the time (at)",
            ));
        }
        log.keeper.log(Seen::photo(&outcome, picture), &log.noted)
    });
    Answered { outcome, logged }
}
