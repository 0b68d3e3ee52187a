//! The logbook: what it acknowledges is kept, whatever happens; what goes out comes back; what is wrong is told.
//!
//! Waters, readings and events are invented.

mod amounts;
mod command;
mod copper;
mod exchange;
mod limits;
mod look;
mod merge;
mod options;
mod power;

use std::path::Path;

use tintwell::flag::Verdict;
use tintwell::logbook::{
    Access, Amount, Equipment, Event, Jpeg, Kind, Limit, Logbook, Moment, Reading, Source, Water,
};

/// A moment so many minutes after the first of March.
fn at(minutes: i64) -> Moment {
    let from: jiff::ZonedDateTime = "2026-03-01T00:00[-08:00]".parse().unwrap();
    Moment::from(&(from + jiff::SignedDuration::from_mins(minutes)))
}

fn open(path: &Path) -> Logbook {
    Logbook::open(path, "the logbook", Access::Create).unwrap()
}

fn water(name: &str) -> Water {
    Water {
        name: name.into(),
        volume_l: Some(900.0),
        medium: None,
        lives: "anemones, \"hermit\" crabs; and, snails".into(),
        invertebrates: true,
    }
}

fn reading(name: &str, minutes: i64, answer: Amount) -> Reading {
    Reading {
        water: name.into(),
        test: "nitrate".into(),
        unit: "mg/L".into(),
        at: at(minutes),
        answer,
        source: Source::Eye,
        verdict: Verdict::Doubtful,
        photo: None,
        sha256: None,
        chart_sha256: None,
        dilution_factor: Some(5.0),
        note: "after feeding,\nlamp \"off\" – 4 °C".into(),
        record: None,
        picture: None,
    }
}

fn event(name: &str, kind: Kind, minutes: i64) -> Event {
    Event {
        water: name.into(),
        kind,
        at: at(minutes),
        percent: (kind == Kind::WaterChange).then_some(25.0),
        amount: Some(0.1 + 0.2),
        unit: Some("mL".into()),
        substance: Some("bacteria".into()),
        medicine: false,
        equipment: None,
        note: String::new(),
    }
}

/// A logbook with something of everything.
fn filled(path: &Path) -> Logbook {
    let mut book = open(path);
    book.add_water(&water("tidepool")).unwrap();
    book.add_water(&Water {
        volume_l: None,
        invertebrates: false,
        ..water("quarantine tank")
    })
    .unwrap();
    book.add_equipment(&Equipment {
        name: "sponge filter".into(),
        note: "blue".into(),
    })
    .unwrap();
    let value = Amount::Value {
        value: 0.1 + 0.2,
        low: 0.25,
        high: 1.0 / 3.0,
    };
    for reading in [
        reading("tidepool", 0, value),
        reading("tidepool", 10, Amount::Below { high: 0.5 }),
        reading("quarantine tank", 20, Amount::Above { low: 40.0 }),
        Reading {
            sha256: Some("ab".repeat(32)),
            chart_sha256: Some("cd".repeat(32)),
            photo: Some("week/monday.jpg".into()),
            source: Source::Photo,
            verdict: Verdict::Trusted,
            record: Some(serde_json::json!({"flags": [{"code": "dim"}], "lab": [40.5, 1.0, -2.0]})),
            picture: Some(Jpeg(vec![0xff, 0xd8, 0x00, 0xff, 0xd9])),
            ..reading("tidepool", 30, value)
        },
    ] {
        book.add_reading(&reading).unwrap();
    }
    book.add_event(&event("tidepool", Kind::WaterChange, 5))
        .unwrap();
    book.add_event(&Event {
        equipment: Some("sponge filter".into()),
        ..event("quarantine tank", Kind::EquipmentIn, 6)
    })
    .unwrap();
    book.set_limit(
        &Limit {
            water: "tidepool".into(),
            test: "nitrate".into(),
            unit: "mg/L".into(),
            low: None,
            high: Some(30.0),
        },
        &at(50),
    )
    .unwrap();
    book
}
