//! Synthetic-known: an open vial seen from above must be found where the scene put it, and read as what it holds.
//!
//! The scenes come from a small renderer of its own (`above/render.rs`): simulated, not photographed.

#[path = "scenes/layout.rs"]
#[allow(dead_code)]
mod layout;
#[path = "above/render.rs"]
mod render;
#[path = "scenes/srgb.rs"]
mod srgb;
#[path = "scenes/tag.rs"]
mod tag;

use layout::Layout;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use render::{Circle, Glass, Shot};
use tintwell::card::design::Design;
use tintwell::chart::calibrate::{Standard, build};
use tintwell::chart::{Chart, Origin, Terms};
use tintwell::look::{Look, Where, look};
use tintwell::photo::{Limits, Photo, decode};
use tintwell::place::Area;
use tintwell::reading::{Answer, Reading, Told, read};
use tintwell::vial::Found;
use tintwell::vial::above::{Disc, Open};
use tintwell::vial::bay::search_area_above;

const STEPS: [f64; 5] = [0.0, 5.0, 10.0, 20.0, 40.0];

fn card() -> Layout {
    Layout::from_json(include_str!("../calibration/card-above.json"))
}

/// A 24 mm vial, 45 mm tall, filled to 8 mm under the rim, in the middle of the bay.
fn glass(concentration: f64) -> Glass {
    Glass {
        x: 92.0,
        y: 74.0,
        outer: 12.0,
        wall: 1.2,
        height: 45.0,
        fill: 37.0,
        concentration,
        glints: vec![(3.0, -4.5, 0.5)],
    }
}

fn photo(shot: &Shot) -> Photo {
    decode(&shot.jpeg(&card()), &Limits::default()).expect("a photo")
}

fn by() -> Where {
    Where::Card(Design::all())
}

fn open(look: &Look) -> Open {
    match look.vial {
        Some(Found::Open(open)) => open,
        other => panic!("found {other:?}"),
    }
}

fn near(what: &str, found: &Disc, truth: &Circle, shot: &Shot) {
    let off = (found.x - truth.x).hypot(found.y - truth.y);
    println!(
        "{what}: centre off by {off:.2} mm, radius by {:+.2} mm",
        found.r - truth.r
    );
    assert!(
        off < 1.0 && (found.r - truth.r).abs() < 1.0,
        "{what}: found {found:?}, is {truth:?} in {shot:?}"
    );
}

/// A session: two photos of each step, the vial taken away and put back.
fn chart() -> Chart {
    let standards: Vec<Standard> = STEPS
        .iter()
        .flat_map(|value| [(*value, 0), (*value, 1)])
        .map(|(value, n)| {
            let mut g = glass(value);
            (g.x, g.y) = (92.0 + f64::from(n), 74.0 - 0.7 * f64::from(n));
            let mut shot = Shot::of(Some(g), 100 + value as u64 * 2 + n as u64);
            shot.tilt = 3.0 + f64::from(n) * 2.0;
            Standard::new(value, format!("{value}"), &photo(&shot), &by())
                .unwrap_or_else(|e| panic!("{value}: {e}"))
        })
        .collect();
    let terms = Terms::of("pink", "mg/L");
    build(terms, Origin::Standards, &standards).expect("a chart")
}

fn reading(shot: &Shot, chart: &Chart) -> (Reading, Vec<String>) {
    let (r, _) = read(&photo(shot), &by(), chart, &Told::default())
        .unwrap_or_else(|e| panic!("{e}: {shot:?}"));
    let codes = r.flags.iter().map(|f| f.code.clone()).collect();
    (r.value, codes)
}

/// The value in chart steps, counted with the steps of the session.
fn steps_of(shot: &Shot, chart: &Chart) -> f64 {
    match reading(shot, chart).0.answer {
        Answer::Value { value, .. } => chart.step_position(value),
        other => panic!("{other:?} for {shot:?}"),
    }
}

