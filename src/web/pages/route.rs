//! Where somebody is in a test: all of it is in the address, so that a locked screen or a reload loses nothing.

use std::str::FromStr;

use axum::response::Redirect;
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;
use maud::{Markup, html};
use serde::{Deserialize, Serialize};

use crate::capture::Started;
use crate::reading::Told;
use crate::web::readings::no_dilution_of_ph;
use crate::web::refusal::Refusal;
use crate::web::state::{App, Listed};

/// Where somebody is. Times are local ones of this computer, as the program's `--started` takes them.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Walk {
    pub(in crate::web) chart: String,
    /// Empty for none.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub(in crate::web) water: String,
    /// Parts of sample and of water; empty if it is not diluted.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub(in crate::web) dilution: String,
    /// When the last reagent went in.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub(in crate::web) started: String,
    /// The step of the procedure.
    #[serde(skip_serializing_if = "is_zero")]
    pub(in crate::web) step: usize,
    /// When the timer of this step was started.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub(in crate::web) since: String,
    /// Photos of the same vial that came before: the name under which they are kept.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub(in crate::web) with: String,
}

fn parsed<T: FromStr<Err = String>>(text: &str) -> Result<Option<T>, Refusal> {
    match text {
        "" => Ok(None),
        text => text
            .parse()
            .map(Some)
            .map_err(|e| Refusal::wrong(format!("\"{text}\" is not understood"), e)),
    }
}

fn is_zero(n: &usize) -> bool {
    *n == 0
}

impl Walk {
    /// The address of a page with this in it.
    pub(super) fn at(&self, page: &str) -> String {
        // Texts and a number cannot fail.
        format!(
            "{page}?{}",
            serde_urlencoded::to_string(self).unwrap_or_default()
        )
    }

    pub(super) fn to(&self, page: &str) -> Redirect {
        Redirect::to(&self.at(page))
    }

    /// What the way here tells of the test.
    ///
    /// # Errors
    /// If it is not understood, or a pH is to be multiplied back.
    pub(super) fn told(&self, chart: &Listed) -> Result<Told, Refusal> {
        let told = Told {
            started: parsed::<Started>(&self.started)?.map(|s| s.told_in(&TimeZone::system())),
            dilution: parsed(&self.dilution)?,
            ..Told::default()
        };
        no_dilution_of_ph(&told, chart)?;
        Ok(told)
    }

    /// The fields of a form that go on with it; those of the steps are over.
    pub(super) fn fields(&self) -> Markup {
        let fields = [
            ("chart", &self.chart),
            ("water", &self.water),
            ("dilution", &self.dilution),
            ("started", &self.started),
            ("with", &self.with),
        ];
        html! {
            @for (name, value) in fields {
                @if !value.is_empty() { input type="hidden" name=(name) value=(value); }
            }
        }
    }
}

/// The time of day and date of this computer, whole seconds.
pub(super) fn now(app: &App) -> String {
    local(app.now()).strftime("%Y-%m-%dT%H:%M:%S").to_string()
}

fn local(at: Timestamp) -> DateTime {
    at.to_zoned_datetime(TimeZone::system()).datetime()
}

/// A moment from an address.
pub(super) fn moment(text: &str) -> Result<Option<Timestamp>, Refusal> {
    if text.is_empty() {
        return Ok(None);
    }
    let moment = text
        .parse::<DateTime>()
        .and_then(|t| t.to_zoned_datetime(TimeZone::system()))
        .map_err(|_| {
            Refusal::wrong(
                "the time in this address is not understood",
                "begin the test anew",
            )
        })?;
    Ok(Some(moment.timestamp()))
}

/// A moment as a clock shows it.
pub(super) fn clock(at: Timestamp) -> String {
    local(at).strftime("%H:%M:%S").to_string()
}
