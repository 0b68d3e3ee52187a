//! The logbook: waters, readings, events, limits and equipment in one SQLite file.
//!
//! One process writes at a time, any number read. What [`Logbook`] has acknowledged survives a crash or power loss: every
//! change is one transaction, and SQLite waits for the disk before it returns (write-ahead log with `synchronous = FULL`).
//! Nothing is ever overwritten: what is removed stays in the file and is only left out, and every edit leaves what was there
//! before in the table of changes.
//!
//! Never looks at a clock: who adds an entry says when. Times are UTC seconds for sorting beside the text as given, with its
//! offset.

pub(crate) mod amounts;
mod ask;
pub mod changes;
mod entry;
pub mod equipment;
pub mod exchange;
mod fault;
mod import;
mod restore;
mod schema;
mod store;
mod table;
mod write;

use std::fmt;
use std::str::FromStr;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use jiff::civil::{DateTime, Time};
use jiff::fmt::temporal::Pieces;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ZonedDateTime};
use serde::{Deserialize, Serialize};

use crate::chart::Medium;
use crate::flag::Verdict;
use crate::reading::Answer;

pub use entry::Entry;
pub use store::{Access, Added, Field, Logbook};
pub(crate) use write::folded;

/// An instant, with the offset that it was told in.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Moment {
    seconds: i64,
    text: String,
}

impl Moment {
    /// Seconds since 1970-01-01T00:00:00Z.
    pub fn seconds(&self) -> i64 {
        self.seconds
    }

    /// Whether it lies ahead of `now` by more than a day: further than clocks and time zones differ, so that it is a slip, or a plan.
    pub fn is_ahead_of(&self, now: &Moment) -> bool {
        self.seconds - now.seconds > 86_400
    }

    /// Days since 1970-01-01T00:00:00Z.
    pub fn days(&self) -> f64 {
        self.seconds as f64 / 86_400.0
    }

    /// What the time it was told in is ahead of UTC, in seconds.
    pub fn offset_seconds(&self) -> i32 {
        let civil = self.text.get(..19).and_then(|t| t.parse::<DateTime>().ok());
        let there = civil.and_then(|c| c.to_zoned_datetime(TimeZone::UTC).ok());
        // An offset is less than a day.
        there.map_or(0, |t| (t.timestamp().as_second() - self.seconds) as i32)
    }

    /// Date where it was told, `2026-03-01`.
    pub fn date(&self) -> &str {
        self.text.get(..10).unwrap_or(&self.text)
    }

    /// Date and time of day where it was told, `2026-03-01 09:05`.
    pub fn short(&self) -> String {
        self.text.get(..16).unwrap_or(&self.text).replace('T', " ")
    }

    /// A time with an offset as it is, or a local time in `zone`. Seconds and the time of day (noon) may be left away.
    ///
    /// # Errors
    /// One phrase that says what a time looks like.
    pub fn parse(text: &str, zone: &TimeZone) -> Result<Moment, String> {
        let text = &two_digits(text.trim());
        if let Ok(moment) = Moment::from_str(text) {
            return Ok(moment);
        }
        // A zone may be named beside a local time: `2026-03-01T09:05[Europe/Berlin]`.
        if let Ok(zoned) = text.parse::<ZonedDateTime>() {
            return Ok(Moment::from(&zoned));
        }
        let local = Pieces::parse(text).ok().map(|pieces| {
            let noon = Time::constant(12, 0, 0, 0);
            pieces.date().to_datetime(pieces.time().unwrap_or(noon))
        });
        local
            .and_then(|local| local.to_zoned_datetime(zone.clone()).ok())
            .map(|zoned| Moment::from(&zoned))
            .ok_or_else(|| format!("\"{text}\" is no time such as 2026-03-01T09:05 or 2026-03-01"))
    }
}

impl From<&ZonedDateTime> for Moment {
    fn from(zoned: &ZonedDateTime) -> Moment {
        Moment {
            seconds: zoned.timestamp().as_second(),
            text: zoned.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string(),
        }
    }
}

/// RFC 3339 and ISO 8601 with an offset. The text becomes `2026-03-01T09:05:00-08:00` however it was written, so that all that cuts
/// date or offset out of it finds them.
impl FromStr for Moment {
    type Err = String;

