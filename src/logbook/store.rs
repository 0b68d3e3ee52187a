//! The file: opening it, and changing it in whole transactions.

use std::path::Path;
use std::time::Duration;

use rusqlite::types::Value;
use rusqlite::{Connection, ErrorCode, OpenFlags, Transaction, TransactionBehavior, params};

use super::entry::{Entry, Table};
use super::fault::{Fault, clear, failed};
use super::write::{
    folded, free_for, insert_equipment, insert_event, insert_reading, insert_water, keep, named,
    same_photo, spelt_in, volume, water_id, write_limit,
};
use super::{Equipment, Event, Limit, Moment, Reading, Water, restore, schema, word};
use crate::chart::Medium;
use crate::error::{Error, Result};

/// What a logbook is opened for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// To look only: it has to be there, and nothing is written, so that a file that may not be written can be shown.
    Read,
    /// To change it: it has to be there.
    Change,
    /// To change it: it is made if it is not there.
    Create,
}

const CHANGE: OpenFlags = OpenFlags::SQLITE_OPEN_READ_WRITE.union(OpenFlags::SQLITE_OPEN_NO_MUTEX);

/// Opens a file to look at. Where its folder may not be written, SQLite cannot keep there what it shares with other programs; the
/// file is then taken as one that nobody changes (`immutable`), unless there are changes beside it that it would miss.
fn look(path: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let file = Connection::open_with_flags(path, flags)?;
    let readable = schema::version(&file);
    let Err(e) = readable else {
        return Ok(file);
    };
    let locked_out = matches!(
        e.sqlite_error_code(),
        Some(ErrorCode::CannotOpen | ErrorCode::ReadOnly | ErrorCode::PermissionDenied)
    );
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    let pending = std::fs::metadata(&log).is_ok_and(|m| m.len() > 0);
    if !locked_out || pending {
        return Err(e);
    }
    Connection::open_with_flags(
        format!("{}?immutable=1", uri(path)),
        flags | OpenFlags::SQLITE_OPEN_URI,
    )
}

/// A path as a URI (RFC 8089), all but plain letters escaped.
fn uri(path: &Path) -> String {
    let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let mut text = String::from("file://");
    // A path with a drive's letter.
    if path.as_os_str().as_encoded_bytes().first() != Some(&b'/') {
        text.push('/');
    }
    for &byte in path.as_os_str().as_encoded_bytes() {
        match byte {
            b'\\' if cfg!(windows) => text.push('/'),
            b'/' | b'.' | b'-' | b'_' | b':' => text.push(char::from(byte)),
            b if b.is_ascii_alphanumeric() => text.push(char::from(b)),
            b => text += &format!("%{b:02X}"),
        }
    }
    text
}

/// How long another writer is waited for: its transactions take a few milliseconds.
const PATIENCE: Duration = Duration::from_secs(3);

/// What became of a reading that was to be logged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Added {
    /// It is a new entry.
    New(Entry),
    /// It is a new entry, and stands for these of fewer photos of the same vial, which are left out from now on.
    InPlaceOf(Entry, Vec<Entry>),
    /// The same photo, read with the same chart, is in this water's log already, by itself or with others of its vial.
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
    /// Whether they live in a water.
    Invertebrates(bool),
    Medium(Medium),
}

