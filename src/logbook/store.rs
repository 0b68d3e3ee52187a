//! Reading and writing the file.

use std::fmt;
use std::path::Path;
use std::str::FromStr;
use std::time::Duration;

use rusqlite::types::Value;
use rusqlite::{
    Connection, ErrorCode, OpenFlags, OptionalExtension, Row, Transaction, TransactionBehavior,
    params, params_from_iter,
};

use super::{Amount, Equipment, Event, Limit, Moment, Reading, Water, of_word, schema, word};
use crate::error::{Error, Result};

/// What a logbook is opened for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// It has to be there.
    Read,
    /// It is made if it is not there.
    Write,
}

/// How long another writer is waited for: its transactions take a few milliseconds.
const PATIENCE: Duration = Duration::from_secs(3);

/// The short name of an entry in one file: `w1` a water, `r12` a reading, `e3` an event, `q2` equipment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Entry {
    table: Table,
    id: i64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
enum Table {
    Water,
    Reading,
    Event,
    Equipment,
}

impl Table {
    const ALL: [(Table, char, &'static str); 4] = [
        (Table::Water, 'w', "water"),
        (Table::Reading, 'r', "reading"),
        (Table::Event, 'e', "event"),
        (Table::Equipment, 'q', "equipment"),
    ];

    fn letter(self) -> char {
        Table::ALL[self as usize].1
    }

    fn name(self) -> &'static str {
        Table::ALL[self as usize].2
    }
}

impl Entry {
    fn new(table: Table, id: i64) -> Entry {
        Entry { table, id }
    }

    /// What it is: `water`, `reading`, `event` or `equipment`.
    pub fn what(self) -> &'static str {
        self.table.name()
    }
}

impl fmt::Display for Entry {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "{}{}", self.table.letter(), self.id)
    }
}

impl FromStr for Entry {
    type Err = String;

    fn from_str(text: &str) -> std::result::Result<Entry, String> {
        let mut letters = text.chars();
        let letter = letters.next();
        Table::ALL
            .iter()
            .find(|(_, l, _)| Some(*l) == letter)
            .and_then(|(table, ..)| Some(Entry::new(*table, letters.as_str().parse().ok()?)))
            .ok_or_else(|| {
                "entries are named as `tintwell log show` names them, such as r12 or e3".to_owned()
            })
    }
}

/// What became of a reading that was to be logged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Added {
    /// It is a new entry.
    New(Entry),
    /// The same photo, read with the same chart, is in this water's log already.
    Known(Entry),
}

/// An open logbook.
pub struct Logbook {
    file: Connection,
    shown: String,
}

impl Logbook {
    /// Opens a logbook; `shown` is its name fit for showing.
    ///
    /// # Errors
    /// If it is not there, not a logbook, of a later version, or cannot be written.
    pub fn open(path: &Path, shown: &str, access: Access) -> Result<Logbook> {
        let there = path.exists();
        if !there && access == Access::Read {
            return Err(Error::new(
                "there is no logbook yet",
                "begin one with `tintwell log add water NAME`, or say where it is with --logbook",
            )
            .about(shown));
        }
        if there && !path.is_file() {
            return Err(
                Error::new("this is not a file", "give the name of a logbook").about(shown),
            );
        }
        let mut flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        if access == Access::Write {
            flags |= OpenFlags::SQLITE_OPEN_CREATE;
        }
        let failed = |e| failed(&e, shown);
        let file = Connection::open_with_flags(path, flags).map_err(failed)?;
        file.busy_timeout(PATIENCE).map_err(failed)?;
        let mut logbook = Logbook {
            file,
            shown: shown.to_owned(),
        };
        logbook.prepare(access).map_err(failed)??;
        Ok(logbook)
    }

