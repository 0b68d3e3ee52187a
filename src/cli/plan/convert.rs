//! `tintwell plan convert`: a concentration stated as something else.

use std::str::FromStr;

use serde::Serialize;

use super::figure::{Figure, amount, four, number, salinity, short, short_if_known};
use super::{Foot, Sheet, USE, aligned, row};
use crate::cli::{Done, Stop};
use crate::report::text::clean;
use crate::water::Estimate;
use crate::water::convert::{Species, factor, mg_per_litre_from_ppm, ppm_from_mg_per_litre};
use crate::water::density::density;

const EXAMPLES: &str = "\
Examples:
  tintwell plan convert 10 NO3-N NO3 --plus-minus 2
  tintwell plan convert 0.5 PO4 PO4-P
  tintwell plan convert 420 ppm mg/L --salinity 35 --temperature 25

As nitrogen is NO3-N, NO2-N, NH3-N, NH4-N or N; as phosphorus PO4-P or P. Between substances the
unit stays as it is. ppm is by mass (mg/kg): for it the density of the water is needed, so
--salinity (0 for fresh water) and --temperature.";

/// State a concentration as another substance (as nitrogen, as the ion), or mg/L as ppm
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    /// The concentration
    #[arg(value_parser = amount, allow_negative_numbers = true)]
    value: f64,
    /// What it is stated as: a formula, NO3-N and the like, ppm, or mg/L
    from: Stated,
    /// What to state it as
    to: Stated,
    /// How far off it may be: half of its 95 % interval
    #[arg(long, value_name = "HALF", value_parser = amount, allow_negative_numbers = true)]
    plus_minus: Option<f64>,
    /// Practical salinity of the water, for ppm: 0 for fresh water, 35 or so in the sea (not its specific gravity)
    #[arg(long, value_name = "S", value_parser = salinity, allow_negative_numbers = true)]
    salinity: Option<f64>,
    /// Temperature of the water, degrees C, for ppm
    #[arg(long, value_name = "C", value_parser = number, allow_negative_numbers = true)]
    temperature: Option<f64>,
    /// Unit, between substances; else mg/L
    #[arg(long, value_name = "UNIT")]
    unit: Option<String>,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

/// What a concentration is stated as or in.
#[derive(Debug, Clone, PartialEq)]
enum Stated {
    Ppm,
    MgPerLitre,
    /// With the name that it goes by.
    As(Species, String),
}

impl FromStr for Stated {
    type Err = String;

    fn from_str(text: &str) -> Result<Stated, String> {
        let text = text.trim();
        match text.to_lowercase().as_str() {
            "ppm" | "mg/kg" => Ok(Stated::Ppm),
            "mg/l" => Ok(Stated::MgPerLitre),
            _ => text
                .parse()
                .map(|s: Species| Stated::As(s, s.named(text)))
                .map_err(|e: crate::error::Error| format!("{}: {}, ppm or mg/L", e.what, e.fix)),
        }
    }
}

impl Stated {
    fn word(&self) -> &str {
        match self {
            Stated::Ppm => "ppm",
            Stated::MgPerLitre => "mg/L",
            Stated::As(_, word) => word,
        }
    }

    /// The substance that is meant, also where it is stated as an element of it: NO3 of NO3-N. None of an element alone.
    fn ion(&self) -> Option<Species> {
        match self {
            Stated::As(species, word) => Species::ion_named(word)
                .or(Some(*species).filter(|s| !matches!(s, Species::N | Species::P))),
            _ => None,
        }
    }
}

impl Args {
    /// Refuses what would be passed over: the unit stays as it is between substances alone, and the water's density is asked for
    /// ppm alone.
    fn meant(&self) -> Result<(), Stop> {
        let substances = matches!((&self.from, &self.to), (Stated::As(..), Stated::As(..)));
        let given = if substances {
            [
                self.salinity.map(|_| "--salinity"),
                self.temperature.map(|_| "--temperature"),
            ]
        } else {
            [self.unit.as_ref().map(|_| "--unit"), None]
        };
        let Some(option) = given.into_iter().flatten().next() else {
            return Ok(());
        };
        Err(Stop::Usage(format!(
            "{option} does not count {}: leave it away",
            if substances {
                "between substances, only between ppm and mg/L"
            } else {
                "between ppm and mg/L, only between substances"
            }
        )))
    }
}

