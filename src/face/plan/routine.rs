//! Where a weekly water change leads in the long run.

use serde::Serialize;

use super::figure::{self, Figure};
use super::level::{Now, Source};
use crate::course::{Course, Wanted, point};
use crate::error::{Error, Result};
use crate::flag::Verdict;
use crate::logbook::{Entry, Kind, Logbook, Moment, Reading};
use crate::report::text::clean;
use crate::trend::Point;
use crate::water::Estimate;
use crate::water::production::{Change, production};
use crate::water::routine::Routine;

/// How near to the long run counts as there, per cent of it.
const NEAR_PERCENT: f64 = 10.0;

#[derive(Serialize)]
pub(crate) struct Plan {
    pub(crate) unit: String,
    pub(crate) before_change: Figure,
    pub(crate) after_change: Figure,
    pub(crate) made_per_week: Figure,
    /// What the production was found from; `null` if it was told.
    pub(crate) found_from: Option<Found>,
    pub(crate) share_per_week_percent: Figure,
    pub(crate) source: Figure,
    pub(crate) now: Option<Now>,
    /// `null` if it is not known where it starts, or there is no production.
    pub(crate) weeks_until_within_10_percent: Option<Weeks>,
}

impl Plan {
    /// Whether the readings settle that something is made: else where it leads is little more than a guess.
    pub(crate) fn is_settled(&self) -> bool {
        self.found_from.is_none() || self.made_per_week.low.is_none_or(|low| low > 0.0)
    }
}

#[derive(Serialize)]
pub(crate) struct Weeks {
    pub(crate) value: u32,
    pub(crate) low: u32,
    /// `null` if within the interval it may never come so near.
    pub(crate) high: Option<u32>,
}

#[derive(Serialize)]
pub(crate) struct Found {
    pub(crate) readings: usize,
    pub(crate) water_changes: usize,
    pub(crate) from: String,
    pub(crate) to: String,
    /// The event after which it begins, as the readings turned there.
    pub(crate) after_event: Option<String>,
}

/// What is asked.
pub(crate) struct Asked {
    pub(crate) unit: String,
    pub(crate) now: Option<Now>,
    pub(crate) made: Made,
    /// Share that is changed each week, per cent, and half of its 95 % interval.
    pub(crate) share: f64,
    pub(crate) share_plus_minus: Option<f64>,
    pub(crate) source: Source,
}

/// How much the level rises in a week without a change.
pub(crate) struct Made {
    rise: Estimate,
    figure: Figure,
    found: Option<Found>,
    notes: Vec<String>,
}

/// The plan, and what has to be said beside it.
///
/// # Errors
/// If the numbers make no routine.
pub(crate) fn plan(asked: Asked) -> Result<(Plan, Vec<String>)> {
    let Made {
        rise,
        figure: made,
        found,
        mut notes,
    } = asked.made;
    let per_cent = |v: f64| v / 100.0;
    let share = figure::estimate(per_cent(asked.share), asked.share_plus_minus.map(per_cent));
    let routine = Routine {
        rise,
        share,
        source: asked.source.estimate(),
    };
    let steady = routine.steady()?;
    let weeks = match &asked.now {
        Some(now) if steady.before.value > 0.0 => {
            let weeks = routine.weeks_until_within(NEAR_PERCENT, now.estimate)?;
            let (low, high) = routine.weeks_between(NEAR_PERCENT, now.estimate, figure::K)?;
            Some(Weeks {
                value: weeks.weeks,
                low,
                high,
            })
        }
        _ => None,
    };
    notes.push(
        "Holds while feeding, stock, share and source water stay as they are. The level now counts as just before a change."
            .to_owned(),
    );
    let plan = Plan {
        unit: asked.unit,
        before_change: Figure::of(steady.before),
        after_change: Figure::of(steady.after),
        made_per_week: made,
        found_from: found,
        share_per_week_percent: Figure::given(asked.share, asked.share_plus_minus),
        source: asked.source.figure(),
        now: asked.now,
        weeks_until_within_10_percent: weeks,
    };
    Ok((plan, notes))
}

impl Made {
    /// As it was told.
    pub(crate) fn given(value: f64, plus_minus: Option<f64>) -> Made {
        Made {
            rise: figure::estimate(value, plus_minus),
            figure: Figure::given(value, plus_minus),
            found: None,
            notes: Vec::new(),
        }
    }

