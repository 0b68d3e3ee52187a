//! Logging what was read.
//!
//! A reading is logged with the time of its photo, its flags and all else that is known of it. What cannot be read is told and
//! not logged: a bound or a value that nobody may trust has no place in a trend.

use std::collections::HashSet;

use jiff::ZonedDateTime;
use jiff::tz::TimeZone;

use crate::chart::Medium;
use crate::error::{Error, Result};
use crate::flag::{Checked, Verdict};
use crate::logbook::{Added, Amount, Entry, Jpeg, Logbook, Moment, Reading, Source};
use crate::photo::{Photo, sha256};
use crate::reading::{self, Answer};
use crate::report::json::{self, Record};
use crate::report::text::clean;
use crate::report::{Outcome, overlay};
use crate::same_vial::VialReading;

/// A logbook that readings of one water go to.
pub(crate) struct Keeper {
    logbook: Logbook,
    water: String,
    medium: Option<Medium>,
    /// Of photos that do not tell theirs.
    zone: TimeZone,
    /// Photos whose readings were taken out of this water's log: they are not logged anew. With the chart's hash.
    left_out: HashSet<(String, Option<String>)>,
    tally: Tally,
}

/// What became of the readings.
#[derive(Default)]
struct Tally {
    new: usize,
    known: usize,
    unreadable: usize,
    left_out: usize,
    failed: usize,
}

/// What is told apart from the reading itself.
#[derive(Default, Clone)]
pub(crate) struct Noted {
    /// When the sample was taken; else the photo's time counts.
    pub(crate) at: Option<Moment>,
    pub(crate) note: String,
}

/// What was read from one photo, or from several of one vial, as it is logged.
pub(crate) struct Seen {
    test: String,
    unit: String,
    verdict: Verdict,
    answer: Option<Answer>,
    taken_at: Option<String>,
    photo: String,
    sha256: Option<String>,
    /// SHA-256 of each of the photos.
    photos: Vec<String>,
    chart_sha256: Option<String>,
    record: Option<serde_json::Value>,
    picture: Option<Jpeg>,
}

/// Where the program looked, as it is kept; `None` if there is nothing to see.
pub(crate) fn picture(seen: Option<&(Photo, reading::Seen)>) -> Option<Jpeg> {
    let (photo, seen) = seen?;
    overlay::small(&photo.picture, seen).ok().map(Jpeg)
}

impl Seen {
    pub(crate) fn photo(outcome: &Outcome, picture: Option<Jpeg>) -> Seen {
        Seen {
            test: outcome.test.clone().unwrap_or_default(),
            unit: outcome.unit.clone().unwrap_or_default(),
            verdict: outcome.verdict(),
            answer: outcome.result.as_ref().ok().map(|r| r.value.answer.clone()),
            taken_at: outcome.taken_at.clone(),
            photo: outcome.photo.clone(),
            sha256: outcome.sha256.clone(),
            photos: outcome.sha256.iter().cloned().collect(),
            chart_sha256: outcome.chart_sha256.clone(),
            record: serde_json::to_value(Record::of(outcome)).ok(),
            picture,
        }
    }

    /// `pictures` are those of the photos, in their order.
    pub(crate) fn vial(
        checked: &Checked<VialReading>,
        outcomes: &[Outcome],
        mut pictures: Vec<Option<Jpeg>>,
    ) -> Seen {
        let r = &checked.value;
        let used: Vec<&Outcome> = r.used.iter().filter_map(|&i| outcomes.get(i)).collect();
        let names: Vec<&str> = used.iter().map(|o| o.photo.as_str()).collect();
        // The vial is known again by its photos, in whatever order they are given.
        let mut hashes: Vec<&str> = used.iter().filter_map(|o| o.sha256.as_deref()).collect();
        hashes.sort_unstable();
        Seen {
            test: r.test.clone(),
            unit: r.unit.clone(),
            verdict: r.verdict,
            answer: r.answer.clone(),
            taken_at: used.iter().filter_map(|o| o.taken_at.clone()).min(),
            photo: names.join(", "),
            sha256: Some(sha256(hashes.join("\n").as_bytes())),
            photos: hashes.iter().map(|&h| h.to_owned()).collect(),
            chart_sha256: used.first().and_then(|o| o.chart_sha256.clone()),
            record: serde_json::from_str(&json::vial_line(checked, outcomes)).ok(),
            picture: r.used.iter().find_map(|&i| pictures.get_mut(i)?.take()),
        }
    }

    /// What can be logged of the answer.
    fn amount(&self) -> Option<Amount> {
        if self.verdict == Verdict::Unreadable {
            return None;
        }
        self.answer.as_ref().and_then(Amount::of)
    }
}

impl Keeper {
    /// Readings are logged for `water` of the logbook.
    ///
    /// # Errors
    /// If there is no such water.
    pub(crate) fn new(logbook: Logbook, water: &str) -> Result<Keeper> {
        let water = logbook.water(water)?;
        Ok(Keeper {
            logbook,
            water: water.name,
            medium: water.medium,
            zone: TimeZone::system(),
            left_out: HashSet::new(),
            tally: Tally::default(),
        })
    }

    /// Whether the water is fresh or salt, where the logbook tells.
    pub(crate) fn medium(&self) -> Option<Medium> {
        self.medium
    }

