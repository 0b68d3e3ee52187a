//! What a trend says, in words and as JSON: first whether it rises or falls, then whether what was done changed it, then when
//! a limit would be reached, and last what may spoil the answer.

mod view;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde_json::{Value, json};

pub use view::view;

use super::number::{decimals, plain, six, to_decimals};
use super::text::clean;
use crate::course::{Around, Course};
use crate::logbook::{Event, Moment};
use crate::trend::Effect;
use crate::trend::split::Split;

/// What has to be said beside any answer about living things.
pub const CAUTION: &str = "This states what the readings show, no treatment: before you act on animals, ask a vet or licensed practice.";

/// The course in words, one statement a line.
pub fn text(course: &Course) -> String {
    let mut text = headline(course) + "\n";
    for line in readings(course) {
        text += &format!("  {line}\n");
    }
    if let Some(around) = &course.around {
        text += &format!("\n{}\n", asked(around));
        for line in answered(around, &course.unit) {
            text += &format!("  {line}\n");
        }
    }
    for line in ahead(course) {
        text += &format!("\n{line}\n");
    }
    for note in &course.notes {
        text += &format!("\nnote: {}\n", clean(note));
    }
    text
}

/// Rising or falling, and how fast: now, if something that was done changed it, else all the time.
pub fn headline(course: &Course) -> String {
    format!("{}: {}", title(course), way(course))
}

