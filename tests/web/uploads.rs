//! Forms and photos that are wrong, or made to harm.

use std::collections::BTreeSet;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, Bytes};
use axum::http::{Method, StatusCode};
use http_body::Frame;
use tintwell::web::state::Limits;

use crate::home::{Answer, Home, ORIGIN, Part, ask, form, kind, monday};
use Part::{Photo, Text};

const CHART: Part = Text("chart", "nitrate");

async fn read(home: &Home, cookie: &str, name: &str, bytes: &[u8]) -> serde_json::Value {
    let answer = home
        .upload("/api/reading", cookie, &[CHART, Photo(name, bytes)])
        .await;
    assert_eq!(answer.status, StatusCode::OK, "{}", answer.text());
    answer.json()
}

/// A PNG whose header promises a picture of this size, and no more.
fn promised(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, 1, 1);
    encoder.set_color(png::ColorType::Grayscale);
    encoder
        .write_header()
        .unwrap()
        .write_image_data(&[0])
        .unwrap();
    // IHDR: width and height follow its name, its checksum follows both and five bytes more (PNG specification, 11.2.1).
    bytes[16..20].copy_from_slice(&width.to_be_bytes());
    bytes[20..24].copy_from_slice(&height.to_be_bytes());
    let mut sum = flate2::Crc::new();
    sum.update(&bytes[12..29]);
    bytes[29..33].copy_from_slice(&sum.sum().to_be_bytes());
    bytes
}

#[tokio::test]
async fn a_photo_that_is_none_is_told_as_unreadable() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let whole = monday();
    let heic = b"\0\0\0\x18ftypheic\0\0\0\0heicmif1";
    for (name, bytes, wanted) in [
        ("text", &b"hello"[..], ""),
        ("empty", b"", "empty"),
        ("half", &whole[..whole.len() / 2], ""),
        ("huge", &promised(200_000, 200_000), "pixels"),
        ("heic", heic, ""),
    ] {
        let json = read(&home, &cookie, name, bytes).await;
        assert_eq!(json["verdict"], "unreadable", "{json}");
        assert!(
            json["value"].is_null() && json["error"].is_string(),
            "{json}"
        );
        assert!(json["error"].as_str().unwrap().contains(wanted), "{json}");
        let fix = json["flags"][0]["fix"].as_str().unwrap();
        assert!(!fix.is_empty(), "{json}");
        if name == "heic" && !cfg!(feature = "heic") {
            assert!(fix.contains("JPEG"), "how to set the phone: {fix}");
        }
    }
}

#[tokio::test]
async fn a_name_from_outside_is_shown_and_never_a_path() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let files = || -> BTreeSet<_> {
        let around = [home.folder.path(), std::path::Path::new(".")];
        let entries = around
            .into_iter()
            .flat_map(|f| std::fs::read_dir(f).unwrap());
        entries.map(|e| e.unwrap().path()).collect()
    };
    let before = files();
    for (sent, shown) in [
        ("../../x.jpg", "../../x.jpg"),
        ("/etc/passwd", "/etc/passwd"),
        ("a\u{9b}31mb\u{85}.jpg", "a\u{fffd}31mb\u{fffd}.jpg"),
        ("", "photo"),
        (&"n".repeat(5000), &"n".repeat(100)),
    ] {
        let json = read(&home, &cookie, sent, b"no photo").await;
        assert_eq!(json["photo"], shown);
    }
    assert_eq!(files(), before, "nothing was written");
    let parts = [CHART, Photo("<img src=x onerror=alert(1)>", b"no photo")];
    let page = home.upload("/reading", &cookie, &parts).await.text();
    assert!(
        page.contains("&lt;img") && !page.contains("<img src=x"),
        "{page}"
    );
}

#[tokio::test]
async fn more_bytes_than_allowed_are_not_taken() {
    let limits = Limits {
        upload_bytes: 1 << 20,
        form_bytes: 1 << 10,
        ..Limits::default()
    };
    let home = Home::with(limits);
    let cookie = home.pair("phone").await;
    let big = vec![0; (1 << 20) + 1];
    let told = home
        .upload("/api/reading", &cookie, &[CHART, Photo("big", &big)])
        .await;
    told.refusal(413);
    // The same without a length in the head.
    let pieces = form(&[CHART, Photo("big", &big)]);
    let stream = async |path: &str| {
        let pieces: Vec<Bytes> = pieces.chunks(4096).map(Bytes::copy_from_slice).collect();
        let body = Pieces(pieces.into_iter());
        let request = ask(Method::POST, path)
            .header("origin", ORIGIN)
            .header("cookie", &cookie)
            .header("content-type", kind());
        home.send(request.body(Body::new(body)).unwrap()).await
    };
    stream("/api/reading").await.refusal(413);
    assert_eq!(
        stream("/reading").await.status,
        StatusCode::PAYLOAD_TOO_LARGE
    );
    let long = format!("name={}", "x".repeat(2000));
    let answer = home.post("/devices/drop", &cookie, &long).await;
    assert_eq!(answer.status, StatusCode::PAYLOAD_TOO_LARGE);
    // What a refused sender still sends is thrown away.
    let stranger = home
        .upload("/api/reading", "", &[CHART, Photo("big", &big)])
        .await;
    stranger.refusal(403);
}

/// A body that comes piece by piece, of a length that nobody tells.
struct Pieces(std::vec::IntoIter<Bytes>);