    fn prepare(&mut self, access: Access) -> rusqlite::Result<Result<()>> {
        self.file.pragma_update(None, "foreign_keys", true)?;
        let wrong =
            |what: String, fix: &str| Ok(Err(Error::new(what, fix).about(self.shown.clone())));
        let version = schema::version(&self.file)?;
        let application: i32 = self
            .file
            .pragma_query_value(None, "application_id", |row| row.get(0))?;
        let empty: bool =
            self.file
                .query_row("SELECT count(*) = 0 FROM sqlite_schema", [], |r| r.get(0))?;
        if !empty && application != schema::APPLICATION {
            return wrong(
                "this is a database of something else, not a logbook".into(),
                "give another name",
            );
        }
        if version > schema::VERSION {
            return wrong(
                format!(
                    "this logbook is of version {version}, and this program knows up to {}",
                    schema::VERSION
                ),
                "use a newer version of the program",
            );
        }
        if access == Access::Write || version < schema::VERSION {
            self.file.pragma_update(None, "journal_mode", "WAL")?;
            self.file.pragma_update(None, "synchronous", "FULL")?;
        }
        if version < schema::VERSION {
            let change = self
                .file
                .transaction_with_behavior(TransactionBehavior::Immediate)?;
            schema::migrate(&change)?;
            change.commit()?;
        }
        Ok(Ok(()))
    }

    fn failed(&self, e: &rusqlite::Error) -> Error {
        failed(e, &self.shown)
    }

    /// One change, all of it or nothing.
    fn change<T>(
        &mut self,
        work: impl FnOnce(&Transaction) -> std::result::Result<T, Fault>,
    ) -> Result<T> {
        let shown = self.shown.clone();
        let done = || {
            let change = self
                .file
                .transaction_with_behavior(TransactionBehavior::Immediate)?;
            let done = work(&change)?;
            change.commit()?;
            Ok(done)
        };
        (done)().map_err(|fault| match fault {
            Fault::Store(e) => failed(&e, &shown),
            Fault::Clear(e) => e.about(shown),
        })
    }

    /// Adds a water.
    ///
    /// # Errors
    /// If its name is empty or taken, or its volume is no volume.
    pub fn add_water(&mut self, water: &Water) -> Result<Entry> {
        self.change(|c| {
            named(&water.name)?;
            if water.volume_l.is_some_and(|v| !(v > 0.0 && v < 1e12)) {
                return Err(clear(
                    "a volume is more than nothing",
                    "give it in litres, such as 400",
                ));
            }
            free(c, "water", &water.name)?;
            insert_water(c, water)
        })
    }

    /// Adds equipment.
    ///
    /// # Errors
    /// If its name is empty or taken.
    pub fn add_equipment(&mut self, equipment: &Equipment) -> Result<Entry> {
        self.change(|c| {
            named(&equipment.name)?;
            free(c, "equipment", &equipment.name)?;
            insert_equipment(c, equipment)
        })
    }

    /// Adds a reading, unless the same photo was logged for the same water with the same chart.
    ///
    /// # Errors
    /// If the water is not known, or a number is none.
    pub fn add_reading(&mut self, reading: &Reading) -> Result<Added> {
        self.change(|c| {
            let water = water_id(c, &reading.water)?;
            if let Some(sha256) = &reading.sha256 {
                let known = c
                    .query_row(
                        "SELECT id FROM reading WHERE sha256 = ?1 AND water = ?2 AND chart_sha256 IS ?3
                         AND removed IS NULL",
                        params![sha256, water, reading.chart_sha256],
                        |row| row.get(0),
                    )
                    .optional()?;
                if let Some(id) = known {
                    return Ok(Added::Known(Entry::new(Table::Reading, id)));
                }
            }
            Ok(Added::New(insert_reading(c, water, reading)?))
        })
    }

    /// Adds an event.
    ///
    /// # Errors
    /// If water or equipment is not known, or a number is none.
    pub fn add_event(&mut self, event: &Event) -> Result<Entry> {
        self.change(|c| insert_event(c, event))
    }

    /// Adds all of them, or none.
    ///
    /// # Errors
    /// As for single entries.
    pub(super) fn add_all(
        &mut self,
        waters: &[Water],
        equipment: &[Equipment],
        readings: &[Reading],
        events: &[Event],
        limits: &[Limit],
    ) -> Result<()> {
        self.change(|c| {
            for water in waters {
                named(&water.name)?;
                insert_water(c, water)?;
            }
            for equipment in equipment {
                named(&equipment.name)?;
                insert_equipment(c, equipment)?;
            }
            for reading in readings {
                insert_reading(c, water_id(c, &reading.water)?, reading)?;
            }
            for event in events {
                insert_event(c, event)?;
            }
            for limit in limits {
                write_limit(c, limit)?;
            }
            Ok(())
        })
    }

