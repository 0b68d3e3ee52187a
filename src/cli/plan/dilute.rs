//! `tintwell plan dilute`: how to bring a sample from over the top of a chart onto it.

use std::path::PathBuf;

use serde::Serialize;

use super::figure::{four, mixes, short, short_if_known, some};
use super::{Foot, HANDLING, Sheet, USE, aligned, row};
use crate::chart::resolve::clear_top;
use crate::cli::files::load_chart;
use crate::cli::{Done, Stop};
use crate::report::number::plain;
use crate::report::text::clean;
use crate::water::over_range::dilution;

const EXAMPLES: &str = "\
Examples:
  tintwell plan dilute --top 160
  tintwell plan dilute --chart nitrate.json --at-least 400 --vial 10";

/// How to dilute a sample that is over the top of the chart
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    /// Highest step of the chart
    #[arg(long, value_name = "VALUE", value_parser = some, allow_negative_numbers = true, conflicts_with = "chart")]
    top: Option<f64>,
    /// Take the highest step from a chart, and aim below those that one photo cannot tell apart
    #[arg(long, value_name = "FILE")]
    chart: Option<PathBuf>,
    /// The sample holds at least so much; else the top of the chart. After a dilution that was over the top again: its factor
    /// times the top
    #[arg(long, value_name = "VALUE", value_parser = some, allow_negative_numbers = true)]
    at_least: Option<f64>,
    /// What the vial is filled to for the test, mL
    #[arg(long, value_name = "ML", value_parser = some, allow_negative_numbers = true)]
    vial: Option<f64>,
    /// Unit of the levels
    #[arg(
        long,
        value_name = "UNIT",
        default_value = "mg/L",
        conflicts_with = "chart"
    )]
    unit: String,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct Plan {
    unit: String,
    #[serde(serialize_with = "short")]
    chart_top: f64,
    /// The highest step that one photo tells from the one under it: what lies above is not aimed at.
    #[serde(serialize_with = "short")]
    told_apart_to: f64,
    #[serde(serialize_with = "short")]
    at_least: f64,
    /// As `tintwell read --dilution` takes it.
    dilution: String,
    parts_sample: u32,
    parts_water: u32,
    /// What the reading and its interval are multiplied by.
    #[serde(serialize_with = "short")]
    factor: f64,
    #[serde(serialize_with = "short_if_known")]
    sample_ml: Option<f64>,
    #[serde(serialize_with = "short_if_known")]
    water_ml: Option<f64>,
    /// Where `at_least` comes to lie, and the highest that the chart then reads.
    #[serde(serialize_with = "short")]
    reads_at_least: f64,
    #[serde(serialize_with = "short")]
    reaches: f64,
}

pub(super) fn run(args: &Args) -> Done {
    let (top, clear, unit) = match (&args.chart, args.top) {
        (Some(file), _) => {
            let chart = load_chart(file)?;
            let top = chart.values().into_iter().fold(f64::NEG_INFINITY, f64::max);
            (top, clear_top(&chart)?, clean(&chart.terms.unit))
        }
        (None, Some(top)) => (top, top, clean(&args.unit)),
        (None, None) => {
            return Err(Stop::Usage(
                "tell the highest step of the chart with --top, or give the chart with --chart"
                    .into(),
            ));
        }
    };
    mixes(&unit)?;
    let at_least = args.at_least.unwrap_or(top);
    // Read it undiluted, if it may lie within the chart.
    dilution(at_least, top)?;
    let d = dilution(at_least, clear)?;
    let factor = d.factor();
    let plan = Plan {
        chart_top: top,
        told_apart_to: clear,
        at_least,
        dilution: d.to_string(),
        parts_sample: 1,
        parts_water: d.water,
        factor,
        sample_ml: args.vial.map(|v| v / factor),
        water_ml: args.vial.map(|v| v - v / factor),
        reads_at_least: d.bound_then,
        reaches: clear * factor,
        unit,
    };
    let text = words(&plan);
    let notes = vec![
        format!(
            "Measure both with a syringe, mix, test, and read with --dilution {}: it multiplies back and counts how far off the \
             volumes may be.",
            plan.dilution
        ),
        "Over the top again: run this once more with --at-least set to the factor times the top."
            .to_owned(),
    ];
    Sheet {
        plan: "dilute",
        result: plan,
        foot: Foot::new(notes, &[HANDLING, USE]),
    }
    .show(&text, args.json)
}

fn words(plan: &Plan) -> String {
    let unit = &plan.unit;
    let parts = if plan.parts_water == 1 {
        "part"
    } else {
        "parts"
    };
    let mut rows = Vec::new();
    if let (Some(sample), Some(water)) = (plan.sample_ml, plan.water_ml) {
        rows.push(row(
            "in the vial",
            format!("{sample:.2} mL of sample and {water:.2} mL of water"),
        ));
    }
    rows.push(row(
        "dilution",
        format!("{}, multiply by {}", plan.dilution, plain(plan.factor)),
    ));
    rows.push(row(
        "top of the chart",
        format!("{} {unit}", plain(plan.chart_top)),
    ));
    if plan.told_apart_to < plan.chart_top {
        rows.push(row(
            "steps told apart to",
            format!(
                "{} {unit}, and so the middle of that is aimed at",
                plain(plan.told_apart_to)
            ),
        ));
    }
    rows.push(row(
        "sample",
        format!("at least {} {unit}", plain(plan.at_least)),
    ));
    rows.push(row(
        "then reads",
        format!("at least {} {unit}", four(plan.reads_at_least)),
    ));
    rows.push(row(
        "can be read up to",
        format!("{} {unit}", plain(plan.reaches)),
    ));
    format!(
        "Mix 1 part of sample with {} {parts} of water that is free of the substance.\n{}",
        plan.parts_water,
        aligned(&rows)
    )
}
