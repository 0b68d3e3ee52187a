//! `tintwell batch`: reads a folder or a list of photos in parallel and writes each result as it comes, in a stable
//! order. One bad photo never stops the rest, and what is in the results already is not read again.

mod feed;
mod known;
mod sink;

use std::collections::{BTreeMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::RecvTimeoutError;
use std::sync::{Condvar, Mutex, mpsc};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

use super::files::{load_chart, same, shown};
use super::keep::{KeepArgs, Keeper, Noted, Seen, picture};
use super::one::{self, content, one};
use super::place::PlaceArgs;
use super::rules::Charts;
use super::timings::TimingsArgs;
use super::{Done, Exit, Stop, put, say, tell};
use crate::chart::Medium;
use crate::chart::file::sha256_of;
use crate::error::{Error, Result};
use crate::flag::Verdict;
use crate::logbook::Jpeg;
use crate::look::Where;
use crate::photo::sha256;
use crate::reading::Told;
use crate::report::Outcome;
use crate::report::text::Table;
use feed::Feed;
use known::{Identity, Known};
use sink::{Form, Sink};

const EXAMPLES: &str = "\
Examples:
  tintwell batch week --chart nitrate.json
  tintwell batch week --chart nitrate.json --out week.csv
  tintwell batch synced --watch --chart nitrate.json --out all.csv
  find . -name '*.jpg' | tintwell batch - --chart nitrate.json --out - >> week.ndjson
  tintwell batch week --charts charts.json
  tintwell batch week --chart nitrate.json --log tidepool

Results in a file are gone on with: photos whose content is in it already, read with the same chart and regions, are passed \
over, so that a batch that was stopped is finished by the same command. Delete the file to read all anew.

A rule file gives each photo its chart by its file name; the first rule that fits counts, chart names are relative to the \
rule file, and --chart is for photos that no rule fits:
  [{\"match\": \"no3-*\", \"chart\": \"nitrate.json\"}, {\"match\": \"nh4-*\", \"chart\": \"ammonia.json\"}]

Columns of the CSV (unknown is an empty cell): photo, taken_at, test, unit, answer (value, below, above, off-chart), \
value, low, high, level, confidence, verdict, flags (codes), first_flag (in words), lab_l, lab_a, lab_b, delta_e_chart, \
delta_e_step, nearest_step, error, sha256 (of the photo), chart_sha256, white and vial (regions marked by hand)";

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
    /// Write the results here (.csv or .ndjson; - for NDJSON on standard output); without it a table is printed
    #[arg(long, value_name = "FILE|-")]
    out: Option<PathBuf>,
    /// Go on with photos that come to the folder, until stopped (Ctrl-C)
    #[arg(long, requires = "out")]
    watch: bool,
    #[command(flatten)]
    keep: KeepArgs,
    #[command(flatten)]
    timings: TimingsArgs,
    #[command(flatten)]
    place: PlaceArgs,
}

pub(super) fn run(args: &Args) -> Done {
    let _timings = args.timings.start();
    let mut keeper = args.keep.open()?;
    let by = args.place.by()?;
    let form = args.out.as_deref().map(Form::of).transpose()?;
    let chart = args.chart.as_deref().map(load_chart).transpose()?;
    let charts = Charts::load(args.charts.as_deref(), chart)?;
    let listed = args.source == Path::new("-");
    if args.watch && listed {
        return Err(Stop::Usage("--watch needs a folder".into()));
    }
    // What is known beforehand: a table has to know its names, a bar its length.
    let (known, skipped) = match (listed, args.watch, form) {
        (true, _, None) => (Some(feed::whole_list()?), 0),
        (true, _, Some(_)) | (_, true, _) => (None, 0),
        (false, false, _) => {
            let (found, skipped) = feed::folder(&args.source)?;
            (Some(found), skipped)
        }
    };
    let (mut sink, done) = match args.out.as_deref().zip(form) {
        None => {
            let names: Vec<String> = known.iter().flatten().map(|p| shown(p)).collect();
            let table = Table::new(names.iter().map(String::as_str), charts.several_tests());
            put(&table.header())?;
            (Sink::Table(table), Known::default())
        }
        Some((path, _)) if path == Path::new("-") => (Sink::Stdout, Known::default()),
        Some((path, form)) => {
            let mut inputs = known
                .iter()
                .flatten()
                .chain(charts.files())
                .chain(&args.chart);
            if inputs.any(|f| same(f, path)) {
                return Err(Error::new(
                    "the results would take the place of a photo or chart",
                    "give them another name",
                )
                .about(shown(path))
                .into());
            }
            Sink::file(path, form)?
        }
    };
    let bar = progress(known.as_ref().map(Vec::len));
    if args.watch {
        say(&format!(
            "watching {}: stop with Ctrl-C; what is written stays",
            shown(&args.source)
        ));
    }
    let photos: Feed = match known {
        Some(paths) => Box::new(paths.into_iter().map(Ok)),
        None if listed => feed::listed(),
        None => feed::watched(&args.source),
    };
    let before = Before {
        results: done,
        logged: keeper.as_mut().map(Keeper::settled).transpose()?,
        medium: keeper.as_ref().and_then(Keeper::medium),
    };
    let mut tally = Tally::default();
    let written = in_order(photos, &by, &charts, &before, |result| {
        match result? {
            One::Known(verdict) => tally.known(verdict),
            One::Read {
                outcome,
                picture,
                known,
            } => {
                // Logged first: who reads the results may leave.
                if let Some(keeper) = &mut keeper
                    && let Err(e) = keeper.log(Seen::photo(&outcome, picture), &Noted::default())
                {
                    bar.suspend(|| tell(&e));
                }
                match known {
                    true => tally.known(outcome.verdict()),
                    false => {
                        tally.add(outcome.verdict());
                        bar.suspend(|| sink.write(&outcome))?;
                    }
                }
            }
        }
        bar.inc(1);
        Ok(())
    });
    bar.finish_and_clear();
    match written {
        // What was left is not in the logbook.
        Err(Stop::Closed) if keeper.is_some() => return Ok(Exit::Failed),
        Err(Stop::Closed) => return Ok(tally.worst()),
        other => other?,
    }
    if tally.all() == 0 {
        return Err(feed::nothing_listed().into());
    }
    say(&tally.summary(skipped, args.out.as_deref()));
    let mut worst = tally.worst();
    if let Some(keeper) = keeper {
        say(&keeper.summary());
        if keeper.has_failed() {
            worst = worst.max(Exit::Failed);
        }
    }
    Ok(worst)
}

/// What is known before the first photo: what is not done again, and of the water.
struct Before {
    /// Photos in the results.
    results: Known,
    /// Photos in the logbook, or left out of it, and the charts they were read with; `None` if nothing is logged.
    logged: Option<HashSet<(String, Option<String>)>>,
    medium: Option<Medium>,
}

impl Before {
    /// Whether nothing is left to do with a photo that is in the results.
    fn is_done(&self, verdict: Verdict, sha256: Option<&str>, chart_sha256: Option<&str>) -> bool {
        let (Some(logged), Some(sha256)) = (&self.logged, sha256) else {
            return true;
        };
        verdict == Verdict::Unreadable
            || logged.contains(&(sha256.to_owned(), chart_sha256.map(str::to_owned)))
    }
}

/// What became of one photo.
enum One {
    /// It is in the results already.
    Known(Verdict),
    /// It was read; `known` if it is in the results already, but not logged.
    Read {
        outcome: Box<Outcome>,
        /// For the logbook.
        picture: Option<Jpeg>,
        known: bool,
    },
}

/// Photos a worker may be ahead of the oldest that is not yet done: so many results wait, at most, for their turn.
const AHEAD: usize = 8;

/// Reads the photos in parallel and hands on each result in the order of the photos. A worker holds one photo: its file
/// and its decoded picture.
fn in_order(
    photos: Feed,
    by: &Where,
    charts: &Charts,
    done: &Before,
    mut take: impl FnMut(Result<One>) -> std::result::Result<(), Stop>,
) -> std::result::Result<(), Stop> {
    let feed = Mutex::new(feed::supplied(photos));
    let turn = Turn::default();
    let (send, receive) = mpsc::channel();
    let window = AHEAD * rayon::current_num_threads();
    rayon::in_place_scope(|scope| {
        let (feed, turn) = (&feed, &turn);
        scope.spawn_broadcast(move |_, _| {
            loop {
                let Some((i, path)) = next(feed, turn) else {
                    return;
                };
                if !turn.wait(i, window) {
                    return;
                }
                let last = path.is_err();
                let one = path.map(|path| read(&path, by, charts, done));
                if send.send((i, one)).is_err() || last {
                    return;
                }
            }
        });
        // Whatever ends the taking lets the workers go.
        let _release = Release(turn);
        let mut waiting = BTreeMap::new();
        let mut due = 0;
        for (i, one) in receive {
            waiting.insert(i, one);
            while let Some(one) = waiting.remove(&due) {
                due += 1;
                turn.advance(due);
                take(one)?;
            }
        }
        Ok(())
    })
}

/// The next photo and its number; `None` if there is no more, or nobody takes results any more.
fn next(feed: &Mutex<feed::Supply>, turn: &Turn) -> Option<(usize, Result<PathBuf>)> {
    // A worker that panicked while it held the lock has left nothing half done.
    let feed = feed.lock().unwrap_or_else(|e| e.into_inner());
    loop {
        match feed.recv_timeout(GLANCE) {
            Ok(next) => return Some(next),
            Err(RecvTimeoutError::Timeout) if !turn.ended() => {}
            Err(_) => return None,
        }
    }
}

/// How often a worker that waits for a photo looks whether results are still taken.
const GLANCE: Duration = Duration::from_millis(200);

/// How many results have been handed on; workers wait until they are near enough.
#[derive(Default)]
struct Turn {
    due: AtomicUsize,
    lock: Mutex<()>,
    moved: Condvar,
}

impl Turn {
    /// Waits until photo `i` is less than `window` ahead; false if nobody takes results any more.
    fn wait(&self, i: usize, window: usize) -> bool {
        let mut guard = self.lock.lock().unwrap_or_else(|e| e.into_inner());
        loop {
            let due = self.due.load(Ordering::Acquire);
            if self.ended() {
                return false;
            }
            if i < due.saturating_add(window) {
                return true;
            }
            guard = self.moved.wait(guard).unwrap_or_else(|e| e.into_inner());
        }
    }

    /// Whether nobody takes results any more.
    fn ended(&self) -> bool {
        self.due.load(Ordering::Acquire) == usize::MAX
    }

    fn advance(&self, due: usize) {
        let _guard = self.lock.lock().unwrap_or_else(|e| e.into_inner());
        self.due.store(due, Ordering::Release);
        self.moved.notify_all();
    }
}

/// Lets waiting workers go when the taking ends.
struct Release<'a>(&'a Turn);

impl Drop for Release<'_> {
    fn drop(&mut self) {
        self.0.advance(usize::MAX);
    }
}

