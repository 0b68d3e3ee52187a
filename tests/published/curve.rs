//! Monotone interpolation: Fritsch, Carlson (1980) SIAM J. Numer. Anal. 17(2):238-246; Fritsch, Butland (1984) SIAM J. Sci. Stat.
//! Comput. 5(2):300-304; expected values by scipy 1.17.1.

use tintwell::chart::pchip::Pchip;

use crate::table::{Differences, json, list};

#[test]
fn values_and_slopes() {
    let table = json("pchip_interpolation.json");
    let mut differences = Differences::default();
    let mut compared = 0;
    for (name, set) in table
        .as_object()
        .expect("sets")
        .iter()
        .filter(|(name, _)| name.starts_with("set"))
    {
        let x = list(set, "x");
        let curve = Pchip::new(&x, &list(set, "y")).expect(name);
        for (x, slope) in x.iter().zip(list(set, "derivatives")) {
            differences.within(
                format!("{name}, slope at {x}"),
                curve.derivative(*x).expect(name),
                slope,
                1e-12,
            );
            compared += 1;
        }
        for (q, value) in list(set, "q").into_iter().zip(list(set, "value")) {
            differences.within(
                format!("{name}, value at {q}"),
                curve.value(q).expect(name),
                value,
                1e-12,
            );
            compared += 1;
        }
    }
    assert_eq!(compared, (7 + 16) + (6 + 16) + (5 + 15));
    differences.none_in(compared);
}

/// The places at which the curve takes given values, found by root search: the curve must take them there.
#[test]
fn inverse_by_root() {
    let table = json("pchip_interpolation.json");
    let set = &table["set1_saturating"];
    let curve = Pchip::new(&list(set, "x"), &list(set, "y")).expect("set 1");
    let inverse = &table["inverse_by_root_of_set1"];
    let mut differences = Differences::default();
    for (x, y) in list(inverse, "x").into_iter().zip(list(inverse, "y")) {
        // Places are good to 1e-9, and no slope of the set exceeds 4.15.
        differences.within(
            format!("value at {x}"),
            curve.value(x).expect("inside"),
            y,
            4.15e-9,
        );
    }
    differences.none_in(14);
}
