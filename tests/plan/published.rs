//! Published and hand-worked numbers.

use super::*;

fn facts() -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/published/water_facts.json");
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

/// Source: water_facts.json, "water_change": computed apart from this code.
#[test]
fn changes_for_a_target() {
    let facts = facts();
    let w = &facts["water_change"];
    for e in w["required"].as_array().unwrap() {
        let line = format!(
            "change --now {} --plus-minus 0 --target {} --source {}",
            e["C0"], e["target"], e["C_new"]
        );
        let once = json(&line);
        near(
            &once["share_at_once_percent"]["value"],
            100.0 * number(&e["fraction_single"]),
            &line,
        );
        assert_eq!(once["changes"].as_array().unwrap().len(), 1);
        let spread = json(&format!("{line} --most-a-day 20"));
        let changes = spread["changes"].as_array().unwrap();
        assert_eq!(changes.len() as f64, number(&e["n_of_20pct"]), "{line}");
        assert!(changes.iter().all(|c| number(&c["percent"]) <= 20.0));
        near(
            &changes.last().unwrap()["expected"]["value"],
            number(&e["target"]),
            &line,
        );
    }
    for e in w["impossible"].as_array().unwrap() {
        let ran = plan(&format!(
            "change --now {} --plus-minus 1 --target {} --source {}",
            e["C0"], e["target"], e["C_new"]
        ));
        assert_eq!(ran.code, 4);
        assert!(ran.err.contains("the source water holds"), "{}", ran.err);
    }
}

/// Source: water_facts.json, "steady_state".
#[test]
fn routines_in_the_long_run() {
    let facts = facts();
    let rows = facts["water_change"]["steady_state"].as_array().unwrap();
    assert_eq!(rows.len(), 3);
    for e in rows {
        let line = format!(
            "routine --share {} --made {} --made-plus-minus 0 --source {}",
            100.0 * number(&e["fraction"]),
            e["rise_per_interval"],
            e["C_new"]
        );
        let found = json(&line);
        near(
            &found["before_change"]["value"],
            number(&e["steady_before_change"]),
            &line,
        );
        near(
            &found["after_change"]["value"],
            number(&e["steady_after_change"]),
            &line,
        );
        assert!(found["weeks_until_within_10_percent"].is_null(), "no start");
    }
}

/// By hand. 80 with u = 9.8 / 1.96 = 5, source 10 with u = 0.98 / 1.96 = 0.5, target 45: share 35 / 70 = 50 %. Afterwards
/// hypot(0.5 x 5, 0.5 x 0.5) = 2.51247, twice that is 5.02494. Half of 400 L is 200 L.
#[test]
fn a_change_by_hand() {
    let found = json(
        "change --now 80 --plus-minus 9.8 --source 10 --source-plus-minus 0.98 --target 45 --volume 400L",
    );
    let share = &found["share_at_once_percent"];
    near(&share["value"], 50.0, "share");
    // By the ends of the present alone, 70.2 and 89.8: 25.2 / 60.2 = 0.4186 and 44.8 / 79.8 = 0.5614; the source widens it a little:
    // 41.832 and 56.184 by twelve million random draws, computed apart from this code.
    assert!((number(&share["low"]) - 41.832).abs() < 0.01, "{share}");
    assert!((number(&share["high"]) - 56.184).abs() < 0.01, "{share}");
    let change = &found["changes"][0];
    near(&change["litres"], 200.0, "litres");
    near(&change["expected"]["low"], 45.0 - 5.02494, "low");
    near(&change["expected"]["high"], 45.0 + 5.02494, "high");
    near(&found["now"]["low"], 70.2, "now as it was given");
}

