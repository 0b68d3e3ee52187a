//! The chart file: our own JSON, with a format name and a version. Derived values (CIELAB) are written for people and
//! checked on reading; numbers that are not finite, steps that do not rise and unknown versions are refused.

use nalgebra::Matrix3;
use serde::{Deserialize, Serialize};

use super::curve::Choice;
use super::{Chart, Origin, Step, Terms};
use crate::error::{Error, Result};
use crate::flag::Flag;
use crate::light::correct::SessionPatch;
use crate::place::View;
use crate::vial::ends::UsualEnds;
use crate::vial::lens::Lens;

/// Version that this program writes.
pub const VERSION: u32 = 1;
const FORMAT: &str = "tintwell-chart";
const MAKE_ANEW: &str = "make the chart again with `tintwell calibrate`, or take it from a copy";

#[derive(Serialize, Deserialize)]
struct Record {
    format: String,
    version: u32,
    #[serde(flatten)]
    body: Body,
}

#[derive(Serialize, Deserialize)]
struct Body {
    #[serde(flatten)]
    terms: Terms,
    origin: Origin,
    card: Option<String>,
    view: Option<View>,
    #[serde(default)]
    vial_mm: Option<f64>,
    #[serde(default)]
    lines_lowered: Option<f64>,
    #[serde(default)]
    lens: Option<Lens>,
    #[serde(default)]
    ends: Option<UsualEnds>,
    #[serde(default)]
    inks_missed: Option<f64>,
    steps: Vec<StepRecord>,
    repeatability: [[f64; 3]; 3],
    repeatability_df: usize,
    curve: Choice,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    found: Vec<Flag>,
    patches: Vec<SessionPatch>,
}

#[derive(Serialize, Deserialize)]
struct StepRecord {
    #[serde(flatten)]
    step: Step,
    /// For people and other programs; the pipeline takes `ln`.
    lab: [f64; 3],
}

/// The chart as the text of its file.
pub fn write(chart: &Chart) -> String {
    let record = Record {
        format: FORMAT.into(),
        version: VERSION,
        body: Body {
            terms: chart.terms.clone(),
            origin: chart.origin,
            card: chart.card.clone(),
            view: chart.view,
            vial_mm: chart.vial_mm.map(|v| (v * 10.0).round() / 10.0),
            lines_lowered: chart.lines_lowered.map(|v| (v * 100.0).round() / 100.0),
            lens: chart.lens.clone(),
            ends: chart.ends,
            inks_missed: chart.inks_missed,
            steps: chart
                .steps
                .iter()
                .map(|s| {
                    let lab = s.lab();
                    StepRecord {
                        step: s.clone(),
                        lab: [lab.l, lab.a, lab.b].map(|v| (v * 1000.0).round() / 1000.0),
                    }
                })
                .collect(),
            repeatability: chart.repeatability,
            repeatability_df: chart.repeatability_df,
            curve: chart.curve,
            found: chart.found.clone(),
            patches: chart.patches.clone(),
        },
    };
    serde_json::to_string_pretty(&record).expect("a chart holds only finite numbers and strings")
        + "\n"
}

/// SHA-256 of a chart in the form in which it is written: the same for the same chart, whoever laid out its file.
pub fn sha256_of(chart: &Chart) -> String {
    crate::photo::sha256(write(chart).as_bytes())
}

/// Reads a chart from the text of its file.
///
/// # Errors
/// If it is not a chart, of another version, or holds values that no chart can have.
pub fn parse(text: &str) -> Result<Chart> {
    let value: serde_json::Value = serde_json::from_str(text).map_err(|e| {
        Error::new(
            format!("this is not a chart file: it is not valid JSON ({e})"),
            MAKE_ANEW,
        )
    })?;
    if value.get("format").and_then(|f| f.as_str()) != Some(FORMAT) {
        return Err(Error::new(
            format!("this is not a chart file: it does not say \"format\": \"{FORMAT}\""),
            "give a file written by `tintwell calibrate`",
        ));
    }
    match value.get("version").and_then(serde_json::Value::as_u64) {
        Some(v) if v == u64::from(VERSION) => {}
        found => {
            return Err(Error::new(
                format!(
                    "the chart file has version {}, this program reads version {VERSION}",
                    found.map_or_else(|| "none".into(), |v| v.to_string())
                ),
                "use a newer Tintwell, or make the chart again",
            ));
        }
    }
    let record: Record = serde_json::from_value(value)
        .map_err(|e| Error::new(format!("the chart file is damaged: {e}"), MAKE_ANEW))?;
    let body = record.body;
    let chart = Chart {
        terms: body.terms,
        origin: body.origin,
        card: body.card,
        view: body.view,
        vial_mm: body.vial_mm,
        lines_lowered: body.lines_lowered,
        lens: body.lens,
        ends: body.ends,
        inks_missed: body.inks_missed,
        patches: body.patches,
        steps: body.steps.into_iter().map(|s| s.step).collect(),
        repeatability: body.repeatability,
        repeatability_df: body.repeatability_df,
        curve: body.curve,
        found: body.found,
    };
    check(&chart)
        .map_err(|what| Error::new(format!("the chart file is damaged: {what}"), MAKE_ANEW))?;
    Ok(chart)
}

