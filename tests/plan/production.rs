//! Production from readings and water changes, against tanks whose production is known.

use approx::assert_relative_eq;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use tintwell::error::Result;
use tintwell::trend::slope;
use tintwell::trend::{Point, Seen};
use tintwell::water::Estimate;
use tintwell::water::production::{Change, Production, production};

use super::*;

/// A made-up tank, lived through minute by minute: level on each of the days asked for. A change happens at the end of its
/// minute, after the reading.
fn tank(start: f64, per_week: f64, source: f64, changes: &[Change], days: &[f64]) -> Vec<f64> {
    const MINUTES: f64 = 1440.0;
    let minute = |day: f64| (day * MINUTES).round() as u64;
    let mut level = start;
    let mut levels = vec![f64::NAN; days.len()];
    let last = days.iter().map(|d| minute(*d)).max().unwrap();
    for now in 0..=last {
        for (i, day) in days.iter().enumerate() {
            if minute(*day) == now {
                levels[i] = level;
            }
        }
        for change in changes.iter().filter(|c| minute(c.day) == now) {
            level += change.share * (source - level);
        }
        level += per_week / 7.0 / MINUTES;
    }
    levels
}

fn points(days: &[f64], levels: &[f64], u: f64) -> Vec<Point> {
    days.iter()
        .zip(levels)
        .map(|(day, value)| Point {
            day: *day,
            seen: Seen::Value { value: *value, u },
            weight: 1.0,
        })
        .collect()
}

fn change(day: f64, share: f64) -> Change {
    Change { day, share }
}

/// Irregular tests and changes, over eight weeks.
const DAYS: [f64; 12] = [
    0.0, 3.5, 9.0, 13.0, 17.2, 20.0, 28.0, 31.5, 38.0, 44.0, 50.3, 56.0,
];

fn changes() -> Vec<Change> {
    [
        (7.0, 0.25),
        (13.0, 0.3),
        (20.5, 0.25),
        (28.0, 0.5),
        (42.0, 0.2),
    ]
    .map(|(d, s)| change(d, s))
    .to_vec()
}

const PER_WEEK: f64 = 6.0;
const SOURCE: f64 = 2.0;

fn levels() -> Vec<f64> {
    tank(40.0, PER_WEEK, SOURCE, &changes(), &DAYS)
}

/// By hand: 20, a day makes 1; 27 on day 7, of which half is changed for water with none: 13.5, and 20.5 a week later. The
/// line through the three readings says 0.25 a week.
#[test]
fn what_a_change_took_out_is_put_back() {
    let points = points(&[0.0, 7.0, 14.0], &[20.0, 27.0, 20.5], 0.5);
    let p = production(&points, &[change(7.0, 0.5)], Estimate::exact(0.0)).unwrap();
    assert_relative_eq!(p.per_week, 7.0, epsilon = 1e-6);
    assert_eq!(p.changes, 1);
    let line = slope::fit(&points).unwrap();
    assert_relative_eq!(line.slope_per_week, 0.25, epsilon = 1e-6);
}

#[test]
fn a_tank_lived_through_gives_its_production_back() {
    let p = production(
        &points(&DAYS, &levels(), 1.0),
        &changes(),
        Estimate::exact(SOURCE),
    )
    .unwrap();
    assert!((p.per_week - PER_WEEK).abs() < 2e-3, "{p:?}");
    assert!(p.low < PER_WEEK && PER_WEEK < p.high);
    assert_eq!(p.changes, 5);
    // The slope alone sees a falling level.
    let line = slope::fit(&points(&DAYS, &levels(), 1.0)).unwrap();
    assert!(line.slope_per_week < 0.0, "{line:?}");
}

#[test]
fn without_a_change_it_is_the_slope() {
    let days = [0.0, 5.0, 8.0, 15.0, 21.0, 30.0];
    let points = points(&days, &[10.0, 16.0, 15.0, 24.0, 27.0, 37.0], 1.5);
    // One before the readings, one after them.
    let outside = [change(-1.0, 0.5), change(30.0, 0.5)];
    let p = production(&points, &outside, Estimate::new(5.0, 3.0)).unwrap();
    let line = slope::fit(&points).unwrap();
    assert_eq!(p.changes, 0);
    for (found, expected) in [
        (p.per_week, line.slope_per_week),
        (p.low, line.slope_interval.0),
        (p.high, line.slope_interval.1),
        (p.freedom, line.freedom),
    ] {
        assert_relative_eq!(found, expected, max_relative = 1e-5);
    }
}

