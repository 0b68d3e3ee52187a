//! What goes out comes back, and what is not a logbook is told.

use std::fs;

use tempfile::TempDir;
use tintwell::logbook::exchange::{Imported, Whole};
use tintwell::logbook::{Access, Added, Amount, Field, Logbook, Reading};

use super::command::run;
use super::{at, filled, open, reading};

#[test]
fn json_brings_all_of_it_back() {
    let dir = TempDir::new().unwrap();
    let whole = Whole::of(&filled(&dir.path().join("a.sqlite"))).unwrap();
    let mut other = open(&dir.path().join("b.sqlite"));
    let added = Whole::from_json(&whole.json())
        .unwrap()
        .import(&mut other, &at(500))
        .unwrap();
    assert_eq!(
        added,
        Imported {
            waters: 2,
            equipment: 1,
            readings: 4,
            events: 2,
            limits: 1,
            ..Imported::default()
        }
    );
    assert_eq!(Whole::of(&other).unwrap(), whole);
    let again = Whole::from_json(&whole.json())
        .unwrap()
        .import(&mut other, &at(500))
        .unwrap();
    assert_eq!(again.readings + again.events + again.waters, 0);
    assert_eq!(Whole::of(&other).unwrap(), whole);
}

#[test]
fn csv_brings_readings_and_events_back() {
    let dir = TempDir::new().unwrap();
    let book = filled(&dir.path().join("a.sqlite"));
    let csv = Whole::of(&book).unwrap().csv().unwrap();
    let mut other = open(&dir.path().join("b.sqlite"));
    Whole::from_csv(&csv)
        .unwrap()
        .import(&mut other, &at(500))
        .unwrap();
    for name in ["tidepool", "quarantine tank"] {
        let plain = |book: &Logbook| {
            let readings = book.readings(name, None).unwrap();
            let events = book.events(name).unwrap();
            (
                readings.into_iter().map(|(_, r)| r).collect::<Vec<_>>(),
                events.into_iter().map(|(_, e)| e).collect::<Vec<_>>(),
            )
        };
        assert_eq!(plain(&other), plain(&book), "{name}");
    }
    assert_eq!(Whole::of(&other).unwrap().csv().unwrap(), csv);
}

/// What guards invertebrates against copper is not lost on the way through a spreadsheet, which writes TRUE.
#[test]
fn csv_brings_back_where_invertebrates_live() {
    let dir = TempDir::new().unwrap();
    let book = filled(&dir.path().join("a.sqlite"));
    let csv = Whole::of(&book).unwrap().csv().unwrap();
    for (i, csv) in [
        csv.clone(),
        csv.replace("true", "TRUE").replace("false", "FALSE"),
    ]
    .iter()
    .enumerate()
    {
        let mut other = open(&dir.path().join(format!("{i}.sqlite")));
        let whole = Whole::from_csv(csv).unwrap();
        assert!(whole.tells_of_invertebrates());
        whole.import(&mut other, &at(500)).unwrap();
        for (_, water) in book.waters().unwrap() {
            let there = other.water(&water.name).unwrap();
            assert_eq!(there.invertebrates, water.invertebrates, "{}", water.name);
        }
    }
    assert!(book.waters().unwrap().iter().any(|(_, w)| w.invertebrates));
    let bare = "kind,water,at\nfeeding,pond,2026-03-01T08:00:00Z\n";
    assert!(!Whole::from_csv(bare).unwrap().tells_of_invertebrates());
}

/// Line and column are told, in the words of whoever looks at the table; no new logbook is left behind.
#[test]
fn what_is_no_table_is_told() {
    let dir = TempDir::new().unwrap();
    let head = "kind,water,at,test,unit,answer,value,low,high,medicine";
    let row = "reading,pond,2026-03-01T08:00:00Z,nitrate,mg/L,value";
    for (text, says) in [
        (String::new(), "the file is empty"),
        ("\n\n".into(), "the file is empty"),
        (
            format!("{head}\n"),
            "there is no reading or event in this file",
        ),
        (
            head.replace(',', ";") + "\nreading;pond\n",
            "line 1: the columns are separated by semicolons",
        ),
        (
            "kind,water\nfeeding,pond\n".into(),
            "line 1: there is no column \"at\"",
        ),
        (
            format!("{head}\n{row},\"3,5\",3,4,\n"),
            "line 2: value: \"3,5\" is no number; write a decimal point",
        ),
        (
            format!("{head}\n{row},many,3,4,\n"),
            "line 2: value: \"many\" is no number",
        ),
        (
            format!("{head}\n{row},3,5,3,4,\n"),
            "line 2: there are 11 columns, and 10 in line 1",
        ),
        (
            format!("{head}\ndose,pond,2026-03-01T08:00:00Z,,,,,,,perhaps\n"),
            "line 2: medicine: \"perhaps\" is neither true nor false",
        ),
        (
            format!(
                "{head}\n{}\n",
                row.replace("2026-03-01T08:00:00Z", "monday") + ",3,2,4,"
            ),
            "line 2: at: \"monday\" is no time",
        ),
        (
            format!("{head}\n{row},3,4,5,\n"),
            "line 2: the value 3 does not lie in its interval",
        ),
    ] {
        fs::write(dir.path().join("in.csv"), &text).unwrap();
        let (code, _, err) = run(
            dir.path(),
            &["log", "import", "in.csv", "--logbook", "new.sqlite"],
        );
        assert_eq!(code, 4, "{text}: {err}");
        assert!(err.contains(says), "{text}: {err}");
        assert!(!err.contains("CSV") && !err.contains("byte"), "{err}");
        let left: Vec<_> = fs::read_dir(dir.path())
            .unwrap()
            .map(|e| e.unwrap().file_name())
            .collect();
        assert_eq!(left, ["in.csv"], "{text}");
    }
}