/// What no chart can have.
fn check(chart: &Chart) -> std::result::Result<(), String> {
    if chart.steps.len() < super::calibrate::LEAST_STEPS || chart.steps.len() > MOST_STEPS {
        return Err(format!(
            "it has {} steps, allowed are {} to {MOST_STEPS}",
            chart.steps.len(),
            super::calibrate::LEAST_STEPS
        ));
    }
    if chart.patches.len() > MOST_PATCHES {
        return Err(format!(
            "it has {} patches, allowed are up to {MOST_PATCHES}",
            chart.patches.len()
        ));
    }
    for pair in chart.steps.windows(2) {
        if pair[1].value <= pair[0].value {
            return Err(format!(
                "its steps do not rise: {} is followed by {}",
                pair[0].value, pair[1].value
            ));
        }
    }
    // Light relative to paper between e^-12 and e^2 is more than any photo can show.
    let light = -12.0..=2.0;
    for s in &chart.steps {
        if !(0.0..=1e9).contains(&s.value) {
            return Err(format!("step value {} is out of range (0 to 1e9)", s.value));
        }
        if !s.ln.iter().all(|v| light.contains(v)) {
            return Err(format!(
                "the colour of step {} is out of range (-12 to 2)",
                s.value
            ));
        }
        if !s.clear.iter().flatten().all(|v| v.abs() <= 10.0) {
            return Err(format!(
                "how clear step {} was is out of range (-10 to 10)",
                s.value
            ));
        }
        covariance(&s.covariance).map_err(|e| format!("the covariance of step {} {e}", s.value))?;
    }
    for p in &chart.patches {
        if !p.ln.iter().all(|v| light.contains(v)) {
            return Err(format!(
                "the colour of patch \"{}\" is out of range (-12 to 2)",
                p.name
            ));
        }
    }
    let mut names: Vec<&str> = chart.patches.iter().map(|p| p.name.as_str()).collect();
    names.sort_unstable();
    if let Some(twice) = names.windows(2).find(|w| w[0] == w[1]) {
        return Err(format!("it has the patch \"{}\" twice", twice[0]));
    }
    let scatter = chart.patches.iter().filter_map(|p| p.sd).flatten();
    if !scatter
        .chain(chart.curve.left_out_error)
        .all(|v| (0.0..=1e3).contains(&v))
    {
        return Err(
            "how much its patches scatter or its steps are missed is out of range (0 to 1000)"
                .into(),
        );
    }
    if let Some(w) = chart.terms.read_window
        && !w.is_one()
    {
        return Err(format!(
            "its read window is from {} to {} minutes",
            w.from_min, w.to_min
        ));
    }
    if !chart.vial_mm.iter().all(|v| (1.0..=100.0).contains(v)) {
        return Err("the width of its vials is out of range (1 to 100 mm)".into());
    }
    if !chart.lines_lowered.iter().all(|v| v.abs() <= 100.0) {
        return Err("what its vials do to the card's lines is out of range (-100 to 100 times what water does)".into());
    }
    if chart.found.len() > MOST_FOUND {
        return Err(format!(
            "it has {} findings, allowed are up to {MOST_FOUND}",
            chart.found.len()
        ));
    }
    if !chart.inks_missed.iter().all(|v| (0.0..=10.0).contains(v)) {
        return Err("what its inks are missed by is out of range (0 to 10)".into());
    }
    if let Some(lens) = &chart.lens
        && !(lens
            .across
            .inside
            .iter()
            .chain(lens.across.beside.iter().flatten().flatten())
            .all(|v| v.abs() <= 10.0)
            && (0.0..=10.0).contains(&lens.scatter))
    {
        return Err("the light across its vials is out of range (-10 to 10)".into());
    }
    if let Some(ends) = &chart.ends
        && !(ends.dye.iter().all(|v| v.abs() <= 1e3)
            && ends.dye[0] <= 0.0
            && ends.dye[1] >= 0.0
            && (0.0..=1e3).contains(&ends.light))
    {
        return Err("what the ends of its liquids differ by is out of range".into());
    }
    covariance(&chart.repeatability).map_err(|e| format!("its repeatability {e}"))
}

const MOST_STEPS: usize = 200;
const MOST_PATCHES: usize = 500;
const MOST_FOUND: usize = 5000;

fn covariance(m: &[[f64; 3]; 3]) -> std::result::Result<(), String> {
    let fine = (0..3).all(|i| {
        (0..3).all(|j| {
            m[i][j].is_finite()
                && m[i][j].abs() <= 1e3
                && (m[i][j] - m[j][i]).abs() <= 1e-9 + 1e-6 * m[i][j].abs()
        }) && m[i][i] >= 0.0
    });
    // No variance in any direction may be negative, but for rounding.
    let least = || {
        let m = Matrix3::from_fn(|i, j| (m[i][j] + m[j][i]) / 2.0);
        m.symmetric_eigenvalues().min() + 1e-9 * (1e-6 + m.trace())
    };
    if fine && least() >= 0.0 {
        Ok(())
    } else {
        Err("is not a covariance (symmetric, finite, no variance below zero)".into())
    }
}
