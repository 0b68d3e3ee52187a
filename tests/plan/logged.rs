//! What the readings of a logbook bear: not after a change, not across a turn, not below nothing.

use super::*;

fn event(kind: Kind, day: f64) -> Event {
    Event {
        kind,
        percent: None,
        ..water_change(day, None)
    }
}

fn weekly(logbook: &mut Logbook, from: f64, levels: &[f64], half: f64) {
    for (week, level) in levels.iter().enumerate() {
        let day = from + 7.0 * week as f64;
        let reading = reading(day, value(*level, half), Verdict::Trusted);
        logbook.add_reading(&reading).unwrap();
    }
}

fn notes(object: &Value) -> String {
    object["notes"].to_string()
}

const CHANGE: &str = "change --log tidepool nitrate --target 20";

#[test]
fn who_changed_since_the_reading_is_not_told_to_change_again() {
    let (dir, mut logbook) = logbook();
    weekly(&mut logbook, 0.0, &[40.0], 2.0);
    assert_eq!(plan_in(dir.path(), CHANGE).code, 0);
    // At the instant of the reading is after it.
    logbook.add_event(&water_change(0.0, Some(50.0))).unwrap();
    for more in ["", " --goal phosphate=0.1"] {
        if !more.is_empty() {
            let phosphate = Reading {
                test: "phosphate".into(),
                ..reading(3.0, value(0.2, 0.05), Verdict::Trusted)
            };
            logbook.add_reading(&phosphate).unwrap();
        }
        let ran = plan_in(dir.path(), &format!("{CHANGE}{more}"));
        assert_eq!(ran.code, 4, "{}", ran.out);
        assert!(
            ran.err
                .contains("reading r1 is older than the water change e1 of 2026-03-01")
                && ran.err.contains("test again"),
            "{}",
            ran.err
        );
    }
    // Read again after it.
    weekly(&mut logbook, 1.0, &[30.0], 2.0);
    let found = json_in(dir.path(), CHANGE);
    near(&found["share_at_once_percent"]["value"], 100.0 / 3.0, "now");
    // A routine counts the level as just before a change: one after the reading does no harm.
    logbook.add_event(&water_change(2.0, Some(50.0))).unwrap();
    let routine = "routine --share 25 --made 5 --made-plus-minus 1 --log tidepool nitrate";
    assert_eq!(plan_in(dir.path(), routine).code, 0);
}

#[test]
fn a_dose_since_the_reading_is_told() {
    let (dir, mut logbook) = logbook();
    logbook.add_event(&event(Kind::Dose, -1.0)).unwrap();
    weekly(&mut logbook, 0.0, &[40.0], 2.0);
    assert!(!notes(&json_in(dir.path(), CHANGE)).contains("dose"));
    logbook.add_event(&event(Kind::Dose, 1.0)).unwrap();
    let told = notes(&json_in(dir.path(), CHANGE));
    assert!(told.contains("r1 is older than the dose e2 of"), "{told}");
}

#[test]
fn an_old_reading_is_told_to_be_old() {
    let today = (jiff::Timestamp::now().as_second() - at(0.0).seconds()) as f64 / 86_400.0;
    for (age, old) in [(10.0, true), (6.0, false)] {
        let (dir, mut logbook) = logbook();
        weekly(&mut logbook, today - age, &[40.0], 2.0);
        for line in [
            CHANGE,
            "routine --share 25 --made 5 --made-plus-minus 1 --log tidepool nitrate",
        ] {
            let told = notes(&json_in(dir.path(), line));
            assert_eq!(told.contains("days old"), old, "{told}");
            assert_eq!(told.contains("r1 is 10 days old: test again"), old);
        }
    }
}

const ROUTINE: &str = "routine --share 25 --log tidepool nitrate";

