//! The course of one test in one water: what the readings, events and limits of a logbook say together.
//!
//! Takes entries and gives them to [`crate::trend`], which knows nothing of waters: how fast the level changes, whether something
//! that was done changed it, when a limit would be reached. Says what may spoil the answer: readings in another unit, with
//! another chart, or something else done at the same time. Never says why a level changed.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use crate::error::{Error, Result};
use crate::flag::Verdict;
use crate::logbook::{
    Amount, Entry, Event, Kind, Limit, Logbook, Moment, Reading, Source, Water, folded,
};
use crate::same_vial;
use crate::trend::forecast::{self, Crossing};
use crate::trend::slope::{self, Line};
use crate::trend::split::{self, Model, Split};
use crate::trend::theil_sen::{self, Robust};
use crate::trend::{Point, Seen};

/// How much a doubtful reading counts beside a trusted one: as if its uncertainty were twice what it says. There is no
/// published number for it; half the trust in an uncertainty is a convention of this program.
pub const WEIGHT_OF_DOUBT: f64 = 0.25;

/// Standard uncertainties in half a 95 % interval (normal distribution; JCGM 100:2008, table G.1).
const HALF_WIDTH: f64 = 1.96;

/// What of a course is asked for.
#[derive(Debug, Clone, Default)]
pub struct Wanted {
    /// Only readings from this moment on.
    pub since: Option<Moment>,
    /// The present: what is dated ahead of it is left out.
    pub now: Option<Moment>,
    /// The event before and after which is compared; else the last one that is not a matter of routine.
    pub event: Option<Entry>,
    /// Readings in this unit; else in that of the last reading.
    pub unit: Option<String>,
}

impl Wanted {
    fn is_ahead(&self, at: &Moment) -> bool {
        self.now.as_ref().is_some_and(|now| at.is_ahead_of(now))
    }

    fn from(&self) -> i64 {
        self.since.as_ref().map_or(i64::MIN, Moment::seconds)
    }
}

/// The course of one test in one water.
#[derive(Debug, Clone)]
pub struct Course {
    pub water: Water,
    pub test: String,
    pub unit: String,
    /// The readings used, in the order of time; at least one.
    pub readings: Vec<(Entry, Reading)>,
    /// All events from the first reading used on.
    pub events: Vec<(Entry, Event)>,
    /// The bounds within which the water is to stay, in the unit of the readings.
    pub limit: Option<Limit>,
    /// The line through all readings, or why there is none.
    pub line: Result<Line>,
    /// Its robust companion, or why there is none.
    pub robust: Result<Robust>,
    /// Before and after an event.
    pub around: Option<Around>,
    /// Limits that would be reached, and when.
    pub crossings: Vec<(f64, Crossing)>,
    /// What may spoil the answer.
    pub notes: Vec<String>,
}

/// Before and after an event.
#[derive(Debug, Clone)]
pub struct Around {
    pub entry: Entry,
    pub event: Event,
    /// The comparison, or what it lacks.
    pub split: Result<Split>,
    /// How many more readings would settle whether the level changed; `None` if too many would be needed.
    pub further: Option<usize>,
    /// Whether no reading after the event was made in a way in which one before it was: then the difference may be one of the
    /// ways.
    pub other_ways: bool,
    /// The line through the readings after the event alone, and its robust companion.
    pub after: Option<Line>,
    pub robust_after: Option<Robust>,
}

impl Around {
    /// Whether level or slope changed, as far as the readings can tell.
    /// Levels alone cannot tell: a slope that was there all along makes them differ too.
    pub fn is_settled(&self) -> bool {
        let changed = |s: &Split| {
            s.model == Model::Lines
                && (s.step.is_settled() || s.slope_change.is_some_and(|c| c.is_settled()))
        };
        !self.other_ways && self.split.as_ref().is_ok_and(changed)
    }
}

