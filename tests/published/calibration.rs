//! Straight-line calibration and inverse prediction: Miller & Miller, Statistics and Chemometrics for Analytical Chemistry, ch. 5;
//! Graybill & Iyer (1994) ch. 6; Greenwell & Schubert Kabban (2014) The R Journal 6(1):90-100; Fieller (1954).

use serde_json::Value;
use tintwell::estimate::line::{Inverse, Line, Response};

use crate::table::{Differences, json, list, number};

fn line_of(table: &Value) -> Line {
    Line::fit(&list(table, "x"), &list(table, "y")).expect("a line")
}

fn compare_line(differences: &mut Differences, line: &Line, fit: &Value) {
    for (key, got) in [
        ("xbar", line.mean_x),
        ("ybar", line.mean_y),
        ("Sxx", line.sxx),
        ("slope", line.slope),
        ("intercept", line.intercept),
        ("s_yx", line.residual_sd),
        ("s_b", line.slope_error()),
        ("s_a", line.intercept_error()),
    ] {
        differences.within_relative(key, got, number(fit, key), 1e-9);
    }
}

/// Rows of unknowns read by the interval value ± t times the standard error. `half95` needs the digits of the value.
fn compare_symmetric(differences: &mut Differences, got: &Inverse, row: &Value) {
    differences.within_relative(
        format!("value of {row}"),
        got.value,
        number(row, "x0"),
        1e-9,
    );
    differences.within_relative(
        format!("error of {row}"),
        got.standard_error,
        number(row, "s_x0"),
        1e-9,
    );
    let half = 0.5 * (got.symmetric.1 - got.symmetric.0);
    differences.within_relative(
        format!("interval of {row}"),
        half,
        number(row, "half95"),
        1e-9,
    );
}

#[test]
fn miller_fluorescence() {
    let table = json("calib_miller_fluorescence.json");
    let line = line_of(&table);
    let mut differences = Differences::default();
    compare_line(&mut differences, &line, &table["fit"]);

    let unknowns = table["inverse_classic"].as_array().expect("unknowns");
    for row in unknowns {
        let response = Response::Weighted {
            signal: number(row, "y0"),
            weight: number(row, "m"),
        };
        let got = line.invert(response, 0.95).expect("a value");
        compare_symmetric(&mut differences, &got, row);
        differences.within_relative(
            format!("low end of {row}"),
            got.symmetric.0,
            number(row, "lower95"),
            1e-9,
        );
        differences.within_relative(
            format!("high end of {row}"),
            got.symmetric.1,
            number(row, "upper95"),
            1e-9,
        );
    }
    let exact = table["inverse_fieller_m1"]
        .as_array()
        .expect("exact intervals");
    for row in exact {
        let got = line
            .invert(Response::Readings(&[number(row, "y0")]), 0.95)
            .expect("a value");
        compare_inverse(&mut differences, &format!("{row}"), &got, row);
    }
    assert_eq!((unknowns.len(), exact.len()), (6, 3));
    differences.none_in(8 + 6 * 5 + 3 * 8);
}

/// The figures that the book prints, to half a unit of their last digit.
#[test]
fn miller_as_printed() {
    let table = json("calib_miller_fluorescence.json");
    let line = line_of(&table);
    let printed = &table["_published_rounded"];
    let mut differences = Differences::default();
    for (key, got, half_unit) in [
        ("slope", line.slope, 5e-3),
        ("intercept", line.intercept, 5e-3),
        // Printed 0.4329, exact 0.43285: the book rounds an intermediate value.
        ("s_yx", line.residual_sd, 1e-4),
        ("s_b", line.slope_error(), 5e-5),
        ("s_a", line.intercept_error(), 5e-4),
    ] {
        differences.within(key, got, number(printed, key), half_unit);
    }
    differences.none_in(5);
}

