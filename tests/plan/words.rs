//! What the plans look like, and that help can be pasted.

use super::*;

/// How old a reading is depends on the day of the test.
fn undated(text: &str) -> String {
    match text.split_once(" days old") {
        None => text.to_owned(),
        Some((before, after)) => {
            let (before, _) = before.rsplit_once(' ').unwrap();
            format!("{before} N days old{after}")
        }
    }
}

fn said(name: &str, ran: Ran) {
    assert_eq!(ran.code, 0, "{}", ran.err);
    insta::assert_snapshot!(name, undated(&ran.out));
}

#[test]
fn plans_in_words() {
    for (name, line) in [
        (
            "change",
            "change --now 42 --plus-minus 6 --target 20 --volume 400L",
        ),
        (
            "change_by_days",
            "change --now 42 --plus-minus 6 --target 20 --source 5 --source-plus-minus 2 --volume 400L --most-a-day 20",
        ),
        (
            "change_by_many_days",
            "change --now 42 --plus-minus 6 --target 20 --most-a-day 2",
        ),
        ("no_change", "change --now 18 --plus-minus 6 --target 20"),
        (
            "routine",
            "routine --share 25 --made 5 --made-plus-minus 1 --now 42 --plus-minus 6",
        ),
        (
            "routine_of_nothing",
            "routine --share 25 --made 0 --made-plus-minus 0 --now 20 --plus-minus 2",
        ),
        ("dilute", "dilute --top 160 --at-least 400 --vial 10"),
        ("stock", "stock KNO3 --as NO3 --make 1000 --volume 500"),
        (
            "standards",
            "standards --stock 1000 --stock-plus-minus 30 0 5 10 20 40 80",
        ),
        ("convert", "convert 10 NO3-N NO3 --plus-minus 2"),
        (
            "ammonia",
            "ammonia --ph 8.2 --ph-plus-minus 0.2 --temperature 25 --salinity 35 --total 0.5 --plus-minus 0.2",
        ),
    ] {
        said(name, plan(line));
    }
}

#[test]
fn plans_from_the_logbook() {
    let dir = weeks();
    let ran = plan_in(dir.path(), "change --log tidepool nitrate --target 20");
    assert!(ran.err.contains("newer reading r6"), "{}", ran.err);
    said("change_by_logbook", ran);
    said(
        "routine_by_logbook",
        plan_in(dir.path(), "routine --share 25 --log tidepool nitrate"),
    );
}

/// One photo cannot tell the last two steps of the demo's chart apart, as `tintwell chart` shows: a sample over its top is not
/// brought between them.
#[test]
fn a_dilution_aims_where_steps_are_told_apart() {
    let chart = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/alder-creek-nitrate.json");
    let found = json(&format!("dilute --chart {}", chart.display()));
    assert_eq!(found["chart_top"], 80.0);
    assert_eq!(found["told_apart_to"], 40.0);
    // 80 mg/L to the middle of 40.
    assert_eq!(found["dilution"], "1:3");
    assert_eq!(found["reads_at_least"], 20.0);
    assert_eq!(found["reaches"], 160.0);
}

/// Each example of each help, in a folder that holds what they name.
#[test]
fn examples_can_be_pasted() {
    let dir = weeks();
    std::fs::copy(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/alder-creek-nitrate.json"),
        dir.path().join("nitrate.json"),
    )
    .unwrap();
    let mut examples = 0;
    for of in [
        "",
        "change ",
        "routine ",
        "dilute ",
        "stock ",
        "standards ",
        "convert ",
        "ammonia ",
    ] {
        let help = plan(&format!("{of}--help"));
        assert_eq!(help.code, 0);
        let lines: Vec<&str> = help.out.lines().collect();
        for (line, next) in lines.iter().zip(lines.iter().skip(1).chain([&""])) {
            if let Some(example) = line.trim().strip_prefix("tintwell plan ") {
                assert!(
                    next.is_empty() || next.trim().starts_with("tintwell "),
                    "the example goes on in the next line: {example} {next}"
                );
                let ran = plan_in(dir.path(), example);
                assert_eq!(ran.code, 0, "{example}: {}", ran.err);
                examples += 1;
            }
        }
    }
    assert!(examples >= 25, "{examples}");
}

/// Value first, with its interval, and a caution: in every plan, in both faces.
#[test]
fn both_faces_say_the_same() {
    for line in [
        "change --now 42 --plus-minus 6 --target 20",
        "routine --share 25 --made 5 --made-plus-minus 1",
        "dilute --top 160",
        "stock KNO3 --as NO3 --make 1000 --volume 500",
        "standards --stock 1000 --stock-plus-minus 30 5 10",
        "convert 10 NO3-N NO3 --plus-minus 2",
        "ammonia --ph 8 --ph-plus-minus 0.2 --temperature 25",
    ] {
        let (object, text) = (json(line), plan(line).out);
        // Lines are broken between words.
        let flat: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(object["plan"], line.split(' ').next().unwrap());
        assert_eq!(object["level"], 0.95);
        for list in ["notes", "cautions"] {
            for sentence in object[list].as_array().unwrap() {
                assert!(
                    flat.contains(sentence.as_str().unwrap()),
                    "{line}: {sentence}"
                );
            }
        }
        assert!(flat.contains("Not for drinking water"), "{line}");
        assert!(!object["cautions"].as_array().unwrap().is_empty());
        keys(&object);
        assert!(text.lines().all(|l| l.chars().count() <= 100), "{text}");
    }
    for chemicals in [
        "dilute --top 1",
        "stock KNO3 --as N --make 100 --volume 500",
    ] {
        assert!(
            plan(chemicals)
                .out
                .contains("Wear gloves and eye protection")
        );
    }
    for animals in [
        "change --now 42 --plus-minus 6 --target 20",
        "ammonia --ph 8 --ph-plus-minus 0.2 --temperature 25",
    ] {
        assert!(plan(animals).out.contains("ask a vet"));
    }
}

/// Keys are in snake_case.
fn keys(v: &Value) {
    match v {
        Value::Object(fields) => {
            for (key, value) in fields {
                let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
                assert!(key.chars().all(fits), "{key}");
                keys(value);
            }
        }
        Value::Array(all) => all.iter().for_each(keys),
        _ => {}
    }
}

/// What the water is known to hold, by the logbook: 400 L.
#[test]
fn litres_come_from_the_logbook_or_the_line() {
    let dir = weeks();
    let line = "change --log tidepool nitrate --target 13";
    let by_log = json_in(dir.path(), line);
    near(&by_log["changes"][0]["litres"], 200.0, "half of 400 L");
    assert_eq!(by_log["now"]["reading"], "r5");
    // 231 cubic inches are 3.785411784 L.
    let told = json_in(dir.path(), &format!("{line} --volume 100USgal"));
    near(
        &told["changes"][0]["litres"],
        189.270_589,
        "half of 100 US gal",
    );
}

/// The gallons are exact by definition: 231 cubic inches, and 4.54609 L (NIST SP 811, appendix B).
#[test]
fn volumes_have_units() {
    use tintwell::water::volume::litres;
    assert_eq!(litres("400L"), Ok(400.0));
    assert_eq!(litres("1.5 m3"), Ok(1500.0));
    assert_eq!(litres("250 mL"), Ok(0.25));
    assert_eq!(litres("10 UK gal"), Ok(45.4609));
    for wrong in ["400", "L", "-3L", "4 gal", "nanL", "1e400L"] {
        assert!(litres(wrong).is_err(), "{wrong}");
    }
}