impl Course {
    /// The course of a test in a water of a logbook.
    ///
    /// # Errors
    /// If the logbook cannot be read, there is no such water, no reading of the test, or no such event.
    pub fn of(logbook: &Logbook, water: &str, test: &str, wanted: &Wanted) -> Result<Course> {
        let water = logbook.water(water)?;
        let (ahead, all): (Vec<_>, Vec<_>) = logbook
            .readings(&water.name, Some(test))?
            .into_iter()
            .partition(|(_, r)| wanted.is_ahead(&r.at));
        let Some((_, last)) = all.last() else {
            return Err(match ahead.first() {
                None => no_readings(&water.name, test, &logbook.tests(&water.name)?),
                Some((entry, r)) => Error::new(
                    format!(
                        "there is no reading of \"{test}\" yet: {entry} is dated {}",
                        r.at.short()
                    ),
                    "correct its time: tintwell log edit --at",
                )
                .about(water.name),
            });
        };
        // Test and unit as they are spelt in the log, where case does not count.
        let wanted_unit = wanted.unit.as_ref().unwrap_or(&last.unit);
        let spelt = all
            .iter()
            .map(|(_, r)| &r.unit)
            .find(|u| folded(u) == folded(wanted_unit));
        let unit = spelt.unwrap_or(wanted_unit).clone();
        let test = last.test.clone();
        let test = test.as_str();
        let all: Vec<_> = all
            .into_iter()
            .filter(|(_, r)| r.at.seconds() >= wanted.from())
            .collect();
        let before = all.len();
        let readings: Vec<_> = all.into_iter().filter(|(_, r)| r.unit == unit).collect();
        let other_unit = before - readings.len();
        let Some((_, first)) = readings.first() else {
            return Err(Error::new(
                format!("there is no reading of {test} in {unit} in that time"),
                "leave --unit or --since away to see what there is: tintwell log show",
            )
            .about(water.name));
        };
        let start = first.at.seconds();
        let events: Vec<_> = logbook
            .events(&water.name)?
            .into_iter()
            .filter(|(_, e)| e.at.seconds() >= start && !wanted.is_ahead(&e.at))
            .collect();
        let shared = logbook.budgets(&water.name, test)?;
        let shared = shared
            .into_iter()
            .map(|(entry, parts)| {
                (
                    entry,
                    same_vial::shared(parts.iter().map(|(r, s)| (r.as_str(), *s))),
                )
            })
            .collect();
        let limits = logbook.limits(&water.name)?;
        let limit = limits.into_iter().find(|l| l.test == test);
        let logged = Logged {
            readings,
            shared,
            events,
            limit,
            other_unit,
            ahead,
        };
        Course::from_entries(water, test, logged, wanted.event)
    }

    /// The courses of all tests in a water that have readings in the time that is wanted.
    ///
    /// # Errors
    /// As [`Course::of`].
    pub fn all(logbook: &Logbook, water: &str, wanted: &Wanted) -> Result<Vec<Course>> {
        let counts = |r: &Reading| r.at.seconds() >= wanted.from() && !wanted.is_ahead(&r.at);
        let mut courses = Vec::new();
        for (_, last) in logbook.lasts(water)? {
            let any = || -> Result<bool> {
                let readings = logbook.readings(water, Some(&last.test))?;
                Ok(readings
                    .iter()
                    .any(|(_, r)| counts(r) && r.unit == last.unit))
            };
            if counts(&last) || any()? {
                courses.push(Course::of(logbook, water, &last.test, wanted)?);
            }
        }
        Ok(courses)
    }