/// Reads one photo, unless its content was read in the same way before.
fn read(path: &Path, by: &Where, charts: &Charts, done: &Before) -> One {
    let chart = charts.of(path);
    let content = content(path);
    if let (false, Ok(content)) = (done.results.is_empty(), &content) {
        let chart_sha256 = chart.as_ref().ok().map(|c| sha256_of(c));
        let sha256 = sha256(content);
        let result = Identity {
            photo: &shown(path),
            sha256: Some(&sha256),
            error: None,
            chart_sha256: chart_sha256.as_deref(),
            regions: known::written(by.regions()),
        };
        if let Some(verdict) = done.results.get(&result)
            && done.is_done(verdict, Some(&sha256), chart_sha256.as_deref())
        {
            return One::Known(verdict);
        }
    }
    let logs = done.logged.is_some();
    let told = Told {
        medium: done.medium,
        ..Told::default()
    };
    let one::One { outcome, seen } = one(&shown(path), content, by, chart, &told, logs);
    // A file that cannot be read is tried each time, but told once.
    let known = done.results.get(&Identity::of(&outcome));
    match known {
        Some(verdict)
            if done.is_done(
                verdict,
                outcome.sha256.as_deref(),
                outcome.chart_sha256.as_deref(),
            ) =>
        {
            One::Known(verdict)
        }
        _ => One::Read {
            outcome: Box::new(outcome),
            picture: picture(seen.as_ref()),
            known: known.is_some(),
        },
    }
}