/// 6 mg/L a week before more filter material came in, 1 mg/L a week after it.
#[test]
fn a_routine_begins_after_the_turn() {
    let (dir, mut logbook) = logbook();
    weekly(
        &mut logbook,
        0.0,
        &[10.2, 15.8, 22.1, 28.0, 33.9, 40.0],
        1.0,
    );
    logbook.add_event(&event(Kind::MediaIn, 36.0)).unwrap();
    weekly(
        &mut logbook,
        42.0,
        &[41.1, 41.9, 43.0, 44.1, 45.0, 46.0],
        1.0,
    );
    let found = json_in(dir.path(), ROUTINE);
    assert_eq!(found["found_from"]["after_event"], "e1");
    assert_eq!(found["found_from"]["readings"], 6);
    let made = number(&found["made_per_week"]["value"]);
    assert!((made - 1.0).abs() < 0.3, "{made}");
    let told = notes(&found);
    assert!(
        told.contains("Begins after e1 (media-in) of 2026-04-06") && told.contains("--since"),
        "{told}"
    );
    // Told otherwise, it begins there.
    let all = json_in(dir.path(), &format!("{ROUTINE} --since 2026-02-01"));
    assert_eq!(all["found_from"]["after_event"], Value::Null);
    assert_eq!(all["found_from"]["readings"], 12);
    assert!(!notes(&all).contains("Begins after"));
    assert!(number(&all["made_per_week"]["value"]) > 2.0);
}

/// What a water change took out is put back: it is no turn.
#[test]
fn a_water_change_is_no_turn() {
    let (dir, mut logbook) = logbook();
    weekly(&mut logbook, 0.0, &[40.0, 44.0, 48.1, 52.0], 1.0);
    logbook.add_event(&water_change(22.0, Some(50.0))).unwrap();
    weekly(&mut logbook, 28.0, &[28.2, 32.0, 36.1, 40.0], 1.0);
    let found = json_in(dir.path(), ROUTINE);
    assert_eq!(found["found_from"]["after_event"], Value::Null);
    assert_eq!(found["found_from"]["readings"], 8);
    let made = number(&found["made_per_week"]["value"]);
    assert!((made - 4.0).abs() < 0.5, "{made}");
}

/// Too few trusted readings after the turn: said with the turn, so that it can be told what to do.
#[test]
fn a_turn_with_too_little_after_it_is_told() {
    let (dir, mut logbook) = logbook();
    weekly(
        &mut logbook,
        0.0,
        &[10.2, 15.8, 22.1, 28.0, 33.9, 40.0],
        0.5,
    );
    logbook.add_event(&event(Kind::MediaIn, 36.0)).unwrap();
    for (week, level) in [10.0, 10.2, 10.1, 10.3].into_iter().enumerate() {
        let day = 42.0 + 7.0 * week as f64;
        let doubtful = reading(day, value(level, 0.5), Verdict::Doubtful);
        logbook.add_reading(&doubtful).unwrap();
    }
    weekly(&mut logbook, 70.0, &[10.4, 10.5], 0.5);
    let ran = plan_in(dir.path(), ROUTINE);
    assert_eq!(ran.code, 4, "{}", ran.out);
    assert!(
        ran.err.contains("turned after e1 (media-in)") && ran.err.contains("--since"),
        "{}",
        ran.err
    );
}

#[test]
fn a_flat_course_makes_nothing_to_a_little() {
    let (dir, mut logbook) = logbook();
    weekly(
        &mut logbook,
        0.0,
        &[20.2, 20.0, 20.1, 19.9, 20.0, 19.8],
        2.0,
    );
    let found = json_in(dir.path(), ROUTINE);
    let made = &found["made_per_week"];
    assert_eq!(
        (number(&made["value"]), number(&made["low"])),
        (0.0, 0.0),
        "the readings fall by a little"
    );
    let high = number(&made["high"]);
    assert!(0.1 < high && high < 2.0, "{high}");
    assert!(notes(&found).contains("do not settle whether anything is made"));
    // By hand: what is made in a week by the share of 25 %, at k = 2.
    near(
        &found["before_change"]["high"],
        4.0 * high * 2.0 / 1.96,
        "before",
    );
    let text = plan_in(dir.path(), ROUTINE).out;
    assert!(text.starts_with("Not settled yet"), "{text}");
    assert!(text.contains("not known, as it is not settled"), "{text}");
    assert!(!text.contains("never"), "{text}");
}

