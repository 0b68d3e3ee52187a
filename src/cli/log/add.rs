//! `tintwell log add`: waters, equipment, and readings that were not made by this program.

use super::{LogbookArgs, entered, medium};
use crate::cli::{Done, Exit, Stop, say};
use crate::face::plan::figure::{number, some};
use crate::flag::Verdict;
use crate::logbook::{Access, Amount, Equipment, Reading, Source, Water, folded};
use crate::report::text::clean;
use crate::water::volume::litres;

/// Add a water, equipment, or a reading made in another way
#[derive(clap::Args)]
pub(super) struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(clap::Subcommand)]
enum What {
    /// A body of water
    Water(WaterArgs),
    /// A net, a pump, a filter: what goes from water to water
    Equipment(EquipmentArgs),
    /// A reading by eye, by another instrument, or from a laboratory
    Reading(ReadingArgs),
}

#[derive(clap::Args)]
struct WaterArgs {
    /// Its name
    name: String,
    /// How much water it is, in L, m3, US gal or UK gal, such as 400L
    #[arg(long, value_name = "VOLUME", value_parser = litres, allow_hyphen_values = true)]
    volume: Option<f64>,
    /// Salt or fresh water
    #[arg(long, value_parser = ["fresh", "salt"])]
    medium: Option<String>,
    /// What lives there
    #[arg(long, default_value = "")]
    lives: String,
    /// Invertebrates live there, which copper kills
    #[arg(long)]
    invertebrates: bool,
    #[command(flatten)]
    logbook: LogbookArgs,
}

#[derive(clap::Args)]
struct EquipmentArgs {
    /// Its name
    name: String,
    /// Anything else
    #[arg(long, default_value = "")]
    note: String,
    #[command(flatten)]
    logbook: LogbookArgs,
}

#[derive(clap::Args)]
#[command(group(clap::ArgGroup::new("certainty").required(true).args(["plus_minus", "below", "above"])))]
struct ReadingArgs {
    /// Name of the water
    water: String,
    /// Name of the test
    test: String,
    /// What was read; with --below or --above the bound
    #[arg(value_parser = number, allow_negative_numbers = true)]
    value: f64,
    /// Unit of the value
    unit: String,
    /// How far off it may be: half of a 95 % interval. By eye at least half the distance of the neighbouring chart steps
    #[arg(long, value_name = "HALF", value_parser = some, allow_negative_numbers = true)]
    plus_minus: Option<f64>,
    /// It was under the value, not at it
    #[arg(long)]
    below: bool,
    /// It was over the value, not at it
    #[arg(long)]
    above: bool,
    /// It was held against a printed chart
    #[arg(long)]
    by_eye: bool,
    /// There is a reason not to trust it; say which in --note
    #[arg(long)]
    doubtful: bool,
    /// When; now, if not told
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Anything else
    #[arg(long, default_value = "")]
    note: String,
    #[command(flatten)]
    logbook: LogbookArgs,
}

pub(super) fn run(args: &Args) -> Done {
    match &args.what {
        What::Water(args) => water(args),
        What::Equipment(args) => equipment(args),
        What::Reading(args) => reading(args),
    }
}

fn water(args: &WaterArgs) -> Done {
    let water = Water {
        name: args.name.clone(),
        volume_l: args.volume,
        medium: args.medium.as_deref().map(medium),
        lives: args.lives.clone(),
        invertebrates: args.invertebrates,
    };
    let entry = args.logbook.begin(|logbook| logbook.add_water(&water))?;
    say(&format!("water {entry} added: {}", args.name));
    Ok(Exit::Trusted)
}

fn equipment(args: &EquipmentArgs) -> Done {
    let thing = Equipment {
        name: args.name.clone(),
        note: args.note.clone(),
    };
    let entry = args
        .logbook
        .begin(|logbook| logbook.add_equipment(&thing))?;
    say(&format!("equipment {entry} added: {}", args.name));
    Ok(Exit::Trusted)
}

/// Units that a test may have been given in the place of its name.
const UNITS: [&str; 9] = [
    "mg/l", "ug/l", "µg/l", "g/l", "ppm", "ppb", "mg/kg", "mmol/l", "meq/l",
];

fn reading(args: &ReadingArgs) -> Done {
    if UNITS.contains(&folded(&args.test).as_str()) {
        return Err(Stop::Usage(format!(
            "\"{}\" is a unit, no test: give water, test, value and unit in this order, such as tidepool nitrate 20 mg/L",
            clean(&args.test)
        )));
    }
    let v = args.value;
    let answer = match args.plus_minus {
        _ if args.below => Amount::Below { high: v },
        _ if args.above => Amount::Above { low: v },
        half => Amount::around(v, half.unwrap_or_default(), &args.unit),
    };
    let reading = Reading {
        water: args.water.clone(),
        test: args.test.clone(),
        unit: args.unit.clone(),
        at: entered(args.at.as_deref())?,
        answer,
        source: if args.by_eye {
            Source::Eye
        } else {
            Source::Other
        },
        verdict: if args.doubtful {
            Verdict::Doubtful
        } else {
            Verdict::Trusted
        },
        photo: None,
        sha256: None,
        chart_sha256: None,
        dilution_factor: None,
        note: args.note.clone(),
        record: None,
        picture: None,
    };
    super::added(
        args.logbook.open(Access::Change)?.add_reading(&reading)?,
        &reading,
    );
    Ok(Exit::Trusted)
}
