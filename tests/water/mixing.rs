//! Water changes and routines.

use super::*;

/// Source: water_facts.json, "water_change": computed apart from this code.
#[test]
fn changes_are_those_of_the_reference() {
    let facts = facts();
    let w = &facts["water_change"];
    for e in w["examples"].as_array().unwrap() {
        let after = after_changes(
            exact(number(e, "C0")),
            exact(number(e, "C_new")),
            exact(number(e, "fraction")),
            number(e, "n") as u32,
        )
        .unwrap();
        assert_relative_eq!(after.value, number(e, "C_after"), max_relative = 1e-9);
        assert_eq!(after.u, 0.0);
    }
    for e in w["required"].as_array().unwrap() {
        let share = share_needed(
            exact(number(e, "C0")),
            exact(number(e, "C_new")),
            number(e, "target"),
            "mg/L",
        )
        .unwrap();
        assert_relative_eq!(
            share.value,
            number(e, "fraction_single"),
            max_relative = 1e-9
        );
        let schedule = spread(share, 0.2).unwrap();
        assert_eq!(f64::from(schedule.days), number(e, "n_of_20pct"));
        assert!(schedule.share.value <= 0.2);
        let course = schedule
            .course(exact(number(e, "C0")), exact(number(e, "C_new")))
            .unwrap();
        assert_relative_eq!(
            course.last().unwrap().value,
            number(e, "target"),
            max_relative = 1e-9
        );
    }
    for e in w["impossible"].as_array().unwrap() {
        let error = share_needed(
            exact(number(e, "C0")),
            exact(number(e, "C_new")),
            number(e, "target"),
            "mg/L",
        )
        .unwrap_err();
        assert!(error.what.contains("source water"), "{error}");
    }
    for e in w["steady_state"].as_array().unwrap() {
        let steady = Routine {
            rise: exact(number(e, "rise_per_interval")),
            share: exact(number(e, "fraction")),
            source: exact(number(e, "C_new")),
        }
        .steady()
        .unwrap();
        let (before, after) = (
            number(e, "steady_before_change"),
            number(e, "steady_after_change"),
        );
        assert_relative_eq!(steady.before.value, before, max_relative = 1e-9);
        assert_relative_eq!(steady.after.value, after, max_relative = 1e-9);
    }
}

#[test]
fn changing_all_of_it_gives_the_source() {
    let source = Estimate::new(3.0, 0.4);
    for times in [1, 2, 5] {
        let after = after_changes(Estimate::new(80.0, 9.0), source, exact(1.0), times).unwrap();
        assert_eq!(after, source);
    }
}

#[test]
fn repeated_changes_compose() {
    let (present, source, share) = (Estimate::new(40.0, 4.0), exact(5.0), exact(0.3));
    let half = after_changes(present, source, share, 3).unwrap();
    let twice = after_changes(half, source, share, 3).unwrap();
    let whole = after_changes(present, source, share, 6).unwrap();
    assert_relative_eq!(twice.value, whole.value, max_relative = 1e-12);
    assert_relative_eq!(twice.u, whole.u, max_relative = 1e-12);
    // A source that is uncertain is wrong by the same each time, which counts for more than errors of its own each time.
    let source = Estimate::new(5.0, 1.0);
    let half = after_changes(present, source, share, 3).unwrap();
    let twice = after_changes(half, source, share, 3).unwrap();
    let whole = after_changes(present, source, share, 6).unwrap();
    assert!(whole.u > twice.u);
    assert_eq!(after_changes(present, source, share, 0).unwrap(), present);
}

/// By hand: 80 +-8 with a quarter of 10 +-2: 0.75 x 80 + 0.25 x 10 = 62.5; hypot(0.75 x 8, 0.25 x 2) = 6.0208. Share for
/// 45: 35/70 = 0.5; by present 35/70^2 x 8 = 0.05714, by source 35/70^2 x 2 = 0.01429: together 0.05890.
#[test]
fn uncertainties_of_a_change_by_hand() {
    let (present, source) = (Estimate::new(80.0, 8.0), Estimate::new(10.0, 2.0));
    let after = after_change(present, source, exact(0.25)).unwrap();
    assert_eq!(after.value, 62.5);
    assert!((after.u - 6.0208).abs() < 1e-4);
    let share = share_needed(present, source, 45.0, "mg/L").unwrap();
    assert_eq!(share.value, 0.5);
    assert!((share.u - 0.05890).abs() < 1e-5, "{}", share.u);
}