    fn from_entries(
        water: Water,
        test: &str,
        logged: Logged,
        event: Option<Entry>,
    ) -> Result<Course> {
        let Logged {
            readings,
            shared,
            events,
            limit,
            other_unit,
            ahead,
        } = logged;
        let shared = &shared;
        let unit = readings[0].1.unit.clone();
        let points: Vec<Point> = readings.iter().map(|(_, r)| point(r)).collect();
        let chosen = chosen(&events, event, &readings).map_err(|e| e.about(water.name.clone()))?;
        let around = chosen.map(|(entry, event)| {
            let day = event.at.days();
            let after: Vec<Point> = points.iter().filter(|p| p.day > day).copied().collect();
            let common = |after: bool| {
                common(
                    readings
                        .iter()
                        .filter(|(_, r)| (r.at.days() > day) == after),
                    shared,
                )
            };
            let ways = |after: bool| -> BTreeSet<&str> {
                let side = readings
                    .iter()
                    .filter(|(_, r)| (r.at.days() > day) == after);
                side.map(|(_, r)| way(r)).collect()
            };
            Around {
                entry,
                other_ways: ways(true).is_disjoint(&ways(false)),
                split: split::split(&points, day)
                    .map(|split| split.with_common(common(false), common(true))),
                further: split::readings_to_settle(&points, day).ok().flatten(),
                after: slope::fit(&after)
                    .ok()
                    .map(|line| line.with_common(common(true))),
                robust_after: theil_sen::fit(&after).ok(),
                event,
            }
        });
        // Of thousands of readings each takes as long as the other.
        let (line, robust) = rayon::join(|| slope::fit(&points), || theil_sen::fit(&points));
        let line = line.map(|line| line.with_common(common(readings.iter(), shared)));
        let mut notes = Vec::new();
        if let Some((entry, reading)) = ahead.first() {
            notes.push(format!(
                "left out, as they are dated ahead of today: {}, the first {entry} of {}; correct their time with \
                 `tintwell log edit --at`",
                ahead.len(),
                reading.at.short()
            ));
        }
        if other_unit > 0 {
            notes.push(format!(
                "left out, as they are in another unit than {unit}: {other_unit}"
            ));
        }
        notes.extend(charts(&readings));
        if let Some(around) = &around {
            notes.extend(at_once(around, &readings));
            notes.extend(beside(around, &events, &readings));
            notes.extend(bent(around, &events));
        }
        let (limit, other_limit) = match limit {
            Some(limit) if limit.unit != unit => (None, Some(limit)),
            limit => (limit, None),
        };
        if let Some(other) = other_limit {
            notes.push(format!(
                "the limits are in {}, the readings in {unit}: they are not compared",
                other.unit
            ));
        }
        let mut course = Course {
            water,
            test: test.to_owned(),
            unit,
            readings,
            events,
            limit,
            line,
            robust,
            around,
            crossings: Vec::new(),
            notes,
        };
        course.crossings = course.ahead();
        let changes = course.changes();
        if !course.crossings.is_empty() && changes >= REGULAR {
            course.notes.push(format!(
                "water was changed {changes} times meanwhile: the higher the level, the more each change takes out, so that a straight \
                 line goes too far; where the changes lead in the long run `tintwell plan routine` reckons"
            ));
        }
        if let (Some(line), Some(robust)) = (course.present(), course.present_robust())
            && theil_sen::disagree(line, robust)
        {
            course.notes.push(
                "the line and the slope that most pairs of readings agree on contradict each other: a few readings pull the \
                 line, or the course is no line"
                    .into(),
            );
        }
        Ok(course)
    }

    /// The event after which the present course began: the one that is looked at, if it made a difference.
    pub fn turn(&self) -> Option<&Around> {
        self.around.as_ref().filter(|a| a.is_settled())
    }

    /// The line of the present course, which is followed into the future: of the readings after the turn, else of all.
    pub fn present(&self) -> Option<&Line> {
        match self.turn() {
            Some(turn) => turn.after.as_ref(),
            None => self.line.as_ref().ok(),
        }
    }

    /// Its robust companion.
    pub fn present_robust(&self) -> Option<&Robust> {
        match self.turn() {
            Some(turn) => turn.robust_after.as_ref(),
            None => self.robust.as_ref().ok(),
        }
    }

    fn ahead(&self) -> Vec<(f64, Crossing)> {
        let (Some(line), Some(limit)) = (self.present(), self.limit.as_ref()) else {
            return Vec::new();
        };
        let bounds = [limit.low, limit.high].into_iter().flatten();
        bounds
            .filter_map(|bound| Some((bound, forecast::crossing(line, bound).ok()??)))
            .collect()
    }

