//! What met copper is known to have met it, on whatever way it came into the logbook and whatever was left out of it since.

use tempfile::TempDir;
use tintwell::logbook::exchange::Whole;
use tintwell::logbook::{Equipment, Event, Kind, Logbook, Water, equipment};

use super::command::{done, run};
use super::{at, event, open, water};

fn moved(name: &str, kind: Kind, minutes: i64) -> Event {
    Event {
        substance: None,
        amount: None,
        unit: None,
        equipment: Some("Net".into()),
        ..event(name, kind, minutes)
    }
}

fn dosed(name: &str, substance: &str, minutes: i64) -> Event {
    Event {
        substance: Some(substance.into()),
        ..event(name, Kind::Dose, minutes)
    }
}

/// A reef with invertebrates, a quarantine tank without, and a net.
fn kept(dir: &TempDir) -> Logbook {
    let mut book = open(&dir.path().join("a.sqlite"));
    book.add_water(&water("reef")).unwrap();
    book.add_water(&Water {
        invertebrates: false,
        ..water("quar")
    })
    .unwrap();
    book.add_equipment(&Equipment {
        name: "net".into(),
        note: String::new(),
    })
    .unwrap();
    book
}

#[test]
fn a_water_that_was_left_out_still_dosed_what_was_in_it() {
    let dir = TempDir::new().unwrap();
    let mut book = kept(&dir);
    book.add_event(&moved("quar", Kind::EquipmentIn, 0))
        .unwrap();
    book.add_event(&dosed("quar", "Cu2+", 1)).unwrap();
    let quar = book.waters().unwrap()[0].0;
    book.remove(quar, &at(2)).unwrap();
    let met = equipment::met(&book, "NET").unwrap();
    assert_eq!(
        met.iter()
            .map(|m| (m.water.as_str(), m.substance.as_str()))
            .collect::<Vec<_>>(),
        [("quar", "Cu2+")]
    );
    assert_eq!(equipment::stays(&book, "net").unwrap().len(), 1);
    // A new net of the same name is taken for the old one: nothing tells them apart.
    let net = book.equipment().unwrap()[0].0;
    book.remove(net, &at(3)).unwrap();
    book.add_equipment(&Equipment {
        name: "net".into(),
        note: String::new(),
    })
    .unwrap();
    let warning = equipment::warning(&book, &moved("reef", Kind::EquipmentIn, 4), None);
    assert!(warning.unwrap().unwrap().contains("with Cu2+"));
}

#[test]
fn all_that_was_met_is_told_copper_first() {
    let dir = TempDir::new().unwrap();
    let mut book = kept(&dir);
    book.add_event(&moved("quar", Kind::EquipmentIn, 0))
        .unwrap();
    book.add_event(&dosed("quar", "CuSO₄", 1)).unwrap();
    book.add_event(&dosed("quar", "CuSO₄", 2)).unwrap();
    book.add_event(&Event {
        medicine: true,
        ..dosed("quar", "blue dye", 3)
    })
    .unwrap();
    let warning = equipment::warning(&book, &moved("reef", Kind::EquipmentIn, 4), None)
        .unwrap()
        .unwrap();
    assert!(
        warning.starts_with(
            "\"Net\" was in \"quar\" with CuSO₄ (2026-03-01 00:02), in \"quar\" with blue dye (2026-03-01 00:03); "
        ),
        "{warning}"
    );
    // Copper that came two days after the net had gone in is not what the net met.
    let early = moved("reef", Kind::EquipmentIn, -3 * 1440);
    assert_eq!(equipment::warning(&book, &early, None).unwrap(), None);
}

#[test]
fn an_imported_dose_of_copper_is_a_medicine_and_warnings_are_told() {
    let dir = TempDir::new().unwrap();
    let mut book = kept(&dir);
    let csv = "kind,water,at,substance,medicine,equipment\n\
               equipment-in,quar,2026-03-01T08:00:00Z,,,net\n\
               dose,quar,2026-03-01T09:00:00Z,blue vitriol,,\n\
               dose,quar,2026-03-01T09:30:00Z,vitamins,,\n\
               equipment-out,quar,2026-03-01T10:00:00Z,,,net\n\
               equipment-in,reef,2026-03-01T11:00:00Z,,,net\n";
    let done = Whole::from_csv(csv)
        .unwrap()
        .import(&mut book, &at(500))
        .unwrap();
    let medicines: Vec<bool> = book
        .events("quar")
        .unwrap()
        .iter()
        .map(|(_, e)| e.medicine)
        .collect();
    assert_eq!(medicines, [false, true, false, false]);
    assert_eq!(done.warned.len(), 1, "{:?}", done.warned);
    assert_eq!(done.warned[0].0, book.events("reef").unwrap()[0].0);
    assert!(done.warned[0].1.contains("with blue vitriol"));
}

