//! Reading values back from a calibration: Miller & Miller, Statistics and Chemometrics for Analytical Chemistry, ch. 5; Graybill &
//! Iyer (1994) ch. 6; Greenwell & Schubert Kabban (2014) The R Journal 6(1):90-100; Fieller (1954).
//!
//! The examples are straight lines, a chart's curve is not; so each becomes a straight chart, along lightness, and the reading gets
//! the scatter of the example's signal with what is open of its line. The value must be the book's. The interval must be as many of
//! the book's standard errors to either side as for a scatter that is known to some eight degrees of freedom, which the likelihood
//! of a colour takes for given, whatever the example's. Fieller's exact ends differ from such ones by less than 4 % of the half
//! width where the slope is known as well as in these examples.

use nalgebra::Matrix3;
use serde_json::Value;
use tintwell::chart::Step;
use tintwell::chart::curve::{Axis, Choice, Curve, Space};
use tintwell::colour::Lab;
use tintwell::estimate::posterior::posterior;

use crate::table::{Differences, json, list, number};

/// A line as an example has it.
struct Line {
    points: f64,
    mean_y: f64,
    sxx: f64,
    slope: f64,
    intercept: f64,
}

impl Line {
    /// As the tables give it; of a weighted one with the weighted sums.
    fn given(fit: &Value, points: usize, weighted: bool) -> Line {
        let [mean_y, sxx] = if weighted {
            ["ybar_w", "Sxx_w"]
        } else {
            ["ybar", "Sxx"]
        };
        Line {
            points: points as f64,
            mean_y: number(fit, mean_y),
            sxx: number(fit, sxx),
            slope: number(fit, "slope"),
            intercept: number(fit, "intercept"),
        }
    }

    /// Through data, for tables that give no line.
    fn through(data: &Value) -> Line {
        let (x, y) = (list(data, "x"), list(data, "y"));
        let n = x.len() as f64;
        let (mean_x, mean_y) = (x.iter().sum::<f64>() / n, y.iter().sum::<f64>() / n);
        let sxx: f64 = x.iter().map(|x| (x - mean_x).powi(2)).sum();
        let sxy: f64 = x.iter().zip(&y).map(|(x, y)| (x - mean_x) * y).sum();
        Line {
            points: n,
            mean_y,
            sxx,
            slope: sxy / sxx,
            intercept: mean_y - sxy / sxx * mean_x,
        }
    }

    /// Variance of a signal and of the line where it lies, for a signal of variance 1 and so much of its own.
    fn variance(&self, signal: f64, own: f64) -> f64 {
        own + 1.0 / self.points + ((signal - self.mean_y) / self.slope).powi(2) / self.sxx
    }

    /// What is read for a signal with the standard deviation `sd`: value and interval at `level`.
    fn read(&self, signal: f64, sd: f64, level: f64) -> [f64; 3] {
        // Standards so far apart that the interval lies between the second last ones; of lightness, 12 a step and 2 a `sd`.
        const STEP: f64 = 12.0;
        const SD: f64 = 2.0;
        let apart = STEP / SD * sd / self.slope;
        let first = (signal - self.intercept) / self.slope - 3.0 * apart;
        let steps: Vec<Step> = (0..=6)
            .map(|k| {
                let k = f64::from(k);
                let lab = Lab::new(50.0 + STEP * (k - 3.0), 0.0, 0.0);
                Step {
                    value: first + apart * k,
                    ln: lab.to_relative().0.map(f64::ln),
                    covariance: [[0.0; 3]; 3],
                    photos: 1,
                    clear: None,
                }
            })
            .collect();
        let choice = Choice {
            space: Space::Lab,
            axis: Axis::Linear,
            left_out_error: None,
        };
        let curve = Curve::new(&steps, &choice).expect("a straight curve");
        let scatter = Matrix3::identity() * SD * SD;
        let seen = posterior(Lab::new(50.0, 0.0, 0.0), &scatter, &curve, false, level);
        assert_eq!(seen.pieces.len(), 1, "one interval");
        let (low, high) = seen.pieces[0];
        [seen.median, low, high].map(|position| first + apart * position)
    }
}

/// The factors of the standard error, at a level, between which an interval must end: of the normal distribution, less 3 %, and of
/// Student's with eight degrees of freedom (percentage points as in Miller & Miller, tables A.1 and A.2).
fn factors(level: f64) -> [f64; 2] {
    match level {
        0.9 => [0.97 * 1.645, 1.860],
        0.95 => [0.97 * 1.960, 2.306],
        0.99 => [0.97 * 2.576, 3.355],
        other => panic!("no percentage points for {other}"),
    }
}

