//! Synthetic-known: the card must be found where the scene has put it.
//!
//! Bounds are those the finder promises: 0.3 pixels root mean square over the whole face in a sharp photo, 0.7 in a
//! blurred one.

mod scene;
#[path = "../scenes/srgb.rs"]
#[allow(dead_code)]
mod srgb;

use scene::{Pose, Scene};
use tintwell::card::design::{Design, Tag};
use tintwell::card::find::{find, find_from};
use tintwell::place::{Area, CardSeen, Place};

const STRAIGHT: Pose = Pose {
    tilt: 5.0,
    towards: 30.0,
    roll: 3.0,
    span: 0.5,
    shift: (0.02, -0.01),
};

fn photo(pose: Pose) -> Scene {
    Scene::of(Design::side(), 1600, 1200, pose)
}

fn found(scene: &Scene) -> (Place, CardSeen) {
    let place = find(&scene.render(), &Design::all()).unwrap_or_else(|e| panic!("{e}\n{scene:?}"));
    let card = place.card.clone().expect("found by a card");
    (place, card)
}

fn refused(scene: &Scene) -> String {
    match find(&scene.render(), &Design::all()) {
        Ok(place) => panic!("found {:?} in {scene:?}", place.card),
        Err(error) => error.to_string(),
    }
}

/// Root mean square distance between the map found and the true one, over a grid on the whole face, pixels.
fn miss(scene: &Scene, place: &Place) -> f64 {
    let design = &scene.cards[0].0;
    let truth = tintwell::place::Homography(scene.truth(0));
    let mut sum = 0.0;
    for i in 0..=9 {
        for j in 0..=6 {
            let (x, y) = (
                design.width_mm * f64::from(i) / 9.0,
                design.height_mm * f64::from(j) / 6.0,
            );
            let (a, b) = (truth.map(x, y), place.to_photo.map(x, y));
            sum += (a.0 - b.0).powi(2) + (a.1 - b.1).powi(2);
        }
    }
    (sum / 70.0).sqrt()
}

fn over(tag: &Tag) -> (Area, f64) {
    (
        Area {
            x: tag.x - 4.0,
            y: tag.y + 5.0,
            w: tag.size + 8.0,
            h: tag.size - 5.0,
        },
        0.3,
    )
}

/// One marker of the family on a slip of white paper.
fn slip(id: u32) -> Design {
    Design {
        id: "slip",
        width_mm: 24.0,
        height_mm: 24.0,
        tags: vec![Tag {
            id,
            x: 3.0,
            y: 3.0,
            size: 18.0,
        }],
        patches: Vec::new(),
        ..Design::side()
    }
}

#[test]
fn any_rotation_and_tilt_to_forty_degrees() {
    for (n, tilt) in [0.0, 10.0, 20.0, 30.0, 40.0, 40.0, 40.0, 25.0]
        .into_iter()
        .enumerate()
    {
        let n = n as f64;
        let scene = photo(Pose {
            tilt,
            towards: n * 77.0,
            roll: n * 47.0 - 3.0,
            ..STRAIGHT
        });
        let (place, card) = found(&scene);
        assert_eq!(card.tags_found.len(), 6, "tilt {tilt}");
        let miss = miss(&scene, &place);
        assert!(miss < 0.3, "tilt {tilt}: {miss} pixels off");
        assert!(
            card.residual_px < 0.3,
            "tilt {tilt}: residual {}",
            card.residual_px
        );
        // The scale of the pinhole camera at the centre of the card, where the tilt foreshortens one way.
        let scale = 0.5 * 1600.0 / 180.0 * f64::cos(tilt.to_radians()).sqrt();
        assert!(
            (card.px_per_mm / scale - 1.0).abs() < 0.02,
            "tilt {tilt}: {} not {scale} px/mm",
            card.px_per_mm
        );
        // Off the optical axis by a fiftieth of the picture the line of sight turns by less than 2 degrees.
        let told = card.tilt_deg.expect("a tilt");
        assert!((told - tilt).abs() < 4.0, "tilt {tilt} told as {told}");
    }
}

