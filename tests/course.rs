//! The plot of the course of one test in one water: what is drawn, where, and that no view breaks it.
//!
//! Waters and values are invented: the tidepool display and the quarantine tank of Alder Creek. The snapshots are of our own
//! output.

use tintwell::report::course::{Band, BandPoint, Crossing, Happening, Mark, Seen, View};

/// 5 October 2026, a Monday.
const DAY: f64 = 20_731.0;

fn value(day: f64, value: f64, half: f64) -> Mark {
    Mark {
        day: DAY + day,
        seen: Seen::Value {
            value,
            low: (value - half).max(0.0),
            high: value + half,
        },
        doubtful: false,
        by_eye: false,
    }
}

fn bound(day: f64, seen: Seen) -> Mark {
    Mark {
        seen,
        ..value(day, 0.0, 0.0)
    }
}

/// A line from one day to another that rests on readings up to `last`, with a band that widens away from its middle.
fn line((from, last, to): (f64, f64, f64), level: f64, slope: f64, half: f64) -> Band {
    let (middle, reach) = ((from + last) / 2.0, (last - from) / 2.0);
    let points = (0..=40).map(|i| {
        let day = from + (to - from) * f64::from(i) / 40.0;
        let at = level + slope * (day - from);
        let half = half * (0.3 + 0.7 * ((day - middle) / reach).powi(2)).sqrt();
        BandPoint {
            day: DAY + day,
            level: at,
            low: at - half,
            high: at + half,
        }
    });
    Band {
        points: points.collect(),
        last_day: DAY + last,
    }
}

fn event(day: f64, label: &str) -> Happening {
    Happening {
        day: DAY + day,
        label: label.into(),
        split: false,
    }
}

fn view(title: &str, unit: &str) -> View {
    View {
        title: title.into(),
        unit: unit.into(),
        offset_seconds: -8 * 3600,
        ..View::default()
    }
}

/// Rises to its limit; fed more in between.
fn rising() -> View {
    let levels = [
        12.1, 13.4, 13.0, 15.2, 17.9, 17.1, 20.4, 22.3, 24.9, 24.1, 28.0, 29.2,
    ];
    let mut marks: Vec<Mark> = levels
        .iter()
        .enumerate()
        .map(|(i, v)| value(0.6 + 3.2 * i as f64, *v, 1.1 + 0.03 * v))
        .collect();
    marks[4].doubtful = true;
    marks[7].by_eye = true;
    View {
        marks,
        bands: vec![line((0.6, 35.8, 57.0), 11.2, 0.5, 1.7)],
        high: Some(40.0),
        events: vec![event(9.5, "two more urchins"), event(22.4, "filter rinsed")],
        crossing: Some(Crossing {
            limit: 40.0,
            earliest: DAY + 51.0,
            latest: Some(DAY + 66.0),
        }),
        ..view("nitrate in the quarantine tank", "mg/L")
    }
}

/// Keeps between its limits; does not begin at zero.
fn steady() -> View {
    let levels = [8.12, 8.09, 8.14, 8.07, 8.11, 8.05, 8.1, 8.13, 8.06];
    View {
        marks: levels
            .iter()
            .enumerate()
            .map(|(i, v)| value(0.4 + 7.0 * i as f64, *v, 0.06))
            .collect(),
        bands: vec![line((0.4, 56.4, 56.4), 8.11, -0.0005, 0.035)],
        low: Some(7.8),
        high: Some(8.4),
        events: vec![event(30.4, "air stone replaced")],
        ..view("pH in the tidepool display", "pH")
    }
}

