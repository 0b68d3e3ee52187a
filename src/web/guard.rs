//! Who may ask, and what every answer carries.
//!
//! A page of somebody else, open in the same browser, can send requests here. It cannot send our cookie (`SameSite=Strict`), it
//! names itself in `Origin`, and where it has pointed a name of its own at this address, it names that in `Host`.

use std::future::Future;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, Bytes, HttpBody};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use http_body::{Frame, SizeHint};
use http_body_util::{BodyExt, Limited};
use tokio::time::{Instant, Sleep, sleep_until};

use super::devices::{Device, Kind};
use super::refusal::Refusal;
use super::state::{App, Limits, Shared};
use super::words::Words;

/// The cookie that shows a paired browser.
pub(super) const COOKIE: &str = "tintwell";

/// Nothing from outside, no frame, no script in the page itself.
const POLICY: &str = "default-src 'none'; img-src 'self' data: blob:; style-src 'self'; script-src 'self'; \
                      connect-src 'self'; media-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// On all answers. `same-origin` and not `no-referrer`: under the latter browsers hide the `Origin` of our own forms, and over
/// plain HTTP they send nothing else (`Sec-Fetch-Site`) that would tell them from a stranger's (Fetch Standard, "append a
/// request Origin header"; Fetch Metadata, "potentially trustworthy URL"). Nothing is told to other sites either way.
const HEADERS: [(HeaderName, &str); 5] = [
    (header::CONTENT_SECURITY_POLICY, POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "same-origin"),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    ),
    // The photo is taken by the phone's own camera program, for which a page needs no permission.
    (
        HeaderName::from_static("permissions-policy"),
        "camera=(), microphone=(), geolocation=()",
    ),
];

/// Lets a request through, or refuses it.
pub(super) async fn guard(State(app): State<Shared>, request: Request, next: Next) -> Response {
    let as_json = request.uri().path().starts_with("/api/");
    let (mut head, body) = request.into_parts();
    let words = (!as_json).then(|| Words::of(&head.headers));
    let body = Paced::new(body, &app.limits);
    let most = if is_multipart(&head.headers) {
        app.limits.upload_bytes
    } else {
        app.limits.form_bytes
    };
    let admitted = who(&app, &head.method, head.uri.path(), &head.headers)
        .and_then(|device| fits(&head.headers, most).map(|()| device));
    let mut answer = match admitted {
        Ok(device) => {
            if let Some(device) = device {
                head.extensions.insert(Asker(device));
            }
            let body = Body::new(Limited::new(body, most));
            next.run(Request::from_parts(head, body)).await
        }
        Err(refusal) => {
            drain(Body::new(Limited::new(body, 4 * app.limits.upload_bytes))).await;
            refusal.into_response()
        }
    };
    if let Some(refusal) = answer.extensions_mut().remove::<Refusal>() {
        answer = refusal.told(words);
    } else if answer.status().is_client_error() || answer.status().is_server_error() {
        answer = Refusal::of(answer.status()).told(words);
    }
    let headers = answer.headers_mut();
    for (name, value) in HEADERS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers
        .entry(header::CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
    answer
}

/// The device that asks; in the extensions of every request but those anybody may make.
#[derive(Debug, Clone)]
pub(super) struct Asker(pub(super) Device);

/// The device that asks, or `None` where anybody may.
fn who(
    app: &App,
    method: &Method,
    path: &str,
    headers: &HeaderMap,
) -> Result<Option<Device>, Refusal> {
    let host = known_host(app, headers)?;
    let bearer = path.starts_with("/api/").then(|| bearer(headers)).flatten();
    // A program that has a token is no browser, which could be talked into sending something.
    if !method.is_safe() && bearer.is_none() {
        same_origin(host, headers)?;
    }
    if path.starts_with("/assets/") {
        return Ok(None);
    }
    let now = app.now();
    let found = match bearer {
        Some(token) => app.devices.find(token, Kind::Token, now),
        None => cookie(headers).map_or(Ok(None), |t| app.devices.find(t, Kind::Browser, now)),
    };
    match found.map_err(Refusal::failed)? {
        Some(device) => Ok(Some(device)),
        None if path == "/pair" || path == "/language" => Ok(None),
        None => Err(Refusal::new(
            StatusCode::FORBIDDEN,
            "this device is not paired",
            "open the address, or scan the code, that `tintwell serve` shows on the computer",
        )),
    }
}

/// The name under which this service was asked for.
fn known_host<'h>(app: &App, headers: &'h HeaderMap) -> Result<&'h str, Refusal> {
    let mut hosts = headers.get_all(header::HOST).iter();
    match (hosts.next().and_then(|h| h.to_str().ok()), hosts.next()) {
        (Some(host), None) if app.hosts.iter().any(|h| h.eq_ignore_ascii_case(host)) => Ok(host),
        _ => Err(Refusal::new(
            StatusCode::FORBIDDEN,
            "this is not an address under which this page is served",
            "use the address that `tintwell serve` shows on the computer",
        )),
    }
}