/// The page is offered in German; and what is free of copper is no copper.
#[test]
fn copper_is_known_by_its_german_name() {
    let dir = TempDir::new().unwrap();
    done(
        dir.path(),
        &["log", "add", "water", "reef", "--invertebrates"],
    );
    let dose = |substance| {
        run(
            dir.path(),
            &["log", "event", "reef", "dose", "--substance", substance],
        )
    };
    let (code, _, err) = dose("Kupfersulfat");
    assert_eq!(code, 4, "{err}");
    assert!(
        err.contains("Kupfersulfat at treatment level kills"),
        "{err}"
    );
    let (code, _, err) = dose("Copper-free plant food");
    assert_eq!(code, 0, "{err}");
}

#[test]
fn edits_are_warned_of_like_new_events() {
    let dir = TempDir::new().unwrap();
    let log = |args: &[&str]| {
        let (code, _, err) = run(dir.path(), &[&["log"], args].concat());
        (code, err)
    };
    let well = |args: &[&str]| done(dir.path(), &[&["log"], args].concat()).1;
    well(&["add", "water", "reef", "--invertebrates"]);
    well(&["add", "water", "quar"]);
    well(&["add", "water", "spare"]);
    well(&["add", "equipment", "net"]);
    let net = ["equipment-in", "--equipment", "net", "--at"];
    well(&[&["event", "quar"], &net[..], &["2026-02-01"]].concat());
    well(&[
        "event",
        "quar",
        "dose",
        "--substance",
        "cupric chloride",
        "--at",
        "2026-02-02",
    ]);
    well(&[&["event", "spare"], &net[..], &["2026-02-03"]].concat());
    let (code, err) = log(&["edit", "e3", "--water", "reef"]);
    assert_eq!(code, 4, "{err}");
    assert!(err.contains("with cupric chloride"), "{err}");
    assert_eq!(well(&["show", "reef", "--json"]), "");
    // The dose itself, moved.
    assert_eq!(log(&["edit", "e2", "--water", "reef"]).0, 4);
    // Put to a time at which it had not met copper, and back.
    let early = [
        "event",
        "reef",
        "equipment-in",
        "--equipment",
        "net",
        "--at",
    ];
    well(&[&early[..], &["2025-02-01"]].concat());
    let (code, err) = log(&["edit", "e4", "--at", "2026-02-04"]);
    assert_eq!(code, 4, "{err}");
    well(&["remove", "e4"]);
    let err = well(&["edit", "e3", "--water", "reef", "--anyway"]);
    assert!(err.starts_with("warning: \"net\" was in \"quar\""), "{err}");
    // The stay that is moved does not count: where it was logged first, it never was.
    well(&["add", "equipment", "pump"]);
    well(&[
        "event",
        "quar",
        "equipment-in",
        "--equipment",
        "pump",
        "--at",
        "2026-02-05",
    ]);
    assert!(!well(&["edit", "e5", "--water", "reef"]).contains("warning"));
}

/// Copper would be let into a water whose invertebrates only the file knew.
#[test]
fn an_import_brings_word_of_invertebrates() {
    let dir = TempDir::new().unwrap();
    let mut other = open(&dir.path().join("b.sqlite"));
    other.add_water(&water("Reef")).unwrap();
    let file = Whole::of(&other).unwrap().json();
    let mut book = open(&dir.path().join("a.sqlite"));
    let dull = Water {
        invertebrates: false,
        ..water("reef")
    };
    book.add_water(&dull).unwrap();
    let copper = dosed("reef", "copper sulfate", 0);
    assert_eq!(equipment::warning(&book, &copper, None).unwrap(), None);
    let import = |book: &mut Logbook| {
        let whole = Whole::from_json(&file).unwrap();
        whole.import(book, &at(500)).unwrap()
    };
    assert_eq!(import(&mut book).invertebrates, ["reef"]);
    assert!(equipment::warning(&book, &copper, None).unwrap().is_some());
    assert_eq!(book.changes().unwrap().len(), 1, "what was there is kept");
    assert_eq!(import(&mut book).invertebrates, [""; 0]);
}

