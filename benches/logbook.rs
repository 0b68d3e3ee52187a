//! The trend of one test in one water, from a logbook of a million readings, beside a plain indexed query of the same readings in
//! the same run.
//!
//! `cargo bench --bench logbook`. Machines are shared and noisy: medians over interleaved rounds, and ratios to the query.

use std::hint::black_box;
use std::process::{Command, Stdio};
use std::time::Instant;

use jiff::{SignedDuration, ZonedDateTime};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use tintwell::course::{Course, Wanted};
use tintwell::flag::Verdict;
use tintwell::logbook::exchange::Whole;
use tintwell::logbook::{Access, Amount, Logbook, Moment, Reading, Source, Water};

const WATERS: usize = 200;
const TESTS: usize = 5;
/// Weekly ones of nineteen years.
const READINGS: usize = 1000;
const ROUNDS: usize = 41;

fn water(i: usize) -> String {
    format!("tank {i}")
}

fn test(i: usize) -> String {
    format!("test {i}")
}

fn readings(random: &mut ChaCha8Rng) -> Vec<Reading> {
    let first: ZonedDateTime = "2006-01-02T09:00[-08:00]".parse().expect("a time");
    let mut all = Vec::with_capacity(WATERS * TESTS * READINGS);
    // Week by week, as they come: the readings of one test lie scattered over the file.
    for week in 0..READINGS {
        for (w, t) in (0..WATERS).flat_map(|w| (0..TESTS).map(move |t| (w, t))) {
            let value: f64 = 20.0 + 0.02 * week as f64 + random.random_range(-3.0..3.0);
            let hours = 168 * week as i64 + random.random_range(0..24);
            all.push(Reading {
                water: water(w),
                test: test(t),
                unit: "mg/L".into(),
                at: Moment::from(&(first.clone() + SignedDuration::from_hours(hours))),
                answer: Amount::Value {
                    value,
                    low: value - 3.0,
                    high: value + 3.0,
                },
                source: Source::Other,
                verdict: Verdict::Trusted,
                photo: None,
                sha256: None,
                chart_sha256: None,
                dilution_factor: None,
                note: String::new(),
                record: None,
                picture: None,
            });
        }
    }
    all
}

fn median(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

fn main() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let path = folder.path().join("book.sqlite");
    let mut book = Logbook::open(&path, "book", Access::Create).expect("a new logbook");
    let waters = (0..WATERS)
        .map(|i| Water {
            name: water(i),
            volume_l: None,
            medium: None,
            lives: String::new(),
            invertebrates: false,
        })
        .collect();
    let mut random = ChaCha8Rng::seed_from_u64(1);
    Whole::new(waters, readings(&mut random), Vec::new())
        .import(&mut book, &"2026-06-01T12:00:00Z".parse().expect("a time"))
        .expect("all are new");
    let plain = rusqlite::Connection::open(&path).expect("the same file");
    let id: i64 = plain
        .query_row("SELECT id FROM water WHERE name = ?1", [water(7)], |r| {
            r.get(0)
        })
        .expect("a water");
    let mut query = plain
        .prepare("SELECT seconds, value, low, high FROM reading WHERE water = ?1 AND test = ?2 AND removed IS NULL ORDER BY seconds")
        .expect("a query");
    let mut queried = || {
        let rows = query
            .query_map((id, test(3)), |r| {
                Ok((
                    r.get::<_, i64>(0)?,
                    r.get::<_, f64>(1)?,
                    r.get::<_, f64>(2)?,
                    r.get::<_, f64>(3)?,
                ))
            })
            .expect("rows");
        let rows: Vec<_> = rows.map(|r| r.expect("a row")).collect();
        assert_eq!(rows.len(), READINGS);
        black_box(rows);
    };
    let mut trended = || {
        let course = Course::of(&book, &water(7), &test(3), &Wanted::default()).expect("a course");
        assert!(course.line.is_ok());
        black_box(course);
    };
    let mut run = || {
        let status = Command::new(env!("CARGO_BIN_EXE_tintwell"))
            .args(["trend", &water(7), &test(3), "--json", "--logbook"])
            .arg(&path)
            .stdout(Stdio::null())
            .status()
            .expect("the program runs");
        assert!(status.success());
    };
    let mut stages: [(&str, &mut dyn FnMut()); 3] = [
        ("plain indexed query", &mut queried),
        ("the trend in the library", &mut trended),
        ("the whole command", &mut run),
    ];
    let mut times = vec![Vec::new(); stages.len()];
    for _ in 0..ROUNDS {
        for ((_, work), times) in stages.iter_mut().zip(&mut times) {
            let start = Instant::now();
            work();
            times.push(start.elapsed().as_secs_f64());
        }
    }
    let medians: Vec<f64> = times.into_iter().map(median).collect();
    println!(
        "{} readings, {READINGS} of them of the test",
        WATERS * TESTS * READINGS
    );
    for ((name, _), m) in stages.iter().zip(&medians) {
        println!(
            "{name:<26} {:8.2} ms  {:7.1} queries",
            1000.0 * m,
            m / medians[0]
        );
    }
}