/// Compares a reading with the value and the standard error of an example.
fn compare(
    differences: &mut Differences,
    what: &str,
    [value, low, high]: [f64; 3],
    level: f64,
    expected: [f64; 2],
) {
    let [x0, error] = expected;
    // The posterior's grid is a thirtieth of a standard error.
    differences.within(format!("{what}, value"), value, x0, 0.04 * error);
    let [least, most] = factors(level);
    let (middle, half) = (0.5 * (least + most), 0.5 * (most - least));
    for (end, got) in [("low", x0 - low), ("high", high - x0)] {
        differences.within(format!("{what}, {end} end"), got / error, middle, half);
    }
}

/// Rows of unknowns with their standard errors; the reading counts `weight`, or that many readings.
fn compare_unknowns(
    differences: &mut Differences,
    line: &Line,
    residual_sd: f64,
    rows: &Value,
    weight: &str,
) -> usize {
    let rows = rows.as_array().expect("unknowns");
    for row in rows {
        let signal = number(row, "y0");
        let sd = residual_sd * line.variance(signal, 1.0 / number(row, weight)).sqrt();
        let expected = [number(row, "x0"), number(row, "s_x0")];
        let got = line.read(signal, sd, 0.95);
        compare(differences, &row.to_string(), got, 0.95, expected);
    }
    rows.len()
}

#[test]
fn miller_fluorescence() {
    let table = json("calib_miller_fluorescence.json");
    let line = Line::given(&table["fit"], list(&table, "x").len(), false);
    let sd = number(&table["fit"], "s_yx");
    let mut differences = Differences::default();
    let rows = compare_unknowns(&mut differences, &line, sd, &table["inverse_classic"], "m");
    assert_eq!(rows, 6);
    differences.none_in(3 * rows);
}

#[test]
fn miller_weighted() {
    let table = json("calib_miller_weighted.json");
    let points = list(&table, "x").len();
    let mut differences = Differences::default();
    let line = Line::given(&table, points, true);
    let sd = number(&table, "s_yx_w");
    let rows = &table["unknowns_weighted"];
    let weighted = compare_unknowns(&mut differences, &line, sd, rows, "w0");
    let fit = &table["unweighted_fit"];
    let line = Line::given(fit, points, false);
    let rows = &table["unweighted_unknowns"];
    let plain = compare_unknowns(&mut differences, &line, number(fit, "s_yx"), rows, "m");
    assert_eq!((weighted, plain), (4, 2));
    differences.none_in(3 * 6);
}

/// Exact intervals of single and repeated readings and of mean responses. Where the example's scatter is known to thirty degrees of
/// freedom and more, the ends of Fieller's interval themselves must come out, but for 5 % of its half width.
#[test]
fn inverse_intervals() {
    let table = json("inverse_regression_fieller.json");
    let mut differences = Differences::default();
    let (mut finite, mut exact) = (0, 0);
    for case in table["cases"].as_array().expect("cases") {
        let computed = &case["computed"];
        if computed["lower"].is_null() {
            continue;
        }
        let name = case["data"].as_str().expect("a data set");
        let line = Line::through(&table["data"][name]);
        let readings = list(case, "y0");
        let signal = readings.iter().sum::<f64>() / readings.len() as f64;
        let own = match case["mean_response"].as_bool().expect("which response") {
            true => 0.0,
            false => 1.0 / readings.len() as f64,
        };
        let sd = (number(computed, "s2") * line.variance(signal, own)).sqrt();
        let level = number(case, "conf");
        let got = line.read(signal, sd, level);
        let what = format!("{name} at {readings:?}, level {level}, own {own}");
        let expected = [number(computed, "estimate"), number(computed, "wald_se")];
        compare(&mut differences, &what, got, level, expected);
        finite += 1;
        if number(computed, "df") >= 30.0 {
            let [lower, upper] = ["lower", "upper"].map(|key| number(computed, key));
            let tolerance = 0.05 * 0.5 * (upper - lower);
            differences.within(format!("{what}, lower"), got[1], lower, tolerance);
            differences.within(format!("{what}, upper"), got[2], upper, tolerance);
            exact += 1;
        }
    }
    assert_eq!((finite, exact), (12, 4));
    differences.none_in(12 * 3 + 4 * 2);
}
