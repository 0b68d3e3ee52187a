//! The level of the water now, as the logbook tells it, and that of the source water.

use serde::Serialize;

use super::figure::{self, Figure};
use crate::error::{Error, Result};
use crate::flag::Verdict;
use crate::logbook::{Amount, Kind, Logbook, Moment};
use crate::report::text::clean;
use crate::report::words;
use crate::water::Estimate;

/// The level now, and where it is from.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Now {
    #[serde(flatten)]
    pub(crate) figure: Figure,
    /// The logbook's entry and its time.
    pub(crate) reading: Option<String>,
    pub(crate) at: Option<String>,
    #[serde(skip)]
    pub(crate) estimate: Estimate,
    #[serde(skip)]
    logged: Option<Logged>,
}

/// When a logged level was read, and what was done to the water since.
#[derive(Debug, Clone)]
struct Logged {
    at: Moment,
    /// The last water change since, and the last dose, in words.
    changed: Option<String>,
    dosed: Option<String>,
}

/// An older reading is pointed out: weekly tests are common practice, so by then another one is due.
const OLD_DAYS: f64 = 7.0;

/// What to do where the logbook's level is no good, besides testing again.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Otherwise {
    /// The level can be told in its place.
    Tell,
    /// Several levels are asked for, which come from the logbook alone.
    Log,
}

impl Otherwise {
    fn words(self) -> &'static str {
        match self {
            Otherwise::Tell => "tell the level with --now and --plus-minus in place of --log",
            Otherwise::Log => {
                "log the level as it was found out in another way (`tintwell log add reading`), or plan without this test"
            }
        }
    }
}

impl Now {
    /// A level that was told.
    pub(crate) fn given(value: f64, plus_minus: Option<f64>) -> Now {
        Now {
            figure: Figure::given(value, plus_minus),
            reading: None,
            at: None,
            estimate: figure::estimate(value, plus_minus),
            logged: None,
        }
    }

    /// What has to be said before water is changed by this level.
    ///
    /// # Errors
    /// If water was changed since it was read: who changes by it once more changes twice.
    pub(crate) fn before_a_change(&self, otherwise: Otherwise) -> Result<Option<String>> {
        let (Some(logged), Some(reading)) = (&self.logged, &self.reading) else {
            return Ok(None);
        };
        if let Some(changed) = &logged.changed {
            return Err(Error::new(
                format!("reading {reading} is older than the water change {changed}"),
                format!(
                    "test again first; or, if the level after that change is known, {}",
                    otherwise.words()
                ),
            ));
        }
        Ok(logged.dosed.as_ref().map(|dosed| {
            format!(
                "Reading {reading} is older than the dose {dosed}: if that brought what is tested for, test again first."
            )
        }))
    }

    /// Says how old a logged level is, if it is old.
    pub(crate) fn age(&self, now: &Moment) -> Option<String> {
        let (logged, reading) = (self.logged.as_ref()?, self.reading.as_ref()?);
        let days = now.days() - logged.at.days();
        (days > OLD_DAYS).then(|| {
            format!("Reading {reading} is {days:.0} days old: test again before you rely on it.")
        })
    }

    pub(crate) fn words(&self, unit: &str) -> String {
        let level = self.figure.words(unit);
        match (&self.reading, &self.at) {
            (Some(reading), Some(at)) => {
                format!("{level}, reading {reading} of {at}")
            }
            _ => level,
        }
    }
}

/// The newest trusted reading.
pub(crate) struct Newest {
    pub(crate) now: Now,
    pub(crate) unit: String,
    /// A later reading that is not trusted, in words.
    pub(crate) passed_over: Option<String>,
}

