//! The file: opening it, and changing it in whole transactions.

use std::path::Path;
use std::time::Duration;

use rusqlite::types::Value;
use rusqlite::{
    Connection, OpenFlags, OptionalExtension, Transaction, TransactionBehavior, params,
};

use super::entry::{Entry, Table};
use super::fault::{Fault, clear, failed};
use super::write::{
    free, insert_equipment, insert_event, insert_reading, insert_water, keep, named, water_id,
    write_limit,
};
use super::{Equipment, Event, Limit, Moment, Reading, Water, schema};
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

/// What became of a reading that was to be logged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Added {
    /// It is a new entry.
    New(Entry),
    /// The same photo, read with the same chart, is in this water's log already.
    Known(Entry),
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

/// An open logbook.
pub struct Logbook {
    pub(super) file: Connection,
    pub(super) shown: String,
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

    pub(super) fn failed(&self, e: &rusqlite::Error) -> Error {
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
}
