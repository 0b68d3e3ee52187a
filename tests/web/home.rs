//! A service with a logbook, a chart and a clock of its own, and requests to it.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use axum::Router;
use axum::body::Body;
use axum::http::{HeaderMap, Method, Request, StatusCode};
use http_body_util::BodyExt;
use jiff::Timestamp;
use tempfile::TempDir;
use tintwell::logbook::{Access, Logbook, Water};
use tintwell::web::state::{App, Limits, Listed, Settings, Shared};
use tower::ServiceExt;

pub const HOST: &str = "127.0.0.1:8464";
pub const ORIGIN: &str = "http://127.0.0.1:8464";
/// Between the parts of a form.
const EDGE: &str = "edge-of-a-part";

pub fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// A photo of the shipped week.
pub fn monday() -> Vec<u8> {
    fs::read(file("fixtures/alder-creek/week/1-mon.jpg")).unwrap()
}

pub fn chart() -> Listed {
    let text = fs::read_to_string(file("calibration/alder-creek-nitrate.json")).unwrap();
    Listed {
        name: "alder-creek-nitrate".into(),
        chart: tintwell::chart::file::parse(&text).unwrap(),
    }
}

pub struct Home {
    pub folder: TempDir,
    pub app: Shared,
    pub service: Router,
    seconds: Arc<AtomicI64>,
}

/// An answer, whole.
#[derive(Debug)]
pub struct Answer {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn text(&self) -> String {
        String::from_utf8(self.body.clone()).unwrap()
    }

    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.text()))
    }

    pub fn header(&self, name: &str) -> &str {
        self.headers
            .get(name)
            .map_or("", |value| value.to_str().unwrap())
    }

    /// The error of a refused request to the endpoint.
    pub fn refusal(&self, status: u16) -> String {
        assert_eq!(self.status, status, "{}", self.text());
        let json = self.json();
        assert!(
            json["fix"].as_str().is_some_and(|f| !f.is_empty()),
            "{json}"
        );
        json["error"].as_str().unwrap().to_owned()
    }
}

impl Home {
    pub fn new() -> Home {
        Home::with(Limits::default())
    }

    pub fn with(limits: Limits) -> Home {
        Home::with_charts(limits, vec![chart()])
    }

    pub fn with_charts(limits: Limits, charts: Vec<Listed>) -> Home {
        let folder = TempDir::new().unwrap();
        let logbook = folder.path().join("book.sqlite");
        let mut open = Logbook::open(&logbook, "book", Access::Create).unwrap();
        open.add_water(&Water {
            name: "tidepool".into(),
            volume_l: Some(900.0),
            medium: None,
            lives: String::new(),
            invertebrates: true,
        })
        .unwrap();
        let seconds = Arc::new(AtomicI64::new(1_790_000_000));
        let clock = seconds.clone();
        let app = App::new(Settings {
            logbook,
            charts,
            charts_folder: folder.path().join("charts"),
            hosts: vec![HOST.into(), "localhost:8464".into()],
            limits,
            clock: Arc::new(move || Timestamp::from_second(clock.load(Ordering::SeqCst)).unwrap()),
        })
        .unwrap();
        Home {
            folder,
            service: tintwell::web::app(app.clone()),
            app,
            seconds,
        }
    }

    /// Time passes.
    pub fn later(&self, seconds: i64) {
        self.seconds.fetch_add(seconds, Ordering::SeqCst);
    }

    pub fn logbook(&self) -> Logbook {
        let path = self.folder.path().join("book.sqlite");
        Logbook::open(&path, "book", Access::Change).unwrap()
    }

    pub async fn send(&self, request: Request<Body>) -> Answer {
        let answer = self.service.clone().oneshot(request).await.unwrap();
        let (head, body) = answer.into_parts();
        Answer {
            status: head.status,
            headers: head.headers,
            body: body.collect().await.unwrap().to_bytes().to_vec(),
        }
    }

    /// Sends a form, as a browser does from our own page.
    pub async fn post(&self, path: &str, cookie: &str, form: &str) -> Answer {
        let request = ask(Method::POST, path)
            .header("origin", ORIGIN)
            .header("cookie", cookie)
            .header("content-type", "application/x-www-form-urlencoded");
        self.send(request.body(Body::from(form.to_owned())).unwrap())
            .await
    }

    pub async fn get(&self, path: &str, cookie: &str) -> Answer {
        let request = ask(Method::GET, path).header("cookie", cookie);
        self.send(request.body(Body::empty()).unwrap()).await
    }

    /// Pairs a device and gives its cookie as a browser sends it back.
    pub async fn pair(&self, name: &str) -> String {
        let now = self.app.now();
        self.app.pairing().renew(now).unwrap();
        let word = self.app.pairing().word();
        let answer = self
            .post("/pair", "", &format!("word={word}&name={name}"))
            .await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.text());
        let cookie = answer.header("set-cookie");
        cookie.split(';').next().unwrap().to_owned()
    }

    /// A form with a photo, from a paired browser.
    pub async fn upload(&self, path: &str, cookie: &str, parts: &[Part<'_>]) -> Answer {
        let request = ask(Method::POST, path)
            .header("origin", ORIGIN)
            .header("cookie", cookie)
            .header("content-type", kind());
        self.send(request.body(Body::from(form(parts))).unwrap())
            .await
    }
}

/// A request to the right host.
pub fn ask(method: Method, path: &str) -> axum::http::request::Builder {
    Request::builder()
        .method(method)
        .uri(path)
        .header("host", HOST)
}

pub fn kind() -> String {
    format!("multipart/form-data; boundary={EDGE}")
}

/// A part of a form.
pub enum Part<'a> {
    Text(&'a str, &'a str),
    /// The name of the file, and its content.
    Photo(&'a str, &'a [u8]),
}

pub fn form(parts: &[Part]) -> Vec<u8> {
    let mut out = Vec::new();
    for part in parts {
        let (head, content) = match part {
            Part::Text(name, value) => (format!("name=\"{name}\""), value.as_bytes()),
            Part::Photo(name, bytes) => (
                format!("name=\"photo\"; filename=\"{name}\"\r\nContent-Type: image/jpeg"),
                *bytes,
            ),
        };
        out.extend_from_slice(
            format!("--{EDGE}\r\nContent-Disposition: form-data; {head}\r\n\r\n").as_bytes(),
        );
        out.extend_from_slice(content);
        out.extend_from_slice(b"\r\n");
    }
    out.extend_from_slice(format!("--{EDGE}--\r\n").as_bytes());
    out
}
