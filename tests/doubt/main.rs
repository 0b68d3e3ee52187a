//! Reasons for doubt that `tests/trust.rs` leaves out: each raised by a scene that has it, and not by one near it.
//!
//! Synthetic-known: what was put into a scene must be found. All is read with the shipped chart of the invented nature centre, or
//! one made of it, whose session is simulated from the same seed; the photos here are none of those it was made from, and small.

#[path = "../scenes/mod.rs"]
mod scenes;

mod chart;
mod colour;
mod mono;
mod photo;

use std::sync::LazyLock;

use scenes::{Layout, Scene, Series, Session, render};
use tintwell::card::design::Design;
use tintwell::chart::{Chart, file};
use tintwell::look::Where;
use tintwell::photo::{Limits, Photo, decode};
use tintwell::reading::{Reading, Told, read};

static CARD: LazyLock<Layout> =
    LazyLock::new(|| Layout::from_json(include_str!("../../calibration/card-side.json")));
static CHART: LazyLock<Chart> = LazyLock::new(|| {
    file::parse(include_str!("../../calibration/alder-creek-nitrate.json"))
        .expect("the shipped chart")
});
/// What scenes hold unless they say otherwise, mg/L.
const TRUTH: f64 = 12.0;
/// First of the seeds of the photos here.
const SEED: u64 = 101;

/// A photo of the session of the shipped chart (see `tests/scenes/fixtures.rs`).
fn own(concentration: f64, seed: u64) -> Scene {
    Session::new(1, Series::Pink)
        .own(concentration, seed)
        .sized(1000, 750)
}

/// A scene with something changed.
fn with(mut scene: Scene, change: impl FnOnce(&mut Scene)) -> Scene {
    change(&mut scene);
    scene
}

fn photo(scene: &Scene, card: &Layout) -> Photo {
    decode(&render(scene, card).jpeg(), &Limits::default()).expect("a photo")
}

fn by_card() -> Where {
    Where::Card(Design::all())
}

/// A reading and the codes of its flags.
fn reading(photo: &Photo, by: &Where, chart: &Chart) -> (Reading, Vec<String>) {
    let (checked, _) = read(photo, by, chart, &Told::default()).expect("a reading");
    let codes = checked.flags.into_iter().map(|f| f.code).collect();
    (checked.value, codes)
}

/// Asserts that a code is among those of the one and not among those of the other.
fn told_apart(code: &str, has: &[String], not: &[String]) {
    let raised = |codes: &[String]| codes.iter().any(|c| c == code);
    assert!(raised(has), "{code} is missing: {has:?}");
    assert!(!raised(not), "{code} without cause: {not:?}");
}