#[test]
fn mouth_and_liquid_are_found_where_they_are() {
    let card = card();
    let aside = |dx: f64, dy: f64, mut g: Glass| {
        (g.x, g.y) = (g.x + dx, g.y + dy);
        g
    };
    let tilted = |tilt: f64, towards: f64, g: Glass| {
        let mut shot = Shot::of(Some(g), 7);
        (shot.tilt, shot.towards) = (tilt, towards);
        shot
    };
    let small = Glass {
        outer: 7.0,
        wall: 1.0,
        height: 30.0,
        fill: 24.0,
        glints: vec![],
        ..glass(20.0)
    };
    let half = Glass {
        fill: 24.0,
        ..glass(40.0)
    };
    let tall = Glass {
        outer: 14.0,
        wall: 1.5,
        height: 70.0,
        fill: 60.0,
        ..glass(20.0)
    };
    let shots = [
        ("colourless", tilted(1.0, 0.0, glass(0.0))),
        ("pale", tilted(4.0, 70.0, glass(5.0))),
        ("deep", tilted(4.0, 70.0, glass(40.0))),
        (
            "4 mm left",
            tilted(4.0, 200.0, aside(-4.0, 0.0, glass(10.0))),
        ),
        (
            "4 mm down",
            tilted(8.0, 120.0, aside(0.0, 4.0, glass(20.0))),
        ),
        ("tilt 15 right", tilted(15.0, 0.0, glass(20.0))),
        ("tilt 15 up", tilted(15.0, 270.0, glass(40.0))),
        (
            "tilt 15 away, 4 mm",
            tilted(15.0, 215.0, aside(2.8, 2.8, glass(10.0))),
        ),
        ("half full", tilted(6.0, 30.0, half)),
        ("small", tilted(5.0, 10.0, small)),
        ("tall", tilted(3.0, 300.0, tall)),
    ];
    for (name, shot) in &shots {
        let found = look(&photo(shot), &by()).unwrap_or_else(|e| panic!("{name}: {e}"));
        let vial = open(&found);
        near(&format!("{name}, rim"), &vial.mouth, &shot.rim(&card), shot);
        near(
            &format!("{name}, liquid"),
            &vial.liquid,
            &shot.liquid(&card),
            shot,
        );
    }
}

#[test]
fn unseen_values_are_read() {
    let chart = chart();
    let mut rng = ChaCha8Rng::seed_from_u64(41);
    let mut square = 0.0;
    let values = [3.0, 6.5, 9.0, 13.0, 17.0, 24.0, 29.0, 36.0];
    for (n, value) in values.iter().enumerate() {
        let mut g = glass(*value);
        g.x += rng.random_range(-2.8..2.8);
        g.y += rng.random_range(-2.8..2.8);
        let mut shot = Shot::of(Some(g), 500 + n as u64);
        shot.tilt = rng.random_range(0.0..15.0);
        shot.towards = rng.random_range(0.0..360.0);
        shot.roll = rng.random_range(-180.0..180.0);
        // Another white balance and exposure, within what a phone does in the same light.
        shot.light = [0.55, 0.62, 0.66].map(|v| v * rng.random_range(0.9..1.1));
        shot.falloff = rng.random_range(0.7..1.3);
        let (r, flags) = reading(&shot, &chart);
        let Answer::Value {
            value: read,
            low,
            high,
        } = r.answer
        else {
            panic!("{:?} for {shot:?}", r.answer)
        };
        let off = chart.step_position(read) - chart.step_position(*value);
        println!(
            "{value}: {read:.2} ({low:.2} to {high:.2}), {off:+.3} steps, tilt {:.0}, {flags:?}",
            shot.tilt
        );
        assert!((low..=high).contains(value), "{value}: {low} to {high}");
        square += off * off;
    }
    let rms = (square / values.len() as f64).sqrt();
    println!("rms {rms:.3} steps");
    assert!(rms < 0.15, "{rms} steps");

    // A reflection on the liquid: within the sampled core, larger than a lamp at arm's length gives.
    let mut shot = Shot::of(Some(glass(15.0)), 900);
    shot.glass.as_mut().expect("a vial").glints.clear();
    let without = steps_of(&shot, &chart);
    for glints in [
        vec![(1.5, -2.0, 1.0)],
        vec![(-3.0, 1.0, 1.5), (4.0, 3.0, 0.8)],
    ] {
        shot.glass.as_mut().expect("a vial").glints = glints;
        let moved = steps_of(&shot, &chart) - without;
        println!("a reflection moves the value by {moved:+.3} steps");
        assert!(moved.abs() < 0.1, "{moved} steps: {shot:?}");
    }
}

#[test]
fn a_bay_without_a_whole_mouth_is_an_error() {
    let mut far = glass(20.0);
    far.x += 36.0;
    for (what, shot) in [
        ("bare", Shot::of(None, 3)),
        ("vial over the patches", Shot::of(Some(far), 4)),
    ] {
        let error = match look(&photo(&shot), &by()) {
            Ok(look) => panic!("{what}: found {:?}", look.vial),
            Err(e) => e.to_string(),
        };
        assert!(
            error.contains("no mouth of an open vial was found"),
            "{what}: {error}"
        );
        assert!(error.contains("from straight above"), "{what}: {error}");
    }
}

#[test]
fn the_mouth_is_looked_for_on_bare_paper() {
    for design in [Design::above(), Design::above_mono()] {
        let area = search_area_above(design.bay);
        let apart = |a: &Area| {
            a.x >= area.x + area.w
                || area.x >= a.x + a.w
                || a.y >= area.y + area.h
                || area.y >= a.y + a.h
        };
        for tag in &design.tags {
            assert!(apart(&tag.area()), "{}: marker {}", design.id, tag.id);
        }
        for patch in &design.patches {
            assert!(apart(&patch.area), "{}: {}", design.id, patch.name);
        }
    }
}
