//! The plot of the course of one test in one water: what is drawn, where, and that no view breaks it.
//!
//! Waters and values are invented: the tidepool display and the quarantine tank of Alder Creek. The snapshots are of our own
//! output.

use std::path::Path;
use std::sync::{Arc, LazyLock};

use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use resvg::usvg;
use resvg::usvg::roxmltree::{Document, Node};
use tintwell::report::course::picture::{self, Style};
use tintwell::report::course::terminal;
use tintwell::report::course::{Band, BandPoint, Crossing, Happening, Mark, Seen, View};
use unicode_width::UnicodeWidthStr;

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

/// An event with room to be named, and two bounds only.
fn bounds_only() -> View {
    View {
        marks: vec![bound(0.5, Seen::Below(0.05)), bound(6.5, Seen::Below(0.05))],
        events: vec![Happening {
            split: true,
            ..event(3.0, "fed & cleaned <twice>")
        }],
        ..view("nitrite in the tidepool display", "mg/L")
    }
}

fn all_the_same() -> View {
    View {
        marks: (0..4).map(|i| value(f64::from(i), 420.0, 0.0)).collect(),
        low: Some(380.0),
        ..view("calcium in the tidepool display", "mg/L")
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
        ("bounds", bounds_only()),
        ("same", all_the_same()),
        ("none", view("nitrate in the tidepool display", "mg/L")),
    ]
}

fn page(view: &View) -> String {
    picture::svg(view, Style::Page).expect("a drawing")
}

fn with_class<'a, 'i>(document: &'a Document<'i>, class: &str) -> Vec<Node<'a, 'i>> {
    let has = |n: &Node| {
        n.attribute("class")
            .is_some_and(|c| c.split(' ').any(|c| c == class))
    };
    document.descendants().filter(has).collect()
}

fn number(node: Node, name: &str) -> f64 {
    node.attribute(name).expect(name).parse().expect(name)
}

fn points(node: Node) -> Vec<(f64, f64)> {
    node.attribute("points")
        .expect("points")
        .split(' ')
        .map(|p| {
            let (x, y) = p.split_once(',').expect("a pair");
            (x.parse().expect("x"), y.parse().expect("y"))
        })
        .collect()
}

/// All text that is drawn, one element a line.
fn drawn(document: &Document) -> String {
    let texts = document.descendants().filter(|n| n.has_tag_name("text"));
    texts
        .filter_map(|n| n.text())
        .collect::<Vec<_>>()
        .join("\n")
}

#[test]
fn every_mark_is_drawn_in_its_kind() {
    for (name, view) in invented() {
        let svg = page(&view);
        let document = Document::parse(&svg).expect(name);
        let count = |class: &str| with_class(&document, class).len();
        let of = |is: fn(&Mark) -> bool| view.marks.iter().filter(|m| is(m)).count();
        assert_eq!(count("mark"), view.marks.len(), "{name}");
        assert_eq!(count("doubtful"), of(|m| m.doubtful), "{name}");
        assert_eq!(count("by-eye"), of(|m| m.by_eye), "{name}");
        assert_eq!(
            count("below"),
            of(|m| matches!(m.seen, Seen::Below(_))),
            "{name}"
        );
        assert_eq!(
            count("above"),
            of(|m| matches!(m.seen, Seen::Above(_))),
            "{name}"
        );
    }
}

#[test]
fn limits_and_events_are_told() {
    for (name, view) in invented() {
        let svg = page(&view);
        let document = Document::parse(&svg).expect(name);
        let text = drawn(&document).replace('\n', " ");
        for event in &view.events {
            assert!(text.contains(&event.label), "{name}: {}", event.label);
        }
        for (limit, words) in [(view.low, "at least"), (view.high, "at most")] {
            if let Some(limit) = limit {
                assert!(
                    text.contains(&format!("{words} {limit}")),
                    "{name}: {limit}"
                );
            }
        }
        let unit = text
            .split(' ')
            .filter(|w| *w == view.unit && *w != "pH")
            .count();
        // Beside the axis, and with each level told in words: the first, the last, and where a limit would be reached.
        let told = 1 + view.marks.len().min(2) + usize::from(view.crossing.is_some());
        assert!(unit <= told, "{name}: the unit is told {unit} times");
    }
}

/// The drawing with the built-in typeface.
fn tree(view: &View) -> usvg::Tree {
    static FONTS: LazyLock<Arc<usvg::fontdb::Database>> = LazyLock::new(|| {
        let mut fonts = usvg::fontdb::Database::new();
        fonts.load_fonts_dir("src/card/fonts");
        Arc::new(fonts)
    });
    let svg = picture::svg(view, Style::Paper).expect("a drawing");
    let options = usvg::Options {
        fontdb: FONTS.clone(),
        ..usvg::Options::default()
    };
    usvg::Tree::from_str(&svg, &options).expect("SVG that can be painted")
}

