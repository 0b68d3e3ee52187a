//! Where a level is beside its limits, and when it would reach one.

use jiff::Timestamp;
use jiff::tz::{Offset, TimeZone};

use super::{age, level, said};
use crate::course::Course;
use crate::flag::Verdict;
use crate::logbook::{Amount, Moment, Reading};
use crate::report::number::plain;
use crate::report::text::clean;
use crate::trend::forecast::{Crossing, horizon};

/// A limit, and on which side of it a level is not to be.
#[derive(Clone, Copy)]
struct Bound {
    value: f64,
    /// 1 for an upper one, -1 for a lower one.
    out: f64,
}

impl Bound {
    fn word(self) -> &'static str {
        if self.out > 0.0 { "over" } else { "under" }
    }

    /// Whether a level is past it for sure, perhaps (`None`), or not.
    fn is_past(self, low: f64, high: f64) -> Option<bool> {
        let (least, most) = if self.out > 0.0 {
            (low, high)
        } else {
            (-high, -low)
        };
        let bound = self.out * self.value;
        match (least > bound, most > bound) {
            (true, _) => Some(true),
            (false, true) => None,
            (false, false) => Some(false),
        }
    }
}

/// What is to be said of limits and of the future, one statement a line, as it is to be told at a time.
pub(super) fn lines(course: &Course, now: &Moment) -> Vec<String> {
    let bounds: Vec<Bound> = course
        .limit
        .iter()
        .flat_map(|l| {
            let high = l.high.map(|value| Bound { value, out: 1.0 });
            let low = l.low.map(|value| Bound { value, out: -1.0 });
            [high, low].into_iter().flatten()
        })
        .collect();
    let mut lines = Vec::new();
    for bound in bounds {
        lines.extend(match course.present() {
            Some(_) => last_apart(course, bound)
                .into_iter()
                .chain(by_line(course, bound))
                .collect(),
            None => by_last(course, bound).into_iter().collect::<Vec<_>>(),
        });
    }
    if let (Some(days), false) = (age(course, now), lines.is_empty()) {
        lines.push(format!(
            "The last reading is {days:.0} days old: what is said here of the level and its future was so then."
        ));
    }
    lines
}

/// The line beside a limit: now, and if it goes on.
fn by_line(course: &Course, bound: Bound) -> Option<String> {
    let line = course.present()?;
    let unit = clean(&course.unit);
    let limit = format!("the limit of {} {unit}", plain(bound.value));
    let word = bound.word();
    let at_last = line.at(line.last_day);
    let mut crossings = course.crossings.iter();
    let crossing = crossings
        .find(|(value, _)| *value == bound.value)
        .map(|(_, c)| c);
    Some(match bound.is_past(at_last.low, at_last.high) {
        None => format!(
            "The level may be {word} {limit}: {}.",
            level(&at_last, &unit)
        ),
        Some(true) => {
            let now = format!("The level is {word} {limit}: {}.", level(&at_last, &unit));
            match crossing {
                Some(c) => format!("{now} {}", when(course, c, "it is back within it")),
                None => now,
            }
        }
        Some(false) => match crossing {
            Some(c) => when(course, c, &format!("{limit} is reached")),
            None => format!(
                "If it goes on like this, {limit} is not reached before {}; these readings bear no longer view.",
                date(horizon(line), course)
            ),
        },
    })
}

fn when(course: &Course, crossing: &Crossing, what: &str) -> String {
    let day = |day: f64| date(day, course);
    let earliest = day(crossing.earliest);
    match (crossing.latest, crossing.central) {
        (Some(latest), Some(central)) => format!(
            "If it goes on like this, {what} between {earliest} and {}, most likely about {}.",
            day(latest),
            day(central)
        ),
        _ => format!(
            "If it goes on like this, {what} on {earliest} at the earliest; whether it will be cannot be told yet."
        ),
    }
}

/// The last reading, if it is past a limit for sure and the line is not: a level may have leapt.
fn last_apart(course: &Course, bound: Bound) -> Option<String> {
    let line = course.present()?;
    let (_, last) = course.readings.last()?;
    let level = line.at(line.last_day);
    let is_apart = bound.is_past(level.low, level.high) != Some(true)
        && last.verdict == Verdict::Trusted
        && is_past(last, bound) == Some(true);
    is_apart.then(|| {
        format!(
            "{} Test again: the line through all readings does not show it, so that the level leapt, or that reading is wrong.",
            by_last(course, bound).unwrap_or_default()
        )
    })
}

/// Whether a reading is past a limit for sure, perhaps (`None`), or not.
fn is_past(reading: &Reading, bound: Bound) -> Option<bool> {
    let (low, high) = match reading.answer {
        Amount::Value { low, high, .. } => (low, high),
        Amount::Below { high } => (0.0, high),
        Amount::Above { low } => (low, f64::INFINITY),
    };
    bound.is_past(low, high)
}

/// The last reading beside a limit, where there is no line.
fn by_last(course: &Course, bound: Bound) -> Option<String> {
    let (_, last) = course.readings.last()?;
    let word = match is_past(last, bound) {
        Some(true) => "is",
        None => "may be",
        Some(false) => return None,
    };
    Some(format!(
        "The last reading, {}, {word} {} the limit of {} {}.",
        said(last),
        bound.word(),
        plain(bound.value),
        clean(&course.unit)
    ))
}

/// A day as a date where the last reading was taken.
pub(super) fn date(day: f64, course: &Course) -> String {
    let offset = course
        .readings
        .last()
        .map_or(0, |(_, r)| r.at.offset_seconds());
    let zone = Offset::from_seconds(offset).map_or(TimeZone::UTC, TimeZone::fixed);
    // Days of a forecast are within a few spans of the readings, whose times are dates.
    Timestamp::from_second((day * 86_400.0) as i64)
        .map(|t| zone.to_datetime(t).date().to_string())
        .unwrap_or_default()
}