/// A bar on standard error; hidden unless that is a terminal.
fn progress(photos: Option<usize>) -> ProgressBar {
    let (bar, template) = match photos {
        Some(n) => (
            ProgressBar::new(n as u64),
            "{bar:30} {pos} of {len} photos, {eta} left",
        ),
        None => (ProgressBar::new_spinner(), "{spinner} {pos} photos"),
    };
    if let Ok(style) = ProgressStyle::with_template(template) {
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
    /// How many of them were read before.
    before: usize,
}

impl Tally {
    fn add(&mut self, verdict: Verdict) {
        match verdict {
            Verdict::Trusted => self.trusted += 1,
            Verdict::Doubtful => self.doubtful += 1,
            Verdict::Unreadable => self.unreadable += 1,
        }
    }

    fn known(&mut self, verdict: Verdict) {
        self.add(verdict);
        self.before += 1;
    }

    fn all(&self) -> usize {
        self.trusted + self.doubtful + self.unreadable
    }

    fn worst(&self) -> Exit {
        match (self.unreadable, self.doubtful) {
            (0, 0) => Exit::Trusted,
            (0, _) => Exit::Doubtful,
            _ => Exit::Unreadable,
        }
    }

    fn summary(&self, skipped: usize, out: Option<&Path>) -> String {
        let mut text = format!(
            "{}: {} trusted, {} doubtful, {} unreadable",
            counted(self.all(), "photo"),
            self.trusted,
            self.doubtful,
            self.unreadable
        );
        if self.before > 0 {
            text += &format!("; {} of them read before", self.before);
        }
        if skipped > 0 {
            text += &format!("; {} passed over", counted(skipped, "other file"));
        }
        if let Some(out) = out.filter(|o| *o != Path::new("-")) {
            text += &format!("; results in {}", shown(out));
        }
        text
    }
}

fn counted(n: usize, thing: &str) -> String {
    format!("{n} {thing}{}", if n == 1 { "" } else { "s" })
}
