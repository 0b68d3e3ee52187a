//! Laws of the line for whatever readings come: units, origins, and what is known never makes less sure.

use proptest::prelude::*;

use super::*;

/// Four to twelve readings on different days: values, some of them bounds or doubtful.
fn readings(bounds: bool) -> impl Strategy<Value = Vec<Point>> {
    let one = (1.0..20.0, 0.0..50.0, 0.1..5.0, 0..10, 0.2..1.0);
    prop::collection::vec(one, 4..12).prop_map(move |all| {
        let mut day = 0.0;
        all.into_iter()
            .enumerate()
            .map(|(i, (gap, value, u, kind, weight))| {
                day += gap;
                let seen = match kind {
                    // The first three stay values, so that there is a line.
                    0 if bounds && i > 2 => Seen::Below(value),
                    1 if bounds && i > 2 => Seen::Above(value),
                    _ => Seen::Value { value, u },
                };
                Point {
                    day,
                    seen,
                    weight: if kind == 2 { weight } else { 1.0 },
                }
            })
            .collect()
    })
}

fn map_seen(points: &[Point], number: impl Fn(f64) -> f64, own: impl Fn(f64) -> f64) -> Vec<Point> {
    points
        .iter()
        .map(|p| Point {
            seen: match p.seen {
                Seen::Value { value, u } => Seen::Value {
                    value: number(value),
                    u: own(u),
                },
                Seen::Below(limit) => Seen::Below(number(limit)),
                Seen::Above(limit) => Seen::Above(number(limit)),
            },
            ..*p
        })
        .collect()
}

/// Slope and the ends of its interval.
fn slopes(points: &[Point]) -> Option<[f64; 3]> {
    let line = slope::fit(points).ok()?;
    let (low, high) = line.slope_interval;
    Some([line.slope_per_week, low, high])
}

fn agree(base: [f64; 3], found: [f64; 3], scale: f64) -> std::result::Result<(), TestCaseError> {
    let width = scale * (base[2] - base[1]);
    for (a, b) in base.iter().zip(found) {
        // The scatter is found to about 1e-8 where its likelihood is sharp; where it is flat, less closely, and matters less.
        prop_assert!(
            (a * scale - b).abs() < 1e-4 * width,
            "{base:?} times {scale}, {found:?}"
        );
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(100) })]

    #[test]
    fn the_unit_scales_slope_and_interval(points in readings(true), by in 0.01..100.0) {
        let Some(base) = slopes(&points) else { return Ok(()) };
        let found = slopes(&map_seen(&points, |v| v * by, |u| u * by));
        agree(base, found.unwrap(), by)?;
    }

    #[test]
    fn a_constant_added_leaves_the_slope(points in readings(true), by in -100.0..100.0) {
        let Some(base) = slopes(&points) else { return Ok(()) };
        agree(base, slopes(&map_seen(&points, |v| v + by, |u| u)).unwrap(), 1.0)?;
    }

    #[test]
    fn days_shifted_leave_the_slope(points in readings(true), by in -30_000.0..30_000.0) {
        let Some(base) = slopes(&points) else { return Ok(()) };
        let moved: Vec<Point> = points.iter().map(|p| Point { day: p.day + by, ..*p }).collect();
        agree(base, slopes(&moved).unwrap(), 1.0)?;
    }

    /// Values only: whether a bound tells much depends on where the line is, and that moves along.
    #[test]
    fn a_wider_uncertainty_never_narrows_the_interval_of_a_known_scatter(
        points in readings(false),
        which in 0..4usize,
        by in 1.0..10.0,
        tau in 0.0..5.0,
    ) {
        let design = DMatrix::from_fn(points.len(), 2, |i, j| if j == 0 { 1.0 } else { points[i].day });
        let width = |points: &[Point]| {
            let fit = maximise(points, &design, Tau::Fixed(tau)).unwrap();
            (fit.covariance[(1, 1)], fit.freedom)
        };
        let mut wider = points.clone();
        if let Seen::Value { value, u } = wider[which].seen {
            wider[which].seen = Seen::Value { value, u: u * by };
        }
        let (before, after) = (width(&points), width(&wider));
        prop_assert!(after.0 >= before.0 * (1.0 - 1e-9), "{before:?} {after:?}");
        prop_assert_eq!(before.1, after.1);
    }

    /// The interval lies between that of known uncertainties and that of a scatter told by the readings' worth alone.
    #[test]
    fn the_interval_is_no_narrower_than_what_is_known(points in readings(true)) {
        let Ok(line) = slope::fit(&points) else { return Ok(()) };
        let half = 0.5 * (line.slope_interval.1 - line.slope_interval.0);
        prop_assert!(half >= 1.959_96 * line.covariance[1][1].sqrt(), "{line:?}");
        let sum: f64 = points.iter().map(|p| p.weight).sum();
        let squares: f64 = points.iter().map(|p| p.weight * p.weight).sum();
        prop_assert!(line.freedom >= (sum * sum / squares - 2.0) * (1.0 - 1e-6), "{line:?}");
    }
}

/// Ten thousand readings have fifty million pairs: some are looked at, and the slope is still that of the line.
#[test]
fn many_readings_are_answered_in_bounded_memory() {
    let points: Vec<Point> = (0..10_000)
        .map(|i| Point {
            day: f64::from(i) / 24.0,
            seen: Seen::Value {
                value: 5.0 + 0.01 * f64::from(i) + f64::from(i * 7919 % 13) * 0.01,
                u: 0.1,
            },
            weight: 1.0,
        })
        .collect();
    let robust = theil_sen::fit(&points).unwrap();
    // 0.01 an hour.
    assert!((robust.slope_per_week - 1.68).abs() < 1e-3, "{robust:?}");
    assert!(robust.pairs <= 2_000_000);
}
