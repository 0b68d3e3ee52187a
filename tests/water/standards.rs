//! Standards, tables of them, and samples above the chart.

use super::*;

fn stock(salt: &str, stated_as: &str, concentration: f64) -> Stock {
    Stock {
        salt: species(salt),
        stated_as: species(stated_as),
        concentration,
        volume: exact(1000.0),
        purity: exact(1.0),
        balance: 0.0,
    }
}

/// Source: water_facts.json, "stock_mass_mg_per_L"; and laboratory recipes of Standard Methods (from memory): 0.7218 g/L
/// of KNO3 for 100 mg/L NO3-N, 3.819 g/L of NH4Cl for 1000 mg/L NH3-N, 219.5 mg/L of KH2PO4 for 50 mg/L PO4-P (printed
/// 0.08 % below what the atomic weights make).
#[test]
fn stocks_are_those_of_the_reference() {
    let facts = facts();
    let stocks = facts["stock_mass_mg_per_L"].as_object().unwrap();
    assert_eq!(stocks.len(), 8);
    for (name, mg) in stocks {
        let (salt, rest) = name.split_once(" for ").unwrap();
        let (concentration, stated_as) = rest.split_once(" mg/L ").unwrap();
        let made = weigh(&stock(salt, stated_as, concentration.parse().unwrap())).unwrap();
        let grams = mg.as_f64().unwrap() / 1000.0;
        assert_relative_eq!(made.mass.value, grams, max_relative = 1e-9);
        assert_eq!(made.concentration.u, 0.0);
    }
    for (salt, stated_as, concentration, grams, within) in [
        ("KNO3", "NO3-N", 100.0, 0.7218, 5e-5),
        ("NH4Cl", "NH3-N", 1000.0, 3.819, 5e-4),
        ("KH2PO4", "PO4-P", 50.0, 0.2195, 2e-4),
    ] {
        let made = weigh(&stock(salt, stated_as, concentration)).unwrap();
        assert!((made.mass.value - grams).abs() < within, "{salt}");
    }
}

/// By hand: 500 mL of 1000 mg/L NO3 from KNO3 of 99 %: 0.8152885 / 0.99 = 0.823524 g. Balance 0.01 g is 1.21428 %, flask
/// 2 of 500 mL is 0.4 %, purity 0.005 of 0.99 is 0.50505 %: together 1.37459 %, 13.746 mg/L.
#[test]
fn uncertainty_of_a_stock_by_hand() {
    let made = weigh(&Stock {
        volume: Estimate::new(500.0, 2.0),
        purity: Estimate::new(0.99, 0.005),
        balance: 0.01,
        ..stock("KNO3", "NO3", 1000.0)
    })
    .unwrap();
    assert!((made.mass.value - 0.823524).abs() < 1e-6 && made.mass.u == 0.01);
    assert_relative_eq!(made.concentration.value, 1000.0, max_relative = 1e-12);
    assert!((made.concentration.u - 13.746).abs() < 2e-3);
}