    fn from_str(text: &str) -> Result<Moment, String> {
        let stamp: Timestamp = text
            .parse()
            .map_err(|_| format!("\"{text}\" is no time with an offset"))?;
        // A logbook is full of texts that are so already.
        if is_plain(text) {
            return Ok(Moment {
                seconds: stamp.as_second(),
                text: text.to_owned(),
            });
        }
        let offset = Pieces::parse(text).ok().and_then(|p| p.to_numeric_offset());
        let zone = TimeZone::fixed(offset.unwrap_or(jiff::tz::Offset::UTC));
        Ok(Moment::from(&stamp.to_zoned_datetime(zone)))
    }
}

/// A time whose hour has one digit, `2026-03-01 8:58`, as the standards write it.
fn two_digits(text: &str) -> String {
    let bytes = text.as_bytes();
    let short = bytes.len() > 12 && matches!(bytes[10], b'T' | b't' | b' ') && bytes[12] == b':';
    if short && text.is_ascii() {
        format!("{}0{}", &text[..11], &text[11..])
    } else {
        text.to_owned()
    }
}

/// Whether a text that is a time is written as `2026-03-01T09:05:00-08:00`.
fn is_plain(text: &str) -> bool {
    let form = b"0000-00-00T00:00:00+00:00";
    text.len() == form.len()
        && text
            .bytes()
            .zip(form)
            .enumerate()
            .all(|(i, (c, f))| match f {
                b'0' => c.is_ascii_digit(),
                b'+' => c == b'+' || c == b'-',
                // A second 60 becomes 59.
                b':' if i == 16 => c == b':' && text.as_bytes()[17] < b'6',
                f => c == *f,
            })
}

impl TryFrom<String> for Moment {
    type Error = String;

    fn try_from(text: String) -> Result<Moment, String> {
        text.parse()
    }
}

impl From<Moment> for String {
    fn from(moment: Moment) -> String {
        moment.text
    }
}

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// A body of water.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Water {
    /// Its name, unique among those not removed.
    pub name: String,
    /// Litres.
    pub volume_l: Option<f64>,
    pub medium: Option<Medium>,
    /// What lives there, in the keeper's words.
    pub lives: String,
    /// Whether invertebrates live there, which copper kills.
    pub invertebrates: bool,
}

/// Where a reading comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Source {
    /// Read by this program.
    Photo,
    /// Held against a printed chart.
    Eye,
    /// Measured in another way.
    Other,
}

/// A reading of one test of one water.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    pub water: String,
    pub test: String,
    pub unit: String,
    pub at: Moment,
    /// 95 % interval where there is a value.
    #[serde(flatten)]
    pub answer: Amount,
    pub source: Source,
    pub verdict: Verdict,
    pub photo: Option<String>,
    /// SHA-256 of the photo's file.
    pub sha256: Option<String>,
    pub chart_sha256: Option<String>,
    pub dilution_factor: Option<f64>,
    pub note: String,
    /// The whole record that the program gave, as JSON.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub record: Option<serde_json::Value>,
    /// Where the program looked: a small JPEG.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub picture: Option<Jpeg>,
}

/// A picture, in JSON as base64 (RFC 4648).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Jpeg(pub Vec<u8>);

impl TryFrom<String> for Jpeg {
    type Error = base64::DecodeError;

    fn try_from(text: String) -> Result<Jpeg, base64::DecodeError> {
        STANDARD.decode(text).map(Jpeg)
    }
}

impl From<Jpeg> for String {
    fn from(jpeg: Jpeg) -> String {
        STANDARD.encode(jpeg.0)
    }
}

/// What a reading says.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "answer", rename_all = "lowercase")]
pub enum Amount {
    /// A value with its 95 % interval.
    Value { value: f64, low: f64, high: f64 },
    /// Under this.
    Below { high: f64 },
    /// Over this.
    Above { low: f64 },
}

impl Amount {
    /// What can be logged of an answer: nothing of a colour that is not on the chart.
    pub fn of(answer: &Answer) -> Option<Amount> {
        match *answer {
            Answer::Value { value, low, high } => Some(Amount::Value { value, low, high }),
            Answer::Below { high } | Answer::Under { high } => Some(Amount::Below { high }),
            Answer::Above { low } => Some(Amount::Above { low }),
            Answer::OffChart => None,
        }
    }