    /// Photos (SHA-256, and that of the chart they were read with) that are logged for this water, or were and are left out: from now on
    /// those are not logged anew, as somebody decided who looked at them.
    pub(crate) fn settled(&mut self) -> Result<HashSet<(String, Option<String>)>> {
        self.left_out = self.logbook.photos_left_out(&self.water)?;
        let mut all = self.logbook.photos(&self.water)?;
        all.extend(self.left_out.iter().cloned());
        Ok(all)
    }

    fn is_left_out(&self, seen: &Seen) -> bool {
        let photo = seen.sha256.clone().map(|s| (s, seen.chart_sha256.clone()));
        photo.is_some_and(|photo| self.left_out.contains(&photo))
    }

    /// Logs what was read; nothing (`None`) if there is no reading to rely on.
    ///
    /// # Errors
    /// If there is no time, or the logbook cannot be written.
    pub(crate) fn log(&mut self, seen: Seen, told: &Noted) -> Result<Option<Added>> {
        if self.is_left_out(&seen) {
            self.tally.left_out += 1;
            return Ok(None);
        }
        let about = format!("{} is not logged", seen.photo);
        let logged = self.add(seen, told);
        match &logged {
            Ok(Some(Added::New(_) | Added::InPlaceOf(..))) => self.tally.new += 1,
            Ok(Some(Added::Known(_))) => self.tally.known += 1,
            Ok(None) => self.tally.unreadable += 1,
            Err(_) => self.tally.failed += 1,
        }
        logged.map_err(|e| e.about(about))
    }

    fn add(&mut self, seen: Seen, told: &Noted) -> Result<Option<Added>> {
        let Some(answer) = seen.amount() else {
            return Ok(None);
        };
        let factor = seen.record.as_ref().map(|r| &r["dilution_factor"]);
        let reading = Reading {
            water: self.water.clone(),
            at: self.time(seen.taken_at.as_deref(), told)?,
            answer,
            source: Source::Photo,
            dilution_factor: factor.and_then(serde_json::Value::as_f64),
            note: told.note.clone(),
            test: seen.test,
            unit: seen.unit,
            verdict: seen.verdict,
            photo: Some(seen.photo),
            sha256: seen.sha256,
            chart_sha256: seen.chart_sha256,
            record: seen.record,
            picture: seen.picture,
        };
        self.once(&reading, &seen.photos).map(Some)
    }

    /// Adds a reading, so that no photo counts twice: of readings of one vial the one of more photos stays.
    fn once(&mut self, reading: &Reading, photos: &[String]) -> Result<Added> {
        let others = self.logbook.of_same_vial(reading, photos)?;
        let holds = |of: &Vec<String>| photos.iter().all(|photo| of.contains(photo));
        if let Some((whole, _)) = others.iter().find(|(_, of)| of.len() > 1 && holds(of)) {
            return Ok(Added::Known(*whole));
        }
        let added = self.logbook.add_reading(reading)?;
        match added {
            Added::New(entry) if !others.is_empty() => {
                let old: Vec<Entry> = others.into_iter().map(|(entry, _)| entry).collect();
                let now = Moment::from(&ZonedDateTime::now());
                for entry in &old {
                    self.logbook.remove(*entry, &now)?;
                }
                Ok(Added::InPlaceOf(entry, old))
            }
            added => Ok(added),
        }
    }

    fn time(&self, taken: Option<&str>, told: &Noted) -> Result<Moment> {
        if let Some(at) = &told.at {
            return Ok(at.clone());
        }
        taken
            .and_then(|text| Moment::parse(text, &self.zone).ok())
            .ok_or_else(|| {
                Error::new(
                    "the photo does not tell when it was taken",
                    "read it by itself with --log and --at TIME",
                )
            })
    }

    /// What became of one reading, in words.
    pub(crate) fn said(&self, added: Option<Added>) -> String {
        match added {
            Some(Added::New(entry)) => {
                format!("logged for {} as {entry}", clean(&self.water))
            }
            Some(Added::InPlaceOf(entry, old)) => format!(
                "logged for {} as {entry}, in place of {} of the same vial",
                clean(&self.water),
                listed(&old)
            ),
            Some(Added::Known(entry)) => format!(
                "logged for {} before, as {entry}; to log it anew, remove that first: tintwell log remove {entry}",
                clean(&self.water)
            ),
            None => "not logged: there is no reading to rely on".to_owned(),
        }
    }

    /// What became of all, for the end of a batch.
    pub(crate) fn summary(&self) -> String {
        let Tally {
            new,
            known,
            unreadable,
            left_out,
            failed,
        } = self.tally;
        let mut text = format!("logged for {}: {new} new", clean(&self.water));
        for (n, what) in [
            (known, "logged before"),
            (unreadable, "without a reading, not logged"),
            (left_out, "removed or moved before, not logged again"),
            (failed, "could not be logged"),
        ] {
            if n > 0 {
                text += &format!(", {n} {what}");
            }
        }
        text
    }

    /// Whether a reading could not be logged.
    pub(crate) fn has_failed(&self) -> bool {
        self.tally.failed > 0
    }
}

/// Entries by their names, with commas.
pub(crate) fn listed(entries: &[Entry]) -> String {
    let names: Vec<String> = entries.iter().map(Entry::to_string).collect();
    names.join(", ")
}
