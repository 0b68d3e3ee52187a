//! Pairing a device, and the list of those that are paired.

use axum::Extension;
use axum::extract::{Form, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use maud::{Markup, html};
use serde::Deserialize;

use super::layout;
use crate::report::text::clean;
use crate::web::devices::{Kind, STAYS};
use crate::web::guard::{Asker, COOKIE};
use crate::web::pairing::Refused;
use crate::web::refusal::Refusal;
use crate::web::state::Shared;
use crate::web::words::Words;

#[derive(Deserialize)]
pub(super) struct Link {
    #[serde(default)]
    word: String,
}

/// Asks for a name. Looking at the page does not use the word up: programs that preview links do that too.
pub(super) async fn pairing(words: Words, Query(link): Query<Link>) -> Markup {
    layout(
        words,
        words.say("device.pair_title"),
        html! {
            p { (words.say("device.pair_why")) }
            form method="post" action="/pair" {
                label {
                    (words.say("device.word"))
                    input name="word" value=(clean(&link.word)) required autocomplete="off" autocapitalize="none" spellcheck="false";
                }
                label {
                    (words.say("device.name"))
                    input name="name" required maxlength="40" autocomplete="off" placeholder=(words.say("device.name_such_as"));
                }
                button { (words.say("device.pair")) }
            }
        },
    )
}

#[derive(Deserialize)]
pub(super) struct Pair {
    word: String,
    name: String,
}

/// Lets the device in: sets its cookie and leads to the first page.
pub(super) async fn pair(
    State(app): State<Shared>,
    Form(told): Form<Pair>,
) -> Result<Response, Refusal> {
    let now = app.now();
    let token = {
        // Held until the word is used up: it is good once, however many ask at the same time.
        let mut pairing = app.pairing();
        pairing.check(&told.word, now).map_err(refused)?;
        let token = app
            .devices
            .add(&told.name, Kind::Browser, now)
            .map_err(Refusal::because)?;
        pairing.use_up();
        token
    };
    let cookie = format!(
        "{COOKIE}={token}; HttpOnly; SameSite=Strict; Path=/; Max-Age={}",
        STAYS.as_secs()
    );
    Ok(([(header::SET_COOKIE, cookie)], Redirect::to("/")).into_response())
}

fn refused(why: Refused) -> Refusal {
    match why {
        Refused::Wrong => Refusal::new(
            StatusCode::FORBIDDEN,
            "this is not the word, or it was used or has become too old",
            "open the address, or scan the code, that the computer shows now",
        ),
        Refused::Wait(seconds) => Refusal::new(
            StatusCode::TOO_MANY_REQUESTS,
            "too many wrong words were tried",
            format!("wait {seconds} seconds, then try again"),
        )
        .after(seconds),
    }
}

/// The paired devices.
pub(super) async fn list(
    State(app): State<Shared>,
    Extension(Asker(this)): Extension<Asker>,
    words: Words,
) -> Result<Markup, Refusal> {
    let devices = app.devices.all().map_err(Refusal::failed)?;
    Ok(layout(
        words,
        words.say("device.title"),
        html! {
            ul.plain {
                @for device in &devices {
                    li {
                        strong { (clean(&device.name)) }
                        @if device.name == this.name { " " (words.say("device.this_one")) }
                        br;
                        span.quiet {
                            (words.say(match device.kind { Kind::Browser => "device.browser", Kind::Token => "device.program" }))
                            ", " (words.fill("device.since", &[("date", &device.since.strftime("%Y-%m-%d"))]))
                        }
                        form method="post" action="/devices/drop" {
                            input type="hidden" name="name" value=(device.name);
                            button { (words.fill("device.drop", &[("name", &clean(&device.name))])) }
                        }
                    }
                }
            }
            p { a href="/" { (words.say("layout.home")) } }
        },
    ))
}

#[derive(Deserialize)]
pub(super) struct Named {
    name: String,
}

/// Refuses a device from now on.
pub(super) async fn drop(
    State(app): State<Shared>,
    Form(told): Form<Named>,
) -> Result<Redirect, Refusal> {
    app.devices.drop(&told.name).map_err(Refusal::because)?;
    Ok(Redirect::to("/devices"))
}