/// By hand: 5 a week with 25 %: 5 / 0.25 = 20 before, 15 after; u of 5 +-0.98 is 0.5, before 0.5 / 0.25 = 2, twice that 4;
/// after 0.75 x 2 = 1.5, twice that 3. From 42 down to 22: 22 x 0.75^n <= 2: n = ln(2/22) / ln(0.75) = 8.3, 9 weeks.
#[test]
fn a_routine_by_hand() {
    let found =
        json("routine --share 25 --made 5 --made-plus-minus 0.98 --now 42 --plus-minus 0.5");
    near(&found["before_change"]["value"], 20.0, "before");
    near(&found["before_change"]["high"], 24.0, "before");
    near(&found["after_change"]["low"], 12.0, "after");
    assert_eq!(found["weeks_until_within_10_percent"]["value"], 9);
}

/// Source: water_facts.json, "dilution" (rows that a syringe of 1 mL at least can make directly) and "sample_dilution".
#[test]
fn standards_of_a_stock() {
    let facts = facts();
    let mut checked = 0;
    for r in facts["dilution"]["rows"].as_array().unwrap() {
        let [target, fill_to, take] = [0, 1, 2].map(|i| number(&r[i]));
        if take < 1.0 {
            continue;
        }
        let found = json(&format!(
            "standards --stock 1000 --stock-plus-minus 0 --fill-to {fill_to} {target}"
        ));
        let rows = found["rows"].as_array().unwrap();
        assert_eq!(rows.len(), 1, "{target}");
        assert_eq!(rows[0]["from"], "stock");
        near(&rows[0]["take_ml"], take, "take");
        near(&found["stock_needed_ml"], take, "stock needed");
        checked += 1;
    }
    assert_eq!(checked, 9);
    let found = json("dilute --top 1 --at-least 2.5 --vial 10");
    assert_eq!(found["dilution"], "1:4");
    near(&found["factor"], 5.0, "factor");
    near(&found["sample_ml"], 2.0, "sample");
    near(&found["water_ml"], 8.0, "water");
}

/// By hand: 10 mg/L of 1000 +-19.6 (1 %) by 1 +-0.0392 mL (2 %, no other) to 100 +-1.96 mL (1 %): hypot(1, 2, 1) = 2.4495 %,
/// twice that of 10 is 0.48990. 5 mg/L takes a mix first: 50 mL (0.0392 / 2 / 50 = 0.04 %) to 100 (1 %) gives 500, then 1 mL
/// (2 %) to 100 (1 %): hypot(1, 0.04, 1, 2, 1) = 2.6461 %, twice that of 5 is 0.26461.
#[test]
fn uncertainty_of_standards_by_hand() {
    let found = json(
        "standards --stock 1000 --stock-plus-minus 19.6 --fill-plus-minus 1.96 --plus-minus 0.0392 --percent 0 10 5",
    );
    let rows = found["rows"].as_array().unwrap();
    assert_eq!(rows.len(), 3);
    assert_eq!(rows[0]["kind"], "mix");
    near(&rows[0]["take_ml"], 50.0, "mix");
    assert_eq!(rows[2]["from"], "mix 1");
    near(&rows[1]["concentration"]["high"], 10.4899, "10 mg/L");
    near(&rows[2]["concentration"]["high"], 5.26461, "5 mg/L");
}

/// Source: water_facts.json, "stock_mass_mg_per_L".
#[test]
fn masses_for_stocks() {
    let facts = facts();
    let stocks = facts["stock_mass_mg_per_L"].as_object().unwrap();
    assert_eq!(stocks.len(), 8);
    for (name, mg) in stocks {
        let (salt, rest) = name.split_once(" for ").unwrap();
        let (concentration, stated_as) = rest.split_once(" mg/L ").unwrap();
        let found = json(&format!(
            "stock {salt} --as {stated_as} --make {concentration} --volume 1000 --purity 100 --purity-plus-minus 0"
        ));
        near(&found["mass_g"]["value"], number(mg) / 1000.0, name);
    }
}