/// Of a file with one fault nothing is imported, and the fault's line is told.
#[test]
fn a_table_with_a_fault_is_not_imported_at_all() {
    let dir = TempDir::new().unwrap();
    let mut book = filled(&dir.path().join("a.sqlite"));
    let before = Whole::of(&book).unwrap();
    let head = "kind,water,at,test,unit,answer,value,low,high\n\
                reading,pond,2026-03-01T08:00:00Z,nitrate,mg/L,value,5,4,6\n";
    for (row, says) in [
        (
            "reading,pond,2026-03-02T08:00:00Z,nitrate,mg/L,value,5,,6",
            "line 3: a reading is",
        ),
        (
            "reading,pond,yesterday,nitrate,mg/L,value,5,4,6",
            "line 3: at: \"yesterday\"",
        ),
        (
            "reading,pond,2026-03-02T08:00:00Z,,mg/L,value,5,4,6",
            "line 3: a reading has a test",
        ),
        (
            "flood,pond,2026-03-02T08:00:00Z,,,,,,",
            "line 3: \"flood\" is neither",
        ),
        (
            "reading,pond,2026-03-02T08:00:00Z,nitrate,mg/L,value,NaN,4,6",
            "number",
        ),
        (
            "reading,pond,2026-03-02T08:00:00Z,nitrate,mg/L,value,9,4,6",
            "does not lie in",
        ),
        (
            "reading,,2026-03-02T08:00:00Z,nitrate,mg/L,value,5,4,6",
            "a name is",
        ),
        ("reading,pond", "line 3"),
    ] {
        let done = Whole::from_csv(&format!("{head}{row}\n"))
            .and_then(|whole| whole.import(&mut book, &at(500)));
        let e = done.unwrap_err().to_string();
        assert!(e.contains(says), "{row}: {e}");
        assert_eq!(Whole::of(&book).unwrap(), before, "{row}");
    }
}

#[test]
fn what_is_edited_or_removed_stays_in_the_file() {
    let dir = TempDir::new().unwrap();
    let mut book = filled(&dir.path().join("a.sqlite"));
    let (first, second) = {
        let r = book.readings("tidepool", None).unwrap();
        (r[0].0, r[1].0)
    };
    book.edit(
        first,
        &[Field::Note("mended".into()), Field::At(at(99))],
        &at(100),
    )
    .unwrap();
    book.remove(second, &at(101)).unwrap();
    let there = book.readings("tidepool", None).unwrap();
    assert!(there.iter().all(|(e, _)| *e != second));
    let (_, mended) = there.iter().find(|(e, _)| *e == first).unwrap();
    assert_eq!((mended.note.as_str(), &mended.at), ("mended", &at(99)));
    let changes = book.changes().unwrap();
    assert_eq!(changes.len(), 2);
    let before: serde_json::Value = serde_json::from_str(&changes[0].2).unwrap();
    assert_eq!(before["at"], at(0).to_string());
    assert_eq!(before["note"], "after feeding,\nlamp \"off\" – 4 °C");
    assert_eq!(changes[1].1, second.to_string());
    assert!(book.remove(second, &at(102)).is_err(), "it is gone already");
    assert_eq!(book.changes().unwrap().len(), 2);
    // A fault in the second field leaves the first undone as well.
    let wrong = [Field::Note("lost".into()), Field::Name("no".into())];
    assert!(book.edit(first, &wrong, &at(103)).is_err());
    assert_eq!(
        book.readings("tidepool", None).unwrap()[1].1.note,
        there[1].1.note
    );
    assert_eq!(book.changes().unwrap().len(), 2);
}

