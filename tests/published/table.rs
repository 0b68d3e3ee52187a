//! Reading the tables, and one way of comparing for all of them.

use std::path::PathBuf;

use serde_json::Value;

/// Rows of a table by column name. Lines that begin with `#` are its head.
pub struct Row {
    pub line: u64,
    names: csv::StringRecord,
    cells: csv::StringRecord,
}

impl Row {
    pub fn text(&self, column: &str) -> &str {
        let at = self
            .names
            .iter()
            .position(|n| n == column)
            .unwrap_or_else(|| panic!("no column {column}"));
        &self.cells[at]
    }

    pub fn number(&self, column: &str) -> f64 {
        self.text(column)
            .parse()
            .unwrap_or_else(|e| panic!("line {}, {column}: {e}", self.line))
    }

    pub fn numbers<const N: usize>(&self, columns: [&str; N]) -> [f64; N] {
        columns.map(|c| self.number(c))
    }
}

fn path(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/published")
        .join(name)
}

/// All rows of a CSV table; a table without rows is a failure.
pub fn rows(name: &str) -> Vec<Row> {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path(name))
        .expect(name);
    let names = reader.headers().expect(name).clone();
    let rows: Vec<Row> = reader
        .records()
        .map(|r| r.expect(name))
        .map(|cells| Row {
            line: cells.position().map_or(0, |p| p.line()),
            names: names.clone(),
            cells,
        })
        .collect();
    assert!(!rows.is_empty(), "{name} has no rows");
    rows
}

/// A JSON table.
pub fn json(name: &str) -> Value {
    serde_json::from_slice(&std::fs::read(path(name)).expect(name)).expect(name)
}

/// The number at `key`.
pub fn number(of: &Value, key: &str) -> f64 {
    of[key]
        .as_f64()
        .unwrap_or_else(|| panic!("no number at {key}"))
}

/// The list of numbers at `key`.
pub fn list(of: &Value, key: &str) -> Vec<f64> {
    let list = of[key]
        .as_array()
        .unwrap_or_else(|| panic!("no list at {key}"));
    list.iter()
        .map(|v| v.as_f64().unwrap_or_else(|| panic!("{key}: not a number")))
        .collect()
}

/// Collects what differs, so that one run names all failing rows.
#[derive(Default)]
pub struct Differences {
    compared: usize,
    found: Vec<String>,
}

impl Differences {
    pub fn within(
        &mut self,
        what: impl std::fmt::Display,
        got: f64,
        expected: f64,
        tolerance: f64,
    ) {
        self.compared += 1;
        let off = (got - expected).abs();
        if off.is_nan() || off > tolerance {
            self.found.push(format!(
                "{what}: expected {expected}, got {got} (tolerance {tolerance:e})"
            ));
        }
    }

    pub fn within_relative(
        &mut self,
        what: impl std::fmt::Display,
        got: f64,
        expected: f64,
        tolerance: f64,
    ) {
        self.within(what, got, expected, tolerance * expected.abs());
    }

    /// Fails with all differences; also if fewer values were compared than the table holds.
    pub fn none_in(self, compared: usize) {
        assert!(
            self.found.is_empty(),
            "{} differences:\n{}",
            self.found.len(),
            self.found.join("\n")
        );
        assert_eq!(self.compared, compared, "values compared");
    }
}
