//! Every reason for doubt on a simulated photo that has it, and its absence on a photo near it that has it not.
//!
//! The chart is the shipped one of the invented nature centre, whose session is simulated from the same seed; the photos here
//! are none of those it was made from. Synthetic-known: what was put into a scene must be found.

#[path = "scenes/mod.rs"]
mod scenes;

use std::sync::LazyLock;

use rayon::prelude::*;
use scenes::light::Shadow;
use scenes::print::Stain;
use scenes::{Foul, Layout, Scene, Series, Session, render};
use tintwell::blank::Blank;
use tintwell::card::design::Design;
use tintwell::chart::calibrate::{Standard, build};
use tintwell::chart::{Chart, Origin, file};
use tintwell::flag::{Severity, Verdict};
use tintwell::look::{Where, look};
use tintwell::photo::{Limits, Photo, decode};
use tintwell::reading::{Answer, Told, read};
use tintwell::vial::Found;
use tintwell::vial::find::Vial;

static CARD: LazyLock<Layout> =
    LazyLock::new(|| Layout::from_json(include_str!("../calibration/card-side.json")));
static CHART: LazyLock<Chart> = LazyLock::new(|| {
    file::parse(include_str!("../calibration/alder-creek-nitrate.json")).expect("the shipped chart")
});
/// What all scenes hold unless they say otherwise, mg/L.
const TRUTH: f64 = 12.0;
/// First of the seeds of the photos here; the session and week took 1 to 21.
const SEED: u64 = 101;

/// The session of the shipped chart: see `tests/scenes/fixtures.rs`.
fn session() -> Session {
    Session::new(1, Series::Pink)
}

/// What came of a photo.
struct Seen {
    /// Codes of the flags.
    codes: Vec<String>,
    /// `None` if the photo could not be read at all, for the reason in `why`.
    verdict: Option<Verdict>,
    answer: Option<Answer>,
    why: String,
}

fn seen(scene: &Scene) -> Seen {
    seen_on(scene, &CHART)
}

fn seen_on(scene: &Scene, chart: &Chart) -> Seen {
    let photo = decode(&render(scene, &CARD).jpeg(), &Limits::default()).expect("a photo");
    match read(&photo, &Where::Card(Design::all()), chart, &Told::default()) {
        Ok((checked, _)) => Seen {
            codes: checked.flags.iter().map(|f| f.code.clone()).collect(),
            verdict: Some(checked.value.verdict),
            answer: Some(checked.value.answer),
            why: String::new(),
        },
        Err(e) => Seen {
            codes: Vec::new(),
            verdict: None,
            answer: None,
            why: e.what,
        },
    }
}

/// Reads scenes in parallel and gives each outcome with its name.
fn all(scenes: Vec<(String, Scene)>) -> Vec<(String, Seen)> {
    scenes
        .into_par_iter()
        .map(|(name, scene)| (name, seen(&scene)))
        .collect()
}

#[test]
fn what_is_wrong_is_flagged() {
    // Kind, shot seed, flag. Seeds are the first ones in which the kind is plain (a narrow shadow may miss the vial).
    const CASES: [(Foul, u64, &str); 9] = [
        (Foul::Shadow, SEED + 1, "shadow-edge"),
        (Foul::MixedLight, SEED, "mixed-light"),
        (Foul::FlashGlare, SEED, "flash"),
        (Foul::OverRange, SEED, "beyond-top"),
        (Foul::OtherDye, SEED, "colour-off-chart"),
        (Foul::Turbid, SEED, "cloudy-liquid"),
        (Foul::Layered, SEED, "uneven-liquid"),
        (Foul::CoveredMarkers, SEED, "card-partly-covered"),
        (Foul::Bent, SEED, "card-bent"),
    ];
    let scenes = CASES.map(|(kind, seed, code)| {
        (
            format!("{kind:?}: {code}"),
            session().foul(kind, TRUTH, seed),
        )
    });
    for ((name, seen), (kind, _, code)) in all(scenes.into()).iter().zip(CASES) {
        assert!(
            seen.codes.iter().any(|c| c == code),
            "{name}: {:?} {}",
            seen.codes,
            seen.why
        );
        // A card partly covered or a little bent still reads true.
        if !matches!(kind, Foul::CoveredMarkers | Foul::Bent) {
            assert_ne!(seen.verdict, Some(Verdict::Trusted), "{name}");
        }
    }
}

