//! `tintwell plan stock`: what to weigh for a stock solution.

use serde::Serialize;

use super::figure::{self, Figure, amount, percent, some};
use super::{Foot, HANDLING, Sheet, USE, aligned, row};
use crate::cli::Done;
use crate::error::Error;
use crate::report::number::plain;
use crate::water::Estimate;
use crate::water::convert::Species;
use crate::water::standards::{Stock, gives, weigh};

const EXAMPLES: &str = "\
Examples:
  tintwell plan stock KNO3 --as NO3 --make 1000 --volume 500
  tintwell plan stock NH4Cl --as NH3-N --make 1000 --volume 1000 --balance 0.002
  tintwell plan stock KH2PO4 --as PO4 --make 500 --volume 500 --purity 99.5 --purity-plus-minus 0.5

Salts: KNO3, NaNO3, NaNO2, NH4Cl, KH2PO4, (NH4)2SO4.
Stated as: an ion or element of the salt, such as NO3, NO3-N, PO4-P.

Defaults are common practice: a pocket scale that shows 0.01 g and may be off by two of them, a
measuring cylinder good to 1 % of what it holds, a salt of 98 to 100 %.";

/// What to weigh for a stock solution that standards are made from
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    /// The salt, by its formula
    salt: Species,
    /// What its concentration is stated as
    #[arg(long = "as", value_name = "SUBSTANCE")]
    stated_as: String,
    /// Concentration to make, mg/L
    #[arg(long, value_name = "MG_PER_L", value_parser = some, allow_negative_numbers = true)]
    make: f64,
    /// What the flask is filled up to, mL
    #[arg(long, value_name = "ML", value_parser = some, allow_negative_numbers = true)]
    volume: f64,
    /// How far off that may be, mL: half of its 95 % interval; else 1 % of it
    #[arg(long, value_name = "ML", value_parser = amount, allow_negative_numbers = true)]
    volume_plus_minus: Option<f64>,
    /// How far off the scale may be, g: half of its 95 % interval
    #[arg(long, value_name = "G", default_value = "0.02", value_parser = amount, allow_negative_numbers = true)]
    balance: f64,
    /// How pure the salt is
    #[arg(long, value_name = "PERCENT", default_value = "99", value_parser = percent, allow_negative_numbers = true)]
    purity: f64,
    /// How far off that may be, per cent: half of its 95 % interval
    #[arg(long, value_name = "HALF", default_value = "1", value_parser = amount, allow_negative_numbers = true)]
    purity_plus_minus: f64,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

/// Of a flask's volume, where it is not told how far off it may be.
const FLASK: f64 = 0.01;
/// A scale that may be off by more than this share of the mass is pointed out: no colour test needs better standards.
const COARSE: f64 = 0.05;

/// What the scale cannot tell from nothing.
fn too_little(args: &Args, mass: f64) -> Error {
    let least = args.balance / COARSE;
    let stronger = figure::four(args.make * least / mass);
    Error::new(
        format!(
            "{} g of {} would have to be weighed, and the scale may be off by {} g (--balance): from {} g on it is good to {:.0} %",
            figure::four(mass),
            args.salt,
            plain(args.balance),
            plain(least),
            100.0 * COARSE
        ),
        format!(
            "make a stronger stock, from {} mg/L in {} mL on, and dilute it with `tintwell plan standards`; or make more of it, or \
             use a finer scale",
            plain(stronger),
            plain(args.volume)
        ),
    )
    .about("--make")
}

/// More salt in a litre than this, g, is pointed out (common practice): so much of each of the salts dissolves in cold water too
/// (handbook values at 0 degrees from memory: the least is about 130 g in a litre of water, of KNO3); of more it depends.
const MUCH: f64 = 100.0;

#[derive(Serialize)]
struct Plan {
    salt: &'static str,
    stated_as: String,
    mass_g: Figure,
    volume_ml: Figure,
    concentration_mg_per_l: Figure,
    purity_percent: Figure,
}

pub(super) fn run(args: &Args) -> Done {
    let stated: Species = args.stated_as.parse()?;
    if let (true, Some(ion)) = (args.salt.is_salt(), Species::ion_named(&args.stated_as)) {
        gives(args.salt, ion)?;
    }
    let flask = args.volume_plus_minus.unwrap_or(FLASK * args.volume);
    let weighed = weigh(&Stock {
        salt: args.salt,
        stated_as: stated,
        concentration: args.make,
        volume: figure::estimate(args.volume, Some(flask)),
        purity: Estimate::new(
            args.purity / 100.0,
            args.purity_plus_minus / 100.0 / figure::GIVEN,
        ),
        balance: args.balance / figure::GIVEN,
    })?;
    let mass = weighed.mass.value;
    if args.balance >= mass {
        return Err(too_little(args, mass).into());
    }
    let mut notes = Vec::new();
    if args.balance > COARSE * mass {
        notes.push(format!(
            "The scale may be off by {:.0} % of that mass: make more or stronger stock, or use a finer scale.",
            100.0 * args.balance / mass
        ));
    }
    let per_litre = mass / (args.volume / 1000.0);
    if per_litre > MUCH {
        notes.push(format!(
            "That is {per_litre:.0} g in a litre: more than {MUCH:.0} g may not dissolve, above all in the cold. Make weaker stock."
        ));
    }
    notes.push(
        "If it turns out another mass, the concentration goes with it in proportion.".to_owned(),
    );
    let plan = Plan {
        salt: args.salt.formula(),
        stated_as: stated.named(&args.stated_as),
        mass_g: Figure::given(mass, Some(args.balance)),
        volume_ml: Figure::given(args.volume, Some(flask)),
        concentration_mg_per_l: Figure::of(weighed.concentration),
        purity_percent: Figure::given_percent(args.purity, Some(args.purity_plus_minus)),
    };
    let text = format!(
        "Weigh {} of {} and fill up to {} mL.\n{}",
        plan.mass_g.words("g"),
        plan.salt,
        plain(args.volume),
        aligned(&[
            row(
                "makes",
                format!(
                    "{} as {}",
                    plan.concentration_mg_per_l.words("mg/L"),
                    plan.stated_as
                ),
            ),
            row("flask", plan.volume_ml.words("mL")),
            row("purity", plan.purity_percent.words("%")),
        ])
    );
    Sheet {
        plan: "stock",
        result: plan,
        foot: Foot::new(
            notes,
            &[
                HANDLING,
                "Label it with content, strength and date. Never pour it into a tank or a drain with animals behind it.",
                USE,
            ],
        ),
    }
    .show(&text, args.json)
}
