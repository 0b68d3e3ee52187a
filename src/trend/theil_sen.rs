//! The slope that most pairs of readings agree on: a companion that one wild reading cannot sway.
//!
//! The median of the slopes of all pairs, with an interval by their ranks. A pair with a reading beyond a limit has no slope
//! but a bound of it ("at least this steep"), and counts on the side of a slope on which that bound puts it, else on neither:
//! the estimate is the slope that leaves no rank correlation. Pairs of which not even the order is known (two readings below
//! limits, or a value below the limit of another) are left out. Uncertainties and weights are not looked at, which is the
//! point of it. Never puts half the limit, or any other number, in place of a bound.
//!
//! Science: Theil (1950) Proc. Kon. Ned. Akad. Wet. 53:386-392, 521-525, 1397-1412; Sen (1968) J. Am. Stat. Assoc.
//! 63(324):1379-1389 for the interval; Akritas, Murphy & LaValley (1995) J. Am. Stat. Assoc. 90(429):170-177 for readings
//! beyond a limit; Kendall (1938) Biometrika 30(1/2):81-93 for S.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal};

use super::slope::Line;
use super::{LEVEL, Point, Seen, WEEK, check, days_with_values, median};
use crate::error::{Error, Result};

/// Readings whose pairs are all looked at: two million, in a tenth of a second. Of more, every second, third and so on is
/// taken, which makes the interval wider and never too narrow.
const MOST_READINGS: usize = 2000;

/// What the pairs agree on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Robust {
    /// Change of the level in a week.
    pub slope_per_week: f64,
    /// The ends of its interval; `None` where bounds leave that end open.
    pub low: Option<f64>,
    pub high: Option<f64>,
    /// The median day and, if that is a value, the median reading: the line goes through both.
    pub middle_day: f64,
    pub middle_level: Option<f64>,
    /// Pairs that rise less pairs that fall.
    pub kendall_s: i64,
    /// Pairs on different days that count, and those left out because their order is not known.
    pub pairs: usize,
    pub undecided: usize,
}

/// The slope with its interval at 95 %.
///
/// # Errors
/// As [`at_level`].
pub fn fit(points: &[Point]) -> Result<Robust> {
    at_level(points, LEVEL)
}

/// The slope with its interval at a coverage between 0 and 1.
///
/// The interval rests on a normal approximation of Kendall's S. With very few pairs it ends at the steepest and flattest of
/// them, and then covers less than it says: 4 readings at 95 % cover 92 % at best. Equal values narrow it by the rule for
/// ties; equal bounds do not, which leaves it wider rather than narrower.
///
/// # Errors
/// If the coverage is not between 0 and 1, a reading cannot be used, there are fewer than three or values on fewer than two
/// days, or a slope is too steep to be a number.
pub fn at_level(points: &[Point], level: f64) -> Result<Robust> {
    check(points)?;
    if !(level > 0.0 && level < 1.0) {
        return Err(Error::new(
            format!("the coverage is {level}"),
            "give a coverage between 0 and 1",
        ));
    }
    let value_days = days_with_values(points);
    if points.len() < 3 || value_days < 2 {
        return Err(Error::new(
            format!(
                "{} readings with values on {value_days} days give no slope",
                points.len()
            ),
            "add readings: at least 3, with values on at least 2 days",
        ));
    }
    let thinned: Vec<Point>;
    let points = if points.len() > MOST_READINGS {
        let every = points.len().div_ceil(MOST_READINGS);
        thinned = points.iter().step_by(every).copied().collect();
        &thinned
    } else {
        points
    };
    let (mut kendall_s, mut undecided) = (0, 0);
    let mut ends = Vec::with_capacity(points.len() * (points.len() - 1));
    for (i, p) in points.iter().enumerate() {
        for q in &points[i + 1..] {
            let (p, q) = if p.day < q.day { (p, q) } else { (q, p) };
            let days = q.day - p.day;
            if days == 0.0 {
                continue;
            }
            let (a, b) = (reach(p.seen), reach(q.seen));
            let (least, most) = ((b.0 - a.1) / days, (b.1 - a.0) / days);
            let open = p.seen.is_censored() || q.seen.is_censored();
            // A reading below 5 is less than a 5.
            let rises = least > 0.0 || (least == 0.0 && open);
            let falls = most < 0.0 || (most == 0.0 && open);
            if open && !rises && !falls {
                undecided += 1;
                continue;
            }
            kendall_s += i64::from(rises) - i64::from(falls);
            ends.extend([least, most]);
        }
    }
    let pairs = ends.len() / 2;
    let mut ranks = Ranks(ends);
    // Each pair stands twice in the list, with the least and the most it can be: those are the places where S changes as
    // the slope moves past them. With values only, the median and the ranks are those of the slopes themselves.
    let slope = 0.5 * (ranks.at(pairs.saturating_sub(1)) + ranks.at(pairs));
    if !slope.is_finite() {
        return Err(Error::new(
            "the slopes between the readings are too steep to be numbers",
            "check days and values for slips",
        ));
    }
    let z = Normal::standard().inverse_cdf(0.5 * (1.0 + level));
    let half = z * spread(points).sqrt();
    let upper = ((pairs as f64 + half) / 2.0).round_ties_even() as usize;
    let lower = ((pairs as f64 - half) / 2.0).round_ties_even() - 1.0;
    let bound = |end: f64| end.is_finite().then_some(end * WEEK);
    let mut days: Vec<f64> = points.iter().map(|p| p.day).collect();
    days.sort_by(f64::total_cmp);
    Ok(Robust {
        slope_per_week: slope * WEEK,
        low: bound(ranks.at(2 * lower.max(0.0) as usize)),
        high: bound(ranks.at(2 * upper.min(pairs - 1) + 1)),
        middle_day: median(&days),
        middle_level: middle(points),
        kendall_s,
        pairs,
        undecided,
    })
}