    /// By the trusted readings of the logbook and the water changes between them, from `since` on; else from the turn of the
    /// course on.
    ///
    /// # Errors
    /// If readings are too few or of several units, a change tells no share, or less than nothing is made.
    pub(crate) fn found(
        logbook: &Logbook,
        water: &str,
        test: &str,
        since: Option<&Moment>,
        source: Source,
        unit: &str,
        today: &Moment,
    ) -> Result<Made> {
        let mut notes = Vec::new();
        let about = format!("{} in {}", clean(test), clean(water));
        let named = |e: Error| e.about(about.clone());
        let mut all = logbook.readings(water, Some(test))?;
        all.retain(|(_, r)| !r.at.is_ahead_of(today));
        let turn = match since {
            None => turn(logbook, water, test, &all, today)?,
            Some(_) => None,
        };
        let (used, left): (Vec<_>, Vec<_>) = all
            .into_iter()
            .filter(|(_, r)| since.is_none_or(|s| r.at.seconds() >= s.seconds()))
            .filter(|(_, r)| turn.as_ref().is_none_or(|t| r.at.seconds() > t.seconds))
            .partition(|(_, r)| r.verdict == Verdict::Trusted);
        if let Some((entry, other)) = used.iter().find(|(_, r)| clean(&r.unit) != unit) {
            return Err(named(Error::new(
                format!(
                    "reading {entry} is in {}, the newest one in {unit}",
                    clean(&other.unit)
                ),
                "leave it out with --since, or log readings of another unit as another test",
            )));
        }
        if !left.is_empty() {
            notes.push(format!(
                "Left out, as they are not trusted: {} {}.",
                left.len(),
                if left.len() == 1 {
                    "reading"
                } else {
                    "readings"
                }
            ));
        }
        let points: Vec<Point> = used.iter().map(|(_, r)| point(r)).collect();
        let ends = used.first().zip(used.last());
        let within = |at: &Moment| {
            ends.is_some_and(|((_, a), (_, b))| {
                (a.at.seconds()..b.at.seconds()).contains(&at.seconds())
            })
        };
        let mut changes = Vec::new();
        let mut others = 0;
        for (entry, event) in logbook.events(water)? {
            if !within(&event.at) {
                continue;
            }
            match event.kind {
                Kind::WaterChange => {
                    let percent = event.percent.ok_or_else(|| {
                    named(Error::new(
                        format!("the water change {entry} does not say how much was changed"),
                        "remove it and log it anew with --percent, or begin after it with --since",
                    ))
                })?;
                    changes.push(Change {
                        day: event.at.days(),
                        share: percent / 100.0,
                    });
                }
                Kind::EquipmentIn | Kind::EquipmentOut => {}
                _ => others += 1,
            }
        }
        let p = production(&points, &changes, source.estimate()).map_err(|e| {
            named(match &turn {
                None => e,
                Some(turn) => Error::new(
                    format!("the readings turned after {}, and since then: {}", turn.words, e.what),
                    "add readings, tell what is made with --made, or reckon across the turn with an earlier --since",
                ),
            })
        })?;
        let made = Figure::between(p.per_week, p.low, p.high);
        if p.high < 0.0 {
            return Err(named(Error::new(
                format!(
                    "by the readings {} are made in a week: the level falls by more than the water changes take out",
                    made.words(unit)
                ),
                "tell what is made with --made and --made-plus-minus, or begin later with --since",
            )));
        }
        if p.changes == 0 {
            notes.push("No water change is logged between the readings: if there was one, log it, or too little is found.".to_owned());
        }
        if let Some(turn) = &turn {
            notes.push(format!(
                "Begins after {}, where the course of the readings turned.",
                turn.words
            ));
        }
        if p.low <= 0.0 {
            notes.push(
                "The readings do not settle whether anything is made at all: more of them would."
                    .to_owned(),
            );
        }
        if others > 0 {
            notes.push(format!(
            "Events of another kind between the readings: {others}. What they brought or took counts as made or used up."
        ));
        }
        notes.push(
        "Logged shares of water changes count as exact. Few readings make a wide interval (Student's t).".to_owned(),
    );
        let found = ends.map(|((_, a), (_, b))| Found {
            readings: used.len(),
            water_changes: p.changes,
            from: a.at.date().to_owned(),
            to: b.at.date().to_owned(),
            after_event: turn.map(|t| t.event),
        });
        // Less than nothing is not made: of an interval around 0 what lies above counts.
        let made = Figure::between(p.per_week.max(0.0), p.low.max(0.0), p.high);
        let rise = if p.per_week < 0.0 {
            figure::estimate(0.0, Some(p.high))
        } else {
            p.estimate()
        };
        Ok(Made {
            rise,
            figure: made,
            found,
            notes,
        })
    }
}

/// Where the course of the readings turned.
struct Turn {
    seconds: i64,
    event: String,
    words: String,
}

/// The turn that a trend finds. A water change is none: what it took out is put back.
fn turn(
    logbook: &Logbook,
    water: &str,
    test: &str,
    readings: &[(Entry, Reading)],
    today: &Moment,
) -> Result<Option<Turn>> {
    let Some((_, newest)) = readings
        .iter()
        .rev()
        .find(|(_, r)| r.verdict == Verdict::Trusted)
    else {
        return Ok(None);
    };
    let wanted = Wanted {
        unit: Some(newest.unit.clone()),
        now: Some(today.clone()),
        ..Wanted::default()
    };
    let course = Course::of(logbook, water, test, &wanted)?;
    Ok(course
        .turn()
        .filter(|around| around.event.kind != Kind::WaterChange)
        .map(|around| Turn {
            seconds: around.event.at.seconds(),
            event: around.entry.to_string(),
            words: format!(
                "{} ({}) of {}",
                around.entry,
                around.event.kind.word(),
                around.event.at.date()
            ),
        }))
}
