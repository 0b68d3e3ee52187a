//! One JSON object a photo, one line each (NDJSON). Unknown is `null`.

use serde::Serialize;

use super::Outcome;
use super::number::six;
use crate::chart::{Chart, limits, resolve};
use crate::error::Result;
use crate::flag::{Checked, Flag, Verdict};
use crate::place::Area;
use crate::reading::{Answer, LEVEL, Reading, Share};
use crate::same_vial::VialReading;

/// A photo's outcome as a plain record; JSON and CSV are written from it.
///
/// `answer` tells how to read `value`, `low` and `high`: `value` (all three), `below` (`low` 0 and `high`), `above`
/// (`low` only), `off-chart` (none). An interval may go on past an end of the chart, where its curve is continued. `budget` is empty without a reading.
#[derive(Debug, Clone, Serialize)]
pub struct Record {
    pub photo: String,
    pub taken_at: Option<String>,
    pub test: Option<String>,
    pub unit: Option<String>,
    pub answer: Option<&'static str>,
    pub value: Option<f64>,
    pub low: Option<f64>,
    pub high: Option<f64>,
    pub level: f64,
    pub confidence: Option<f64>,
    pub verdict: Verdict,
    pub flags: Vec<Flag>,
    pub lab: Option<[f64; 3]>,
    pub delta_e_chart: Option<f64>,
    pub delta_e_step: Option<f64>,
    pub nearest_step: Option<f64>,
    pub error: Option<String>,
    /// Of the photo's file.
    pub sha256: Option<String>,
    /// Of the chart, in the form in which charts are written.
    pub chart_sha256: Option<String>,
    /// White paper as marked by hand, pixels; `null` if the card was looked for.
    pub white: Option<Area>,
    /// The liquid as marked by hand.
    pub vial: Option<Area>,
    pub budget: Vec<Share>,
    /// What the reading of a diluted sample was multiplied by.
    pub dilution_factor: Option<f64>,
    /// What the water itself was seen to do to red, green and blue light (natural log) and was taken off; `null` without a blank.
    pub blank_tint: Option<[f64; 3]>,
}

impl Record {
    /// The record of an outcome.
    pub fn of(outcome: &Outcome) -> Record {
        let reading = outcome.result.as_ref().ok().map(|r| &r.value);
        let (value, low, high) = reading.map_or((None, None, None), |r| bounds(&r.answer));
        let figure = |f: fn(&Reading) -> f64| reading.map(|r| six(f(r)));
        Record {
            photo: outcome.photo.clone(),
            taken_at: outcome.taken_at.clone(),
            test: outcome.test.clone(),
            unit: outcome.unit.clone(),
            answer: reading.map(|r| name(&r.answer)),
            value: value.map(six),
            low: low.map(six),
            high: high.map(six),
            level: LEVEL,
            confidence: reading.and_then(|r| r.confidence).map(six),
            verdict: outcome.verdict(),
            flags: outcome.flags(),
            lab: reading.map(|r| [r.lab.l, r.lab.a, r.lab.b].map(six)),
            delta_e_chart: figure(|r| r.delta_e_chart),
            delta_e_step: figure(|r| r.delta_e_step),
            nearest_step: figure(|r| r.nearest_step),
            error: outcome.result.as_ref().err().map(|e| e.what.clone()),
            sha256: outcome.sha256.clone(),
            chart_sha256: outcome.chart_sha256.clone(),
            white: outcome.regions.map(|[white, _]| white),
            vial: outcome.regions.map(|[_, vial]| vial),
            budget: reading.map(|r| r.shares.clone()).unwrap_or_default(),
            dilution_factor: reading.map(|r| r.dilution.map_or(1.0, |d| six(d.factor()))),
            blank_tint: reading
                .and_then(|r| r.blank)
                .map(|b| [b.tint.x, b.tint.y, b.tint.z].map(six)),
        }
    }
}

fn bounds(answer: &Answer) -> (Option<f64>, Option<f64>, Option<f64>) {
    match *answer {
        Answer::Value { value, low, high } => (Some(value), Some(low), Some(high)),
        // A concentration is never below zero.
        Answer::Below { high } | Answer::Under { high } => (None, Some(0.0), Some(high)),
        Answer::Above { low } => (None, Some(low), None),
        Answer::OffChart => (None, None, None),
    }
}

fn name(answer: &Answer) -> &'static str {
    match answer {
        Answer::Value { .. } => "value",
        Answer::Below { .. } | Answer::Under { .. } => "below",
        Answer::Above { .. } => "above",
        Answer::OffChart => "off-chart",
    }
}

