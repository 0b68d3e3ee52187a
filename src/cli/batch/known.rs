//! What a file of results holds already, so that no photo is read twice.

use std::collections::HashMap;
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom};

use serde::Deserialize;
use sha2::{Digest, Sha256};

use crate::flag::Verdict;
use crate::place::Area;
use crate::report::{Outcome, csv};

/// Verdicts of what was read before.
#[derive(Default)]
pub(super) struct Known(HashMap<[u8; 32], Verdict>);

impl Known {
    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    pub(super) fn get(&self, result: &Identity) -> Option<Verdict> {
        self.0.get(&result.digest()).copied()
    }
}

/// What a result is known again by: the content of the photo, whatever its name, the chart and the regions marked by hand.
/// Where the file itself could not be read, its name and what was wrong stand for the content.
pub(super) struct Identity<'a> {
    pub(super) photo: &'a str,
    pub(super) sha256: Option<&'a str>,
    pub(super) error: Option<&'a str>,
    pub(super) chart_sha256: Option<&'a str>,
    /// White paper and liquid, as [`written`].
    pub(super) regions: [String; 2],
}

impl<'a> Identity<'a> {
    pub(super) fn of(outcome: &'a Outcome) -> Identity<'a> {
        Identity {
            photo: &outcome.photo,
            sha256: outcome.sha256.as_deref(),
            error: outcome.result.as_ref().err().map(|e| e.what.as_str()),
            chart_sha256: outcome.chart_sha256.as_deref(),
            regions: written(outcome.regions),
        }
    }

    fn digest(&self) -> [u8; 32] {
        let content = match self.sha256 {
            Some(hash) => [hash, ""],
            None => [self.photo, self.error.unwrap_or_default()],
        };
        let chart = self.chart_sha256.unwrap_or_default();
        let regions = self.regions.each_ref().map(String::as_str);
        let mut hash = Sha256::new();
        for part in content.into_iter().chain([chart]).chain(regions) {
            hash.update((part.len() as u64).to_be_bytes());
            hash.update(part);
        }
        hash.finalize().into()
    }
}

/// Regions as the results write them; empty without.
pub(super) fn written(regions: Option<[Area; 2]>) -> [String; 2] {
    regions
        .map(|areas| areas.map(|a| a.to_string()))
        .unwrap_or_default()
}

/// What CSV results hold, and up to which byte they are whole. `None` if they are something else.
///
/// # Errors
/// If reading fails.
pub(super) fn csv_lines(mut file: impl Read + Seek) -> io::Result<Option<(Known, u64)>> {
    let length = file.seek(SeekFrom::End(0))?;
    let ends = length > 0 && {
        file.seek(SeekFrom::End(-1))?;
        let mut last = [0];
        file.read_exact(&mut last)?;
        last == *b"\n"
    };
    file.rewind()?;
    let header = csv::header();
    let mut beginning = Vec::new();
    (&mut file)
        .take(header.len() as u64)
        .read_to_end(&mut beginning)?;
    if beginning != header.as_bytes() {
        // A header torn by a stop.
        let torn = header.as_bytes().starts_with(&beginning);
        return Ok(torn.then(|| (Known::default(), 0)));
    }
    let mut rows = ::csv::ReaderBuilder::new()
        .flexible(true)
        .has_headers(false)
        .from_reader(file);
    let column = |name: &str| csv::COLUMNS.iter().position(|c| *c == name);
    let columns = [
        "photo",
        "sha256",
        "error",
        "chart_sha256",
        "white",
        "vial",
        "verdict",
    ]
    .map(column);
    let start = header.len() as u64;
    let (mut known, mut whole) = (Known::default(), start);
    let mut row = ::csv::StringRecord::new();
    loop {
        match rows.read_record(&mut row) {
            Ok(true) => {}
            Ok(false) => return Ok(Some((known, whole))),
            Err(e) => match e.into_kind() {
                ::csv::ErrorKind::Io(e) => return Err(e),
                _ => return Ok(None),
            },
        }
        let end = start + rows.position().byte();
        // The last row is whole only with its newline.
        if row.len() != csv::COLUMNS.len() || !(end < length || ends) {
            return Ok((end >= length).then_some((known, whole)));
        }
        let [photo, sha256, error, chart_sha256, white, vial, verdict] =
            columns.map(|c| c.and_then(|c| row.get(c)).unwrap_or_default());
        let Some(verdict) = Verdict::from_word(verdict) else {
            return Ok(None);
        };
        let result = Identity {
            photo,
            sha256: some(sha256),
            error: some(error),
            chart_sha256: some(chart_sha256),
            regions: [white.to_owned(), vial.to_owned()],
        };
        known.0.insert(result.digest(), verdict);
        whole = end;
    }
}

fn some(cell: &str) -> Option<&str> {
    Some(cell).filter(|c| !c.is_empty())
}

/// The same of NDJSON.
///
/// # Errors
/// If reading fails.
pub(super) fn ndjson_lines(file: impl Read) -> io::Result<Option<(Known, u64)>> {
    #[derive(Deserialize)]
    struct Line {
        photo: String,
        sha256: Option<String>,
        error: Option<String>,
        chart_sha256: Option<String>,
        white: Option<Area>,
        vial: Option<Area>,
        verdict: Verdict,
    }
    let mut known = Known::default();
    let mut whole = 0;
    let mut file = BufReader::new(file);
    let mut line = Vec::new();
    loop {
        line.clear();
        file.by_ref().take(MAX_LINE).read_until(b'\n', &mut line)?;
        if !line.ends_with(b"\n") {
            // A file of one torn line holds results only if it looks like the beginning of one.
            let ours = whole > 0 || BEGINNING.starts_with(&line) || line.starts_with(BEGINNING);
            let torn = (line.len() as u64) < MAX_LINE;
            return Ok((ours && torn).then_some((known, whole)));
        }
        let Ok(read) = serde_json::from_slice::<Line>(&line) else {
            return Ok(None);
        };
        let result = Identity {
            photo: &read.photo,
            sha256: read.sha256.as_deref(),
            error: read.error.as_deref(),
            chart_sha256: read.chart_sha256.as_deref(),
            regions: written(read.white.zip(read.vial).map(|(w, v)| [w, v])),
        };
        known.0.insert(result.digest(), read.verdict);
        whole += line.len() as u64;
    }
}

/// How every line of results begins.
const BEGINNING: &[u8] = b"{\"photo\":";

/// No line of results is as long, bytes.
const MAX_LINE: u64 = 1_000_000;

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;
    use crate::error::Error;
    use crate::report::json;

