//! `tintwell report`: a page about a water.

use std::path::PathBuf;

use super::files::{Output, extension};
use super::log::{LogbookArgs, now, when};
use super::{Done, Exit, Stop, say};
use crate::face::water;
use crate::logbook::Access;

const EXAMPLES: &str = "\
Examples:
  tintwell report tidepool --out report.html
  tintwell report tidepool --since 2026-01-01 --out report.html";

/// Write a page about a water: readings, plots, what was done and whether it worked
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    /// Name of the water
    water: String,
    /// File to write (.html)
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Only readings and events from then on
    #[arg(long, value_name = "TIME")]
    since: Option<String>,
    #[command(flatten)]
    logbook: LogbookArgs,
}

pub(super) fn run(args: &Args) -> Done {
    if extension(&args.out) != "html" {
        return Err(Stop::Usage("--out takes a name that ends in .html".into()));
    }
    let output = Output::new(&args.out)?;
    let logbook = args.logbook.open(Access::Read)?;
    let since = args.since.as_deref().map(|at| when(Some(at))).transpose()?;
    let page = water::page(&logbook, &args.water, since, &now())?;
    output.write(page.as_bytes())?;
    say(&format!("page written: {}", output.shown()));
    Ok(Exit::Trusted)
}
