//! `tintwell plan standards`: a table of standards from one stock.

use serde::Serialize;

use super::figure::{self, Figure, amount, mixes, short, some};
use super::{Foot, HANDLING, Sheet, USE, aligned};
use crate::cli::Done;
use crate::report::text::clean;
use crate::water::series::{Measuring, Row, Source, table};

const EXAMPLES: &str = "\
Examples:
  tintwell plan standards --stock 1000 --stock-plus-minus 30 0 5 10 20 40 80 160
  tintwell plan standards --stock 100 --stock-plus-minus 1 --smallest 0.2 --plus-minus 0.005 0.5 1

Defaults fit a kitchen: volumes are taken with a syringe, 1 mL at least, off by 0.02 mL (a line of
its scale) and 5 % (the tolerance of ISO 7886-1 for small syringes at least half full, from memory);
each is filled up to 100 mL, off by 1 mL (a measuring cylinder, common practice).
A plus-minus is half of a 95 % interval.";

/// A table of standards to make from one stock, by volumes that can be measured
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    /// Standards to make
    #[arg(required = true, value_name = "VALUE", value_parser = amount, allow_negative_numbers = true)]
    wanted: Vec<f64>,
    /// Concentration of the stock
    #[arg(long, value_name = "VALUE", value_parser = some, allow_negative_numbers = true)]
    stock: f64,
    /// How far off it may be, as `plan stock` says
    #[arg(long, value_name = "HALF", value_parser = amount, allow_negative_numbers = true)]
    stock_plus_minus: Option<f64>,
    /// What each is filled up to, mL
    #[arg(long, value_name = "ML", default_value = "100", value_parser = some, allow_negative_numbers = true)]
    fill_to: f64,
    /// How far off that may be, mL; else 1 % of it
    #[arg(long, value_name = "ML", value_parser = amount, allow_negative_numbers = true)]
    fill_plus_minus: Option<f64>,
    /// Smallest volume that can be taken, mL
    #[arg(long, value_name = "ML", default_value = "1", value_parser = some, allow_negative_numbers = true)]
    smallest: f64,
    /// How far off a volume taken may be, whatever it is, mL
    #[arg(long, value_name = "ML", default_value = "0.02", value_parser = amount, allow_negative_numbers = true)]
    plus_minus: f64,
    /// How far off it may be besides, per cent of it
    #[arg(long, value_name = "PERCENT", default_value = "5", value_parser = amount, allow_negative_numbers = true)]
    percent: f64,
    /// Unit of the concentrations
    #[arg(long, value_name = "UNIT", default_value = "mg/L")]
    unit: String,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

/// Of the volume filled up to, where it is not told how far off it may be.
const CYLINDER: f64 = 0.01;

#[derive(Serialize)]
struct Plan {
    unit: String,
    stock: Figure,
    /// mL of stock that the table takes.
    #[serde(serialize_with = "short")]
    stock_needed_ml: f64,
    #[serde(serialize_with = "short")]
    smallest_ml: f64,
    rows: Vec<Line>,
}

#[derive(Serialize)]
struct Line {
    name: String,
    /// `standard`, or `mix` for what standards are made from.
    kind: &'static str,
    /// `water`, `stock`, or the name of a mix.
    from: String,
    #[serde(serialize_with = "short")]
    take_ml: f64,
    #[serde(serialize_with = "short")]
    fill_to_ml: f64,
    concentration: Figure,
}

pub(super) fn run(args: &Args) -> Done {
    let unit = clean(&args.unit);
    mixes(&unit)?;
    let stock = figure::estimate(args.stock, args.stock_plus_minus);
    let fill = args.fill_plus_minus.unwrap_or(CYLINDER * args.fill_to);
    let measuring = Measuring {
        smallest: args.smallest,
        u_absolute: args.plus_minus / figure::GIVEN,
        u_relative: args.percent / 100.0 / figure::GIVEN,
        fill_to: figure::estimate(args.fill_to, Some(fill)),
    };
    let rows = table(stock, &args.wanted, &measuring)?;
    let lines: Vec<Line> = rows.iter().enumerate().map(|(i, r)| line(i, r)).collect();
    let plan = Plan {
        stock: Figure::given(args.stock, args.stock_plus_minus),
        stock_needed_ml: rows
            .iter()
            .filter(|r| r.source == Source::Stock)
            .map(|r| r.take)
            .sum(),
        smallest_ml: args.smallest,
        rows: lines,
        unit,
    };
    let mut notes = vec![
        "Fill up with water that is free of the substance, and mix well before anything is taken from it.".to_owned(),
        "Take each volume with the smallest syringe that holds it.".to_owned(),
    ];
    if args.stock_plus_minus.is_none() {
        notes.push(
            "The stock counts as exact, as no --stock-plus-minus was given: the intervals are too narrow."
                .to_owned(),
        );
    }
    let text = words(&plan);
    Sheet {
        plan: "standards",
        result: plan,
        foot: Foot::new(
            notes,
            &[
                HANDLING,
                "Label each with content, strength and date. Never pour standards into a tank.",
                USE,
            ],
        ),
    }
    .show(&text, args.json)
}

/// Mixes come first in the table, so that the place of a row is the number of a mix.
fn mix(place: usize) -> String {
    format!("mix {}", place + 1)
}

fn line(place: usize, row: &Row) -> Line {
    let standard = row.wanted.is_some();
    Line {
        name: if standard {
            // As it was asked for.
            crate::report::number::plain(row.concentration.value)
        } else {
            mix(place)
        },
        kind: if standard { "standard" } else { "mix" },
        from: match row.source {
            Source::Water => "water".to_owned(),
            Source::Stock => "stock".to_owned(),
            Source::Row(r) => mix(r),
        },
        take_ml: row.take,
        fill_to_ml: row.fill_to,
        concentration: Figure::of(row.concentration),
    }
}

/// mL with three digits, two decimals at least: no more than a syringe bears.
fn taken(ml: f64) -> String {
    let decimals = (2 - ml.log10().floor() as i32).clamp(2, 6) as usize;
    let text = format!("{ml:.decimals$}");
    format!("{} mL", text.trim_end_matches('0').trim_end_matches('.'))
}

fn words(plan: &Plan) -> String {
    let unit = &plan.unit;
    let mut rows = vec![vec![
        format!("make, {unit}"),
        "take".to_owned(),
        "from".to_owned(),
        "fill up to".to_owned(),
        "holds".to_owned(),
        "95 % interval".to_owned(),
    ]];
    for line in &plan.rows {
        let (value, interval) = line.concentration.parts(unit);
        let (take, from) = if line.from == "water" {
            (String::new(), "water alone".to_owned())
        } else {
            (taken(line.take_ml), line.from.clone())
        };
        rows.push(vec![
            line.name.clone(),
            take,
            from,
            taken(line.fill_to_ml),
            value,
            interval.unwrap_or_default(),
        ]);
    }
    format!(
        "From {} of stock, {}:\n{}",
        taken(plan.stock_needed_ml),
        plan.stock.words(unit),
        aligned(&rows)
    )
}
