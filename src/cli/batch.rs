//! `tintwell batch`: reads a folder or a list of photos in parallel and writes each result as it comes, in a stable
//! order. One bad photo never stops the rest.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;

use indicatif::{ProgressBar, ProgressStyle};

use super::files::{extension, load_chart, named_as_photo, plain, same, shown};
use super::one::one;
use super::place::PlaceArgs;
use super::rules::Charts;
use super::{Done, Exit, Stop, put, say};
use crate::error::{Error, Result};
use crate::look::Where;
use crate::reading::Told;
use crate::report::text::Table;
use crate::report::{Outcome, csv, json};

const EXAMPLES: &str = "\
Examples:
  tintwell batch week --chart nitrate.json
  tintwell batch week --chart nitrate.json --out week.csv
  find . -name '*.jpg' | tintwell batch - --chart nitrate.json --out week.ndjson
  tintwell batch week --charts charts.json

A rule file gives each photo its chart by its file name; the first rule that fits counts, chart names are relative to the
rule file, and --chart is for photos that no rule fits:
  [{\"match\": \"no3-*\", \"chart\": \"nitrate.json\"}, {\"match\": \"nh4-*\", \"chart\": \"ammonia.json\"}]

Columns of the CSV (unknown is an empty cell): photo, taken_at, test, unit, answer (value, below, above, off-chart),
value, low, high, level, confidence, verdict, flags (codes), first_flag (in words), lab_l, lab_a, lab_b, delta_e_chart,
delta_e_step, nearest_step, error";

/// Read a folder of photos, or a list of them
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    /// Folder of photos, read in the order of their names, or - for a list of paths on standard input, one a line
    #[arg(value_name = "FOLDER|-")]
    source: PathBuf,
    /// Chart file, as written by `tintwell calibrate`
    #[arg(long, value_name = "FILE", required_unless_present = "charts")]
    chart: Option<PathBuf>,
    /// Rule file that gives each photo its chart by its name
    #[arg(long, value_name = "FILE")]
    charts: Option<PathBuf>,
    /// Write the results here (.csv or .ndjson); without it a table is printed
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    #[command(flatten)]
    place: PlaceArgs,
}

pub(super) fn run(args: &Args) -> Done {
    let by = args.place.by()?;
    let form = args.out.as_deref().map(form).transpose()?;
    let chart = args.chart.as_deref().map(load_chart).transpose()?;
    let charts = Charts::load(args.charts.as_deref(), chart)?;
    let (photos, skipped) = photos(&args.source)?;
    let mut sink = Sink::open(args.out.as_deref().zip(form), &photos, &charts)?;
    let mut tally = Tally::default();
    let bar = progress(photos.len());
    let written = in_order(&photos, &by, &charts, |outcome| {
        tally.add(&outcome);
        bar.suspend(|| sink.write(&outcome))?;
        bar.inc(1);
        Ok(())
    });
    bar.finish_and_clear();
    match written {
        Err(Stop::Closed) => return Ok(tally.worst()),
        other => other?,
    }
    say(&tally.summary(skipped, args.out.as_deref()));
    Ok(tally.worst())
}

/// Reads the photos in parallel and hands on each outcome in the order of the photos. A worker holds one photo: its file
/// and its decoded picture.
fn in_order(
    photos: &[PathBuf],
    by: &Where,
    charts: &Charts,
    mut take: impl FnMut(Outcome) -> std::result::Result<(), Stop>,
) -> std::result::Result<(), Stop> {
    let next = AtomicUsize::new(0);
    let (send, receive) = mpsc::channel();
    rayon::in_place_scope(|scope| {
        let next = &next;
        scope.spawn_broadcast(move |_, _| {
            loop {
                let i = next.fetch_add(1, Ordering::Relaxed);
                let Some(path) = photos.get(i) else { return };
                let outcome = one(path, by, charts.of(path), &Told::default(), false).outcome;
                if send.send((i, outcome)).is_err() {
                    return;
                }
            }
        });
        let mut waiting = BTreeMap::new();
        let mut due = 0;
        for (i, outcome) in receive {
            waiting.insert(i, outcome);
            while let Some(outcome) = waiting.remove(&due) {
                due += 1;
                // Dropping the receiver ends the workers after the photo in hand.
                take(outcome)?;
            }
        }
        Ok(())
    })
}

/// The photos, and how many other files of the folder were passed over.
fn photos(source: &Path) -> Result<(Vec<PathBuf>, usize)> {
    let (found, skipped) = if source == Path::new("-") {
        (listed()?, 0)
    } else {
        in_folder(source)?
    };
    if found.is_empty() {
        return Err(match (source == Path::new("-"), skipped) {
            (true, _) => Error::new(
                "the list of photos on standard input is empty",
                "give one path a line",
            )
            .about("-"),
            (false, n) => Error::new(
                format!(
                    "there is no photo in this folder ({})",
                    counted(n, "other file")
                ),
                "give a folder with photos: .jpg, .jpeg, .png, .webp, .tif or .tiff",
            )
            .about(shown(source)),
        });
    }
    Ok((found, skipped))
}

fn in_folder(folder: &Path) -> Result<(Vec<PathBuf>, usize)> {
    let unreadable = |e: io::Error| {
        Error::new(
            format!("the folder cannot be read: {}", plain(&e)),
            "give a folder that exists and may be read",
        )
        .about(shown(folder))
    };
    let (mut found, mut skipped) = (Vec::new(), 0);
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        let hidden = path
            .file_name()
            .is_some_and(|n| n.as_encoded_bytes().starts_with(b"."));
        if named_as_photo(&path) && !hidden {
            found.push(path);
        } else {
            skipped += 1;
        }
    }
    found.sort();
    Ok((found, skipped))
}