/// An outcome as one line of JSON, without the newline.
pub fn line(outcome: &Outcome) -> String {
    // Numbers, strings and lists cannot fail to serialise; what is not finite becomes null.
    serde_json::to_string(&Record::of(outcome)).unwrap_or_default()
}

/// Several photos of one vial as one line of JSON, without the newline; `outcomes` are its photos, in the order given.
///
/// Keys: `photos` (how many were given), `used` (names of those that the answer rests on), `between_steps` (standard deviation
/// between the photos beyond their own uncertainty, in steps), `q`, `q_freedom`, `q_chance` (Cochran's Q; `null` unless values
/// were combined), and those of [`Record`] that fit a vial: `photo` is `null`, `taken_at` the earliest of the photos used,
/// `budget` in three parts.
pub fn vial_line(checked: &Checked<VialReading>, outcomes: &[Outcome]) -> String {
    let r = &checked.value;
    let (value, low, high) = r.answer.as_ref().map_or((None, None, None), bounds);
    let used = || r.used.iter().filter_map(|&i| outcomes.get(i));
    let scatter = r.combined.map(|c| c.scatter);
    let error = r.answer.is_none().then(|| checked.flags.first());
    serde_json::json!({
        "photos": r.photos,
        "used": used().map(|o| &o.photo).collect::<Vec<_>>(),
        "photo_sha256": used().filter_map(|o| o.sha256.as_ref()).collect::<Vec<_>>(),
        "photo": null,
        "taken_at": used().filter_map(|o| o.taken_at.as_ref()).min(),
        "test": r.test,
        "unit": r.unit,
        "answer": r.answer.as_ref().map(name),
        "value": value.map(six),
        "low": low.map(six),
        "high": high.map(six),
        "level": LEVEL,
        "confidence": r.confidence.map(six),
        "verdict": r.verdict,
        "flags": checked.flags,
        "error": error.flatten().map(|f| &f.message),
        "between_steps": scatter.map(|s| six(s.tau2.sqrt())),
        "q": scatter.map(|s| six(s.q)),
        "q_freedom": scatter.map(|s| s.freedom),
        "q_chance": scatter.map(|s| six(s.probability)),
        "budget": r.shares,
        "dilution_factor": r.answer.as_ref().map(|_| r.dilution.map_or(1.0, |d| six(d.factor()))),
    })
    .to_string()
}

/// A chart as one line of JSON, without the newline.
///
/// Keys: `test`, `unit`, `medium`, `procedure`, `read_window`, `lot`, `expires`, `origin`, `card`, `view`, `vial_mm`, `steps`
/// [{`value`, `lab`, `srgb`, `photos`}], `curve` {`space`, `axis`, `left_out_error`}, `critical_value`, `detection_limit`,
/// `quantification_limit` (Currie 1995; null where the chart has no blank or does not reach so far), `quantified_to` (up to where
/// one photo is as good as there), `neighbours`
/// [{`lower`, `upper`, `sigmas`, `delta_e`, `told_apart`}], `flags`.
///
/// # Errors
/// If the chart has too few steps for a curve.
pub fn chart(chart: &Chart, flags: &[Flag]) -> Result<String> {
    let steps: Vec<_> = chart
        .steps
        .iter()
        .map(|s| {
            let lab = s.lab();
            let lab = [lab.l, lab.a, lab.b].map(six);
            serde_json::json!({
                "value": s.value,
                "lab": lab,
                "srgb": s.relative().to_srgb8(),
                "photos": s.photos,
            })
        })
        .collect();
    let neighbours: Vec<_> = resolve::pairs(chart)?
        .iter()
        .map(|p| {
            serde_json::json!({
                "lower": p.lower,
                "upper": p.upper,
                "sigmas": six(p.sigmas),
                "delta_e": six(p.delta_e),
                "told_apart": p.sigmas >= resolve::TOLD_APART,
            })
        })
        .collect();
    let found = limits::limits(chart)?;
    let terms = &chart.terms;
    Ok(serde_json::json!({
        "test": terms.test,
        "unit": terms.unit,
        "medium": terms.medium,
        "procedure": terms.procedure,
        "read_window": terms.read_window,
        "lot": terms.lot,
        "expires": terms.expires,
        "origin": chart.origin,
        "card": chart.card,
        "view": chart.view,
        "vial_mm": chart.vial_mm,
        "steps": steps,
        "curve": chart.curve,
        "critical_value": found.and_then(|l| l.critical).map(six),
        "detection_limit": found.and_then(|l| l.detection).map(six),
        "quantification_limit": found.and_then(|l| l.quantification).map(six),
        "quantified_to": found.and_then(|l| l.quantified_to).map(six),
        "neighbours": neighbours,
        "flags": flags,
    })
    .to_string())
}
