//! The logbook as JSON, whole, and as CSV, readings and events in one table for a spreadsheet; and back.
//!
//! What is removed is not exported. Importing adds to what is there: a water of a known name is that water, and entries that are
//! there already are passed over, so that importing twice changes nothing. All of a file is imported, or nothing.

use std::collections::HashSet;

use serde::{Deserialize, Serialize};

use super::{Equipment, Event, Kind, Limit, Logbook, Reading, Water, of_word};
use crate::error::{Error, Result};

const FORMAT: &str = "tintwell-logbook";
const VERSION: u32 = 1;

/// A whole logbook, without the short names of its entries.
#[derive(Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Whole {
    format: String,
    version: u32,
    waters: Vec<Water>,
    equipment: Vec<Equipment>,
    readings: Vec<Reading>,
    events: Vec<Event>,
    limits: Vec<Limit>,
}

/// How many entries an import added.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Imported {
    pub waters: usize,
    pub equipment: usize,
    pub readings: usize,
    pub events: usize,
    pub limits: usize,
}

fn values<T>(entries: Vec<(super::Entry, T)>) -> impl Iterator<Item = T> {
    entries.into_iter().map(|(_, value)| value)
}

impl Whole {
    /// Waters with their readings and events.
    pub fn new(waters: Vec<Water>, readings: Vec<Reading>, events: Vec<Event>) -> Whole {
        Whole {
            format: FORMAT.into(),
            version: VERSION,
            waters,
            readings,
            events,
            ..Whole::default()
        }
    }

    /// All that is in a logbook.
    ///
    /// # Errors
    /// If it cannot be read.
    pub fn of(logbook: &Logbook) -> Result<Whole> {
        let mut whole = Whole {
            format: FORMAT.into(),
            version: VERSION,
            waters: values(logbook.waters()?).collect(),
            equipment: values(logbook.equipment()?).collect(),
            ..Whole::default()
        };
        for water in &whole.waters {
            whole
                .readings
                .extend(values(logbook.whole_readings(&water.name)?));
            whole.events.extend(values(logbook.events(&water.name)?));
            whole.limits.extend(logbook.limits(&water.name)?);
        }
        Ok(whole)
    }

