//! The pages: HTML that works without a script. A page is a handler that returns a [`layout`], and a line in [`routes`].

mod by_hand;
mod calibrate;
mod device;
mod entry;
mod events;
mod history;
mod language;
mod parts;
mod plan;
mod reading;
pub(super) mod route;
mod walk;
mod water;

use axum::Router;
use axum::routing::{get, post};
use maud::{DOCTYPE, Markup, html};

use super::assets::{SCRIPT, STYLE};
use super::state::Shared;
use super::words::Words;

/// All pages.
pub(super) fn routes() -> Router<Shared> {
    Router::new()
        .route("/", get(walk::first))
        .route("/walk", get(walk::step))
        .route("/walk/begin", get(walk::begin))
        .route("/walk/done", get(walk::done))
        .route("/photo", get(walk::photo))
        .route("/reading", post(reading::read))
        .route("/reading/{name}", get(reading::shown))
        .route(
            "/reading/{name}/save",
            get(reading::saved).post(reading::save),
        )
        .route("/reading/{name}/{place}/{size}", get(reading::looked))
        .route("/by-hand", get(by_hand::ask).post(by_hand::take))
        .route("/by-hand/{name}", get(by_hand::mark).post(by_hand::read))
        .route("/by-hand/{name}/photo.jpg", get(by_hand::picture))
        .route("/language", get(language::switch))
        .route("/pair", get(device::pairing).post(device::pair))
        .route("/devices", get(device::list))
        .route("/devices/drop", post(device::drop))
        .merge(of_waters())
        .merge(of_charts())
}

/// The pages about waters.
fn of_waters() -> Router<Shared> {
    Router::new()
        .route("/waters", get(history::waters))
        .route("/waters/new", get(water::new).post(water::add))
        .route("/water/{entry}", get(history::water))
        .route("/water/{entry}/readings", get(history::all_readings))
        .route("/water/{entry}/events", get(history::all_events))
        .route("/water/{entry}/event", get(events::kinds))
        .route(
            "/water/{entry}/event/{kind}",
            get(events::form).post(events::log),
        )
        .route(
            "/water/{entry}/reading",
            get(water::reading).post(water::log_reading),
        )
        .route(
            "/water/{entry}/limits",
            get(water::limits).post(water::set_limits),
        )
        .route("/water/{entry}/plan", get(plan::page_of))
        .route("/water/{entry}/report.html", get(history::report))
        .route("/picture/{entry}", get(history::photo))
        .route("/edit/{entry}", get(entry::editing).post(entry::edit))
        .route("/remove/{entry}", get(entry::removing).post(entry::remove))
        .route("/restore/{entry}", post(entry::restore))
        .route("/export/{name}", get(history::export))
}

/// Making a chart.
fn of_charts() -> Router<Shared> {
    Router::new()
        .route("/calibrate", get(calibrate::show).post(calibrate::begin))
        .route("/calibrate/photo", post(calibrate::photo))
        .route("/calibrate/away", post(calibrate::away))
        .route("/calibrate/finish", post(calibrate::finish))
        .route("/calibrate/drop", post(calibrate::give_up))
}

/// A whole page in a language.
pub(super) fn layout(words: Words, title: &str, body: Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang=(words.code()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (words.fill("layout.named", &[("title", &title)])) }
                link rel="stylesheet" href=(STYLE.path);
                link rel="icon" href="data:,";
                script src=(SCRIPT.path) defer {}
            }
            body {
                main {
                    h1 { (title) }
                    (body)
                }
                footer {
                    nav aria-label=(words.say("layout.languages")) {
                        @for other in Words::all().filter(|w| w.code() != words.code()) {
                            a href={ "/language?to=" (other.code()) } lang=(other.code()) hreflang=(other.code()) {
                                (other.say("layout.language"))
                            }
                        }
                    }
                }
            }
        }
    }
}

/// What is said wherever reagents are at hand or a number is shown.
fn care(words: Words) -> Markup {
    html! {
        aside.care aria-label=(words.say("care.title")) {
            p { (words.say("care.gloves")) }
            p { (words.say("care.not_for")) }
        }
    }
}