/// 300 seeded weeks of noise: no bias, and the interval holds the truth at least as often as it says.
#[test]
fn noisy_readings_hold_the_truth() {
    let (runs, u, levels) = (300, 2.0, levels());
    let mut rng = ChaCha8Rng::seed_from_u64(20_260_301);
    let (mut sum, mut squares, mut held) = (0.0, 0.0, 0);
    for _ in 0..runs {
        let noisy: Vec<f64> = levels
            .iter()
            .map(|v| {
                let z: f64 = StandardNormal.sample(&mut rng);
                v + u * z
            })
            .collect();
        let p = production(
            &points(&DAYS, &noisy, u),
            &changes(),
            Estimate::exact(SOURCE),
        )
        .unwrap();
        let off = p.per_week - PER_WEEK;
        sum += off;
        squares += off * off;
        held += i32::from(p.low <= PER_WEEK && PER_WEEK <= p.high);
    }
    let n = f64::from(runs);
    let (mean, sd) = (sum / n, (squares / n).sqrt());
    println!("bias {mean:.3}, scatter {sd:.3}, held {held} of {runs}");
    assert!(
        mean.abs() < 4.0 * sd / n.sqrt(),
        "bias {mean}, scatter {sd}"
    );
    assert!(sd < 1.0, "{sd}");
    // 95 % less four standard deviations of a count of 300.
    assert!(held >= 270, "{held}");
}

#[test]
fn an_uncertain_source_widens_it() {
    let points = points(&DAYS, &levels(), 1.0);
    let of = |source| production(&points, &changes(), source).unwrap();
    let wide = |p: Production| p.high - p.low;
    let (exact, unsure) = (of(Estimate::exact(SOURCE)), of(Estimate::new(SOURCE, 2.0)));
    assert_eq!(exact.per_week, unsure.per_week);
    assert!(wide(unsure) > 1.1 * wide(exact));
    // By moving the source itself.
    let moved = of(Estimate::exact(SOURCE + 2.0)).per_week - exact.per_week;
    let half = (wide(exact) / 2.0).hypot(1.96 * moved);
    assert_relative_eq!(wide(unsure) / 2.0, half, max_relative = 1e-9);
}

/// Readings under what the test shows are bounds: the true level put above or below them does not move them.
#[test]
fn bounds_stay_bounds() {
    let mut points = points(&DAYS, &levels(), 1.0);
    points[11].seen = Seen::Above(10.0);
    let p = production(&points, &changes(), Estimate::exact(SOURCE)).unwrap();
    assert!((p.per_week - PER_WEEK).abs() < 0.05, "{p:?}");
}

#[test]
fn what_cannot_tell_a_production_is_refused() {
    let good = points(&DAYS, &levels(), 1.0);
    let none = Estimate::exact(0.0);
    let refused = |r: Result<Production>, text: &str| {
        let e = r.expect_err(text);
        assert!(e.to_string().contains(text), "{e}");
    };
    refused(production(&good[..2], &[], none), "at least 3 readings");
    refused(production(&[good[0]; 5], &[], none), "values on 1");
    refused(
        production(&good, &[change(5.0, 25.0)], none),
        "a quarter is 0.25",
    );
    refused(
        production(&good, &[change(f64::NAN, 0.2)], none),
        "day of a change",
    );
    refused(
        production(&good, &[], Estimate::exact(-1.0)),
        "source water",
    );
    let nan = points(&[0.0, 1.0, 2.0], &[1.0, f64::NAN, 2.0], 1.0);
    refused(production(&nan, &[], none), "value");
}

/// The same tank through the logbook and the command line.
#[test]
fn the_logbook_gives_the_production() {
    let (dir, mut logbook) = logbook();
    for (day, level) in DAYS.iter().zip(levels()) {
        logbook
            .add_reading(&reading(*day, value(level, 1.5), Verdict::Trusted))
            .unwrap();
    }
    for c in changes() {
        logbook
            .add_event(&water_change(c.day, Some(100.0 * c.share)))
            .unwrap();
    }
    let found = json_in(
        dir.path(),
        "routine --share 25 --log tidepool nitrate --source 2",
    );
    let made = &found["made_per_week"];
    assert!((number(&made["value"]) - PER_WEEK).abs() < 5e-3, "{made}");
    assert!(number(&made["low"]) < PER_WEEK && number(&made["high"]) > PER_WEEK);
    assert_eq!(found["found_from"]["readings"], 12);
    assert_eq!(found["found_from"]["water_changes"], 5);
    // By hand: 2 + 6 / 0.25 = 26 before a change.
    assert!((number(&found["before_change"]["value"]) - 26.0).abs() < 0.02);
    // A routine that is lived through ends there.
    let weekly: Vec<Change> = (0..60).map(|w| change(7.0 * f64::from(w), 0.25)).collect();
    let end = tank(40.0, PER_WEEK, SOURCE, &weekly, &[420.0])[0];
    assert!(
        (number(&found["before_change"]["value"]) - end).abs() < 0.02,
        "{end}"
    );
}