/// Worked by hand: with source water of nothing the ends of the level's interval give those of the share. 0.2 (0.1 to 0.3) down to
/// 0.03: 0.07 / 0.1 to 0.27 / 0.3; 20 (12 to 28) down to 15: none, as 12 is below it, to 13 / 28. Exact levels: the share itself.
#[test]
fn the_interval_of_a_share_follows_the_levels() {
    let near = |(low, high): (f64, f64), want: (f64, f64)| {
        assert!(
            (low - want.0).abs() < 0.006 && (high - want.1).abs() < 0.006,
            "{low} to {high}"
        );
    };
    let of = |value: f64, half: f64| Estimate::new(value, half / 1.96);
    near(share_interval(of(0.2, 0.1), exact(0.0), 0.03), (0.7, 0.9));
    near(
        share_interval(of(20.0, 8.0), exact(0.0), 15.0),
        (0.0, 13.0 / 28.0),
    );
    near(share_interval(exact(80.0), exact(10.0), 45.0), (0.5, 0.5));
    // Small uncertainties: that of the law of propagation, 0.5 by 0.0589 (see above) over ten.
    let (low, high) = share_interval(Estimate::new(80.0, 0.8), Estimate::new(10.0, 0.2), 45.0);
    near((low, high), (0.5 - 1.96 * 0.00589, 0.5 + 1.96 * 0.00589));
    // Source water that may be at the target: then all of the water would not do.
    assert_eq!(
        share_interval(exact(20.0), Estimate::new(9.0, 5.0), 10.0).1,
        1.0
    );
}

#[test]
fn uncertainties_are_those_of_moving_the_inputs() {
    let e = Estimate::new;
    let x = [e(40.0, 3.0), e(5.0, 1.0), e(0.3, 0.02)];
    let f = |x: &[Estimate]| after_changes(x[0], x[1], x[2], 4).unwrap();
    assert_relative_eq!(f(&x).u, by_moving(&x, |x| f(x).value), max_relative = 1e-5);

    let f = |x: &[Estimate]| share_needed(x[0], x[1], 12.0, "mg/L").unwrap();
    assert_relative_eq!(f(&x).u, by_moving(&x, |x| f(x).value), max_relative = 1e-5);

    let p = [e(0.8, 0.05)];
    let f = |p: &[Estimate]| spread(p[0], 0.25).unwrap().share;
    assert_relative_eq!(f(&p).u, by_moving(&p, |p| f(p).value), max_relative = 1e-5);

    // From below and from above the steady state of 5 + 6 / 0.2 = 35.
    let routine = |x: &[Estimate]| Routine {
        rise: x[0],
        share: x[1],
        source: x[2],
    };
    for now in [2.0, 90.0] {
        let x = [e(6.0, 0.5), e(0.2, 0.01), e(5.0, 0.5), e(now, 1.0)];
        let f = |x: &[Estimate]| routine(x).steady().unwrap();
        let before = by_moving(&x, |x| f(x).before.value);
        let after = by_moving(&x, |x| f(x).after.value);
        assert_relative_eq!(f(&x).before.u, before, max_relative = 1e-5);
        assert_relative_eq!(f(&x).after.u, after, max_relative = 1e-5);
        let f = |x: &[Estimate]| routine(x).weeks_until_within(5.0, x[3]).unwrap().unrounded;
        assert_relative_eq!(f(&x).u, by_moving(&x, |x| f(x).value), max_relative = 1e-4);
    }
}

/// The count against the weeks lived through one by one.
#[test]
fn weeks_until_steady_are_those_of_living_through_them() {
    for (rise, share, source, now, percent) in [
        (5.0, 0.2, 0.0, 0.0, 5.0),
        (2.0, 0.25, 5.0, 60.0, 1.0),
        (3.0, 0.5, 1.0, 40.0, 10.0),
        (0.0, 0.1, 4.0, 20.0, 5.0),
        (5.0, 1.0, 0.0, 70.0, 5.0),
        (5.0, 0.2, 0.0, 25.5, 5.0),
    ] {
        let routine = Routine {
            rise: exact(rise),
            share: exact(share),
            source: exact(source),
        };
        let level = source + rise / share;
        let (mut c, mut weeks) = (now, 0);
        while (c - level).abs() > percent / 100.0 * level {
            c = c * (1.0 - share) + source * share + rise;
            weeks += 1;
        }
        let found = routine.weeks_until_within(percent, exact(now)).unwrap();
        assert_eq!(found.weeks, weeks, "{rise} {share} {source} {now}");
    }
}