/// Do the line and the pairs contradict each other, in that their intervals have nothing in common? Then a few readings pull
/// the line, or it is not a line.
pub fn disagree(line: &Line, robust: &Robust) -> bool {
    let (low, high) = line.slope_interval;
    robust.low.is_some_and(|l| l > high) || robust.high.is_some_and(|h| h < low)
}

/// Numbers of which a few are asked for by their rank: there are too many to put all in order.
struct Ranks(Vec<f64>);

impl Ranks {
    /// The number of a rank, counted from 0; NaN beyond the last.
    fn at(&mut self, rank: usize) -> f64 {
        if rank >= self.0.len() {
            return f64::NAN;
        }
        *self.0.select_nth_unstable_by(rank, f64::total_cmp).1
    }
}

/// Where the reading may lie.
fn reach(seen: Seen) -> (f64, f64) {
    match seen {
        Seen::Value { value, .. } => (value, value),
        Seen::Below(limit) => (f64::NEG_INFINITY, limit),
        Seen::Above(limit) => (limit, f64::INFINITY),
    }
}

/// Variance of Kendall's S where there is no trend, with ties among days and among values (Sen 1968, equation 2.6).
fn spread(points: &[Point]) -> f64 {
    let term = |n: usize| {
        let n = n as f64;
        n * (n - 1.0) * (2.0 * n + 5.0)
    };
    let ties = |mut numbers: Vec<f64>| -> f64 {
        numbers.sort_by(f64::total_cmp);
        numbers
            .chunk_by(|a, b| a == b)
            .map(|same| term(same.len()))
            .sum()
    };
    let days = points.iter().map(|p| p.day).collect();
    let values = points
        .iter()
        .filter(|p| !p.seen.is_censored())
        .map(|p| p.seen.number())
        .collect();
    ((term(points.len()) - ties(days) - ties(values)) / 18.0).max(0.0)
}

/// The median reading, if the bounds do not hide it.
fn middle(points: &[Point]) -> Option<f64> {
    let side = |end: fn((f64, f64)) -> f64| {
        let mut all: Vec<f64> = points.iter().map(|p| end(reach(p.seen))).collect();
        all.sort_by(f64::total_cmp);
        median(&all)
    };
    // The least and the most the median can be; the same, if no bound could move it.
    let (least, most) = (side(|r| r.0), side(|r| r.1));
    (least == most && least.is_finite()).then_some(least)
}
