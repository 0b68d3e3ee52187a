//! `tintwell report`: a page about a water.

use std::collections::HashMap;
use std::path::PathBuf;

use super::files::{Output, extension};
use super::log::{LogbookArgs, now, when};
use super::{Done, Exit, Stop, say};
use crate::course::{Course, Wanted};
use crate::logbook::{Access, Entry, Jpeg};
use crate::report::page::{self, Report};

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

/// Pictures of the newest readings that the page holds, 50 kilobytes each: more would keep a phone from opening it.
const PICTURES: usize = 60;

pub(super) fn run(args: &Args) -> Done {
    if extension(&args.out) != "html" {
        return Err(Stop::Usage("--out takes a name that ends in .html".into()));
    }
    let output = Output::new(&args.out)?;
    let logbook = args.logbook.open(Access::Read)?;
    let water = logbook.water(&args.water)?;
    let wanted = Wanted {
        since: args.since.as_deref().map(|at| when(Some(at))).transpose()?,
        ..Wanted::default()
    };
    let from = wanted.since.as_ref().map_or(i64::MIN, |m| m.seconds());
    let mut courses = Vec::new();
    for test in logbook.tests(&water.name)? {
        let last = logbook.readings(&water.name, Some(&test))?.pop();
        if last.is_some_and(|(_, r)| r.at.seconds() >= from) {
            let mut course = Course::of(&logbook, &water.name, &test, &wanted)?;
            for (entry, reading) in &mut course.readings {
                reading.record = logbook.record(*entry)?;
            }
            courses.push(course);
        }
    }
    let mut newest: Vec<(i64, Entry)> = courses
        .iter()
        .flat_map(|c| c.readings.iter().map(|(entry, r)| (r.at.seconds(), *entry)))
        .collect();
    newest.sort_by_key(|(at, _)| std::cmp::Reverse(*at));
    let mut pictures: HashMap<Entry, Jpeg> = HashMap::new();
    let mut left_out = 0;
    for (_, entry) in newest {
        match logbook.picture(entry)? {
            Some(_) if pictures.len() == PICTURES => left_out += 1,
            found => pictures.extend(found.map(|p| (entry, p))),
        }
    }
    let events: Vec<_> = logbook
        .events(&water.name)?
        .into_iter()
        .filter(|(_, e)| e.at.seconds() >= from)
        .collect();
    let page = page::of_water(&Report {
        water: &water,
        courses: &courses,
        events: &events,
        pictures: &pictures,
        left_out,
        made: &now(),
    })?;
    output.write(page.as_bytes())?;
    say(&format!("page written: {}", output.shown()));
    Ok(Exit::Trusted)
}
