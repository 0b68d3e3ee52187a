//! `tintwell trend`: is it getting better, and did what was done help?

use std::path::PathBuf;

use super::log::{LogbookArgs, when};
use super::{Done, Exit, put};
use crate::course::{Course, Wanted};
use crate::logbook::{Access, Entry};
use crate::report::trend::{json, text};

const EXAMPLES: &str = "\
Examples:
  tintwell trend tidepool nitrate
  tintwell trend tidepool nitrate --event e12
  tintwell trend tidepool nitrate --since 2026-01-01 --out nitrate.svg";

/// Show how a test in a water went: rising or falling, before and after what was done, when a limit would be reached
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    /// Name of the water
    water: String,
    /// Name of the test
    test: String,
    /// Compare before and after this event, as `log show` names it; else the last that is no water change or feeding
    #[arg(long, value_name = "EVENT")]
    event: Option<Entry>,
    /// Only readings from then on
    #[arg(long, value_name = "TIME")]
    since: Option<String>,
    /// Only readings in this unit; else in that of the last one
    #[arg(long)]
    unit: Option<String>,
    /// Write the plot to a file (.svg, .png or .html)
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// One JSON object
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    logbook: LogbookArgs,
}

pub(super) fn run(args: &Args) -> Done {
    let wanted = Wanted {
        since: args.since.as_deref().map(|at| when(Some(at))).transpose()?,
        event: args.event,
        unit: args.unit.clone(),
    };
    let logbook = args.logbook.open(Access::Read)?;
    let course = Course::of(&logbook, &args.water, &args.test, &wanted)?;
    if args.json {
        put(&format!("{}\n", json(&course)))?;
    } else {
        put(&text(&course))?;
    }
    Ok(Exit::Trusted)
}