#[derive(Serialize)]
struct Plan {
    from: String,
    to: String,
    unit_from: String,
    unit_to: String,
    given: Figure,
    converted: Figure,
    #[serde(serialize_with = "short")]
    factor: f64,
    #[serde(serialize_with = "short_if_known")]
    density_kg_per_m3: Option<f64>,
}

pub(super) fn run(args: &Args) -> Done {
    let given = Figure::given(args.value, args.plus_minus);
    args.meant()?;
    let unit = clean(args.unit.as_deref().unwrap_or("mg/L"));
    let (factor, density, units) = match (&args.from, &args.to) {
        (Stated::As(from, _), Stated::As(to, _)) => {
            (factor(*from, *to)?, None, [unit.clone(), unit])
        }
        (from @ (Stated::Ppm | Stated::MgPerLitre), to @ (Stated::Ppm | Stated::MgPerLitre))
            if from != to =>
        {
            let (Some(salinity), Some(temperature)) = (args.salinity, args.temperature) else {
                return Err(Stop::Usage(
                    "ppm is by mass: give --salinity (0 for fresh water) and --temperature of the water".into(),
                ));
            };
            let one = Estimate::exact(1.0);
            let factor = match from {
                Stated::Ppm => mg_per_litre_from_ppm(one, salinity, temperature)?,
                _ => ppm_from_mg_per_litre(one, salinity, temperature)?,
            };
            let units = [from.word().to_owned(), to.word().to_owned()];
            (factor.value, Some(density(salinity, temperature)?), units)
        }
        _ => {
            return Err(Stop::Usage(
                "convert between two substances (NO3-N NO3), or between ppm and mg/L; for both do one after the other".into(),
            ));
        }
    };
    let [unit_from, unit_to] = units;
    let plan = Plan {
        from: args.from.word().to_owned(),
        to: args.to.word().to_owned(),
        converted: given.times(factor),
        given,
        factor,
        density_kg_per_m3: density,
        unit_from,
        unit_to,
    };
    let note = if plan.converted.low.is_none() {
        "No plus-minus was given, so there is no interval."
    } else {
        "The interval is the one that was given, multiplied alike."
    };
    let mut notes = vec![note.to_owned()];
    if let (Some(from), Some(to)) = (args.from.ion(), args.to.ion())
        && from != to
    {
        notes.push(format!(
            "{from} and {to} are different substances: this is how much {to} holds as much of the element, not how much {to} there is in \
             water that holds {from}."
        ));
    }
    let text = words(&plan, matches!(args.from, Stated::As(..)));
    Sheet {
        plan: "convert",
        result: plan,
        foot: Foot::scaled(notes, &[USE]),
    }
    .show(&text, args.json)
}

/// A value with its unit; without an interval to four digits.
fn shown(f: Figure, unit: &str) -> String {
    if f.low.is_some() {
        return f.words(unit);
    }
    format!("{} {unit}", four(f.value))
}

fn words(plan: &Plan, substances: bool) -> String {
    let named = |f: Figure, unit: &str, name: &str| {
        if substances {
            format!("{} as {name}", shown(f, unit))
        } else {
            shown(f, unit)
        }
    };
    let mut rows = vec![
        row("given", named(plan.given, &plan.unit_from, &plan.from)),
        row("multiplied by", format!("{:.5}", plan.factor)),
    ];
    if let Some(density) = plan.density_kg_per_m3 {
        rows.push(row("density", format!("{density:.1} kg/m3")));
    }
    format!(
        "{}\n{}",
        named(plan.converted, &plan.unit_to, &plan.to),
        aligned(&rows)
    )
}
