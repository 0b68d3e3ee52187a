//! sRGB, XYZ, CIELAB, white points and adaptation: IEC 61966-2-1:1999 with Amendment 1:2003, CIE 15:2018, ISO/CIE 11664-4:2019,
//! ASTM E308, ICC.1:2022 Annex E.

use nalgebra::{Matrix3, Vector3};
use serde_json::Value;
use tintwell::colour::{
    D50, D65, Lab, Relative, RgbSpace, White, bradford, srgb_decode, srgb_encode,
};

use crate::table::{Differences, json, list, rows};

#[test]
fn srgb_decoding_of_all_codes() {
    let mut differences = Differences::default();
    for row in rows("srgb_transfer_8bit.csv") {
        let code = row.number("code");
        differences.within(
            format!("code {code}"),
            srgb_decode(code / 255.0),
            row.number("linear"),
            1e-12,
        );
    }
    differences.none_in(256);
}

#[test]
fn srgb_transfer_both_ways() {
    let mut differences = Differences::default();
    for row in rows("srgb_transfer_points.csv") {
        let transfer = match row.text("direction") {
            "decode" => srgb_decode,
            "encode" => srgb_encode,
            other => panic!("line {}: direction {other}", row.line),
        };
        let [input, output] = row.numbers(["input", "output"]);
        differences.within(
            format!("line {}, {input}", row.line),
            transfer(input),
            output,
            1e-12,
        );
    }
    differences.none_in(37);
}

/// A matrix of a table, written row by row.
fn matrix(of: &Value) -> Matrix3<f64> {
    let cell = |r: usize, c: usize| {
        of[r][c]
            .as_f64()
            .unwrap_or_else(|| panic!("no cell {r}, {c} in {of}"))
    };
    Matrix3::from_fn(cell)
}

fn compare(
    differences: &mut Differences,
    what: &str,
    got: Matrix3<f64>,
    expected: Matrix3<f64>,
    tolerance: f64,
) {
    for r in 0..3 {
        for c in 0..3 {
            differences.within(
                format!("{what}, row {r}, column {c}"),
                got[(r, c)],
                expected[(r, c)],
                tolerance,
            );
        }
    }
}

#[test]
fn srgb_matrices() {
    let table = json("srgb_matrices.json");
    let (to, from) = (RgbSpace::Srgb.to_xyz(), RgbSpace::Srgb.from_xyz());
    let mut differences = Differences::default();
    for (key, got, tolerance) in [
        ("derived_rgb_to_xyz_white_0.95047_1_1.08883", to, 1e-12),
        ("derived_xyz_to_rgb_white_0.95047_1_1.08883", from, 1e-12),
        ("lindbloom_rgb_to_xyz_7dp", to, 1e-7),
        ("iec_rgb_to_xyz_4dp", to, TO_XYZ_VARIANTS),
        ("iec_xyz_to_rgb_4dp", from, TO_RGB_VARIANTS),
        ("iec_amd1_xyz_to_rgb_7dp", from, TO_RGB_VARIANTS),
    ] {
        compare(&mut differences, key, got, matrix(&table[key]), tolerance);
    }
    differences.none_in(6 * 9);
}

/// The standard's white is x = 0.3127, y = 0.3290, thus Z = 1.08906; ASTM E308 has Z = 1.08883. No entry exceeds 1, so none moves by
/// more than that difference, to which half a unit of the fourth decimal is added.
const TO_XYZ_VARIANTS: f64 = 2.3e-4 + 5e-5;
/// The same for the inverse, whose entries reach 3.3.
const TO_RGB_VARIANTS: f64 = 3.3 * TO_XYZ_VARIANTS;

#[test]
fn xyz_to_lab_and_back() {
    let mut differences = Differences::default();
    let table = rows("xyz_to_lab_pairs.csv");
    for row in &table {
        let white = match row.text("white") {
            "D65" => D65,
            "D50" => D50,
            other => panic!("line {}: white {other}", row.line),
        };
        let xyz = row.numbers(["X", "Y", "Z"]);
        let expected = row.numbers(["L", "a", "b"]);
        let got: [f64; 3] = Lab::from_xyz(xyz.map(|v| v / 100.0), white).into();
        let back = Lab::from(expected).to_xyz(white);
        for i in 0..3 {
            // Twelve digits are printed: 1e-9 on values up to 100, and the same for XYZ on the scale of 100.
            differences.within(
                format!("line {}, {}", row.line, ["L", "a", "b"][i]),
                got[i],
                expected[i],
                1e-9,
            );
            differences.within(
                format!("line {}, {} back", row.line, ["X", "Y", "Z"][i]),
                100.0 * back[i],
                xyz[i],
                1e-9,
            );
        }
    }
    differences.none_in(6 * table.len());
}