#[test]
fn a_water_gets_invertebrates_and_is_looked_at_then() {
    let dir = TempDir::new().unwrap();
    let log = |args: &[&str]| done(dir.path(), &[&["log"], args].concat());
    log(&["add", "water", "quar"]);
    log(&["add", "water", "reef"]);
    let (_, err) = log(&["edit", "w2", "--invertebrates", "yes", "--medium", "salt"]);
    assert_eq!(err, "water w2 changed\n");
    let (shown, _) = log(&["show"]);
    assert!(
        shown.contains("reef  salt, invertebrates live there"),
        "{shown}"
    );
    log(&[
        "event",
        "quar",
        "dose",
        "--substance",
        "copper",
        "--at",
        "2026-02-02",
    ]);
    let (_, err) = log(&[
        "event",
        "quar",
        "livestock-in",
        "--substance",
        "snails",
        "--at",
        "2026-02-09",
    ]);
    assert!(
        err.contains("note: this water or equipment in it was in \"quar\" with copper"),
        "{err}"
    );
    let edit = ["log", "edit", "w1", "--invertebrates", "yes"];
    let (code, _, err) = run(dir.path(), &edit);
    assert_eq!(code, 4, "{err}");
    assert!(
        err.contains("quar: this water or equipment in it was in \"quar\" with copper"),
        "{err}"
    );
    assert!(!log(&["show"]).0.contains("quar  invertebrates"));
    let (_, err) = done(dir.path(), &[&edit[..], &["--anyway"]].concat());
    assert!(
        err.contains("warning: this water or equipment in it was in \"quar\" with copper"),
        "{err}"
    );
    let (_, err) = log(&["edit", "w1", "--invertebrates", "no"]);
    assert_eq!(err, "water w1 changed\n");
    // Equipment in the water counts, once it is there.
    log(&["add", "equipment", "net"]);
    for (water, kind, day) in [
        ("quar", "equipment-in", "2026-02-10"),
        ("quar", "equipment-out", "2026-02-11"),
    ] {
        log(&["event", water, kind, "--equipment", "net", "--at", day]);
    }
    log(&[
        "event",
        "reef",
        "equipment-in",
        "--equipment",
        "net",
        "--at",
        "2026-02-12",
        "--anyway",
    ]);
    let (_, err) = log(&["edit", "w2", "--invertebrates", "yes", "--anyway"]);
    assert!(err.contains("in \"quar\" with copper"), "{err}");
    // Where it was and what it met is in the JSON as well.
    let (json, _) = log(&["show", "--json"]);
    let net: serde_json::Value = serde_json::from_str(json.lines().last().unwrap()).unwrap();
    assert_eq!(net["stays"][0]["water"], "quar");
    assert_eq!(net["met"][0]["substance"], "copper");
}

/// Formalin is no copper: a medicine by what the keeper says.
#[test]
fn a_medicine_is_not_dosed_to_invertebrates_unawares() {
    let dir = TempDir::new().unwrap();
    done(
        dir.path(),
        &["log", "add", "water", "reef", "--invertebrates"],
    );
    done(dir.path(), &["log", "add", "water", "quar"]);
    let dose = |water: &'static str| ["log", "event", water, "dose", "--substance", "formalin"];
    done(dir.path(), &[&dose("quar")[..], &["--medicine"]].concat());
    done(dir.path(), &dose("reef"));
    let medicine = [&dose("reef")[..], &["--medicine"]].concat();
    let (code, _, err) = run(dir.path(), &medicine);
    assert_eq!(code, 4, "{err}");
    assert!(err.contains("so formalin is not to go in"), "{err}");
    let (_, err) = done(dir.path(), &[&medicine[..], &["--anyway"]].concat());
    assert!(err.contains("warning: invertebrates live in"), "{err}");
}
