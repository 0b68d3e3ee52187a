//! One photo read, whatever happens: its outcome always comes back.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use super::files;
use crate::chart::Chart;
use crate::chart::file::sha256_of;
use crate::error::{Error, Result};
use crate::look::Where;
use crate::photo::{self, Limits, Photo, sha256};
use crate::reading::{Seen, Told, read};
use crate::report::Outcome;
use crate::stage::stage;

/// What reading one photo gives.
pub(crate) struct One {
    pub(crate) outcome: Outcome,
    /// The photo and what was seen in it, if there is a reading and they were asked for.
    pub(crate) seen: Option<(Photo, Seen)>,
}

/// The content of a photo's file.
pub(crate) fn content(path: &Path) -> Result<Vec<u8>> {
    stage!(FILE, files::bytes(path, Limits::default().max_bytes))
}

/// Reads one photo, whose [`content`] is given, with a chart, or with the error that stands for the lack of one; `name` is that
/// of the photo, fit for showing.
pub(crate) fn one(
    name: &str,
    content: Result<Vec<u8>>,
    by: &Where,
    chart: Result<&Chart>,
    told: &Told,
    keep: bool,
) -> One {
    let mut outcome = Outcome {
        photo: name.to_owned(),
        taken_at: None,
        sha256: None,
        chart_sha256: chart.as_ref().ok().map(|c| sha256_of(c)),
        regions: by.regions(),
        test: chart.as_ref().ok().map(|c| c.terms.test.clone()),
        unit: chart.as_ref().ok().map(|c| c.terms.unit.clone()),
        result: Err(Error::new("", "")),
    };
    let mut seen = None;
    // A fault in the program must not take the other photos with it.
    let result = catch_unwind(AssertUnwindSafe(|| {
        let content = content?;
        let decoded = stage!(DECODE, photo::decode(&content, &Limits::default()));
        let photo = decoded.inspect_err(|_| outcome.sha256 = Some(sha256(&content)))?;
        drop(content);
        outcome.sha256 = Some(photo.sha256.clone());
        outcome.taken_at = photo.facts.taken_at_text();
        let (reading, sight) = read(&photo, by, chart?, told)?;
        seen = keep.then_some((photo, sight));
        Ok(reading)
    }));
    outcome.result = result
        .unwrap_or_else(|_| {
            Err(Error::new(
                "the program failed while reading this photo",
                "report this fault together with the photo",
            ))
        })
        .map_err(|e: Error| e.about(name));
    One { outcome, seen }
}
