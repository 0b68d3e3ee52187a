//! Where the results of a batch go: a table, standard output, or a file that is gone on with.
//!
//! Every result is passed on to the system at once, whole lines only, so that a batch that is stopped at any moment loses
//! none that was written; a line torn by the stop is cut off when the file is gone on with.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Write};
use std::path::Path;

use super::super::files::{extension, plain, shown, takes_output};
use super::super::{Stop, put};
use super::known::{self, Known};
use crate::error::{Error, Result};
use crate::report::text::Table;
use crate::report::{Outcome, csv, json};

/// The form of a file of results.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    Csv,
    Ndjson,
}

impl Form {
    pub(super) fn of(path: &Path) -> std::result::Result<Form, Stop> {
        if path == Path::new("-") {
            return Ok(Form::Ndjson);
        }
        match extension(path).as_str() {
            "csv" => Ok(Form::Csv),
            "ndjson" | "jsonl" => Ok(Form::Ndjson),
            _ => Err(Stop::Usage(
                "--out takes a name that ends in .csv or .ndjson, or - for NDJSON on standard output"
                    .into(),
            )),
        }
    }
}

/// Where results go.
pub(super) enum Sink {
    Table(Table),
    Stdout,
    File {
        file: File,
        form: Form,
        shown: String,
    },
}

impl Sink {
    /// Opens a file of results to go on with, and tells what it holds.
    ///
    /// # Errors
    /// If it cannot be written, is being written by another batch, or holds something else.
    pub(super) fn file(path: &Path, form: Form) -> Result<(Sink, Known)> {
        let name = shown(path);
        let about = |e: Error| e.about(name.clone());
        takes_output(path).map_err(about)?;
        let unwritable = |e: io::Error| unwritable(&e, name.clone());
        let mut file = OpenOptions::new()
            .create(true)
            .read(true)
            .append(true)
            .open(path)
            .map_err(unwritable)?;
        // Where there are no locks, the results are written without.
        if let Err(TryLockError::WouldBlock) = file.try_lock() {
            return Err(about(Error::new(
                "another batch is writing these results",
                "wait until it is done, or give another name",
            )));
        }
        let (known, whole) = match form {
            Form::Csv => known::csv_lines(&mut file),
            Form::Ndjson => known::ndjson_lines(&mut file),
        }
        .map_err(unwritable)?
        .ok_or_else(|| {
            about(Error::new(
                "this file is there already and does not hold results of this program and version",
                "give another name",
            ))
        })?;
        file.set_len(whole).map_err(unwritable)?;
        let mut sink = Sink::File {
            file,
            form,
            shown: name,
        };
        if form == Form::Csv && whole == 0 {
            sink.append(&csv::header())?;
        }
        Ok((sink, known))
    }

    /// Writes one result.
    pub(super) fn write(&mut self, outcome: &Outcome) -> std::result::Result<(), Stop> {
        match self {
            Sink::Table(table) => put(&table.row(outcome)),
            Sink::Stdout => put(&(json::line(outcome) + "\n")),
            Sink::File {
                form: Form::Csv, ..
            } => Ok(self.append(&csv::row(outcome))?),
            Sink::File {
                form: Form::Ndjson, ..
            } => Ok(self.append(&(json::line(outcome) + "\n"))?),
        }
    }

    fn append(&mut self, text: &str) -> Result<()> {
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
