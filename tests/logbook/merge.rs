//! Importing adds what is not there, whatever happened to the logbook since the file was written.

use tempfile::TempDir;
use tintwell::logbook::exchange::{Imported, Whole};
use tintwell::logbook::{Amount, Event, Field, Kind, Limit, Logbook, Reading};

use super::{at, event, filled, open, reading};

fn import(text: &str, book: &mut Logbook) -> Imported {
    let whole = if text.starts_with('{') {
        Whole::from_json(text)
    } else {
        Whole::from_csv(text)
    };
    whole.unwrap().import(book, &at(500)).unwrap()
}

#[test]
fn an_older_export_sets_nothing_back() {
    let dir = TempDir::new().unwrap();
    let mut book = filled(&dir.path().join("a.sqlite"));
    let whole = Whole::of(&book).unwrap();
    let (json, csv) = (whole.json(), whole.csv().unwrap());
    // As a spreadsheet without the last column would give it.
    let bare: String = csv
        .replace(",\nlamp", ", lamp")
        .lines()
        .map(|l| l.rsplit_once(',').unwrap().0.to_owned() + "\n")
        .collect();
    let bare = bare.replace(", lamp", ",\nlamp");
    let readings = book.readings("tidepool", None).unwrap();
    let fields = [
        Field::Note("mended".into()),
        Field::At(at(99)),
        Field::Water("quarantine tank".into()),
    ];
    book.edit(readings[0].0, &fields, &at(100)).unwrap();
    book.remove(readings[1].0, &at(101)).unwrap();
    let event = book.events("tidepool").unwrap()[0].0;
    book.edit(event, &[Field::Note("mended".into())], &at(101))
        .unwrap();
    let tidepool = book.waters().unwrap()[1].0;
    book.edit(tidepool, &[Field::Name("rock pool".into())], &at(102))
        .unwrap();
    let limit = Limit {
        water: "rock pool".into(),
        test: "nitrate".into(),
        unit: "mg/L".into(),
        low: None,
        high: Some(20.0),
    };
    book.set_limit(&limit, &at(103)).unwrap();
    let before = Whole::of(&book).unwrap();
    let nothing = Imported {
        removed: 1,
        there: 5,
        ..Imported::default()
    };
    let kept = Imported {
        limits_kept: 1,
        ..nothing.clone()
    };
    assert_eq!(import(&json, &mut book), kept);
    assert_eq!(import(&csv, &mut book), nothing);
    assert_eq!(import(&bare, &mut book), nothing);
    assert_eq!(Whole::of(&book).unwrap(), before);
}

#[test]
fn an_old_limit_is_told_among_the_changes() {
    let dir = TempDir::new().unwrap();
    let mut book = filled(&dir.path().join("a.sqlite"));
    let limit = Limit {
        water: "tidepool".into(),
        test: "Nitrate".into(),
        unit: "MG/L".into(),
        low: Some(5.0),
        high: None,
    };
    book.set_limit(&limit, &at(60)).unwrap();
    let there = book.limits("tidepool").unwrap();
    // As the readings spell it.
    assert_eq!(there.len(), 1);
    assert_eq!(
        (there[0].test.as_str(), there[0].unit.as_str()),
        ("nitrate", "mg/L")
    );
    let changes = book.changes().unwrap();
    let (when, what, before) = &changes[0];
    let before: serde_json::Value = serde_json::from_str(before).unwrap();
    assert_eq!((when, what.as_str()), (&at(60).to_string(), "limits"));
    assert_eq!(
        (&before["water"], &before["high"]),
        (&"tidepool".into(), &30.0.into())
    );
    book.set_limit(&Limit { low: None, ..limit }, &at(61))
        .unwrap();
    assert!(book.limits("tidepool").unwrap().is_empty());
    assert_eq!(book.changes().unwrap().len(), 2);
}

