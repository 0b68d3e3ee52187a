//! The un-ionised share of ammonia.

use super::*;

const SEA: Water = Water::Sea { salinity: 35.0 };

fn share(ph: f64, t: f64, water: Water) -> f64 {
    unionised(exact(ph), exact(t), water).unwrap().share.value
}

/// Source: ammonia_freshwater_emerson1975.csv: the formula of Emerson et al. (1975), and the table printed from it
/// (Francis-Floyd et al., Univ. Florida IFAS FA-16), within 0.0002 as its header says.
#[test]
fn fresh_water_is_emerson() {
    let name = "ammonia_freshwater_emerson1975.csv";
    let formula = rows(name, &["pH", "t_C", "f_formula"]);
    assert_eq!(formula.len(), 156);
    for r in formula {
        let found = share(r[0], r[1], Water::Fresh);
        assert!((found - r[2]).abs() < 1e-9, "{r:?}: {found}");
    }
    let printed = rows(name, &["pH", "t_C", "f_published"]);
    assert_eq!(printed.len(), 116);
    for r in printed {
        let found = share(r[0], r[1], Water::Fresh);
        assert!((found - r[2]).abs() < 2.5e-4, "{r:?}: {found}");
    }
}

/// Source: ammonia_freshwater_table_ph6to9.csv: Hadfield (2021), Clinical Guide to Fish Medicine, table A2.3, within 0.0011.
#[test]
fn fresh_water_has_the_printed_table() {
    let rows = rows(
        "ammonia_freshwater_table_ph6to9.csv",
        &["t_C", "pH", "f_published", "f_formula_273.15"],
    );
    assert!(rows.len() >= 130, "{}", rows.len());
    for r in rows {
        let found = share(r[1], r[0], Water::Fresh);
        assert!((found - r[2]).abs() < 1.1e-3, "{r:?}: {found}");
        assert!((found - r[3]).abs() < 1e-9, "{r:?}: {found}");
    }
}

/// Source: ammonia_seawater.csv: Clegg & Whitfield (1995) on the free scale, Bell et al. (2007). The temperatures that are
/// accepted are those of its rows.
#[test]
fn sea_water_is_clegg_and_whitfield_with_bell_beside() {
    let rows = rows(
        "ammonia_seawater.csv",
        &["pH", "t_C", "S", "f_clegg_free", "f_bell2007"],
    );
    assert!(rows.len() >= 120, "{}", rows.len());
    let (mut coldest, mut warmest) = (f64::INFINITY, f64::NEG_INFINITY);
    for r in rows {
        let found = unionised(exact(r[0]), exact(r[1]), Water::Sea { salinity: r[2] }).unwrap();
        assert!((found.share.value - r[3]).abs() < 1e-9, "{r:?}: {found:?}");
        assert!((found.second.unwrap() - r[4]).abs() < 1e-9, "{r:?}");
        (coldest, warmest) = (coldest.min(r[1]), warmest.max(r[1]));
    }
    for (t, wanted) in [
        (coldest, true),
        (coldest - 0.1, false),
        (warmest, true),
        (warmest + 0.1, false),
    ] {
        assert_eq!(
            unionised(exact(8.0), exact(t), SEA).is_ok(),
            wanted,
            "{t} degrees"
        );
    }
}

/// Source: ammonia_seawater.csv: Bower & Bidwell (1978) J. Fish. Res. Board Can. 35(7):1012-1016 at salinity 34, another
/// measurement, 0.7 to 4.1 % below Clegg & Whitfield; within twice the standard uncertainty of the formulas.
#[test]
fn sea_water_is_near_an_independent_measurement() {
    let rows = rows("ammonia_seawater.csv", &["pH", "t_C", "f_bower_bidwell"]);
    assert_eq!(rows.len(), 44);
    let water = Water::Sea { salinity: 34.0 };
    for r in rows {
        let found = unionised(exact(r[0]), exact(r[1]), water).unwrap();
        assert!(
            (found.share.value - r[2]).abs() < 2.0 * found.u_model,
            "{r:?}: {found:?}"
        );
    }
}

