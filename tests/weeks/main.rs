//! Did it work? Twelve invented weeks whose truth is known, from the logbook to the answer; and the shipped file of them.
//!
//! Synthetic-known: what the story put in must lie in the intervals as often as they say.

#[path = "story.rs"]
mod story;

use std::fs;
use std::path::Path;
use std::process::Command;

use jiff::tz::TimeZone;
use story::{LINES, Line};
use tempfile::TempDir;
use tintwell::course::{Course, Wanted};
use tintwell::flag::Verdict;
use tintwell::logbook::exchange::Whole;
use tintwell::logbook::{Access, Amount, Logbook, Moment, Reading, Source};
use tintwell::trend::Effect;

const SEEDS: std::ops::Range<u64> = 1000..1200;

/// After all of it.
fn now() -> Moment {
    "2026-06-01T12:00:00Z".parse().unwrap()
}

/// A logbook of the twelve weeks of a seed.
fn logbook(dir: &TempDir, seed: u64) -> Logbook {
    let path = dir.path().join(format!("{seed}.sqlite"));
    let mut book = Logbook::open(&path, "weeks", Access::Create).unwrap();
    Whole::new(story::waters(), story::readings(seed), story::events())
        .import(&mut book, &now())
        .unwrap();
    book
}

fn course(book: &Logbook, line: &Line) -> Course {
    Course::of(book, line.water, line.test, &Wanted::default()).unwrap()
}

/// Of 200 intervals at 95 % that are right, fewer than 180 or all but none miss with a probability under 0.001 (binomial).
const LEAST: usize = 179;

#[test]
fn the_truth_lies_in_the_intervals_as_often_as_they_say() {
    let dir = TempDir::new().unwrap();
    let books: Vec<Logbook> = SEEDS.map(|seed| logbook(&dir, seed)).collect();
    for line in &LINES {
        let mut inside = [0; 2];
        let mut told = 0;
        for book in &books {
            let course = course(book, line);
            let around = course.around.as_ref().expect("an event");
            let split = around.split.as_ref().expect("a comparison");
            let change = split.slope_change.expect("two lines");
            let holds = |e: &Effect, truth: f64| e.low <= truth && truth <= e.high;
            inside[0] += usize::from(holds(&split.step, line.step));
            inside[1] += usize::from(holds(&change, line.after - line.before));
            told += usize::from(around.is_settled());
        }
        println!(
            "{} in {}: step {} and slope {} of 200 inside, {told} settled",
            line.test, line.water, inside[0], inside[1]
        );
        assert!(
            inside.iter().all(|n| *n >= LEAST),
            "{} in {}: {inside:?}",
            line.test,
            line.water
        );
        if line.after == line.before && line.step == 0.0 {
            // Two questions at 5 % each.
            assert!(told <= 36, "nothing changed, and it was seen {told} times");
        } else if line.test == "nitrate" {
            assert!(
                told >= 180,
                "the filter worked, and it was seen {told} times"
            );
        }
    }
}

/// Seed of the shipped weeks: the first there is, not one looked for.
const SHIPPED: u64 = 1;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// What a chart errs by it errs by in all of its readings: many of them do not settle the level, and their slope is the surer.
/// JCGM 100:2008, 5.2: what is fully correlated adds in full, whatever the number of readings.
#[test]
fn what_readings_have_in_common_does_not_average_out() {
    let dir = TempDir::new().unwrap();
    let half = 4.0;
    let level = |name: &str, share: Option<f64>| {
        let path = dir.path().join(format!("{name}.sqlite"));
        let mut book = Logbook::open(&path, name, Access::Create).unwrap();
        book.add_water(&story::waters()[0]).unwrap();
        for day in 0..150u32 {
            let value = 21.8 + 0.3 * f64::from(day * 7919 % 11) - 1.5;
            let record = share.map(|share| {
                serde_json::json!({ "budget": [
                    { "reason": "standards of the chart", "share": share },
                    { "reason": "sampling of the liquid", "share": 1.0 - share },
                ] })
            });
            let at = Moment::parse("2026-01-01T09:00", &TimeZone::UTC).unwrap();
            let at = at.seconds() + i64::from(day) * 86_400;
            let reading = Reading {
                water: story::waters()[0].name.clone(),
                test: "nitrate".into(),
                unit: "mg/L".into(),
                at: jiff::Timestamp::from_second(at)
                    .unwrap()
                    .to_string()
                    .parse()
                    .unwrap(),
                answer: Amount::Value {
                    value,
                    low: value - half,
                    high: value + half,
                },
                source: Source::Photo,
                verdict: Verdict::Trusted,
                photo: Some(format!("{day}.jpg")),
                sha256: Some(format!("{day}")),
                chart_sha256: Some("c".into()),
                dilution_factor: None,
                note: String::new(),
                record,
                picture: None,
            };
            book.add_reading(&reading).unwrap();
        }
        let water = &story::waters()[0].name;
        let course = Course::of(&book, water, "nitrate", &Wanted::default()).unwrap();
        let line = course.line.unwrap();
        let at = line.at(line.centre);
        ((at.high - at.low) / 2.0, line.slope_interval)
    };
    let (alone, slope) = level("alone", None);
    assert!(alone < 0.1 * half, "{alone}");
    for share in [0.25, 1.0] {
        let (common, same) = level(&format!("common-{share}"), Some(share));
        let least = half * f64::sqrt(share);
        assert!((least..1.1 * least).contains(&common), "{share}: {common}");
        assert_eq!(same, slope);
    }
}