    /// As JSON.
    pub fn json(&self) -> String {
        // Text and finite numbers cannot fail to serialise.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }

    /// From JSON.
    ///
    /// # Errors
    /// If it is not an exported logbook of this version.
    pub fn from_json(text: &str) -> Result<Whole> {
        let wrong = |what| Error::new(what, "give a file that `tintwell log export` wrote");
        let whole: Whole = serde_json::from_str(text)
            .map_err(|e| wrong(format!("this is not an exported logbook: {e}")))?;
        if whole.format != FORMAT || whole.version != VERSION {
            return Err(wrong(format!(
                "this is \"{}\" version {}, wanted is \"{FORMAT}\" version {VERSION}",
                whole.format, whole.version
            )));
        }
        Ok(whole)
    }

    /// Readings and events as CSV (RFC 4180), one a row.
    ///
    /// # Errors
    /// Never in practice: it is written to memory.
    pub fn csv(&self) -> Result<String> {
        let mut rows: Vec<(i64, Row)> = Vec::new();
        rows.extend(self.readings.iter().map(|r| (r.at.seconds(), Row::from(r))));
        rows.extend(self.events.iter().map(|e| (e.at.seconds(), Row::from(e))));
        rows.sort_by(|a, b| (&a.1.water, a.0).cmp(&(&b.1.water, b.0)));
        let mut writer = csv::Writer::from_writer(Vec::new());
        for (_, row) in rows {
            writer.serialize(row).map_err(|e| unwritable(&e))?;
        }
        let bytes = writer.into_inner().map_err(|e| unwritable(&e))?;
        String::from_utf8(bytes).map_err(|e| unwritable(&e))
    }

    /// From CSV. Columns that are not there are unknown; `kind`, `water` and `at` have to be.
    ///
    /// # Errors
    /// If a row is neither a reading nor an event; the error gives its line.
    pub fn from_csv(text: &str) -> Result<Whole> {
        let mut whole = Whole::default();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        for (i, row) in reader.deserialize::<Row>().enumerate() {
            let wrong = |what: String| {
                Error::new(
                    format!("line {}: {what}", i + 2),
                    "see `tintwell log export --help` for the columns",
                )
            };
            let row = row.map_err(|e| wrong(e.to_string()))?;
            if !whole.waters.iter().any(|w| w.name == row.water) {
                whole.waters.push(Water {
                    name: row.water.clone(),
                    volume_l: None,
                    medium: None,
                    lives: String::new(),
                    invertebrates: false,
                });
            }
            if let Some(name) = row.equipment.as_ref()
                && !whole.equipment.iter().any(|e| e.name == *name)
            {
                whole.equipment.push(Equipment {
                    name: name.clone(),
                    note: String::new(),
                });
            }
            if row.kind == READING {
                whole.readings.push(row.reading().map_err(wrong)?);
            } else {
                whole.events.push(row.event().map_err(wrong)?);
            }
        }
        Ok(whole)
    }

    /// Adds all of it that is not there yet.
    ///
    /// # Errors
    /// If the logbook cannot be written, or an entry cannot be one.
    pub fn import(self, logbook: &mut Logbook) -> Result<Imported> {
        let there = Whole::of(logbook)?;
        let lower = |names: Vec<&String>| -> HashSet<String> {
            names.into_iter().map(|n| n.to_lowercase()).collect()
        };
        let waters = lower(there.waters.iter().map(|w| &w.name).collect());
        let things = lower(there.equipment.iter().map(|e| &e.name).collect());
        let seen: HashSet<String> = there
            .readings
            .iter()
            .map(key_of_reading)
            .chain(there.events.iter().map(key))
            .collect();
        let new = Whole {
            waters: self
                .waters
                .into_iter()
                .filter(|w| !waters.contains(&w.name.to_lowercase()))
                .collect(),
            equipment: self
                .equipment
                .into_iter()
                .filter(|e| !things.contains(&e.name.to_lowercase()))
                .collect(),
            readings: self
                .readings
                .into_iter()
                .filter(|r| !seen.contains(&key_of_reading(r)))
                .collect(),
            events: self
                .events
                .into_iter()
                .filter(|e| !seen.contains(&key(e)))
                .collect(),
            limits: self
                .limits
                .into_iter()
                .filter(|l| !there.limits.contains(l))
                .collect(),
            ..Whole::default()
        };
        logbook.add_all(
            &new.waters,
            &new.equipment,
            &new.readings,
            &new.events,
            &new.limits,
        )?;
        Ok(Imported {
            waters: new.waters.len(),
            equipment: new.equipment.len(),
            readings: new.readings.len(),
            events: new.events.len(),
            limits: new.limits.len(),
        })
    }
}

fn unwritable(e: &impl std::fmt::Display) -> Error {
    Error::new(format!("the table cannot be written: {e}"), "use JSON")
}

/// What an entry is known again by.
fn key(entry: &impl Serialize) -> String {
    serde_json::to_string(entry).unwrap_or_default()
}

/// The same of a reading, whatever is kept beside it.
fn key_of_reading(r: &Reading) -> String {
    key(&Reading {
        record: None,
        picture: None,
        ..r.clone()
    })
}

/// The kind of a row that is a reading.
const READING: &str = "reading";

/// A row of the table. Unknown is an empty cell.
#[derive(Default, Serialize, Deserialize)]
struct Row {
    kind: String,
    water: String,
    at: String,
    #[serde(default)]
    test: Option<String>,
    #[serde(default)]
    unit: Option<String>,
    #[serde(default)]
    answer: Option<String>,
    #[serde(default)]
    value: Option<f64>,
    #[serde(default)]
    low: Option<f64>,
    #[serde(default)]
    high: Option<f64>,
    #[serde(default)]
    source: Option<String>,
    #[serde(default)]
    verdict: Option<String>,
    #[serde(default)]
    photo: Option<String>,
    #[serde(default)]
    sha256: Option<String>,
    #[serde(default)]
    chart_sha256: Option<String>,
    #[serde(default)]
    dilution_factor: Option<f64>,
    #[serde(default)]
    percent: Option<f64>,
    #[serde(default)]
    amount: Option<f64>,
    #[serde(default)]
    substance: Option<String>,
    #[serde(default)]
    medicine: Option<bool>,
    #[serde(default)]
    equipment: Option<String>,
    #[serde(default)]
    note: Option<String>,
}

impl From<&Reading> for Row {
    fn from(r: &Reading) -> Row {
        let (answer, value, low, high) = match r.answer {
            super::Amount::Value { value, low, high } => {
                ("value", Some(value), Some(low), Some(high))
            }
            super::Amount::Below { high } => ("below", None, None, Some(high)),
            super::Amount::Above { low } => ("above", None, Some(low), None),
        };
        Row {
            kind: READING.into(),
            water: r.water.clone(),
            at: r.at.to_string(),
            test: Some(r.test.clone()),
            unit: Some(r.unit.clone()),
            answer: Some(answer.into()),
            value,
            low,
            high,
            source: Some(super::word(&r.source)),
            verdict: Some(r.verdict.word().into()),
            photo: r.photo.clone(),
            sha256: r.sha256.clone(),
            chart_sha256: r.chart_sha256.clone(),
            dilution_factor: r.dilution_factor,
            note: Some(r.note.clone()),
            ..Row::default()
        }
    }
}

impl From<&Event> for Row {
    fn from(e: &Event) -> Row {
        Row {
            kind: e.kind.word(),
            water: e.water.clone(),
            at: e.at.to_string(),
            unit: e.unit.clone(),
            percent: e.percent,
            amount: e.amount,
            substance: e.substance.clone(),
            medicine: Some(e.medicine),
            equipment: e.equipment.clone(),
            note: Some(e.note.clone()),
            ..Row::default()
        }
    }
}

impl Row {
    fn reading(self) -> std::result::Result<Reading, String> {
        use super::Amount;
        let answer = match (self.answer.as_deref(), self.value, self.low, self.high) {
            (None | Some("value"), Some(value), Some(low), Some(high)) => {
                Amount::Value { value, low, high }
            }
            (Some("below"), _, _, Some(high)) => Amount::Below { high },
            (Some("above"), _, Some(low), _) => Amount::Above { low },
            _ => {
                return Err(
                    "a reading is a value with low and high, or below high, or above low".into(),
                );
            }
        };
        let word = |text: &Option<String>, what: &str| {
            text.clone()
                .ok_or_else(|| format!("a reading has a {what}"))
        };
        Ok(Reading {
            test: word(&self.test, "test")?,
            unit: word(&self.unit, "unit")?,
            at: self.at.parse()?,
            answer,
            source: match &self.source {
                None => super::Source::Other,
                Some(s) => of_word(s).ok_or_else(|| format!("\"{s}\" is no source"))?,
            },
            verdict: match &self.verdict {
                None => crate::flag::Verdict::Trusted,
                Some(v) => crate::flag::Verdict::from_word(v)
                    .ok_or_else(|| format!("\"{v}\" is no verdict"))?,
            },
            water: self.water,
            photo: self.photo,
            sha256: self.sha256,
            chart_sha256: self.chart_sha256,
            dilution_factor: self.dilution_factor,
            note: self.note.unwrap_or_default(),
            record: None,
            picture: None,
        })
    }

    fn event(self) -> std::result::Result<Event, String> {
        let kind: Kind = of_word(&self.kind)
            .ok_or_else(|| format!("\"{}\" is neither a reading nor an event", self.kind))?;
        Ok(Event {
            kind,
            at: self.at.parse()?,
            water: self.water,
            percent: self.percent,
            amount: self.amount,
            unit: self.unit,
            substance: self.substance,
            medicine: self.medicine.unwrap_or(false),
            equipment: self.equipment,
            note: self.note.unwrap_or_default(),
        })
    }
}
