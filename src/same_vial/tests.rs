//! Which photos go in, and what is said about the others.

use super::*;
use crate::chart::file;
use crate::colour::Relative;
use crate::error::Error;
use crate::estimate::budget::Budget;
use crate::light::correct::Shape;
use crate::photo::CaptureFacts;
use crate::reading::CorrectionUsed;

/// Steps at 0, 2, 5, 10, 20, 40 and 80 mg/L.
fn chart() -> Chart {
    file::parse(include_str!("../../calibration/alder-creek-nitrate.json")).unwrap()
}

/// A photo with `flags` (code, severity), half of whose variance is its own.
fn photo(answer: Answer, flags: &[(&str, Severity)]) -> Result<Checked<Reading>> {
    let flags: Vec<Flag> = flags
        .iter()
        .map(|(code, severity)| Flag::new(code, *severity, format!("seen: {code}"), "do"))
        .collect();
    let colour = Relative([0.5; 3]);
    let half = |reason| Share {
        reason,
        share: 0.5,
        standard_uncertainty: 1.0,
    };
    let reading = Reading {
        test: "nitrate".into(),
        unit: "mg/L".into(),
        confidence: Some(0.9),
        on_chart: answer.clone(),
        dilution: None,
        blank: None,
        answer,
        colour,
        lab: colour.to_lab(),
        delta_e_chart: 0.5,
        delta_e_step: 2.0,
        nearest_step: 20.0,
        pieces: Vec::new(),
        budget: Budget::default(),
        shares: vec![
            half("sampling of the liquid"),
            half("standards of the chart"),
        ],
        correction: CorrectionUsed {
            shape: Shape::None,
            tone_order: 0,
            loo: None,
            loo_uncorrected: None,
        },
        facts: CaptureFacts::default(),
        verdict: Verdict::of(&flags),
    };
    Ok(Checked {
        value: reading,
        flags,
    })
}

fn value(value: f64, low: f64, high: f64) -> Answer {
    Answer::Value { value, low, high }
}

fn together(photos: &[Result<Checked<Reading>>]) -> Checked<VialReading> {
    let names = ["a.jpg", "b.jpg", "c.jpg", "d.jpg"];
    let members: Vec<Member> = photos
        .iter()
        .zip(names)
        .map(|(result, photo)| Member {
            photo,
            sha256: None,
            result,
        })
        .collect();
    same_vial(&members, &chart())
}

fn codes(reading: &Checked<VialReading>) -> Vec<&str> {
    reading.flags.iter().map(|f| f.code.as_str()).collect()
}

fn flag<'a>(reading: &'a Checked<VialReading>, code: &str) -> &'a Flag {
    let found = reading.flags.iter().find(|f| f.code == code);
    found.unwrap_or_else(|| panic!("no {code} among {:?}", codes(reading)))
}

fn unreadable() -> Result<Checked<Reading>> {
    Err(Error::new("no vial was found", "put one there"))
}

const BLUR: [(&str, Severity); 1] = [("blurred", Severity::Doubt)];

#[test]
fn agreeing_photos_are_trusted_and_narrower() {
    let both = together(&[
        photo(value(20.0, 15.0, 30.0), &[]),
        photo(value(21.0, 15.0, 30.0), &[]),
    ]);
    assert_eq!(both.value.verdict, Verdict::Trusted);
    assert_eq!(codes(&both), [""; 0]);
    let Some(Answer::Value { value, low, high }) = both.value.answer else {
        panic!("{both:?}");
    };
    assert!((20.0..=21.0).contains(&value), "{value}");
    assert!(low > 15.0 && high < 30.0, "{low} to {high}");
    // Half of the variance is shared: two photos leave three quarters of it, not half.
    let chart = chart();
    let steps = chart.step_position(high) - chart.step_position(low);
    let alone = chart.step_position(30.0) - chart.step_position(15.0);
    assert!((steps / alone - 0.75f64.sqrt()).abs() < 0.01, "{steps}");
}

