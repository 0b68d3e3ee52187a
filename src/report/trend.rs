//! What a trend says, in words and as JSON: first whether it rises or falls, then whether what was done changed it, then when
//! a limit would be reached, and last what may spoil the answer.

mod ahead;
mod json;
mod view;

pub use json::json;
pub use view::view;

use super::number::{decimals, plain, to_decimals};
use super::text::clean;
use super::words;
use crate::course::{Around, Course};
use crate::logbook::{Event, Kind, Moment, Reading};
use crate::trend::Effect;
use crate::trend::split::{Model, Split};

/// What has to be said beside any answer about living things.
pub const CAUTION: &str = "This states what the readings show, no treatment: before you act on animals, ask a vet or licensed practice.";

/// The course in words, one statement a line, as it is to be told at a time.
pub fn text(course: &Course, now: &Moment) -> String {
    let mut text = headline(course, now) + "\n";
    for line in readings(course) {
        text += &format!("  {line}\n");
    }
    if let Some(around) = &course.around {
        text += &format!("\n{}\n", asked(around));
        for line in answered(around, &course.unit) {
            text += &format!("  {line}\n");
        }
    }
    for line in ahead::lines(course, now) {
        text += &format!("\n{line}\n");
    }
    for note in &course.notes {
        text += &format!("\nnote: {}\n", clean(note));
    }
    text
}

/// Rising or falling, and how fast: now, if something that was done changed it, else all the time.
pub fn headline(course: &Course, now: &Moment) -> String {
    format!("{}: {}", title(course), way(course, now))
}

/// Days after which it is said that readings are old: two weeks, twice the usual rhythm (common practice).
const OLD: f64 = 14.0;

/// How many days old the last reading is, if it is old.
fn age(course: &Course, now: &Moment) -> Option<f64> {
    let (_, last) = course.readings.last()?;
    Some(now.days() - last.at.days()).filter(|days| *days > OLD)
}

/// The same without what it is about. What is old is said to be so.
pub fn way(course: &Course, now: &Moment) -> String {
    let old = age(course, now).map_or_else(String::new, |days| {
        format!(", when last read {days:.0} days ago")
    });
    let Some(line) = course.present() else {
        return format!("no trend yet{old}");
    };
    let slope = Effect {
        value: line.slope_per_week,
        u: line.covariance[1][1].sqrt(),
        low: line.slope_interval.0,
        high: line.slope_interval.1,
    };
    let word = match (slope.is_settled(), slope.value > 0.0) {
        (false, _) => "neither rising nor falling for sure",
        (true, true) => "rising",
        (true, false) => "falling",
    };
    let since = course.turn().map_or_else(String::new, |turn| {
        format!(" since {} ({})", turn.entry, turn.event.at.date())
    });
    format!(
        "{word}{since}, {} a week{old}",
        change(&slope, &clean(&course.unit))
    )
}

/// The test and the water.
pub fn title(course: &Course) -> String {
    format!("{} in {}", clean(&course.test), clean(&course.water.name))
}

/// A change with its sign and interval, such as `+2.1 mg/L (+1.4 to +2.8)`.
fn change(effect: &Effect, unit: &str) -> String {
    let d = decimals((effect.high - effect.low) / 2.0);
    format!(
        "{} {unit} ({} to {})",
        signed(effect.value, d),
        signed(effect.low, d),
        signed(effect.high, d)
    )
}

fn signed(v: f64, decimals: i32) -> String {
    let shown = to_decimals(v.abs(), decimals);
    // What rounds to nothing has no sign.
    if shown.chars().all(|c| matches!(c, '0' | '.')) {
        shown
    } else if v < 0.0 {
        format!("−{shown}")
    } else {
        format!("+{shown}")
    }
}

/// A level with its interval, such as `41.0 mg/L (38.2 to 43.8)`.
fn level(effect: &Effect, unit: &str) -> String {
    let d = decimals((effect.high - effect.low) / 2.0);
    let show = |v: f64| to_decimals(v, d);
    let value = format!("{} {unit}", show(effect.value));
    format!(
        "{} ({} to {})",
        value.trim_end(),
        show(effect.low.max(effect.value.min(0.0))),
        show(effect.high)
    )
}

/// Readings of which one wild one does not sway the median of the slopes of all pairs: of five it is in four of ten pairs, of four
/// in three of six.
const LEAST_PAIRED: usize = 5;

