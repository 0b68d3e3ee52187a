//! `tintwell log`: the logbook of waters, readings, events, limits and equipment.

mod add;
mod changes;
mod exchange;
mod show;

use std::path::PathBuf;

use jiff::ZonedDateTime;
use jiff::tz::TimeZone;

use super::files::{self, shown};
use super::{Done, Exit, Stop, say};
use crate::chart::Medium;
use crate::error::Error;
use crate::face::plan::figure::{amount, number, percent};
use crate::logbook::{
    Access, Added, Entry, Event, Field, Kind, Limit, Logbook, Moment, Reading, equipment, folded,
};
use crate::water::volume::litres;

const EXAMPLES: &str = "\
Examples:
  tintwell log add water \"tidepool\" --volume 900L --medium salt --lives \"anemones, hermit crabs\" --invertebrates
  tintwell read --chart nitrate.json --log tidepool monday.jpg
  tintwell log add reading tidepool nitrate 20 mg/L --plus-minus 8 --by-eye --at 2026-02-01
  tintwell log event tidepool water-change --percent 25
  tintwell log limits tidepool nitrate mg/L --high 30
  tintwell log show tidepool
  tintwell log export copy.json";

/// Keep the logbook: waters, readings, events, limits, equipment
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    #[command(subcommand)]
    command: Command,
}

/// Where the logbook is.
#[derive(clap::Args, Clone)]
pub(super) struct LogbookArgs {
    /// The logbook's file; else `tintwell/logbook.sqlite` in the folder where this system keeps data of programs
    #[arg(long, value_name = "FILE")]
    logbook: Option<PathBuf>,
}

impl LogbookArgs {
    /// Whether it was told.
    pub(super) fn is_given(&self) -> bool {
        self.logbook.is_some()
    }

    /// Its file.
    pub(super) fn path(&self) -> Result<PathBuf, Stop> {
        self.logbook.clone().map_or_else(usual_place, Ok)
    }

    /// Opens the logbook; makes its folder when it is the usual one.
    pub(super) fn open(&self, access: Access) -> Result<Logbook, Stop> {
        let path = self.path()?;
        if let (None, Access::Create, Some(folder)) = (&self.logbook, access, path.parent()) {
            std::fs::create_dir_all(folder).map_err(|e| {
                Error::new(
                    format!("the folder cannot be made: {}", files::plain(&e)),
                    "say where the logbook is with --logbook",
                )
                .about(shown(folder))
            })?;
        }
        Ok(Logbook::open(&path, &shown(&path), access)?)
    }

    /// Opens the logbook for a change that may be its first. If that fails, no new file is left behind.
    pub(super) fn begin<T>(
        &self,
        work: impl FnOnce(&mut Logbook) -> crate::error::Result<T>,
    ) -> Result<T, Stop> {
        let path = self.path()?;
        let there = path.exists();
        let mut logbook = self.open(Access::Create)?;
        let done = work(&mut logbook);
        if done.is_err() && !there && logbook.is_empty()? {
            // Closed first: SQLite then takes the files beside it away itself.
            drop(logbook);
            let _ = std::fs::remove_file(&path);
        }
        Ok(done?)
    }
}

fn usual_place() -> Result<PathBuf, Stop> {
    use etcetera::BaseStrategy;
    let places = etcetera::choose_base_strategy().map_err(|_| {
        Error::new(
            "this system does not say where programs keep their data",
            "say where the logbook is with --logbook",
        )
    })?;
    Ok(places.data_dir().join("tintwell").join("logbook.sqlite"))
}

#[derive(clap::Subcommand)]
enum Command {
    Add(add::Args),
    Show(show::Args),
    /// Change an entry; what was there is kept
    Edit(EditArgs),
    /// Leave an entry out from now on; it stays in the file
    Remove(RemoveArgs),
    /// Take entries that were removed back in
    Restore(RestoreArgs),
    /// Log what happened to a water
    Event(EventArgs),
    /// Set the bounds within which a test is to stay; without any they are taken away
    Limits(LimitsArgs),
    /// Write the logbook to a file: .json holds all of it, .csv readings and events in one table
    #[command(
        after_help = "Columns of the CSV (unknown is an empty cell): kind (reading, or the kind of event), water, at (time with \
                      offset), test, unit, answer (value, below, above), value, low, high, source (photo, eye, other), verdict, \
                      photo, sha256, chart_sha256, dilution_factor, percent, amount, substance, medicine, equipment, note, invertebrates (whether \
                      they live in the water, true or false), uid (what the entry is known by; leave it empty in new rows)."
    )]
    Export(exchange::ExportArgs),
    /// Add what a file holds that `log export` wrote, as far as it is not there yet
    Import(exchange::ImportArgs),
}

