//! `tintwell chart`: shows what is in a chart and what it can tell apart.

use std::path::PathBuf;

use super::{Done, Exit, colour, files, put};
use crate::chart::resolve;
use crate::report::{json, text};

/// Show a chart: its steps, its curve and what it can tell apart
#[derive(clap::Args)]
#[command(after_help = "Example:\n  tintwell chart nitrate.json")]
pub(super) struct Args {
    /// Chart file, as written by `tintwell calibrate`
    #[arg(value_name = "CHART")]
    file: PathBuf,
    /// One JSON object on one line
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &Args) -> Done {
    let chart = files::load_chart(&args.file)?;
    let flags = resolve::flags(&chart)?;
    if args.json {
        put(&(json::chart(&chart, &flags)? + "\n"))?;
    } else {
        put(&text::chart(&chart, &flags, colour())?)?;
    }
    Ok(Exit::Trusted)
}