    /// The limit that would be reached first.
    pub fn crossing(&self) -> Option<(f64, Crossing)> {
        let rank = |c: &Crossing| c.central.unwrap_or(f64::INFINITY);
        self.crossings.iter().copied().min_by(|(_, a), (_, b)| {
            let central = rank(a).total_cmp(&rank(b));
            central.then(a.earliest.total_cmp(&b.earliest))
        })
    }

    /// Water changes between the readings of the present course.
    fn changes(&self) -> usize {
        let Some(line) = self.present() else { return 0 };
        let within = |e: &Event| (line.first_day..line.last_day).contains(&e.at.days());
        water_changes(&self.events, within)
    }

    /// Readings that are doubtful.
    pub fn doubtful(&self) -> usize {
        self.count(|r| r.verdict == Verdict::Doubtful)
    }

    /// Readings that are a bound only: under or over what the test shows.
    pub fn bounds(&self) -> (usize, usize) {
        (
            self.count(|r| matches!(r.answer, Amount::Below { .. })),
            self.count(|r| matches!(r.answer, Amount::Above { .. })),
        )
    }

    fn count(&self, which: impl Fn(&Reading) -> bool) -> usize {
        self.readings.iter().filter(|(_, r)| which(r)).count()
    }
}

/// Variance of the error that readings have in common, since a chart's standards err alike in all that is read by it (JCGM 100:2008,
/// 5.2): of each chart the mean over its readings, and charts by how many readings they have. `shared` is which part of a
/// reading's variance it is; readings without a record are taken to err each for itself.
fn common<'a>(
    readings: impl Iterator<Item = &'a (Entry, Reading)>,
    shared: &HashMap<Entry, f64>,
) -> f64 {
    let mut charts: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
    let mut all = 0.0;
    for (entry, reading) in readings {
        all += 1.0;
        if let (Some(share), Seen::Value { u, .. }) = (shared.get(entry), point(reading).seen) {
            let (n, sum) = charts.entry(way(reading)).or_default();
            *n += 1.0;
            *sum += share * u * u;
        }
    }
    let of_chart = |(n, sum): &(f64, f64)| (n / all).powi(2) * sum / n;
    charts.values().map(of_chart).sum()
}

/// What the logbook holds of one test in one water.
struct Logged {
    readings: Vec<(Entry, Reading)>,
    /// Which part of a reading's variance others by the same chart have too, where its record tells.
    shared: HashMap<Entry, f64>,
    events: Vec<(Entry, Event)>,
    limit: Option<Limit>,
    /// Readings that were left out, since they are in another unit.
    other_unit: usize,
    /// Readings that were left out, since they are dated ahead of the present.
    ahead: Vec<(Entry, Reading)>,
}

/// A reading as the trend takes it.
pub fn point(reading: &Reading) -> Point {
    Point {
        day: reading.at.days(),
        seen: match reading.answer {
            Amount::Value { value, low, high } => Seen::Value {
                value,
                // An interval that ends at zero is cut off there: its upper half tells.
                u: match low > 0.0 {
                    true => (high - low) / (2.0 * HALF_WIDTH),
                    false => (high - value) / HALF_WIDTH,
                },
            },
            Amount::Below { high } => Seen::Below(high),
            Amount::Above { low } => Seen::Above(low),
        },
        weight: match reading.verdict {
            Verdict::Trusted => 1.0,
            Verdict::Doubtful | Verdict::Unreadable => WEIGHT_OF_DOUBT,
        },
    }
}

fn no_readings(water: &str, test: &str, tests: &[String]) -> Error {
    let fix = if tests.is_empty() {
        "log readings first: tintwell read --log, or tintwell log add reading".to_owned()
    } else {
        format!("choose one of: {}", tests.join(", "))
    };
    Error::new(format!("there is no reading of \"{test}\""), fix).about(water)
}

/// What recurs: whether it works is seldom the question.
fn is_routine(kind: Kind) -> bool {
    matches!(kind, Kind::WaterChange | Kind::Feeding)
}

