//! Colour correction from a 24-patch target: Finlayson, Mackiewicz, Hurlbert (2015) IEEE Trans. Image Process. 24(5):1460-1470,
//! and the three-term case of Cheung et al. (2004) Coloration Technology 120(1):19-25, on the unit-test data of
//! colour-science 0.4.7 (BSD-3-Clause). The published maps are plain least squares: all patches count alike, nothing is known before.

use nalgebra::{DMatrix, DVector};
use tintwell::light::terms::Terms;

use crate::table::{Differences, json, list, rows};

/// Method of the tables and expansion; all are well conditioned, so that the tables' 1e-7 holds.
const METHODS: [(&str, Terms); 3] = [
    ("cheung3", Terms::Linear),
    ("finlayson_deg1_root", Terms::Linear),
    ("finlayson_deg2_root", Terms::Root2),
];
const TOLERANCE: f64 = 1e-7;

fn patches() -> (Vec<[f64; 3]>, Vec<[f64; 3]>) {
    let table = rows("ccm_input_24patch.csv");
    let measured = table
        .iter()
        .map(|r| r.numbers(["test_R", "test_G", "test_B"]))
        .collect();
    let reference = table
        .iter()
        .map(|r| r.numbers(["ref_R", "ref_G", "ref_B"]))
        .collect();
    (measured, reference)
}

fn fitted(terms: Terms) -> DMatrix<f64> {
    let (measured, reference) = patches();
    terms
        .fit(&measured, &reference, |_, _| 1.0, 0.0)
        .expect("24 patches")
}

fn corrected(terms: Terms, rgb: [f64; 3]) -> [f64; 3] {
    let out = fitted(terms) * DVector::from_vec(terms.expand(rgb));
    [out[0], out[1], out[2]]
}

#[test]
fn corrected_patches() {
    let (measured, _) = patches();
    let table = rows("ccm_expected_output.csv");
    let mut differences = Differences::default();
    for (method, terms) in METHODS {
        for row in table.iter().filter(|r| r.text("method") == method) {
            let patch = row.number("patch") as usize;
            let got = corrected(terms, measured[patch - 1]);
            let expected = row.numbers(["R", "G", "B"]);
            for i in 0..3 {
                let what = format!("{method}, patch {patch}, {}", ["R", "G", "B"][i]);
                differences.within(what, got[i], expected[i], TOLERANCE);
            }
        }
    }
    differences.none_in(METHODS.len() * 24 * 3);
}

#[test]
fn documented_example() {
    let table = json("ccm_documented_example.json");
    let input = list(&table, "RGB_in");
    let mut differences = Differences::default();
    for key in ["cheung3", "finlayson_deg1_root (default)"] {
        let got = corrected(Terms::Linear, [input[0], input[1], input[2]]);
        for (i, expected) in list(&table["expected"], key).into_iter().enumerate() {
            differences.within(format!("{key}, {i}"), got[i], expected, TOLERANCE);
        }
    }
    differences.none_in(6);
}

#[test]
fn documented_matrices() {
    let table = json("ccm_documented_example.json");
    let mut differences = Differences::default();
    for (key, terms) in [
        ("cheung3", Terms::Linear),
        ("finlayson_deg2_root", Terms::Root2),
    ] {
        let got = fitted(terms);
        let expected = table["matrices_rows_are_output_channels"][key]
            .as_array()
            .expect(key);
        for (r, row) in expected.iter().enumerate() {
            for (c, cell) in row.as_array().expect(key).iter().enumerate() {
                differences.within(
                    format!("{key}, row {r}, term {c}"),
                    got[(r, c)],
                    cell.as_f64().expect(key),
                    TOLERANCE,
                );
            }
        }
    }
    differences.none_in(3 * (3 + 6));
}
