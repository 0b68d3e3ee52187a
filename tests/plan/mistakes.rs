//! Input that makes no sense: one clear error each, no data, the right exit code.

use super::*;

/// The command and what it says, of a command that fails with `code`.
fn refused(dir: &Path, code: i32, line: &str) -> String {
    let ran = plan_in(dir, line);
    assert_eq!(ran.code, code, "{line}: {}{}", ran.out, ran.err);
    assert_eq!(ran.out, "", "{line}");
    // The usage below it is clap's.
    let said = ran.err.split("\n\n").next().unwrap();
    format!("$ {line}\n{}\n", said.trim_end())
}

#[test]
fn bad_input_is_refused() {
    let dir = TempDir::new().unwrap();
    let mut all = String::new();
    for line in [
        "change --target 20",
        "change --now 42 --target 20",
        "change --now 42 --plus-minus 6",
        "change --now 4,2 --plus-minus 6 --target 2",
        "change --now -3 --plus-minus 1 --target 20",
        "change --now many --plus-minus 1 --target 20",
        "change --now 1e300 --plus-minus 1 --target 20",
        "change --now 42 --plus-minus 6 --target 0",
        "change --now 42 --plus-minus 6 --target 20 --most-a-day 0",
        "change --now 42 --plus-minus 6 --target 20 --most-a-day 120",
        "change --now 42 --plus-minus 6 --target 20 --volume 400",
        "change --now 42 --plus-minus 6 --target 20 --volume 10gal",
        "change --now 42 --plus-minus 6 --target 20 --log tidepool nitrate",
        "routine --share 25",
        "routine --share 25 --made 5",
        "routine --share 25 --made 5 --made-plus-minus 1 --since 2026-01-01",
        "dilute",
        "stock XYZ --as NO3 --make 1000 --volume 500",
        "standards --stock 1000",
        "convert 3 XX NO3",
        "convert 3 ppm mg/L",
        "convert 3 ppm NO3",
        "convert 10 NO3 NO3-N --salinity 35",
        "convert 420 ppm mg/L --salinity 35 --temperature 25 --unit g/L",
        "ammonia --ph 8 --temperature 25",
        "ammonia --ph 8 --ph-plus-minus 0.2 --temperature 25 --salinity 1.025",
        "ammonia --ph 8 --ph-plus-minus 0.2 --temperature 25 --total 1",
    ] {
        all += &refused(dir.path(), 2, line);
    }
    insta::assert_snapshot!("bad_command_lines", all);

    let mut all = String::new();
    for line in [
        "change --now 42 --plus-minus 6 --target 20 --source 25",
        "change --now 42 --plus-minus 6 --target 20 --source 20",
        "change --now 42 --plus-minus 6 --target 20 --most-a-day 0.001",
        "change --now 8.1 --plus-minus 0.2 --target 7.5 --unit pH",
        "change --log tidepool nitrate --target 20",
        "routine --share 25 --made 0 --made-plus-minus 0 --now 20 --plus-minus 2 --source 0 --unit pH",
        "dilute --top 160 --at-least 100",
        "dilute --top 1 --at-least 1000",
        "dilute --chart nothing.json",
        "stock NO3 --as N --make 1000 --volume 500",
        "stock KNO3 --as PO4 --make 1000 --volume 500",
        "stock KNO3 --as XYZ --make 1000 --volume 500",
        "stock NaNO2 --as NO3 --make 1000 --volume 500",
        "stock NaNO2 --as NO3-N --make 1000 --volume 500",
        "stock KNO3 --as NO3 --make 1 --volume 10",
        "standards --stock 1000 0.01",
        "standards --stock 1000 2000",
        "standards --stock 1000 --smallest 200 10",
        "convert 3 NO3 PO4",
        "convert 3 ppm mg/L --salinity 80 --temperature 25",
        "ammonia --ph 12 --ph-plus-minus 0.2 --temperature 25",
        "ammonia --ph 8 --ph-plus-minus 0.2 --temperature 25 --salinity 80",
    ] {
        let said = refused(dir.path(), 4, line);
        assert!(said.contains("what to do: "), "{said}");
        all += &said.replace(&*dir.path().to_string_lossy(), "DIR");
    }
    insta::assert_snapshot!("what_cannot_be", all);
}

#[test]
fn a_logbook_that_does_not_say_is_refused() {
    let mut all = String::new();
    let mut of = |line: &str, fill: &dyn Fn(&mut Logbook)| {
        let (dir, mut logbook) = logbook();
        fill(&mut logbook);
        let said = refused(dir.path(), 4, line);
        all += &said.replace(&*dir.path().to_string_lossy(), "DIR");
    };
    let change = "change --log tidepool nitrate --target 20";
    let routine = "routine --share 25 --log tidepool nitrate";
    let add = |logbook: &mut Logbook, r: &Reading| {
        logbook.add_reading(r).unwrap();
    };
    let trusted = Verdict::Trusted;
    of("change --log pond nitrate --target 20", &|_| {});
    of(change, &|_| {});
    of("change --log tidepool phosphate --target 20", &|l| {
        add(l, &reading(0.0, value(30.0, 2.0), trusted));
    });
    of(change, &|l| {
        add(l, &reading(0.0, value(30.0, 2.0), Verdict::Doubtful));
    });
    of(change, &|l| {
        add(l, &reading(0.0, value(30.0, 2.0), trusted));
        add(l, &reading(1.0, Amount::Above { low: 160.0 }, trusted));
    });
    of(change, &|l| {
        add(l, &reading(0.0, Amount::Below { high: 2.0 }, trusted));
    });
    of(routine, &|l| {
        add(l, &reading(0.0, value(30.0, 2.0), trusted));
    });
    // A level that falls without a change.
    of(routine, &|l| {
        for day in 0..6 {
            let level = value(30.0 - 3.0 * f64::from(day), 1.0);
            add(l, &reading(7.0 * f64::from(day), level, trusted));
        }
    });
    // Another unit, and a change without a share.
    of(routine, &|l| {
        for day in 0..4 {
            let mut r = reading(f64::from(day), value(30.0, 1.0), trusted);
            if day == 0 {
                r.unit = "ppm".into();
            }
            add(l, &r);
        }
    });
    of(routine, &|l| {
        for day in 0..4 {
            add(l, &reading(f64::from(day), value(30.0, 1.0), trusted));
        }
        l.add_event(&water_change(1.5, None)).unwrap();
    });
    insta::assert_snapshot!("logbooks_that_do_not_say", all);
}