#[derive(clap::Args)]
struct EditArgs {
    /// The entry, as `log show` names it, such as r12
    entry: Entry,
    /// Its note; of a water what lives there
    #[arg(long)]
    note: Option<String>,
    /// When it was
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// The water that it belongs to
    #[arg(long)]
    water: Option<String>,
    /// Its name
    #[arg(long)]
    name: Option<String>,
    /// The volume of a water
    #[arg(long, value_name = "VOLUME", value_parser = litres, allow_hyphen_values = true)]
    volume: Option<f64>,
    /// Whether invertebrates live in a water, which copper kills
    #[arg(long, value_name = "YES|NO", value_parser = ["yes", "no"])]
    invertebrates: Option<String>,
    /// Salt or fresh water
    #[arg(long, value_parser = ["fresh", "salt"])]
    medium: Option<String>,
    /// Change it in spite of a warning
    #[arg(long)]
    anyway: bool,
    #[command(flatten)]
    logbook: LogbookArgs,
}

#[derive(clap::Args)]
struct RemoveArgs {
    /// Entries, as `log show` names them, such as r12 or e3
    #[arg(required = true)]
    entries: Vec<Entry>,
    #[command(flatten)]
    logbook: LogbookArgs,
}

#[derive(clap::Args)]
struct RestoreArgs {
    /// Entries, as `log show --changes` names them; with a water its entries come back
    #[arg(required = true)]
    entries: Vec<Entry>,
    #[command(flatten)]
    logbook: LogbookArgs,
}

#[derive(clap::Args)]
struct EventArgs {
    /// Name of the water
    water: String,
    /// What happened
    #[arg(value_enum)]
    kind: Kind,
    /// When; now, if not told
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Share of the water that was changed
    #[arg(long, value_name = "PERCENT", value_parser = percent, allow_negative_numbers = true)]
    percent: Option<f64>,
    /// How much was dosed, added or taken out
    #[arg(long, requires = "unit", value_parser = amount, allow_negative_numbers = true)]
    amount: Option<f64>,
    /// Unit of the amount
    #[arg(long)]
    unit: Option<String>,
    /// What was dosed, added or taken out; of a water change, what water was put in
    #[arg(long)]
    substance: Option<String>,
    /// It was a medicine, which may stay in equipment; copper counts as one by itself
    #[arg(long)]
    medicine: bool,
    /// Which equipment
    #[arg(long)]
    equipment: Option<String>,
    /// Anything else
    #[arg(long, default_value = "")]
    note: String,
    /// Log it in spite of a warning
    #[arg(long)]
    anyway: bool,
    #[command(flatten)]
    logbook: LogbookArgs,
}

#[derive(clap::Args)]
struct LimitsArgs {
    /// Name of the water
    water: String,
    /// Name of the test
    test: String,
    /// Unit of the bounds
    unit: String,
    /// It is not to fall under this
    #[arg(long, value_parser = number, allow_negative_numbers = true)]
    low: Option<f64>,
    /// It is not to rise over this
    #[arg(long, value_parser = number, allow_negative_numbers = true)]
    high: Option<f64>,
    #[command(flatten)]
    logbook: LogbookArgs,
}

pub(super) fn run(args: &Args) -> Done {
    match &args.command {
        Command::Add(args) => add::run(args),
        Command::Show(args) => show::run(args),
        Command::Edit(args) => edit(args),
        Command::Remove(args) => remove(args),
        Command::Restore(args) => restore(args),
        Command::Event(args) => event(args),
        Command::Limits(args) => limits(args),
        Command::Export(args) => exchange::export(args),
        Command::Import(args) => exchange::import(args),
    }
}

/// Now, in this system's time zone.
pub(super) fn now() -> Moment {
    Moment::from(&ZonedDateTime::now())
}

