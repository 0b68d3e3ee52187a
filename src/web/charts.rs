//! The folder of charts that were made on a phone. Their names are given here, never by a client: date and a number.

use std::fs;
use std::path::{Path, PathBuf};

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::state::Listed;
use crate::chart::{Chart, file};
use crate::error::{Error, Result};
use crate::face::files::{Output, extension, load_chart, plain, shown};
use crate::report::text::clean;

/// Most charts that are taken from the folder: they stay in memory, half a megabyte each at most.
const MOST: usize = 200;

/// Beside a logbook: `logbook-charts`.
pub fn beside(logbook: &Path) -> PathBuf {
    let mut name = logbook.file_stem().unwrap_or_default().to_owned();
    name.push("-charts");
    logbook.with_file_name(name)
}

/// The charts of the folder by name; none if it is not there.
///
/// # Errors
/// If the folder cannot be read, holds too many, or a file of it is no chart.
pub fn all(folder: &Path) -> Result<Vec<Listed>> {
    if !folder.exists() {
        return Ok(Vec::new());
    }
    let entries = fs::read_dir(folder).map_err(|e| {
        Error::new(
            format!("the folder of charts cannot be read: {}", plain(&e)),
            "check that it may be read, or give another with --charts-folder",
        )
        .about(shown(folder))
    })?;
    let mut paths: Vec<PathBuf> = entries
        .filter_map(|e| e.ok().map(|e| e.path()))
        .filter(|p| extension(p) == "json")
        .collect();
    paths.sort();
    if paths.len() > MOST {
        return Err(Error::new(
            format!("the folder has more than {MOST} charts"),
            "move those that are not used any more to another place",
        )
        .about(shown(folder)));
    }
    paths
        .iter()
        .map(|path| {
            Ok(Listed {
                name: clean(&path.file_stem().unwrap_or_default().to_string_lossy()),
                chart: load_chart(path)?,
            })
        })
        .collect()
}

/// Writes a chart under a name that is none of those taken, and gives that name.
///
/// # Errors
/// If the folder cannot be made or takes no files.
pub(super) fn keep(folder: &Path, taken: &[&str], chart: &Chart, now: Timestamp) -> Result<String> {
    let json = file::write(chart);
    // What cannot be read back is no chart.
    file::parse(&json).map_err(|e| {
        Error::new(
            e.what,
            "photograph the standards anew and make the chart again",
        )
    })?;
    let unwritable = |e: &std::io::Error| {
        Error::new(
            format!("the chart cannot be written: {}", plain(e)),
            "check on the computer that the folder of charts takes files",
        )
        .about(shown(folder))
    };
    fs::create_dir_all(folder).map_err(|e| unwritable(&e))?;
    let date = TimeZone::system().to_datetime(now).date();
    for n in 1..=MOST {
        let name = format!("chart-{date}-{n}");
        let path = folder.join(format!("{name}.json"));
        if taken.contains(&name.as_str()) {
            continue;
        }
        // Another process may look for a name too.
        if Output::new(&path)?.write_new(json.as_bytes())? {
            return Ok(name);
        }
    }
    Err(Error::new(
        format!("{MOST} charts were made on this day"),
        "go on tomorrow",
    ))
}
