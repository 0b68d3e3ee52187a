//! `tintwell chart`: shows what is in a chart and what it can tell apart.

use std::path::{Path, PathBuf};

use super::files::{self, Output, extension, same};
use super::{Done, Exit, Stop, colour, put, say};
use crate::chart::resolve;
use crate::report::{json, plot, text};

/// Show a chart: its steps, its curve and what it can tell apart
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  tintwell chart nitrate.json\n  tintwell chart nitrate.json --plot nitrate.png"
)]
pub(super) struct Args {
    /// Chart file, as written by `tintwell calibrate`
    #[arg(value_name = "CHART")]
    file: PathBuf,
    /// One JSON object on one line
    #[arg(long)]
    json: bool,
    /// Draw the curve through the colours and the width of the interval along it (.svg or .png)
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
}

pub(super) fn run(args: &Args) -> Done {
    let chart = files::load_chart(&args.file)?;
    let flags = resolve::flags(&chart)?;
    let drawn = args.plot.as_deref().map(|path| -> Result<_, Stop> {
        let format = format(path)?;
        if same(path, &args.file) {
            return Err(Stop::Usage(
                "--plot would take the place of the chart".into(),
            ));
        }
        Ok((Output::new(path)?, plot::chart(&chart, format)?))
    });
    let drawn = drawn.transpose()?;
    if args.json {
        put(&(json::chart(&chart, &flags)? + "\n"))?;
    } else {
        put(&text::chart(&chart, &flags, colour())?)?;
    }
    if let Some((output, bytes)) = drawn {
        output.write(&bytes)?;
        say(&format!("plot written: {}", output.shown()));
    }
    Ok(Exit::Trusted)
}

fn format(path: &Path) -> Result<plot::Format, Stop> {
    match extension(path).as_str() {
        "svg" => Ok(plot::Format::Svg),
        "png" => Ok(plot::Format::Png),
        _ => Err(Stop::Usage(
            "--plot takes a name that ends in .svg or .png".into(),
        )),
    }
}
