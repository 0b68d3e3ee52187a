//! A plot of the course of one test in one water: readings with their intervals, the line through them with its band, the
//! limits of the water, what was done, and what is to come if it goes on like this.
//!
//! [`picture`] draws it for a page or a file, [`terminal`] in characters. Both show the same [`View`] and nothing else: they
//! fit no line, look nothing up and know no clock. What cannot be seen in the plot (a limit far away, an event long ago) is
//! said in words beside it; nothing rests on colour alone.

mod clip;
mod dates;
mod grid;
mod legend;
mod pen;
pub mod picture;
mod range;
pub mod terminal;
mod words;

use crate::error::{Error, Result};

/// What a plot of the course of one test in one water shows. Days count from 1970-01-01T00:00Z, levels are in the unit of
/// the test. Nothing need be in order of time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct View {
    /// What it is about, such as "nitrate in the quarantine tank".
    pub title: String,
    /// Unit of the levels, such as "mg/L".
    pub unit: String,
    /// What local time is ahead of UTC, in seconds, for dates.
    pub offset_seconds: i32,
    /// The readings.
    pub marks: Vec<Mark>,
    /// The line through the readings: one, or one before and one after an event. May be none.
    pub bands: Vec<Band>,
    /// The lowest level that is good for the water.
    pub low: Option<f64>,
    /// The highest level that is good for the water.
    pub high: Option<f64>,
    /// What was done to the water.
    pub events: Vec<Happening>,
    /// When the line would reach a limit.
    pub crossing: Option<Crossing>,
}

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    pub day: f64,
    pub seen: Seen,
    /// Not fully trusted: drawn open and thin.
    pub doubtful: bool,
    /// Told by a person who held the vial against a printed chart, not read from a photo.
    pub by_eye: bool,
}

/// What a reading says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Seen {
    /// A value with its interval; `low` and `high` may equal it if the interval is unknown.
    Value { value: f64, low: f64, high: f64 },
    /// Less than this: the test could not show so little.
    Below(f64),
    /// More than this: the test could not show so much.
    Above(f64),
}

impl Seen {
    /// The value, or the bound.
    fn number(&self) -> f64 {
        match *self {
            Seen::Value { value, .. } => value,
            Seen::Below(bound) | Seen::Above(bound) => bound,
        }
    }
}

/// A line with the band in which it may lie.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    pub points: Vec<BandPoint>,
    /// Day of the last reading that the line rests on. What is after is forecast: drawn dashed.
    pub last_day: f64,
}

/// One point of a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandPoint {
    pub day: f64,
    pub level: f64,
    pub low: f64,
    pub high: f64,
}

/// Something that was done to the water.
#[derive(Debug, Clone, PartialEq)]
pub struct Happening {
    pub day: f64,
    /// In a few words, such as "water change 30 %".
    pub label: String,
    /// Is it the event that before and after are told for?
    pub split: bool,
}

/// When the line would reach a limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// The level of the limit.
    pub limit: f64,
    /// The first day on which it may.
    pub earliest: f64,
    /// The day by which it will; `None` if it may never.
    pub latest: Option<f64>,
}

/// Days from the epoch that a date can be told for: years -5696 to 9636.
const DAYS: f64 = 2.8e6;
/// Levels beyond are drawn as if they were this: no water holds so much of anything, in any unit.
const MOST: f64 = 1e15;
/// Levels nearer to zero are drawn as zero, for the same reason.
const LEAST: f64 = 1e-12;