/// A window at the side, not high: what goes through the liquid falls beside the vial. The same window before it raises nothing.
#[test]
fn light_from_aside_is_told() {
    let lit = |azimuth: f64| {
        let mut scene = session().own(TRUTH, SEED);
        for lamp in &mut scene.light.sources {
            lamp.azimuth_deg = azimuth;
            lamp.elevation_deg = 20.0;
            lamp.half_width_deg = 12.0;
            lamp.diffuse = 0.1;
        }
        (format!("from {azimuth} degrees"), scene)
    };
    for (name, seen) in all(vec![lit(60.0), lit(-60.0), lit(15.0)]) {
        let told = seen.codes.iter().any(|c| c == "light-from-aside");
        assert_eq!(
            told,
            !name.contains("15"),
            "{name}: {:?} {}",
            seen.codes,
            seen.why
        );
        if told {
            assert_ne!(seen.verdict, Some(Verdict::Trusted), "{name}");
        }
    }
}

#[test]
fn what_cannot_be_read_says_why() {
    const CASES: [(Foul, &str); 6] = [
        (Foul::BlownOut, "over-exposed"),
        (Foul::VeryDark, "too dark"),
        (Foul::Blurred, "no card"),
        (Foul::NoVial, "no vial"),
        (Foul::TwoCards, "two cards"),
        (Foul::NoCard, "no card"),
    ];
    let scenes = CASES.map(|(kind, _)| (format!("{kind:?}"), session().foul(kind, TRUTH, SEED)));
    for ((name, seen), (_, word)) in all(scenes.into()).iter().zip(CASES) {
        assert_eq!(seen.verdict, None, "{name}: {:?}", seen.codes);
        assert!(seen.why.contains(word), "{name}: {}", seen.why);
    }
}

/// Near the foul ones: fall-off without an edge, one lamp instead of two, the same dye, mixed and clear, a card seen whole.
#[test]
fn sound_photos_are_trusted_and_true() {
    let mut scenes = Vec::new();
    for seed in SEED..SEED + 3 {
        scenes.push((format!("own {seed}"), session().own(TRUTH, seed)));
        scenes.push((format!("uneven {seed}"), session().uneven(TRUTH, seed)));
    }
    for (name, seen) in all(scenes) {
        assert_eq!(
            seen.verdict,
            Some(Verdict::Trusted),
            "{name}: {:?} {}",
            seen.codes,
            seen.why
        );
        let Some(Answer::Value { value, low, high }) = seen.answer else {
            panic!("{name}: {:?}", seen.answer);
        };
        assert!(low <= TRUTH && TRUTH <= high, "{name}: {low} to {high}");
        let off = CHART.step_position(value) - CHART.step_position(TRUTH);
        assert!(off.abs() < 0.3, "{name}: {off:.2} steps off");
    }
}

/// The lines behind the vial show through a clear liquid, a little less through a hazy one, and hardly through a cloudy one,
/// whose colour alone would pass for less of the substance.
#[test]
fn the_lines_tell_a_cloudy_liquid_from_a_pale_one() {
    let hazy = |turbidity: f64| {
        let mut scene = session().own(TRUTH, SEED + 3);
        scene.liquid.as_mut().expect("a liquid").turbidity = turbidity;
        (format!("turbidity {turbidity}"), scene)
    };
    let seen = all([0.0, 0.05, 0.35, 0.6].map(hazy).into());
    let cloudy: Vec<bool> = seen
        .iter()
        .map(|(_, s)| s.codes.iter().any(|c| c == "cloudy-liquid"))
        .collect();
    assert_eq!(cloudy, [false, false, true, true]);
    assert_eq!(seen[0].1.verdict, Some(Verdict::Trusted));
    assert_ne!(seen[2].1.verdict, Some(Verdict::Trusted));
}

/// Near the end of a chart whose session was lit by a lamp that shone through its vials, unlike from photo to photo, a reading is
/// doubted; elsewhere on it, and on the chart as it is, not.
#[test]
fn the_end_of_an_unsteady_chart_is_doubted() {
    let mut unsteady = CHART.clone();
    unsteady.lens.as_mut().expect("a lens").scatter = 0.06;
    let doubted = |truth: f64, chart: &Chart| {
        let seen = seen_on(&session().own(truth, SEED + 4), chart);
        assert!(seen.answer.is_some(), "{}", seen.why);
        seen.codes.iter().any(|c| c == "top-unsure")
    };
    assert!(doubted(60.0, &unsteady));
    assert!(!doubted(TRUTH, &unsteady));
    assert!(!doubted(60.0, &CHART));
    // Where the last step is known well, what lies past it is not taken for it.
    let mut sure = unsteady;
    for row in &mut sure.steps.last_mut().expect("steps").covariance {
        *row = row.map(|v| v / 100.0);
    }
    assert!(!doubted(60.0, &sure));
}