/// The whole chain from 8-bit codes, also by way of the working space.
#[test]
fn srgb_codes_to_lab() {
    let mut differences = Differences::default();
    let table = rows("srgb8_to_lab_d65.csv");
    for row in &table {
        let code = row.numbers(["R", "G", "B"]).map(|c| c as u8);
        let expected = row.numbers(["L", "a", "b"]);
        let direct: [f64; 3] = Lab::from_srgb8(code).into();
        let relative = Relative::from_srgb8(code);
        let by_paper: [f64; 3] = relative.to_lab().into();
        for i in 0..3 {
            let name = ["L", "a", "b"][i];
            // Ten significant digits are printed, the largest value being 107.86.
            differences.within(format!("{code:?}, {name}"), direct[i], expected[i], 1e-7);
            differences.within(
                format!("{code:?}, {name} over paper"),
                by_paper[i],
                expected[i],
                1e-7,
            );
            let shown = relative.to_srgb8()[i];
            differences.within(
                format!("{code:?}, {} shown", ["R", "G", "B"][i]),
                shown.into(),
                code[i].into(),
                0.0,
            );
        }
    }
    differences.none_in(9 * table.len());
}

/// A white of ASTM E308.
fn white(name: &str) -> White {
    let table = rows("white_points_2deg.csv");
    let row = table
        .iter()
        .find(|r| r.text("illuminant") == name)
        .unwrap_or_else(|| panic!("no white {name}"));
    White(
        row.numbers(["E308_X", "E308_Y", "E308_Z"])
            .map(|v| v / 100.0),
    )
}

#[test]
fn white_points() {
    let mut differences = Differences::default();
    for (name, ours) in [("D65", D65), ("D50", D50)] {
        for i in 0..3 {
            differences.within(format!("{name}, {i}"), ours.0[i], white(name).0[i], 1e-12);
        }
    }
    differences.none_in(6);
}

#[test]
fn bradford_matrices() {
    let table = json("chromatic_adaptation.json");
    let mut differences = Differences::default();
    let mut pairs = 0;
    let computed = table["matrices"].as_object().expect("matrices").iter();
    let computed = computed.filter_map(|(key, m)| Some((key.strip_prefix("Bradford:")?, m, 1e-9)));
    let published = table["published_lindbloom_bradford"]
        .as_object()
        .expect("published matrices")
        .iter();
    let published = published.map(|(key, m)| (key.as_str(), m, 1e-7));
    for (key, expected, tolerance) in computed.chain(published) {
        let (from, to) = key.split_once("->").expect("from->to");
        compare(
            &mut differences,
            key,
            bradford(white(from), white(to)),
            matrix(expected),
            tolerance,
        );
        pairs += 1;
    }
    assert_eq!(pairs, 8 + 7);
    differences.none_in(9 * pairs);
}

/// The sRGB profile's adaptation tag, rounded to 16 bits after the point (within 2e-5 of exact arithmetic).
#[test]
fn bradford_of_the_srgb_profile() {
    let (x, y) = {
        let white = list(&json("srgb_matrices.json"), "white_xy");
        (white[0], white[1])
    };
    let screen = White([x / y, 1.0, (1.0 - x - y) / y]);
    // The connection space's white, ICC.1:2022.
    let profile = White([0.9642, 1.0, 0.8249]);
    let table = json("chromatic_adaptation.json");
    let mut differences = Differences::default();
    let expected = matrix(&table["published_icc_srgb_chad"]["value"]);
    compare(
        &mut differences,
        "chad",
        bradford(screen, profile),
        expected,
        2e-5,
    );
    differences.none_in(9);
}

#[test]
fn bradford_examples() {
    let mut differences = Differences::default();
    for row in rows("chromatic_adaptation_examples.csv")
        .iter()
        .filter(|r| r.text("transform") == "Bradford")
    {
        let matrix = bradford(white(row.text("src")), white(row.text("dst")));
        let got = matrix * Vector3::from(row.numbers(["X", "Y", "Z"]));
        let expected = row.numbers(["X2", "Y2", "Z2"]);
        for i in 0..3 {
            differences.within(
                format!("line {}, {}", row.line, ["X", "Y", "Z"][i]),
                got[i],
                expected[i],
                1e-8,
            );
        }
    }
    differences.none_in(3 * 12);
}
