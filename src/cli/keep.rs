//! `--log` of `read` and `batch`: whether and where what is read is logged.

use super::Stop;
use super::log::LogbookArgs;
use crate::logbook::Access;

pub(super) use crate::face::keep::{Keeper, Noted, Seen, picture};

/// Whether and where readings are logged.
#[derive(clap::Args)]
pub(super) struct KeepArgs {
    /// Log the readings for this water of the logbook (see `tintwell log`)
    #[arg(long = "log", value_name = "WATER")]
    water: Option<String>,
    #[command(flatten)]
    logbook: LogbookArgs,
}

impl KeepArgs {
    /// The logbook to log to, opened before the first photo is read.
    pub(super) fn open(&self) -> Result<Option<Keeper>, Stop> {
        let Some(water) = &self.water else {
            if self.logbook.is_given() {
                return Err(Stop::Usage(
                    "--logbook says where to log; say for which water with --log WATER".into(),
                ));
            }
            return Ok(None);
        };
        let logbook = self.logbook.open(Access::Read)?;
        Ok(Some(Keeper::new(logbook, water)?))
    }
}