fn goal(name: &str, present: f64, source: f64, target: f64) -> Goal {
    Goal {
        name: name.into(),
        unit: "mg/L".into(),
        present: Estimate::new(present, 0.1 * present),
        source: exact(source),
        target,
    }
}

#[test]
fn the_largest_share_decides() {
    // By hand: nitrate (80 - 40) / (80 - 0) = 0.5; phosphate (1 - 0.4) / (1 - 0) = 0.6; ammonia is met already, and
    // 0.4 x 0.1 + 0.6 x 1 = 0.64 is above its target.
    let goals = [
        goal("nitrate", 80.0, 0.0, 40.0),
        goal("phosphate", 1.0, 0.0, 0.4),
        goal("ammonia", 0.1, 1.0, 0.2),
    ];
    let all = share_for_all(&goals).unwrap();
    assert_eq!(all.decided_by, 1);
    assert_relative_eq!(all.share.value, 0.6, max_relative = 1e-12);
    assert!(all.share.u > 0.0);
    assert_eq!(all.each[0].needed.unwrap().value, 0.5);
    assert_relative_eq!(all.each[0].after.value, 32.0, max_relative = 1e-12);
    assert_relative_eq!(all.each[1].after.value, 0.4, max_relative = 1e-12);
    assert_eq!(all.each[2].needed, None);
    assert_relative_eq!(all.each[2].after.value, 0.64, max_relative = 1e-12);
    assert_eq!(
        all.each
            .iter()
            .map(|o| o.raised_above_target)
            .collect::<Vec<_>>(),
        [false, false, true]
    );

    let e = share_for_all(&[goal("nitrate", 80.0, 50.0, 40.0)]).unwrap_err();
    assert!(e.what.starts_with("nitrate: "), "{e}");
    all_refused([
        share_for_all(&[]),
        share_for_all(&[goal("nitrate", 10.0, 0.0, 40.0)]),
        share_for_all(&[goal("nitrate", f64::NAN, 0.0, 40.0)]),
        share_for_all(&[goal("nitrate", 80.0, 0.0, f64::NAN)]),
        share_for_all(&[goal("nitrate", 10.0, -1.0, 40.0), goal("x", 2.0, 0.0, 1.0)]),
    ]);
}

#[test]
fn impossible_changes_are_refused() {
    let (present, source, share) = (exact(40.0), exact(5.0), exact(0.2));
    all_refused(NOT_AMOUNTS.map(|c| after_change(c, source, share)));
    all_refused(NOT_AMOUNTS.map(|c| after_change(present, c, share)));
    all_refused(NOT_AMOUNTS.map(|c| share_needed(c, source, 10.0, "mg/L")));
    all_refused(NOT_AMOUNTS.map(|c| share_needed(present, c, 10.0, "mg/L")));
    for bad in [0.0, -0.1, 1.1, f64::NAN] {
        assert!(after_change(present, source, exact(bad)).is_err());
        assert!(spread(exact(bad), 0.2).is_err());
        assert!(spread(exact(0.5), bad).is_err());
    }
    for target in [5.0, 4.0, 40.0, 41.0, -1.0, f64::NAN] {
        assert!(
            share_needed(present, source, target, "mg/L").is_err(),
            "{target}"
        );
    }
    let e = share_needed(present, source, 50.0, "mg/L").unwrap_err();
    assert!(e.what.contains("present 40 mg/L"), "{e}");
    assert!(spread(exact(1.0), 0.5).is_err(), "some is always left");
    assert!(spread(exact(0.9), 1e-6).is_err(), "a million days");
    assert_eq!(spread(exact(1.0), 1.0).unwrap().days, 1);
    assert_eq!(spread(exact(0.75), 0.5).unwrap().days, 2);
    let huge = Estimate::new(f64::MAX, f64::MAX);
    assert!(after_change(huge, source, Estimate::new(0.5, 10.0)).is_err());

    let routine = Routine {
        rise: exact(5.0),
        share,
        source,
    };
    for bad in NOT_AMOUNTS {
        let rise = Routine {
            rise: bad,
            ..routine
        };
        let source = Routine {
            source: bad,
            ..routine
        };
        assert!(rise.steady().is_err() && source.steady().is_err());
        assert!(routine.weeks_until_within(5.0, bad).is_err());
    }
    assert!(routine.weeks_until_within(0.0, present).is_err());
    let empty = Routine {
        rise: exact(0.0),
        share,
        source: exact(0.0),
    };
    let e = empty.weeks_until_within(5.0, present).unwrap_err();
    assert!(e.what.contains("zero"), "{e}");
}
