//! One row a photo, for a spreadsheet. Unknown is an empty cell.
//!
//! Columns, in this order: [`COLUMNS`]. Concentrations are in `unit`; `flags` holds codes separated by spaces and
//! `first_flag` the most severe one in words; `error` tells why a photo has no reading; `white` and
//! `vial` are regions marked by hand, as `x,y,w,h` in pixels.

use super::Outcome;
use super::json::Record;
use crate::place::Area;

/// The header.
pub const COLUMNS: [&str; 24] = [
    "photo",
    "taken_at",
    "test",
    "unit",
    "answer",
    "value",
    "low",
    "high",
    "level",
    "confidence",
    "verdict",
    "flags",
    "first_flag",
    "lab_l",
    "lab_a",
    "lab_b",
    "delta_e_chart",
    "delta_e_step",
    "nearest_step",
    "error",
    "sha256",
    "chart_sha256",
    "white",
    "vial",
];

/// The header as a line of CSV with its newline.
pub fn header() -> String {
    line(COLUMNS.map(str::to_owned))
}

/// An outcome as a line of CSV (RFC 4180) with its newline.
pub fn row(outcome: &Outcome) -> String {
    let r = Record::of(outcome);
    let number = |v: Option<f64>| v.map(|v| v.to_string()).unwrap_or_default();
    let lab = |i: usize| number(r.lab.map(|l| l[i]));
    let area = |a: Option<Area>| a.map(|a| a.to_string()).unwrap_or_default();
    let codes: Vec<&str> = r.flags.iter().map(|f| f.code.as_str()).collect();
    line([
        r.photo.clone(),
        r.taken_at.clone().unwrap_or_default(),
        r.test.clone().unwrap_or_default(),
        r.unit.clone().unwrap_or_default(),
        r.answer.unwrap_or_default().to_owned(),
        number(r.value),
        number(r.low),
        number(r.high),
        number(Some(r.level)),
        number(r.confidence),
        r.verdict.word().to_owned(),
        codes.join(" "),
        r.flags
            .first()
            .map(|f| f.message.clone())
            .unwrap_or_default(),
        lab(0),
        lab(1),
        lab(2),
        number(r.delta_e_chart),
        number(r.delta_e_step),
        number(r.nearest_step),
        r.error.clone().unwrap_or_default(),
        r.sha256.clone().unwrap_or_default(),
        r.chart_sha256.clone().unwrap_or_default(),
        area(r.white),
        area(r.vial),
    ])
}

fn line<const N: usize>(cells: [String; N]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    // Writing to memory does not fail, and the cells are UTF-8.
    let written = writer
        .write_record(&cells)
        .ok()
        .and_then(|()| writer.into_inner().ok());
    written
        .and_then(|bytes| String::from_utf8(bytes).ok())
        .unwrap_or_default()
}