#[test]
fn what_was_removed_can_be_taken_back_in() {
    let dir = TempDir::new().unwrap();
    let mut book = filled(&dir.path().join("a.sqlite"));
    let before = Whole::of(&book).unwrap();
    let (water, tidepool) = book
        .waters()
        .unwrap()
        .into_iter()
        .find(|(_, w)| w.name == "tidepool")
        .unwrap();
    let (reading, first) = book.readings("tidepool", None).unwrap()[0].clone();
    let (event, _) = book.events("tidepool").unwrap()[0].clone();
    for entry in [reading, event, water] {
        book.remove(entry, &at(101)).unwrap();
    }
    // What belongs to a water comes back with it or after it.
    let refused = |book: &mut Logbook, entry, says: &str| {
        let e = book.restore(entry, &at(102)).unwrap_err().to_string();
        assert!(e.contains(says), "{e}");
    };
    refused(&mut book, reading, "was removed too");
    for entry in [water, reading, event] {
        book.restore(entry, &at(103)).unwrap();
        refused(&mut book, entry, "was not removed");
    }
    assert_eq!(Whole::of(&book).unwrap(), before);
    assert_eq!(book.changes().unwrap().len(), 6);
    // A photo that was logged anew, and a name that was given anew, are not there twice.
    let photo = Reading {
        sha256: Some("ab".into()),
        at: at(50),
        ..first
    };
    let [old, new] = [0, 1].map(|_| {
        let Added::New(entry) = book.add_reading(&photo).unwrap() else {
            panic!("it is there already");
        };
        book.remove(entry, &at(104)).unwrap();
        entry
    });
    book.restore(new, &at(105)).unwrap();
    refused(&mut book, old, &format!("it is reading {new}"));
    book.remove(water, &at(106)).unwrap();
    book.add_water(&tidepool).unwrap();
    refused(&mut book, water, "is that of another water");
}

#[test]
fn numbers_that_are_none_are_refused() {
    let dir = TempDir::new().unwrap();
    let mut book = filled(&dir.path().join("a.sqlite"));
    let value = |value, low, high| Amount::Value { value, low, high };
    for wrong in [
        value(f64::NAN, 0.0, 1.0),
        value(5.0, 6.0, 7.0),
        value(5.0, 4.0, f64::INFINITY),
        Amount::Below { high: f64::NAN },
    ] {
        assert!(book.add_reading(&reading("tidepool", 50, wrong)).is_err());
    }
    assert!(
        book.add_reading(&reading("pond", 50, value(1.0, 0.0, 2.0)))
            .is_err()
    );
    assert_eq!(book.readings("tidepool", None).unwrap().len(), 3);
}

#[test]
fn what_is_no_logbook_is_told_and_left_as_it_is() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("file");
    let says = |access| match Logbook::open(&path, "file", access) {
        Ok(_) => panic!("it opened"),
        Err(e) => e.what,
    };
    fs::write(
        &path,
        "a shopping list, long enough to be looked at as a whole page".repeat(99),
    )
    .unwrap();
    let before = fs::read(&path).unwrap();
    assert_eq!(
        says(Access::Create),
        "this is not a logbook, or it is damaged"
    );
    assert_eq!(fs::read(&path).unwrap(), before);

    fs::remove_file(&path).unwrap();
    rusqlite::Connection::open(&path)
        .unwrap()
        .execute_batch("CREATE TABLE songs (name TEXT)")
        .unwrap();
    let before = fs::read(&path).unwrap();
    assert_eq!(
        says(Access::Create),
        "this is a database of something else, not a logbook"
    );
    assert_eq!(fs::read(&path).unwrap(), before);

    fs::remove_file(&path).unwrap();
    drop(open(&path));
    let file = rusqlite::Connection::open(&path).unwrap();
    file.pragma_update(None, "user_version", 99).unwrap();
    drop(file);
    assert!(says(Access::Read).starts_with("this logbook is of version 99"));

    fs::remove_file(&path).unwrap();
    assert_eq!(says(Access::Read), "there is no logbook yet");
    fs::create_dir(&path).unwrap();
    assert_eq!(says(Access::Create), "this is not a file");
}

/// Files of version 1 are out there: their tables never change, new ones come by new migrations (regression).
#[test]
fn the_tables_of_version_1_are_these() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("a.sqlite");
    drop(open(&path));
    let file = rusqlite::Connection::open(&path).unwrap();
    let mut query = file
        .prepare("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY name")
        .unwrap();
    let tables: Vec<String> = query
        .query_map([], |row| row.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    insta::assert_snapshot!(tables.join("\n"));
}

/// An empty file is version 0, and a migration that fails leaves it so.
#[test]
fn a_file_is_brought_to_this_version_at_once_or_not_at_all() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("a.sqlite");
    fs::write(&path, "").unwrap();
    let version = || -> u32 {
        let file = rusqlite::Connection::open(&path).unwrap();
        file.pragma_query_value(None, "user_version", |row| row.get(0))
            .unwrap()
    };
    assert_eq!(version(), 0);
    drop(open(&path));
    assert!(version() > 0);
    // Version 0 with a table in the way of the last statements of the first migration.
    fs::remove_file(&path).unwrap();
    let file = rusqlite::Connection::open(&path).unwrap();
    file.execute_batch("CREATE TABLE change (id INTEGER); PRAGMA application_id = 1416195700")
        .unwrap();
    drop(file);
    assert!(Logbook::open(&path, "a", Access::Create).is_err());
    let file = rusqlite::Connection::open(&path).unwrap();
    let tables: i64 = file
        .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
        .unwrap();
    assert_eq!((version(), tables), (0, 1));
}