/// The event that is looked at: the wanted one, else the last one between readings that is no routine, else the last one.
fn chosen(
    events: &[(Entry, Event)],
    wanted: Option<Entry>,
    readings: &[(Entry, Reading)],
) -> Result<Option<(Entry, Event)>> {
    if let Some(wanted) = wanted {
        let found = events.iter().find(|(entry, _)| *entry == wanted);
        return found.cloned().map(Some).ok_or_else(|| {
            Error::new(
                format!("there is no event {wanted} since the first reading"),
                "see the events of this water: tintwell log show",
            )
        });
    }
    let first = readings.first().map_or(0, |(_, r)| r.at.seconds());
    let last = readings.last().map_or(0, |(_, r)| r.at.seconds());
    let between = || {
        events
            .iter()
            .rev()
            .filter(|(_, e)| (first..last).contains(&e.at.seconds()))
    };
    let found = between()
        .find(|(_, e)| !is_routine(e.kind))
        .or_else(|| between().next());
    Ok(found.cloned())
}

/// How a reading was made: with which chart, or by what.
fn way(reading: &Reading) -> &str {
    match reading.source {
        Source::Photo => reading.chart_sha256.as_deref().unwrap_or("photo"),
        Source::Eye => "eye",
        Source::Other => "other",
    }
}

/// Whether the readings were made in more ways than one.
fn charts(readings: &[(Entry, Reading)]) -> Option<String> {
    let ways: BTreeSet<&str> = readings.iter().map(|(_, r)| way(r)).collect();
    (ways.len() > 1).then(|| {
        "not all readings were made in the same way (chart, eye, instrument): a difference between the ways counts as a change \
         of the water"
            .to_owned()
    })
}

/// Readings at the very time of the event: it is not told which came first.
fn at_once(around: &Around, readings: &[(Entry, Reading)]) -> Option<String> {
    let at = around.event.at.seconds();
    let same: Vec<String> = readings
        .iter()
        .filter(|(_, r)| r.at.seconds() == at)
        .map(|(entry, _)| entry.to_string())
        .collect();
    (!same.is_empty()).then(|| {
        format!(
            "{} {} as {} and {} before it; if it came after, give both their times of day with `tintwell log edit --at`",
            same.join(", "),
            if same.len() == 1 { "has the same time" } else { "have the same time" },
            around.entry,
            if same.len() == 1 { "counts as" } else { "count as" },
        )
    })
}

/// Water changes from which on they are a routine.
const REGULAR: usize = 2;

fn water_changes(events: &[(Entry, Event)], which: impl Fn(&Event) -> bool) -> usize {
    let all = events.iter().map(|(_, e)| e);
    all.filter(|e| e.kind == Kind::WaterChange && which(e))
        .count()
}

/// Water changes before and after bend the course by themselves: it is no line that turns at the event.
fn bent(around: &Around, events: &[(Entry, Event)]) -> Option<String> {
    let split = around.split.as_ref().ok()?;
    let turned = split.slope_change.is_some_and(|c| c.is_settled());
    let day = around.event.at.days();
    let sides = [
        water_changes(events, |e| e.at.days() < day),
        water_changes(events, |e| e.at.days() > day),
    ];
    let regular = sides.iter().all(|n| *n > 0) && sides.iter().sum::<usize>() >= REGULAR;
    (turned && regular).then(|| {
        "water was changed before and after it: changes slow a rise by themselves, the more the higher the level is, so that the \
         slope may have changed without what is asked about"
            .to_owned()
    })
}

/// What else was done between the same two readings.
fn beside(
    around: &Around,
    events: &[(Entry, Event)],
    readings: &[(Entry, Reading)],
) -> Option<String> {
    let day = around.event.at.seconds();
    let times = || readings.iter().map(|(_, r)| r.at.seconds());
    let before = times().filter(|t| *t <= day).max()?;
    let after = times().filter(|t| *t > day).min()?;
    let others: Vec<String> = events
        .iter()
        .filter(|(entry, e)| *entry != around.entry && (before..after).contains(&e.at.seconds()))
        .map(|(entry, _)| entry.to_string())
        .collect();
    (!others.is_empty()).then(|| {
        format!(
            "between the same two readings as {} there {} {}: what they did cannot be told apart",
            around.entry,
            if others.len() == 1 { "was" } else { "were" },
            others.join(", ")
        )
    })
}
