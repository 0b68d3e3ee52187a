//! What no level can be is refused, whichever way it comes: the command line, a file; the page has its own tests.

use tempfile::TempDir;
use tintwell::logbook::Amount;
use tintwell::logbook::exchange::Whole;

use super::at;
use super::command::{done, run};
use super::{open, water};

fn add<'a>(more: &[&'a str]) -> Vec<&'a str> {
    [&["log", "add", "reading", "reef"], more].concat()
}

#[test]
fn a_level_that_cannot_be_is_not_logged() {
    let dir = TempDir::new().unwrap();
    done(dir.path(), &["log", "add", "water", "reef"]);
    for (told, why) in [
        (
            &["nitrate", "-5", "mg/L", "--plus-minus", "1"][..],
            "nitrate: the value is -5 mg/L, below 0",
        ),
        (
            &["nitrate", "0", "mg/L", "--below"],
            "nitrate: nothing is below 0 mg/L",
        ),
        (
            &["nitrate", "-1", "mg/L", "--above"],
            "nitrate: the bound is -1 mg/L, below 0",
        ),
        (
            &["nitrate", "10", "mg/L", "--plus-minus", "1e10"],
            "nitrate: the upper end of the interval is 1.000000001e10 mg/L",
        ),
        (
            &["nitrate", "1e11", "mg/L", "--below"],
            "nitrate: the bound is 1e11 mg/L",
        ),
        (
            &["pH", "82", "", "--plus-minus", "0.2"],
            "pH: the value is 82",
        ),
        (
            &["nitrate", "5", "", "--plus-minus", "1"],
            "only pH, salinity and specific gravity may have none",
        ),
    ] {
        let (code, _, err) = run(dir.path(), &add(told));
        assert_eq!(code, 4, "{told:?}: {err}");
        assert!(err.contains(why), "{told:?}: {err}");
        assert!(err.lines().all(|l| l.len() < 200), "{err}");
    }
    let (code, _, err) = run(
        dir.path(),
        &add(&["nitrate", "10", "mg/L", "--plus-minus", "1e308"]),
    );
    assert_eq!(code, 2, "{err}");
    assert!(
        err.contains("'--plus-minus <HALF>': it has to be a number up to 1e12"),
        "{err}"
    );
    for bound in ["-1", "1e10"] {
        let (code, _, err) = run(
            dir.path(),
            &["log", "limits", "reef", "nitrate", "mg/L", "--low", bound],
        );
        assert_eq!(code, 4, "{err}");
        assert!(err.contains("nitrate: the lower limit is"), "{err}");
    }
    let (code, _, err) = run(dir.path(), &["log", "limits", "reef", "nitrate", ""]);
    assert_eq!(code, 4, "{err}");
    let (shown, _) = done(dir.path(), &["log", "show", "reef"]);
    assert_eq!(shown, "nothing is logged yet\n");
}

/// A redox potential is told against a reference, a temperature on a scale; pH and the practical salinity have no unit.
#[test]
fn some_levels_lie_below_zero_or_have_no_unit() {
    let dir = TempDir::new().unwrap();
    done(dir.path(), &["log", "add", "water", "reef"]);
    for told in [
        &["ORP", "-50", "mV", "--plus-minus", "20"][..],
        &["temperature", "1", "°C", "--plus-minus", "2"],
        &["pH", "8.2", "", "--plus-minus", "0.2"],
        &["salinity", "35", "", "--plus-minus", "1"],
        &["nitrate", "2", "mg/L", "--plus-minus", "4"],
    ] {
        done(dir.path(), &add(told));
    }
    let (rows, _) = done(dir.path(), &["log", "show", "reef", "--json"]);
    let lows: Vec<f64> = rows
        .lines()
        .map(|l| {
            serde_json::from_str::<serde_json::Value>(l).unwrap()["low"]
                .as_f64()
                .unwrap()
        })
        .map(|v| (v * 1e6).round() / 1e6)
        .collect();
    // Nothing is less than no nitrate; a temperature may be less than 0.
    assert_eq!(lows, [-70.0, -1.0, 8.0, 34.0, 0.0]);
    done(
        dir.path(),
        &["log", "limits", "reef", "ORP", "mV", "--low", "-100"],
    );
}

#[test]
fn a_file_is_held_to_the_same() {
    let dir = TempDir::new().unwrap();
    let mut book = open(&dir.path().join("a.sqlite"));
    book.add_water(&water("reef")).unwrap();
    for (cells, why) in [
        (
            "value,-3,-4,-1",
            "line 2: nitrate: the value is -3 mg/L, below 0",
        ),
        ("above,,1e300,", "line 2: nitrate: the bound is 1e300 mg/L"),
    ] {
        let csv = format!(
            "kind,water,at,test,unit,answer,value,low,high\n\
             reading,reef,2026-03-01T08:00:00Z,nitrate,mg/L,{cells}\n"
        );
        let refused = Whole::from_csv(&csv)
            .unwrap()
            .import(&mut book, &at(500))
            .unwrap_err();
        assert!(refused.what.starts_with(why), "{}", refused.what);
    }
    assert!(book.readings("reef", None).unwrap().is_empty());
    // A table has as much on either side of a value: what lies below nothing is cut off.
    let csv = "kind,water,at,test,unit,value,low,high\n\
               reading,reef,2026-03-01T08:00:00Z,nitrate,mg/L,1,-1,3\n\
               reading,reef,2026-03-01T08:00:00Z,ORP,mV,1,-1,3\n";
    for new in [2, 0] {
        let done = Whole::from_csv(csv)
            .unwrap()
            .import(&mut book, &at(500))
            .unwrap();
        assert_eq!(done.readings, new);
    }
    let lows: Vec<_> = book.readings("reef", None).unwrap();
    let lows: Vec<_> = lows.iter().map(|(_, r)| r.answer).collect();
    let answer = |low| Amount::Value {
        value: 1.0,
        low,
        high: 3.0,
    };
    assert_eq!(lows, [answer(0.0), answer(-1.0)]);
}