#[test]
fn json_after_csv_brings_records_and_pictures() {
    let dir = TempDir::new().unwrap();
    let whole = Whole::of(&filled(&dir.path().join("a.sqlite"))).unwrap();
    let mut other = open(&dir.path().join("b.sqlite"));
    import(&whole.csv().unwrap(), &mut other);
    let done = import(&whole.json(), &mut other);
    assert_eq!((done.completed, done.readings, done.events), (1, 0, 0));
    let all = other.whole_readings("tidepool").unwrap();
    let (_, last) = all.last().unwrap();
    assert!(last.picture.is_some() && last.record.is_some());
    assert_eq!(import(&whole.json(), &mut other).completed, 0);
}

#[test]
fn what_is_twice_in_a_file_is_one_and_what_was_logged_twice_is_two() {
    let dir = TempDir::new().unwrap();
    let mut book = open(&dir.path().join("a.sqlite"));
    let row = "reading,Étang,2026-03-01T08:00:00Z,pH,value,8,7.8,8.2\n";
    let again = row.replace("Étang", "étang").replace("pH", "ph");
    let csv = format!("kind,water,at,test,answer,value,low,high\n{row}{row}{again}");
    let done = import(&csv, &mut book);
    assert_eq!((done.waters, done.readings), (1, 1));
    assert_eq!(import(&csv, &mut book).readings, 0);
    let (_, first) = book.readings("ÉTANG", None).unwrap().remove(0);
    assert_eq!((first.test.as_str(), first.unit.as_str()), ("pH", ""));
    // The same number in another unit is another reading.
    let in_unit = |unit: &str| {
        format!(
            "kind,water,at,test,unit,answer,value,low,high\nreading,Étang,2026-03-01T09:00:00Z,phosphate,{unit},value,0.1,0.05,0.2\n"
        )
    };
    for unit in ["mg/L", "mg/L P"] {
        assert_eq!(import(&in_unit(unit), &mut book).readings, 1, "{unit}");
        let again = import(&in_unit(unit), &mut book);
        assert_eq!((again.readings, again.there), (0, 1), "{unit}");
        let (entry, _) = book.readings("étang", Some("phosphate")).unwrap().remove(0);
        book.remove(entry, &at(1)).unwrap();
    }
    // By hand, twice the same is meant.
    book.add_reading(&first).unwrap();
    assert_eq!(book.readings("étang", Some("PH")).unwrap().len(), 2);
    let whole = Whole::of(&book).unwrap();
    let mut other = open(&dir.path().join("b.sqlite"));
    assert_eq!(import(&whole.csv().unwrap(), &mut other).readings, 2);
    assert_eq!(
        Whole::of(&other).unwrap().csv().unwrap(),
        whole.csv().unwrap()
    );
}

#[test]
fn equipment_that_was_left_out_comes_with_its_events() {
    let dir = TempDir::new().unwrap();
    let mut book = filled(&dir.path().join("a.sqlite"));
    let filter = book.equipment().unwrap()[0].0;
    book.remove(filter, &at(60)).unwrap();
    let mut other = open(&dir.path().join("b.sqlite"));
    let done = import(&Whole::of(&book).unwrap().json(), &mut other);
    assert_eq!((done.events, done.equipment), (2, 1));
    let events = other.events("quarantine tank").unwrap();
    assert_eq!(events[0].1.equipment.as_deref(), Some("sponge filter"));
}

