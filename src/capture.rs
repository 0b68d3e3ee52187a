//! What the file says of its capture, against what the chart asks for: flash, later changes, read window, date of the reagent.

use std::str::FromStr;

use jiff::civil::{Date, DateTime, Time};
use jiff::tz::{Offset, TimeZone};
use jiff::{Timestamp, ToSpan};

use crate::chart::Terms;
use crate::flag::{Flag, Severity};
use crate::photo::CaptureFacts;

/// When the waiting began: the last reagent was added.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Started {
    /// At a local date and time.
    On(DateTime),
    /// At such a time of day, of the photo's day or the evening before.
    At(Time),
    /// At a local date and time of a clock with this offset, which need not be that of the photo.
    Elsewhere(DateTime, Offset),
}

impl Started {
    /// The local date and time, for a photo taken at `taken`. A time of day some hours later than the photo's is none of the day before.
    fn before(self, taken: DateTime) -> DateTime {
        match self {
            Started::On(start) | Started::Elsewhere(start, _) => start,
            Started::At(time) => {
                let today = taken.date().to_datetime(time);
                if minutes(taken, today) < LONGEST_WAIT / 2.0 {
                    today
                } else {
                    today.saturating_sub(1.day())
                }
            }
        }
    }

    /// The same, told by a clock of `zone`.
    #[must_use]
    pub fn told_in(self, zone: &TimeZone) -> Started {
        match self {
            Started::On(start) => start
                .to_zoned_datetime(zone.clone())
                .map_or(self, |at| Started::Elsewhere(start, at.offset())),
            other => other,
        }
    }

    /// Minutes from it to a photo taken at the local time `taken`, of which the offset may be known.
    fn waited(self, taken: DateTime, offset: Option<&str>) -> f64 {
        let instants = || {
            let Started::Elsewhere(start, there) = self else {
                return None;
            };
            // A time with an offset as RFC 3339 has it.
            let photo: Timestamp = format!("{taken}{}", offset?).parse().ok()?;
            let start = there.to_timestamp(start).ok()?;
            Some(start.duration_until(photo).as_secs_f64() / 60.0)
        };
        instants().unwrap_or_else(|| minutes(self.before(taken), taken))
    }
}

impl FromStr for Started {
    type Err = String;

    fn from_str(text: &str) -> Result<Started, String> {
        // 9:05 is as good as 09:05.
        let hour = text.find(['T', ' ']).map_or(0, |at| at + 1);
        let (date, clock) = text.split_at(hour);
        let pad = if clock.find(':') == Some(1) { "0" } else { "" };
        let text = format!("{date}{pad}{clock}");
        let started = text
            .parse()
            .map(Started::On)
            .or_else(|_| text.parse().map(Started::At));
        match started {
            // A civil time leaves an offset unread, which then would not count.
            Ok(started) if !clock.contains(['+', '-', 'Z', 'z', '[']) => Ok(started),
            _ => Err("give the local time of the photo without an offset, such as 09:05, or with a date, 2026-03-01T09:05".into()),
        }
    }
}

/// Findings from the facts of a capture alone.
pub fn of_file(facts: &CaptureFacts) -> Vec<Flag> {
    let mut flags = Vec::new();
    if facts.flash_fired == Some(true) {
        flags.push(Flag::new(
            "flash",
            Severity::Doubt,
            "the flash fired: it shines off the vial and lights it from the front alone",
            "switch the flash off and bring more diffuse light",
        ));
    }
    if facts.screenshot == Some(true) {
        flags.push(Flag::new(
            "screenshot",
            Severity::Doubt,
            "the file calls itself a screenshot: a screen shows other colours than the camera saw",
            "use the photo as the camera saved it",
        ));
    }
    if let (Some(taken), Some(changed)) = (facts.taken_at, facts.modified_at)
        && minutes(taken, changed) > EDITED_AFTER
    {
        flags.push(Flag::new(
            "changed-later",
            Severity::Doubt,
            format!("the file was changed after the photo was taken ({changed}): its colours may have been edited"),
            "use the photo as the camera saved it, without filters or enhancement",
        ));
    }
    if facts.processed == Some(true) {
        flags.push(Flag::new(
            "processed",
            Severity::Note,
            "the file says that the picture was processed in a special way, or with raised contrast or saturation",
            "use the camera's plain mode without filters, for standards and samples alike",
        ));
    }
    if facts.digital_zoom.is_some_and(|z| z > 1.05) {
        flags.push(Flag::new(
            "digital-zoom",
            Severity::Note,
            "digital zoom was used: it enlarges pixels, and shows no more",
            "go closer instead",
        ));
    }
    flags
}