    /// Sets the bounds of a test in a water; without any bound they are taken away.
    ///
    /// # Errors
    /// If the water is not known or the lower bound is above the upper one.
    pub fn set_limit(&mut self, limit: &Limit) -> Result<()> {
        self.change(|c| write_limit(c, limit))
    }

    /// Leaves an entry out from now on; it stays in the file.
    ///
    /// # Errors
    /// If there is no such entry, or a water still has entries.
    pub fn remove(&mut self, entry: Entry, now: &Moment) -> Result<()> {
        self.change(|c| {
            keep(c, entry, now)?;
            let table = entry.table.name();
            c.execute(
                &format!("UPDATE {table} SET removed = ?1 WHERE id = ?2"),
                params![now.to_string(), entry.id],
            )?;
            Ok(())
        })
    }

    /// Changes fields of an entry; what was there is kept.
    ///
    /// # Errors
    /// If there is no such entry, it has no such field, or a photo's answer would be changed.
    pub fn edit(&mut self, entry: Entry, fields: &[Field], now: &Moment) -> Result<()> {
        self.change(|c| {
            keep(c, entry, now)?;
            let table = entry.table.name();
            for field in fields {
                let mut set: Vec<(&str, Value)> = Vec::new();
                match (entry.table, field) {
                    (Table::Reading | Table::Event | Table::Equipment, Field::Note(note)) => {
                        set.push(("note", note.clone().into()));
                    }
                    (Table::Water, Field::Note(note)) => set.push(("lives", note.clone().into())),
                    (Table::Reading | Table::Event, Field::At(at)) => {
                        set.push(("at", at.to_string().into()));
                        set.push(("seconds", at.seconds().into()));
                    }
                    (Table::Reading | Table::Event, Field::Water(name)) => {
                        set.push(("water", water_id(c, name)?.into()));
                    }
                    (Table::Water | Table::Equipment, Field::Name(name)) => {
                        named(name)?;
                        free(c, table, name)?;
                        set.push(("name", name.clone().into()));
                    }
                    (Table::Water, Field::Volume(litres)) => {
                        set.push(("volume_l", (*litres).into()));
                    }
                    (_, field) => {
                        return Err(clear(
                            format!("{} {entry} has no {}", entry.what(), field.name()),
                            "remove it and add it anew, if it is wrong",
                        ));
                    }
                }
                for (column, value) in set {
                    c.execute(
                        &format!("UPDATE {table} SET {column} = ?1 WHERE id = ?2"),
                        params![value, entry.id],
                    )?;
                }
            }
            Ok(())
        })
    }

