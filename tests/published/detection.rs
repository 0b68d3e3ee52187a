//! Critical values and detection limits: Currie (1995) Pure Appl. Chem. 67(10):1699-1723; ISO 11843-2:2000.

use tintwell::estimate::limits::{Limits, Risks, Scatter, against_blank, noncentrality, of_line};
use tintwell::estimate::line::Line;

use crate::table::{Differences, json, list, number};

/// Limits in units of the standard deviation of a blank reading, which is known.
#[test]
fn currie_with_known_scatter() {
    let table = json("detection_limits.json");
    let table = &table["currie_known_sigma"];
    let limits =
        |blanks| against_blank(Scatter::Known(1.0), blanks, 1.0, Risks::default()).expect("limits");
    let (well_known, paired): (Limits, Limits) = (limits(None), limits(Some(1)));
    let mut differences = Differences::default();
    for (key, got) in [
        ("z_0.95", well_known.critical),
        ("2z", well_known.detection),
        ("sqrt2 z", paired.critical),
        ("2 sqrt2 z", paired.detection),
    ] {
        differences.within_relative(key, got, number(table, key), 1e-8);
    }
    // "L_Q": "10*sigma0"
    let quantification = table["formulas"]["L_Q"]
        .as_str()
        .and_then(|f| f.strip_suffix("*sigma0"))
        .expect("L_Q");
    differences.within(
        "L_Q",
        well_known.quantification,
        quantification.parse().expect("L_Q"),
        1e-12,
    );
    differences.none_in(5);
}

#[test]
fn blank_replicates() {
    let table = json("detection_limits.json");
    let table = &table["blank_replicates_example"];
    let freedom = number(table, "n") - 1.0;
    let scatter = Scatter::Estimated {
        sd: number(table, "s"),
        freedom,
    };
    let slope = number(table, "slope");
    let limits = |blanks| against_blank(scatter, blanks, slope, Risks::default()).expect("limits");
    let mut differences = Differences::default();
    for (key, got) in [
        (
            "critical_conc_single_sample_well_known_blank_mean (t*s/b)",
            limits(None).critical,
        ),
        (
            "critical_conc_blank_mean_estimated (t*s*sqrt(1+1/n)/b)",
            limits(Some(10)).critical,
        ),
        ("LOQ_10s", limits(Some(10)).quantification),
    ] {
        differences.within_relative(key, got, number(table, key), 1e-8);
    }
    differences.none_in(3);
}

#[test]
fn iso_11843_2_on_a_line() {
    let table = json("detection_limits.json");
    let table = &table["iso11843_2_example"];
    let data = json("calib_miller_fluorescence.json");
    let line = Line::fit(&list(&data, "x"), &list(&data, "y")).expect("a line");
    let limits = of_line(&line, 1, Risks::default()).expect("limits");
    let mut differences = Differences::default();
    differences.within_relative("x_C", limits.critical, number(table, "x_C"), 1e-8);
    let signal = line.intercept + line.slope * limits.critical;
    differences.within_relative("y_C", signal, number(table, "y_C"), 1e-8);
    // The noncentrality is given to 1e-6.
    differences.within_relative("x_D", limits.detection, number(table, "x_D"), 1e-6);
    let quantification = number(&data["LOQ_10"], "x");
    differences.within_relative(
        "ten times the scatter",
        limits.quantification,
        quantification,
        1e-8,
    );
    differences.none_in(4);
}

#[test]
fn noncentrality_table() {
    let table = json("detection_limits.json");
    let rows = table["delta_table"].as_array().expect("rows");
    let mut differences = Differences::default();
    for row in rows {
        let [freedom, critical, delta] = [0, 1, 2].map(|i| row[i].as_f64().expect("a number"));
        let got = noncentrality(freedom, Risks::default()).expect("a noncentrality");
        differences.within_relative(format!("{freedom} degrees of freedom"), got, delta, 1e-6);
        let scatter = Scatter::Estimated { sd: 1.0, freedom };
        let limits = against_blank(scatter, None, 1.0, Risks::default()).expect("limits");
        differences.within_relative(
            format!("t, {freedom} degrees of freedom"),
            limits.critical,
            critical,
            1e-8,
        );
    }
    differences.none_in(2 * 13);
}
