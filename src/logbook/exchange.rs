//! The logbook as JSON, whole, and as CSV, readings and events in one table for a spreadsheet; and back.
//!
//! What is removed is not exported. What an entry is known by in every logbook (`uid`) goes with it.

use std::collections::{HashMap, HashSet};

use serde::{Deserialize, Serialize};

use super::entry::Table;
use super::write::folded;
use super::{Entry, Equipment, Event, Kind, Limit, Logbook, Reading, Water, of_word, table};
use crate::error::{Error, Result};

pub use super::import::Imported;

const FORMAT: &str = "tintwell-logbook";
const VERSION: u32 = 1;

/// A whole logbook, without the short names of its entries.
#[derive(Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Whole {
    format: String,
    version: u32,
    pub(super) waters: Vec<Kept<Water>>,
    pub(super) equipment: Vec<Kept<Equipment>>,
    pub(super) readings: Vec<Kept<Reading>>,
    pub(super) events: Vec<Kept<Event>>,
    pub(super) limits: Vec<Limit>,
    /// It is a table without the column that tells where invertebrates live.
    #[serde(skip)]
    silent: bool,
}

/// An entry in a file.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Kept<T> {
    /// What it is known by in every logbook.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub uid: Option<String>,
    #[serde(flatten)]
    pub value: T,
    /// Its line in a table, from 1.
    #[serde(skip)]
    pub line: Option<u64>,
}

impl<T> Kept<T> {
    pub fn new(value: T) -> Kept<T> {
        Kept {
            uid: None,
            value,
            line: None,
        }
    }
}

/// Entries with what they are known by.
fn kept<T>(entries: Vec<(Entry, T)>, uids: &HashMap<i64, String>) -> impl Iterator<Item = Kept<T>> {
    entries.into_iter().map(|(entry, value)| Kept {
        uid: uids.get(&entry.id).cloned(),
        ..Kept::new(value)
    })
}

