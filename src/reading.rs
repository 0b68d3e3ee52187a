//! The pipeline itself: a photo, a chart and where to look give a reading with its interval, flags and verdict.
//!
//! Touches no clock, terminal, network or file. Never guesses: what cannot be read is an error or an answer in words.

use nalgebra::{Matrix3, Vector3};
use serde::Serialize;

use crate::blank::Blank;
use crate::capture;
use crate::chart::Chart;
use crate::chart::curve::Curve;
use crate::chart::resolve::from_print;
use crate::colour::{Lab, Relative, ciede2000};
use crate::error::{Error, Result};
use crate::estimate::budget::{Budget, dark_end, depth};
use crate::estimate::dilution::Dilution;
use crate::estimate::posterior::{Posterior, posterior};
use crate::flag::{Checked, Flag, Severity, Verdict};
use crate::light::correct::Correction;
use crate::look::{Look, Where, look};
use crate::photo::{CaptureFacts, Photo};
use crate::report::number::rounded_up;
use crate::sight;
use crate::stage::stage;
use crate::vial::lens::{alike, another_way, gathered_light};
use crate::vial::sample::Sampled;

/// Coverage of the interval.
pub const LEVEL: f64 = 0.95;

/// What was read.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// A concentration with its interval, in the chart's unit.
    Value { value: f64, low: f64, high: f64 },
    /// Not told from the first step, which is zero: the concentration is below `high`.
    Below { high: f64 },
    /// At the last step or past it: above `low` with 95 % probability.
    Above { low: f64 },
    /// At a first step that is not zero, or before it: below `high` with 95 % probability.
    Under { high: f64 },
    /// The colour does not belong to this chart.
    OffChart,
}

/// A reading of one photo.
#[derive(Debug, Clone)]
pub struct Reading {
    /// Name of the test.
    pub test: String,
    /// Unit of all concentrations.
    pub unit: String,
    /// The answer.
    pub answer: Answer,
    /// Probability that the truth lies within half a chart step of the value; `None` without a value.
    pub confidence: Option<f64>,
    /// The liquid's colour relative to paper, corrected onto the session.
    pub colour: Relative,
    /// The same in CIELAB.
    pub lab: Lab,
    /// CIEDE2000 from the colour to the chart's curve.
    pub delta_e_chart: f64,
    /// CIEDE2000 to the nearest step.
    pub delta_e_step: f64,
    /// Value of the nearest step: what an eye would pick.
    pub nearest_step: f64,
    /// The answer for what was in the vial; another than `answer` if the sample was diluted.
    pub on_chart: Answer,
    /// How the sample was diluted.
    pub dilution: Option<Dilution>,
    /// The colour of the water itself that was taken off.
    pub blank: Option<Blank>,
    /// Pieces of the highest-density region, in the chart's unit; of what was in the vial.
    pub pieces: Vec<(f64, f64)>,
    /// Why the colour is uncertain.
    pub budget: Budget,
    /// Share of each contribution along the chart, 0 to 1, and what it alone would make of a standard uncertainty in
    /// the chart's unit.
    pub shares: Vec<Share>,
    /// What the correction was.
    pub correction: CorrectionUsed,
    /// Facts of the capture.
    pub facts: CaptureFacts,
    /// From flags and answer.
    pub verdict: Verdict,
}

/// A line of the uncertainty budget, in concentration.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Share {
    /// What it comes from.
    pub reason: &'static str,
    /// Share of the variance along the chart's curve, 0 to 1.
    pub share: f64,
    /// Standard uncertainty in the chart's unit, to first order.
    pub standard_uncertainty: f64,
}

/// The correction in figures.
#[derive(Debug, Clone, PartialEq)]
pub struct CorrectionUsed {
    /// Shape of the colour map.
    pub shape: crate::light::correct::Shape,
    /// Coefficients of the tone bend.
    pub tone_order: usize,
    /// Mean leave-one-out CIEDE2000 of the patches with it.
    pub loo: Option<f64>,
    /// The same without.
    pub loo_uncorrected: Option<f64>,
}

