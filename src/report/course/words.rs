//! What a plot shows, in words: below its title, and for those who cannot see it.

use super::{Crossing, Mark, Seen, View, dates, range};
use crate::report::number;

/// Beyond so many, events are counted and not told.
const MOST_EVENTS: usize = 60;

/// A reading in words: no more digits than its interval bears.
pub(super) fn said(seen: &Seen, unit: &str) -> String {
    match *seen {
        Seen::Value { value, low, high } if high > low => {
            let d = number::decimals((high - low) / 2.0);
            let show = |v: f64| number::to_decimals(v, d);
            let value = with_unit(&show(value), unit);
            format!("{value} ({} to {})", show(low), show(high))
        }
        Seen::Value { value, .. } => with_unit(&number::plain(value), unit),
        Seen::Below(bound) => format!("below {}", with_unit(&number::plain(bound), unit)),
        Seen::Above(bound) => format!("above {}", with_unit(&number::plain(bound), unit)),
    }
}

fn with_unit(value: &str, unit: &str) -> String {
    format!("{value} {}", unit.trim()).trim_end().to_owned()
}

/// Do the days that are shown lie in more than one year?
pub(super) fn needs_year(view: &View) -> bool {
    let (from, to) = range::days(view);
    dates::year(from, view.offset_seconds) != dates::year(to, view.offset_seconds)
}

/// How many of the readings are of a special kind.
fn kinds(marks: &[Mark]) -> String {
    let mut text = String::new();
    let kinds = [
        (marks.iter().filter(|m| m.doubtful).count(), "doubtful"),
        (marks.iter().filter(|m| m.by_eye).count(), "by eye"),
    ];
    for (n, kind) in kinds {
        if n > 0 {
            text += &format!(", {n} {kind}");
        }
    }
    text
}

/// One line below the title: the first and the last reading.
pub(super) fn summary(view: &View) -> String {
    let with_year = needs_year(view);
    let dated = |m: &Mark| {
        let date = dates::date(m.day, view.offset_seconds, with_year);
        format!("{} on {date}", said(&m.seen, &view.unit))
    };
    match view.marks.as_slice() {
        [] => "no readings".into(),
        [one] => dated(one),
        [first, .., last] => format!("first {}, last {}", dated(first), dated(last)),
    }
}

/// When the line would reach a limit.
pub(super) fn crossing(view: &View) -> Option<String> {
    let c: Crossing = view.crossing?;
    let level = with_unit(&number::plain(c.limit), &view.unit);
    let date = |day: f64| dates::date(day, view.offset_seconds, needs_year(view));
    let when = match c.latest {
        Some(latest) if date(latest) != date(c.earliest) => {
            format!("between {} and {}", date(c.earliest), date(latest))
        }
        Some(latest) => format!("on {}", date(latest)),
        None => format!("not before {}, perhaps never", date(c.earliest)),
    };
    Some(format!("If it goes on like this: at {level} {when}"))
}

/// An event as a list tells it: its words, and what they do not say. `shown` are the days of the plot.
pub(super) fn event(view: &View, number: usize, shown: (f64, f64)) -> String {
    let e = &view.events[number - 1];
    let mut text = e.label.trim().to_owned();
    if text.is_empty() {
        text = "something was done".into();
    }
    if e.split {
        text += "; before and after are told for this";
    }
    if e.day < shown.0 {
        text += " (before what is shown)";
    } else if e.day > shown.1 {
        text += " (after what is shown)";
    }
    text
}

/// All of it, for those who cannot see the plot.
pub(super) fn description(view: &View) -> String {
    let unit = view.unit.trim();
    let date = |day: f64| dates::date(day, view.offset_seconds, true);
    let mut parts = vec![match view.marks.as_slice() {
        [] => "No readings.".into(),
        [one] => format!(
            "1 reading on {}{}: {}.",
            date(one.day),
            kinds(&view.marks),
            said(&one.seen, unit)
        ),
        [first, .., last] => format!(
            "{} readings from {} to {}{}. First: {}. Last: {}.",
            view.marks.len(),
            date(first.day),
            date(last.day),
            kinds(&view.marks),
            said(&first.seen, unit),
            said(&last.seen, unit)
        ),
    }];
    for band in &view.bands {
        if let (fitted, _) = band.parts()
            && let [first, .., last] = fitted.as_slice()
        {
            let way = [first, last].map(|p| {
                let d = number::decimals((p.high - p.low) / 2.0);
                let show = |v: f64| number::to_decimals(v, d);
                format!(
                    "{} ({} to {}) on {}",
                    with_unit(&show(p.level), unit),
                    show(p.low),
                    show(p.high),
                    date(p.day)
                )
            });
            parts.push(format!("The line goes from {} to {}.", way[0], way[1]));
        }
    }
    let limits = range::limits(view, (0.0, 0.0));
    if !limits.is_empty() {
        let all: Vec<_> = limits
            .into_iter()
            .map(|l| with_unit(&l.text, unit))
            .collect();
        parts.push(format!("Limits: {}.", all.join(", ")));
    }
    if !view.events.is_empty() {
        let shown = view.events.len().min(MOST_EVENTS);
        let mut all: Vec<_> = (1..=shown)
            .map(|n| {
                let everywhere = (f64::NEG_INFINITY, f64::INFINITY);
                format!(
                    "{}, {}",
                    date(view.events[n - 1].day),
                    event(view, n, everywhere)
                )
            })
            .collect();
        if view.events.len() > shown {
            all.push(format!("{} more", view.events.len() - shown));
        }
        parts.push(format!("Events: {}.", all.join("; ")));
    }
    if let Some(crossing) = crossing(view) {
        parts.push(format!("{crossing}."));
    }
    parts.join(" ")
}