#[test]
fn the_cards_of_all_designs() {
    for design in Design::all() {
        let scene = Scene::of(design.clone(), 1600, 1200, STRAIGHT);
        let (place, card) = found(&scene);
        assert_eq!(card.design, design.id);
        assert_eq!(card.tags_found.len(), card.tags_expected);
        assert_eq!(place.patches.len(), design.patches.len());
        assert_eq!(place.white, design.paper[0]);
    }
}

#[test]
fn blurred() {
    for blur in [2.0, 4.0] {
        let mut scene = photo(Pose {
            tilt: 25.0,
            towards: 200.0,
            roll: 160.0,
            ..STRAIGHT
        });
        scene.blur = blur;
        let (place, _) = found(&scene);
        let miss = miss(&scene, &place);
        assert!(miss < 0.7, "blur {blur}: {miss} pixels off");
    }
}

#[test]
fn dim_hazy_noisy_or_half_in_shadow() {
    let tilted = Pose {
        tilt: 30.0,
        towards: 100.0,
        roll: 80.0,
        span: 0.4,
        ..STRAIGHT
    };
    type Change = fn(&mut Scene);
    let cases: [(&str, Change); 4] = [
        ("dim", |s| (s.light, s.noise) = (0.02, 0.003)),
        ("hazy", |s| (s.light, s.haze) = (0.1, 0.5)),
        ("noisy", |s| s.noise = 0.05),
        ("half in shadow", |s| s.shadow = Some(0.15)),
    ];
    for (name, change) in cases {
        let mut scene = photo(tilted);
        change(&mut scene);
        let (place, card) = found(&scene);
        assert!(card.tags_found.len() >= 5, "{name}: {:?}", card.tags_found);
        let miss = miss(&scene, &place);
        assert!(miss < 0.7, "{name}: {miss} pixels off");
    }
}

#[test]
fn with_markers_covered() {
    let count = Design::side().tags.len();
    for a in 0..count {
        for b in 0..a {
            let mut two = photo(Pose {
                tilt: 15.0,
                towards: f64::from(a as u32) * 60.0,
                ..STRAIGHT
            });
            two.covers = [a, b]
                .iter()
                .map(|i| over(&two.cards[0].0.tags[*i]))
                .collect();
            let (place, card) = found(&two);
            assert_eq!(card.tags_found.len(), 4, "without {a} and {b}");
            assert!(
                miss(&two, &place) < 0.3,
                "without {a} and {b}: {} pixels off",
                miss(&two, &place)
            );
        }
    }
    let mut four = photo(STRAIGHT);
    four.covers = [0, 1, 3, 4]
        .iter()
        .map(|i| over(&four.cards[0].0.tags[*i]))
        .collect();
    assert_eq!(found(&four).1.tags_found.len(), 2);
}

#[test]
fn clutter_and_foreign_markers_do_not_matter() {
    for seed in 0..3 {
        let mut scene = photo(STRAIGHT);
        (scene.seed, scene.clutter) = (seed, 300);
        scene.cards.push((
            slip(400),
            Pose {
                span: 0.07,
                shift: (0.4, 0.3),
                ..STRAIGHT
            },
        ));
        let (place, card) = found(&scene);
        assert_eq!(card.tags_found.len(), 6);
        assert!(miss(&scene, &place) < 0.3);
    }
}

#[test]
fn a_bent_card_shows_in_the_residual() {
    let flat = found(&photo(STRAIGHT)).1;
    let mut scene = photo(STRAIGHT);
    scene.bend = 4.0;
    let bent = found(&scene).1;
    assert_eq!(bent.tags_found.len(), 6);
    assert!(
        bent.residual_mm > 4.0 * flat.residual_mm,
        "{} against {}",
        bent.residual_mm,
        flat.residual_mm
    );
    scene.bend = 40.0;
    let message = refused(&scene);
    assert!(
        message.contains("plane") || message.contains("one flat card"),
        "{message}"
    );
}