/// Source: water_facts.json, "dilution".
#[test]
fn dilutions_are_those_of_the_reference() {
    let facts = facts();
    let d = &facts["dilution"];
    let rows = d["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 13);
    for row in rows {
        let [target, fill_to, take] = [0, 1, 2].map(|i| row[i].as_f64().unwrap());
        if target > 0.0 {
            let found = volume_to_take(1000.0, target, fill_to).unwrap();
            assert_relative_eq!(found, take, max_relative = 1e-12);
            let back = dilute(exact(1000.0), exact(take), exact(fill_to)).unwrap();
            assert_relative_eq!(back.value, target, max_relative = 1e-12);
        }
    }
    let mut c = exact(160.0);
    for step in d["serial_halving"].as_array().unwrap() {
        assert_eq!(c.value, step[1].as_f64().unwrap());
        c = dilute(c, exact(50.0), exact(100.0)).unwrap();
    }
}

/// By hand: 1000 +-10, 5 +-0.05 mL to 100 +-0.5 mL: 50, relative 1 %, 1 %, 0.5 %: together 1.5 %, 0.75.
#[test]
fn uncertainty_of_a_dilution_by_hand() {
    let c = dilute(
        Estimate::new(1000.0, 10.0),
        Estimate::new(5.0, 0.05),
        Estimate::new(100.0, 0.5),
    )
    .unwrap();
    assert_relative_eq!(c.value, 50.0, max_relative = 1e-12);
    assert_relative_eq!(c.u, 0.75, max_relative = 1e-12);
}

#[test]
fn impossible_standards_are_refused() {
    let good = stock("KNO3", "NO3", 1000.0);
    all_refused([
        weigh(&stock("KNO3", "PO4", 1000.0)),
        // What shares an element with the salt is not in it: a nitrite solution holds no nitrate.
        weigh(&stock("NaNO2", "NO3", 1000.0)),
        weigh(&stock("NH4Cl", "NO3", 1000.0)),
        weigh(&stock("KNO3", "NH3", 1000.0)),
        weigh(&stock("KNO3", "NO2", 1000.0)),
        weigh(&stock("NaNO3", "KNO3", 1000.0)),
        weigh(&stock("NO3", "N", 1000.0)),
        weigh(&stock("KNO3", "NO3", 0.0)),
        weigh(&stock("KNO3", "NO3", f64::NAN)),
        weigh(&Stock {
            volume: exact(0.0),
            ..good
        }),
        weigh(&Stock {
            purity: exact(1.2),
            ..good
        }),
        weigh(&Stock {
            purity: exact(0.0),
            ..good
        }),
        weigh(&Stock {
            balance: -0.01,
            ..good
        }),
    ]);
    let one = exact(1.0);
    all_refused([
        made(good.salt, good.stated_as, exact(0.0), one, one),
        made(good.salt, good.stated_as, one, exact(0.0), one),
        dilute(one, exact(0.0), one),
        dilute(one, one, exact(0.0)),
        dilute(one, exact(2.0), one),
        dilute(exact(f64::NAN), one, one),
    ]);
    all_refused([
        volume_to_take(0.0, 1.0, 1.0),
        volume_to_take(1.0, 2.0, 1.0),
        volume_to_take(1.0, 0.0, 1.0),
        volume_to_take(1.0, 1.0, 0.0),
        volume_to_take(f64::NAN, 1.0, 1.0),
    ]);
}

fn syringe(smallest: f64) -> Measuring {
    Measuring {
        smallest,
        u_absolute: 0.02,
        u_relative: 0.01,
        fill_to: Estimate::new(100.0, 0.5),
    }
}

/// Makes the table again row by row from what it says, and checks that each volume can be measured and is there.
fn follows(rows: &[Row], stock: f64, wanted: &[f64], smallest: f64) {
    let mut made: Vec<f64> = Vec::new();
    let mut taken = vec![0.0; rows.len()];
    for (i, row) in rows.iter().enumerate() {
        let from = match row.source {
            Source::Water => 0.0,
            Source::Stock => stock,
            Source::Row(r) => {
                assert!(r < i, "made before it is used");
                taken[r] += row.take;
                made[r]
            }
        };
        if row.source != Source::Water {
            assert!(row.take >= smallest * 0.999_999, "{row:?}");
        }
        made.push(from * row.take / row.fill_to);
        assert_relative_eq!(
            made[i],
            row.concentration.value,
            max_relative = 1e-9,
            epsilon = 1e-300
        );
        assert!(row.concentration.u >= 0.0);
        if let Some(w) = row.wanted {
            assert_relative_eq!(made[i], wanted[w], max_relative = 1e-9, epsilon = 1e-300);
        }
    }
    for (t, row) in taken.iter().zip(rows) {
        assert!(*t <= row.fill_to * 1.000_001, "more taken than made");
    }
    let order: Vec<usize> = rows.iter().filter_map(|r| r.wanted).collect();
    assert_eq!(order, (0..wanted.len()).collect::<Vec<_>>());
}

/// By hand: with 1 mL at least and 100 mL, 1000 mg/L gives 10 and more directly. 2 takes 0.2 mL: five times weaker is
/// enough, 20 mL to 100 make 200 mg/L, and 1 mL of that makes 2; 5 takes 2.5 mL of the same.
#[test]
fn a_table_goes_by_an_intermediate_where_a_volume_is_too_small() {
    let wanted = [0.0, 2.0, 5.0, 10.0, 160.0, 1000.0];
    let stock = Estimate::new(1000.0, 10.0);
    let rows = table(stock, &wanted, &syringe(1.0)).unwrap();
    follows(&rows, 1000.0, &wanted, 1.0);
    assert_eq!(rows.len(), 7);
    let short: Vec<(Source, f64)> = rows.iter().map(|r| (r.source, r.take)).collect();
    for (found, wanted) in short.iter().zip([
        (Source::Stock, 20.0),
        (Source::Water, 0.0),
        (Source::Row(0), 1.0),
        (Source::Row(0), 2.5),
        (Source::Stock, 1.0),
        (Source::Stock, 16.0),
        (Source::Stock, 100.0),
    ]) {
        assert_eq!(found.0, wanted.0);
        assert_relative_eq!(found.1, wanted.1, max_relative = 1e-9);
    }
    assert_eq!(rows[0].wanted, None);
    assert_eq!(rows[1].concentration, exact(0.0));
    assert_eq!(rows[6].concentration, stock);
    // By hand, 10 mg/L: stock 1 %, volume hypot(0.02, 0.01) of 1 mL = 2.236 %, flask 0.5 %: 2.5 %.
    assert!((rows[4].concentration.u - 0.25).abs() < 1e-3);
    // By hand, 2 mg/L: 20 mL is hypot(0.02, 0.2) = 1.005 %; all in all 1, 1.005, 0.5, 2.236, 0.5 %: 2.737 %.
    assert!((rows[2].concentration.u - 0.05474).abs() < 1e-4);
}

#[test]
fn every_table_can_be_followed() {
    let stock = exact(1000.0);
    for smallest in [0.1, 0.5, 1.0, 3.0, 9.0, 50.0] {
        for wanted in [
            vec![0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 40.0, 80.0],
            vec![9.9, 9.8, 9.7, 9.6, 9.5, 9.4, 9.3, 9.2, 9.1, 9.0, 8.9, 8.8],
            vec![300.0, 0.0, 250.0, 1000.0],
            vec![1.0; 30],
        ] {
            match table(stock, &wanted, &syringe(smallest)) {
                Ok(rows) => follows(&rows, 1000.0, &wanted, smallest),
                // Two stages make at best (smallest / 100)^2 of the stock.
                Err(e) => {
                    let reach = 1000.0 * (smallest / 100.0f64).powi(2);
                    assert!(wanted.iter().any(|w| *w > 0.0 && *w < reach), "{e}");
                }
            }
        }
    }
    // The least that two stages make, which no round factor does: 1000 x 0.03 x 0.03.
    let rows = table(stock, &[0.9], &syringe(3.0)).unwrap();
    follows(&rows, 1000.0, &[0.9], 3.0);
    assert_eq!(rows.len(), 2);
}

#[test]
fn impossible_tables_are_refused() {
    let good = syringe(1.0);
    let stock = exact(1000.0);
    all_refused([
        table(stock, &[], &good),
        table(stock, &[f64::NAN], &good),
        table(stock, &[-1.0], &good),
        table(stock, &[1001.0], &good),
        table(stock, &[0.01], &good),
        table(exact(0.0), &[1.0], &good),
        table(stock, &[1.0], &syringe(0.0)),
        table(stock, &[1.0], &syringe(101.0)),
        table(
            stock,
            &[1.0],
            &Measuring {
                u_absolute: -1.0,
                ..good
            },
        ),
        table(
            stock,
            &[1.0],
            &Measuring {
                fill_to: exact(0.0),
                ..good
            },
        ),
    ]);
    let e = table(stock, &[0.01], &good).unwrap_err();
    assert!(e.what.contains("more than two stages"), "{e}");
}

/// By hand, for a chart up to 160.
#[test]
fn a_sample_above_the_chart_comes_to_its_middle() {
    for (bound, water, then) in [
        (160.0, 1, 80.0),
        (240.0, 2, 80.0),
        (320.0, 3, 80.0),
        (500.0, 6, 500.0 / 7.0),
        (1600.0, 19, 80.0),
        // A hair under five tops: not at the very top again.
        (799.0, 9, 79.9),
    ] {
        let d = dilution(bound, 160.0).unwrap();
        assert_eq!(d.water, water, "{bound}");
        assert_relative_eq!(d.bound_then, then, max_relative = 1e-12);
        assert!(d.bound_then > 50.0 && d.bound_then <= 80.0 * (1.0 + 1e-9));
        assert_eq!(d.factor(), f64::from(water) + 1.0);
    }
    assert_eq!(dilution(0.3, 0.1).unwrap().to_string(), "1:5");
    // Over the top again: each next factor is twice the last.
    let mut bound = 160.0;
    for factor in [2.0, 4.0, 8.0, 16.0, 32.0] {
        let d = dilution(bound, 160.0).unwrap();
        assert_eq!(d.factor(), factor);
        bound = d.factor() * 160.0;
    }
    all_refused([
        dilution(159.0, 160.0),
        dilution(1e9, 160.0),
        dilution(f64::NAN, 160.0),
        dilution(160.0, 0.0),
        dilution(f64::INFINITY, 160.0),
        dilution(f64::MAX, f64::MIN_POSITIVE),
    ]);
}

/// Source: water_facts.json, "sample_dilution": a reading on a dilution 1+4 is multiplied by 5.
#[test]
fn one_part_with_four_is_times_five() {
    let d = dilution(2.5, 1.0).unwrap();
    assert_eq!((d.water, d.factor()), (4, 5.0));
}