    /// All waters, in the order of their names.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn waters(&self) -> Result<Vec<(Entry, Water)>> {
        self.all(
            "SELECT id, name, volume_l, medium, lives, invertebrates FROM water
             WHERE removed IS NULL ORDER BY name COLLATE NOCASE",
            &[],
            |row| {
                Ok((
                    Entry::new(Table::Water, row.get(0)?),
                    Water {
                        name: row.get(1)?,
                        volume_l: row.get(2)?,
                        medium: row.get::<_, Option<String>>(3)?.and_then(|m| of_word(&m)),
                        lives: row.get(4)?,
                        invertebrates: row.get(5)?,
                    },
                ))
            },
        )
    }

    /// One water by its name.
    ///
    /// # Errors
    /// If there is none of that name; the error names those that there are.
    pub fn water(&self, name: &str) -> Result<Water> {
        let waters = self.waters()?;
        let found = waters
            .iter()
            .find(|(_, w)| w.name.to_lowercase() == name.to_lowercase());
        found.map(|(_, w)| w.clone()).ok_or_else(|| {
            let names: Vec<&str> = waters.iter().map(|(_, w)| w.name.as_str()).collect();
            no_water(name, &names).about(self.shown.clone())
        })
    }

    /// The readings of a water in the order of their times, of one test or of all. Without the records of the program.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn readings(&self, water: &str, test: Option<&str>) -> Result<Vec<(Entry, Reading)>> {
        let water = self.water(water)?.name;
        self.all(
            "SELECT r.id, r.test, r.unit, r.at, r.answer, r.value, r.low, r.high, r.source, r.verdict, r.photo, r.sha256,
                    r.chart_sha256, r.dilution_factor, r.note, NULL
             FROM reading r
             WHERE r.water = (SELECT id FROM water WHERE name = ?1 AND removed IS NULL)
               AND (?2 IS NULL OR r.test = ?2) AND r.removed IS NULL
             ORDER BY r.seconds, r.id",
            &[&water as &dyn rusqlite::ToSql, &test],
            |row| reading(row, &water),
        )
    }

    /// The same with the records of the program.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn whole_readings(&self, water: &str) -> Result<Vec<(Entry, Reading)>> {
        let water = self.water(water)?.name;
        self.all(
            "SELECT r.id, r.test, r.unit, r.at, r.answer, r.value, r.low, r.high, r.source, r.verdict, r.photo, r.sha256,
                    r.chart_sha256, r.dilution_factor, r.note, record.json
             FROM reading r LEFT JOIN record ON record.reading = r.id
             WHERE r.water = (SELECT id FROM water WHERE name = ?1 AND removed IS NULL) AND r.removed IS NULL
             ORDER BY r.seconds, r.id",
            &[&water as &dyn rusqlite::ToSql],
            |row| reading(row, &water),
        )
    }

    /// The events of a water in the order of their times.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn events(&self, water: &str) -> Result<Vec<(Entry, Event)>> {
        let water = self.water(water)?.name;
        self.all(
            "SELECT e.id, e.kind, e.at, e.percent, e.amount, e.unit, e.substance, e.medicine, equipment.name, e.note
             FROM event e LEFT JOIN equipment ON equipment.id = e.equipment
             WHERE e.water = (SELECT id FROM water WHERE name = ?1 AND removed IS NULL) AND e.removed IS NULL
             ORDER BY e.seconds, e.id",
            &[&water as &dyn rusqlite::ToSql],
            |row| {
                Ok((
                    Entry::new(Table::Event, row.get(0)?),
                    Event {
                        water: water.clone(),
                        kind: plain(row, 1)?,
                        at: moment(row, 2)?,
                        percent: row.get(3)?,
                        amount: row.get(4)?,
                        unit: row.get(5)?,
                        substance: row.get(6)?,
                        medicine: row.get(7)?,
                        equipment: row.get(8)?,
                        note: row.get(9)?,
                    },
                ))
            },
        )
    }

    /// The bounds of a water.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn limits(&self, water: &str) -> Result<Vec<Limit>> {
        let water = self.water(water)?.name;
        self.all(
            "SELECT test, unit, low, high FROM bound
             WHERE water = (SELECT id FROM water WHERE name = ?1 AND removed IS NULL) ORDER BY test",
            &[&water as &dyn rusqlite::ToSql],
            |row| {
                Ok(Limit {
                    water: water.clone(),
                    test: row.get(0)?,
                    unit: row.get(1)?,
                    low: row.get(2)?,
                    high: row.get(3)?,
                })
            },
        )
    }

    /// All equipment, in the order of the names.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn equipment(&self) -> Result<Vec<(Entry, Equipment)>> {
        self.all(
            "SELECT id, name, note FROM equipment WHERE removed IS NULL ORDER BY name COLLATE NOCASE",
            &[],
            |row| {
                Ok((
                    Entry::new(Table::Equipment, row.get(0)?),
                    Equipment {
                        name: row.get(1)?,
                        note: row.get(2)?,
                    },
                ))
            },
        )
    }

    /// What was there before edits and removals: when it was changed, the entry's name, and its fields as JSON.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn changes(&self) -> Result<Vec<(String, String, String)>> {
        self.all(
            "SELECT at, entry, before FROM change ORDER BY id",
            &[],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )
    }

    fn all<T>(
        &self,
        sql: &str,
        values: &[&dyn rusqlite::ToSql],
        of: impl Fn(&Row) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>> {
        let rows = || {
            let mut query = self.file.prepare_cached(sql)?;
            query
                .query_map(params_from_iter(values), |row| of(row))?
                .collect::<rusqlite::Result<Vec<T>>>()
        };
        rows().map_err(|e| self.failed(&e))
    }
}