impl http_body::Body for Pieces {
    type Data = Bytes;
    type Error = std::io::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        _: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, std::io::Error>>> {
        Poll::Ready(self.0.next().map(|p| Ok(Frame::data(p))))
    }
}

#[tokio::test]
async fn a_form_that_makes_no_sense_is_refused_in_words() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let photo = Photo("p.jpg", b"no photo");
    let many: Vec<Part> = (0..30).map(|_| Text("note", "x")).collect();
    let long = "x".repeat(5000);
    let cases: [(&[Part], u16, &str); 17] = [
        (&[], 400, ""),
        (&[CHART], 400, "no photo"),
        (&[Photo("p.jpg", b"x")], 400, "no chart"),
        (&[Text("chart", "copper"), Photo("p", b"x")], 400, "copper"),
        (
            &[CHART, Text("chart", "nitrate"), Photo("p", b"x")],
            400,
            "twice",
        ),
        (
            &[CHART, Text("x\u{9b}y", "1"), Photo("p", b"x")],
            400,
            "no field",
        ),
        (
            &[CHART, Photo("p", b"x"), Photo("q", b"x")],
            400,
            "more photos than 1",
        ),
        (&many, 400, "twice"),
        (&[CHART, Text("note", &long), Photo("p", b"x")], 413, "4096"),
        (
            &[
                CHART,
                Text("white", "1,2,3"),
                Text("vial", "1,2,3,4"),
                Photo("p", b"x"),
            ],
            400,
            "white",
        ),
        (
            &[
                CHART,
                Text("white", "1,2,3,NaN"),
                Text("vial", "1,2,3,4"),
                Photo("p", b"x"),
            ],
            400,
            "white",
        ),
        (
            &[CHART, Text("vial", "1,2,3,4"), Photo("p", b"x")],
            400,
            "belong together",
        ),
        (
            &[CHART, Text("dilution", "much"), Photo("p", b"x")],
            400,
            "dilution",
        ),
        (
            &[CHART, Text("started", "soon"), Photo("p", b"x")],
            400,
            "started",
        ),
        (
            &[CHART, Text("log", "ocean"), Photo("p", b"x")],
            400,
            "ocean",
        ),
        (
            &[CHART, Text("note", "hm"), Photo("p", b"x")],
            400,
            "logbook",
        ),
        (
            &[
                CHART,
                Text("log", "tidepool"),
                Text("at", "soon"),
                Photo("p", b"x"),
            ],
            400,
            "soon",
        ),
    ];
    for (i, (parts, status, wanted)) in cases.iter().enumerate() {
        let answer = home.upload("/api/reading", &cookie, parts).await;
        let error = answer.refusal(*status);
        assert!(error.contains(wanted), "case {i}: {error}");
        assert!(!error.chars().any(char::is_control), "case {i}: {error:?}");
    }
    let whole = form(&[CHART, photo]);
    let send = async |kind: &str, body: Vec<u8>| -> Answer {
        let request = ask(Method::POST, "/api/reading")
            .header("origin", ORIGIN)
            .header("cookie", &cookie)
            .header("content-type", kind);
        home.send(request.body(Body::from(body)).unwrap()).await
    };
    send("application/json", b"{}".to_vec()).await.refusal(400);
    send("multipart/form-data", whole.clone())
        .await
        .refusal(400);
    send("multipart/form-data; boundary=other", whole.clone())
        .await
        .refusal(400);
    send(&kind(), whole[..whole.len() - 20].to_vec())
        .await
        .refusal(400);
    // Control characters of ASCII have no place in the head of a part (RFC 9110, 5.5).
    let bell = home.upload("/api/reading", &cookie, &[CHART, Photo("a\u{7}.jpg", b"x")]);
    bell.await.refusal(400);
    let not_text = String::from_utf8_lossy(&whole).replace("nitrate", "\u{1}");
    let not_text = not_text
        .into_bytes()
        .iter()
        .map(|b| if *b == 1 { 0xff } else { *b })
        .collect();
    assert!(send(&kind(), not_text).await.refusal(400).contains("UTF-8"));
}

/// One photo's place in memory, held by a form that does not come to its end.
#[tokio::test]
async fn when_all_places_are_taken_one_is_asked_to_come_again() {
    let limits = Limits {
        readings: 1,
        waiting: 0,
        idle_time: Duration::from_millis(400),
        ..Limits::default()
    };
    let home = Home::with(limits);
    let cookie = home.pair("phone").await;
    let request = ask(Method::POST, "/api/reading")
        .header("origin", ORIGIN)
        .header("cookie", &cookie)
        .header("content-type", kind());
    let stalled = home.send(request.body(Body::new(Never)).unwrap());
    let second = async {
        tokio::task::yield_now().await;
        home.upload("/api/reading", &cookie, &[CHART, Photo("p", b"no photo")])
            .await
    };
    let (stalled, second) = tokio::join!(stalled, second);
    second.refusal(503);
    assert_eq!(second.header("retry-after"), "5");
    stalled.refusal(400);
    // Its place is free again.
    read(&home, &cookie, "p", b"no photo").await;
}

/// A body of which nothing ever comes.
struct Never;

impl http_body::Body for Never {
    type Data = Bytes;
    type Error = std::io::Error;

    fn poll_frame(
        self: Pin<&mut Self>,
        _: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, std::io::Error>>> {
        Poll::Pending
    }
}