/// Source: values documented with public software for Clegg & Whitfield (1995), in the header of ammonia_seawater.csv.
#[test]
fn sea_water_has_the_documented_examples() {
    for (ph, t, salinity, wanted) in [
        (8.0, 10.0, 0.0, 0.0183),
        (8.0, 25.0, 0.0, 0.0539),
        (8.0, 25.0, 35.0, 0.0440),
        (7.8, 25.0, 35.0, 0.0282),
    ] {
        let found = share(ph, t, Water::Sea { salinity });
        assert!((found - wanted).abs() <= 5.1e-5, "{ph} {t} {salinity}");
    }
}

#[test]
fn uncertainty_of_the_share_is_that_of_moving_ph_and_temperature() {
    for (water, temperatures) in [(Water::Fresh, [0.0, 25.0, 40.0]), (SEA, [10.0, 25.0, 28.0])] {
        let top = temperatures[2];
        for (ph, t) in [7.0, 8.2, 10.0].into_iter().zip(temperatures) {
            let (ph, t) = (Estimate::new(ph, 0.05), Estimate::new(t, 0.5));
            let found = unionised(ph, t, water).unwrap();
            // One-sided at the ends of the ranges, so less close.
            let slope = |dp: f64, dt: f64| {
                let inward = |v: f64, d: f64, top: f64| if v + d > top { v - d } else { v + d };
                let moved = share(inward(ph.value, dp, 10.0), inward(t.value, dt, top), water);
                (moved - found.share.value).abs() / 1e-4
            };
            assert_relative_eq!(found.u_ph, slope(1e-4, 0.0) * 0.05, max_relative = 1e-3);
            assert_relative_eq!(
                found.u_temperature,
                slope(0.0, 1e-4) * 0.5,
                max_relative = 1e-3
            );
            let all = found.u_ph.hypot(found.u_temperature).hypot(found.u_model);
            assert_relative_eq!(found.share.u, all, max_relative = 1e-12);
            assert_eq!(found.u_model == 0.0, water == Water::Fresh);
        }
    }
}

/// By hand: 0.5 +-0.1 mg/L with a share of 0.0440 (above): 0.0220.
#[test]
fn the_part_is_the_share_of_the_total() {
    let s = unionised(exact(8.0), exact(25.0), SEA).unwrap();
    let found = part(Estimate::new(0.5, 0.1), &s).unwrap();
    assert!((found.value - 0.0220).abs() < 5e-5);
    assert_relative_eq!(
        found.u,
        (0.1 * s.share.value).hypot(0.5 * s.share.u),
        max_relative = 1e-12
    );
    all_refused(NOT_AMOUNTS.map(|c| part(c, &s)));
}

#[test]
fn ammonia_outside_of_the_ranges_is_refused() {
    let at = |ph, t, water| unionised(exact(ph), exact(t), water);
    let salt = |salinity| Water::Sea { salinity };
    all_refused([
        at(4.9, 25.0, Water::Fresh),
        at(10.1, 25.0, Water::Fresh),
        at(f64::NAN, 25.0, Water::Fresh),
        at(8.0, -0.1, Water::Fresh),
        at(8.0, 40.1, Water::Fresh),
        at(8.0, 9.9, SEA),
        at(8.0, 28.1, SEA),
        at(8.0, f64::NAN, SEA),
        at(8.0, 25.0, salt(-1.0)),
        at(8.0, 25.0, salt(40.5)),
        at(8.0, 25.0, salt(f64::NAN)),
        unionised(Estimate::new(8.0, -0.1), exact(25.0), SEA),
        unionised(exact(8.0), Estimate::new(25.0, f64::NAN), SEA),
    ]);
    let e = at(4.0, 25.0, Water::Fresh).unwrap_err();
    assert!(
        e.to_string().contains("pH") && e.what.contains("5 to 10"),
        "{e}"
    );
    let e = at(8.0, 5.0, SEA).unwrap_err();
    assert!(
        e.to_string().contains("sea water") && e.what.contains("10 to 28 degrees C"),
        "{e}"
    );
}
