//! The endpoint: the command's own object, and nothing that its description does not tell.

use std::collections::BTreeSet;
use std::fs;

use axum::body::Body;
use axum::http::{Method, StatusCode};
use jsonschema::Validator;
use serde_json::{Value, json};
use tintwell::logbook::Amount;
use tintwell::web::devices::{Devices, Kind};

use crate::home::{Answer, Home, Part, ask, file, form, kind, monday};
use Part::{Photo, Text};

const CHART: Part = Text("chart", "alder-creek-nitrate");

fn description() -> Value {
    let text = fs::read_to_string(file("src/web/openapi.json")).unwrap();
    serde_json::from_str(&text).unwrap()
}

/// Checks values against a schema of the description.
fn schema(name: &str) -> Validator {
    let mut all = description();
    all["$ref"] = json!(format!("#/components/schemas/{name}"));
    jsonschema::draft202012::new(&all).unwrap()
}

#[track_caller]
fn fits(schema: &Validator, value: &Value) {
    let wrong: Vec<String> = schema
        .iter_errors(value)
        .map(|e| format!("{}: {e}", e.instance_path()))
        .collect();
    assert!(wrong.is_empty(), "{wrong:?} in {value}");
}

/// What the command says of the same photo.
fn command(more: &[&str]) -> Value {
    let output = assert_cmd::Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .current_dir(file("fixtures/alder-creek/week"))
        .args(["read", "--json", "--chart"])
        .arg(file("calibration/alder-creek-nitrate.json"))
        .args(more)
        .arg("1-mon.jpg")
        .output()
        .unwrap();
    serde_json::from_slice(&output.stdout).unwrap()
}

async fn read(home: &Home, cookie: &str, parts: &[Part<'_>]) -> Value {
    let answer = home.upload("/api/reading", cookie, parts).await;
    assert_eq!(answer.status, StatusCode::OK, "{}", answer.text());
    assert_eq!(answer.header("content-type"), "application/json");
    answer.json()
}

#[tokio::test]
async fn the_object_is_that_of_the_command() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let schema = schema("Reading");
    let photo = monday();
    for more in [
        &[][..],
        &["--dilution", "1:1", "--started", "09:00"],
        &["--white", "10,10,60,60", "--vial", "200,200,40,40"],
    ] {
        let mut parts = vec![CHART, Photo("1-mon.jpg", &photo)];
        for option in more.chunks(2) {
            parts.push(Text(option[0].trim_start_matches("--"), option[1]));
        }
        let json = read(&home, &cookie, &parts).await;
        assert_eq!(json, command(more));
        fits(&schema, &json);
    }
    let unreadable = read(&home, &cookie, &[CHART, Photo("x", b"no photo")]).await;
    assert_eq!(unreadable["verdict"], "unreadable");
    fits(&schema, &unreadable);
}

#[tokio::test]
async fn a_program_needs_no_browser() {
    let home = Home::new();
    let devices = Devices::beside(&home.folder.path().join("book.sqlite"));
    let token = devices.add("script", Kind::Token, home.app.now()).unwrap();
    let body = form(&[Text("chart", "nitrate"), Photo("x", b"no photo")]);
    let request = ask(Method::POST, "/api/reading")
        .header("authorization", format!("bearer {token}"))
        .header("content-type", kind());
    let answer = home.send(request.body(Body::from(body)).unwrap()).await;
    assert_eq!(answer.status, StatusCode::OK, "{}", answer.text());
    assert_eq!(answer.json()["test"], "nitrate");
}

#[tokio::test]
async fn a_reading_is_logged_once() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let photo = monday();
    let parts = [
        CHART,
        Text("log", "tidepool"),
        Text("note", " before feeding "),
        Photo("1-mon.jpg", &photo),
    ];
    let first = read(&home, &cookie, &parts).await;
    let schema = schema("Reading");
    fits(&schema, &first);
    let entry = first["logged"]["entry"].as_str().unwrap();
    assert_eq!(first["logged"]["new"], true);
    let second = read(&home, &cookie, &parts).await;
    assert_eq!(
        second["logged"],
        json!({"entry": entry, "new": false, "error": null, "fix": null})
    );
    let readings = home.logbook().whole_readings("tidepool").unwrap();
    let [(logged, reading)] = &readings[..] else {
        panic!("one reading")
    };
    assert_eq!(logged.to_string(), entry);
    assert_eq!(reading.note, "before feeding");
    assert_eq!(reading.at.to_string(), first["taken_at"]);
    let Amount::Value { value, .. } = reading.answer else {
        panic!("{:?}", reading.answer)
    };
    assert!((value - first["value"].as_f64().unwrap()).abs() < 1e-3);
    assert!(home.logbook().picture(*logged).unwrap().is_some());
}

