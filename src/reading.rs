//! The pipeline itself: a photo, a chart and where to look give a reading with its interval, flags and verdict.
//!
//! Touches no clock, terminal, network or file. Never guesses: what cannot be read is an error or an answer in words.

mod answer;

use nalgebra::{Matrix3, Vector3};
use serde::Serialize;

use crate::blank::Blank;
use crate::capture;
use crate::chart::curve::Curve;
use crate::chart::resolve::from_print;
use crate::chart::{Chart, Medium};
use crate::colour::{Lab, Relative};
use crate::error::{Error, Result};
use crate::estimate::budget::{Budget, dark_end, depth};
use crate::estimate::dilution::Dilution;
use crate::estimate::posterior::{Posterior, posterior};
use crate::flag::{Checked, Flag, Severity, Verdict};
use crate::light::correct::Correction;
use crate::look::{Look, Where, look};
use crate::photo::{CaptureFacts, Photo};
use crate::sight;
use crate::stage::stage;
use crate::vial::Found;
use crate::vial::aside;
use crate::vial::lens::{another_way, gathered_light};
use crate::vial::sample::Sampled;

pub use answer::{WIDE_STEPS, is_ph};
pub(crate) use answer::{below_detection, lower_end, may_be_above, may_be_under};

/// Coverage of the interval.
pub const LEVEL: f64 = 0.95;

/// What was read.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// A concentration on the chart with its interval, in the chart's unit; the interval may go on past an end of the chart, where its
    /// curve is continued.
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
    /// Whether the water is fresh or salt.
    pub medium: Option<Medium>,
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
    sight::possible(&sampled)?;
    let _open = stage!(ESTIMATE);
    let mut flags = photo.notes.clone();
    flags.extend(sight::flags(&look, &correction, &sampled, chart));
    let as_seen = sampled.clone();
    // Of the water's own colour, a diluted sample holds its share.
    let blank = told.blank.as_ref().map(|b| {
        flags.extend(b.flags.iter().cloned());
        b.value.diluted(told.dilution.map_or(1.0, Dilution::factor))
    });
    if let Some(blank) = &blank {
        sampled.ln -= blank.tint;
    }
    let curve = Curve::new(&chart.steps, &chart.curve)?;
    let colour = Relative(sampled.ln.map(f64::exp).into());
    let lab = colour.to_lab();
    let starts_at_zero = chart.steps[0].value == 0.0;
    let placed = |longer: &[Vector3<f64>]| {
        let mut causes = causes(&look, &correction, &as_seen, chart, longer);
        causes.extend(blank.map(|b| ("colour of the water (blank)", b.covariance)));
        let budget = budget(&causes, &sampled.ln);
        let post = posterior(lab, &budget.total(), &curve, starts_at_zero, LEVEL);
        (budget, post)
    };
    // What a longer path of light adds to a colour, for each share of it: as much of all of it; or, with one dye in clear water, what as
    // much more of the dye does, which a channel that the phone crushes shows less of. Which of them is so no chart tells.
    let all_of_it = as_seen.ln;
    let (budget, post) = match placed(&[all_of_it]) {
        (_, post) if has_one_dye(chart) => placed(&[all_of_it, curve.per_share(post.nearest)]),
        found => found,
    };

    flags.extend(capture::flags(&photo.facts, &chart.terms, told.started));
    flags.extend(other_water(chart, told.medium));
    flags.extend(from_print(chart));
    flags.extend(chart.doubt());
    let usual = chart.clear_at(post.nearest);
    flags.extend(sight::cloudy(&look, usual));
    let dye = chart.dye_at(post.nearest);
    flags.extend(sight::uneven(&look, &sampled, chart.ends, &dye));
    let shares = shares(chart, &curve, &budget, &post);
    let other_light = shares
        .iter()
        .find(|s| s.reason == OTHER_LIGHT)
        .map_or(0.0, |s| s.share);
    if correction.is_told() {
        flags.extend(answer::other_light(other_light));
    }
    let seen = answer::Seen {
        beside: answer::beside(&sampled, &curve, &post, chart),
        height_deg: look.height_deg(),
        cloud_unseen: matches!(look.vial, Some(Found::Standing(_))) && usual.is_none(),
        diluted: told.dilution.is_some(),
        in_other_light: shares.iter().all(|s| s.share <= other_light),
        colourless: sight::hardly_any(&sampled.ln),
    };
    let answer = answer::answer(chart, &curve, &post, &seen, &mut flags);
    if matches!(answer, Answer::Below { .. } | Answer::Under { .. }) {
        sight::not_glass(&look)?;
    }
    flags.extend(sight::empty(&look, &dye, chart.lines_lowered));
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
        shares,
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

/// That the standards were made in another kind of water than the sample's.
fn other_water(chart: &Chart, water: Option<Medium>) -> Option<Flag> {
    let (of_chart, of_water) = (chart.terms.medium?, water?);
    (of_chart != of_water).then(|| {
        Flag::new(
            "other-water",
            Severity::Doubt,
            format!(
                "the standards of the chart were made in {} water, and this is {}: many reagents colour the two unlike",
                of_chart.word(),
                of_water.word()
            ),
            "make a chart of standards in this kind of water, or mend what the logbook or the chart says of it",
        )
    })
}

/// The contribution that grows with how far the lamp or phone is from the standards'.
const OTHER_LIGHT: &str = "ink and dye in another light (metamerism)";

/// Whether the colours of a chart come of one dye in water that has none of its own.
fn has_one_dye(chart: &Chart) -> bool {
    let first = &chart.steps[0];
    first.value == 0.0 && sight::hardly_any(&first.ln_vector())
}

/// Every reason for doubt about a colour as it was seen, as covariances of its natural logarithm; `longer` is what a longer path of light
/// may add to it, each as likely as the others.
fn causes(
    look: &Look,
    correction: &Correction,
    sampled: &Sampled,
    chart: &Chart,
    longer: &[Vector3<f64>],
) -> Vec<(&'static str, Matrix3<f64>)> {
    let ln = &sampled.ln;
    let of_path = |covariance: &dyn Fn(&Vector3<f64>) -> Matrix3<f64>| {
        longer.iter().map(covariance).sum::<Matrix3<f64>>() / longer.len() as f64
    };
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
        ("seen at a slant", of_path(&|ln| look.slant_covariance(ln))),
        (
            "how near the card the vial stands",
            of_path(&|ln| look.gap_covariance(ln)),
        ),
        (
            "correction onto the session",
            correction.residual_covariance(ln),
        ),
        (
            OTHER_LIGHT,
            correction.metamerism(ln, chart.inks_missed) + correction.untold(ln),
        ),
        (
            "light gathered behind the vial",
            gathered - usual + elsewhere + aside::covariance(ln, chart.light_from_aside(sampled)),
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