#[test]
fn a_reduced_picture_and_the_full_one_agree() {
    let scene = Scene::of(Design::side(), 3200, 2400, STRAIGHT);
    let gray = scene.render();
    let whole = find_from(&gray, 1.0, &gray, &Design::all()).unwrap();
    let two = find(&gray, &Design::all()).unwrap();
    assert!(miss(&scene, &two) < 0.3);
    for (x, y) in [(0.0, 0.0), (180.0, 0.0), (180.0, 124.0), (0.0, 124.0)] {
        let (a, b) = (whole.to_photo.map(x, y), two.to_photo.map(x, y));
        assert!((a.0 - b.0).hypot(a.1 - b.1) < 0.05, "{a:?} {b:?}");
    }
}

#[test]
fn what_the_photo_cuts_off_is_left_out() {
    let scene = photo(Pose {
        span: 0.9,
        shift: (0.27, 0.0),
        tilt: 0.0,
        roll: 0.0,
        ..STRAIGHT
    });
    let (place, card) = found(&scene);
    assert!(place.patches.len() < scene.cards[0].0.patches.len());
    assert!(card.tags_found.len() < 6);
}

#[test]
fn pictures_of_any_size_and_kind_are_refused_not_panicked_at() {
    for (width, height) in [(1, 1), (2, 2000), (15, 15), (16, 16), (3000, 17)] {
        for kind in 0..3 {
            let gray = image::GrayImage::from_fn(width, height, |x, y| {
                image::Luma([match kind {
                    0 => 0,
                    1 => 255 * u8::from((x / 13 + y / 13) % 2 == 0),
                    _ => (x.wrapping_mul(2_654_435_761) ^ y.wrapping_mul(40_503)).to_le_bytes()[2],
                }])
            });
            let error = find(&gray, &Design::all()).expect_err("no card");
            assert!(error.what.starts_with("no card found"), "{error}");
        }
    }
}

#[test]
fn refusals_say_what_to_do() {
    let mut none = photo(Pose {
        shift: (5.0, 0.0),
        ..STRAIGHT
    });
    none.clutter = 200;
    assert_eq!(
        refused(&none),
        "no card found in the photo: none of its black square markers can be made out\n  what to do: photograph the whole \
         card with the vial before it, in focus, large in the picture and evenly lit; or mark the white paper and the vial \
         by hand with --white and --vial"
    );

    let mut one = photo(STRAIGHT);
    one.covers = (1..6).map(|i| over(&one.cards[0].0.tags[i])).collect();
    let id = one.cards[0].0.tags[0].id;
    assert_eq!(
        refused(&one),
        format!(
            "only one marker of the card was found (number {id}); at least two are needed\n  what to do: keep fingers, vial \
             and shadows off the square markers at the card's edges, and have the whole card in the photo"
        )
    );

    let foreign = Scene::of(
        slip(400),
        2000,
        1500,
        Pose {
            span: 0.1,
            ..STRAIGHT
        },
    );
    assert!(refused(&foreign).contains("the markers seen (400) are not of a Tintwell card"));

    let half = |x: f64| Pose {
        span: 0.35,
        shift: (x, 0.0),
        ..STRAIGHT
    };
    let mut twins = photo(half(-0.22));
    twins.cards.push((Design::side(), half(0.22)));
    assert!(refused(&twins).contains("two cards are in the photo"));

    let mut pair = photo(half(-0.22));
    pair.cards.push((Design::above(), half(0.22)));
    assert!(refused(&pair).contains("two different cards are in the photo"));

    let cut = photo(Pose {
        span: 0.8,
        shift: (0.5, 0.0),
        ..STRAIGHT
    });
    assert!(refused(&cut).contains("cut off by the edge of the photo"));

    let mut far = photo(Pose {
        span: 0.11,
        ..STRAIGHT
    });
    far.blur = 0.3;
    assert!(
        refused(&far).contains("too small in the photo"),
        "{}",
        refused(&far)
    );
}