#[tokio::test]
async fn what_cannot_be_relied_on_is_not_logged() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let json = read(
        &home,
        &cookie,
        &[CHART, Text("log", "tidepool"), Photo("x", b"no photo")],
    )
    .await;
    assert!(
        json["logged"]["entry"].is_null() && json["logged"]["error"].is_string(),
        "{json}"
    );
    fits(&schema("Reading"), &json);
    // Without its metadata the photo does not tell its time.
    let bare = without_metadata(&monday());
    let parts = [CHART, Text("log", "tidepool"), Photo("x.jpg", &bare)];
    let timeless = read(&home, &cookie, &parts).await;
    assert!(
        timeless["value"].is_f64() && timeless["taken_at"].is_null(),
        "{timeless}"
    );
    assert!(
        timeless["logged"]["fix"].as_str().unwrap().contains("(at)"),
        "{timeless}"
    );
    fits(&schema("Reading"), &timeless);
    assert!(
        home.logbook()
            .readings("tidepool", None)
            .unwrap()
            .is_empty()
    );
    let [chart, log, photo] = parts;
    let told = [chart, log, Text("at", "2026-03-01T09:05:00+01:00"), photo];
    let json = read(&home, &cookie, &told).await;
    assert_eq!(json["logged"]["new"], true, "{json}");
    let readings = home.logbook().readings("tidepool", None).unwrap();
    assert_eq!(readings[0].1.at.to_string(), "2026-03-01T09:05:00+01:00");
}

/// A JPEG without its APP1 segments (EXIF 2.32, 4.5.4).
fn without_metadata(jpeg: &[u8]) -> Vec<u8> {
    let mut out = jpeg[..2].to_vec();
    let mut rest = &jpeg[2..];
    while rest[0] == 0xff && (0xe0..=0xef).contains(&rest[1]) {
        let length = 2 + usize::from(u16::from_be_bytes([rest[2], rest[3]]));
        if rest[1] != 0xe1 {
            out.extend_from_slice(&rest[..length]);
        }
        rest = &rest[length..];
    }
    out.extend_from_slice(rest);
    out
}

/// The description and the code name the same routes and methods.
#[tokio::test]
async fn every_route_is_described() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let description = description();
    assert_eq!(
        home.get("/api/openapi.json", &cookie).await.json(),
        description
    );
    let paths = description["paths"].as_object().unwrap();
    let described: BTreeSet<&str> = paths.keys().map(String::as_str).collect();
    let code = fs::read_to_string(file("src/web/api.rs")).unwrap();
    let routed: BTreeSet<&str> = code
        .split(".route(\"")
        .skip(1)
        .filter_map(|r| r.split('"').next())
        .collect();
    assert_eq!(described, routed);
    for (path, methods) in paths {
        for method in [
            Method::GET,
            Method::POST,
            Method::PUT,
            Method::PATCH,
            Method::DELETE,
        ] {
            let request = ask(method.clone(), path)
                .header("origin", crate::home::ORIGIN)
                .header("cookie", &cookie);
            let answer = home.send(request.body(Body::empty()).unwrap()).await;
            let known = methods.get(method.as_str().to_lowercase()).is_some();
            assert_eq!(answer.status != 405, known, "{method} {path}");
            assert_ne!(answer.status, StatusCode::NOT_FOUND);
        }
    }
}

/// Refusals come with a status that is described, and in the form that is.
#[tokio::test]
async fn refusals_are_as_described() {
    let home = Home::new();
    let cookie = home.pair("phone").await;
    let description = description();
    let responses = description["paths"]["/api/reading"]["post"]["responses"]
        .as_object()
        .unwrap();
    let schema = schema("Refusal");
    let check = |answer: &Answer, status: u16| {
        answer.refusal(status);
        assert!(responses.contains_key(&status.to_string()), "{status}");
        fits(&schema, &answer.json());
    };
    check(&home.upload("/api/reading", &cookie, &[]).await, 400);
    check(&home.upload("/api/reading", "", &[]).await, 403);
    let long = "x".repeat(5000);
    check(
        &home
            .upload("/api/reading", &cookie, &[Text("note", &long)])
            .await,
        413,
    );
    fs::remove_file(home.folder.path().join("book.sqlite")).unwrap();
    let parts = [CHART, Text("log", "tidepool"), Photo("x", b"x")];
    check(&home.upload("/api/reading", &cookie, &parts).await, 500);
    home.get("/api/nowhere", &cookie).await.refusal(404);
    // The endpoint says itself which fields it takes.
    let strange = home
        .upload("/api/reading", &cookie, &[Text("colour", "1")])
        .await;
    let fix = strange.json()["fix"].as_str().unwrap().to_owned();
    let fields = description["components"]["schemas"]["Ask"]["properties"]
        .as_object()
        .unwrap();
    let told: BTreeSet<&str> = fix
        .strip_prefix("fields are ")
        .unwrap()
        .split(|c: char| !c.is_ascii_lowercase())
        .filter(|w| !w.is_empty() && *w != "and")
        .collect();
    let described: BTreeSet<&str> = fields.keys().map(String::as_str).collect();
    assert_eq!(told, described);
}