/// A time that was told, or now. A time of day alone is that of today.
pub(super) fn when(told: Option<&str>) -> Result<Moment, Stop> {
    let Some(text) = told else {
        return Ok(now());
    };
    let is_of_day = |text: &str| {
        text.split_once(':').is_some_and(|(hour, minute)| {
            let digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
            digits(hour) && digits(minute) && matches!((hour.len(), minute.len()), (1 | 2, 2))
        })
    };
    let text = match text.trim() {
        of_day if is_of_day(of_day) => format!("{} {of_day}", now().date()),
        text => text.to_owned(),
    };
    Moment::parse(&text, &TimeZone::system()).map_err(Stop::Usage)
}

/// The same for an entry: that it lies ahead is told, and allowed. Today without a time of day is now at the latest, since what is
/// logged has happened.
fn entered(told: Option<&str>) -> Result<Moment, Stop> {
    let at = when(told)?;
    let day_alone = told.is_some_and(|text| text.trim() == now().date());
    if day_alone && at.seconds() > now().seconds() {
        return Ok(now());
    }
    if at.seconds() > now().seconds() {
        say(&format!("note: {at} is still to come"));
    }
    Ok(at)
}

fn medium(word: &str) -> Medium {
    match word {
        "salt" => Medium::Salt,
        _ => Medium::Fresh,
    }
}

/// Tells what became of a reading.
pub(super) fn added(added: Added, reading: &Reading) {
    match added {
        Added::New(entry) | Added::InPlaceOf(entry, _) => say(&format!(
            "reading {entry} logged for {}, {}",
            reading.water,
            reading.at.short()
        )),
        Added::Known(entry) => say(&format!(
            "this photo is in the log of {} already: reading {entry}",
            reading.water
        )),
    }
}

fn edit(args: &EditArgs) -> Done {
    let mut fields = Vec::new();
    fields.extend(args.note.clone().map(Field::Note));
    if let Some(at) = &args.at {
        fields.push(Field::At(entered(Some(at))?));
    }
    fields.extend(args.water.clone().map(Field::Water));
    fields.extend(args.name.clone().map(Field::Name));
    fields.extend(args.volume.map(Field::Volume));
    let invertebrates = args.invertebrates.as_deref().map(|word| word == "yes");
    fields.extend(invertebrates.map(Field::Invertebrates));
    fields.extend(args.medium.as_deref().map(|m| Field::Medium(medium(m))));
    if fields.is_empty() {
        return Err(Stop::Usage(
            "say what to change: --note, --at, --water, --name, --volume, --invertebrates or --medium".into(),
        ));
    }
    let mut logbook = args.logbook.open(Access::Change)?;
    if let Some(event) = equipment::as_edited(&logbook, args.entry, &fields)? {
        warn(&logbook, &event, Some(args.entry), args.anyway)?;
    }
    if invertebrates == Some(true) {
        let waters = logbook.waters()?;
        if let Some((_, water)) = waters.iter().find(|(entry, _)| *entry == args.entry) {
            settled(&logbook, &water.name, args.anyway)?;
        }
    }
    logbook.edit(args.entry, &fields, &now())?;
    say(&format!("{} {} changed", args.entry.what(), args.entry));
    Ok(Exit::Trusted)
}

/// Stops before invertebrates come into a water that copper was in, or tells only.
fn settled(logbook: &Logbook, water: &str, anyway: bool) -> Result<(), Stop> {
    let met = equipment::in_water(logbook, water)?;
    if met.is_empty() {
        return Ok(());
    }
    let warning = format!(
        "this water or equipment in it was {}; copper at treatment level kills most invertebrates, and porous things hold it and \
         give it off later",
        equipment::told(&met)
    );
    let fix = "put no invertebrates in; ask a vet or the maker if you must. If they live there already, say so with --anyway";
    stop_or_tell(Error::new(warning, fix).about(water.to_owned()), anyway)
}

/// Stops with an error, or tells it as a warning where it is to be done anyway.
fn stop_or_tell(error: Error, anyway: bool) -> Result<(), Stop> {
    if !anyway {
        return Err(error.into());
    }
    say(&format!("warning: {}", error.what));
    Ok(())
}

fn remove(args: &RemoveArgs) -> Done {
    let mut logbook = args.logbook.open(Access::Change)?;
    for entry in &args.entries {
        logbook.remove(*entry, &now())?;
        say(&format!("{} {entry} left out", entry.what()));
    }
    Ok(Exit::Trusted)
}

