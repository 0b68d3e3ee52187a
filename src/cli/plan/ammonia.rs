//! `tintwell plan ammonia`: the un-ionised share of total ammonia.

use serde::Serialize;

use super::figure::{self, Figure, K, amount, number, salinity, short_if_known};
use super::{Foot, LIVESTOCK, Sheet, USE, aligned, row};
use crate::cli::Done;
use crate::report::text::clean;
use crate::water::Estimate;
use crate::water::ammonia::{UnIonised, Water, part, unionised};

const EXAMPLES: &str = "\
Examples:
  tintwell plan ammonia --ph 7.8 --ph-plus-minus 0.3 --temperature 25 --temperature-plus-minus 1
  tintwell plan ammonia --ph 8.2 --ph-plus-minus 0.2 --temperature 25 --salinity 35
  tintwell plan ammonia --ph 8.2 --ph-plus-minus 0.2 --temperature 25 --total 0.5 --plus-minus 0.2

Without --salinity it is fresh water. In sea water the pH is on the free scale, to which colour
tests and meters set with ordinary buffers come near; a probe set with buffers in sea water is on
the total scale, for which this does not hold. Sea water is reckoned from 10 to 28 degrees.";

/// How much of the total ammonia is un-ionised (NH3), from pH, temperature and salinity
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    /// pH of the water
    #[arg(long, value_name = "PH", value_parser = number, allow_negative_numbers = true)]
    ph: f64,
    /// How far off it may be: half of its 95 % interval; of a colour test at least half a step
    #[arg(long, value_name = "HALF", value_parser = amount, allow_negative_numbers = true)]
    ph_plus_minus: f64,
    /// Temperature of the water, degrees C
    #[arg(long, value_name = "C", value_parser = number, allow_negative_numbers = true)]
    temperature: f64,
    /// How far off it may be, degrees: half of its 95 % interval
    #[arg(long, value_name = "C", default_value = "1", value_parser = amount, allow_negative_numbers = true)]
    temperature_plus_minus: f64,
    /// Practical salinity of sea or brackish water, 35 or so in the sea (not its specific gravity)
    #[arg(long, value_name = "S", value_parser = salinity, allow_negative_numbers = true)]
    salinity: Option<f64>,
    /// Total ammonia, as the test reads it
    #[arg(long, value_name = "VALUE", value_parser = amount, allow_negative_numbers = true, requires = "plus_minus")]
    total: Option<f64>,
    /// How far off that may be: half of its 95 % interval
    #[arg(long, value_name = "HALF", value_parser = amount, allow_negative_numbers = true, requires = "total")]
    plus_minus: Option<f64>,
    /// Unit of the total
    #[arg(long, value_name = "UNIT", default_value = "mg/L")]
    unit: String,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct Plan {
    share_percent: Figure,
    /// In `unit`, stated as the total is (as nitrogen or as NH3).
    unionised: Option<Figure>,
    total: Option<Figure>,
    unit: String,
    ph: Figure,
    /// `null` in fresh water.
    ph_scale: Option<&'static str>,
    temperature_c: Figure,
    #[serde(serialize_with = "short_if_known")]
    salinity: Option<f64>,
    /// What makes the share uncertain, as half-widths of 95 %, per cent of the water's total ammonia.
    by_ph_percent: f64,
    by_temperature_percent: f64,
    by_formula_percent: f64,
}

pub(super) fn run(args: &Args) -> Done {
    let water = args
        .salinity
        .map_or(Water::Fresh, |salinity| Water::Sea { salinity });
    let share = unionised(
        figure::estimate(args.ph, Some(args.ph_plus_minus)),
        figure::estimate(args.temperature, Some(args.temperature_plus_minus)),
        water,
    )?;
    let interval = interval(share.share);
    let total = args.total.map(|v| figure::estimate(v, args.plus_minus));
    let nh3 = match total {
        Some(total) => Some(nh3(total, &share, interval)?),
        None => None,
    };
    let half = |u: f64| crate::report::number::six(100.0 * K * u);
    let plan = Plan {
        share_percent: interval.times(100.0),
        unionised: nh3,
        total: args.total.map(|v| Figure::given(v, args.plus_minus)),
        unit: clean(&args.unit),
        ph: Figure::given(args.ph, Some(args.ph_plus_minus)),
        ph_scale: args.salinity.map(|_| "free"),
        temperature_c: Figure::given(args.temperature, Some(args.temperature_plus_minus)),
        salinity: args.salinity,
        by_ph_percent: half(share.u_ph),
        by_temperature_percent: half(share.u_temperature),
        by_formula_percent: half(share.u_model),
    };
    let mut notes = Vec::new();
    if args.total.is_some() {
        notes.push("Stated as the total is: of a test that reads NH3-N it is N, of one that reads NH3 it is NH3.".to_owned());
    }
    notes.push(
        "The interval is taken on the scale of the pH, so its upper side is the longer one."
            .to_owned(),
    );
    let text = words(&plan, args);
    Sheet {
        plan: "ammonia",
        result: plan,
        foot: Foot::new(notes, &[LIVESTOCK, USE]),
    }
    .show(&text, args.json)
}

/// A share's interval on the scale of its log odds, where pH and pK count evenly: it stays between 0 and 1, and is as
/// lopsided as the pH makes it.
fn interval(share: Estimate) -> Figure {
    let odds = share.value * (1.0 - share.value);
    if odds <= 0.0 || share.u <= 0.0 {
        return Figure::exact(share.value);
    }
    let middle = (share.value / (1.0 - share.value)).ln();
    let half = K * share.u / odds;
    let back = |x: f64| 1.0 / (1.0 + (-x).exp());
    Figure::between(share.value, back(middle - half), back(middle + half))
}

/// The un-ionised part; each side of its interval from that side of the share and of the total, which are independent.
fn nh3(total: Estimate, share: &UnIonised, interval: Figure) -> crate::error::Result<Figure> {
    let value = part(total, share)?.value;
    let side = |end: Option<f64>| {
        let by_share = end.map_or(0.0, |end| (end - share.share.value) * total.value);
        by_share.hypot(K * total.u * share.share.value)
    };
    Ok(Figure::between(
        value,
        (value - side(interval.low)).max(0.0),
        value + side(interval.high),
    ))
}

fn words(plan: &Plan, args: &Args) -> String {
    let mut rows = Vec::new();
    let share = plan.share_percent.words("%");
    let head = match (plan.unionised, plan.total) {
        (Some(nh3), Some(total)) => {
            rows.push(row("share", share));
            rows.push(row("total ammonia", total.words(&plan.unit)));
            format!("{} of un-ionised ammonia (NH3).", nh3.words(&plan.unit))
        }
        _ => format!("{share} of the total ammonia is un-ionised (NH3)."),
    };
    rows.push(row("pH", plan.ph.words("")));
    rows.push(row("temperature", plan.temperature_c.words("°C")));
    rows.push(row(
        "water",
        match args.salinity {
            None => "fresh".to_owned(),
            Some(s) => format!(
                "salinity {}, pH on the free scale",
                crate::report::number::plain(s),
            ),
        },
    ));
    format!("{head}\n{}", aligned(&rows))
}