/// A field that can be edited.
#[derive(Debug, Clone, PartialEq)]
pub enum Field {
    /// The note; of a water what lives there.
    Note(String),
    At(Moment),
    /// Moves the entry to another water.
    Water(String),
    Name(String),
    /// Litres.
    Volume(f64),
}

impl Field {
    fn name(&self) -> &'static str {
        match self {
            Field::Note(_) => "note",
            Field::At(_) => "time",
            Field::Water(_) => "water to belong to",
            Field::Name(_) => "name",
            Field::Volume(_) => "volume",
        }
    }
}

/// Why a change did not come about.
enum Fault {
    Store(rusqlite::Error),
    Clear(Error),
}

impl From<rusqlite::Error> for Fault {
    fn from(e: rusqlite::Error) -> Fault {
        Fault::Store(e)
    }
}

impl From<Error> for Fault {
    fn from(e: Error) -> Fault {
        Fault::Clear(e)
    }
}

fn clear(what: impl Into<String>, fix: &str) -> Fault {
    Fault::Clear(Error::new(what, fix))
}

fn failed(e: &rusqlite::Error, shown: &str) -> Error {
    let code = e.sqlite_error_code();
    let (what, fix) = match code {
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => (
            "another program is writing to this logbook".to_owned(),
            "wait until it is done, and try again",
        ),
        Some(ErrorCode::NotADatabase | ErrorCode::DatabaseCorrupt) => (
            "this is not a logbook, or it is damaged".to_owned(),
            "give the logbook's name, or take its last copy",
        ),
        Some(ErrorCode::DiskFull) => (
            "the disk is full; nothing of this change was kept".to_owned(),
            "make room and try again",
        ),
        Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => (
            "the logbook cannot be opened for writing".to_owned(),
            "check that its folder exists and may be written to",
        ),
        _ => (
            format!("the logbook cannot be used: {e}"),
            "check the disk, or take the logbook's last copy",
        ),
    };
    Error::new(what, fix).about(shown)
}

fn named(name: &str) -> std::result::Result<(), Fault> {
    let fits = !name.trim().is_empty() && name.len() <= 200 && !name.chars().any(char::is_control);
    if fits {
        return Ok(());
    }
    Err(clear(
        "a name is 1 to 200 bytes of text on one line",
        "give another name",
    ))
}

fn free(c: &Connection, table: &str, name: &str) -> std::result::Result<(), Fault> {
    let taken: bool = c.query_row(
        &format!(
            "SELECT count(*) > 0 FROM {table} WHERE name = ?1 COLLATE NOCASE AND removed IS NULL"
        ),
        [name],
        |row| row.get(0),
    )?;
    if taken {
        return Err(clear(
            format!("there is a {table} of the name \"{name}\" already"),
            "give another name",
        ));
    }
    Ok(())
}

fn no_water(name: &str, names: &[&str]) -> Error {
    let what = format!("there is no water \"{name}\" in the logbook");
    if names.is_empty() {
        Error::new(
            what,
            format!("add it with `tintwell log add water \"{name}\"`"),
        )
    } else {
        Error::new(
            what,
            format!(
                "choose one of: {}; or add it with `tintwell log add water`",
                names.join(", ")
            ),
        )
    }
}

fn water_id(c: &Connection, name: &str) -> std::result::Result<i64, Fault> {
    let id = c
        .query_row(
            "SELECT id FROM water WHERE name = ?1 COLLATE NOCASE AND removed IS NULL",
            [name],
            |row| row.get(0),
        )
        .optional()?;
    if let Some(id) = id {
        return Ok(id);
    }
    let mut names = c.prepare("SELECT name FROM water WHERE removed IS NULL ORDER BY name")?;
    let names = names
        .query_map([], |row| row.get(0))?
        .collect::<rusqlite::Result<Vec<String>>>()?;
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    Err(no_water(name, &names).into())
}