/// A standard that was not mixed is pointed out by name; mixed ones are not.
#[test]
fn a_standard_that_is_not_mixed_is_pointed_out() {
    let pointed_out = |layers: f64| -> Vec<String> {
        let standards: Vec<Standard> = [0.0, 5.0, 20.0, 40.0]
            .into_par_iter()
            .map(|value| {
                let mut scene = session().own(value, SEED + value as u64);
                if value == 20.0 {
                    scene.liquid.as_mut().expect("a liquid").layers = layers;
                }
                let photo = decode(&render(&scene, &CARD).jpeg(), &Limits::default());
                let (photo, by) = (photo.expect("a photo"), Where::Card(Design::all()));
                Standard::new(value, format!("n{value}.jpg"), &photo, &by).expect("a sight")
            })
            .collect();
        let chart = build(CHART.terms.clone(), Origin::Standards, &standards).expect("a chart");
        let uneven = chart.found.iter().filter(|f| f.code == "standard-uneven");
        uneven.map(|f| f.message.clone()).collect()
    };
    assert!(pointed_out(0.0).is_empty(), "{:?}", pointed_out(0.0));
    let said = pointed_out(0.7);
    assert!(said.len() == 1 && said[0].contains("n20.jpg"), "{said:?}");
}

/// What was wrong with standards stays with the chart, and makes every reading on it doubtful.
#[test]
fn a_chart_of_doubtful_standards_is_doubtful() {
    let scenes: Vec<(f64, Scene)> = [0.0, 5.0, 10.0, 20.0, 40.0]
        .into_iter()
        .flat_map(|value| {
            [0, 1].map(|n| (value, session().own(value, SEED + 2 * value as u64 + n)))
        })
        .collect();
    let photo =
        |scene: &Scene| decode(&render(scene, &CARD).jpeg(), &Limits::default()).expect("a photo");
    let photos: Vec<Photo> = scenes.par_iter().map(|(_, scene)| photo(scene)).collect();
    let sound: Vec<(f64, &Photo)> = scenes.iter().map(|(v, _)| *v).zip(&photos).collect();
    let with = |places: &[usize], other| {
        let mut all = sound.clone();
        for i in places {
            all[*i].1 = other;
        }
        all
    };
    let mut mixed_up = sound.clone();
    for i in 2..4 {
        (mixed_up[i].0, mixed_up[i + 4].0) = (mixed_up[i + 4].0, mixed_up[i].0);
    }
    let mut blurred = scenes[4].1.clone();
    blurred.exposure.defocus = 0.0035;
    let [blurred, another] = [blurred, session().own(40.0, SEED + 7)].map(|scene| photo(&scene));
    let cases = [
        (None, sound.clone()),
        (Some("steps-out-of-line"), mixed_up),
        (Some("standard-doubtful"), with(&[4, 5], &blurred)),
        (None, with(&[4], &blurred)),
        (Some("standard-disagrees"), with(&[4], &another)),
    ];
    for (code, standards) in cases {
        let by = Where::Card(Design::all());
        let standards: Vec<Standard> = standards
            .par_iter()
            .enumerate()
            .map(|(i, (value, photo))| {
                Standard::new(*value, format!("{i}.jpg"), photo, &by).expect("a sight")
            })
            .collect();
        let chart = build(CHART.terms.clone(), Origin::Standards, &standards).expect("a chart");
        let doubts: Vec<&str> = chart
            .found
            .iter()
            .filter(|f| f.severity != Severity::Note)
            .map(|f| f.code.as_str())
            .collect();
        assert_eq!(doubts.first().copied(), code, "{:?}", chart.found);
        // The other photo of the same standard makes up for a blurred one.
        let left_out = chart.found.iter().any(|f| f.code == "standard-left-out");
        let photos: usize = chart.steps.iter().map(|s| s.photos).sum();
        assert_eq!(left_out, photos == 9, "{:?}", chart.found);
        // As it is kept.
        let kept = file::parse(&file::write(&chart)).expect("a chart");
        let seen = seen_on(&session().own(TRUTH, SEED + 60), &kept);
        assert_eq!(
            seen.codes.iter().any(|c| c == "chart-doubtful"),
            code.is_some(),
            "{:?}",
            seen.codes
        );
    }
}