/// Paths on standard input, one a line, in the order given.
fn listed() -> Result<Vec<PathBuf>> {
    let mut bytes = Vec::new();
    io::stdin().read_to_end(&mut bytes).map_err(|e| {
        Error::new(
            format!("the list of photos cannot be read: {}", plain(&e)),
            "give one path a line",
        )
        .about("-")
    })?;
    let lines = bytes
        .split(|b| *b == b'\n')
        .map(|l| l.strip_suffix(b"\r").unwrap_or(l));
    Ok(lines
        .filter(|l| !l.trim_ascii().is_empty())
        .map(path_of)
        .collect())
}

#[cfg(unix)]
fn path_of(bytes: &[u8]) -> PathBuf {
    use std::os::unix::ffi::OsStrExt;
    std::ffi::OsStr::from_bytes(bytes).into()
}

#[cfg(not(unix))]
fn path_of(bytes: &[u8]) -> PathBuf {
    String::from_utf8_lossy(bytes).into_owned().into()
}

#[derive(Clone, Copy)]
enum Form {
    Csv,
    Ndjson,
}

fn form(path: &Path) -> std::result::Result<Form, Stop> {
    match extension(path).as_str() {
        "csv" => Ok(Form::Csv),
        "ndjson" | "jsonl" => Ok(Form::Ndjson),
        _ => Err(Stop::Usage(
            "--out takes a name that ends in .csv or .ndjson".into(),
        )),
    }
}

/// Where results go.
enum Sink {
    Table(Table),
    File {
        file: File,
        form: Form,
        shown: String,
    },
}

impl Sink {
    fn open(
        out: Option<(&Path, Form)>,
        photos: &[PathBuf],
        charts: &Charts,
    ) -> std::result::Result<Sink, Stop> {
        let Some((path, form)) = out else {
            let names: Vec<String> = photos.iter().map(|p| shown(p)).collect();
            let table = Table::new(names.iter().map(String::as_str), charts.several_tests());
            put(&table.header())?;
            return Ok(Sink::Table(table));
        };
        if photos.iter().any(|p| same(p, path)) || charts.files().any(|c| same(c, path)) {
            return Err(Error::new(
                "the results would take the place of a photo or chart",
                "give them another name",
            )
            .about(shown(path))
            .into());
        }
        let file = File::create(path).map_err(|e| unwritable(&e, shown(path)))?;
        let mut sink = Sink::File {
            file,
            form,
            shown: shown(path),
        };
        if matches!(form, Form::Csv) {
            sink.append(&csv::header())?;
        }
        Ok(sink)
    }

    /// Writes one result and passes it on to the system at once, so that a stop half-way loses none.
    fn write(&mut self, outcome: &Outcome) -> std::result::Result<(), Stop> {
        match self {
            Sink::Table(table) => put(&table.row(outcome)),
            Sink::File {
                form: Form::Csv, ..
            } => self.append(&csv::row(outcome)),
            Sink::File {
                form: Form::Ndjson, ..
            } => self.append(&(json::line(outcome) + "\n")),
        }
    }

    fn append(&mut self, text: &str) -> std::result::Result<(), Stop> {
        if let Sink::File { file, shown, .. } = self {
            file.write_all(text.as_bytes())
                .map_err(|e| unwritable(&e, shown.clone()))?;
        }
        Ok(())
    }
}

fn unwritable(e: &io::Error, shown: String) -> Error {
    Error::new(
        format!("the results cannot be written: {}", plain(e)),
        "give a name in a folder that exists, takes files and has room",
    )
    .about(shown)
}

/// A bar on standard error; hidden unless that is a terminal.
fn progress(photos: usize) -> ProgressBar {
    let bar = ProgressBar::new(photos as u64);
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos} of {len} photos, {eta} left") {
        bar.set_style(style);
    }
    bar
}

/// What became of all photos.
#[derive(Default)]
struct Tally {
    trusted: usize,
    doubtful: usize,
    unreadable: usize,
}

impl Tally {
    fn add(&mut self, outcome: &Outcome) {
        match outcome.verdict() {
            crate::flag::Verdict::Trusted => self.trusted += 1,
            crate::flag::Verdict::Doubtful => self.doubtful += 1,
            crate::flag::Verdict::Unreadable => self.unreadable += 1,
        }
    }

    fn worst(&self) -> Exit {
        match (self.unreadable, self.doubtful) {
            (0, 0) => Exit::Trusted,
            (0, _) => Exit::Doubtful,
            _ => Exit::Unreadable,
        }
    }

    fn summary(&self, skipped: usize, out: Option<&Path>) -> String {
        let all = self.trusted + self.doubtful + self.unreadable;
        let mut text = format!(
            "{}: {} trusted, {} doubtful, {} unreadable",
            counted(all, "photo"),
            self.trusted,
            self.doubtful,
            self.unreadable
        );
        if skipped > 0 {
            text += &format!("; {} passed over", counted(skipped, "other file"));
        }
        if let Some(out) = out {
            text += &format!("; results in {}", shown(out));
        }
        text
    }
}

fn counted(n: usize, thing: &str) -> String {
    format!("{n} {thing}{}", if n == 1 { "" } else { "s" })
}
