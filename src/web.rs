//! The page on the phone, and the JSON endpoint beside it: `tintwell serve`.
//!
//! ```text
//!  server ──> guard ──────────────> pages, api ──> upload ──> readings ──> face (files, one photo, logging)
//!  sockets    Host, Origin, who     what is        limits     one at a
//!  and time   is asking, headers    asked for      and turns  time a core
//! ```
//!
//! All but [`server`] is free of sockets: [`app`] is a service from request to answer, and its clock is given to it. Nothing here
//! computes a reading; no name that a client sends is ever used as a path; nothing from outside is ever loaded by a page.

mod api;
mod assets;
pub mod charts;
pub mod devices;
mod guard;
mod kept;
mod pages;
pub mod pairing;
mod readings;
mod refusal;
pub mod server;
mod session;
pub mod state;
mod upload;
mod words;

use axum::extract::DefaultBodyLimit;
use axum::{Router, middleware};

use refusal::Refusal;
use state::Shared;

/// The whole service.
pub fn app(app: Shared) -> Router {
    Router::new()
        .merge(pages::routes())
        .merge(api::routes())
        .merge(assets::routes())
        .fallback(|| async { Refusal::nothing_here() })
        // The guard limits every body, by its kind.
        .layer(DefaultBodyLimit::disable())
        .layer(middleware::from_fn_with_state(app.clone(), guard::guard))
        .with_state(app)
}
