//! `tintwell plan`: published and hand-worked numbers through the command line, what it says, and what it refuses.
//!
//! Snapshots are regression: what the program said when somebody last looked. Water and readings are invented.

#[path = "plan/logged.rs"]
mod logged;
#[path = "plan/mistakes.rs"]
mod mistakes;
#[path = "plan/production.rs"]
mod production;
#[path = "plan/published.rs"]
mod published;
#[path = "plan/together.rs"]
mod together;
#[path = "plan/words.rs"]
mod words;

use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;
use tempfile::TempDir;
use tintwell::flag::Verdict;
use tintwell::logbook::{Access, Amount, Event, Kind, Logbook, Moment, Reading, Source, Water};

/// What came of a command.
struct Ran {
    code: i32,
    out: String,
    err: String,
}

/// Runs `tintwell plan` with words separated by spaces; the logbook's usual place is in `dir`.
fn plan_in(dir: &Path, line: &str) -> Ran {
    let output = Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .arg("plan")
        .args(line.split_whitespace())
        .current_dir(dir)
        .env("XDG_DATA_HOME", dir)
        .env("HOME", dir)
        .env("TERM", "dumb")
        .env("TZ", "UTC")
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    Ran {
        code: output.status.code().unwrap(),
        out: text(output.stdout),
        err: text(output.stderr),
    }
}

fn plan(line: &str) -> Ran {
    plan_in(&std::env::temp_dir(), line)
}

/// The one JSON object of a plan.
fn json_in(dir: &Path, line: &str) -> Value {
    let ran = plan_in(dir, &format!("{line} --json"));
    assert_eq!(ran.code, 0, "{line}: {}", ran.err);
    assert_eq!(ran.out.lines().count(), 1, "{}", ran.out);
    serde_json::from_str(&ran.out).unwrap()
}

fn json(line: &str) -> Value {
    json_in(&std::env::temp_dir(), line)
}

fn number(v: &Value) -> f64 {
    v.as_f64().unwrap_or_else(|| panic!("{v} is no number"))
}

/// Six digits are what JSON tells.
fn near(found: &Value, expected: f64, what: &str) {
    let found = number(found);
    assert!(
        (found - expected).abs() <= 1e-5 * expected.abs().max(1e-9),
        "{what}: {found}, expected {expected}"
    );
}

/// A logbook in its usual place in a new folder, with one water of 400 L.
fn logbook() -> (TempDir, Logbook) {
    let dir = TempDir::new().unwrap();
    let folder = dir.path().join("tintwell");
    std::fs::create_dir(&folder).unwrap();
    let mut logbook =
        Logbook::open(&folder.join("logbook.sqlite"), "logbook", Access::Create).unwrap();
    logbook
        .add_water(&Water {
            name: "tidepool".into(),
            volume_l: Some(400.0),
            medium: None,
            lives: String::new(),
            invertebrates: false,
        })
        .unwrap();
    (dir, logbook)
}

/// Noon of a day in March 2026 (UTC), hours later.
fn at(day: f64) -> Moment {
    let start: jiff::Timestamp = "2026-03-01T12:00:00Z".parse().unwrap();
    let then = start + jiff::SignedDuration::from_secs((day * 86_400.0).round() as i64);
    then.to_string().parse().unwrap()
}

fn reading(day: f64, answer: Amount, verdict: Verdict) -> Reading {
    Reading {
        water: "tidepool".into(),
        test: "nitrate".into(),
        unit: "mg/L".into(),
        at: at(day),
        answer,
        source: Source::Other,
        verdict,
        photo: None,
        sha256: None,
        chart_sha256: None,
        dilution_factor: None,
        note: String::new(),
        record: None,
        picture: None,
    }
}

fn value(value: f64, half: f64) -> Amount {
    Amount::Value {
        value,
        low: value - half,
        high: value + half,
    }
}

fn water_change(day: f64, percent: Option<f64>) -> Event {
    Event {
        water: "tidepool".into(),
        kind: Kind::WaterChange,
        at: at(day),
        percent,
        amount: None,
        unit: None,
        substance: None,
        medicine: false,
        equipment: None,
        note: String::new(),
    }
}

/// Five weeks of readings, a change of 25 % after each but the last one, then a doubtful reading; and one of phosphate.
fn weeks() -> TempDir {
    let (dir, mut logbook) = logbook();
    for (week, level) in [(0, 30.0), (1, 28.6), (2, 27.1), (3, 26.6), (4, 26.0)] {
        let day = 7.0 * f64::from(week);
        logbook
            .add_reading(&reading(day, value(level, 2.0), Verdict::Trusted))
            .unwrap();
        if week < 4 {
            logbook.add_event(&water_change(day, Some(25.0))).unwrap();
        }
    }
    logbook
        .add_reading(&reading(30.0, value(50.0, 9.0), Verdict::Doubtful))
        .unwrap();
    logbook
        .add_reading(&Reading {
            test: "phosphate".into(),
            ..reading(28.0, value(0.2, 0.05), Verdict::Trusted)
        })
        .unwrap();
    dir
}