impl View {
    /// The same in order of time, with numbers that can be drawn.
    ///
    /// # Errors
    /// If a day or level is not a finite number.
    fn tamed(&self) -> Result<View> {
        let mut view = self.clone();
        let mut whole = true;
        let mut day = |d: &mut f64| {
            whole &= d.is_finite();
            *d = d.clamp(-DAYS, DAYS);
        };
        view.marks.iter_mut().for_each(|m| day(&mut m.day));
        view.events.iter_mut().for_each(|e| day(&mut e.day));
        for band in &mut view.bands {
            day(&mut band.last_day);
            band.points.iter_mut().for_each(|p| day(&mut p.day));
        }
        if let Some(c) = &mut view.crossing {
            day(&mut c.earliest);
            c.latest.iter_mut().for_each(day);
        }
        let mut level = |v: &mut f64| {
            whole &= v.is_finite();
            *v = if v.abs() < LEAST {
                0.0
            } else {
                v.clamp(-MOST, MOST)
            };
        };
        for mark in &mut view.marks {
            match &mut mark.seen {
                Seen::Value { value, low, high } => {
                    [&mut *value, &mut *low, &mut *high]
                        .into_iter()
                        .for_each(&mut level);
                    *low = low.min(*value);
                    *high = high.max(*value);
                }
                Seen::Below(bound) | Seen::Above(bound) => level(bound),
            }
        }
        for p in view.bands.iter_mut().flat_map(|b| &mut b.points) {
            [&mut p.level, &mut p.low, &mut p.high]
                .into_iter()
                .for_each(&mut level);
            p.low = p.low.min(p.level);
            p.high = p.high.max(p.level);
        }
        view.low.iter_mut().for_each(&mut level);
        view.high.iter_mut().for_each(&mut level);
        view.crossing.iter_mut().for_each(|c| level(&mut c.limit));
        if !whole {
            return Err(Error::new(
                "the plot has a day or level that is not a number",
                "show the readings without a plot",
            ));
        }
        view.marks.sort_by(|a, b| a.day.total_cmp(&b.day));
        view.events.sort_by(|a, b| a.day.total_cmp(&b.day));
        for band in &mut view.bands {
            band.points.sort_by(|a, b| a.day.total_cmp(&b.day));
        }
        view.bands.retain(|b| !b.points.is_empty());
        Ok(view)
    }
}

impl View {
    /// Is there anything that a frame could show?
    fn has_course(&self) -> bool {
        !(self.marks.is_empty() && self.bands.is_empty())
    }
}

impl Band {
    /// The part that rests on readings, and the part that is forecast; both hold the point where they meet. A part may be
    /// empty.
    fn parts(&self) -> (Vec<BandPoint>, Vec<BandPoint>) {
        let cut = self.points.partition_point(|p| p.day <= self.last_day);
        let (mut fitted, mut later) = (self.points[..cut].to_vec(), self.points[cut..].to_vec());
        if let (Some(a), Some(b)) = (fitted.last().copied(), later.first().copied()) {
            let t = (self.last_day - a.day) / (b.day - a.day);
            let between = |a: f64, b: f64| a + t * (b - a);
            let meet = BandPoint {
                day: self.last_day,
                level: between(a.level, b.level),
                low: between(a.low, b.low),
                high: between(a.high, b.high),
            };
            fitted.push(meet);
            later.insert(0, meet);
        }
        (fitted, later)
    }
}

/// Events whose marks on the axis would run into each other are one group.
struct Group {
    /// Numbers of the first and last event, from 1.
    first: usize,
    last: usize,
    /// Middle of the group on the axis.
    at: f64,
    /// Is the event among them that before and after are told for?
    split: bool,
}

impl Group {
    fn text(&self) -> String {
        if self.first == self.last {
            self.first.to_string()
        } else {
            format!("{}\u{2013}{}", self.first, self.last)
        }
    }
}

/// Groups of events along an axis. `events` are number, place and whether it splits, in order; `width` is what a group takes.
fn grouped(events: &[(usize, f64, bool)], width: impl Fn(&Group) -> f64) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for &(number, at, split) in events {
        let mut new = Group {
            first: number,
            last: number,
            at,
            split,
        };
        // One that grows by what joins it may run into the one before.
        while let Some(before) = groups.last()
            && new.at - before.at < (width(before) + width(&new)) / 2.0
        {
            let share = (before.last - before.first + 1) as f64;
            let all = (new.last - before.first + 1) as f64;
            new = Group {
                first: before.first,
                last: new.last,
                at: before.at * (share / all) + new.at * (1.0 - share / all),
                split: before.split || new.split,
            };
            groups.pop();
        }
        groups.push(new);
    }
    groups
}