fn texts(group: &usvg::Group, found: &mut Vec<(String, usvg::Rect)>) {
    for node in group.children() {
        match node {
            usvg::Node::Group(g) => texts(g, found),
            usvg::Node::Text(t) => {
                let words = t.chunks().iter().map(|c| c.text()).collect();
                found.push((words, t.abs_bounding_box()));
            }
            _ => (),
        }
    }
}

/// The first label that leaves the drawing or meets another.
fn clash(view: &View) -> Option<String> {
    let tree = tree(view);
    let mut found = Vec::new();
    texts(tree.root(), &mut found);
    let (w, h) = (tree.size().width(), tree.size().height());
    for (i, (a, ra)) in found.iter().enumerate() {
        let inside = ra.left() >= 0.0 && ra.top() >= 0.0 && ra.right() <= w && ra.bottom() <= h;
        if !inside {
            return Some(format!("{a} at {ra:?}"));
        }
        for (b, rb) in &found[i + 1..] {
            let apart = ra.right() <= rb.left()
                || rb.right() <= ra.left()
                || ra.bottom() <= rb.top()
                || rb.bottom() <= ra.top();
            if !apart {
                return Some(format!("{a} at {ra:?} and {b} at {rb:?}"));
            }
        }
    }
    None
}

#[test]
fn no_two_labels_overlap() {
    for (name, view) in invented() {
        assert_eq!(clash(&view), None, "{name}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(150) })]

    #[test]
    fn labels_of_any_events_and_limits_keep_apart(
        events in vec((-10.0..60.0f64, "[ -~]{1,28}", any::<bool>()), 0..20),
        levels in vec(0.001..1.0f64, 1..12),
        size in -2..5,
        low in option::of(0.0..2.0f64),
        high in option::of(0.0..2.0f64),
        step in 0.1..30.0f64,
    ) {
        let size = 10f64.powi(size);
        let view = View {
            marks: levels.iter().enumerate().map(|(i, v)| value(step * i as f64, v * size, 0.1 * v * size)).collect(),
            low: low.map(|v| v * size),
            high: high.map(|v| v * size),
            events: events
                .into_iter()
                .map(|(day, label, split)| Happening { split, ..event(day, &label) })
                .collect(),
            ..view("nitrate in the quarantine tank", "mg/L")
        };
        prop_assert_eq!(clash(&view), None);
    }
}

/// From two ticks of an axis, the place of any value.
fn scale(a: (f64, f64), b: (f64, f64)) -> impl Fn(f64) -> f64 {
    move |v| a.1 + (v - a.0) / (b.0 - a.0) * (b.1 - a.1)
}

#[test]
fn marks_stand_where_the_ticks_say() {
    let view = rising();
    let svg = page(&view);
    let document = Document::parse(&svg).expect("SVG");
    // Local midnight, eight hours behind UTC.
    let day = |label: &str, days: f64| {
        let labels = with_class(&document, "course-day");
        let tick = labels.into_iter().find(|n| n.text() == Some(label));
        (DAY + days + 8.0 / 24.0, number(tick.expect(label), "x"))
    };
    let x = scale(day("12 Oct", 7.0), day("23 Nov", 49.0));
    // The line of the grid that the label stands beside.
    let level = |label: &str| {
        let labels = with_class(&document, "course-level");
        let beside = labels.into_iter().find(|n| n.text() == Some(label));
        let beside = number(beside.expect(label), "y");
        let lines = with_class(&document, "course-grid").into_iter().map(points);
        let across = lines.filter(|p| p[0].1 == p[1].1);
        let nearest =
            across.min_by(|a, b| (a[0].1 - beside).abs().total_cmp(&(b[0].1 - beside).abs()));
        (
            label.parse().expect("a number"),
            nearest.expect("a line")[0].1,
        )
    };
    let y = scale(level("0"), level("30"));
    let marks = with_class(&document, "mark");
    for (mark, node) in view.marks.iter().zip(&marks) {
        let Seen::Value { value, low, high } = mark.seen else {
            panic!("only values");
        };
        let (cx, cy) = if mark.by_eye {
            let square = node.children().find(|n| n.has_tag_name("polygon"));
            let p = points(square.expect("a square"));
            ((p[0].0 + p[2].0) / 2.0, (p[0].1 + p[2].1) / 2.0)
        } else {
            let circle = node.children().find(|n| n.has_tag_name("circle"));
            let circle = circle.expect("a circle");
            (number(circle, "cx"), number(circle, "cy"))
        };
        assert!((cx - x(mark.day)).abs() < 0.2, "{cx} for day {}", mark.day);
        assert!((cy - y(value)).abs() < 0.2, "{cy} for {value}");
        let bar = node.descendants().find(|n| {
            n.attribute("class")
                .is_some_and(|c| c.contains("course-interval"))
        });
        let bar = points(bar.expect("an interval"));
        assert!(
            (bar[0].1 - y(low)).abs() < 0.2 && (bar[1].1 - y(high)).abs() < 0.2,
            "{bar:?}"
        );
    }
    // What is forecast is dashed, and begins at the last reading.
    let last = x(view.bands[0].last_day);
    for line in with_class(&document, "course-line").into_iter().take(2) {
        let (first, end) = (points(line)[0].0, points(line).last().expect("points").0);
        if line.attribute("stroke-dasharray").is_some() {
            assert!(
                (first - last).abs() < 0.2 && end > last + 50.0,
                "{first} to {end}"
            );
        } else {
            assert!((end - last).abs() < 0.2, "to {end}");
        }
    }
}

#[test]
fn a_limit_far_away_is_told_at_the_edge() {
    let view = busy();
    let svg = page(&view);
    let document = Document::parse(&svg).expect("SVG");
    // Only the near limit is a line; the other has an arrow.
    let lines = with_class(&document, "course-limit");
    let across = lines.iter().filter(|n| n.has_tag_name("polyline"));
    assert_eq!(across.count(), 1);
    assert_eq!(with_class(&document, "course-arrow").len(), 1);
    let levels = with_class(&document, "course-level");
    let highest = levels.iter().filter_map(|n| n.text()?.parse().ok());
    let highest = highest.fold(0.0, f64::max);
    assert!((0.03..0.1).contains(&highest), "{highest}");
    let text = terminal::plot(&view, 80, 16, true);
    assert!(text.contains("↑ at most 0.5, over this plot"), "{text}");
}

#[test]
fn it_is_described_in_words() {
    let svg = page(&rising());
    let document = Document::parse(&svg).expect("SVG");
    let root = document.root_element();
    assert_eq!(root.attribute("role"), Some("img"));
    let said = |tag: &str| {
        let node = root.children().find(|n| n.has_tag_name(tag));
        node.and_then(|n| n.text()).expect(tag).to_owned()
    };
    assert_eq!(said("title"), "nitrate in the quarantine tank");
    insta::assert_snapshot!("described", said("desc"));
}

#[test]
fn text_stays_text() {
    let label = "</text><script>alert('1 & 2')</script>";
    let mut view = View {
        title: label.into(),
        unit: "µg/L \"as N\"".into(),
        ..rising()
    };
    view.events[0].label = label.into();
    let svg = page(&view);
    let document = Document::parse(&svg).expect("SVG");
    assert!(document.descendants().all(|n| !n.has_tag_name("script")));
    assert!(drawn(&document).contains(label));
    assert!(drawn(&document).contains("µg/L \"as N\""));
    // Nothing is loaded from elsewhere.
    for node in document.descendants() {
        for a in node.attributes() {
            assert!(
                !a.name().contains("href") && !a.value().contains("url("),
                "{}",
                a.value()
            );
        }
    }
}

#[test]
fn every_colour_has_a_dark_one() {
    let svg = page(&helped());
    let document = Document::parse(&svg).expect("SVG");
    let style = document.descendants().find(|n| n.has_tag_name("style"));
    let style = style.and_then(|n| n.text()).expect("a style");
    let (light, dark) = style
        .split_once("@media screen and (prefers-color-scheme:dark)")
        .expect("both");
    for rule in light.split('}').filter(|r| !r.is_empty()) {
        let name = rule.split('{').next().expect("a name");
        assert!(
            dark.contains(&format!("{name}{{")),
            "{name} has no dark colour"
        );
    }
    let colourless = [
        "course-interval",
        "course-level",
        "course-day",
        "course-name",
        "course-number",
        "course-arrow",
    ];
    for node in document.descendants() {
        for class in node.attribute("class").unwrap_or("").split(' ') {
            if class.starts_with("course-") && !colourless.contains(&class) {
                assert!(
                    light.contains(&format!(".{class}{{")),
                    "{class} has no colour"
                );
            }
        }
    }
    let paper = picture::svg(&helped(), Style::Paper).expect("a drawing");
    assert!(!paper.contains("@media"));
}

/// Pictures of all views stay in the folder for tests of the build, to be looked at.
#[test]
fn pictures_are_painted() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    for (name, view) in invented() {
        let bytes = picture::png(&view).expect(name);
        let picture = image::load_from_memory(&bytes).expect(name).to_rgb8();
        assert_eq!(picture.width(), 1280, "{name}");
        let (w, h) = picture.dimensions();
        for (x, y) in [(0, 0), (w - 1, 0), (0, h - 1), (w - 1, h - 1)] {
            assert_eq!(picture.get_pixel(x, y).0, [255; 3], "{name}");
        }
        let inked = picture.pixels().filter(|p| p.0[0] < 60).count();
        assert!(inked > 500, "{name}: {inked} dark pixels");
        std::fs::write(folder.join(format!("course-{name}.png")), bytes).expect("a file");
        std::fs::write(folder.join(format!("course-{name}.svg")), page(&view)).expect("a file");
    }
}

#[test]
fn the_terminal_shows_the_course() {
    insta::assert_snapshot!("rising", terminal::plot(&rising(), 100, 18, true));
    insta::assert_snapshot!("helped", terminal::plot(&helped(), 80, 16, true));
    insta::assert_snapshot!("busy_ascii", terminal::plot(&busy(), 72, 14, false));
    insta::assert_snapshot!("one_reading", terminal::plot(&one_reading(), 60, 10, true));
    insta::assert_snapshot!("narrow", terminal::plot(&rising(), 30, 18, true));
}

#[test]
fn what_is_no_number_is_refused() {
    let mut view = rising();
    view.marks[2].day = f64::NAN;
    let error = picture::svg(&view, Style::Page).expect_err("no drawing");
    assert!(error.what.contains("not a number"), "{}", error.what);
    assert!(picture::png(&view).is_err());
    let text = terminal::plot(&view, 80, 16, true);
    assert!(text.contains(&error.what), "{text}");
}

fn finite() -> impl Strategy<Value = f64> {
    prop_oneof![
        Just(0.0),
        -10.0..10.0f64,
        0.0..10_000.0f64,
        any::<f64>().prop_filter("finite", |v| v.is_finite()),
    ]
}

fn days() -> impl Strategy<Value = f64> {
    prop_oneof![DAY..DAY + 60.0, Just(DAY), finite()]
}

prop_compose! {
    fn any_mark()(day in days(), v in finite(), low in finite(), high in finite(), kind in 0..4, doubtful: bool, by_eye: bool) -> Mark {
        let seen = match kind {
            0 => Seen::Below(v),
            1 => Seen::Above(v),
            _ => Seen::Value { value: v, low, high },
        };
        Mark { day, seen, doubtful, by_eye }
    }
}

prop_compose! {
    fn any_band()(points in vec((days(), finite(), finite(), finite()), 0..6), last_day in days()) -> Band {
        let points = points.into_iter().map(|(day, level, low, high)| BandPoint { day, level, low, high });
        Band { points: points.collect(), last_day }
    }
}

prop_compose! {
    fn any_view()(
        title in any::<String>(),
        unit in any::<String>(),
        offset_seconds: i32,
        marks in vec(any_mark(), 0..8),
        bands in vec(any_band(), 0..3),
        low in option::of(finite()),
        high in option::of(finite()),
        events in vec((days(), any::<String>(), any::<bool>()), 0..8),
        crossing in option::of((finite(), days(), option::of(days()))),
    ) -> View {
        let events = events.into_iter().map(|(day, label, split)| Happening { day, label, split });
        View {
            title, unit, offset_seconds, marks, bands, low, high,
            events: events.collect(),
            crossing: crossing.map(|(limit, earliest, latest)| Crossing { limit, earliest, latest }),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(400) })]

    #[test]
    fn any_view_is_drawn(view in any_view()) {
        for style in [Style::Page, Style::Paper] {
            let svg = picture::svg(&view, style).expect("a drawing");
            let document = Document::parse(&svg).expect("well-formed SVG");
            prop_assert_eq!(with_class(&document, "mark").len(), view.marks.len());
            for node in document.descendants() {
                for a in node.attributes().filter(|a| a.name() != "font-family") {
                    prop_assert!(!a.value().contains("NaN") && !a.value().contains("inf"), "{}", a.value());
                }
            }
            // Marks lie in the drawing.
            for circle in with_class(&document, "mark").into_iter().flat_map(|m| m.descendants()).filter(|n| n.has_tag_name("circle")) {
                prop_assert!((0.0..=800.0).contains(&number(circle, "cx")));
                prop_assert!((0.0..=1000.0).contains(&number(circle, "cy")));
            }
        }
    }

    #[test]
    fn a_terminal_plot_is_no_wider_than_asked(view in any_view(), width in 1usize..140, height in 0usize..30, unicode: bool) {
        let text = terminal::plot(&view, width, height, unicode);
        for line in text.lines() {
            prop_assert!(line.width() <= width, "{} of {width}: {line}", line.width());
        }
        prop_assert!(text.chars().all(|c| c == '\n' || !c.is_control()));
        prop_assert!(unicode || text.is_ascii(), "{text}");
        prop_assert!(!text.contains("NaN"));
    }
}
