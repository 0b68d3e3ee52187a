//! `tintwell log export` and `import`: the logbook as a file, and back.

use std::path::{Path, PathBuf};

use super::{LogbookArgs, now};
use crate::cli::files::{self, Output, extension, shown};
use crate::cli::{Done, Exit, Stop, say};
use crate::error::Error;
use crate::logbook::Access;
use crate::logbook::exchange::{Imported, Whole};
use crate::report::text::clean;

#[derive(clap::Args)]
pub(super) struct ExportArgs {
    /// File to write (.json or .csv)
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    logbook: LogbookArgs,
}

#[derive(clap::Args)]
pub(super) struct ImportArgs {
    /// File to read (.json or .csv)
    #[arg(value_name = "FILE")]
    file: PathBuf,
    #[command(flatten)]
    logbook: LogbookArgs,
}

#[derive(Clone, Copy)]
enum Form {
    Json,
    Csv,
}

fn form(path: &Path) -> Result<Form, Stop> {
    match extension(path).as_str() {
        "json" => Ok(Form::Json),
        "csv" => Ok(Form::Csv),
        _ => Err(Stop::Usage(
            "a logbook is exported to and imported from .json or .csv".into(),
        )),
    }
}

pub(super) fn export(args: &ExportArgs) -> Done {
    let form = form(&args.file)?;
    let logbook = args.logbook.open(Access::Read)?;
    let output = Output::new(&args.file)?;
    let whole = Whole::of(&logbook)?;
    let text = match form {
        Form::Json => whole.json(),
        Form::Csv => whole.csv()?,
    };
    output.write(text.as_bytes())?;
    say(&format!("logbook written: {}", output.shown()));
    if matches!(form, Form::Csv) {
        say(
            "note: a .csv holds readings and events; limits, records, pictures and what else is known of waters and equipment go \
             into a .json",
        );
    }
    Ok(Exit::Trusted)
}

fn count(n: usize, one: &str, more: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { more })
}

/// Largest file that is imported, bytes: a million readings with their records make a gigabyte or two.
const MAX_IMPORT: u64 = 4_000_000_000;

pub(super) fn import(args: &ImportArgs) -> Done {
    let form = form(&args.file)?;
    let about = |e: Error| e.about(shown(&args.file));
    let text = String::from_utf8(files::bytes(&args.file, MAX_IMPORT)?)
        .map_err(|_| Error::new("the file is not text (UTF-8)", "give another file"))
        .map_err(about)?;
    let whole = match form {
        Form::Json => Whole::from_json(&text),
        Form::Csv => Whole::from_csv(&text),
    }
    .map_err(about)?;
    let told_of = whole.tells_of_invertebrates();
    let Imported {
        waters,
        equipment,
        readings,
        events,
        limits,
        completed,
        limits_kept,
        removed,
        there,
        invertebrates,
        warned,
    } = args
        .logbook
        .begin(|logbook| whole.import(logbook, &now()).map_err(about))?;
    let counts = [
        count(waters, "water", "waters"),
        count(equipment, "piece of equipment", "pieces of equipment"),
        count(readings, "reading", "readings"),
        count(events, "event", "events"),
        count(limits, "limit", "limits"),
    ];
    let passed = match there {
        0 => "what was there already was passed over".to_owned(),
        n => format!(
            "passed over, since it was there already: {}",
            count(n, "reading or event", "readings and events")
        ),
    };
    say(&format!("imported: {}; {passed}", counts.join(", ")));
    for water in invertebrates {
        say(&format!(
            "note: by the file invertebrates live in {}, which copper kills; the logbook says so now (`tintwell log edit` changes it)",
            clean(&water)
        ));
    }
    if waters > 0 && !told_of {
        say(
            "note: the file does not tell in which waters invertebrates live, which copper kills: tell it with \
             `tintwell log edit w1 --invertebrates yes`",
        );
    }
    if completed > 0 {
        let were = if completed == 1 { "was" } else { "were" };
        say(&format!(
            "{} that {were} there {were} given record or picture",
            count(completed, "reading", "readings")
        ));
    }
    if removed > 0 {
        say(&format!(
            "{} that {} removed from this logbook {} so: `tintwell log show --changes` tells which, and `tintwell log restore` \
             takes back",
            count(removed, "entry", "entries"),
            if removed == 1 { "was" } else { "were" },
            if removed == 1 { "stays" } else { "stay" },
        ));
    }
    if limits_kept > 0 {
        say(&format!(
            "kept, though the file has others: {}",
            count(limits_kept, "limit", "limits")
        ));
    }
    for (entry, warning) in warned {
        say(&format!("warning: {entry}: {warning}"));
    }
    Ok(Exit::Trusted)
}