/// A photo that does not show the lines says that it would not notice.
#[test]
fn a_card_without_its_lines_says_so() {
    let mut plain = CARD.clone();
    plain.patches.retain(|p| p.name != scenes::layout::LINE);
    let photo = |card: &Layout| {
        let bytes = render(&session().own(TRUTH, SEED), card).jpeg();
        let photo = decode(&bytes, &Limits::default()).expect("a photo");
        read(
            &photo,
            &Where::Card(Design::all()),
            &CHART,
            &Told::default(),
        )
        .expect("a reading")
        .0
    };
    let said = |card: &Layout| photo(card).flags.iter().any(|f| f.code == "lines-not-seen");
    assert!(said(&plain) && !said(&CARD));
}

/// Yellow water passes for something else, or for another concentration; with a blank of the same water the dye is read.
#[test]
fn a_blank_takes_the_waters_colour_off() {
    let yellow = |concentration: f64, seed: u64| {
        let mut scene = session().own(concentration, seed);
        let liquid = scene.liquid.as_mut().expect("a liquid");
        // A fifth of violet light on its way through the vial.
        liquid.dye.water = 0.1 / liquid.dye.path_mm;
        scene
    };
    let cases: Vec<(u64, f64)> = vec![(SEED, 1.5), (SEED + 1, 6.0), (SEED + 2, 15.0)];
    let off: Vec<(f64, f64)> = cases
        .into_par_iter()
        .map(|(seed, truth)| {
            let by = Where::Card(Design::all());
            let photo = |scene: &Scene| {
                decode(&render(scene, &CARD).jpeg(), &Limits::default()).expect("a photo")
            };
            let blank = Blank::new(&photo(&yellow(0.0, seed + 50)), &by, &CHART).expect("a blank");
            assert!(blank.flags.is_empty(), "{:?}", blank.flags);
            let tint = blank.value.tint;
            assert!(
                tint.z < -0.08 && tint.z < tint.y,
                "blue suffers most: {tint}"
            );
            let sample = photo(&yellow(truth, seed));
            let told = Told {
                blank: Some(blank),
                ..Told::default()
            };
            let with = read(&sample, &by, &CHART, &told)
                .expect("a reading")
                .0
                .value;
            let without = read(&sample, &by, &CHART, &Told::default())
                .expect("a reading")
                .0
                .value;
            let Answer::Value { value, low, high } = with.answer else {
                panic!("{:?}", with.answer);
            };
            assert!(low <= truth && truth <= high, "{truth}: {low} to {high}");
            assert!(
                with.shares
                    .iter()
                    .any(|s| s.reason.contains("blank") && s.share > 0.0),
                "{:?}",
                with.shares
            );
            let bare = without.delta_e_chart;
            assert!(value > 0.0);
            (with.delta_e_chart, bare)
        })
        .collect();
    for (with, without) in off {
        assert!(
            with < 0.6 * without,
            "{with} of {without} CIEDE2000 off the chart"
        );
    }
}

/// A blank with reagent in it is no blank.
#[test]
fn a_blank_that_is_none_is_doubted() {
    let by = Where::Card(Design::all());
    let scene = session().own(40.0, SEED);
    let photo = decode(&render(&scene, &CARD).jpeg(), &Limits::default()).expect("a photo");
    let blank = Blank::new(&photo, &by, &CHART).expect("a blank");
    assert!(
        blank.flags.iter().any(|f| f.code == "blank-strong"),
        "{:?}",
        blank.flags
    );
    // A little of it: the colour of a sample as weak as the second standard.
    let weak = session().own(5.0, SEED);
    let photo = decode(&render(&weak, &CARD).jpeg(), &Limits::default()).expect("a photo");
    let blank = Blank::new(&photo, &by, &CHART).expect("a blank");
    assert!(
        blank.flags.iter().any(|f| f.code == "blank-like-sample"),
        "{:?}",
        blank.flags
    );
    let mut layered = session().own(10.0, SEED);
    layered.liquid.as_mut().expect("a liquid").layers = 0.8;
    let photo = decode(&render(&layered, &CARD).jpeg(), &Limits::default()).expect("a photo");
    let blank = Blank::new(&photo, &by, &CHART).expect("a blank");
    assert!(
        blank.flags.iter().any(|f| f.code == "blank-doubtful"),
        "{:?}",
        blank.flags
    );
}