    /// The same as an answer, for showing.
    pub fn answer(self) -> Answer {
        match self {
            Amount::Value { value, low, high } => Answer::Value { value, low, high },
            Amount::Below { high } => Answer::Under { high },
            Amount::Above { low } => Answer::Above { low },
        }
    }
}

/// What happened to a water.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Part of the water was replaced (--percent)
    WaterChange,
    /// Something was put into the water (--substance, --amount)
    Dose,
    /// Filter material was added
    MediaIn,
    /// Filter material was taken out
    MediaOut,
    /// Animals or plants were added
    LivestockIn,
    /// Animals or plants were taken out or died
    LivestockOut,
    /// Feeding was changed, or fed much
    Feeding,
    /// Equipment was put into the water (--equipment)
    EquipmentIn,
    /// Equipment was taken out (--equipment)
    EquipmentOut,
    /// Anything else (--note)
    Other,
}

impl Kind {
    /// The word for it, as on the command line.
    pub fn word(self) -> String {
        word(&self)
    }
}

/// The word that a plain value is written as.
fn word(value: &impl Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        _ => String::new(),
    }
}

/// The plain value of a word.
fn of_word<T: for<'de> Deserialize<'de>>(word: &str) -> Option<T> {
    serde_json::from_value(serde_json::Value::String(word.to_owned())).ok()
}

/// An event.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Event {
    pub water: String,
    pub kind: Kind,
    pub at: Moment,
    /// Share of the water that was changed, per cent.
    pub percent: Option<f64>,
    pub amount: Option<f64>,
    /// Unit of `amount`.
    pub unit: Option<String>,
    /// What was dosed, added or taken out.
    pub substance: Option<String>,
    /// Copper or another medicine, which stays in porous things. A dose of copper becomes one as it is added.
    pub medicine: bool,
    /// Name of the equipment.
    pub equipment: Option<String>,
    pub note: String,
}

/// Bounds within which a water is to stay.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    pub water: String,
    pub test: String,
    pub unit: String,
    pub low: Option<f64>,
    pub high: Option<f64>,
}

/// A net, a pump, a filter: what goes from water to water.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Equipment {
    /// Its name, unique among those not removed.
    pub name: String,
    pub note: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_keep_the_offset_they_were_told_in() {
        let zone = TimeZone::fixed(jiff::tz::offset(-8));
        let at = |text: &str| Moment::parse(text, &zone).unwrap();
        assert_eq!(
            at("2026-03-01T09:05").to_string(),
            "2026-03-01T09:05:00-08:00"
        );
        assert_eq!(at("2026-03-01").to_string(), "2026-03-01T12:00:00-08:00");
        assert_eq!(
            at("2026-03-01T09:05:00+02:00").to_string(),
            "2026-03-01T09:05:00+02:00"
        );
        assert_eq!(
            at("2026-03-01T09:05:00+02:00").seconds() + 10 * 3600,
            at("2026-03-01T09:05").seconds()
        );
        assert_eq!(at("2026-03-01").offset_seconds(), -8 * 3600);
        assert_eq!(at("2026-03-01T09:05:00+05:30").offset_seconds(), 19_800);
        assert_eq!(at("2026-03-01T09:05:00Z").offset_seconds(), 0);
        assert!(Moment::parse("yesterday", &zone).is_err());
    }

    #[test]
    fn a_time_has_one_text_however_it_is_written() {
        let zone = TimeZone::fixed(jiff::tz::offset(-8));
        for (told, text) in [
            ("2026-03-01T09:05:00Z", "2026-03-01T09:05:00+00:00"),
            ("20260301T090500+0530", "2026-03-01T09:05:00+05:30"),
            ("2026-03-01 09:05:07.25+02:00", "2026-03-01T09:05:07+02:00"),
            (
                "2026-03-01T09:05-08:00[America/Los_Angeles]",
                "2026-03-01T09:05:00-08:00",
            ),
            ("20260301", "2026-03-01T12:00:00-08:00"),
            ("20260301T0905", "2026-03-01T09:05:00-08:00"),
            ("2026-03-01 8:58", "2026-03-01T08:58:00-08:00"),
            ("2026-03-01T8:58+02:00", "2026-03-01T08:58:00+02:00"),
        ] {
            let moment = Moment::parse(told, &zone).unwrap();
            assert_eq!(moment.to_string(), text, "{told}");
            assert_eq!(text.parse::<Moment>().unwrap(), moment, "{told}");
        }
    }
}
