//! The tables, and how a file of an earlier version becomes one of this.
//!
//! `PRAGMA user_version` counts the migrations that a file has seen; each is one transaction. Applied ones are never changed:
//! a new need is a new migration.

use rusqlite::{Connection, Transaction};

/// Marks the file as this program's (SQLite file format, 1.3.10): "Tint".
pub(super) const APPLICATION: i32 = 0x5469_6E74;

/// All migrations in their order.
const MIGRATIONS: [&str; 1] = ["
CREATE TABLE water (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE DEFAULT (lower(hex(randomblob(8)))),
    name TEXT NOT NULL,
    -- The name without regard to case, of all letters: SQLite by itself folds ASCII only.
    folded TEXT NOT NULL,
    volume_l REAL,
    medium TEXT,
    lives TEXT NOT NULL,
    invertebrates INTEGER NOT NULL,
    removed TEXT
) STRICT;
CREATE UNIQUE INDEX water_name ON water (folded) WHERE removed IS NULL;

CREATE TABLE reading (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE DEFAULT (lower(hex(randomblob(8)))),
    water INTEGER NOT NULL REFERENCES water,
    test TEXT NOT NULL,
    unit TEXT NOT NULL,
    seconds INTEGER NOT NULL,
    at TEXT NOT NULL,
    answer TEXT NOT NULL,
    value REAL,
    low REAL,
    high REAL,
    source TEXT NOT NULL,
    verdict TEXT NOT NULL,
    photo TEXT,
    sha256 TEXT,
    chart_sha256 TEXT,
    dilution_factor REAL,
    note TEXT NOT NULL,
    removed TEXT
) STRICT;
CREATE INDEX reading_of ON reading (water, test, seconds) WHERE removed IS NULL;
CREATE INDEX reading_photo ON reading (sha256) WHERE sha256 IS NOT NULL;
-- Beside the readings, so that going through many of them does not go through their records.
CREATE TABLE record (
    reading INTEGER PRIMARY KEY REFERENCES reading,
    json TEXT NOT NULL
) STRICT;
-- Where the program looked, a small JPEG.
CREATE TABLE picture (
    reading INTEGER PRIMARY KEY REFERENCES reading,
    jpeg BLOB NOT NULL
) STRICT;

CREATE TABLE equipment (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE DEFAULT (lower(hex(randomblob(8)))),
    name TEXT NOT NULL,
    folded TEXT NOT NULL,
    note TEXT NOT NULL,
    removed TEXT
) STRICT;
CREATE UNIQUE INDEX equipment_name ON equipment (folded) WHERE removed IS NULL;

CREATE TABLE event (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE DEFAULT (lower(hex(randomblob(8)))),
    water INTEGER NOT NULL REFERENCES water,
    kind TEXT NOT NULL,
    seconds INTEGER NOT NULL,
    at TEXT NOT NULL,
    percent REAL,
    amount REAL,
    unit TEXT,
    substance TEXT,
    medicine INTEGER NOT NULL,
    equipment INTEGER REFERENCES equipment,
    note TEXT NOT NULL,
    removed TEXT
) STRICT;
CREATE INDEX event_of ON event (water, seconds) WHERE removed IS NULL;

CREATE TABLE bound (
    water INTEGER NOT NULL REFERENCES water,
    test TEXT NOT NULL,
    unit TEXT NOT NULL,
    low REAL,
    high REAL,
    PRIMARY KEY (water, test)
) STRICT;

-- What was there before an edit or a removal, and when it was changed.
CREATE TABLE change (
    id INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    entry TEXT NOT NULL,
    before TEXT NOT NULL
) STRICT;
"];

/// The version of files that this program writes.
pub(super) const VERSION: u32 = MIGRATIONS.len() as u32;

/// The version of a file; 0 for a new one.
pub(super) fn version(file: &Connection) -> rusqlite::Result<u32> {
    file.pragma_query_value(None, "user_version", |row| row.get(0))
}

/// Brings a file to this version. The transaction is the caller's to commit.
pub(super) fn migrate(change: &Transaction) -> rusqlite::Result<()> {
    let from = version(change)?;
    for migration in MIGRATIONS.iter().skip(from as usize) {
        change.execute_batch(migration)?;
    }
    change.pragma_update(None, "application_id", APPLICATION)?;
    change.pragma_update(None, "user_version", VERSION)
}