/// The vial found in a scene.
fn vial(scene: &Scene) -> Vial {
    let photo = decode(&render(scene, &CARD).jpeg(), &Limits::default()).expect("a photo");
    match look(&photo, &Where::Card(Design::all()))
        .expect("a sight")
        .vial
    {
        Some(Found::Standing(vial)) => vial,
        other => panic!("no standing vial: {other:?}"),
    }
}

/// A lamp from the side throws the vial's shadow on the card beside it, with an edge as plain as the outline (study seed 5501).
#[test]
fn the_shadow_of_a_vial_is_not_its_side() {
    let session = Session::new(5_501_000, Series::YellowRed);
    let shots: Vec<(f64, u64)> = [0.0, 5.0, 20.0]
        .into_iter()
        .flat_map(|concentration| (0..2).map(move |shot| (concentration, SEED + shot)))
        .collect();
    shots.into_par_iter().for_each(|(concentration, seed)| {
        let scene = session.own(concentration, seed);
        // It stands a few millimetres before the card, so it looks a little wider there.
        let wider = vial(&scene).width() / session.vial.outer_mm;
        assert!(
            (0.95..1.18).contains(&wider),
            "{concentration} mg/L, shot {seed}: {wider:.2} times its width"
        );
    });
}

/// A pool that is seen under the foot of the card alone (study seed 8101): the glass above it is colourless.
#[test]
fn a_pool_under_the_foot_is_seen() {
    let session = Session::new(8_101_000, Series::Indophenol);
    let [little, full] = [
        session.foul(Foul::LittleLiquid, 1.0, 8_101_005),
        session.own(0.0, 8_101_005),
    ]
    .map(|scene| vial(&scene).deeper_below);
    assert!(little && !full);
}

/// A colourless reading asks for the surface of a liquid, or for lines behind it that water lowers: an empty vial shows no colour
/// either. The one filled up to its cap shows no surface.
#[test]
fn an_empty_vial_is_no_zero() {
    let zero = session().own(0.0, SEED);
    let (mut full, mut empty) = (zero.clone(), zero.clone());
    full.liquid.as_mut().expect("a liquid").fill = 0.98;
    empty.liquid = None;
    let seen = all(vec![
        ("zero".into(), zero),
        ("full".into(), full),
        ("empty".into(), empty),
    ]);
    for (name, seen) in &seen[..2] {
        assert!(
            matches!(seen.answer, Some(Answer::Below { .. })),
            "{name}: {:?}",
            seen.answer
        );
        assert_eq!(
            seen.verdict,
            Some(Verdict::Trusted),
            "{name}: {:?}",
            seen.codes
        );
    }
    assert_ne!(
        seen[2].1.verdict,
        Some(Verdict::Trusted),
        "{:?}",
        seen[2].1.codes
    );
    assert!(
        seen[2].1.codes.contains(&"no-surface".to_owned()),
        "{:?}",
        seen[2].1.codes
    );
}