/// What the line rests on.
fn readings(course: &Course) -> Vec<String> {
    let mut lines = Vec::new();
    let n = course.readings.len();
    let date = |i: usize| course.readings[i].1.at.date();
    let mut rests = if n == 1 {
        format!("1 reading, {}", date(0))
    } else {
        format!("{n} readings, {} to {}", date(0), date(n - 1))
    };
    let (below, above) = course.bounds();
    for (count, what) in [
        (course.doubtful(), "doubtful, counting a quarter each"),
        (below, "below what the test shows, taken as that"),
        (above, "above what the test shows, taken as that"),
    ] {
        if count > 0 {
            rests += &format!("; {count} {what}");
        }
    }
    lines.push(rests);
    let line = course.present();
    match (line, &course.line) {
        (None, Err(e)) => lines.push(format!("{}: {}", e.what, e.fix)),
        (None, Ok(_)) => lines.push("too few readings since then for a trend".into()),
        (Some(line), _) if line.tau > 0.0 => lines.push(format!(
            "the water scatters around the line by {} {} beyond what the readings' own uncertainty explains",
            to_decimals(line.tau, decimals(line.tau)),
            clean(&course.unit)
        )),
        _ => {}
    }
    if let (Some(line), Some(robust)) = (line, course.present_robust())
        && line.n >= LEAST_PAIRED
    {
        let ends = [robust.low, robust.high].into_iter().flatten();
        let half = ends
            .map(|e| (e - robust.slope_per_week).abs())
            .fold(0.0, f64::max);
        let d = decimals(half);
        // Bounds among the readings may leave an end open.
        let ends = match (robust.low, robust.high) {
            (Some(low), Some(high)) => format!("{} to {}", signed(low, d), signed(high, d)),
            (Some(low), None) => format!("at least {}", signed(low, d)),
            (None, Some(high)) => format!("at most {}", signed(high, d)),
            (None, None) => "how far off it may be cannot be told".to_owned(),
        };
        lines.push(format!(
            "the median of all pairs of readings, which no single one can sway: {} {} a week ({ends})",
            signed(robust.slope_per_week, d),
            clean(&course.unit),
        ));
    }
    lines
}

fn asked(around: &Around) -> String {
    let question = match around.event.kind {
        Kind::LivestockIn | Kind::LivestockOut | Kind::Other => "What changed?",
        _ => "Did it work?",
    };
    format!(
        "{question} {}: {}, {}",
        around.entry,
        happened(&around.event),
        around.event.at.short()
    )
}

/// An event in words.
pub fn happened(e: &Event) -> String {
    let mut text = e.kind.word().replace('-', " ");
    if let Some(percent) = e.percent {
        text += &format!(" of {} %", plain(percent));
    }
    if let Some(thing) = e.equipment.as_ref().or(e.substance.as_ref()) {
        text += &format!(": {}", clean(thing));
    }
    if let Some(amount) = e.amount {
        let unit = e.unit.as_deref().map(clean).unwrap_or_default();
        text += &format!(", {} {unit}", plain(amount));
    }
    if e.medicine {
        text += " (medicine)";
    }
    if !e.note.is_empty() {
        text += &format!("  ({})", clean(&e.note));
    }
    text
}

/// Before against after.
fn answered(around: &Around, unit: &str) -> Vec<String> {
    let unit = clean(unit);
    let split = match &around.split {
        Err(e) => return vec![format!("not to be told yet: {}", e.what), e.fix.clone()],
        Ok(split) => split,
    };
    let (of, change_of) = match split.model {
        Model::Lines => ("level at that time", "change of the level"),
        Model::Levels => ("mean level", "difference"),
    };
    let fell = match split.model {
        Model::Lines if !around.other_ways => format!("; {}", chance(split.chance_fell)),
        // A slope that was there before, or another way of reading, would count as a fall or rise.
        _ => String::new(),
    };
    let mut lines = vec![
        format!(
            "{of}: {} before, {} after, by {} and {}",
            level(&split.before, &unit),
            level(&split.after, &unit),
            counted(split.n_before),
            counted(split.n_after)
        ),
        format!("{change_of}: {}{fell}", change(&split.step, &unit)),
    ];
    if let (Some(both), Some(before), Some(after)) =
        (&split.slope_change, &split.slope_before, &split.slope_after)
    {
        let d = decimals((both.high - both.low) / 2.0);
        lines.push(format!(
            "change of the slope: {} a week, from {} to {} {unit} a week",
            change(both, &unit),
            signed(before.value, d),
            signed(after.value, d)
        ));
    }
    lines.push(verdict(around, split));
    lines
}

fn counted(n: usize) -> String {
    format!("{n} reading{}", if n == 1 { "" } else { "s" })
}

/// How likely it is that the level fell.
fn chance(fell: f64) -> String {
    let (word, chance) = if fell >= 0.5 {
        ("fell", fell)
    } else {
        ("rose", 1.0 - fell)
    };
    if chance > 0.99 {
        format!("it {word} with a probability over 99 %")
    } else {
        format!("it {word} with a probability of {:.0} %", 100.0 * chance)
    }
}

fn verdict(around: &Around, split: &Split) -> String {
    let way = |e: &Effect| if e.value < 0.0 { "down" } else { "up" };
    let slope = split.slope_change.filter(Effect::is_settled);
    if around.other_ways {
        return "so it is not settled: no reading after it was made in the same way as one before (chart, eye, instrument), and \
                the difference may be one of the ways"
            .into();
    }
    if split.model == Model::Levels {
        return "so it is not settled: with so few readings only levels can be compared, and a slope that was there before makes \
                them differ too; three on each side tell more"
            .into();
    }
    match (split.step.is_settled(), slope) {
        (true, Some(slope)) => format!(
            "so the level went {} at that time, and the slope {} after it",
            way(&split.step),
            way(&slope)
        ),
        (true, None) => format!("so the level went {} at that time", way(&split.step)),
        (false, Some(slope)) => format!("so the slope went {} after it", way(&slope)),
        (false, None) => match around.further {
            Some(n) => format!(
                "so it is not settled: if the level goes on as now, about {} more would settle it",
                counted(n.max(1))
            ),
            None => "so no change of the level is to be seen".into(),
        },
    }
}

/// A reading's answer with its interval.
pub fn said(r: &Reading) -> String {
    let w = words(&r.answer.answer(), &clean(&r.unit));
    match w.interval {
        Some(interval) => format!("{} ({interval})", w.value),
        None => w.value,
    }
}
