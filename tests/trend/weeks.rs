//! Twelve weeks of a quarantine tank, invented: weekly nitrate readings of which each has its own uncertainty and one is
//! doubtful, with a change of filter after the sixth. Two hundred courses of each kind; the truth is known.

use rand::Rng;

use super::*;

/// A kind of course, in mg/L of nitrate.
#[derive(Debug, Clone, Copy)]
struct Course {
    name: &'static str,
    start: f64,
    slope: f64,
    /// Slope after the filter was changed; the level does not jump.
    slope_after: f64,
    scatter: f64,
    /// Least and greatest uncertainty of a reading.
    u: (f64, f64),
    /// Below this the test shows nothing.
    limit: f64,
}

/// Between the sixth reading (day 35) and the seventh (day 42).
const FILTER: f64 = 36.0;
const COURSES: u64 = 200;

const NOTHING: Course = Course {
    name: "the filter does nothing",
    start: 40.0,
    slope: 2.0,
    slope_after: 2.0,
    scatter: 1.0,
    u: (1.5, 3.0),
    limit: 1.0,
};
const TURNS: Course = Course {
    name: "the filter turns it",
    slope_after: -3.0,
    ..NOTHING
};
/// Little nitrate: the first few readings lie about or below what the test can show.
const LITTLE: Course = Course {
    name: "near the limit",
    start: 3.0,
    slope: 1.0,
    slope_after: 1.0,
    scatter: 0.5,
    u: (0.7, 1.4),
    limit: 5.0,
};
const LITTLE_TURNS: Course = Course {
    name: "near the limit, the filter turns it",
    slope_after: -0.5,
    ..LITTLE
};

impl Course {
    fn readings(&self, seed: u64) -> Vec<Point> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let doubtful = rng.random_range(0..12);
        (0..12)
            .map(|week| {
                let day = 7.0 * f64::from(week);
                let after = (day - FILTER).max(0.0) / 7.0;
                let level =
                    self.start + self.slope * (day / 7.0 - after) + self.slope_after * after;
                let u = rng.random_range(self.u.0..self.u.1);
                let noise: f64 = StandardNormal.sample(&mut rng);
                // A weight of a quarter says: off by twice as much as it claims.
                let (weight, off) = if week == doubtful {
                    (0.25, 2.0)
                } else {
                    (1.0, 1.0)
                };
                let read = level + off * noise * self.scatter.hypot(u);
                let seen = if read < self.limit {
                    Seen::Below(self.limit)
                } else {
                    Seen::Value { value: read, u }
                };
                Point { day, seen, weight }
            })
            .collect()
    }
}

/// Of 200 intervals that hold the truth in 95 of 100 cases, 176 or fewer do in 1 of 13,000 (binomial), so that the eleven
/// counts here fail by chance less than once in 1000.
fn at_the_stated_rate(hits: u64, of: u64, what: &str) {
    println!("{what}: {hits} of {of}");
    assert!(of > COURSES * 9 / 10, "{what}: only {of} could be told");
    assert!(hits >= 177 - (COURSES - of), "{what}: {hits} of {of}");
}

#[test]
fn the_truth_of_twelve_weeks_lies_inside() {
    let (mut all, mut of_all) = (0, 0);
    for course in [NOTHING, TURNS, LITTLE, LITTLE_TURNS] {
        let bend = course.slope_after - course.slope;
        let (mut slopes, mut steps, mut changes, mut split_in_two) = (0, 0, 0, 0);
        let mut seen = 0;
        for seed in 0..COURSES {
            let readings = course.readings(seed);
            seen += readings.iter().filter(|p| p.seen.is_censored()).count();
            if bend == 0.0 {
                let (low, high) = slope::fit(&readings).unwrap().slope_interval;
                slopes += u64::from(low <= course.slope && course.slope <= high);
            }
            let Ok(s) = split(&readings, FILTER) else {
                continue;
            };
            let Some(change) = s.slope_change else {
                continue;
            };
            split_in_two += 1;
            steps += u64::from(s.step.low <= 0.0 && 0.0 <= s.step.high);
            changes += u64::from(change.low <= bend && bend <= change.high);
        }
        let name = course.name;
        if bend == 0.0 {
            at_the_stated_rate(slopes, COURSES, &format!("slope, {name}"));
            (all, of_all) = (all + slopes, of_all + COURSES);
        }
        at_the_stated_rate(steps, split_in_two, &format!("step, {name}"));
        at_the_stated_rate(changes, split_in_two, &format!("change of slope, {name}"));
        (all, of_all) = (all + steps + changes, of_all + 2 * split_in_two);
        println!("{name}: {seen} readings are bounds");
        assert_eq!(seen > 200, course.limit == LITTLE.limit, "{name}: {seen}");
    }
    // Nor always: intervals that never miss are wider than they say.
    println!("all: {all} of {of_all}");
    assert!(all * 1000 < of_all * 990, "{all} of {of_all}");
}

/// What the keeper is told. A slope over six weeks has an uncertainty of about 2.5 / sqrt(17.5) = 0.6 a week, the change of
/// it 0.85: a bend of -5 is six of them, and is told with Student's t of eight degrees of freedom (2.3) nearly always. Where
/// the filter did nothing, a change is told in 5 of 100 courses or fewer: more than 24 of 200 in 1 of 30,000 (binomial).
#[test]
fn a_filter_that_helps_is_told_from_one_that_does_not() {
    let told = |course: Course| {
        (0..COURSES)
            .filter(|seed| {
                let s = split(&course.readings(*seed), FILTER).unwrap();
                s.slope_change.unwrap().is_settled()
            })
            .count()
    };
    let (turned, same) = (told(TURNS), told(NOTHING));
    println!("told: {turned} that turned, {same} that did not");
    assert!(turned >= 190, "{turned}");
    assert!(same <= 24, "{same}");
}