/// A photo out of focus, one taken in the dark, a vial aside, a drop of something on a patch, a shadow whose edge falls over the
/// vial, a weak one with a hard edge, a cloudy liquid; and beside each one that is not: the shadow aside of the vial, the weak one
/// with a soft edge, a clear liquid seen from high above.
#[test]
fn faults_of_the_photo_are_told_from_their_absence() {
    let own = session().own(TRUTH, SEED);
    let with = |change: &dyn Fn(&mut Scene)| {
        let mut scene = own.clone();
        change(&mut scene);
        scene
    };
    // Half the plane to the right of `edge` (mm on the card) in shadow.
    let shadow = |edge: f64| Shadow {
        at: [edge + 400.0, 80.0],
        across_deg: 0.0,
        half_width_mm: 400.0,
        soft_mm: 8.0,
        depth: 0.5,
    };
    // The same before the edge of the vial, with little light kept out: by something near, or by something far.
    let weak_shadow = |soft_mm: f64| Shadow {
        soft_mm,
        depth: 0.3,
        ..shadow(78.0)
    };
    let cases: [(&str, Scene, Scene); 8] = [
        (
            "blurred",
            with(&|s| s.exposure.defocus = 0.0035),
            with(&|s| s.exposure.defocus = 0.0015),
        ),
        (
            "noisy",
            with(&|s| {
                s.exposure.stops -= 1.0;
                (s.exposure.gain, s.phone.smooth) = (6.0, [0.0, 0.0]);
            }),
            with(&|s| (s.exposure.gain, s.phone.smooth) = (2.0, [0.0, 0.0])),
        ),
        (
            "off-foot-mark",
            with(&|s| s.stand.offset_mm = -8.0),
            with(&|s| s.stand.offset_mm = -3.0),
        ),
        (
            "patches-left-out",
            with(&|s| {
                // On one patch of the outer column, and on bare paper between two.
                s.print.stains.push(Stain {
                    at: [34.5, 29.0],
                    radius_mm: 7.0,
                    takes: [0.1, 0.45, 0.7],
                });
            }),
            with(&|s| {
                s.print.stains.push(Stain {
                    at: [15.0, 90.0],
                    radius_mm: 3.0,
                    takes: [0.1, 0.45, 0.7],
                });
            }),
        ),
        (
            "shadow-edge",
            with(&|s| s.light.shadow = Some(shadow(90.0))),
            with(&|s| s.light.shadow = Some(shadow(135.0))),
        ),
        (
            "shadow-edge",
            with(&|s| s.light.shadow = Some(weak_shadow(3.0))),
            with(&|s| s.light.shadow = Some(weak_shadow(60.0))),
        ),
        (
            "seen-from-aside",
            with(&|s| (s.pose.tilt_deg, s.pose.from_deg) = (27.0, 10.0)),
            with(&|s| (s.pose.tilt_deg, s.pose.from_deg) = (27.0, 75.0)),
        ),
        (
            "cloudy-liquid",
            with(&|s| s.liquid.as_mut().expect("a liquid").turbidity = 0.5),
            with(&|s| (s.pose.tilt_deg, s.pose.from_deg) = (30.0, 65.0)),
        ),
    ];
    let scenes = cases
        .iter()
        .flat_map(|(code, has, not)| {
            [
                (format!("{code}: yes"), has.clone()),
                (format!("{code}: no"), not.clone()),
            ]
        })
        .collect();
    let seen = all(scenes);
    for ((code, ..), pair) in cases.iter().zip(seen.chunks(2)) {
        let raised = |i: usize| pair[i].1.codes.iter().any(|c| c == code);
        assert!(
            raised(0),
            "{}: {:?} {}",
            pair[0].0,
            pair[0].1.codes,
            pair[0].1.why
        );
        assert!(!raised(1), "{}: {:?}", pair[1].0, pair[1].1.codes);
        // Where the photo beside it is trusted, so it is for what it shows.
        assert_eq!(
            pair[1].1.verdict,
            Some(Verdict::Trusted),
            "{}: {:?}",
            pair[1].0,
            pair[1].1.codes
        );
    }
    // The stained card still reads true, on the patches that are left.
    let Some(Answer::Value { low, high, .. }) = seen[6].1.answer else {
        panic!("{:?}", seen[6].1.answer);
    };
    assert!(low <= TRUTH && TRUTH <= high, "{low} to {high}");
}

/// Half a stop more light, or another white balance, is the same water. A tone curve bends both a little.
#[test]
fn strength_and_balance_of_light_leave_the_value() {
    let own = session().own(TRUTH, SEED);
    let mut brighter = own.clone();
    brighter.exposure.stops += 0.5;
    let mut warmer = own.clone();
    warmer.exposure.tint[0] += 0.1;
    let seen = all(vec![
        ("own".into(), own),
        ("brighter".into(), brighter),
        ("warmer".into(), warmer),
    ]);
    let positions: Vec<f64> = seen
        .iter()
        .map(|(name, s)| match s.answer {
            Some(Answer::Value { value, .. }) => CHART.step_position(value),
            _ => panic!("{name}: {:?} {}", s.answer, s.why),
        })
        .collect();
    for (p, (name, _)) in positions.iter().zip(&seen) {
        assert!(
            (p - positions[0]).abs() < 0.15,
            "{name}: {p} for {}",
            positions[0]
        );
    }
}