/// What was told about a test besides its photo.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Told {
    /// When the waiting began.
    pub started: Option<capture::Started>,
    /// How the sample was diluted before the test.
    pub dilution: Option<Dilution>,
    /// The colour of the water itself, with what is to be said about its photo.
    pub blank: Option<Checked<Blank>>,
}

/// The reading together with what it was seen on, for pictures.
pub struct Seen {
    /// The photo looked at.
    pub look: Look,
    /// The liquid as sampled.
    pub sampled: Sampled,
}

/// Reads one photo.
///
/// # Errors
/// If the card, its paper, the vial or its liquid cannot be seen, or the card is not the one of the chart.
pub fn read(
    photo: &Photo,
    by: &Where,
    chart: &Chart,
    told: &Told,
) -> Result<(Checked<Reading>, Seen)> {
    let look = look(photo, by)?;
    right_card(&look, chart)?;
    let (correction, mut sampled) = stage!(COLOUR, {
        let correction = Correction::choose(&look.observed, &chart.patches);
        let sampled = look.colour(&correction)?;
        (correction, sampled)
    });
    let _open = stage!(ESTIMATE);
    let mut flags = photo.notes.clone();
    flags.extend(sight::flags(&look, &correction, &sampled, chart));
    let mut causes = causes(&look, &correction, &sampled, chart);
    // Of the water's own colour, a diluted sample holds its share.
    let blank = told.blank.as_ref().map(|b| {
        flags.extend(b.flags.iter().cloned());
        b.value.diluted(told.dilution.map_or(1.0, Dilution::factor))
    });
    if let Some(blank) = &blank {
        sampled.ln -= blank.tint;
        causes.push(("colour of the water (blank)", blank.covariance));
    }
    let budget = budget(&causes, &sampled.ln);
    let curve = Curve::new(&chart.steps, &chart.curve)?;
    let colour = Relative(sampled.ln.map(f64::exp).into());
    let lab = colour.to_lab();
    let starts_at_zero = chart.steps[0].value == 0.0;
    let post = posterior(lab, &budget.total(), &curve, starts_at_zero, LEVEL);

    flags.extend(capture::flags(&photo.facts, &chart.terms, told.started));
    flags.extend(from_print(chart));
    flags.extend(chart.doubt());
    flags.extend(sight::cloudy(&look, chart.clear_at(post.nearest)));
    let dye = chart.dye_at(post.nearest);
    flags.extend(sight::uneven(&look, &sampled, chart.ends, &dye));
    let beside = beside(&sampled, &curve, &post, chart);
    let answer = answer(
        chart,
        &curve,
        &post,
        beside,
        told.dilution.is_some(),
        &mut flags,
    );
    flags.extend(sight::empty(&look, &dye));
    flags.sort_by_key(|f| std::cmp::Reverse(f.severity));
    let confidence = match answer {
        Answer::Value { value, .. } => Some(post.within(chart.step_position(value), 0.5)),
        _ => None,
    };
    let verdict = Verdict::of(&flags);
    let on_chart = answer.clone();
    let answer = told.dilution.map_or(answer.clone(), |d| d.undo(answer));
    let reading = Reading {
        on_chart,
        dilution: told.dilution,
        blank,
        test: chart.terms.test.clone(),
        unit: chart.terms.unit.clone(),
        confidence,
        colour,
        lab,
        delta_e_chart: post.delta_e_curve,
        delta_e_step: post.delta_e_step,
        nearest_step: chart.steps[post.nearest_step].value,
        pieces: post
            .pieces
            .iter()
            .map(|(a, b)| (chart.value_at(*a), chart.value_at(*b)))
            .collect(),
        shares: shares(chart, &curve, &budget, &post),
        budget,
        correction: CorrectionUsed {
            shape: correction.shape,
            tone_order: correction.tone_order,
            loo: correction.loo,
            loo_uncorrected: correction.loo_uncorrected,
        },
        facts: photo.facts.clone(),
        answer,
        verdict,
    };
    Ok((
        Checked {
            value: reading,
            flags,
        },
        Seen { look, sampled },
    ))
}