    fn outcome(photo: &str, sha256: Option<&str>, regions: Option<[Area; 2]>) -> Outcome {
        Outcome {
            photo: photo.into(),
            taken_at: None,
            sha256: sha256.map(str::to_owned),
            chart_sha256: Some("c".into()),
            regions,
            test: None,
            unit: None,
            result: Err(Error::new("no card,\nnone \"at all\"", "show it")),
        }
    }

    type Reader = fn(Cursor<Vec<u8>>) -> io::Result<Option<(Known, u64)>>;

    fn area(x: f64) -> Area {
        Area {
            x,
            y: 0.1,
            w: 1e3,
            h: 3.0,
        }
    }

    /// Cut off anywhere, what is whole is kept and the rest is told apart from it.
    #[test]
    fn torn_results_keep_their_whole_lines() {
        let rows = [
            outcome("a.jpg", Some("1"), None),
            outcome("b \"x\",\n.jpg", Some("2"), None),
        ];
        let csv: Vec<String> = std::iter::once(csv::header())
            .chain(rows.iter().map(csv::row))
            .collect();
        let lines: Vec<String> = rows.iter().map(|r| json::line(r) + "\n").collect();
        for (parts, read) in [(csv, csv_lines as Reader), (lines, ndjson_lines)] {
            let all = parts.concat();
            let ends: Vec<usize> = parts
                .iter()
                .scan(0, |end, p| {
                    *end += p.len();
                    Some(*end)
                })
                .collect();
            for cut in 0..=all.len() {
                let whole = ends
                    .iter()
                    .filter(|e| **e <= cut)
                    .max()
                    .copied()
                    .unwrap_or(0);
                let (known, kept) = read(Cursor::new(all.as_bytes()[..cut].to_vec()))
                    .unwrap()
                    .unwrap_or_else(|| panic!("{:?}", &all[..cut]));
                assert_eq!(kept, whole as u64, "{:?}", &all[..cut]);
                let rows_before = if parts.len() == 3 { 1 } else { 0 };
                let count = ends.iter().filter(|e| **e <= cut).count();
                assert_eq!(known.0.len(), count.saturating_sub(rows_before));
            }
        }
    }

    /// A result is known by what it rests on; a name counts only where there is no content.
    #[test]
    fn results_are_known_by_what_they_rest_on() {
        let here = Some([area(1.0), area(0.3)]);
        let written = [
            outcome("a.jpg", Some("1"), None),
            outcome("b.jpg", Some("2"), here),
            outcome("c.jpg", None, None),
        ];
        let csv = csv::header() + &written.each_ref().map(csv::row).concat();
        let lines = written.each_ref().map(|o| json::line(o) + "\n").concat();
        for (text, read) in [(csv, csv_lines as Reader), (lines, ndjson_lines)] {
            let (known, _) = read(Cursor::new(text.to_owned().into())).unwrap().unwrap();
            let has = |o: &Outcome| known.get(&Identity::of(o)).is_some();
            assert!(written.iter().all(has));
            assert!(has(&outcome("renamed.jpg", Some("1"), None)));
            assert!(!has(&outcome("a.jpg", Some("1"), here)));
            assert!(!has(&outcome(
                "b.jpg",
                Some("2"),
                Some([area(1.0), area(0.4)])
            )));
            assert!(!has(&outcome("d.jpg", None, None)));
            let mut other = outcome("c.jpg", None, None);
            other.result = Err(Error::new("it is a folder", "give a photo"));
            assert!(!has(&other));
            other = outcome("a.jpg", Some("1"), None);
            other.chart_sha256 = Some("d".into());
            assert!(!has(&other));
        }
    }

    #[test]
    fn other_files_are_not_gone_on_with() {
        for (text, read) in [
            ("name,number\nx,1\n", csv_lines as Reader),
            ("{\"name\": 1}\n", ndjson_lines),
            ("a diary", ndjson_lines),
        ] {
            assert!(read(Cursor::new(text.to_owned().into())).unwrap().is_none());
        }
    }
}
