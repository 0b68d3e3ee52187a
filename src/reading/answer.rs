//! What a colour says on a chart: a value, or an answer in words, with what speaks against it.

use super::Answer;
use crate::chart::Chart;
use crate::chart::curve::Curve;
use crate::colour::{Relative, ciede2000};
use crate::estimate::posterior::Posterior;
use crate::flag::{Flag, Severity};
use crate::report::number::rounded_up;
use crate::vial::lens::alike;
use crate::vial::sample::Sampled;

/// How far the colour lies beside the curve, CIEDE2000, whatever light the vial gathers (two standard deviations to either side), and
/// however much of the way that the card's inks tell of the dye goes: a band at the edge of what a camera sees goes none of it, and
/// would look off by that. In the scenes of `tests/scenes` (study seeds 11001 and 10601) 21 of 480 sound photos in other light or by
/// another phone lay beside the chart by the whole way alone; each read true, and no foul one did.
pub(super) fn beside(sampled: &Sampled, curve: &Curve, post: &Posterior, chart: &Chart) -> f64 {
    let most = 2.0 * alike(chart.unlike(sampled));
    let on_curve = curve.lab(post.nearest);
    let gathered = (-LIGHTS..=LIGHTS).map(|k| most * f64::from(k) / f64::from(LIGHTS));
    let moved_back = (0..=WAYS).map(|k| f64::from(k) / f64::from(WAYS));
    gathered
        .flat_map(|light| moved_back.clone().map(move |part| (light, part)))
        .map(|(light, part)| {
            let ln = (sampled.ln - sampled.moved * part).add_scalar(light);
            ciede2000(Relative(ln.map(f64::exp).into()).to_lab(), on_curve)
        })
        .fold(f64::INFINITY, f64::min)
}

/// Lights that are tried to either side of the one seen.
const LIGHTS: i32 = 12;
/// Parts of the correction that are tried.
const WAYS: i32 = 4;

/// What an answer depends on besides chart and colour.
pub(super) struct Seen {
    /// How far the colour lies beside the curve whatever light the vial gathers ([`beside`]).
    pub beside: f64,
    /// From how high the vial was seen, degrees.
    pub height_deg: f64,
    /// Whether a cloudy liquid would not be noticed: the chart's photos show no lines behind a vial that stands before the card.
    pub cloud_unseen: bool,
    /// Whether the sample was diluted.
    pub diluted: bool,
    /// Whether no cause makes more of the uncertainty than another lamp or phone than that of the standards.
    pub in_other_light: bool,
    /// Whether the liquid has hardly any colour.
    pub colourless: bool,
}