/// By hand: 500 mL of 1000 mg/L NO3 from KNO3 of 99 %: 0.8152885 / 0.99 = 0.823524 g. Scale +-0.0196 g is u = 0.01, 1.21429 %;
/// flask +-3.92 mL is u = 2, 0.4 %; purity +-0.98 is u = 0.5, 0.50505 %: together 1.37458 %, twice that 27.4916 mg/L.
#[test]
fn uncertainty_of_a_stock_by_hand() {
    let found = json(
        "stock KNO3 --as NO3 --make 1000 --volume 500 --volume-plus-minus 3.92 --balance 0.0196 --purity 99 \
         --purity-plus-minus 0.98",
    );
    near(&found["mass_g"]["value"], 0.823524, "mass");
    let high = number(&found["concentration_mg_per_l"]["high"]);
    assert!((high - 1027.4916).abs() < 5e-3, "{high}");
}

/// Source: water_facts.json, "factors" and "seawater_density" (EOS-80).
#[test]
fn other_ways_to_state_it() {
    let facts = facts();
    let mut checked = 0;
    for (name, by) in facts["factors"].as_object().unwrap() {
        let Some((to, from)) = name.split_once(" per ") else {
            panic!("{name}");
        };
        let from = from.split(' ').next().unwrap();
        let found = json(&format!("convert 10 {from} {to} --plus-minus 1"));
        near(&found["factor"], number(by), name);
        near(&found["converted"]["value"], 10.0 * number(by), name);
        near(&found["converted"]["low"], 9.0 * number(by), name);
        checked += 1;
    }
    assert_eq!(checked, 14);
    for r in facts["seawater_density"]["rows"].as_array().unwrap() {
        let [s, t, density] = [0, 1, 2].map(|i| number(&r[i]));
        let line = format!("--salinity {s} --temperature {t}");
        let found = json(&format!("convert 420 ppm mg/L {line}"));
        near(&found["density_kg_per_m3"], density, &line);
        near(&found["converted"]["value"], 0.42 * density, &line);
        let back = json(&format!("convert {} mg/L ppm {line}", 0.42 * density));
        near(&back["converted"]["value"], 420.0, &line);
    }
}

/// Source: ammonia_freshwater_emerson1975.csv: the table printed from Emerson et al. (1975) by Univ. Florida IFAS FA-16, a
/// row of it: pH 8.0 at 20 degrees, 0.0382. Sea water: the example of the R package wql for Clegg & Whitfield (1995), free
/// scale: 0.0440 at pH 8, 25 degrees, salinity 35.
#[test]
fn unionised_ammonia() {
    let fresh = json("ammonia --ph 8 --ph-plus-minus 0.2 --temperature 20");
    let share = number(&fresh["share_percent"]["value"]);
    assert!((share - 3.82).abs() < 0.025, "{share}");
    let sea = json("ammonia --ph 8 --ph-plus-minus 0.2 --temperature 25 --salinity 35");
    let share = number(&sea["share_percent"]["value"]);
    assert!((share - 4.40).abs() < 0.006, "{share}");
}

/// By hand: with the temperature exact the interval is the share at the ends of the pH's, here 2 x 0.196 / 1.96 = 0.2 away:
/// 1 / (1 + 10^(pK - pH)) with pK = 0.09018 + 2729.92 / 293.15 = 9.40255 (Emerson et al. 1975), at pH 7.8: 2.4364 %, at 8.2:
/// 5.9025 %. Of a total of exactly 2 mg/L that is 0.048728 to 0.11805.
#[test]
fn interval_of_a_share_by_hand() {
    let found = json(
        "ammonia --ph 8 --ph-plus-minus 0.196 --temperature 20 --temperature-plus-minus 0 --total 2 --plus-minus 0",
    );
    for (end, share) in [("low", 2.4364), ("high", 5.9025)] {
        let found_share = number(&found["share_percent"][end]);
        assert!((found_share - share).abs() < 2e-4, "{end} {found_share}");
        let part = number(&found["unionised"][end]);
        assert!((part - share / 50.0).abs() < 1e-5, "{end} {part}");
    }
}