#[test]
fn a_doubtful_photo_is_left_out_where_two_are_sound() {
    let sound = [
        photo(value(20.0, 15.0, 30.0), &[]),
        photo(value(21.0, 16.0, 31.0), &[("digital-zoom", Severity::Note)]),
    ];
    let [a, b] = sound.clone();
    let three = together(&[a, photo(value(60.0, 40.0, 80.0), &BLUR), b]);
    assert_eq!(three.value.verdict, Verdict::Trusted);
    assert_eq!(three.value.used, [0, 2]);
    assert_eq!(three.value.answer, together(&sound).value.answer);
    assert_eq!(
        flag(&three, "photos-left-out").message,
        "not part of the answer: b.jpg (doubtful)"
    );
    assert_eq!(
        flag(&three, "digital-zoom").message,
        "c.jpg: seen: digital-zoom"
    );
}

#[test]
fn with_one_sound_photo_all_count_and_the_doubt_stays() {
    let two = together(&[
        photo(value(20.0, 15.0, 30.0), &[]),
        photo(value(21.0, 16.0, 31.0), &BLUR),
    ]);
    assert_eq!(two.value.verdict, Verdict::Doubtful);
    assert_eq!(two.value.used, [0, 1]);
    assert_eq!(codes(&two), ["blurred"]);
}

#[test]
fn a_wide_interval_is_mended_by_more_photos() {
    let wide = || {
        photo(
            value(20.0, 9.0, 45.0),
            &[("wide-interval", Severity::Doubt)],
        )
    };
    let four = together(&[wide(), wide(), wide(), wide()]);
    assert_eq!(codes(&four), [""; 0]);
    let two = together(&[
        photo(
            value(20.0, 3.0, 75.0),
            &[("wide-interval", Severity::Doubt)],
        ),
        photo(
            value(20.0, 3.0, 75.0),
            &[("wide-interval", Severity::Doubt)],
        ),
    ]);
    assert_eq!(codes(&two), ["wide-interval"]);
    assert!(two.flags[0].message.contains("all photos together"));
}

#[test]
fn photos_that_scatter_are_doubtful() {
    let apart = together(&[
        photo(value(10.0, 9.0, 11.0), &[]),
        photo(value(30.0, 28.0, 32.0), &[]),
    ]);
    assert_eq!(apart.value.verdict, Verdict::Doubtful);
    flag(&apart, "photos-disagree");
    // Two photos so far apart tell next to nothing, and the chart ends before the interval does.
    flag(&apart, "may-be-above");
    let Some(Answer::Value { low, high, .. }) = apart.value.answer else {
        panic!("{apart:?}");
    };
    // Two steps past the last, at 40 mg/L each.
    assert_eq!((low, high), (0.0, 160.0));
}

#[test]
fn answers_that_are_no_values_are_never_averaged() {
    let over = |low| photo(Answer::Above { low }, &[("beyond-top", Severity::Doubt)]);
    let above = || over(80.0);
    let below = |high| {
        photo(
            Answer::Below { high },
            &[("below-detection", Severity::Note)],
        )
    };
    let one = value(70.0, 60.0, 79.0);

    let mixed = together(&[photo(one.clone(), &[]), above()]);
    assert_eq!(mixed.value.answer, Some(one.clone()));
    assert_eq!(mixed.value.verdict, Verdict::Doubtful);
    assert!(
        flag(&mixed, "photos-answer-differently")
            .message
            .ends_with("a.jpg: a value; b.jpg: above the chart")
    );

    let all = together(&[below(0.8), below(1.2), below(1.0)]);
    assert_eq!(all.value.answer, Some(Answer::Below { high: 1.2 }));
    assert_eq!(all.value.verdict, Verdict::Trusted);

    let top = together(&[above(), over(70.0)]);
    assert_eq!(top.value.answer, Some(Answer::Above { low: 70.0 }));
    assert_eq!(top.value.verdict, Verdict::Doubtful);

    let none = together(&[above(), below(1.0)]);
    assert_eq!(none.value.answer, None);
    assert_eq!(none.value.verdict, Verdict::Unreadable);
    flag(&none, "no-answer");
}