/// What the colour says, in the order in which answers exclude each other.
pub(super) fn answer(
    chart: &Chart,
    curve: &Curve,
    post: &Posterior,
    seen: &Seen,
    flags: &mut Vec<Flag>,
) -> Answer {
    let (beside, diluted) = (seen.beside, seen.diluted);
    let unit = &chart.terms.unit;
    let (first, last) = (
        chart.steps[0].value,
        chart.steps[chart.steps.len() - 1].value,
    );
    let end = chart.steps.len() as f64 - 1.0;
    let unlike = post.distance2 > OFF_CHART_D2;
    if unlike && post.delta_e_curve > OFF_CHART_DE {
        flags.push(Flag::new(
            "colour-off-chart",
            Severity::Stop,
            format!(
                "the colour is {:.1} CIEDE2000 away from every colour of this chart",
                post.delta_e_curve
            ),
            off_chart_fix(seen),
        ));
        return Answer::OffChart;
    }
    let seen_off = post.delta_e_curve;
    let off = if beside > BESIDE_CURVE_DE {
        Some((beside, "more than a lamp behind the vial explains"))
    } else if unlike && seen_off > SEEN_DE {
        Some((seen_off, "more than it is uncertain by"))
    } else {
        (seen.cloud_unseen && seen_off > CLOUD_DE).then_some((
            seen_off,
            "as those of a cloudy liquid would, and the chart's photos show no lines of the card behind the vial that would tell",
        ))
    };
    if let Some((by, why)) = off {
        flags.push(Flag::new(
            "colour-beside-chart",
            Severity::Doubt,
            format!("the colour lies {by:.1} CIEDE2000 beside the colours of this chart, {why}"),
            "see that the liquid is clear and mixed and the vial like those of the chart, close to the card, and bring diffuse light instead of one bright lamp",
        ));
    }
    if post.above > 0.5 {
        flags.push(Flag::new(
            "beyond-top",
            Severity::Doubt,
            format!("the colour is at or past the last step of the chart, {last} {unit}"),
            beyond_fix(unit, diluted),
        ));
        return Answer::Above {
            low: chart.value_at(post.at_least.clamp(0.0, end)),
        };
    }
    if post.below > 0.5 {
        flags.push(Flag::new(
            "under-first",
            Severity::Doubt,
            format!("the colour is at or before the first step of the chart, {first} {unit}"),
            "use a test or chart that reaches lower",
        ));
        return Answer::Under {
            high: chart.value_at(post.at_most.clamp(0.0, end)),
        };
    }
    let (a, b) = post.ends().unwrap_or((0.0, end));
    let spans = b.min(end) - a.max(0.0);
    if post.pieces.len() > 1 {
        flags.push(Flag::new(
            "two-answers",
            Severity::Doubt,
            format!(
                "the colour fits the chart in more than one place: {}",
                post.pieces
                    .iter()
                    .map(|(p, q)| format!(
                        "{} to {}",
                        rounded(chart.value_at(*p)),
                        rounded(chart.value_at(*q))
                    ))
                    .collect::<Vec<_>>()
                    .join(" or ")
            ),
            if is_ph(unit) {
                "test again with another indicator"
            } else {
                "dilute the sample 1:1 and read again: the true value halves, the false one does not"
            },
        ));
    } else if spans > WIDE_STEPS {
        flags.push(Flag::new(
            "wide-interval",
            Severity::Doubt,
            format!("the interval spans {spans:.1} steps of the chart"),
            if seen.in_other_light {
                THEIR_LIGHT
            } else {
                "take the photo again in even light, close and sharp; take several photos of the vial"
            },
        ));
    }
    if b > end - UNSURE_END
        && curve.end_unsure() > UNSURE_STEP
        && chart.lens.as_ref().is_some_and(|l| l.unsteady().is_some())
    {
        flags.push(Flag::new(
            "top-unsure",
            Severity::Doubt,
            format!("near the last step ({last} {unit}) of a chart that was made with a lamp shining through its vials, a sample over range may look like this one"),
            beyond_fix(unit, diluted),
        ));
    } else if post.above > MAY_BE {
        flags.push(may_be_above(chart, post.above, diluted));
    }
    if post.below > MAY_BE {
        flags.push(may_be_under(chart, post.below));
    }
    // The first position of the grid inside the interval: zero cannot be excluded.
    if first == 0.0 && a <= 1e-9 {
        let high = chart.value_at(b);
        flags.push(below_detection(high, unit, diluted));
        return Answer::Below { high };
    }
    Answer::Value {
        value: chart.value_at(post.median),
        low: lower_end(chart, a),
        high: chart.value_at(b),
    }
}

/// That lamp or phone are not those of the standards, where more than half of the variance comes from that: its `share`, 0 to 1.
pub fn other_light(share: f64) -> Option<Flag> {
    (share > 0.5).then(|| {
        Flag::new(
            "other-light",
            Severity::Note,
            format!(
                "the card's inks show another lamp or phone than the standards had: {:.0} % of what is uncertain comes from that",
                100.0 * share
            ),
            THEIR_LIGHT,
        )
    })
}

/// What to do about another lamp or phone than the standards'.
const THEIR_LIGHT: &str = "take the photo with the phone and in the light of the standards, or make a chart in this light";

/// A logarithm of a concentration: water does not dilute it in proportion.
pub fn is_ph(unit: &str) -> bool {
    unit.eq_ignore_ascii_case("pH")
}

/// The concentration at the lower end of an interval: none is below zero, also where the curve is continued.
pub(crate) fn lower_end(chart: &Chart, position: f64) -> f64 {
    let low = chart.value_at(position);
    if is_ph(&chart.terms.unit) {
        low
    } else {
        low.max(0.0)
    }
}

/// What to do where a chart ends; a sample may have been diluted already.
fn beyond_fix(unit: &str, diluted: bool) -> &'static str {
    if is_ph(unit) {
        "test again with an indicator or a chart that reaches further"
    } else if diluted {
        "dilute the sample further, and test again"
    } else {
        "dilute the sample with water free of the substance, test again and multiply"
    }
}

/// The value may lie past the last step, with such a probability.
pub(crate) fn may_be_above(chart: &Chart, chance: f64, diluted: bool) -> Flag {
    let (unit, last) = (&chart.terms.unit, chart.steps[chart.steps.len() - 1].value);
    Flag::new(
        "may-be-above",
        how_likely(chance),
        format!(
            "{} may be above the last step ({last} {unit}), where the chart ends{}",
            if diluted {
                "what was in the vial"
            } else {
                "the value"
            },
            likely(chance)
        ),
        beyond_fix(unit, diluted),
    )
}

