//! The reading: photos of a vial are read, what came of them is shown, and saved if that is wanted.
//!
//! The result waits in memory under a name that cannot be guessed ([`kept`](crate::web::kept)), so that a reload, a picture of it or
//! saving it needs no second upload.

mod scale;
mod shown;

use std::sync::{Arc, OnceLock};

use axum::extract::{Form, Path, Request, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::tz::TimeZone;
use maud::Markup;
use serde::Deserialize;

use self::shown::{Saved, page};
use super::route::Walk;
use super::walk::PHOTOS;
use crate::face::keep::{Keeper, Noted, Seen, picture};
use crate::face::one::{One, one};
use crate::flag::Checked;
use crate::logbook::Moment;
use crate::look::Where;
use crate::report::{Outcome, overlay};
use crate::same_vial::{Member, VialReading, same_vial};
use crate::web::kept::{Shot, Thing, Unmarked, Vial};
use crate::web::readings::{Ask, in_turn};
use crate::web::refusal::Refusal;
use crate::web::state::Shared;
use crate::web::upload::{Photo, Received, receive};
use crate::web::words::Words;

/// What a form with photos tells besides them.
pub(super) const FIELDS: [&str; 5] = ["chart", "water", "dilution", "started", "with"];

/// Reads the photos of a form and leads to what came of them.
pub(super) async fn read(State(app): State<Shared>, request: Request) -> Result<Redirect, Refusal> {
    let mut form = receive(&app, request, PHOTOS).await?;
    form.only(&FIELDS)?;
    let mut ask = Ask::of(&app, &form).await?;
    // The timer is this computer's.
    ask.told.started = ask.told.started.map(|s| s.told_in(&TimeZone::system()));
    let walk = walk_of(&form);
    let before = match walk.with.as_str() {
        "" => Vec::new(),
        name => {
            let before = app.kept.vial(name, app.now())?;
            let before = before.get()?;
            if before.chart.name != ask.chart.name {
                return Err(Refusal::wrong(
                    "the photos before are of another test",
                    "begin the test anew",
                ));
            }
            if before.walk.dilution != walk.dilution {
                return Err(Refusal::wrong(
                    "the photos before are of another dilution",
                    "begin the test anew",
                ));
            }
            before.shots.clone()
        }
    };
    let photos = std::mem::take(&mut form.photos);
    if photos.is_empty() {
        return Err(Refusal::wrong(
            "no photo was sent",
            "take or choose a photo",
        ));
    }
    if before.len() + photos.len() > PHOTOS {
        return Err(Refusal::wrong(
            format!("more photos of one vial than {PHOTOS}"),
            "begin the test anew",
        ));
    }
    let place = form.place;
    let chart = ask.chart.clone();
    let read = in_turn(&app, move || {
        let read: Vec<_> = photos.into_iter().map(|p| look(p, &ask)).collect();
        drop(place);
        read
    })
    .await?;
    let mut shots = before;
    for (mut shot, photo) in read {
        if let Some(photo) = photo {
            let unmarked = Thing::Unmarked(Unmarked {
                walk: walk.clone(),
                name: photo.name,
                bytes: photo.bytes,
                upright: OnceLock::new(),
            });
            shot.unmarked = Some(app.kept.put(unmarked, app.now()).map_err(Refusal::failed)?);
        }
        shots.push(Arc::new(shot));
    }
    keep(&app, Vial { chart, walk, shots })
}

/// Keeps what came of a vial and leads there.
pub(super) fn keep(app: &Shared, vial: Vial) -> Result<Redirect, Refusal> {
    let name = app
        .kept
        .put(Thing::Vial(vial), app.now())
        .map_err(Refusal::failed)?;
    Ok(Redirect::to(&format!("/reading/{name}")))
}

/// The walk that a form goes on with.
pub(super) fn walk_of(form: &Received) -> Walk {
    let field = |name| form.field(name).unwrap_or_default().to_owned();
    Walk {
        chart: field("chart"),
        water: field("water"),
        dilution: field("dilution"),
        started: field("started"),
        with: field("with"),
        ..Walk::default()
    }
}

/// Reads a photo; gives it back if it could not be read by the card, so that white and liquid may be touched.
pub(super) fn look(photo: Photo, ask: &Ask) -> (Shot, Option<Photo>) {
    let again = matches!(ask.by, Where::Card(_)).then(|| photo.bytes.clone());
    let chart = &ask.chart.chart;
    let One { outcome, seen } = one(
        &photo.name,
        Ok(photo.bytes),
        &ask.by,
        Ok(chart),
        &ask.told,
        true,
    );
    let small = picture(seen.as_ref());
    let overlay = match (&seen, &outcome.result) {
        (Some((photo, seen)), Ok(reading)) => {
            overlay::draw(&photo.picture, &outcome.photo, seen, reading, chart).ok()
        }
        _ => None,
    };
    let again = again
        .filter(|_| outcome.result.is_err())
        .map(|bytes| Photo {
            name: photo.name,
            bytes,
        });
    let shot = Shot {
        outcome,
        small,
        overlay,
        unmarked: None,
    };
    (shot, again)
}

/// Several photos as one reading; `None` for a single one.
fn together(vial: &Vial) -> Option<Checked<VialReading>> {
    let members: Vec<Member> = vial
        .shots
        .iter()
        .map(|s| Member {
            photo: &s.outcome.photo,
            sha256: s.outcome.sha256.as_deref(),
            result: &s.outcome.result,
        })
        .collect();
    (members.len() > 1).then(|| same_vial(&members, &vial.chart.chart))
}

/// What came of it.
pub(super) async fn shown(
    State(app): State<Shared>,
    words: Words,
    Path(name): Path<String>,
) -> Result<Markup, Refusal> {
    let vial = app.kept.vial(&name, app.now())?;
    Ok(page(words, &name, vial.get()?, &app, None))
}

/// A picture of where the program looked: `small` or `large`.
pub(super) async fn looked(
    State(app): State<Shared>,
    Path((name, place, size)): Path<(String, usize, String)>,
) -> Result<Response, Refusal> {
    let vial = app.kept.vial(&name, app.now())?;
    let shot = vial
        .get()?
        .shots
        .get(place)
        .ok_or_else(Refusal::nothing_here)?;
    let (kind, bytes) = match size.as_str() {
        "small.jpg" => ("image/jpeg", shot.small.as_ref().map(|j| &j.0)),
        "large.png" => ("image/png", shot.overlay.as_ref()),
        _ => return Err(Refusal::nothing_here()),
    };
    let bytes = bytes.ok_or_else(Refusal::nothing_here)?.clone();
    Ok(([(header::CONTENT_TYPE, kind)], bytes).into_response())
}

#[derive(Deserialize)]
pub(super) struct Note {
    #[serde(default)]
    note: String,
    #[serde(default)]
    at: String,
}

/// Saves the reading. A photo that is there already is known again.
pub(super) async fn save(
    State(app): State<Shared>,
    words: Words,
    Path(name): Path<String>,
    Form(told): Form<Note>,
) -> Result<Markup, Refusal> {
    let kept = app.kept.vial(&name, app.now())?;
    let vial = kept.get()?;
    if vial.walk.water.is_empty() {
        return Err(Refusal::wrong(
            "no water was chosen",
            "begin the test anew and choose one",
        ));
    }
    let at = match told.at.trim() {
        "" => None,
        text => Some(
            Moment::parse(text, &TimeZone::system())
                .map_err(|e| Refusal::wrong(e, "give the time anew"))?,
        ),
    };
    if at.is_none() && taken_at(vial).is_none() {
        return Err(Refusal::wrong(
            "the photo does not tell when it was taken",
            "go back and give the time of the sample",
        ));
    }
    let noted = Noted {
        at,
        note: told.note.trim().to_owned(),
    };
    let (seen, water) = (seen(vial), vial.walk.water.clone());
    let added = app
        .in_logbook(move |logbook| Keeper::new(logbook, &water)?.log(seen, &noted))
        .await?;
    Ok(page(words, &name, vial, &app, Some(Saved(added))))
}

/// Where a language is switched on the page of a saved reading.
pub(super) async fn saved(Path(name): Path<String>) -> Redirect {
    Redirect::to(&format!("/reading/{name}"))
}

/// When the first of the photos was taken, if one tells it.
fn taken_at(vial: &Vial) -> Option<&str> {
    let taken = vial
        .shots
        .iter()
        .filter_map(|s| s.outcome.taken_at.as_deref());
    taken.min()
}

/// What is logged of it.
fn seen(vial: &Vial) -> Seen {
    match together(vial) {
        Some(checked) => {
            let outcomes: Vec<Outcome> = vial.shots.iter().map(|s| s.outcome.clone()).collect();
            let pictures = vial.shots.iter().map(|s| s.small.clone()).collect();
            Seen::vial(&checked, &outcomes, pictures)
        }
        None => {
            let shot = &vial.shots[0];
            Seen::photo(&shot.outcome, shot.small.clone())
        }
    }
}
