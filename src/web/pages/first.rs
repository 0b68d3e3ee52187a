//! The first page: waters, charts, and a photo to be read.

use axum::extract::{Request, State};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{Markup, html};

use super::layout;
use crate::logbook::Jpeg;
use crate::report::text::clean;
use crate::report::words;
use crate::web::readings::{self, Answered, Ask, FIELDS};
use crate::web::refusal::{Refusal, sentence};
use crate::web::state::Shared;
use crate::web::upload::{ACCEPT, receive};
use crate::web::words::Words;

/// What there is, and a form.
pub(super) async fn page(State(app): State<Shared>, words: Words) -> Result<Markup, Refusal> {
    let waters = app.in_logbook(|logbook| logbook.waters()).await?;
    Ok(layout(
        words,
        words.say("first.title"),
        html! {
            form method="post" action="/reading" enctype="multipart/form-data" {
                label {
                    "Test"
                    select name="chart" required {
                        @for listed in app.charts() {
                            option value=(listed.name) {
                                (clean(&listed.chart.terms.test)) " in " (clean(&listed.chart.terms.unit))
                            }
                        }
                    }
                }
                label {
                    "Water"
                    select name="log" {
                        option value="" { "do not log it" }
                        @for (_, water) in &waters { option value=(water.name) { (clean(&water.name)) } }
                    }
                }
                label {
                    "Photo of the vial before the card"
                    input type="file" name="photo" accept=(ACCEPT) capture="environment" required;
                }
                button { "Read it" }
            }
            p { a href="/devices" { "Paired devices" } }
        },
    ))
}

/// Reads the photo and shows what came of it.
pub(super) async fn reading(
    State(app): State<Shared>,
    language: Words,
    request: Request,
) -> Result<Markup, Refusal> {
    let mut form = receive(&app, request, 1).await?;
    form.only(&FIELDS)?;
    let ask = Ask::of(&app, &form, true).await?;
    let Some(photo) = form.photos.pop() else {
        return Err(Refusal::wrong("no photo was sent", "choose a photo"));
    };
    Ok(result(
        language,
        &readings::read(&app, photo, ask, form.place).await?,
    ))
}

fn result(language: Words, answered: &Answered) -> Markup {
    let Answered {
        chart,
        outcome,
        logged,
        picture,
    } = answered;
    let terms = &chart.chart.terms;
    layout(
        language,
        &clean(&terms.test),
        html! {
            @if let Ok(reading) = &outcome.result {
                @let said = words(&reading.value.answer, &clean(&terms.unit));
                p.value { (said.value) }
                @if let Some(interval) = said.interval { p { "95 % interval: " (interval) } }
            } @else {
                p.value { "No reading" }
            }
            p { "Verdict: " strong { (outcome.verdict().word()) } }
            ul {
                @for flag in outcome.flags() { li { (sentence(&flag.message)) " " strong { (sentence(&flag.fix)) } } }
            }
            @match logged {
                None => {},
                Some(Ok(Some(_))) => p { "It is in the logbook." },
                Some(Ok(None)) => p { "Not logged: there is no reading to rely on." },
                Some(Err(e)) => p { (sentence(&e.what)) " " strong { (sentence(&e.fix)) } },
            }
            @if let Some(Jpeg(bytes)) = picture {
                img src={ "data:image/jpeg;base64," (STANDARD.encode(bytes)) } alt="Card and liquid outlined where the program looked";
            }
            p.quiet { (outcome.photo) }
            p { a href="/" { "Take it again" } }
        },
    )
}
