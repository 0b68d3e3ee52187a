//! A course as the plots take it: readings, lines with their bands, limits, events.

use super::{happened, title};
use crate::course::Course;
use crate::flag::Verdict;
use crate::logbook::{Amount, Source};
use crate::report::course::{Band, BandPoint, Crossing, Happening, Mark, Seen, View};
use crate::report::text::clean;
use crate::trend::split::Side;

/// Points of a band, enough for its bend.
const POINTS: usize = 40;

/// The course of a test as a plot shows it. Lines go as far as the readings, and on to where a limit would be reached.
pub fn view(course: &Course) -> View {
    let marks: Vec<Mark> = course
        .readings
        .iter()
        .map(|(_, r)| Mark {
            day: r.at.days(),
            seen: match r.answer {
                Amount::Value { value, low, high } => Seen::Value { value, low, high },
                Amount::Below { high } => Seen::Below(high),
                Amount::Above { low } => Seen::Above(low),
            },
            doubtful: r.verdict != Verdict::Trusted,
            by_eye: r.source == Source::Eye,
        })
        .collect();
    let first = marks.first().map_or(0.0, |m| m.day);
    let last = marks.last().map_or(0.0, |m| m.day);
    let crossing = course.crossing().map(|(limit, c)| Crossing {
        limit,
        earliest: c.earliest,
        latest: c.latest,
    });
    let end = course.crossing().map_or(last, |(_, c)| {
        c.latest.or(c.central).unwrap_or(c.earliest).max(last)
    });
    let split = course
        .around
        .as_ref()
        .filter(|a| a.is_settled())
        .and_then(|a| a.split.as_ref().ok());
    let bands = match (split, course.line.as_ref()) {
        (Some(split), _) => {
            let side = |side| {
                move |day: f64| {
                    let level = split.level_at(side, day);
                    (level.value, level.low, level.high)
                }
            };
            vec![
                band(first, split.event_day, split.event_day, side(Side::Before)),
                // Where a limit would be reached is told by the line that is followed.
                band(split.event_day, last, last, side(Side::After)),
            ]
        }
        (None, Ok(line)) => vec![band(first, end, last, |day| {
            let level = line.at(day);
            (level.value, level.low, level.high)
        })],
        (None, Err(_)) => Vec::new(),
    };
    let ahead = split
        .and(course.present())
        .filter(|_| end > last)
        .map(|line| {
            band(last, end, last, |day| {
                let level = line.at(day);
                (level.value, level.low, level.high)
            })
        });
    View {
        title: title(course),
        unit: clean(&course.unit),
        offset_seconds: course
            .readings
            .last()
            .map_or(0, |(_, r)| r.at.offset_seconds()),
        marks,
        bands: bands.into_iter().chain(ahead).collect(),
        low: course.limit.as_ref().and_then(|l| l.low),
        high: course.limit.as_ref().and_then(|l| l.high),
        events: course
            .events
            .iter()
            .map(|(entry, e)| Happening {
                day: e.at.days(),
                label: format!("{entry} {}", happened(e)),
                split: course.around.as_ref().is_some_and(|a| a.entry == *entry),
            })
            .collect(),
        crossing,
    }
}

fn band(from: f64, to: f64, last_day: f64, at: impl Fn(f64) -> (f64, f64, f64)) -> Band {
    let points = (0..=POINTS)
        .map(|i| {
            let day = from + (to - from) * i as f64 / POINTS as f64;
            let (level, low, high) = at(day);
            BandPoint {
                day,
                level,
                low,
                high,
            }
        })
        .collect();
    Band { points, last_day }
}
