//! What happened to a water: a form for each kind of event, and the warning that comes before copper does harm.

use axum::extract::{Form, Path, State};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use serde::Deserialize;

use super::parts::{
    LONGEST, LONGEST_NOTE, back, figure, line, moment, needed, note, now, number, page, text, when,
};
use crate::logbook::equipment::{is_copper, warning};
use crate::logbook::{Entry, Equipment, Event, Kind, Water};
use crate::report::number::plain;
use crate::report::text::clean;
use crate::web::pages::parts;
use crate::web::refusal::{Refusal, sentence};
use crate::web::state::Shared;
use crate::web::words::Words;

/// All kinds, those that come most often first.
const KINDS: [Kind; 10] = [
    Kind::WaterChange,
    Kind::Dose,
    Kind::Feeding,
    Kind::LivestockIn,
    Kind::LivestockOut,
    Kind::MediaIn,
    Kind::MediaOut,
    Kind::EquipmentIn,
    Kind::EquipmentOut,
    Kind::Other,
];

fn of_word(told: &str) -> Result<Kind, Refusal> {
    let found = KINDS.into_iter().find(|k| k.word() == told);
    found.ok_or_else(Refusal::nothing_here)
}

/// A kind in the asker's language.
fn named(words: Words, kind: Kind) -> &'static str {
    words.say(match kind {
        Kind::WaterChange => "events.water_change",
        Kind::Dose => "events.dose",
        Kind::MediaIn => "events.media_in",
        Kind::MediaOut => "events.media_out",
        Kind::LivestockIn => "events.livestock_in",
        Kind::LivestockOut => "events.livestock_out",
        Kind::Feeding => "events.feeding",
        Kind::EquipmentIn => "events.equipment_in",
        Kind::EquipmentOut => "events.equipment_out",
        Kind::Other => "events.other",
    })
}

/// An event in words.
pub(super) fn happened(words: Words, event: &Event) -> Markup {
    html! {
        strong { (named(words, event.kind)) }
        @if let Some(percent) = event.percent { ", " (plain(percent)) " %" }
        @if let Some(thing) = event.equipment.as_ref().or(event.substance.as_ref()) { ": " (clean(thing)) }
        @if let Some(amount) = event.amount {
            ", " (plain(amount)) " " (event.unit.as_deref().map(clean).unwrap_or_default())
        }
        @if event.medicine { " (" (words.say("events.medicine_short")) ")" }
        @if !event.note.is_empty() { br; (clean(&event.note)) }
    }
}

/// Asks what happened.
pub(super) async fn kinds(
    State(app): State<Shared>,
    words: Words,
    Path(entry): Path<String>,
) -> Result<Markup, Refusal> {
    let (entry, water) = app
        .in_logbook(move |logbook| parts::water(&logbook, &entry))
        .await?;
    Ok(page(
        words,
        words.say("events.title"),
        html! {
            p { (words.say("events.what")) }
            ul.deeds {
                @for kind in KINDS {
                    li { a href={ "/water/" (entry) "/event/" (kind.word()) } { (named(words, kind)) } }
                }
            }
            (back(words, entry, &water))
        },
    ))
}

/// A form for an event of one kind.
pub(super) async fn form(
    State(app): State<Shared>,
    words: Words,
    Path((entry, kind)): Path<(String, String)>,
) -> Result<Markup, Refusal> {
    let kind = of_word(&kind)?;
    let (entry, water, equipment) = app
        .in_logbook(move |logbook| {
            let (entry, water) = parts::water(&logbook, &entry)?;
            Ok((entry, water, logbook.equipment()?))
        })
        .await?;
    Ok(page(
        words,
        named(words, kind),
        html! {
            form method="post" action={ "/water/" (entry) "/event/" (kind.word()) } {
                (fields(words, kind, &equipment))
                (when(words, &now(&app)))
                (note(words, "", kind == Kind::Other))
                button { (words.say("events.log")) }
            }
            (back(words, entry, &water))
        },
    ))
}

fn fields(words: Words, kind: Kind, equipment: &[(Entry, Equipment)]) -> Markup {
    let amount = html! {
        div.pair {
            (figure(words.say("events.amount"), "amount", "", false))
            (line(words.say("events.unit"), "unit", "", false))
        }
    };
    match kind {
        Kind::WaterChange => figure(words.say("events.percent"), "percent", "", true),
        Kind::Dose => html! {
            (line(words.say("events.substance"), "substance", "", true))
            (amount)
            label.check {
                input type="checkbox" name="medicine" value="yes";
                span { (words.say("events.medicine")) }
            }
        },
        Kind::MediaIn | Kind::MediaOut | Kind::LivestockIn | Kind::LivestockOut => html! {
            (line(words.say("events.which"), "substance", "", false))
            (amount)
        },
        Kind::EquipmentIn | Kind::EquipmentOut => html! {
            label {
                (words.say("events.equipment"))
                select name="equipment" {
                    @for (_, thing) in equipment { option value=(thing.name) { (clean(&thing.name)) } }
                    option value="" { (words.say("events.new_equipment")) }
                }
            }
            (line(words.say("events.new_name"), "new_equipment", "", false))
        },
        Kind::Feeding | Kind::Other => html! {},
    }
}