/// `WEEKS=write cargo test --release --test weeks` writes the shipped file anew.
#[test]
fn the_shipped_weeks_are_those_of_the_story() {
    let path = root().join("fixtures/alder-creek/twelve-weeks.csv");
    let dir = TempDir::new().unwrap();
    let made = Whole::of(&logbook(&dir, SHIPPED)).unwrap().csv().unwrap();
    if std::env::var("WEEKS").is_ok_and(|v| v == "write") {
        fs::write(&path, &made).unwrap();
    }
    assert_eq!(fs::read_to_string(&path).unwrap(), made);
}

fn run(dir: &Path, args: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .args(args)
        .args(["--logbook", "weeks.sqlite"])
        .current_dir(dir)
        .env("TZ", "America/Los_Angeles")
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    assert!(output.status.success(), "{args:?}: {}", text(output.stderr));
    text(output.stdout)
}

/// A folder with `weeks.sqlite`, made from the shipped weeks as the README tells.
fn demo() -> TempDir {
    let dir = TempDir::new().unwrap();
    let weeks = root().join("fixtures/alder-creek/twelve-weeks.csv");
    run(dir.path(), &["log", "import", weeks.to_str().unwrap()]);
    run(
        dir.path(),
        &[
            "log",
            "limits",
            "quarantine tank",
            "nitrate",
            "mg/L",
            "--high",
            "45",
        ],
    );
    run(
        dir.path(),
        &[
            "log", "limits", "tidepool", "nitrate", "mg/L", "--high", "30",
        ],
    );
    dir
}

/// What it says of the shipped weeks (regression).
#[test]
fn the_shipped_weeks_in_words() {
    let dir = demo();
    let all: String = LINES
        .iter()
        .map(|line| run(dir.path(), &["trend", line.water, line.test]) + "----\n")
        .collect();
    // Today is another day.
    let ages = vec![
        (r"is \d+ days old", "is N days old"),
        (r"read \d+ days ago", "read N days ago"),
    ];
    insta::with_settings!({filters => ages}, {
        insta::assert_snapshot!(all);
    });
}

#[test]
fn plots_are_written_in_each_form() {
    let dir = demo();
    let trend = |out: &str| {
        run(
            dir.path(),
            &["trend", "quarantine tank", "nitrate", "--out", out],
        );
        fs::read(dir.path().join(out)).unwrap()
    };
    let svg = String::from_utf8(trend("a.svg")).unwrap();
    assert!(svg.starts_with("<svg") && svg.contains("<title>nitrate in quarantine tank</title>"));
    assert!(trend("a.png").starts_with(b"\x89PNG"));
    let html = String::from_utf8(trend("a.html")).unwrap();
    assert!(html.contains(&svg), "the page holds the same plot");
}

/// A page without a reading or an event would look like a water of which nothing is known.
#[test]
fn no_page_is_written_about_nothing() {
    let dir = demo();
    let output = Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .args([
            "report",
            "tidepool",
            "--since",
            "2027-01-01",
            "--out",
            "a.html",
        ])
        .args(["--logbook", "weeks.sqlite"])
        .current_dir(dir.path())
        .output()
        .unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(4), "{said}");
    assert!(
        said.contains("tidepool: nothing is logged from 2027-01-01"),
        "{said}"
    );
    assert!(!dir.path().join("a.html").exists());
}

/// No two units of one test that we know of differ by case alone: `mg/l` is `mg/L`.
#[test]
fn a_unit_is_known_however_its_letters_are_set() {
    let dir = demo();
    let trend = |unit: &str| {
        let words = ["trend", "Quarantine Tank", "Nitrate", "--unit", unit];
        run(dir.path(), &words)
    };
    assert!(trend("mg/L").contains("mg/L"));
    assert_eq!(trend("mg/l"), trend("mg/L"));
}

