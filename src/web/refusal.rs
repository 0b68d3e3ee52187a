//! Answers to what is not done: what is wrong and what to do, as a page or as JSON.

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use maud::html;

use super::pages::layout;
use super::words::Words;
use crate::error::Error;
use crate::report::text::clean;

/// Why a request is not carried out. The guard gives it the form that the asker reads.
#[derive(Debug, Clone)]
pub(super) struct Refusal {
    status: StatusCode,
    what: String,
    fix: String,
    /// Seconds after which to try again.
    after: Option<i64>,
}

impl Refusal {
    pub(super) fn new(
        status: StatusCode,
        what: impl Into<String>,
        fix: impl Into<String>,
    ) -> Refusal {
        Refusal {
            status,
            what: clean(&what.into()),
            fix: clean(&fix.into()),
            after: None,
        }
    }

    /// The request makes no sense.
    pub(super) fn wrong(what: impl Into<String>, fix: impl Into<String>) -> Refusal {
        Refusal::new(StatusCode::BAD_REQUEST, what, fix)
    }

    /// The request is refused because of this error.
    pub(super) fn because(e: Error) -> Refusal {
        Refusal::wrong(e.what, e.fix)
    }

    /// The fault lies on this side. The error's subject, a file of this computer, is nothing for the asker.
    pub(super) fn failed(e: Error) -> Refusal {
        Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, e.what, e.fix)
    }

    pub(super) fn nothing_here() -> Refusal {
        Refusal::new(
            StatusCode::NOT_FOUND,
            "there is nothing at this address",
            "go to the first page",
        )
    }

    /// To be tried again after so many seconds.
    pub(super) fn after(mut self, seconds: i64) -> Refusal {
        self.after = Some(seconds);
        self
    }

    /// For a status that something below has given with words of its own.
    pub(super) fn of(status: StatusCode) -> Refusal {
        let (what, fix) = match status {
            StatusCode::PAYLOAD_TOO_LARGE => (
                "this is more than is taken",
                "send a photo as the phone saved it, and short texts",
            ),
            StatusCode::METHOD_NOT_ALLOWED => (
                "this cannot be done at this address",
                "go to the first page",
            ),
            _ => ("the request is not understood", "go back and try again"),
        };
        Refusal::new(status, what, fix)
    }

    /// The finished answer; a page if words are given, else JSON.
    pub(super) fn told(self, words: Option<Words>) -> Response {
        let mut answer = if let Some(words) = words {
            layout(
                words,
                words.say("refusal.title"),
                html! {
                    p lang="en" { (sentence(&self.what)) }
                    p lang="en" { strong { (sentence(&self.fix)) } }
                    p { a href="/" { (words.say("layout.home")) } }
                },
            )
            .into_response()
        } else {
            let json = serde_json::json!({ "error": self.what, "fix": self.fix });
            (
                [(header::CONTENT_TYPE, "application/json")],
                json.to_string(),
            )
                .into_response()
        };
        *answer.status_mut() = self.status;
        if let Some(seconds) = self.after {
            answer
                .headers_mut()
                .insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        }
        answer
    }
}

/// A phrase as a sentence.
pub(super) fn sentence(phrase: &str) -> String {
    let mut letters = phrase.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    format!("{}{}.", first.unwrap_or_default(), letters.as_str())
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let mut answer = self.status.into_response();
        answer.extensions_mut().insert(self);
        answer
    }
}