/// The same without what it is about.
pub fn way(course: &Course) -> String {
    let Some(line) = course.present() else {
        return "no trend yet".into();
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
        format!(" since {} ({})", turn.entry, date_of(&turn.event.at))
    });
    format!(
        "{word}{since}, {} a week",
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

/// A level with its interval, such as `41.0 (38.2 to 43.8)`.
fn level(effect: &Effect) -> String {
    let d = decimals((effect.high - effect.low) / 2.0);
    let show = |v: f64| to_decimals(v, d);
    format!(
        "{} ({} to {})",
        show(effect.value),
        show(effect.low.max(effect.value.min(0.0))),
        show(effect.high)
    )
}

/// What the line rests on.
fn readings(course: &Course) -> Vec<String> {
    let mut lines = Vec::new();
    let n = course.readings.len();
    let date = |i: usize| date_of(&course.readings[i].1.at);
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
    if let (Some(_), Some(robust)) = (line, course.present_robust()) {
        let ends = [robust.low, robust.high].into_iter().flatten();
        let half = ends
            .map(|e| (e - robust.slope_per_week).abs())
            .fold(0.0, f64::max);
        let d = decimals(half);
        let end = |e: Option<f64>| e.map_or_else(|| "open".into(), |e| signed(e, d));
        lines.push(format!(
            "the median of all pairs of readings, which no single one can sway: {} a week ({} to {})",
            signed(robust.slope_per_week, d),
            end(robust.low),
            end(robust.high)
        ));
    }
    lines
}

fn asked(around: &Around) -> String {
    format!(
        "Did it work? {}: {}, {}",
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
    let mut lines = vec![
        format!(
            "level at that time: {} before, {} after, by {} and {}",
            level(&split.before),
            level(&split.after),
            counted(split.n_before),
            counted(split.n_after)
        ),
        format!(
            "change of the level: {}; {}",
            change(&split.step, &unit),
            chance(split.chance_fell)
        ),
    ];
    if let Some(slope) = &split.slope_change {
        lines.push(format!(
            "change of the slope: {} a week",
            change(slope, &unit)
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
            None => "so no change of the level is to be seen, and more readings are not likely to show one".into(),
        },
    }
}

/// When a limit would be reached.
fn ahead(course: &Course) -> Vec<String> {
    let unit = clean(&course.unit);
    let mut lines = Vec::new();
    let Some(limit) = &course.limit else {
        return lines;
    };
    if let Some(line) = course.present() {
        let (now, _) = line.level_at(line.last_day);
        for (bound, past, word) in [
            (limit.high, limit.high.is_some_and(|b| now > b), "over"),
            (limit.low, limit.low.is_some_and(|b| now < b), "under"),
        ] {
            if let (Some(bound), true) = (bound, past) {
                lines.push(format!(
                    "The level is {word} the limit of {} {unit}.",
                    plain(bound)
                ));
            }
        }
    }
    match &course.crossing {
        Some((bound, crossing)) => {
            let at = |day: f64| date(day, course);
            let latest = crossing.latest.map_or_else(
                || "no latest day known".into(),
                |d| format!("{} at the latest", at(d)),
            );
            let central = crossing
                .central
                .map_or_else(String::new, |d| format!("{}; ", at(d)));
            lines.push(format!(
                "If it goes on like this, the limit of {} {unit} is reached on {central}{} at the earliest, {latest}.",
                plain(*bound),
                at(crossing.earliest)
            ));
        }
        None if course.present().is_some() && lines.is_empty() => {
            lines.push("No limit is to be reached as far ahead as these readings bear.".into());
        }
        None => {}
    }
    lines
}

/// A day as a date where the last reading was taken.
fn date(day: f64, course: &Course) -> String {
    let offset = course
        .readings
        .last()
        .map_or(0, |(_, r)| r.at.offset_seconds());
    let zone = jiff::tz::Offset::from_seconds(offset).map_or(TimeZone::UTC, TimeZone::fixed);
    // Days of a forecast are within a few spans of the readings, whose times are dates.
    Timestamp::from_second((day * 86_400.0) as i64)
        .map(|t| zone.to_datetime(t).date().to_string())
        .unwrap_or_default()
}

fn date_of(at: &Moment) -> String {
    at.short().chars().take(10).collect()
}

/// The course as one JSON object. Unknown is `null`. Slope, scatter and robust slope are those of the present course: since
/// `since_event` if that made a difference, else of all readings.
pub fn json(course: &Course) -> Value {
    let effect =
        |e: &Effect| json!({"value": six(e.value), "low": six(e.low), "high": six(e.high)});
    let (below, above) = course.bounds();
    let line = course.present();
    json!({
        "water": course.water.name,
        "test": course.test,
        "unit": course.unit,
        "from": course.readings.first().map(|(_, r)| r.at.to_string()),
        "to": course.readings.last().map(|(_, r)| r.at.to_string()),
        "readings": course.readings.len(),
        "doubtful": course.doubtful(),
        "below": below,
        "above": above,
        "level": crate::trend::LEVEL,
        "since_event": course.turn().map(|t| t.entry.to_string()),
        "slope_per_week": line.map(|l| json!({
            "value": six(l.slope_per_week),
            "low": six(l.slope_interval.0),
            "high": six(l.slope_interval.1),
        })),
        "chance_falling": line.map(|l| six(l.chance_falling())),
        "scatter": line.map(|l| six(l.tau)),
        "robust_slope_per_week": course.present_robust().map(|r| json!({
            "value": six(r.slope_per_week),
            "low": r.low.map(six),
            "high": r.high.map(six),
        })),
        "event": course.around.as_ref().map(|a| json!({
            "entry": a.entry.to_string(),
            "kind": a.event.kind,
            "at": a.event.at.to_string(),
            "before": a.split.as_ref().ok().map(|s| effect(&s.before)),
            "after": a.split.as_ref().ok().map(|s| effect(&s.after)),
            "step": a.split.as_ref().ok().map(|s| effect(&s.step)),
            "chance_fell": a.split.as_ref().ok().map(|s| six(s.chance_fell)),
            "slope_before_per_week": a.split.as_ref().ok().and_then(|s| s.slope_before).map(|e| effect(&e)),
            "slope_after_per_week": a.split.as_ref().ok().and_then(|s| s.slope_after).map(|e| effect(&e)),
            "slope_change_per_week": a.split.as_ref().ok().and_then(|s| s.slope_change).map(|e| effect(&e)),
            "settled": a.is_settled(),
            "readings_to_settle": a.further,
            "error": a.split.as_ref().err().map(|e| &e.what),
        })),
        "limit": course.limit.as_ref().map(|l| json!({"low": l.low, "high": l.high})),
        "crossing": course.crossing.as_ref().map(|(bound, c)| json!({
            "limit": bound,
            "earliest": date(c.earliest, course),
            "central": c.central.map(|d| date(d, course)),
            "latest": c.latest.map(|d| date(d, course)),
        })),
        "error": course.line.as_ref().err().map(|e| &e.what),
        "notes": course.notes,
    })
}
