//! Values of unequal variance combined: Paule & Mandel (1982) J. Res. Natl. Bur. Stand. 87(5):377-385; Kacker (2004) Metrologia
//! 41:132-136; JCGM 100:2008, G.4 and H.1; expected values by metafor and statsmodels 0.15.0.

use tintwell::estimate::combine::{effective_freedom, paule_mandel};

use crate::table::{Differences, json, list, number};

#[test]
fn variance_between_laboratories_and_trials() {
    let table = json("paule_mandel.json");
    let mut differences = Differences::default();
    for name in ["kacker_2004", "colditz_1994"] {
        let set = &table[name];
        let mean = paule_mandel(&list(set, "values"), &list(set, "variances")).expect(name);
        for (key, got) in [
            ("tau2", mean.scatter.tau2),
            ("mean", mean.value),
            ("se", mean.standard_error),
            ("q", mean.scatter.q),
            ("q_probability", mean.scatter.probability),
        ] {
            differences.within_relative(format!("{name}, {key}"), got, number(set, key), 1e-8);
        }
        if name == "kacker_2004" {
            let tau = number(set, "published_tau");
            differences.within("tau of the article", mean.scatter.tau2.sqrt(), tau, 0.5e-4);
        }
    }
    differences.none_in(11);
}

#[test]
fn degrees_of_freedom_of_an_end_gauge() {
    let table = json("paule_mandel.json");
    let gauge = &table["gum_h1"];
    let variances: Vec<f64> = list(gauge, "uncertainties").iter().map(|u| u * u).collect();
    let parts: Vec<(f64, f64)> = variances
        .iter()
        .copied()
        .zip(list(gauge, "freedoms"))
        .collect();
    let got = effective_freedom(variances.iter().sum(), &parts);
    let mut differences = Differences::default();
    differences.within("effective freedom", got, number(gauge, "effective"), 0.1);
    differences.none_in(1);
}
