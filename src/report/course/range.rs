//! What the axes of a plot span. The readings rule: what lies far from them is told at the edge and squashes nothing.

use super::{Mark, Seen, View};

/// Readings keep at least this share of the height when limits are taken in.
const KEPT: f64 = 0.25;
/// A single reading has no course that could be squashed: it keeps less, for the sake of the limits.
const KEPT_BY_ONE: f64 = 0.12;
/// Zero may stretch it so far: readings keep at least two fifths.
const ZERO_REACH: f64 = 1.5;
/// Ends of the band may: a forecast widens like a trumpet, and its far end says little.
const BAND_REACH: f64 = 0.5;
/// An interval may be so many times the middle one before it is cut.
const INTERVAL_REACH: f64 = 3.0;
/// Room above and below, in units of the span.
const ROOM: f64 = 0.06;
/// Below this share of its level, a span is widened: six digits must tell ticks apart.
const LEAST_SHARE: f64 = 1e-4;
/// Events and the days of a crossing may stretch the span of days so far.
const DAY_REACH: f64 = 0.3;

/// A limit of the water as the plot shows it.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Limit {
    pub(super) level: f64,
    /// Is it the highest good level, and not the lowest?
    pub(super) highest: bool,
    pub(super) place: Place,
    /// Such as "at most 40".
    pub(super) text: String,
}

/// Where a level lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    Inside,
    /// Over the top edge.
    Over,
    /// Under the bottom edge.
    Under,
}

/// Lowest and highest of finite numbers, `None` of none.
fn ends(all: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    all.fold(None, |found, v| {
        let (low, high) = found.unwrap_or((v, v));
        Some((v.min(low), v.max(high)))
    })
}

/// The first and last day shown, with room at both sides. Here and below, `view` is tamed.
pub(super) fn days(view: &View) -> (f64, f64) {
    let marks = view.marks.iter().map(|m| m.day);
    let bands = view.bands.iter().flat_map(|b| &b.points).map(|p| p.day);
    let events = || view.events.iter().map(|e| e.day);
    let (mut from, mut to) = ends(marks.chain(bands))
        .or_else(|| ends(events()))
        .unwrap_or((0.0, 0.0));
    let reach = (DAY_REACH * (to - from)).max(7.0);
    let crossing = view
        .crossing
        .iter()
        .flat_map(|c| [Some(c.earliest), c.latest])
        .flatten();
    let near: Vec<f64> = events()
        .chain(crossing)
        .filter(|d| (from - reach..=to + reach).contains(d))
        .collect();
    for d in near {
        from = from.min(d);
        to = to.max(d);
    }
    // Room for half a mark; a single day gets three on each side.
    let room = if to - from < 1.0 {
        3.0
    } else {
        0.025 * (to - from)
    };
    (from - room, to + room)
}

/// The lowest and highest level shown.
pub(super) fn levels(view: &View) -> (f64, f64) {
    let fitted = || {
        let all = view.bands.iter();
        all.flat_map(|b| b.points.iter().filter(|p| p.day <= b.last_day))
    };
    let limits = view.low.into_iter().chain(view.high);
    let core = ends(view.marks.iter().map(|m| m.seen.number()))
        .or_else(|| ends(fitted().map(|p| p.level)))
        .or_else(|| ends(limits));
    let Some((first, last)) = core else {
        return (0.0, 1.0);
    };
    let mut halves: Vec<f64> = view
        .marks
        .iter()
        .filter_map(|m| match m.seen {
            Seen::Value { low, high, .. } => Some((high - low) / 2.0),
            _ => None,
        })
        .collect();
    halves.sort_by(f64::total_cmp);
    let middle = halves.get(halves.len() / 2).copied().unwrap_or(0.0);
    let reach = (last - first).max(INTERVAL_REACH * middle);
    let (mut low, mut high) = (first, last);
    let mut stretch = |v: f64, reach: f64| {
        low = low.min(v.max(first - reach));
        high = high.max(v.min(last + reach));
    };
    for mark in &view.marks {
        if let Seen::Value { low, high, .. } = mark.seen {
            stretch(low, reach);
            stretch(high, reach);
        }
    }
    for band in &view.bands {
        for p in &band.points {
            stretch(p.level, reach);
            stretch(p.low, BAND_REACH * reach);
            stretch(p.high, BAND_REACH * reach);
        }
    }
    let positive = first >= 0.0
        && !view
            .marks
            .iter()
            .any(|m| matches!(m.seen, Seen::Value { low, .. } if low < 0.0));
    // Scatter within the intervals must not look like a course: they leave as much room as they take.
    let lack = (2.0 * INTERVAL_REACH * middle - (high - low)).max(0.0);
    (low, high) = (low - lack / 2.0, high + lack / 2.0);
    // All the same: a tenth of it to each side.
    let size = low.abs().max(high.abs());
    if high - low <= LEAST_SHARE * size {
        (low, high) = (low - 0.1 * size, high + 0.1 * size);
    }
    if positive {
        low = low.max(0.0);
    }
    if high <= low {
        (low, high) = (0.0, 1.0);
    }
    let span = high - low;
    let kept = if view.marks.len() == 1 {
        KEPT_BY_ONE
    } else {
        KEPT
    };
    for limit in view.low.into_iter().chain(view.high) {
        let (with_low, with_high) = (low.min(limit), high.max(limit));
        if span >= kept * (with_high - with_low) {
            (low, high) = (with_low, with_high);
        }
    }
    // What is known only to be below something may be anything down to zero.
    let below = |m: &Mark| matches!(m.seen, Seen::Below(_));
    let only_below = !view.marks.is_empty() && view.marks.iter().all(below);
    if low > 0.0 && (only_below || low <= ZERO_REACH * (high - low)) {
        low = 0.0;
    }
    let room = ROOM * (high - low);
    let below = if positive && low <= room { low } else { room };
    (low - below, high + room)
}

/// The limits of the water against the levels shown.
pub(super) fn limits(view: &View, (low, high): (f64, f64)) -> Vec<Limit> {
    let place = |level: f64| {
        if level > high {
            Place::Over
        } else if level < low {
            Place::Under
        } else {
            Place::Inside
        }
    };
    let one = |level: f64, highest: bool| Limit {
        level,
        highest,
        place: place(level),
        text: format!(
            "{} {}",
            if highest { "at most" } else { "at least" },
            crate::report::number::plain(level)
        ),
    };
    let low = view.low.map(|l| one(l, false));
    view.high
        .map(|l| one(l, true))
        .into_iter()
        .chain(low)
        .collect()
}
