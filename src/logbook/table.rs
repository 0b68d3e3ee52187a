//! What is wrong with a table that is to be imported, by line and column, in the words of whoever looks at it in a spreadsheet.

use csv::{DeserializeErrorKind, ErrorKind, StringRecord};

use crate::error::{Error, Result};

const FIX: &str = "see `tintwell log export --help` for the columns";

/// Columns without which no row says anything.
const NEEDED: [&str; 3] = ["kind", "water", "at"];

pub(super) fn wrong(line: u64, what: &str) -> Error {
    Error::new(format!("line {line}: {what}"), FIX)
}

/// A file without a row.
pub(super) fn nothing() -> Error {
    Error::new("there is no reading or event in this file", FIX)
}

/// Refuses a first line that does not name the columns.
pub(super) fn headed(head: &StringRecord) -> Result<()> {
    if head.iter().all(|name| name.trim().is_empty()) {
        return Err(Error::new(
            "the file is empty",
            "give a file that `tintwell log export` wrote, or one with its columns",
        ));
    }
    let Some(lacks) = NEEDED.iter().find(|n| !head.iter().any(|h| h == **n)) else {
        return Ok(());
    };
    let first = head.get(0).unwrap_or_default();
    let separator = [(';', "semicolons"), ('\t', "tabs")]
        .into_iter()
        .find(|(c, _)| first.contains(*c));
    Err(match separator {
        Some((_, name)) => Error::new(
            format!("line 1: the columns are separated by {name}"),
            "save the table with commas between the columns, and points for decimals",
        ),
        None => Error::new(format!("line 1: there is no column \"{lacks}\""), FIX),
    })
}

/// A line that is none of the table.
pub(super) fn unreadable(e: &csv::Error) -> Error {
    let line = e.position().map_or(1, csv::Position::line);
    match e.kind() {
        ErrorKind::UnequalLengths {
            expected_len, len, ..
        } => wrong(
            line,
            &format!("there are {len} columns, and {expected_len} in line 1"),
        ),
        _ => wrong(line, "it cannot be read as a line of a table"),
    }
}

/// A cell that is not what its column holds.
pub(super) fn cell(e: &csv::Error, head: &StringRecord, record: &StringRecord) -> String {
    let ErrorKind::Deserialize { err, .. } = e.kind() else {
        return "it cannot be read as a line of a table".into();
    };
    let column = err.field().and_then(|at| usize::try_from(at).ok());
    let named = column.and_then(|at| Some((head.get(at)?, record.get(at)?)));
    match (named, err.kind()) {
        (Some((name, told)), DeserializeErrorKind::ParseFloat(_)) if told.contains(',') => {
            format!("{name}: \"{told}\" is no number; write a decimal point, not a comma")
        }
        (Some((name, told)), DeserializeErrorKind::ParseFloat(_)) => {
            format!("{name}: \"{told}\" is no number")
        }
        (Some((name, told)), _) => format!("{name}: \"{told}\" is not understood"),
        (None, _) => "a column is named twice, or a cell is not understood".into(),
    }
}

/// Yes or no, as this program or a spreadsheet writes it.
pub(super) fn truth(told: Option<&str>, column: &str) -> std::result::Result<Option<bool>, String> {
    match told.map(str::to_lowercase).as_deref() {
        None => Ok(None),
        Some("true" | "yes" | "1") => Ok(Some(true)),
        Some("false" | "no" | "0") => Ok(Some(false)),
        Some(_) => Err(format!(
            "{column}: \"{}\" is neither true nor false",
            told.unwrap_or_default()
        )),
    }
}
