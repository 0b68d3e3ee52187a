//! One entry of the logbook: correcting it, leaving it out and taking it back in.

use axum::extract::{Form, Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use serde::Deserialize;

use super::events::{Logged, happened, stopped};
use super::parts::{LONGEST_NOTE, back, moment_as, note, now, page, said, text, when};
use crate::logbook::equipment::{as_edited, warning};
use crate::logbook::{Entry, Event, Field, Logbook, Moment, Reading, Water};
use crate::report::text::clean;
use crate::web::refusal::Refusal;
use crate::web::state::Shared;
use crate::web::words::Words;

/// An entry and the water that it belongs to; of equipment there is none.
struct Found {
    water: Option<(Entry, Water)>,
    what: What,
}

enum What {
    /// With the number of readings and events that go with it.
    Water(usize, usize),
    Reading(Reading),
    Event(Event),
    Equipment,
}

fn look_up(logbook: &Logbook, entry: Entry) -> crate::error::Result<Option<Found>> {
    if entry.what() == "equipment" {
        let (water, what) = (None, What::Equipment);
        return Ok(Some(Found { water, what }));
    }
    for (of, water) in logbook.waters()? {
        let what = match entry.what() {
            "water" if of == entry => Some(What::Water(
                logbook.readings(&water.name, None)?.len(),
                logbook.events(&water.name)?.len(),
            )),
            "reading" => {
                let mut all = logbook.readings(&water.name, None)?.into_iter();
                all.find(|(e, _)| *e == entry)
                    .map(|(_, r)| What::Reading(r))
            }
            "event" => {
                let mut all = logbook.events(&water.name)?.into_iter();
                all.find(|(e, _)| *e == entry).map(|(_, e)| What::Event(e))
            }
            _ => None,
        };
        if let Some(what) = what {
            let water = Some((of, water));
            return Ok(Some(Found { water, what }));
        }
    }
    Ok(None)
}

/// The entry of an address such as `/remove/r12`.
fn named(told: &str) -> Result<Entry, Refusal> {
    told.parse().map_err(|_| Refusal::nothing_here())
}

/// The same with what it is.
async fn found(app: &Shared, told: &str) -> Result<(Entry, Found), Refusal> {
    let entry = named(told)?;
    let found = app
        .in_logbook(move |logbook| look_up(&logbook, entry))
        .await?;
    Ok((entry, found.ok_or_else(Refusal::nothing_here)?))
}

impl What {
    /// When it was, and its note; `None` of what is not corrected here.
    fn told(&self) -> Option<(&Moment, &str)> {
        match self {
            What::Reading(r) => Some((&r.at, &r.note)),
            What::Event(e) => Some((&e.at, &e.note)),
            What::Water(..) | What::Equipment => None,
        }
    }
}

/// A form with the time, the water and the note of a reading or an event.
pub(super) async fn editing(
    State(app): State<Shared>,
    words: Words,
    Path(entry): Path<String>,
) -> Result<Markup, Refusal> {
    let (entry, Found { water, what }) = found(&app, &entry).await?;
    let waters = app.in_logbook(|logbook| logbook.waters()).await?;
    let (Some((of, water)), Some((at, noted))) = (water, what.told()) else {
        return Err(Refusal::nothing_here());
    };
    Ok(page(
        words,
        &words.fill("history.edit", &[("entry", &entry)]),
        html! {
            (about(words, &what))
            form method="post" action={ "/edit/" (entry) } {
                (when(words, at))
                @if waters.len() > 1 {
                    label {
                        (words.say("history.of_water"))
                        select name="water" {
                            @for (_, other) in &waters {
                                option value=(other.name) selected[other.name == water.name] { (clean(&other.name)) }
                            }
                        }
                    }
                }
                (note(words, noted, false))
                button { (words.say("history.save")) }
            }
            p.quiet { (words.say("history.edit_what")) }
            (back(words, of, &water))
        },
    ))
}

#[derive(Deserialize)]
pub(super) struct Edited {
    #[serde(default)]
    at: String,
    #[serde(default)]
    water: String,
    #[serde(default)]
    note: String,
    /// The warning was read.
    anyway: Option<String>,
}

/// Corrects what was changed in the form; where there is a warning, only once that was confirmed.
pub(super) async fn edit(
    State(app): State<Shared>,
    words: Words,
    Path(entry): Path<String>,
    Form(told): Form<Edited>,
) -> Result<Response, Refusal> {
    let (entry, Found { water, what }) = found(&app, &entry).await?;
    let (Some((of, water)), Some((at, noted))) = (water, what.told()) else {
        return Err(Refusal::nothing_here());
    };
    let mut fields = Vec::new();
    fields.extend(moment_as(&told.at, at)?.map(Field::At));
    if !told.water.is_empty() && told.water != water.name {
        fields.push(Field::Water(told.water.clone()));
    }
    let note = text(&told.note, LONGEST_NOTE)?.unwrap_or_default();
    if note != noted {
        fields.push(Field::Note(note));
    }
    let (now, anyway) = (now(&app), told.anyway.is_some());
    let done = app
        .in_logbook(move |mut logbook| {
            if let Some(event) = as_edited(&logbook, entry, &fields)?.filter(|_| !anyway)
                && let Some(warned) = warning(&logbook, &event, Some(entry))?
            {
                return Ok(Logged::Warned(of, water, warned));
            }
            if !fields.is_empty() {
                logbook.edit(entry, &fields, &now)?;
            }
            let found = look_up(&logbook, entry)?.and_then(|f| f.water);
            Ok(Logged::Yes(found.map_or(of, |(of, _)| of)))
        })
        .await?;
    Ok(match done {
        Logged::Yes(of) => Redirect::to(&format!("/water/{of}#{entry}")).into_response(),
        Logged::Warned(of, water, warned) => {
            let kept = [
                ("at", told.at.as_str()),
                ("water", &told.water),
                ("note", &told.note),
            ];
            stopped(
                words,
                &format!("/edit/{entry}"),
                &kept,
                &warned,
                &back(words, of, &water),
            )
            .into_response()
        }
    })
}

/// Asks whether an entry is to be left out; of a water also what goes with it.
pub(super) async fn removing(
    State(app): State<Shared>,
    words: Words,
    Path(entry): Path<String>,
) -> Result<Markup, Refusal> {
    let (entry, Found { water, what }) = found(&app, &entry).await?;
    let name = water
        .as_ref()
        .map(|(_, w)| clean(&w.name))
        .unwrap_or_default();
    Ok(page(
        words,
        &words.fill("history.remove", &[("entry", &entry)]),
        html! {
            p { strong { (name) } }
            (about(words, &what))
            p { (words.say("water.remove_what")) }
            form method="post" action={ "/remove/" (entry) } {
                button { (words.say("water.remove_it")) }
            }
            @match &water {
                Some((of, _)) => p { a.away href={ "/water/" (of) } { (words.say("water.keep_it")) } },
                None => p { a.away href="/waters" { (words.say("water.keep_it")) } },
            }
        },
    ))
}

fn about(words: Words, what: &What) -> Markup {
    html! {
        @match what {
            What::Water(readings, events) => p { (words.fill("water.goes_with", &[("readings", readings), ("events", events)])) },
            What::Reading(r) => p { (clean(&r.test)) ": " (said(r)) br; span.quiet { (r.at.short()) } },
            What::Event(e) => p { (happened(words, e)) br; span.quiet { (e.at.short()) } },
            What::Equipment => p { (words.say("water.equipment")) },
        }
    }
}

/// Leaves it out, and leads back to its water, where it can be taken back in.
pub(super) async fn remove(
    State(app): State<Shared>,
    Path(entry): Path<String>,
) -> Result<Redirect, Refusal> {
    let entry = named(&entry)?;
    let now = now(&app);
    let found = app
        .in_logbook(move |mut logbook| {
            let found = look_up(&logbook, entry)?;
            logbook.remove(entry, &now)?;
            Ok(found)
        })
        .await?;
    let to = found.and_then(|f| f.water).filter(|(of, _)| *of != entry);
    Ok(Redirect::to(&to.map_or_else(
        || format!("/waters?removed={entry}"),
        |(of, _)| format!("/water/{of}?removed={entry}"),
    )))
}

/// Takes back in what was left out, and leads to its water.
pub(super) async fn restore(
    State(app): State<Shared>,
    Path(entry): Path<String>,
) -> Result<Redirect, Refusal> {
    let entry = named(&entry)?;
    let now = now(&app);
    let found = app
        .in_logbook(move |mut logbook| {
            logbook.restore(entry, &now)?;
            look_up(&logbook, entry)
        })
        .await?;
    Ok(Redirect::to(&found.and_then(|f| f.water).map_or_else(
        || "/waters".to_owned(),
        |(of, _)| format!("/water/{of}"),
    )))
}