/// The newest trusted reading of a test in a water; what is dated ahead of `today` does not count.
///
/// # Errors
/// If there is none, or it is only a bound.
pub(crate) fn newest(
    logbook: &Logbook,
    water: &str,
    test: &str,
    otherwise: Otherwise,
    today: &Moment,
) -> Result<Newest> {
    let about = format!("{} in {}", clean(test), clean(water));
    let mut readings = logbook.readings(water, Some(test))?;
    let ahead = readings
        .iter()
        .find(|(_, r)| r.at.is_ahead_of(today))
        .map(|(entry, r)| {
            format!(
                "the reading {entry} of {} is dated ahead of today and was passed over",
                r.at.short()
            )
        });
    readings.retain(|(_, r)| !r.at.is_ahead_of(today));
    if let (true, Some(ahead)) = (readings.is_empty(), &ahead) {
        return Err(
            Error::new(ahead.clone(), "correct its time: tintwell log edit --at").about(about),
        );
    }
    let Some((entry, newest)) = readings
        .iter()
        .rev()
        .find(|(_, r)| r.verdict == Verdict::Trusted)
    else {
        return Err(nothing(logbook, water, readings.len(), otherwise)?.about(about));
    };
    let passed_over = readings.last().filter(|(e, _)| e != entry);
    let passed_over = passed_over.map(|(later, r)| {
        format!(
            "the newer reading {later} of {} is {} and was passed over",
            r.at.short(),
            r.verdict.word()
        )
    });
    let unit = clean(&newest.unit);
    let Amount::Value { value, low, high } = newest.answer else {
        let bound = words(&newest.answer.answer(), &unit).value;
        let fix = match newest.answer {
            Amount::Above { .. } => "dilute the sample and test again (`tintwell plan dilute`)",
            _ => "use a test that shows so little",
        };
        let fix = format!("{fix}, or {}", otherwise.words());
        return Err(Error::new(
            format!(
                "the newest trusted reading, {entry} of {}, says only \"{bound}\": that is a bound, no level to reckon with",
                newest.at.short()
            ),
            fix,
        )
        .about(about));
    };
    // An interval that was cut at zero is short on that side; the longer side tells how far off the value may be.
    let half = (high - value).max(value - low);
    let mut events = logbook.events(water)?;
    events.retain(|(_, e)| !e.at.is_ahead_of(today));
    // As for trends, what was done at the instant of a reading was done after it.
    let since = |kind: Kind| {
        let mut all = events.iter().rev();
        let (event, done) =
            all.find(|(_, e)| e.kind == kind && e.at.seconds() >= newest.at.seconds())?;
        Some(format!("{event} of {}", done.at.short()))
    };
    Ok(Newest {
        now: Now {
            figure: Figure::between(value, low, high),
            reading: Some(entry.to_string()),
            at: Some(newest.at.short()),
            estimate: figure::estimate(value, Some(half)),
            logged: Some(Logged {
                at: newest.at.clone(),
                changed: since(Kind::WaterChange),
                dosed: since(Kind::Dose),
            }),
        },
        unit,
        passed_over: passed_over.or(ahead),
    })
}

fn nothing(logbook: &Logbook, water: &str, doubtful: usize, otherwise: Otherwise) -> Result<Error> {
    if doubtful > 0 {
        let there = if doubtful == 1 {
            "the only reading is not trusted".to_owned()
        } else {
            format!("no reading is trusted, of {doubtful} that there are")
        };
        return Ok(Error::new(
            there,
            format!("test again, or {}", otherwise.words()),
        ));
    }
    let mut tests: Vec<String> = logbook
        .readings(water, None)?
        .iter()
        .map(|(_, r)| clean(&r.test))
        .collect();
    tests.sort();
    tests.dedup();
    let known = if tests.is_empty() {
        "nothing was read of this water yet".to_owned()
    } else {
        format!("tests of this water: {}", tests.join(", "))
    };
    Ok(Error::new(
        format!("there is no reading; {known}"),
        format!("give another test, or {}", otherwise.words()),
    ))
}

/// The water that is put in.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Source {
    pub(crate) value: f64,
    /// Half of its 95 % interval; exact if it is not known.
    pub(crate) plus_minus: Option<f64>,
}

impl Source {
    pub(crate) fn estimate(self) -> Estimate {
        figure::estimate(self.value, self.plus_minus)
    }

    pub(crate) fn figure(self) -> Figure {
        Figure::given(self.value, self.plus_minus)
    }

    pub(crate) fn words(self, unit: &str) -> String {
        let level = self.figure().words(unit);
        if self.plus_minus.is_some() {
            level
        } else {
            format!("{level}, taken as exact")
        }
    }
}
