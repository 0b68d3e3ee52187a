//! The level of the water now, and that of the source water: told on the command line or taken from the logbook.

use super::figure::{amount, mixes};
use crate::cli::log::{LogbookArgs, now as today};
use crate::cli::{Stop, say};
use crate::error::Error;
use crate::face::plan::level::{self, Newest, Now, Otherwise, Source};
use crate::logbook::{Access, Logbook};
use crate::report::text::clean;

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
    pub fn level(
        &self,
        logged: Option<&Logged>,
        otherwise: Otherwise,
    ) -> Result<(Option<Now>, String), Stop> {
        let (now, unit) = match (logged, self.now) {
            (Some(logged), _) => {
                let (now, unit) = logged.newest(logged.test, otherwise)?;
                (Some(now), unit)
            }
            (None, Some(value)) => {
                let now = Now::given(value, self.plus_minus);
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

    /// The level of another test of the same water, and its unit.
    pub fn level_of(&self, test: &str) -> Result<(Now, String), Error> {
        let (now, unit) = self.newest(test, Otherwise::Log)?;
        mixes(&unit)?;
        Ok((now, unit))
    }

    /// The newest trusted reading of a test and its unit.
    fn newest(&self, test: &str, otherwise: Otherwise) -> Result<(Now, String), Error> {
        let Newest {
            now,
            unit,
            passed_over,
        } = level::newest(&self.logbook, self.water, test, otherwise, &today())?;
        if let Some(later) = passed_over {
            say(&format!("note: {later}"));
        }
        Ok((now, unit))
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
    pub fn source(&self) -> Source {
        Source {
            value: self.source,
            plus_minus: self.source_plus_minus,
        }
    }
}