/// The logbook takes no such volume, but another program may have written it.
#[test]
fn a_volume_below_nothing_is_refused() {
    let (dir, mut logbook) = logbook();
    weekly(&mut logbook, 0.0, &[40.0], 2.0);
    drop(logbook);
    let file = rusqlite::Connection::open(dir.path().join("tintwell/logbook.sqlite")).unwrap();
    file.execute("UPDATE water SET volume_l = -400", [])
        .unwrap();
    drop(file);
    for more in ["", " --most-a-day 20"] {
        let ran = plan_in(dir.path(), &format!("{CHANGE}{more}"));
        assert_eq!((ran.code, ran.out.as_str()), (4, ""), "{}", ran.err);
        assert!(ran.err.contains("a volume of -400 L"), "{}", ran.err);
        let told = plan_in(dir.path(), &format!("{CHANGE}{more} --volume 400L"));
        assert_eq!(told.code, 0, "{}", told.err);
    }
}

/// By hand, 40 +-30 now, 10 +-5 a week with 25 %: 40 in the long run. The level now 30 / 1.96 x 2 = 30.612 off:
/// ln(4 / 30.612) / ln(0.75) = 7.074 weeks. What is made 5.102 off: the long run is 20.408 lower, 19.592, and
/// ln(1.9592 / 20.408) / ln(0.75) = 8.146 weeks. Together hypot(7.074, 8.146) = 10.79.
#[test]
fn it_may_be_now_is_a_range() {
    let line = "routine --share 25 --made 10 --made-plus-minus 5 --now 40 --plus-minus 30";
    let weeks = &json(line)["weeks_until_within_10_percent"];
    assert_eq!(weeks["value"], 0);
    assert_eq!(weeks["low"], 0);
    assert_eq!(weeks["high"], 11);
    let text = plan(line).out;
    assert!(text.contains("it may be now (0 to 11 weeks)"), "{text}");
    // Sure enough.
    let sure = "routine --share 25 --made 10 --made-plus-minus 0 --now 40 --plus-minus 3";
    assert!(plan(sure).out.contains("it is now"));
    // What may not be made at all is never near to nothing.
    let open = "routine --share 25 --made 2 --made-plus-minus 3 --now 40 --plus-minus 3";
    assert_eq!(
        json(open)["weeks_until_within_10_percent"]["high"],
        Value::Null
    );
    assert!(plan(open).out.contains(" or more)"));
}

/// 411 g in half a litre.
#[test]
fn more_than_dissolves_is_told() {
    let strong = plan("stock KNO3 --as NO3 --make 500000 --volume 500").out;
    assert!(
        strong.contains("That is 824 g in a litre") && strong.contains("may not dissolve"),
        "{strong}"
    );
    let weak = plan("stock KNO3 --as NO3 --make 50000 --volume 500").out;
    assert!(!weak.contains("dissolve"), "82 g in a litre: {weak}");
}

/// A slip in the year is not the newest reading, for plans as for trends.
#[test]
fn what_is_dated_ahead_of_today_does_not_count() {
    let (dir, mut logbook) = logbook();
    weekly(&mut logbook, 0.0, &[40.0], 2.0);
    weekly(&mut logbook, 365.0 * 400.0, &[20.0], 2.0);
    logbook
        .add_event(&water_change(365.0 * 400.0, Some(50.0)))
        .unwrap();
    let ran = plan_in(dir.path(), "change --log tidepool nitrate --target 10");
    assert!(
        ran.err
            .contains("is dated ahead of today and was passed over"),
        "{}",
        ran.err
    );
    let found = json_in(dir.path(), "change --log tidepool nitrate --target 10");
    near(&found["share_at_once_percent"]["value"], 75.0, "of 40");
    let now = reading(1.0, value(1.0, 1.0), Verdict::Trusted).at;
    let wanted = |now| tintwell::course::Wanted {
        now,
        ..Default::default()
    };
    let course =
        |now| tintwell::course::Course::of(&logbook, "tidepool", "nitrate", &wanted(now)).unwrap();
    assert_eq!(course(None).readings.len(), 2);
    let present = course(Some(now));
    assert_eq!(present.readings.len(), 1);
    assert!(
        present.notes[0].contains("dated ahead of today: 1, the first r2"),
        "{:?}",
        present.notes
    );
}