/// What was done helped: a line before, a line after.
fn helped() -> View {
    let before = [0.31, 0.42, 0.45, 0.58, 0.66];
    let after = [0.36, 0.27, 0.19];
    let mut marks: Vec<Mark> = before
        .iter()
        .enumerate()
        .map(|(i, v)| value(1.3 * i as f64, *v, 0.05))
        .collect();
    marks.extend(
        after
            .iter()
            .enumerate()
            .map(|(i, v)| value(7.2 + 1.5 * i as f64, *v, 0.05)),
    );
    marks.push(bound(12.0, Seen::Below(0.1)));
    marks.push(bound(13.4, Seen::Below(0.1)));
    marks.push(Mark {
        doubtful: true,
        ..bound(14.6, Seen::Below(0.15))
    });
    marks.push(Mark {
        by_eye: true,
        ..bound(15.5, Seen::Below(0.2))
    });
    View {
        marks,
        bands: vec![
            line((0.0, 5.2, 5.2), 0.31, 0.068, 0.06),
            line((7.2, 15.5, 15.5), 0.33, -0.035, 0.07),
        ],
        high: Some(0.2),
        events: vec![
            event(2.2, "fed twice by mistake"),
            Happening {
                split: true,
                ..event(6.2, "water change 50 %")
            },
            event(6.9, "carbon added"),
        ],
        ..view("ammonia in the quarantine tank", "mg/L")
    }
}

/// Hundredths, and much done on few days.
fn busy() -> View {
    let levels = [0.021, 0.024, 0.022, 0.027, 0.025, 0.03, 0.028];
    let labels = [
        "water change 20 %",
        "new lamp",
        "sea lettuce thinned out and the stones on the north side brushed, as every autumn, by the school class",
        "salt added",
        "water change 20 %",
        "pump cleaned",
        "two anemones moved here",
    ];
    View {
        marks: levels
            .iter()
            .enumerate()
            .map(|(i, v)| value(5.0 * i as f64, *v, if i == 3 { 0.06 } else { 0.004 }))
            .collect(),
        bands: vec![line((0.0, 30.0, 40.0), 0.0215, 0.00025, 0.003)],
        low: Some(0.005),
        high: Some(0.5),
        events: labels
            .iter()
            .zip([-60.0, 8.0, 8.2, 8.9, 19.0, 19.4, 26.0])
            .map(|(l, d)| event(d, l))
            .collect(),
        ..view("phosphate in the tidepool display", "mg/L")
    }
}

/// A year of readings, some beyond the top of the test.
fn year() -> View {
    let marks = (0..300).map(|i| {
        let day = 1.2 * f64::from(i);
        let wave = 4300.0 + 2600.0 * (day / 55.0).sin() + 900.0 * (f64::from(i) * 2.399).sin();
        Mark {
            doubtful: i % 17 == 0,
            by_eye: i % 23 == 0,
            ..if wave > 7000.0 {
                bound(day, Seen::Above(7000.0))
            } else {
                value(day, wave, 330.0)
            }
        }
    });
    View {
        marks: marks.collect(),
        bands: vec![line((0.0, 359.0, 420.0), 4700.0, -2.1, 500.0)],
        low: Some(1500.0),
        events: (0..14)
            .map(|i| event(5.0 + 25.0 * f64::from(i), "water change 25 %"))
            .collect(),
        ..view(
            "alkalinity of a made-up scale in the tidepool display",
            "µeq/L",
        )
    }
}

fn one_reading() -> View {
    View {
        marks: vec![value(3.0, 5.2, 0.6)],
        high: Some(20.0),
        ..view("nitrate in the tidepool display", "mg/L")
    }
}

fn invented() -> Vec<(&'static str, View)> {
    vec![
        ("rising", rising()),
        ("steady", steady()),
        ("helped", helped()),
        ("busy", busy()),
        ("year", year()),
        ("one", one_reading()),
        ("none", view("nitrate in the tidepool display", "mg/L")),
    ]
}

#[test]
fn look() {
    let to = std::path::Path::new(env!("CARGO_TARGET_TMPDIR"));
    for (name, view) in invented() {
        use tintwell::report::course::{picture, terminal};
        std::fs::write(to.join(format!("{name}.png")), picture::png(&view).unwrap()).unwrap();
        std::fs::write(
            to.join(format!("{name}.svg")),
            picture::svg(&view, picture::Style::Page).unwrap(),
        )
        .unwrap();
        let text = terminal::plot(&view, 100, 18, true) + &terminal::plot(&view, 64, 12, false);
        std::fs::write(to.join(format!("{name}.txt")), text).unwrap();
    }
}
