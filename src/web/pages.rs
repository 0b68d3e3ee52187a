//! The pages: HTML that works without a script. A page is a handler that returns a [`layout`], and a line in [`routes`].

mod device;
mod first;

use axum::Router;
use axum::routing::{get, post};
use maud::{DOCTYPE, Markup, html};

use super::assets::{SCRIPT, STYLE};
use super::state::Shared;

/// All pages.
pub(super) fn routes() -> Router<Shared> {
    Router::new()
        .route("/", get(first::page))
        .route("/reading", post(first::reading))
        .route("/pair", get(device::pairing).post(device::pair))
        .route("/devices", get(device::list))
        .route("/devices/drop", post(device::drop))
}

/// A whole page.
pub(super) fn layout(title: &str, body: Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) " - Tintwell" }
                link rel="stylesheet" href=(STYLE.path);
                link rel="icon" href="data:,";
                script src=(SCRIPT.path) defer {}
            }
            body {
                main {
                    h1 { (title) }
                    (body)
                }
            }
        }
    }
}
