//! What is shown of readings and charts: text, JSON, CSV and a picture.
//!
//! Every face is made from the same [`Outcome`], so that no flag is lost on the way. Returns text and pictures; never
//! writes to a file or terminal itself.

mod axes;
pub mod course;
pub mod csv;
pub mod json;
pub mod number;
pub mod overlay;
pub mod page;
pub mod plot;
mod svg;
pub mod text;
pub mod trend;

use crate::error::{Error, Result};
use crate::flag::{Checked, Flag, Severity, Verdict};
use crate::place::Area;
use crate::reading::{Answer, Reading};

/// What became of one photo.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// Name of the photo, fit for showing.
    pub photo: String,
    /// Time of the capture in ISO 8601, if the photo tells it.
    pub taken_at: Option<String>,
    /// SHA-256 of the file, if it could be read.
    pub sha256: Option<String>,
    /// SHA-256 of the chart it was read with, if there was one.
    pub chart_sha256: Option<String>,
    /// White paper and liquid as marked by hand, in pixels of the upright photo; `None` if the card was looked for.
    pub regions: Option<[Area; 2]>,
    /// Name of the test, if a chart was found for the photo.
    pub test: Option<String>,
    /// Unit of the chart.
    pub unit: Option<String>,
    /// The reading, or why there is none.
    pub result: Result<Checked<Reading>>,
}

impl Outcome {
    /// The verdict; a photo without a reading is unreadable.
    pub fn verdict(&self) -> Verdict {
        self.result
            .as_ref()
            .map_or(Verdict::Unreadable, |r| r.value.verdict)
    }

    /// All findings, most severe first; the error of an unreadable photo is one of them.
    pub fn flags(&self) -> Vec<Flag> {
        match &self.result {
            Ok(reading) => reading.flags.clone(),
            Err(e) => vec![no_reading(e)],
        }
    }
}

fn no_reading(e: &Error) -> Flag {
    Flag::new("no-reading", Severity::Stop, e.what.clone(), e.fix.clone())
}

/// An answer in words: the value first, its interval beside it, no more digits than the interval bears.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words {
    /// Such as `12.3 mg/L` or `below 0.4 mg/L`.
    pub value: String,
    /// Such as `11.6 to 13.1`; `None` if there is none.
    pub interval: Option<String>,
}

/// The words for an answer in `unit`.
pub fn words(answer: &Answer, unit: &str) -> Words {
    match answer {
        Answer::Value { value, low, high } => {
            let d = number::decimals((high - low) / 2.0);
            let show = |v: f64| number::to_decimals(v, d);
            Words {
                value: format!("{} {unit}", show(*value)),
                interval: Some(format!("{} to {}", show(*low), show(*high))),
            }
        }
        Answer::Below { high } => {
            let high = number::rounded_up(*high);
            Words {
                value: format!("below {high} {unit}"),
                interval: Some(format!("0 to {high}")),
            }
        }
        Answer::Under { high } => Words {
            value: format!("below {} {unit}", number::rounded_up(*high)),
            interval: None,
        },
        Answer::Above { low } => Words {
            value: format!("above {} {unit}", number::rounded_down(*low)),
            interval: None,
        },
        Answer::OffChart => Words {
            value: "no value: the colour is not on this chart".into(),
            interval: None,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_bear_the_digits_of_the_interval() {
        let say = |value, low, high| {
            let w = words(&Answer::Value { value, low, high }, "mg/L");
            format!("{} ({})", w.value, w.interval.unwrap_or_default())
        };
        assert_eq!(
            say(12.3456, 11.5811, 13.1022),
            "12.35 mg/L (11.58 to 13.10)"
        );
        assert_eq!(say(12.3456, 10.5811, 14.1022), "12.3 mg/L (10.6 to 14.1)");
        assert_eq!(say(1234.0, 1004.0, 1504.0), "1230 mg/L (1000 to 1500)");
        assert_eq!(say(0.01234, 0.0, 0.0312), "0.012 mg/L (0.000 to 0.031)");
        // A half-width of 9.97 is 10 with two digits.
        assert_eq!(say(40.04, 30.03, 49.97), "40 mg/L (30 to 50)");
    }

    #[test]
    fn answers_without_a_number_are_words() {
        assert_eq!(
            words(&Answer::Below { high: 0.3112 }, "mg/L").value,
            "below 0.32 mg/L"
        );
        assert_eq!(
            words(&Answer::Above { low: 40.0 }, "mg/L").value,
            "above 40 mg/L"
        );
        assert_eq!(words(&Answer::OffChart, "mg/L").interval, None);
    }
}
