//! The endpoint for programs: a photo in, the JSON object of `tintwell read --json` out. What it takes and gives is told in
//! `openapi.json`.

use axum::Router;
use axum::extract::{Request, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use serde_json::json;

use super::readings::{self, Ask, FIELDS};
use super::refusal::Refusal;
use super::state::Shared;
use super::upload::receive;
use crate::error::Result;
use crate::logbook::Added;
use crate::report::json;

const OPENAPI: &str = include_str!("openapi.json");
const JSON: [(header::HeaderName, &str); 1] = [(header::CONTENT_TYPE, "application/json")];

/// `/api/...`.
pub(super) fn routes() -> Router<Shared> {
    Router::new()
        .route("/api/reading", post(reading))
        .route("/api/openapi.json", get(|| async { (JSON, OPENAPI) }))
}

async fn reading(
    State(app): State<Shared>,
    request: Request,
) -> std::result::Result<Response, Refusal> {
    let mut form = receive(&app, request, 1).await?;
    form.only(&FIELDS)?;
    let ask = Ask::of(&app, &form).await?;
    let Some(photo) = form.photos.pop() else {
        return Err(Refusal::wrong(
            "no photo was sent",
            "send it in the part photo",
        ));
    };
    let answered = readings::read(&app, photo, ask, form.place).await?;
    let mut line = json::line(&answered.outcome);
    if let Some(logged) = &answered.logged {
        // One key more, behind those of the record.
        line.truncate(line.strip_suffix('}').map_or(line.len(), str::len));
        line += &format!(",\"logged\":{}}}", told(logged));
    }
    Ok((JSON, line + "\n").into_response())
}

/// What became of the logging.
fn told(logged: &Result<Option<Added>>) -> serde_json::Value {
    let (entry, new, error, fix) = match logged {
        Ok(Some(Added::New(entry) | Added::InPlaceOf(entry, _))) => {
            (Some(entry.to_string()), true, None, None)
        }
        Ok(Some(Added::Known(entry))) => (Some(entry.to_string()), false, None, None),
        Ok(None) => (
            None,
            false,
            Some("there is no reading to rely on"),
            Some("take the photo again"),
        ),
        Err(e) => (None, false, Some(e.what.as_str()), Some(e.fix.as_str())),
    };
    json!({ "entry": entry, "new": new, "error": error, "fix": fix })
}