/// The value may lie before a first step that is not zero, with such a probability.
pub(crate) fn may_be_under(chart: &Chart, chance: f64) -> Flag {
    let (unit, first) = (&chart.terms.unit, chart.steps[0].value);
    Flag::new(
        "may-be-under",
        how_likely(chance),
        format!(
            "the value may be under the first step ({first} {unit}), where the chart begins{}",
            likely(chance)
        ),
        "use a test or chart that reaches lower",
    )
}

/// How much it says against a value that it may lie past an end of the chart.
fn how_likely(chance: f64) -> Severity {
    if chance > LIKELY {
        Severity::Doubt
    } else {
        Severity::Note
    }
}

fn likely(chance: f64) -> String {
    format!(" (probability {:.0} %)", 100.0 * chance)
}

/// A concentration that is not told from none.
pub(crate) fn below_detection(high: f64, unit: &str, diluted: bool) -> Flag {
    let bound = rounded_up(high);
    let (message, fix) = if diluted {
        (
            format!("not told from none: what was in the vial is below {bound} {unit}"),
            "test the sample undiluted",
        )
    } else {
        (
            format!("not told from none: the concentration is below {bound} {unit}"),
            "nothing, if that is low enough; a test with a longer path of light reaches lower",
        )
    };
    Flag::new("below-detection", Severity::Note, message, fix)
}

/// Probability of lying past an end of the chart from which it is told: what an interval at 95 % leaves out to one side.
const MAY_BE: f64 = 0.025;
/// Probability of it from which a value is doubtful: where a dye is used up, what lies far past the end looks like the end. In the scenes of
/// `tests/scenes` (study seeds 11101 and 11201, diffuse light) 11 of 640 sound photos are past it, and one over range that had passed for
/// a value.
const LIKELY: f64 = 1.0 / 3.0;

/// Steps before the end of a chart in which one made in unsteady light is not believed, where its last step may be off by more than
/// a quarter of a step (standard uncertainty): what lies past it can be taken for the last ones.
const UNSURE_END: f64 = 0.5;
const UNSURE_STEP: f64 = 0.25;
/// Squared Mahalanobis distance past which a colour is off the chart: chi-squared, 0.999 for 3 degrees of freedom, 0.9997 for the 2
/// that are left since the nearest place of the curve is sought.
const OFF_CHART_D2: f64 = 16.27;
/// CIEDE2000 past which a colour is doubtful even where its budget explains the distance: about what lies between the steps
/// of a printed chart (common practice).
const BESIDE_CURVE_DE: f64 = 7.0;
/// CIEDE2000 under which no colour counts as beside the chart: about twice what an eye just sees; and under which none counts as
/// off it, however sure it is: twice that.
const SEEN_DE: f64 = 2.0;
const OFF_CHART_DE: f64 = 4.0;

/// CIEDE2000 past which a colour is doubtful where a cloudy liquid would not be noticed: scattered light takes and lends brightness
/// as a lamp behind the vial does, so the budget explains both. Of clear liquids in the session's own diffuse light (`tests/scenes`,
/// study seeds 5501, 9203 and 10301) one of 240 lies so far beside.
const CLOUD_DE: f64 = 3.0;

/// What to do about a colour off the chart, by what may have led to it.
fn off_chart_fix(seen: &Seen) -> &'static str {
    if seen.colourless {
        "hardly any colour is seen: check that the vial holds the sample with all reagents, up to its mark, and that the chart is the one of this test"
    } else if seen.height_deg > HIGH {
        "hold the phone lower, so that the whole liquid is seen before the card; if it was, check that the chart is the one of this test"
    } else if seen.beside < BESIDE_CURVE_DE {
        "light or shade behind the vial explains it: bring diffuse light instead of one lamp, and stand the vial close to the card; else check that the chart is the one of this test"
    } else {
        "check that the chart is the one of this test, that all reagents were added and shaken, and that nothing else colours the water"
    }
}

/// Seen from higher than this, degrees, much of a wide vial's liquid lies before the foot of the card.
const HIGH: f64 = 20.0;
/// An interval wider than this many steps of the chart says no more than a look by eye.
pub const WIDE_STEPS: f64 = 2.0;

/// A number with three significant digits, for messages.
fn rounded(v: f64) -> String {
    if v == 0.0 || !v.is_finite() {
        return v.to_string();
    }
    let digits = (2 - v.abs().log10().floor() as i32).max(0) as usize;
    let text = format!("{v:.digits$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}