/// No number of an entry is unknown by accident.
fn finite(numbers: &[Option<f64>]) -> std::result::Result<(), Fault> {
    if numbers.iter().flatten().all(|v| v.is_finite()) {
        return Ok(());
    }
    Err(clear(
        "a number is infinite or none",
        "give ordinary numbers",
    ))
}

fn insert_water(c: &Connection, water: &Water) -> std::result::Result<Entry, Fault> {
    finite(&[water.volume_l])?;
    c.execute(
        "INSERT INTO water (name, volume_l, medium, lives, invertebrates) VALUES (?1, ?2, ?3, ?4, ?5)",
        params![
            water.name,
            water.volume_l,
            water.medium.map(|m| word(&m)),
            water.lives,
            water.invertebrates
        ],
    )?;
    Ok(Entry::new(Table::Water, c.last_insert_rowid()))
}

fn insert_equipment(c: &Connection, equipment: &Equipment) -> std::result::Result<Entry, Fault> {
    c.execute(
        "INSERT INTO equipment (name, note) VALUES (?1, ?2)",
        params![equipment.name, equipment.note],
    )?;
    Ok(Entry::new(Table::Equipment, c.last_insert_rowid()))
}

fn insert_reading(
    c: &Connection,
    water: i64,
    reading: &Reading,
) -> std::result::Result<Entry, Fault> {
    let (answer, value, low, high) = match reading.answer {
        Amount::Value { value, low, high } => ("value", Some(value), Some(low), Some(high)),
        Amount::Below { high } => ("below", None, None, Some(high)),
        Amount::Above { low } => ("above", None, Some(low), None),
    };
    finite(&[value, low, high, reading.dilution_factor])?;
    if let Amount::Value { value, low, high } = reading.answer
        && !(low <= value && value <= high)
    {
        return Err(clear(
            format!("the value {value} does not lie in its interval {low} to {high}"),
            "give an interval around the value",
        ));
    }
    c.prepare_cached(
        "INSERT INTO reading (water, test, unit, seconds, at, answer, value, low, high, source, verdict, photo, sha256,
                              chart_sha256, dilution_factor, note)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16)",
    )?
    .execute(params![
        water,
        reading.test,
        reading.unit,
        reading.at.seconds(),
        reading.at.to_string(),
        answer,
        value,
        low,
        high,
        word(&reading.source),
        reading.verdict.word(),
        reading.photo,
        reading.sha256,
        reading.chart_sha256,
        reading.dilution_factor,
        reading.note,
    ])?;
    let id = c.last_insert_rowid();
    if let Some(record) = &reading.record {
        c.execute(
            "INSERT INTO record (reading, json) VALUES (?1, ?2)",
            params![id, record.to_string()],
        )?;
    }
    Ok(Entry::new(Table::Reading, id))
}

fn insert_event(c: &Connection, event: &Event) -> std::result::Result<Entry, Fault> {
    finite(&[event.percent, event.amount])?;
    if event.percent.is_some_and(|p| !(p > 0.0 && p <= 100.0)) {
        return Err(clear(
            format!(
                "{} per cent of the water cannot be changed",
                event.percent.unwrap_or_default()
            ),
            "give more than 0 and at most 100",
        ));
    }
    let water = water_id(c, &event.water)?;
    let equipment: Option<i64> = match &event.equipment {
        None => None,
        Some(name) => Some(
            c.query_row(
                "SELECT id FROM equipment WHERE name = ?1 COLLATE NOCASE AND removed IS NULL",
                [name],
                |row| row.get(0),
            )
            .optional()?
            .ok_or_else(|| {
                Error::new(
                    format!("there is no equipment \"{name}\" in the logbook"),
                    format!("add it with `tintwell log add equipment \"{name}\"`"),
                )
            })?,
        ),
    };
    c.execute(
        "INSERT INTO event (water, kind, seconds, at, percent, amount, unit, substance, medicine, equipment, note)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        params![
            water,
            event.kind.word(),
            event.at.seconds(),
            event.at.to_string(),
            event.percent,
            event.amount,
            event.unit,
            event.substance,
            event.medicine,
            equipment,
            event.note,
        ],
    )?;
    Ok(Entry::new(Table::Event, c.last_insert_rowid()))
}