/// Findings from the facts of a capture, and from when the waiting `started`, if that was told.
pub fn flags(facts: &CaptureFacts, terms: &Terms, started: Option<Started>) -> Vec<Flag> {
    let mut flags = of_file(facts);
    if started.is_some() && terms.read_window.is_some() && facts.taken_at.is_none() {
        flags.push(Flag::new(
            "window-unchecked",
            Severity::Note,
            "whether the colour was read in time was not checked: the photo does not tell when it was taken",
            "use the photo as the phone saved it, with its time",
        ));
    }
    if let (Some(taken), Some(window), Some(started)) = (facts.taken_at, terms.read_window, started)
    {
        let waited = started.waited(taken, facts.offset.as_deref());
        if waited < window.from_min || waited > window.to_min {
            let read = format!(
                "the colour is to be read after {} to {} minutes",
                window.from_min, window.to_min
            );
            let (when, fix) = if !(0.0..=LONGEST_WAIT).contains(&waited) {
                (
                    format!(
                        "by its own clock the photo was taken on {taken}, and the waiting began on {}",
                        started.before(taken)
                    ),
                    "check the camera's clock and the start, and test again if the window was missed",
                )
            } else {
                (
                    format!("the photo was taken {waited:.1} minutes after the start"),
                    "test again and take the photo inside the read window",
                )
            };
            flags.push(Flag::new(
                "outside-read-window",
                Severity::Doubt,
                format!("{when}; {read}"),
                fix,
            ));
        }
    }
    if let (Some(taken), Some(last)) = (
        facts.taken_at,
        terms
            .expires
            .as_deref()
            .and_then(|d| d.parse::<Date>().ok()),
    ) && taken.date() > last
    {
        flags.push(Flag::new(
            "reagent-past-date",
            Severity::Doubt,
            format!(
                "the photo was taken on {}, the reagent of the chart is good until {last}",
                taken.date()
            ),
            "test again with fresh reagent, on a chart that was made with it",
        ));
    }
    if terms.expires.is_some() && facts.taken_at.is_none() {
        flags.push(Flag::new(
            "date-unchecked",
            Severity::Note,
            "whether the reagent is past its date was not checked: the photo does not tell when it was taken",
            "look at the date on the reagent, and use the photo as the phone saved it, with its time",
        ));
    }
    flags
}

/// Longest time between start and photo that is told in minutes; nobody waits for a day before a vial.
const LONGEST_WAIT: f64 = 24.0 * 60.0;

/// A camera writes its file within this time, minutes.
const EDITED_AFTER: f64 = 2.0;

