//! What a colour says on the chart: two answers, under the first step, beside all steps, ink for liquid.

use tintwell::chart::{Chart, Origin};
use tintwell::reading::Answer;

use super::{CHART, SEED, by_card, own, photo, reading, told_apart};

/// The answer to a scene of `concentration` on a chart, and the codes of its flags.
fn read_on(chart: &Chart, concentration: f64) -> (Answer, Vec<String>) {
    let photo = photo(&own(concentration, SEED), &super::CARD);
    let (reading, codes) = reading(&photo, &by_card(), chart);
    (reading.answer, codes)
}

/// A test whose colour grows up to its fifth standard and fades again: a colour between the second and the third is found on the way
/// back, too; the deepest is there once.
#[test]
fn a_colour_that_turns_back_has_two_answers() {
    let mut turning = CHART.clone();
    let step = |value: f64| {
        let at = CHART.steps.iter().find(|s| s.value == value);
        at.expect("a step of the shipped chart").clone()
    };
    turning.steps = [0.0, 5.0, 20.0, 80.0, 20.0, 5.0]
        .into_iter()
        .enumerate()
        .map(|(i, colour_of)| {
            let mut step = step(colour_of);
            step.value = 10.0 * i as f64;
            step
        })
        .collect();
    let (answer, twice) = read_on(&turning, 12.0);
    let (_, once) = read_on(&turning, 80.0);
    told_apart("two-answers", &twice, &once);
    // The whole range that the two span is the interval: neither is hidden.
    let Answer::Value { low, high, .. } = answer else {
        panic!("{answer:?}");
    };
    assert!((10.0..20.0).contains(&low) && (40.0..50.0).contains(&high));
}

/// A chart whose first standard is 5 mg/L says of 1 mg/L only that it is less, of 5.5 that it may be, and reads 9.
#[test]
fn paler_than_the_first_step_is_under_it() {
    let mut from_five = CHART.clone();
    from_five.steps.retain(|s| s.value >= 5.0);
    let (answer, paler) = read_on(&from_five, 1.0);
    let (_, deeper) = read_on(&from_five, 9.0);
    let (_, near) = read_on(&from_five, 5.5);
    told_apart("under-first", &paler, &deeper);
    told_apart("may-be-under", &near, &deeper);
    let Answer::Under { high } = answer else {
        panic!("{answer:?}");
    };
    assert!((5.0..7.0).contains(&high), "under {high}");
}

/// On a chart whose vials hardly repeat, a colour far beside it may still belong to it, and is doubted; the chart's own is not.
#[test]
fn a_colour_far_beside_the_chart_is_doubted() {
    let mut rough = CHART.clone();
    for (i, row) in rough.repeatability.iter_mut().enumerate() {
        row[i] += 0.3 * 0.3;
    }
    let yellow = super::with(own(12.0, SEED), |s| {
        let liquid = s.liquid.as_mut().expect("a liquid");
        liquid.dye.water = 0.5 / liquid.dye.path_mm;
    });
    let (_, beside) = reading(&photo(&yellow, &super::CARD), &by_card(), &rough);
    let (_, on) = read_on(&rough, 12.0);
    told_apart("colour-beside-chart", &beside, &on);
}

/// A reading on a chart of printed colours carries the doubt, one on a chart of vials does not.
#[test]
fn a_reading_on_printed_colours_is_doubted() {
    let mut printed = CHART.clone();
    printed.origin = Origin::PrintedColours;
    let (_, ink) = read_on(&printed, 12.0);
    let (_, liquid) = read_on(&CHART, 12.0);
    told_apart("printed-colours", &ink, &liquid);
}