#[derive(Deserialize)]
pub(super) struct NewEvent {
    #[serde(default)]
    percent: String,
    #[serde(default)]
    substance: String,
    #[serde(default)]
    amount: String,
    #[serde(default)]
    unit: String,
    medicine: Option<String>,
    #[serde(default)]
    equipment: String,
    #[serde(default)]
    new_equipment: String,
    #[serde(default)]
    at: String,
    #[serde(default)]
    note: String,
    /// The warning was read.
    anyway: Option<String>,
}

impl NewEvent {
    /// The event, and the name of equipment that is not known yet.
    fn event(&self, app: &Shared, kind: Kind) -> Result<(Event, Option<String>), Refusal> {
        let substance = text(&self.substance, LONGEST)?;
        let copper = kind == Kind::Dose && substance.as_deref().is_some_and(is_copper);
        let known = text(&self.equipment, LONGEST)?;
        let new = text(&self.new_equipment, LONGEST)?.filter(|_| known.is_none());
        let moves = matches!(kind, Kind::EquipmentIn | Kind::EquipmentOut);
        let event = Event {
            water: String::new(),
            kind,
            at: moment(app, &self.at)?,
            percent: match kind {
                Kind::WaterChange => Some(needed(&self.percent, "the share")?),
                _ => None,
            },
            amount: number(&self.amount, "the amount")?,
            unit: text(&self.unit, 40)?,
            substance,
            medicine: self.medicine.is_some() || copper,
            equipment: known.or_else(|| new.clone()).filter(|_| moves),
            note: text(&self.note, LONGEST_NOTE)?.unwrap_or_default(),
        };
        let lacks = match kind {
            Kind::WaterChange if event.percent.is_some_and(|p| !(p > 0.0 && p <= 100.0)) => {
                Some("a share of more than 0 and at most 100 %")
            }
            Kind::Dose if event.substance.is_none() => Some("what was dosed"),
            Kind::EquipmentIn | Kind::EquipmentOut if event.equipment.is_none() => {
                Some("which equipment it was")
            }
            Kind::Other if event.note.is_empty() => Some("a note"),
            _ if event.amount.is_some() && event.unit.is_none() => Some("the unit of the amount"),
            _ => None,
        };
        match lacks {
            Some(what) => Err(Refusal::wrong(
                format!("this event needs {what}"),
                "go back and fill it in",
            )),
            None => Ok((event, new.filter(|_| moves))),
        }
    }
}

/// What became of what was asked.
pub(super) enum Logged {
    /// It belongs to this water.
    Yes(Entry),
    /// Something has to be said first.
    Warned(Entry, Water, String),
}

/// Logs an event; where there is a warning, only once that was confirmed.
pub(super) async fn log(
    State(app): State<Shared>,
    words: Words,
    Path((entry, kind)): Path<(String, String)>,
    Form(told): Form<NewEvent>,
) -> Result<Response, Refusal> {
    let kind = of_word(&kind)?;
    let (mut event, new) = told.event(&app, kind)?;
    let anyway = told.anyway.is_some();
    let logged = app
        .in_logbook(move |mut logbook| {
            let (entry, water) = parts::water(&logbook, &entry)?;
            event.water = water.name.clone();
            if let Some(warned) = warning(&logbook, &event, None)?.filter(|_| !anyway) {
                return Ok(Logged::Warned(entry, water, warned));
            }
            if let Some(name) = new {
                let note = String::new();
                logbook.add_equipment(&Equipment { name, note })?;
            }
            logbook.add_event(&event)?;
            Ok(Logged::Yes(entry))
        })
        .await?;
    Ok(match logged {
        Logged::Yes(entry) => Redirect::to(&format!("/water/{entry}#events")).into_response(),
        Logged::Warned(entry, water, warned) => {
            warn(words, entry, &water, kind, &told, &warned).into_response()
        }
    })
}

fn warn(
    words: Words,
    entry: Entry,
    water: &Water,
    kind: Kind,
    told: &NewEvent,
    warned: &str,
) -> Markup {
    let kept = [
        ("percent", told.percent.as_str()),
        ("substance", told.substance.as_str()),
        ("amount", told.amount.as_str()),
        ("unit", told.unit.as_str()),
        ("equipment", told.equipment.as_str()),
        ("new_equipment", told.new_equipment.as_str()),
        ("at", told.at.as_str()),
        ("note", told.note.as_str()),
    ];
    let medicine = told.medicine.is_some().then_some(("medicine", "yes"));
    let kept: Vec<(&str, &str)> = kept.into_iter().chain(medicine).collect();
    let to = format!("/water/{entry}/event/{}", kind.word());
    stopped(words, &to, &kept, warned, &back(words, entry, water))
}

/// The warning in the way of what was asked, and the form that asks for it all the same.
pub(super) fn stopped(
    words: Words,
    to: &str,
    kept: &[(&str, &str)],
    warned: &str,
    away: &Markup,
) -> Markup {
    page(
        words,
        words.say("events.stop"),
        html! {
            div.caution role="alert" {
                p lang="en" { strong { (sentence(&clean(warned))) } }
                p { (words.say("events.not_in")) }
            }
            p { (words.say("events.not_logged")) }
            form method="post" action=(to) {
                @for (name, value) in kept { input type="hidden" name=(name) value=(value); }
                label.check {
                    input type="checkbox" name="anyway" value="yes" required;
                    span { (words.say("events.in_already")) }
                }
                button.second { (words.say("events.log_anyway")) }
            }
            (away)
        },
    )
}