/// Minutes from one local time to another.
fn minutes(from: DateTime, to: DateTime) -> f64 {
    from.duration_until(to).as_secs_f64() / 60.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn terms() -> Terms {
        Terms {
            read_window: Some(crate::chart::ReadWindow {
                from_min: 5.0,
                to_min: 10.0,
            }),
            expires: Some("2026-03-31".into()),
            ..Terms::of("nitrate", "mg/L")
        }
    }

    fn codes(change: impl Fn(&mut CaptureFacts), started: &str) -> Vec<String> {
        let mut facts = CaptureFacts {
            taken_at: Some("2026-03-01T09:07".parse().unwrap()),
            modified_at: Some("2026-03-01T09:07:01".parse().unwrap()),
            flash_fired: Some(false),
            ..CaptureFacts::default()
        };
        change(&mut facts);
        flags(&facts, &terms(), Some(started.parse().unwrap()))
            .into_iter()
            .map(|f| f.code)
            .collect()
    }

    #[test]
    fn each_fact_raises_its_flag_and_no_other() {
        assert!(codes(|_| {}, "09:00").is_empty());
        assert_eq!(codes(|f| f.flash_fired = Some(true), "09:00"), ["flash"]);
        assert_eq!(
            codes(|f| f.screenshot = Some(true), "09:00"),
            ["screenshot"]
        );
        let later =
            |f: &mut CaptureFacts| f.modified_at = Some("2026-03-01T11:00".parse().unwrap());
        assert_eq!(codes(later, "09:00"), ["changed-later"]);
        assert_eq!(
            codes(|f| f.digital_zoom = Some(2.0), "09:00"),
            ["digital-zoom"]
        );
        assert_eq!(codes(|f| f.processed = Some(true), "09:00"), ["processed"]);
        assert_eq!(codes(|_| {}, "09:05"), ["outside-read-window"]);
        assert_eq!(codes(|_| {}, "08:50"), ["outside-read-window"]);
        let april = |f: &mut CaptureFacts| {
            f.taken_at = Some("2026-04-01T09:07".parse().unwrap());
            f.modified_at = None;
        };
        assert_eq!(codes(april, "09:00"), ["reagent-past-date"]);
    }

    /// A clock that is months off is told as that, not as a wait of 400,000 minutes.
    #[test]
    fn a_wrong_clock_is_told_as_such() {
        let facts = CaptureFacts {
            taken_at: Some("2026-03-01T09:07".parse().unwrap()),
            ..CaptureFacts::default()
        };
        for (started, says) in [
            ("2026-11-26T09:00", "by its own clock"),
            ("2025-01-01T09:00", "by its own clock"),
            ("2026-03-01T08:00", "67.0 minutes after the start"),
        ] {
            let flags = flags(&facts, &terms(), Some(started.parse().unwrap()));
            assert!(flags[0].message.contains(says), "{}", flags[0].message);
        }
    }

    #[test]
    fn a_time_of_day_is_the_last_one_before_the_photo() {
        let taken: DateTime = "2026-03-01T00:03".parse().unwrap();
        let started = |t: &str| t.parse::<Started>().unwrap().before(taken);
        assert_eq!(minutes(started("23:55"), taken), 8.0);
        assert_eq!(minutes(started("00:01"), taken), 2.0);
        assert_eq!(minutes(started("0:01"), taken), 2.0);
        assert_eq!(minutes(started("2026-02-28T9:03"), taken), 900.0);
        assert_eq!(minutes(started("2026-02-28T23:03"), taken), 60.0);
        // The photo is the earlier one: no start of the evening before.
        assert_eq!(minutes(started("00:30"), taken), -27.0);
        for text in [
            "soon",
            "2026-03-01T09:05-05:00",
            "2026-03-01T09:05Z",
            "09:05+01:00",
        ] {
            assert!(text.parse::<Started>().is_err(), "{text}");
        }
    }

    /// The clock of the computer that the page is asked from need not go like the phone's.
    #[test]
    fn a_start_on_another_clock_is_the_same_instant() {
        let taken: DateTime = "2026-02-23T09:05:12".parse().unwrap();
        let utc = |t: &str| t.parse::<Started>().unwrap().told_in(&TimeZone::UTC);
        assert_eq!(
            utc("2026-02-23T17:00:12").waited(taken, Some("-08:00")),
            5.0
        );
        assert_eq!(
            utc("2026-02-23T09:00:12").waited(taken, Some("-08:00")),
            485.0
        );
        // Where the photo has no offset, clocks are taken to go alike.
        assert_eq!(utc("2026-02-23T09:00:12").waited(taken, None), 5.0);
        let told: Started = "2026-02-23T09:00:12".parse().unwrap();
        assert_eq!(told.waited(taken, Some("-08:00")), 5.0);
    }

    /// A start that can be held against nothing is told.
    #[test]
    fn what_was_not_checked_is_said() {
        let mut facts = CaptureFacts::default();
        let codes = |facts: &CaptureFacts, terms: &Terms, started: Option<&str>| -> Vec<String> {
            let started = started.map(|s| s.parse().unwrap());
            let flags = flags(facts, terms, started);
            flags.into_iter().map(|f| f.code).collect()
        };
        let both = ["window-unchecked", "date-unchecked"];
        assert_eq!(codes(&facts, &terms(), Some("09:00")), both);
        assert_eq!(codes(&facts, &terms(), None), both[1..]);
        facts.taken_at = Some("2026-03-01T09:07".parse().unwrap());
        let windowless = Terms {
            read_window: None,
            ..terms()
        };
        assert!(codes(&facts, &windowless, Some("09:00")).is_empty());
        assert!(codes(&facts, &terms(), Some("09:00")).is_empty());
    }
}
