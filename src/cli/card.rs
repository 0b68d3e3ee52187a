//! `tintwell card`: draws the card to print, or writes its geometry.

use std::path::{Path, PathBuf};

use super::files::{Output, extension};
use super::{Done, Exit, Stop, say};
use crate::card::design::Design;
use crate::card::draw::{Format, Paper, draw};
use crate::card::layout::layout_json;

const EXAMPLES: &str = "\
Examples:
  tintwell card --out card.pdf
  tintwell card --out card.pdf --paper letter --mono
  tintwell card --view above --out flat.svg --layout flat.json

Print it at 100 % (no fitting to the page) and check the bar on it with a ruler.";

/// Draw the card to print
#[derive(clap::Args)]
#[command(after_help = EXAMPLES, group = clap::ArgGroup::new("output").args(["out", "layout"]).required(true).multiple(true))]
pub(super) struct Args {
    /// Drawing to write: .pdf, .svg or .png
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Sheet to print on
    #[arg(long, default_value = "a4")]
    paper: PaperArg,
    /// For a printer with black ink only: reads with white and greys alone, so with less certainty
    #[arg(long)]
    mono: bool,
    /// From where the vial is seen: standing before the card, or open on it from above
    #[arg(long, default_value = "side")]
    view: ViewArg,
    /// Write the geometry in mm as JSON
    #[arg(long, value_name = "FILE")]
    layout: Option<PathBuf>,
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum PaperArg {
    A4,
    Letter,
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum ViewArg {
    Side,
    Above,
}

pub(super) fn run(args: &Args) -> Done {
    let design = match (args.view, args.mono) {
        (ViewArg::Side, false) => Design::side(),
        (ViewArg::Side, true) => Design::side_mono(),
        (ViewArg::Above, false) => Design::above(),
        (ViewArg::Above, true) => Design::above_mono(),
    };
    let paper = match args.paper {
        PaperArg::A4 => Paper::A4,
        PaperArg::Letter => Paper::Letter,
    };
    if args.out.is_some() && args.out == args.layout {
        return Err(Stop::Usage(
            "--out and --layout name one file: give each its own".into(),
        ));
    }
    let mut files: Vec<(Output, Vec<u8>)> = Vec::new();
    if let Some(path) = &args.out {
        let format = format(path)?;
        files.push((Output::new(path)?, draw(&design, paper, format)?));
    }
    if let Some(path) = &args.layout {
        files.push((Output::new(path)?, layout_json(&design).into_bytes()));
    }
    for (output, bytes) in files {
        output.write(&bytes)?;
        say(&format!("card {} written: {}", design.id, output.shown()));
    }
    Ok(Exit::Trusted)
}

fn format(path: &Path) -> Result<Format, Stop> {
    match extension(path).as_str() {
        "pdf" => Ok(Format::Pdf),
        "svg" => Ok(Format::Svg),
        "png" => Ok(Format::Png),
        _ => Err(Stop::Usage(
            "--out takes a name that ends in .pdf, .svg or .png".into(),
        )),
    }
}
