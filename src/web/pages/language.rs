//! Another language, at the touch of a link: kept in a cookie, and back to the page that the link was on.

use axum::extract::Query;
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse, Redirect, Response};
use serde::Deserialize;

use crate::web::words::{COOKIE, Words};

/// A year, seconds.
const STAYS: u32 = 365 * 24 * 60 * 60;

#[derive(Deserialize)]
pub(super) struct To {
    #[serde(default)]
    to: String,
}

pub(super) async fn switch(Query(To { to }): Query<To>, headers: HeaderMap) -> Response {
    let back = Redirect::to(&back(&headers).unwrap_or_else(|| "/".into()));
    match Words::named(&to) {
        Some(words) => {
            let cookie = format!(
                "{COOKIE}={}; HttpOnly; SameSite=Lax; Path=/; Max-Age={STAYS}",
                words.code()
            );
            ([(header::SET_COOKIE, cookie)], back).into_response()
        }
        None => back.into_response(),
    }
}

/// The page of ours that the link was on: only what follows the name of this very service.
fn back(headers: &HeaderMap) -> Option<String> {
    let host = headers.get(header::HOST)?.to_str().ok()?;
    let page = headers.get(header::REFERER)?.to_str().ok()?;
    let path = page.strip_prefix("http://")?.strip_prefix(host)?;
    let plain = path.starts_with('/') && !path.starts_with("//") && !path.contains('\\');
    plain.then(|| path.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn back_leads_to_our_own_pages_only() {
        let from = |referer: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(header::HOST, "127.0.0.1:8464".parse().unwrap());
            headers.insert(header::REFERER, referer.parse().unwrap());
            back(&headers)
        };
        assert_eq!(
            from("http://127.0.0.1:8464/walk?chart=no3").as_deref(),
            Some("/walk?chart=no3")
        );
        for other in [
            "http://example.org/",
            "http://127.0.0.1:8464.example.org/",
            "http://127.0.0.1:8464//example.org/",
            "http://127.0.0.1:8464/\\example.org",
            "https://127.0.0.1:8464/",
        ] {
            assert_eq!(from(other), None, "{other}");
        }
    }
}
