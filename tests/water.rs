//! The water arithmetic against published and reference values, by hand where there are none, and its laws.

#[path = "water/ammonia.rs"]
mod ammonia;
#[path = "water/convert.rs"]
mod convert;
#[path = "water/mixing.rs"]
mod mixing;
#[path = "water/standards.rs"]
mod standards;

use std::path::Path;

use approx::assert_relative_eq;
use serde_json::Value;
use tintwell::error::{Error, Result};
use tintwell::water::Estimate;
use tintwell::water::ammonia::{Water, part, unionised};
use tintwell::water::convert::{
    Species, convert, factor, mg_per_litre_from_ppm, ppm_from_mg_per_litre,
};
use tintwell::water::density::density;
use tintwell::water::mixing::{
    Goal, after_change, after_changes, share_for_all, share_interval, share_needed, spread,
};
use tintwell::water::over_range::dilution;
use tintwell::water::routine::Routine;
use tintwell::water::series::{Measuring, Row, Source, table};
use tintwell::water::standards::{Stock, dilute, made, volume_to_take, weigh};

fn published(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/published")
        .join(name);
    std::fs::read_to_string(path).unwrap()
}

fn facts() -> Value {
    serde_json::from_str(&published("water_facts.json")).unwrap()
}

/// The rows of a table with the given columns; what is empty is left out by its row.
fn rows(name: &str, columns: &[&str]) -> Vec<Vec<f64>> {
    let text = published(name);
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let header = reader.headers().unwrap().clone();
    let places: Vec<usize> = columns
        .iter()
        .map(|c| header.iter().position(|h| h == *c).unwrap())
        .collect();
    reader
        .records()
        .filter_map(|r| {
            let r = r.unwrap();
            places.iter().map(|p| r[*p].parse().ok()).collect()
        })
        .collect()
}

fn number(value: &Value, key: &str) -> f64 {
    value[key]
        .as_f64()
        .unwrap_or_else(|| panic!("{key} in {value}"))
}

fn exact(value: f64) -> Estimate {
    Estimate::exact(value)
}

fn species(text: &str) -> Species {
    text.parse().unwrap()
}

/// Uncertainty by moving each input by a thousandth of its own, up and down: no derivative of the code's is used.
fn by_moving(inputs: &[Estimate], f: impl Fn(&[Estimate]) -> f64) -> f64 {
    let mut sum = 0.0;
    for i in 0..inputs.len() {
        let at = |sign: f64| {
            let mut moved = inputs.to_vec();
            moved[i].value += sign * 1e-3 * inputs[i].u;
            f(&moved)
        };
        sum += ((at(1.0) - at(-1.0)) / 2e-3).powi(2);
    }
    sum.sqrt()
}

/// Each gives an error that says what to do.
fn all_refused<T: std::fmt::Debug>(results: impl IntoIterator<Item = Result<T>>) {
    for (i, r) in results.into_iter().enumerate() {
        let Error { what, fix, .. } = r.expect_err(&format!("number {i} must be refused"));
        assert!(!what.is_empty() && !fix.is_empty());
    }
}

const NOT_AMOUNTS: [Estimate; 5] = [
    Estimate {
        value: f64::NAN,
        u: 0.0,
    },
    Estimate {
        value: -1.0,
        u: 0.0,
    },
    Estimate {
        value: f64::INFINITY,
        u: 0.0,
    },
    Estimate {
        value: 1.0,
        u: -0.1,
    },
    Estimate {
        value: 1.0,
        u: f64::NAN,
    },
];
