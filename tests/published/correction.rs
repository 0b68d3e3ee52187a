//! Colour correction from a 24-patch target: Finlayson, Mackiewicz, Hurlbert (2015) IEEE Trans. Image Process. 24(5):1460-1470,
//! and the three-term case of Cheung et al. (2004) Coloration Technology 120(1):19-25, on the unit-test data of
//! colour-science 0.4.7 (BSD-3-Clause).

use nalgebra::DMatrix;
use tintwell::light::terms::{Correction, Terms};

use crate::table::{Differences, json, list, rows};

/// Method of the tables, expansion, tolerance: 1e-7 where the fit is well conditioned, 1e-5 where 13 or 22 terms meet
/// 24 patches, as the tables say.
const METHODS: [(&str, Terms, f64); 5] = [
    ("cheung3", Terms::Linear, 1e-7),
    ("finlayson_deg1_root", Terms::Linear, 1e-7),
    ("finlayson_deg2_root", Terms::Root2, 1e-7),
    ("finlayson_deg3_root", Terms::Root3, 1e-5),
    ("finlayson_deg4_root", Terms::Root4, 1e-5),
];

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

fn fitted(terms: Terms) -> Correction {
    let (measured, reference) = patches();
    terms.fit(&measured, &reference, None).expect("24 patches")
}

#[test]
fn corrected_patches() {
    let (measured, _) = patches();
    let table = rows("ccm_expected_output.csv");
    let mut differences = Differences::default();
    for (method, terms, tolerance) in METHODS {
        let correction = fitted(terms);
        for row in table.iter().filter(|r| r.text("method") == method) {
            let patch = row.number("patch") as usize;
            let got = correction.apply(measured[patch - 1]);
            let expected = row.numbers(["R", "G", "B"]);
            for i in 0..3 {
                let what = format!("{method}, patch {patch}, {}", ["R", "G", "B"][i]);
                differences.within(what, got[i], expected[i], tolerance);
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
    for (key, terms) in [
        ("cheung3", Terms::Linear),
        ("finlayson_deg1_root (default)", Terms::Linear),
        ("finlayson_deg3_root", Terms::Root3),
    ] {
        let got = fitted(terms).apply([input[0], input[1], input[2]]);
        for (i, expected) in list(&table["expected"], key).into_iter().enumerate() {
            differences.within(format!("{key}, {i}"), got[i], expected, 1e-7);
        }
    }
    differences.none_in(9);
}

#[test]
fn documented_matrices() {
    let table = json("ccm_documented_example.json");
    let mut differences = Differences::default();
    for (key, terms) in [
        ("cheung3", Terms::Linear),
        ("finlayson_deg2_root", Terms::Root2),
    ] {
        let correction = fitted(terms);
        let got: &DMatrix<f64> = correction.matrix();
        let expected = table["matrices_rows_are_output_channels"][key]
            .as_array()
            .expect(key);
        for (r, row) in expected.iter().enumerate() {
            for (c, cell) in row.as_array().expect(key).iter().enumerate() {
                differences.within(
                    format!("{key}, row {r}, term {c}"),
                    got[(r, c)],
                    cell.as_f64().expect(key),
                    1e-7,
                );
            }
        }
    }
    differences.none_in(3 * (3 + 6));
}