#[test]
fn names_differ_in_more_than_case() {
    let dir = TempDir::new().unwrap();
    let mut book = open(&dir.path().join("a.sqlite"));
    book.add_water(&super::water("Étang")).unwrap();
    for taken in ["étang", "ÉTANG"] {
        assert!(book.add_water(&super::water(taken)).is_err(), "{taken}");
    }
    let value = Amount::Value {
        value: 5.0,
        low: 4.0,
        high: 6.0,
    };
    let add = |book: &mut Logbook, test: &str, unit: &str| {
        let (test, unit) = (test.into(), unit.into());
        book.add_reading(&Reading {
            test,
            unit,
            ..reading("ÉTANG", 0, value)
        })
    };
    add(&mut book, "NO3", "mg/L").unwrap();
    add(&mut book, "no3", "MG/l").unwrap();
    let all = book.readings("étang", Some("No3")).unwrap();
    assert_eq!(all.len(), 2);
    assert!(all.iter().all(|(_, r)| r.test == "NO3" && r.unit == "mg/L"));
    // Also of a reading that is moved there.
    book.add_water(&super::water("pond")).unwrap();
    let moved = Reading {
        test: "no3".into(),
        ..reading("pond", 5, value)
    };
    book.add_reading(&moved).unwrap();
    let (entry, _) = book.readings("pond", None).unwrap()[0];
    book.edit(entry, &[Field::Water("étang".into())], &at(1))
        .unwrap();
    assert_eq!(book.readings("étang", Some("NO3")).unwrap().len(), 3);
    book.remove(book.waters().unwrap()[0].0, &at(1)).unwrap();
    // Its own name in another case is no other's.
    let (entry, _) = book.waters().unwrap()[0];
    book.edit(entry, &[Field::Name("ÉTANG".into())], &at(1))
        .unwrap();
    for (test, unit) in [
        ("", "mg/L"),
        (" ", "mg/L"),
        ("a\nb", "mg/L"),
        ("NO3", "\u{202e}L/gm"),
    ] {
        assert!(add(&mut book, test, unit).is_err(), "{test:?} {unit:?}");
    }
    assert!(book.add_water(&super::water("pool\u{2066}")).is_err());
}

/// What `add` refuses an import refuses as well, and says where it is.
#[test]
fn faults_of_a_file_are_told_with_their_place() {
    let dir = TempDir::new().unwrap();
    let mut book = filled(&dir.path().join("a.sqlite"));
    let before = Whole::of(&book).unwrap();
    let head = "kind,water,at,test,unit,answer,value,low,high,percent,note\n\
                reading,pond,2026-03-01T08:00:00Z,nitrate,mg/L,value,5,4,6,,\"two\nlines\"\n";
    for (row, says) in [
        (
            "reading,pond,2026-03-02T08:00:00Z,nitrate,mg/L,value,9,4,6,,",
            "line 4: the value 9 does not",
        ),
        (
            "water-change,POND,2026-03-02T08:00:00Z,,,,,,,,",
            "line 4: water-change without percent",
        ),
        (
            "water-change,pond,2026-03-02T08:00:00Z,,,,,,,120,",
            "line 4: 120 per cent",
        ),
        (
            "reading,,2026-03-02T08:00:00Z,nitrate,mg/L,value,5,4,6,,",
            "line 4: a name is",
        ),
    ] {
        let whole = Whole::from_csv(&format!("{head}{row}\n")).unwrap();
        let e = whole.import(&mut book, &at(500)).unwrap_err();
        assert!(e.to_string().starts_with(says), "{row}: {e}");
        assert_eq!(e.subject, None, "it is not about the logbook");
        assert_eq!(Whole::of(&book).unwrap(), before);
    }
    let mut json: serde_json::Value = serde_json::from_str(&before.json()).unwrap();
    json["waters"][0] = serde_json::json!({"name": "pond", "volume_l": -3.0, "medium": null, "lives": "", "invertebrates": false});
    let e = Whole::from_json(&json.to_string())
        .unwrap()
        .import(&mut book, &at(500))
        .unwrap_err();
    assert!(
        e.what.starts_with("water \"pond\": a volume is more"),
        "{e}"
    );
    let mut json: serde_json::Value = serde_json::from_str(&before.json()).unwrap();
    let change = Event {
        percent: None,
        ..event("tidepool", Kind::WaterChange, 77)
    };
    json["events"][0] = serde_json::to_value(change).unwrap();
    let e = Whole::from_json(&json.to_string())
        .unwrap()
        .import(&mut book, &at(500))
        .unwrap_err();
    assert!(
        e.what
            .starts_with("water-change at 2026-03-01T01:17:00-08:00: "),
        "{e}"
    );
    assert_eq!(Whole::of(&book).unwrap(), before);
}
