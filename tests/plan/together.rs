//! One change for several substances.

use super::*;

/// Nitrate 80, phosphate 1, ammonia 0.1 mg/L in 400 L.
fn three() -> TempDir {
    let (dir, mut logbook) = logbook();
    for (test, level, half) in [
        ("nitrate", 80.0, 4.0),
        ("phosphate", 1.0, 0.1),
        ("ammonia", 0.1, 0.05),
    ] {
        logbook
            .add_reading(&Reading {
                test: test.into(),
                ..reading(0.0, value(level, half), Verdict::Trusted)
            })
            .unwrap();
    }
    dir
}

const LINE: &str = "change --log tidepool nitrate --target 40 --goal phosphate=0.4 --goal ammonia=0.2 \
                    --goal-source ammonia=1+-0.1";

/// By hand: nitrate needs (80 - 40) / 80 = 50 %, phosphate (1 - 0.4) / 1 = 60 %, ammonia nothing. 60 % of 400 L is 240 L and
/// leaves nitrate 32, phosphate 0.4, ammonia 0.4 x 0.1 + 0.6 x 1 = 0.64, which is above its target.
#[test]
fn the_largest_share_serves_all() {
    let dir = three();
    let found = json_in(dir.path(), LINE);
    near(&found["share_at_once_percent"]["value"], 60.0, "share");
    assert_eq!(found["decided_by"], "phosphate");
    assert_eq!(found["days"], 1);
    near(&found["litres_each"], 240.0, "litres");
    let goals = found["goals"].as_array().unwrap();
    for (goal, (test, needs, after, raised)) in goals.iter().zip([
        ("nitrate", Some(50.0), 32.0, false),
        ("phosphate", Some(60.0), 0.4, false),
        ("ammonia", None, 0.64, true),
    ]) {
        assert_eq!(goal["test"], test);
        match needs {
            Some(share) => near(&goal["needs_percent"]["value"], share, test),
            None => assert!(goal["needs_percent"].is_null()),
        }
        near(&goal["expected"]["value"], after, test);
        assert_eq!(goal["raised_above_target"], raised);
    }
    assert_eq!(goals.len(), 3);
    assert!(
        found["notes"]
            .to_string()
            .contains("ammonia: the source water is above")
    );
    let text = plan_in(dir.path(), LINE).out;
    assert!(text.contains("Most is needed for phosphate."), "{text}");
    assert!(text.contains("240 L of 400 L"), "{text}");
    assert!(text.contains("expect afterwards  32.0 mg/L"), "{text}");
}

/// By hand: at most 25 % a day: ln(0.4) / ln(0.75) = 3.2, 4 days of 1 - 0.4^(1/4) = 20.4729 %, which leave the same.
#[test]
fn days_come_to_the_same() {
    let dir = three();
    let found = json_in(dir.path(), &format!("{LINE} --most-a-day 25"));
    assert_eq!(found["days"], 4);
    near(&found["share_each_percent"]["value"], 20.4729, "each");
    near(&found["litres_each"], 81.8914, "litres");
    near(&found["goals"][0]["expected"]["value"], 32.0, "nitrate");
}

#[test]
fn nothing_to_do_for_any() {
    let dir = three();
    let line = "change --log tidepool nitrate --target 90 --goal phosphate=2";
    let found = json_in(dir.path(), line);
    assert_eq!(found["needed"], false);
    near(&found["goals"][0]["expected"]["value"], 80.0, "as it is");
    assert!(
        plan_in(dir.path(), line)
            .out
            .starts_with("No change is needed")
    );
}

#[test]
fn a_bound_of_another_goal_is_met_by_advice_that_works() {
    let (dir, mut logbook) = logbook();
    for (test, level) in [
        ("nitrate", value(80.0, 4.0)),
        ("phosphate", Amount::Below { high: 0.1 }),
    ] {
        let reading = Reading {
            test: test.into(),
            ..reading(0.0, level, Verdict::Trusted)
        };
        logbook.add_reading(&reading).unwrap();
    }
    let line = "change --log tidepool nitrate --target 40 --goal phosphate=0.05";
    let ran = plan_in(dir.path(), line);
    assert_eq!(ran.code, 4);
    assert!(
        ran.err.contains("that is a bound") && ran.err.contains("log add reading"),
        "{}",
        ran.err
    );
    assert!(!ran.err.contains("--now"), "{}", ran.err);
    let better = Reading {
        test: "phosphate".into(),
        ..reading(1.0, value(0.08, 0.02), Verdict::Trusted)
    };
    logbook.add_reading(&better).unwrap();
    assert_eq!(plan_in(dir.path(), line).code, 0);
}

#[test]
fn goals_that_make_no_sense_are_refused() {
    let dir = three();
    let first = "change --log tidepool nitrate --target 40";
    for (code, line, said) in [
        (
            2,
            "change --now 42 --plus-minus 6 --target 20 --goal phosphate=1".to_owned(),
            "--log",
        ),
        (2, format!("{first} --goal phosphate"), "TEST=VALUE"),
        (2, format!("{first} --goal phosphate=0,4"), "decimal point"),
        (2, format!("{first} --goal phosphate=-1"), "above 0"),
        (
            2,
            format!("{first} --goal phosphate=0.4 --goal phosphate=0.3"),
            "two targets",
        ),
        (2, format!("{first} --goal nitrate=30"), "two targets"),
        (
            2,
            format!("{first} --goal phosphate=0.4 --goal-source ammonia=1"),
            "no --goal",
        ),
        (4, format!("{first} --goal calcium=400"), "calcium"),
        (
            4,
            format!("{first} --goal phosphate=0.4 --goal-source phosphate=0.5"),
            "phosphate: the source water holds 0.5",
        ),
    ] {
        let ran = plan_in(dir.path(), &line);
        assert_eq!((ran.code, ran.out.as_str()), (code, ""), "{line}");
        // What is said to do can be done: these go with a logbook alone.
        assert!(!ran.err.contains("--now and"), "{line}: {}", ran.err);
        assert!(ran.err.contains(said), "{line}: {}", ran.err);
    }
}