#[test]
fn photos_that_cannot_be_read_are_named() {
    let one = value(20.0, 15.0, 30.0);
    let some = together(&[photo(one.clone(), &[]), unreadable()]);
    assert_eq!(some.value.answer, Some(one));
    assert_eq!(some.value.verdict, Verdict::Trusted);
    assert_eq!(
        flag(&some, "photos-left-out").message,
        "not part of the answer: b.jpg (could not be read)"
    );
    let none = together(&[unreadable(), unreadable()]);
    assert_eq!(none.value.verdict, Verdict::Unreadable);
    assert_eq!(codes(&none), ["no-answer"]);
}

#[test]
fn a_photo_given_twice_counts_once() {
    let one = value(20.0, 15.0, 30.0);
    let result = photo(one.clone(), &[]);
    let member = |photo| Member {
        photo,
        sha256: Some("same"),
        result: &result,
    };
    let twice = same_vial(&[member("a.jpg"), member("copy.jpg")], &chart());
    assert_eq!(twice.value.answer, Some(one));
    assert_eq!(
        flag(&twice, "photo-repeated").message,
        "the same photo was given more than once and counts once: copy.jpg is a.jpg"
    );
}

/// The volumes of a dilution are met once: combined first, multiplied after.
#[test]
fn a_dilution_is_undone_after_the_photos_are_combined() {
    let dilution: Dilution = "1:4".parse().unwrap();
    let plain = [
        photo(value(20.0, 15.0, 30.0), &[]),
        photo(value(21.0, 15.0, 30.0), &[]),
    ];
    let diluted = plain.clone().map(|mut p| {
        let reading = &mut p.as_mut().unwrap().value;
        reading.dilution = Some(dilution);
        reading.answer = dilution.undo(reading.on_chart.clone());
        p
    });
    let (plain, diluted) = (together(&plain).value, together(&diluted).value);
    assert_eq!(plain.answer, plain.on_chart);
    assert_eq!(diluted.on_chart, plain.answer);
    assert_eq!(diluted.answer, plain.answer.map(|a| dilution.undo(a)));
}

/// Where most photos tell it from none no more, the one that does is no fair choice of them.
#[test]
fn bounds_of_most_photos_outweigh_one_value() {
    let below = |high| photo(Answer::Below { high }, &[]);
    let seen = together(&[below(1.0), below(1.5), photo(value(2.0, 1.0, 3.0), &[])]);
    assert_eq!(seen.value.answer, Some(Answer::Below { high: 1.5 }));
    flag(&seen, "photos-answer-differently");
}

/// An interval that reaches down to none is told as a single photo's is.
#[test]
fn a_combination_that_reaches_zero_is_a_bound() {
    let seen = together(&[
        photo(value(0.2, 0.05, 0.4), &[]),
        photo(value(0.42, 0.22, 0.68), &[]),
    ]);
    assert!(
        matches!(seen.value.answer, Some(Answer::Below { .. })),
        "{:?}",
        seen.value
    );
    flag(&seen, "below-detection");
}

/// A value that fits in two places is averaged with no other.
#[test]
fn an_answer_in_two_pieces_is_not_averaged() {
    let twice = || {
        let mut p = photo(value(20.0, 5.0, 60.0), &[("two-answers", Severity::Doubt)]);
        p.as_mut().unwrap().value.pieces = vec![(5.0, 8.0), (18.0, 60.0)];
        p
    };
    let one = value(10.0, 8.0, 12.0);
    let with_one = together(&[twice(), photo(one.clone(), &[])]);
    assert_eq!(with_one.value.answer, Some(one));
    let alone = together(&[twice(), twice()]);
    assert!(alone.value.combined.is_none());
    assert_eq!(alone.value.answer, Some(value(20.0, 5.0, 60.0)));
    assert_eq!(alone.value.verdict, Verdict::Doubtful);
}

#[test]
fn photos_of_two_days_are_not_of_one_vial() {
    let at = |time: &str| {
        let mut p = photo(value(20.0, 15.0, 30.0), &[]);
        p.as_mut().unwrap().value.facts.taken_at = Some(time.parse().unwrap());
        p
    };
    let apart = |a: &str, b: &str| {
        let seen = together(&[at(a), at(b)]);
        codes(&seen).contains(&"photos-far-apart")
    };
    assert!(apart("2026-02-23T09:05", "2026-02-24T09:11"));
    assert!(!apart("2026-02-23T09:05", "2026-02-23T09:07"));
}