fn same_origin(host: &str, headers: &HeaderMap) -> Result<(), Refusal> {
    let told = |name: HeaderName| headers.get(name).map(|v| v.to_str().unwrap_or_default());
    let origin = told(header::ORIGIN);
    let site = told(HeaderName::from_static("sec-fetch-site"));
    let ours = match (origin, site) {
        (Some(origin), _) => origin
            .strip_prefix("http://")
            .is_some_and(|o| o.eq_ignore_ascii_case(host)),
        (None, Some(site)) => site == "same-origin",
        // Every browser tells one of them.
        (None, None) => false,
    } && site.is_none_or(|s| s == "same-origin" || s == "none");
    if ours {
        return Ok(());
    }
    Err(Refusal::new(
        StatusCode::FORBIDDEN,
        "this was sent from a page of somebody else",
        "go to the first page and do it from there",
    ))
}

fn bearer(headers: &HeaderMap) -> Option<&str> {
    let told = headers.get(header::AUTHORIZATION)?.to_str().ok()?;
    let (scheme, token) = told.split_once(' ')?;
    scheme
        .eq_ignore_ascii_case("bearer")
        .then_some(token.trim())
}

fn cookie(headers: &HeaderMap) -> Option<&str> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|v| v.to_str().ok())
        .flat_map(|v| v.split(';'))
        .find_map(|c| c.trim().strip_prefix(COOKIE)?.strip_prefix('='))
}

const MULTIPART: &[u8] = b"multipart/form-data";

fn is_multipart(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE);
    let kind = kind.and_then(|k| k.as_bytes().get(..MULTIPART.len()));
    kind.is_some_and(|k| k.eq_ignore_ascii_case(MULTIPART))
}

/// What announces that it is too long is not read.
fn fits(headers: &HeaderMap, most: usize) -> Result<(), Refusal> {
    let length = headers.get(header::CONTENT_LENGTH);
    let length = length.and_then(|l| l.to_str().ok()?.parse::<u64>().ok());
    match length {
        Some(length) if length > most as u64 => Err(Refusal::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            format!("this has {length} bytes, allowed are {most}"),
            "send a photo as the phone saved it, and short texts",
        )),
        _ => Ok(()),
    }
}

/// Takes the rest of a body and forgets it: a client that is still sending would lose the answer when the connection closes.
pub(super) async fn drain(mut body: Body) {
    while let Some(Ok(_)) = body.frame().await {}
}

/// A body that has to come in time.
struct Paced {
    body: Body,
    idle: Duration,
    /// When all of it has to be there.
    end: Instant,
    sleep: Pin<Box<Sleep>>,
}

impl Paced {
    fn new(body: Body, limits: &Limits) -> Paced {
        let now = Instant::now();
        let end = now + limits.body_time;
        Paced {
            body,
            idle: limits.idle_time,
            end,
            sleep: Box::pin(sleep_until(end.min(now + limits.idle_time))),
        }
    }
}

impl HttpBody for Paced {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        if self.sleep.as_mut().poll(context).is_ready() {
            let slow = std::io::Error::from(std::io::ErrorKind::TimedOut);
            return Poll::Ready(Some(Err(axum::Error::new(slow))));
        }
        let frame = Pin::new(&mut self.body).poll_frame(context);
        if frame.is_ready() {
            let due = self.end.min(Instant::now() + self.idle);
            self.sleep.as_mut().reset(due);
        }
        frame
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}