/// The page needs nothing else, says all readings in words, and its pictures too.
#[test]
fn the_page_about_a_water_stands_by_itself() {
    let dir = demo();
    let week = root().join("fixtures/alder-creek/week");
    let chart = root().join("calibration/alder-creek-nitrate.json");
    Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .args([
            "batch",
            week.to_str().unwrap(),
            "--chart",
            chart.to_str().unwrap(),
        ])
        .args(["--log", "tidepool", "--logbook", "weeks.sqlite"])
        .current_dir(dir.path())
        .output()
        .unwrap();
    run(dir.path(), &["report", "tidepool", "--out", "page.html"]);
    let page = fs::read_to_string(dir.path().join("page.html")).unwrap();
    for forbidden in ["<script", "src=\"http", "href=", "url(", "@import"] {
        assert!(!page.contains(forbidden), "{forbidden}");
    }
    let (pictures, alternatives) = (
        page.matches("<img").count(),
        page.matches(" alt=\"Photo of").count(),
    );
    assert_eq!((pictures, alternatives), (6, 6));
    let rows = page.matches("<th scope=\"row\">").count();
    assert_eq!(rows, 12 + 6 + 1, "twelve weeks, six photos, one event");
    assert!(
        page.contains("15.6 mg/L (11.4 to 21.1)"),
        "the last reading"
    );
    assert!(
        page.contains("the interval spans 2.6 steps of the chart"),
        "a finding of the photo in other light"
    );
    assert!(page.contains("gloves and eye protection"));
    assert!(page.contains("<html lang=\"en\">"));
}

/// A logbook of a few readings (day, value, half of the interval, whether by eye) and an event on a day.
fn told(rows: &[(f64, f64, f64, bool)], event: f64, limit: f64) -> String {
    let dir = TempDir::new().unwrap();
    let mut csv = "kind,water,at,test,unit,value,low,high,source\n".to_owned();
    let at = |day: f64| {
        let first: jiff::Timestamp = "2026-01-01T17:00:00Z".parse().unwrap();
        first + jiff::SignedDuration::from_secs((day * 86_400.0) as i64)
    };
    for (day, value, half, by_eye) in rows {
        let source = if *by_eye { "eye" } else { "photo" };
        let (low, high) = (value - half, value + half);
        csv += &format!(
            "reading,tank,{},nitrate,mg/L,{value},{low},{high},{source}\n",
            at(*day)
        );
    }
    csv += &format!("media-in,tank,{},,,,,,\n", at(event));
    fs::write(dir.path().join("few.csv"), csv).unwrap();
    run(dir.path(), &["log", "import", "few.csv"]);
    let limit = limit.to_string();
    run(
        dir.path(),
        &["log", "limits", "tank", "nitrate", "mg/L", "--high", &limit],
    );
    run(dir.path(), &["trend", "tank", "nitrate"])
}

/// A rise that was there all along is no jump, however few the readings, and its limit is still told.
#[test]
fn a_steady_rise_is_not_told_as_a_jump() {
    let rows =
        [(0.0, 10.0), (1.0, 10.5), (28.0, 24.0), (29.0, 24.5)].map(|(d, v)| (d, v, 1.0, false));
    let told = told(&rows, 2.0, 30.0);
    assert!(told.starts_with("nitrate in tank: rising, +3.50"), "{told}");
    assert!(told.contains("so it is not settled"), "{told}");
    assert!(
        told.contains("the limit of 30 mg/L is reached between"),
        "{told}"
    );
}

/// What was told by eye after the event and read from photos before it is no effect of the event.
#[test]
fn another_way_of_reading_is_not_told_as_an_effect() {
    let mut rows: Vec<_> = [(0.0, 10.0), (7.0, 10.2), (14.0, 10.1)]
        .map(|(d, v)| (d, v, 1.0, false))
        .into();
    rows.extend([22.0, 29.0, 36.0].map(|d| (d, 5.0, 3.0, true)));
    let told = told(&rows, 15.0, 30.0);
    assert!(
        told.contains("so it is not settled: no reading after it was made in the same way"),
        "{told}"
    );
    assert!(!told.contains("probability"), "{told}");
}

/// A level beside its limit is told by its interval, not by its middle.
#[test]
fn a_limit_within_the_interval_is_neither_passed_nor_kept() {
    let level = |values: [f64; 5]| {
        let rows: Vec<_> = values
            .iter()
            .enumerate()
            .map(|(i, v)| (7.0 * i as f64, *v, 3.0, false))
            .collect();
        told(&rows, 100.0, 30.0)
    };
    let near = level([29.0, 30.0, 29.0, 29.6, 28.9]);
    assert!(
        near.contains("The level may be over the limit of 30 mg/L"),
        "{near}"
    );
    assert!(!near.contains("not reached"), "{near}");
    let over = level([60.0, 57.0, 54.1, 51.0, 48.2]);
    assert!(
        over.contains("The level is over the limit of 30 mg/L"),
        "{over}"
    );
    assert!(over.contains("it is back within it between"), "{over}");
    let far = level([3.0, 3.1, 3.0, 3.2, 2.9]);
    assert!(
        far.contains("the limit of 30 mg/L is not reached before"),
        "{far}"
    );
}