/// A chart belongs to the card of its session.
pub(crate) fn right_card(look: &Look, chart: &Chart) -> Result<()> {
    match (&look.place.card, &chart.card) {
        (Some(seen), Some(wanted)) if seen.design != *wanted => Err(Error::new(
            format!(
                "the photo shows the card \"{}\", but the chart was made with the card \"{wanted}\"",
                seen.design
            ),
            "use the card of the calibration session, or make a chart with this card",
        )),
        _ => Ok(()),
    }
}

/// Every reason for doubt about a colour as it was seen, as covariances of its natural logarithm.
fn causes(
    look: &Look,
    correction: &Correction,
    sampled: &Sampled,
    chart: &Chart,
) -> Vec<(&'static str, Matrix3<f64>)> {
    let ln = &sampled.ln;
    // What the session's own photos differed by is met anew by each photo, as part of the repeatability.
    let gathered = gathered_light(ln, chart.unlike(sampled));
    let usual = chart.usual_light(sampled);
    let elsewhere = another_way(ln, correction.unusual(chart.inks_missed));
    let per_light = Matrix3::from_diagonal(&ln.map(|v| (-v).exp()));
    let dark = dark_end(&sampled.crushed, &look.observed.to_working);
    let repeat = Matrix3::from_fn(|i, k| chart.repeatability[i][k]);
    vec![
        ("sampling of the liquid", sampled.covariance),
        (
            "light over the vial",
            look.observed.field.covariance(look.liquid),
        ),
        ("seen at a slant", look.slant_covariance(ln)),
        (
            "correction onto the session",
            correction.residual_covariance(ln),
        ),
        (
            "ink and dye in another light (metamerism)",
            correction.metamerism(ln, chart.inks_missed),
        ),
        (
            "light gathered behind the vial",
            gathered - usual + elsewhere,
        ),
        (
            "stray light and the edge of the gamut",
            per_light * dark * per_light,
        ),
        (
            "repeatability of vial and pose",
            repeat * depth(ln).powi(2) + usual,
        ),
    ]
}