fn write_limit(c: &Connection, limit: &Limit) -> std::result::Result<(), Fault> {
    finite(&[limit.low, limit.high])?;
    let water = water_id(c, &limit.water)?;
    if let (Some(low), Some(high)) = (limit.low, limit.high)
        && low > high
    {
        return Err(clear(
            format!("the lower bound {low} is above the upper bound {high}"),
            "give the lower one first",
        ));
    }
    c.execute(
        "DELETE FROM bound WHERE water = ?1 AND test = ?2",
        params![water, limit.test],
    )?;
    if limit.low.is_some() || limit.high.is_some() {
        c.execute(
            "INSERT INTO bound (water, test, unit, low, high) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![water, limit.test, limit.unit, limit.low, limit.high],
        )?;
    }
    Ok(())
}

/// Keeps an entry as it is now among the changes.
fn keep(c: &Connection, entry: Entry, now: &Moment) -> std::result::Result<(), Fault> {
    let table = entry.table.name();
    let mut query = c.prepare(&format!(
        "SELECT * FROM {table} WHERE id = ?1 AND removed IS NULL"
    ))?;
    let columns: Vec<String> = query.column_names().map(str::to_owned).collect();
    let before = query
        .query_row([entry.id], |row| {
            let mut fields = serde_json::Map::new();
            for (i, column) in columns.iter().enumerate() {
                let value = match row.get(i)? {
                    Value::Null | Value::Blob(_) => serde_json::Value::Null,
                    Value::Integer(v) => v.into(),
                    Value::Real(v) => v.into(),
                    Value::Text(v) => v.into(),
                };
                fields.insert(column.clone(), value);
            }
            Ok(serde_json::Value::Object(fields).to_string())
        })
        .optional()?;
    let Some(before) = before else {
        return Err(clear(
            format!("there is no {} {entry} in the logbook", entry.what()),
            "see `tintwell log show`",
        ));
    };
    c.execute(
        "INSERT INTO change (at, entry, before) VALUES (?1, ?2, ?3)",
        params![now.to_string(), entry.to_string(), before],
    )?;
    Ok(())
}

fn reading(row: &Row, water: &str) -> rusqlite::Result<(Entry, Reading)> {
    let answer: String = row.get(4)?;
    let (value, low, high): (Option<f64>, Option<f64>, Option<f64>) =
        (row.get(5)?, row.get(6)?, row.get(7)?);
    let answer = match (answer.as_str(), value, low, high) {
        ("value", Some(value), Some(low), Some(high)) => Amount::Value { value, low, high },
        ("below", _, _, Some(high)) => Amount::Below { high },
        ("above", _, Some(low), _) => Amount::Above { low },
        _ => return Err(unreadable(4)),
    };
    let record: Option<String> = row.get(15)?;
    Ok((
        Entry::new(Table::Reading, row.get(0)?),
        Reading {
            water: water.to_owned(),
            test: row.get(1)?,
            unit: row.get(2)?,
            at: moment(row, 3)?,
            answer,
            source: plain(row, 8)?,
            verdict: plain(row, 9)?,
            photo: row.get(10)?,
            sha256: row.get(11)?,
            chart_sha256: row.get(12)?,
            dilution_factor: row.get(13)?,
            note: row.get(14)?,
            record: record.and_then(|r| serde_json::from_str(&r).ok()),
        },
    ))
}

fn unreadable(column: usize) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(
        column,
        rusqlite::types::Type::Text,
        "no value of this column".into(),
    )
}

fn plain<T: for<'de> serde::Deserialize<'de>>(row: &Row, column: usize) -> rusqlite::Result<T> {
    let word: String = row.get(column)?;
    of_word(&word).ok_or_else(|| unreadable(column))
}

fn moment(row: &Row, column: usize) -> rusqlite::Result<Moment> {
    let text: String = row.get(column)?;
    text.parse().map_err(|_| unreadable(column))
}
