//! `tintwell trend`: is it getting better, and did what was done help?

use std::path::{Path, PathBuf};

use super::files::{Output, extension};
use super::log::{LogbookArgs, now, when};
use super::{Done, Exit, Stop, put, say};
use crate::course::{Course, Wanted};
use crate::logbook::{Access, Entry};
use crate::report::course::picture::{self, Style};
use crate::report::course::terminal;
use crate::report::page;
use crate::report::trend::{CAUTION, json, text, view};

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
    /// Compare before and after this event, as `log show` names it; else the last that is no water change or feeding, or the last of those
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
        now: Some(now()),
        event: args.event,
        unit: args.unit.clone(),
    };
    let output = args
        .out
        .as_deref()
        .map(|path| Ok::<_, Stop>((form(path)?, Output::new(path)?)))
        .transpose()?;
    let logbook = args.logbook.open(Access::Read)?;
    let course = Course::of(&logbook, &args.water, &args.test, &wanted)?;
    let view = view(&course);
    if args.json {
        put(&format!("{}\n", json(&course)))?;
    } else {
        put(&text(&course, &now()))?;
        put(&format!(
            "\n{}",
            terminal::plot(&view, width(), ROWS, unicode())
        ))?;
        put(&format!("\n{CAUTION}\n"))?;
    }
    if let Some((form, output)) = output {
        let bytes = match form {
            Form::Svg => picture::svg(&view, Style::Page)?.into_bytes(),
            Form::Png => picture::png(&view)?,
            Form::Html => page::of_course(&course, &view, &now())?.into_bytes(),
        };
        output.write(&bytes)?;
        say(&format!("plot written: {}", output.shown()));
    }
    Ok(Exit::Trusted)
}

/// Rows of the plot in a terminal: with its words it fits on a screen.
const ROWS: usize = 16;

/// Columns of the terminal, or of a page where there is none.
fn width() -> usize {
    let (columns, _) = terminal_size::terminal_size().map_or((80, 0), |(w, h)| (w.0, h.0));
    usize::from(columns).min(110)
}

/// Whether the terminal shows more than ASCII, as its locale says; what is written to a file is UTF-8.
fn unicode() -> bool {
    let told = ["LC_ALL", "LC_CTYPE", "LANG"]
        .iter()
        .find_map(|name| std::env::var(name).ok().filter(|v| !v.is_empty()));
    let utf8 = told.is_some_and(|v| {
        let v = v.to_lowercase();
        v.contains("utf-8") || v.contains("utf8")
    });
    utf8 || cfg!(windows) || !std::io::IsTerminal::is_terminal(&std::io::stdout())
}

/// The form of a plot's file.
enum Form {
    Svg,
    Png,
    Html,
}

fn form(path: &Path) -> Result<Form, Stop> {
    match extension(path).as_str() {
        "svg" => Ok(Form::Svg),
        "png" => Ok(Form::Png),
        "html" => Ok(Form::Html),
        _ => Err(Stop::Usage(
            "--out takes a name that ends in .svg, .png or .html".into(),
        )),
    }
}