/// The same in CIELAB, for the colour `ln` (natural log of relative light) that is looked for on the chart.
fn budget(causes: &[(&'static str, Matrix3<f64>)], ln: &Vector3<f64>) -> Budget {
    let j = Relative(ln.map(f64::exp).into()).lab_jacobian_ln();
    let mut budget = Budget::default();
    for (reason, covariance) in causes {
        budget.add(reason, j * covariance * j.transpose());
    }
    budget
}

/// How far the colour lies beside the curve, CIEDE2000, whatever light the vial gathers (two standard deviations to either side).
fn beside(sampled: &Sampled, curve: &Curve, post: &Posterior, chart: &Chart) -> f64 {
    let most = 2.0 * alike(chart.unlike(sampled));
    let on_curve = curve.lab(post.nearest);
    (-LIGHTS..=LIGHTS)
        .map(|k| {
            let gathered = sampled
                .ln
                .add_scalar(most * f64::from(k) / f64::from(LIGHTS));
            ciede2000(Relative(gathered.map(f64::exp).into()).to_lab(), on_curve)
        })
        .fold(f64::INFINITY, f64::min)
}

/// Lights that are tried to either side of the one seen.
const LIGHTS: i32 = 12;

/// What the colour says, in the order in which answers exclude each other.
fn answer(
    chart: &Chart,
    curve: &Curve,
    post: &Posterior,
    beside: f64,
    diluted: bool,
    flags: &mut Vec<Flag>,
) -> Answer {
    let unit = &chart.terms.unit;
    let (first, last) = (
        chart.steps[0].value,
        chart.steps[chart.steps.len() - 1].value,
    );
    let end = chart.steps.len() as f64 - 1.0;
    if post.distance2 > OFF_CHART_D2 && post.delta_e_curve > OFF_CHART_DE {
        flags.push(Flag::new(
            "colour-off-chart",
            Severity::Stop,
            format!("the colour is {:.1} CIEDE2000 away from every colour of this chart", post.delta_e_curve),
            "check that the chart is the one of this test, that all reagents were added and shaken, and that nothing else colours the water",
        ));
        return Answer::OffChart;
    }
    if beside > BESIDE_CURVE_DE {
        flags.push(Flag::new(
            "colour-beside-chart",
            Severity::Doubt,
            format!("the colour lies {beside:.1} CIEDE2000 beside the colours of this chart, more than a lamp behind the vial explains"),
            "see that the liquid is clear and mixed and the vial like those of the chart, and bring diffuse light instead of one bright lamp",
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
    let (a, b) = (post.pieces[0].0, post.pieces[post.pieces.len() - 1].1);
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
    } else if b - a > WIDE_STEPS {
        flags.push(Flag::new(
            "wide-interval",
            Severity::Doubt,
            format!("the interval spans {:.1} steps of the chart", b - a),
            "take the photo again in even light, close and sharp; take several photos of the vial",
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
        flags.push(may_be_above(chart, Some(post.above), diluted));
    }
    if post.below > MAY_BE {
        flags.push(may_be_under(chart, Some(post.below)));
    }
    // The first position of the grid inside the interval: zero cannot be excluded.
    if first == 0.0 && a <= 1e-9 {
        let high = chart.value_at(b);
        flags.push(below_detection(high, unit, diluted));
        return Answer::Below { high };
    }
    Answer::Value {
        value: chart.value_at(post.median),
        low: chart.value_at(a),
        high: chart.value_at(b),
    }
}

/// A logarithm of a concentration: water does not dilute it in proportion.
pub fn is_ph(unit: &str) -> bool {
    unit.eq_ignore_ascii_case("pH")
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

/// The value may lie past the last step, with such a probability if it is known.
pub(crate) fn may_be_above(chart: &Chart, chance: Option<f64>, diluted: bool) -> Flag {
    let (unit, last) = (&chart.terms.unit, chart.steps[chart.steps.len() - 1].value);
    Flag::new(
        "may-be-above",
        Severity::Note,
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

/// The value may lie before a first step that is not zero.
pub(crate) fn may_be_under(chart: &Chart, chance: Option<f64>) -> Flag {
    let (unit, first) = (&chart.terms.unit, chart.steps[0].value);
    Flag::new(
        "may-be-under",
        Severity::Note,
        format!(
            "the value may be under the first step ({first} {unit}), where the chart begins{}",
            likely(chance)
        ),
        "use a test or chart that reaches lower",
    )
}

fn likely(chance: Option<f64>) -> String {
    chance.map_or_else(String::new, |p| {
        format!(" (probability {:.0} %)", 100.0 * p)
    })
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
/// CIEDE2000 under which no colour counts as off the chart: about twice what an eye just sees.
const OFF_CHART_DE: f64 = 2.0;
/// An interval wider than this many steps says no more than a look by eye.
pub const WIDE_STEPS: f64 = 2.0;

fn shares(chart: &Chart, curve: &Curve, budget: &Budget, post: &Posterior) -> Vec<Share> {
    let last = (curve.len() - 1) as f64;
    let at = post.nearest.clamp(0.0, last);
    let (p, q) = ((at - 0.05).max(0.0), (at + 0.05).min(last));
    let along: Vector3<f64> = curve.lab(q).to_vector() - curve.lab(p).to_vector();
    let per_value = along / (chart.value_at(q) - chart.value_at(p));
    let mut whole = budget.clone();
    let (steps, between) = curve.covariance(at);
    whole.add("standards of the chart", steps);
    whole.add("curve between the standards", between);
    let alone = whole.standard_uncertainties(per_value);
    let total: f64 = alone.iter().map(|(_, u)| u * u).sum();
    alone
        .into_iter()
        .map(|(reason, u)| Share {
            reason,
            share: u * u / total.max(f64::MIN_POSITIVE),
            standard_uncertainty: u,
        })
        .collect()
}

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
