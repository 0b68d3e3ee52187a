//! Where the results of a batch go: a table, standard output, or a file that is gone on with.
//!
//! Every result is passed on to the system at once, whole lines only, so that a batch that is stopped at any moment loses
//! none that was written; a line torn by the stop is cut off when the file is gone on with.

use std::collections::HashMap;
use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::Path;

use super::super::files::{self, extension, plain, shown};
use super::super::{Stop, put};
use crate::error::{Error, Result};
use crate::flag::Verdict;
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

/// What is in a file of results already: verdicts by hash of photo and chart.
pub(super) type Known = HashMap<(String, String), Verdict>;

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

/// Largest file of results that is gone on with, bytes: a million photos make a few hundred megabytes.
const MAX_RESULTS: u64 = 2_000_000_000;

impl Sink {
    /// Opens a file of results to go on with, and tells what it holds.
    ///
    /// # Errors
    /// If it cannot be written, or holds something else.
    pub(super) fn file(path: &Path, form: Form) -> Result<(Sink, Known)> {
        let name = shown(path);
        let there = std::fs::metadata(path).is_ok_and(|m| m.len() > 0);
        let (mut known, mut whole) = (Known::new(), 0);
        if there {
            let bytes = files::bytes(path, MAX_RESULTS)?;
            (known, whole) = match form {
                Form::Csv => csv_lines(&bytes),
                Form::Ndjson => ndjson_lines(&bytes),
            }
            .ok_or_else(|| {
                Error::new(
                    "this file is there already and does not hold results of this program and version",
                    "give another name",
                )
                .about(name.clone())
            })?;
        }
        let opened = || -> io::Result<File> {
            let file = OpenOptions::new().create(true).append(true).open(path)?;
            if there {
                file.set_len(whole)?;
            }
            Ok(file)
        };
        let file = opened().map_err(|e| unwritable(&e, name.clone()))?;
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

/// What CSV results hold, and up to which byte they are whole. `None` if they are something else.
fn csv_lines(bytes: &[u8]) -> Option<(Known, u64)> {
    let header = csv::header();
    if !bytes.starts_with(header.as_bytes()) {
        // A header torn by a stop.
        return header
            .as_bytes()
            .starts_with(bytes)
            .then(|| (Known::new(), 0));
    }
    let mut rows = ::csv::ReaderBuilder::new()
        .flexible(true)
        .from_reader(bytes);
    let column = |name: &str| csv::COLUMNS.iter().position(|c| *c == name);
    let (photo, chart, verdict) = (
        column("sha256")?,
        column("chart_sha256")?,
        column("verdict")?,
    );
    let (mut known, mut whole) = (Known::new(), header.len() as u64);
    let mut row = ::csv::StringRecord::new();
    while rows.read_record(&mut row).ok()? {
        let end = rows.position().byte();
        // The last row is whole only with its newline.
        let ended = end < bytes.len() as u64 || bytes.ends_with(b"\n");
        if row.len() != csv::COLUMNS.len() || !ended {
            return (end >= bytes.len() as u64).then_some((known, whole));
        }
        let hash = |i: usize| row.get(i).filter(|h| !h.is_empty()).map(str::to_owned);
        if let (Some(photo), Some(chart)) = (hash(photo), hash(chart)) {
            known.insert((photo, chart), Verdict::from_word(row.get(verdict)?)?);
        }
        whole = end;
    }
    Some((known, whole))
}

/// The same of NDJSON.
fn ndjson_lines(bytes: &[u8]) -> Option<(Known, u64)> {
    #[derive(serde::Deserialize)]
    struct Line {
        sha256: Option<String>,
        chart_sha256: Option<String>,
        verdict: Verdict,
    }
    let mut known = Known::new();
    let mut whole = 0;
    for line in bytes.split_inclusive(|b| *b == b'\n') {
        if !line.ends_with(b"\n") {
            break;
        }
        let read: Line = serde_json::from_slice(line).ok()?;
        if let (Some(photo), Some(chart)) = (read.sha256, read.chart_sha256) {
            known.insert((photo, chart), read.verdict);
        }
        whole += line.len() as u64;
    }
    // A file of one torn line holds results only if it looks like the beginning of one.
    (whole > 0 || bytes.starts_with(b"{\"photo\":")).then_some((known, whole))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::Error;

    fn outcome(photo: &str, sha256: &str) -> Outcome {
        Outcome {
            photo: photo.into(),
            taken_at: None,
            sha256: Some(sha256.into()),
            chart_sha256: Some("c".into()),
            test: None,
            unit: None,
            result: Err(Error::new("no card,\nnone \"at all\"", "show it")),
        }
    }

    /// Cut off anywhere, what is whole is kept and the rest is told apart from it.
    #[test]
    fn torn_results_keep_their_whole_lines() {
        let rows = [outcome("a.jpg", "1"), outcome("b \"x\",\n.jpg", "2")];
        let csv: Vec<String> = std::iter::once(csv::header())
            .chain(rows.iter().map(csv::row))
            .collect();
        let lines: Vec<String> = rows.iter().map(|r| json::line(r) + "\n").collect();
        for (parts, read) in [
            (csv, csv_lines as fn(&[u8]) -> Option<(Known, u64)>),
            (lines, ndjson_lines),
        ] {
            let all = parts.concat();
            let ends: Vec<usize> = parts
                .iter()
                .scan(0, |end, p| {
                    *end += p.len();
                    Some(*end)
                })
                .collect();
            for cut in 12..=all.len() {
                let whole = ends
                    .iter()
                    .filter(|e| **e <= cut)
                    .max()
                    .copied()
                    .unwrap_or(0);
                let (known, kept) =
                    read(&all.as_bytes()[..cut]).unwrap_or_else(|| panic!("{:?}", &all[..cut]));
                assert_eq!(kept, whole as u64, "{:?}", &all[..cut]);
                let rows_before = if parts.len() == 3 { 1 } else { 0 };
                let count = ends.iter().filter(|e| **e <= cut).count();
                assert_eq!(known.len(), count.saturating_sub(rows_before));
            }
        }
    }

    #[test]
    fn other_files_are_not_gone_on_with() {
        assert!(csv_lines(b"name,number\nx,1\n").is_none());
        assert!(ndjson_lines(b"{\"name\": 1}\n").is_none());
        assert!(ndjson_lines(b"a diary").is_none());
    }
}