fn restore(args: &RestoreArgs) -> Done {
    let mut logbook = args.logbook.open(Access::Change)?;
    for entry in &args.entries {
        logbook.restore(*entry, &now())?;
        say(&format!("{} {entry} is back", entry.what()));
        // What was logged happened: it is told, not stopped.
        if let Some(event) = logbook.event(*entry)? {
            warn(&logbook, &event, Some(*entry), true)?;
        }
        let waters = logbook.waters()?;
        let back = waters.iter().find(|(w, _)| w == entry);
        if let Some((_, water)) = back.filter(|(_, w)| w.invertebrates) {
            settled(&logbook, &water.name, true)?;
        }
    }
    Ok(Exit::Trusted)
}

fn event(args: &EventArgs) -> Done {
    let lacks = match args.kind {
        Kind::WaterChange if args.percent.is_none() => Some("--percent"),
        Kind::Dose if args.substance.is_none() => Some("--substance"),
        Kind::EquipmentIn | Kind::EquipmentOut if args.equipment.is_none() => Some("--equipment"),
        Kind::Other if args.note.is_empty() => Some("--note"),
        _ => None,
    };
    if let Some(option) = lacks {
        return Err(Stop::Usage(format!("{} needs {option}", args.kind.word())));
    }
    if args.percent.is_some() && args.kind != Kind::WaterChange {
        return Err(Stop::Usage(format!(
            "--percent is the share of a water-change: {} takes --amount and --unit",
            args.kind.word()
        )));
    }
    let event = Event {
        water: args.water.clone(),
        kind: args.kind,
        at: entered(args.at.as_deref())?,
        percent: args.percent,
        amount: args.amount,
        unit: args.unit.clone(),
        substance: args.substance.clone(),
        medicine: args.medicine,
        equipment: args.equipment.clone(),
        note: args.note.clone(),
    };
    if let Some(percent) = event.percent.filter(|p| *p < 1.0) {
        say(&format!(
            "note: that is {percent} % of the water; a quarter is 25"
        ));
    }
    let mut logbook = args.logbook.open(Access::Change)?;
    warn(&logbook, &event, None, args.anyway)?;
    let entry = logbook.add_event(&event)?;
    say(&format!("event {entry} logged, {}", event.at.short()));
    if event.kind == Kind::LivestockIn {
        let met = equipment::in_water(&logbook, &event.water)?;
        if !met.is_empty() {
            say(&format!(
                "note: this water or equipment in it was {}",
                equipment::told(&met)
            ));
        }
    }
    Ok(Exit::Trusted)
}

/// Stops before copper comes to invertebrates, or tells only, where it is to be logged anyway.
fn warn(logbook: &Logbook, event: &Event, itself: Option<Entry>, anyway: bool) -> Result<(), Stop> {
    let Some(warning) = equipment::warning(logbook, event, itself)? else {
        return Ok(());
    };
    let fix = "do not put it in; ask a vet or the maker if you must. If it is in already, log it with --anyway";
    stop_or_tell(Error::new(warning, fix).about(event.water.clone()), anyway)
}

fn limits(args: &LimitsArgs) -> Done {
    let mut logbook = args.logbook.open(Access::Change)?;
    let limit = Limit {
        water: args.water.clone(),
        test: args.test.clone(),
        unit: args.unit.clone(),
        low: args.low,
        high: args.high,
    };
    let before = logbook.set_limit(&limit, &now())?;
    let bounds = match (args.low, args.high) {
        (None, None) if before.is_none() => "had no bounds: nothing is changed".to_owned(),
        (None, None) => "has no bounds any more".to_owned(),
        (Some(low), None) => format!("is not to fall under {low} {}", args.unit),
        (None, Some(high)) => format!("is not to rise over {high} {}", args.unit),
        (Some(low), Some(high)) => format!("is to stay between {low} and {high} {}", args.unit),
    };
    say(&format!("{} in {} {bounds}", args.test, args.water));
    let readings = logbook.readings(&args.water, Some(&args.test))?;
    match readings.last() {
        None => say(&format!(
            "note: no reading of {} in {} is logged yet",
            args.test, args.water
        )),
        Some((entry, last)) if folded(&last.unit) != folded(&args.unit) => say(&format!(
            "note: the last reading of {} in {}, {entry}, is in {}: limits in {} are not compared with it",
            args.test, args.water, last.unit, args.unit
        )),
        Some(_) => {}
    }
    Ok(Exit::Trusted)
}
