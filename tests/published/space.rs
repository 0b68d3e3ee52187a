//! sRGB, XYZ, CIELAB, white points and adaptation: IEC 61966-2-1:1999 with Amendment 1:2003, CIE 15:2018, ISO/CIE 11664-4:2019,
//! ASTM E308, ICC.1:2022 Annex E.

use nalgebra::{Matrix3, Vector3};
use serde_json::Value;
use tintwell::colour::{
    D65, Lab, Primaries, Relative, RgbSpace, White, bradford, srgb_decode, srgb_encode,
};
use tintwell::photo::Picture;

use crate::table::{Differences, json, rows};

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
    let of_astm = Primaries::SRGB.to_xyz(white("D65"));
    let back = of_astm.try_inverse().expect("a matrix with an inverse");
    let mut differences = Differences::default();
    for (key, got, tolerance) in [
        ("derived_rgb_to_xyz_white_0.95047_1_1.08883", of_astm, 1e-12),
        ("derived_xyz_to_rgb_white_0.95047_1_1.08883", back, 1e-12),
        ("lindbloom_rgb_to_xyz_7dp", of_astm, 1e-7),
        ("iec_rgb_to_xyz_4dp", to, 5.1e-5),
        ("iec_xyz_to_rgb_4dp", from, OF_ROUNDED),
        ("iec_amd1_xyz_to_rgb_7dp", from, OF_ROUNDED),
    ] {
        compare(&mut differences, key, got, matrix(&table[key]), tolerance);
    }
    differences.none_in(6 * 9);
}

/// The standard inverts its matrix after rounding it to four decimals, which moves entries of the inverse by up to 4e-4.
const OF_ROUNDED: f64 = 4e-4;

#[test]
fn xyz_to_lab_and_back() {
    let mut differences = Differences::default();
    let table = rows("xyz_to_lab_pairs.csv");
    for row in &table {
        let white = white(row.text("white"));
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

/// The whole chain from 8-bit codes, under the white of the table.
#[test]
fn srgb_codes_to_lab() {
    let astm = white("D65");
    let to_xyz = Primaries::SRGB.to_xyz(astm);
    let mut differences = Differences::default();
    let table = rows("srgb8_to_lab_d65.csv");
    for row in &table {
        let code = row.numbers(["R", "G", "B"]);
        let linear = Vector3::from(code.map(|c| srgb_decode(c / 255.0)));
        let got: [f64; 3] = Lab::from_xyz((to_xyz * linear).into(), astm).into();
        let expected = row.numbers(["L", "a", "b"]);
        for i in 0..3 {
            // Ten significant digits are printed, the largest value being 107.86.
            let name = ["L", "a", "b"][i];
            differences.within(format!("{code:?}, {name}"), got[i], expected[i], 1e-7);
        }
    }
    differences.none_in(3 * table.len());
}

/// The way of a photo's pixel: from its codes through the working space to light relative to paper, here white, to CIELAB, and to a
/// screen. The white of sRGB itself is another than that of the table in the fourth decimal.
#[test]
fn pixels_to_lab_and_to_a_screen() {
    let mut differences = Differences::default();
    let table = rows("srgb8_to_lab_d65.csv");
    for row in &table {
        let code = row.numbers(["R", "G", "B"]).map(|c| c as u8);
        let picture = Picture::from_rgb8(1, 1, code.to_vec());
        let relative = Relative(picture.linear(0, 0).0);
        let got: [f64; 3] = relative.to_lab().into();
        let expected = row.numbers(["L", "a", "b"]);
        let shown = relative.to_srgb8();
        for i in 0..3 {
            let name = ["L", "a", "b"][i];
            differences.within(
                format!("{code:?}, {name}"),
                got[i],
                expected[i],
                OTHER_WHITE,
            );
            let name = ["R", "G", "B"][i];
            differences.within(
                format!("{code:?}, {name} shown"),
                shown[i].into(),
                code[i].into(),
                0.0,
            );
        }
    }
    differences.none_in(6 * table.len());
}

/// Z of the two whites differs by 2.1e-4 of itself, and the amounts of the primaries by no more; the cube root makes a third of
/// that, 7e-5, and CIELAB some 200 times as much.
const OTHER_WHITE: f64 = 0.015;

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

/// By chromaticity, and near the XYZ of ASTM E308, which are rounded another way.
#[test]
fn white_point() {
    let mut differences = Differences::default();
    let [x, y, z] = D65.0;
    let table = rows("white_points_2deg.csv");
    let row = table.iter().find(|r| r.text("illuminant") == "D65");
    let [want_x, want_y] = row.expect("D65").numbers(["x", "y"]);
    differences.within("x", x / (x + y + z), want_x, 1e-12);
    differences.within("y", y / (x + y + z), want_y, 1e-12);
    for i in 0..3 {
        differences.within(i, D65.0[i], white("D65").0[i], 3e-4);
    }
    differences.none_in(5);
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
    // The connection space's white, ICC.1:2022.
    let profile = White([0.9642, 1.0, 0.8249]);
    let table = json("chromatic_adaptation.json");
    let mut differences = Differences::default();
    let expected = matrix(&table["published_icc_srgb_chad"]["value"]);
    compare(
        &mut differences,
        "chad",
        bradford(D65, profile),
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
