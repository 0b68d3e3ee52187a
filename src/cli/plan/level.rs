//! The level of the water now, and that of the source water: told on the command line or taken from the logbook.

use serde::Serialize;

use super::figure::{self, Figure, amount, mixes};
use crate::cli::log::LogbookArgs;
use crate::cli::{Stop, say};
use crate::error::Error;
use crate::flag::Verdict;
use crate::logbook::{Access, Amount, Logbook};
use crate::report::text::clean;
use crate::report::words;
use crate::water::Estimate;

/// The level now.
#[derive(clap::Args)]
pub(super) struct NowArgs {
    /// Level now
    #[arg(long, value_name = "VALUE", value_parser = amount, allow_negative_numbers = true, requires = "plus_minus", conflicts_with = "log")]
    now: Option<f64>,
    /// How far off it may be: half of its 95 % interval
    #[arg(long, value_name = "HALF", value_parser = amount, allow_negative_numbers = true, requires = "now")]
    plus_minus: Option<f64>,
    /// Take the newest trusted reading of a test of a water from the logbook
    #[arg(long, num_args = 2, value_names = ["WATER", "TEST"])]
    log: Option<Vec<String>>,
    /// Unit of all levels
    #[arg(
        long,
        value_name = "UNIT",
        default_value = "mg/L",
        conflicts_with = "log"
    )]
    unit: String,
    #[command(flatten)]
    logbook: LogbookArgs,
}

/// The level now, and where it is from.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Now {
    #[serde(flatten)]
    pub figure: Figure,
    /// The logbook's entry and its time.
    pub reading: Option<String>,
    pub at: Option<String>,
    #[serde(skip)]
    pub estimate: Estimate,
}

impl Now {
    pub fn words(&self, unit: &str) -> String {
        let level = self.figure.words(unit);
        match (&self.reading, &self.at) {
            (Some(reading), Some(at)) => {
                format!("{level}, reading {reading} of {at}")
            }
            _ => level,
        }
    }
}

/// What the logbook is asked for.
pub(super) struct Logged<'a> {
    pub logbook: Logbook,
    pub water: &'a str,
    pub test: &'a str,
}

impl NowArgs {
    pub fn logged(&self) -> Result<Option<Logged<'_>>, Stop> {
        let Some([water, test]) = self.log.as_deref() else {
            return Ok(None);
        };
        Ok(Some(Logged {
            logbook: self.logbook.open(Access::Read)?,
            water,
            test,
        }))
    }

    /// The level and its unit; no level if none was told.
    pub fn level(&self, logged: Option<&Logged>) -> Result<(Option<Now>, String), Stop> {
        let (now, unit) = match (logged, self.now) {
            (Some(logged), _) => {
                let (now, unit) = logged.newest()?;
                (Some(now), unit)
            }
            (None, Some(value)) => {
                let now = Now {
                    figure: Figure::given(value, self.plus_minus),
                    reading: None,
                    at: None,
                    estimate: figure::estimate(value, self.plus_minus),
                };
                (Some(now), clean(&self.unit))
            }
            (None, None) => (None, clean(&self.unit)),
        };
        mixes(&unit)?;
        Ok((now, unit))
    }
}

impl Logged<'_> {
    /// Litres of the water, if the logbook knows them.
    pub fn litres(&self) -> Result<Option<f64>, Error> {
        Ok(self.logbook.water(self.water)?.volume_l)
    }

    /// The newest trusted reading and its unit.
    fn newest(&self) -> Result<(Now, String), Error> {
        let readings = self.logbook.readings(self.water, Some(self.test))?;
        let about = format!("{} in {}", clean(self.test), clean(self.water));
        let Some((entry, newest)) = readings
            .iter()
            .rev()
            .find(|(_, r)| r.verdict == Verdict::Trusted)
        else {
            return Err(self.nothing(readings.len())?.about(about));
        };
        if let Some((later, r)) = readings.last().filter(|(e, _)| e != entry) {
            say(&format!(
                "note: the newer reading {later} of {} is {} and was passed over",
                r.at.short(),
                r.verdict.word()
            ));
        }
        let unit = clean(&newest.unit);
        let Amount::Value { value, low, high } = newest.answer else {
            let bound = words(&newest.answer.answer(), &unit).value;
            let fix = match newest.answer {
                Amount::Above { .. } => {
                    "dilute the sample and test again (`tintwell plan dilute`), or tell the level with --now and --plus-minus"
                }
                _ => {
                    "use a test that shows so little, or tell the level with --now and --plus-minus"
                }
            };
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
        Ok((
            Now {
                figure: Figure::between(value, low, high),
                reading: Some(entry.to_string()),
                at: Some(newest.at.short()),
                estimate: figure::estimate(value, Some(half)),
            },
            unit,
        ))
    }

    fn nothing(&self, doubtful: usize) -> Result<Error, Error> {
        if doubtful > 0 {
            return Ok(Error::new(
                format!("no reading is trusted, of {doubtful} that there are"),
                "test again, or tell the level with --now and --plus-minus",
            ));
        }
        let mut tests: Vec<String> = self
            .logbook
            .readings(self.water, None)?
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
            "give another test, or tell the level with --now and --plus-minus",
        ))
    }
}

/// The source water.
#[derive(clap::Args)]
pub(super) struct SourceArgs {
    /// Level in the water that is put in
    #[arg(long, value_name = "VALUE", default_value = "0", value_parser = amount, allow_negative_numbers = true)]
    source: f64,
    /// How far off that may be: half of its 95 % interval
    #[arg(long, value_name = "HALF", value_parser = amount, allow_negative_numbers = true)]
    source_plus_minus: Option<f64>,
}

impl SourceArgs {
    pub fn estimate(&self) -> Estimate {
        figure::estimate(self.source, self.source_plus_minus)
    }

    pub fn figure(&self) -> Figure {
        Figure::given(self.source, self.source_plus_minus)
    }

    pub fn words(&self, unit: &str) -> String {
        let level = self.figure().words(unit);
        if self.source_plus_minus.is_some() {
            level
        } else {
            format!("{level}, taken as exact")
        }
    }
}