#[test]
fn miller_weighted() {
    let table = json("calib_miller_weighted.json");
    let sd = list(&table, "s");
    let line = Line::fit_weighted(&list(&table, "x"), &list(&table, "y"), &sd).expect("a line");
    let mut differences = Differences::default();
    for (key, got) in [
        ("xbar_w", line.mean_x),
        ("ybar_w", line.mean_y),
        ("Sxx_w", line.sxx),
        ("slope", line.slope),
        ("intercept", line.intercept),
        ("s_yx_w", line.residual_sd),
        ("se_slope", line.slope_error()),
        ("se_intercept", line.intercept_error()),
    ] {
        differences.within_relative(key, got, number(&table, key), 1e-9);
    }
    for (sd, weight) in sd.iter().zip(list(&table, "w")) {
        differences.within_relative(
            format!("weight of {sd}"),
            line.weight_of(*sd).expect("weighted"),
            weight,
            1e-9,
        );
    }
    let unknowns = table["unknowns_weighted"].as_array().expect("unknowns");
    for row in unknowns {
        let response = Response::Weighted {
            signal: number(row, "y0"),
            weight: number(row, "w0"),
        };
        compare_symmetric(
            &mut differences,
            &line.invert(response, 0.95).expect("a value"),
            row,
        );
    }
    let printed = &table["_published_rounded"];
    let at = |signal: f64| {
        line.invert(Response::Mean(signal), 0.95)
            .expect("a value")
            .value
    };
    for (key, got, half_unit) in [
        ("weighted_slope", line.slope, 5e-5),
        ("weighted_intercept", line.intercept, 5e-5),
        ("x_0.100", at(0.1), 5e-3),
        ("x_0.600", at(0.6), 5e-3),
    ] {
        differences.within(key, got, number(printed, key), half_unit);
    }
    assert_eq!(unknowns.len(), 4);
    differences.none_in(8 + 6 + 4 * 3 + 4);
}

#[test]
fn miller_weighted_example_without_weights() {
    let table = json("calib_miller_weighted.json");
    let line = line_of(&table);
    let mut differences = Differences::default();
    compare_line(&mut differences, &line, &table["unweighted_fit"]);
    let unknowns = table["unweighted_unknowns"].as_array().expect("unknowns");
    for row in unknowns {
        let response = Response::Weighted {
            signal: number(row, "y0"),
            weight: number(row, "m"),
        };
        compare_symmetric(
            &mut differences,
            &line.invert(response, 0.95).expect("a value"),
            row,
        );
    }
    assert_eq!(unknowns.len(), 2);
    differences.none_in(8 + 2 * 3);
}

/// Eight figures of a row computed by the formulas that the table states.
fn compare_inverse(differences: &mut Differences, what: &str, got: &Inverse, row: &Value) {
    let (lower, upper) = got.fieller.unwrap_or((f64::NAN, f64::NAN));
    for (key, got) in [
        ("estimate", got.value),
        ("lower", lower),
        ("upper", upper),
        ("g", got.g),
        ("df", got.freedom),
        ("wald_se", got.standard_error),
        ("wald_lower", got.symmetric.0),
        ("wald_upper", got.symmetric.1),
    ] {
        differences.within_relative(format!("{what}, {key}"), got, number(row, key), 1e-8);
    }
}

#[test]
fn inverse_intervals() {
    let table = json("inverse_regression_fieller.json");
    let mut differences = Differences::default();
    let (mut finite, mut printed) = (0, 0);
    for case in table["cases"].as_array().expect("cases") {
        let name = case["data"].as_str().expect("a data set");
        let data = if case["x"].is_array() {
            case
        } else {
            &table["data"][name]
        };
        let line = line_of(data);
        let readings = list(case, "y0");
        let response = match case["mean_response"].as_bool().expect("which response") {
            true => Response::Mean(readings[0]),
            false => Response::Readings(&readings),
        };
        let what = format!(
            "{name} at {readings:?}, level {}, {}",
            case["conf"], case["mean_response"]
        );
        let got = line.invert(response, number(case, "conf")).expect(&what);

        let computed = &case["computed"];
        if computed["lower"].is_null() {
            assert_eq!(
                got.fieller, None,
                "{what}: no finite interval holds the value"
            );
            differences.within_relative(
                format!("{what}, value"),
                got.value,
                number(computed, "estimate"),
                1e-8,
            );
            differences.within_relative(format!("{what}, g"), got.g, number(computed, "g"), 1e-8);
            continue;
        }
        finite += 1;
        compare_inverse(&mut differences, &what, &got, computed);
        let (lower, upper) = got.fieller.expect(&what);
        for (key, expected) in case["published"].as_object().expect("published figures") {
            let got = match key.as_str() {
                "estimate" => got.value,
                "lower" => lower,
                "upper" => upper,
                "wald_se" => got.standard_error,
                "wald_lower" => got.symmetric.0,
                "wald_upper" => got.symmetric.1,
                other => panic!("{what}: unknown figure {other}"),
            };
            let tolerance = half_unit(&expected.to_string());
            differences.within(
                format!("{what}, {key} as printed"),
                got,
                expected.as_f64().expect(key),
                tolerance,
            );
            printed += 1;
        }
    }
    assert_eq!((finite, printed), (12, 30));
    differences.none_in(12 * 8 + 30 + 2);
}

/// Half a unit of the last digit of a printed number.
fn half_unit(printed: &str) -> f64 {
    let decimals = printed
        .split_once('.')
        .map_or(0, |(_, digits)| digits.len());
    0.5 * 10f64.powi(-(decimals as i32))
}