impl Whole {
    /// Waters with their readings and events.
    pub fn new(waters: Vec<Water>, readings: Vec<Reading>, events: Vec<Event>) -> Whole {
        Whole {
            format: FORMAT.into(),
            version: VERSION,
            waters: waters.into_iter().map(Kept::new).collect(),
            readings: readings.into_iter().map(Kept::new).collect(),
            events: events.into_iter().map(Kept::new).collect(),
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
            waters: kept(logbook.waters()?, &logbook.uids(Table::Water)?).collect(),
            equipment: kept(logbook.equipment()?, &logbook.uids(Table::Equipment)?).collect(),
            ..Whole::default()
        };
        let (readings, events) = (logbook.uids(Table::Reading)?, logbook.uids(Table::Event)?);
        for water in &whole.waters {
            let name = &water.value.name;
            whole
                .readings
                .extend(kept(logbook.whole_readings(name)?, &readings));
            whole.events.extend(kept(logbook.events(name)?, &events));
            whole.limits.extend(logbook.limits(name)?);
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

    /// Readings and events as CSV (RFC 4180), one a row, with whether invertebrates live in their water: what guards these against
    /// copper is not to be lost on the way.
    ///
    /// # Errors
    /// Never in practice: it is written to memory.
    pub fn csv(&self) -> Result<String> {
        let mut rows: Vec<(i64, Row)> = Vec::new();
        let with_invertebrates: HashSet<String> = self
            .waters
            .iter()
            .filter(|w| w.value.invertebrates)
            .map(|w| folded(&w.value.name))
            .collect();
        let whole = |row: Row, uid: &Option<String>| Row {
            uid: uid.clone(),
            invertebrates: Some(with_invertebrates.contains(&folded(&row.water)).to_string()),
            ..row
        };
        rows.extend(self.readings.iter().map(|r| {
            let row = whole(Row::from(&r.value), &r.uid);
            (r.value.at.seconds(), row)
        }));
        rows.extend(self.events.iter().map(|e| {
            let row = whole(Row::from(&e.value), &e.uid);
            (e.value.at.seconds(), row)
        }));
        rows.sort_by(|a, b| (&a.1.water, a.0).cmp(&(&b.1.water, b.0)));
        let mut writer = csv::Writer::from_writer(Vec::new());
        for (_, row) in rows {
            writer.serialize(row).map_err(|e| unwritable(&e))?;
        }
        let bytes = writer.into_inner().map_err(|e| unwritable(&e))?;
        String::from_utf8(bytes).map_err(|e| unwritable(&e))
    }

    /// Whether it says, of waters that are new to a logbook, if invertebrates live there.
    pub fn tells_of_invertebrates(&self) -> bool {
        !self.silent
    }

    /// From CSV. Columns that are not there are unknown; `kind`, `water` and `at` have to be.
    ///
    /// # Errors
    /// If the file has no such rows, or a row is neither a reading nor an event; the error gives line and column.
    pub fn from_csv(text: &str) -> Result<Whole> {
        // A spreadsheet may begin with a mark of the byte order.
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let head = reader.headers().map_err(|e| table::unreadable(&e))?.clone();
        table::headed(&head)?;
        let mut whole = Whole {
            silent: !head.iter().any(|h| h == "invertebrates"),
            ..Whole::default()
        };
        let mut waters: HashMap<String, usize> = HashMap::new();
        let mut things = HashSet::new();
        for record in reader.records() {
            let record = record.map_err(|e| table::unreadable(&e))?;
            let at = record.position().map_or(1, csv::Position::line);
            let wrong = |what: String| table::wrong(at, &what);
            let mut row: Row = record
                .deserialize(Some(&head))
                .map_err(|e| wrong(table::cell(&e, &head, &record)))?;
            let (uid, line) = (row.uid.take(), Some(at));
            let lives =
                table::truth(row.invertebrates.as_deref(), "invertebrates").map_err(wrong)?;
            let water = *waters.entry(folded(&row.water)).or_insert_with(|| {
                let value = Water {
                    name: row.water.clone(),
                    volume_l: None,
                    medium: None,
                    lives: String::new(),
                    invertebrates: false,
                };
                let uid = None;
                whole.waters.push(Kept { uid, value, line });
                whole.waters.len() - 1
            });
            whole.waters[water].value.invertebrates |= lives == Some(true);
            if let Some(name) = &row.equipment
                && things.insert(folded(name))
            {
                let value = Equipment {
                    name: name.clone(),
                    note: String::new(),
                };
                let uid = None;
                whole.equipment.push(Kept { uid, value, line });
            }
            if row.kind == READING {
                let value = row.reading().map_err(wrong)?;
                whole.readings.push(Kept { uid, value, line });
            } else {
                let value = row.event().map_err(wrong)?;
                whole.events.push(Kept { uid, value, line });
            }
        }
        if whole.readings.is_empty() && whole.events.is_empty() {
            return Err(table::nothing());
        }
        Ok(whole)
    }
}

fn unwritable(e: &impl std::fmt::Display) -> Error {
    Error::new(format!("the table cannot be written: {e}"), "use JSON")
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
    medicine: Option<String>,
    #[serde(default)]
    equipment: Option<String>,
    #[serde(default)]
    note: Option<String>,
    /// Whether invertebrates live in the water.
    #[serde(default)]
    invertebrates: Option<String>,
    #[serde(default)]
    uid: Option<String>,
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
            medicine: Some(e.medicine.to_string()),
            equipment: e.equipment.clone(),
            note: Some(e.note.clone()),
            ..Row::default()
        }
    }
}

fn at(told: &str) -> std::result::Result<super::Moment, String> {
    told.parse().map_err(|e| format!("at: {e}"))
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
            // pH has none.
            unit: self.unit.unwrap_or_default(),
            at: at(&self.at)?,
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
            at: at(&self.at)?,
            water: self.water,
            percent: self.percent,
            amount: self.amount,
            unit: self.unit,
            substance: self.substance,
            medicine: table::truth(self.medicine.as_deref(), "medicine")?.unwrap_or(false),
            equipment: self.equipment,
            note: self.note.unwrap_or_default(),
        })
    }
}