impl Field {
    fn name(&self) -> &'static str {
        match self {
            Field::Note(_) => "note",
            Field::At(_) => "time",
            Field::Water(_) => "water to belong to",
            Field::Name(_) => "name",
            Field::Volume(_) => "volume",
            Field::Invertebrates(_) => "invertebrates",
            Field::Medium(_) => "medium",
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
    /// If it is not there, not a logbook, of a later version, or cannot be opened as is asked for.
    pub fn open(path: &Path, shown: &str, access: Access) -> Result<Logbook> {
        let there = path.exists();
        if !there && access != Access::Create {
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
        let failed = |e| failed(&e, shown);
        let file = match access {
            Access::Read => look(path),
            Access::Change => Connection::open_with_flags(path, CHANGE),
            Access::Create => {
                Connection::open_with_flags(path, CHANGE | OpenFlags::SQLITE_OPEN_CREATE)
            }
        }
        .map_err(failed)?;
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
        if access == Access::Read {
            if version < schema::VERSION {
                return wrong(
                    "this file is empty, or a logbook of an earlier version".into(),
                    "begin or renew it with a command that changes it, such as `tintwell log add water NAME`",
                );
            }
            return Ok(Ok(()));
        }
        self.file.pragma_update(None, "journal_mode", "WAL")?;
        // These hold for one connection, not for the file. Some systems need to be told to empty the disk's own memory as well
        // (fullfsync); where there is no such thing it does nothing.
        self.file.pragma_update(None, "synchronous", "FULL")?;
        self.file.pragma_update(None, "fullfsync", true)?;
        self.file
            .pragma_update(None, "checkpoint_fullfsync", true)?;
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
    pub(super) fn change<T>(
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
            Fault::Given(e) => e,
        })
    }

    /// Adds a water.
    ///
    /// # Errors
    /// If its name is empty or taken, or its volume is no volume.
    pub fn add_water(&mut self, water: &Water) -> Result<Entry> {
        self.change(|c| insert_water(c, water, None))
    }

    /// Adds equipment.
    ///
    /// # Errors
    /// If its name is empty or taken.
    pub fn add_equipment(&mut self, equipment: &Equipment) -> Result<Entry> {
        self.change(|c| insert_equipment(c, equipment, None))
    }

    /// Adds a reading, unless the same photo was logged for the same water with the same chart.
    ///
    /// # Errors
    /// If the water is not known, or a number is none.
    pub fn add_reading(&mut self, reading: &Reading) -> Result<Added> {
        self.change(|c| {
            let water = water_id(c, &reading.water)?;
            if let Some(sha256) = &reading.sha256 {
                let chart = reading.chart_sha256.as_deref();
                if let Some(known) = same_photo(c, water, sha256, chart)? {
                    return Ok(Added::Known(known));
                }
            }
            Ok(Added::New(insert_reading(c, water, reading, None)?))
        })
    }

    /// Adds an event; a dose of copper is a medicine, whether it says so or not.
    ///
    /// # Errors
    /// If water or equipment is not known, or a number is none.
    pub fn add_event(&mut self, event: &Event) -> Result<Entry> {
        self.change(|c| insert_event(c, event, None))
    }

    /// Sets the bounds of a test in a water; without any bound they are taken away. What was there is kept with the time `now`, and
    /// given.
    ///
    /// # Errors
    /// If the water is not known, the lower bound is above the upper one, or bounds in another unit are there.
    pub fn set_limit(&mut self, limit: &Limit, now: &Moment) -> Result<Option<Limit>> {
        self.change(|c| write_limit(c, limit, now))
    }

    /// Leaves an entry out from now on; it stays in the file. With a water its entries are left out, but what equipment met in
    /// it still counts.
    ///
    /// # Errors
    /// If there is no such entry.
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

    /// Takes an entry that was left out back in; with a water its entries come back.
    ///
    /// # Errors
    /// If there is no such entry or it is not left out, its name is taken, its water is left out, or its photo was logged anew.
    pub fn restore(&mut self, entry: Entry, now: &Moment) -> Result<()> {
        self.change(|c| restore::restore(c, entry, now))
    }

    /// Changes fields of an entry; what was there is kept.
    ///
    /// # Errors
    /// If there is no such entry, it has no such field, or a name is taken or none.
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
                        let water = water_id(c, name)?;
                        set.push(("water", water.into()));
                        if entry.table == Table::Reading {
                            let (test, unit) = spelt_in(c, water, entry.id)?;
                            set.push(("test", test.into()));
                            set.push(("unit", unit.into()));
                        }
                    }
                    (Table::Water | Table::Equipment, Field::Name(name)) => {
                        named(name)?;
                        free_for(c, entry, name)?;
                        set.push(("name", name.clone().into()));
                        set.push(("folded", folded(name).into()));
                    }
                    (Table::Water, Field::Volume(litres)) => {
                        volume(Some(*litres))?;
                        set.push(("volume_l", (*litres).into()));
                    }
                    (Table::Water, Field::Invertebrates(live)) => {
                        set.push(("invertebrates", (*live).into()));
                    }
                    (Table::Water, Field::Medium(medium)) => {
                        set.push(("medium", word(medium).into()));
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_writes_waits_for_the_disk() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("book.sqlite");
        for access in [Access::Create, Access::Change] {
            let book = Logbook::open(&path, "book", access).unwrap();
            let number = |name: &str| -> i64 {
                book.file
                    .pragma_query_value(None, name, |row| row.get(0))
                    .unwrap()
            };
            // 2 is FULL (SQLite, PRAGMA synchronous).
            let set = ["synchronous", "fullfsync", "checkpoint_fullfsync"].map(number);
            assert_eq!(set, [2, 1, 1], "{access:?}");
        }
    }

    #[test]
    fn a_path_is_escaped() {
        assert_eq!(
            uri(Path::new("/a b/50%?#é")),
            "file:///a%20b/50%25%3F%23%C3%A9"
        );
    }
}
