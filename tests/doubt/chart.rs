//! What speaks against a chart, on sessions of simulated photos.

use std::sync::LazyLock;

use rayon::prelude::*;
use tintwell::chart::Origin;
use tintwell::chart::calibrate::{Standard, build, printed};
use tintwell::chart::resolve;
use tintwell::photo::{Photo, decode};
use tintwell::place::Area;

use super::scenes::light::Fall;
use super::scenes::{Scene, render};
use super::{CARD, CHART, SEED, by_card, own, told_apart, with};

/// A session with nothing wrong: two photos of each of four standards.
static SOUND: LazyLock<Vec<(f64, Photo)>> = LazyLock::new(|| {
    shots(
        VALUES
            .iter()
            .flat_map(|value| [0, 1].map(|again| (*value, own(*value, seed(*value) + again))))
            .collect(),
    )
});
const VALUES: [f64; 4] = [0.0, 5.0, 20.0, 40.0];

fn seed(value: f64) -> u64 {
    SEED + 2 * value as u64
}

fn shots(scenes: Vec<(f64, Scene)>) -> Vec<(f64, Photo)> {
    scenes
        .into_par_iter()
        .map(|(value, scene)| (value, super::photo(&scene, &CARD)))
        .collect()
}

/// Codes of what is found about a chart made of photos, each of which is said to show a value.
fn found<'a>(photos: impl IntoIterator<Item = (f64, &'a Photo)>) -> Vec<String> {
    let photos: Vec<_> = photos.into_iter().collect();
    let standards: Vec<Standard> = photos
        .into_par_iter()
        .enumerate()
        .map(|(i, (value, photo))| {
            Standard::new(value, format!("{i}.jpg"), photo, &by_card()).expect("a sight")
        })
        .collect();
    codes(Origin::Standards, &standards)
}

fn codes(origin: Origin, standards: &[Standard]) -> Vec<String> {
    let chart = build(CHART.terms.clone(), origin, standards).expect("a chart");
    let flags = resolve::flags(&chart).expect("a curve");
    flags.into_iter().map(|f| f.code).collect()
}

fn as_they_are(photos: &[(f64, Photo)]) -> impl Iterator<Item = (f64, &Photo)> {
    photos.iter().map(|(value, photo)| (*value, photo))
}

/// The same standards photographed once, mixed up, and with one that is nearly another.
#[test]
fn what_is_wrong_with_the_standards() {
    let sound = found(as_they_are(&SOUND));
    let once = found(as_they_are(&SOUND).step_by(2));
    told_apart("no-replicates", &once, &sound);

    let mixed_up = found(as_they_are(&SOUND).map(|(value, photo)| match value {
        5.0 => (20.0, photo),
        20.0 => (5.0, photo),
        other => (other, photo),
    }));
    told_apart("steps-out-of-line", &mixed_up, &sound);

    let near_another = shots(vec![(21.0, own(21.0, seed(21.0)))]);
    let alike = found(as_they_are(&SOUND).chain(as_they_are(&near_another)));
    told_apart("steps-alike", &alike, &sound);
}

/// A session of which half was photographed with much more exposure and by another phone's taste, and one in the light of a bare lamp
/// that moves.
#[test]
fn what_is_wrong_with_the_light_of_a_session() {
    let sound = found(as_they_are(&SOUND));
    let otherwise = shots(
        VALUES
            .iter()
            .map(|value| {
                let scene = with(own(*value, seed(*value)), |s| {
                    s.exposure.stops += 0.8;
                    s.phone.saturation *= 1.3;
                });
                (*value, scene)
            })
            .collect(),
    );
    let first = as_they_are(&SOUND).step_by(2);
    told_apart(
        "session-drift",
        &found(first.chain(as_they_are(&otherwise))),
        &sound,
    );

    // From the left, then from the right, through the vial onto the card behind it.
    let bare = |value: f64, azimuth_deg: f64| {
        with(own(value, seed(value)), |s| {
            let lamp = &mut s.light.sources[0];
            (lamp.azimuth_deg, lamp.elevation_deg) = (azimuth_deg, 20.0);
            (lamp.half_width_deg, lamp.half_height_deg) = (2.0, 2.0);
            (lamp.diffuse, lamp.barred, lamp.fall) = (0.15, false, Fall::Even);
        })
    };
    let lit = shots(
        VALUES
            .iter()
            .flat_map(|value| [-35.0, 5.0].map(|azimuth| (*value, bare(*value, azimuth))))
            .collect(),
    );
    told_apart("lamp-through-vials", &found(as_they_are(&lit)), &sound);
}

/// Steps taken from the card's own patches: ink, with the card's paper as white.
#[test]
fn a_chart_of_ink_says_so() {
    let shot = render(&own(0.0, SEED), &CARD);
    let at = |x: f64, y: f64| {
        let [u, v, w] = shot.geometry.homography.map(|r| r[0] * x + r[1] * y + r[2]);
        [u / w, v / w]
    };
    // The middle of a rectangle on the card, half as wide and high.
    let region = |x: f64, y: f64, w: f64, h: f64| {
        let [left, top] = at(x + 0.25 * w, y + 0.25 * h);
        let [right, bottom] = at(x + 0.75 * w, y + 0.75 * h);
        Area {
            x: left,
            y: top,
            w: right - left,
            h: bottom - top,
        }
    };
    let white = &CARD.paper[0];
    let inks: Vec<_> = CARD
        .patches
        .iter()
        .filter(|p| p.name != super::scenes::layout::LINE)
        .collect();
    let regions: Vec<(f64, Area)> = inks[..4]
        .iter()
        .zip(VALUES)
        .map(|(p, value)| (value, region(p.x, p.y, p.w, p.h)))
        .collect();
    let photo = decode(&shot.jpeg(), &Default::default()).expect("a photo");
    let white = region(white.x, white.y, white.w, white.h);
    let standards = printed(&photo, white, &regions).expect("colours");
    told_apart(
        "printed-colours",
        &codes(Origin::PrintedColours, &standards),
        &codes(Origin::Standards, &standards),
    );
}
