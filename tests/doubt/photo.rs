//! What the sight of card, light, vial and liquid says.

use rayon::prelude::*;
use tintwell::chart::Chart;
use tintwell::look::Where;
use tintwell::photo::{Limits, decode};
use tintwell::place::Area;
use tintwell::reading::{Answer, Told, read};

use super::scenes::light::{Fall, Source};
use super::scenes::spectra::illuminant;
use super::scenes::{Scene, Vec3, render};
use super::{CARD, CHART, SEED, TRUTH, by_card, own, photo, reading, told_apart, with};

fn with_own(change: impl FnOnce(&mut Scene)) -> Scene {
    with(own(TRUTH, SEED), change)
}

/// The phone's lamp straight before the vial in a darker room, its light on paper so strong.
fn flash(strength: f64) -> Scene {
    with_own(|s| {
        s.light.sources[0].strength = 0.4;
        let card = Vec3::new(CARD.width_mm / 2.0, CARD.height_mm / 2.0, 0.0);
        s.light
            .sources
            .push(Source::flash(strength, [90.0, 75.0, 280.0], card));
    })
}

fn fall_off(ratio: f64) -> Scene {
    with_own(|s| {
        s.light.sources[0].fall = Fall::Linear {
            ratio,
            towards_deg: 30.0,
        };
    })
}

/// A photo over-exposed and one half a stop below that; a card bleached by the sun and one bleached a little; light that falls off by
/// five to one and by two; a vial of another kind and a somewhat narrower one; a lamp
/// mirrored in the vial, two and a half times as strong as the room's light and three quarters as strong; tubes of three bands and the
/// lamp of the standards.
#[test]
fn faults_of_the_photo_are_told_from_their_absence() {
    let narrower = |part: f64| with_own(|s| s.vial.as_mut().expect("a vial").outer_mm *= part);
    let under = |lamp: &str| with_own(|s| s.light.sources[0].spd = illuminant(lamp));
    let cases: [(&str, Scene, Scene); 7] = [
        (
            "white-over-exposed",
            with_own(|s| s.exposure.stops = 1.2),
            with_own(|s| s.exposure.stops = 0.7),
        ),
        (
            "patches-do-not-match",
            with_own(|s| s.print.fade = 0.8),
            with_own(|s| s.print.fade = 0.4),
        ),
        ("strong-fall-off", fall_off(5.0), fall_off(2.0)),
        ("other-vial", narrower(1.0 / 1.3), narrower(1.0 / 1.15)),
        ("glare", flash(1.0), flash(0.3)),
        ("brighter-than-paper", flash(1.0), flash(0.3)),
        ("other-light", under("FL11"), own(TRUTH, SEED)),
    ];
    cases.into_par_iter().for_each(|(code, has, not)| {
        let codes = |scene: &Scene| reading(&photo(scene, &CARD), &by_card(), &CHART).1;
        told_apart(code, &codes(&has), &codes(&not));
    });
}

/// The empty glass over a little pool has no colour: it is not the sample, so there is no answer, and not one of *below*. On a chart
/// without a colourless step it has no place, and the pool is told all the same. A filled vial is read.
#[test]
fn a_little_pool_is_not_read_as_none() {
    let little = with_own(|s| s.liquid.as_mut().expect("a liquid").fill = 0.08);
    let [little, filled] = [little, own(TRUTH, SEED)].map(|scene| photo(&scene, &CARD));
    let refused = read(&little, &by_card(), &CHART, &Told::default());
    let refused = refused.err().expect("no reading of a little pool");
    assert!(refused.what.contains("little liquid"), "{refused}");
    let coloured = Chart {
        steps: CHART.steps[3..].to_vec(),
        ..CHART.clone()
    };
    let (off, has) = reading(&little, &by_card(), &coloured);
    assert!(matches!(off.answer, Answer::OffChart), "{:?}", off.answer);
    let (_, not) = reading(&filled, &by_card(), &CHART);
    told_apart("little-liquid", &has, &not);
}

/// One photo read with white and liquid marked by hand, with its card on a chart that was made so, and with its card on a chart that
/// was made with it.
#[test]
fn what_is_not_balanced_on_patches_says_so() {
    let shot = render(&own(TRUTH, SEED), &CARD);
    let photo = decode(&shot.jpeg(), &Limits::default()).expect("a photo");
    let paper = &CARD.paper[0];
    let at = |part: f64| {
        let (x, y) = (paper.x + part * paper.w, paper.y + part * paper.h);
        let [u, v, w] = shot.geometry.homography.map(|r| r[0] * x + r[1] * y + r[2]);
        [u / w, v / w]
    };
    let [_, [left_top, right_top, right_bottom, _]] = shot.truth.vial.expect("a vial");
    let within = |[x0, y0]: [f64; 2], [x1, y1]: [f64; 2]| Area {
        x: x0,
        y: y0,
        w: x1 - x0,
        h: y1 - y0,
    };
    let middle = |a: Area| Area {
        x: a.x + 0.3 * a.w,
        y: a.y + 0.3 * a.h,
        w: 0.4 * a.w,
        h: 0.4 * a.h,
    };
    assert!(right_top[0] > left_top[0]);
    let regions = Where::Regions {
        white: within(at(0.3), at(0.7)),
        liquid: middle(within(left_top, right_bottom)),
        photo: None,
    };
    let mut by_hand = CHART.clone();
    (by_hand.card, by_hand.inks_missed) = (None, None);
    by_hand.patches.clear();

    let (_, marked) = reading(&photo, &regions, &CHART);
    let (_, white_alone) = reading(&photo, &by_card(), &by_hand);
    let (_, whole) = reading(&photo, &by_card(), &CHART);
    told_apart("white-only", &marked, &whole);
    told_apart("no-patches", &white_alone, &whole);
    // Where no card was looked for, its patches are not missed.
    told_apart("no-patches", &white_alone, &marked);
}
