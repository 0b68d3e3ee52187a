//! Days in the words of a calendar, and the days that an axis names.

use jiff::ToSpan;
use jiff::civil::Date;

/// Days count from here.
const EPOCH: Date = Date::constant(1970, 1, 1);

/// A tick of a date axis.
pub(super) struct Tick {
    /// Days from the epoch, UTC.
    pub(super) day: f64,
    /// Such as "5 Oct", "Oct", "14:00" or "2026".
    pub(super) label: String,
    /// The year, where it is told below the label.
    pub(super) year: Option<String>,
}

/// How far apart ticks may be, finest first.
#[derive(Clone, Copy)]
enum Step {
    Hours(i64),
    Days(i64),
    Months(i64),
    Years(i64),
}

const STEPS: [Step; 22] = [
    Step::Hours(1),
    Step::Hours(3),
    Step::Hours(6),
    Step::Hours(12),
    Step::Days(1),
    Step::Days(2),
    Step::Days(7),
    Step::Days(14),
    Step::Months(1),
    Step::Months(2),
    Step::Months(3),
    Step::Months(6),
    Step::Years(1),
    Step::Years(2),
    Step::Years(5),
    Step::Years(10),
    Step::Years(20),
    Step::Years(50),
    Step::Years(100),
    Step::Years(200),
    Step::Years(500),
    Step::Years(2000),
];

/// The local date of a day; days are within what [`super::View::tamed`] leaves.
fn date_of(day: f64, offset: i32) -> Date {
    let local = (day + f64::from(offset) / 86_400.0).floor() as i64;
    EPOCH.saturating_add(local.days())
}

fn days_to(date: Date) -> i64 {
    i64::from(EPOCH.until(date).map_or(0, |span| span.get_days()))
}

/// The year of a day.
pub(super) fn year(day: f64, offset: i32) -> i16 {
    date_of(day, offset).year()
}

/// Such as "5 Oct", or "5 Oct 2026" with the year.
pub(super) fn date(day: f64, offset: i32, with_year: bool) -> String {
    let date = date_of(day, offset);
    let short = short(date);
    if with_year {
        format!("{short} {}", date.year())
    } else {
        short
    }
}

fn short(date: Date) -> String {
    format!("{} {}", date.day(), month(date))
}

fn month(date: Date) -> &'static str {
    const NAMES: [&str; 12] = [
        "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
    ];
    NAMES[usize::try_from(date.month() - 1).unwrap_or(0).min(11)]
}

/// The ticks from `from` to `to`, at most `most` of them.
pub(super) fn ticks(from: f64, to: f64, offset: i32, most: usize) -> Vec<Tick> {
    let mut found = Vec::new();
    for step in STEPS {
        // What is sure to be too many is not counted out.
        if (to - from) / least_days(step) <= 2.0 * most as f64 + 2.0 {
            found = at_steps(step, from, to, offset);
            if found.len() <= most {
                break;
            }
        }
    }
    with_years(found)
}

fn least_days(step: Step) -> f64 {
    match step {
        Step::Hours(n) => n as f64 / 24.0,
        Step::Days(n) => n as f64,
        Step::Months(n) => 28.0 * n as f64,
        Step::Years(n) => 365.0 * n as f64,
    }
}

/// A tick that does not yet know whether its year is told.
struct Bare {
    day: f64,
    label: String,
    year: i16,
    is_year: bool,
}

fn at_steps(step: Step, from: f64, to: f64, offset: i32) -> Vec<Bare> {
    let shift = f64::from(offset) / 86_400.0;
    let (first, last) = (from + shift, to + shift);
    let mut found = Vec::new();
    let mut push = |local: f64, label: String, year: i16, is_year: bool| {
        if (first..=last).contains(&local) {
            found.push(Bare {
                day: local - shift,
                label,
                year,
                is_year,
            });
        }
    };
    let start = date_of(from, offset);
    match step {
        Step::Hours(n) => {
            let step = n as f64 / 24.0;
            let (a, b) = ((first / step).ceil() as i64, (last / step).floor() as i64);
            for i in a..=b {
                let hour = (i * n).rem_euclid(24);
                let date = EPOCH.saturating_add((i * n).div_euclid(24).days());
                let label = if hour == 0 {
                    short(date)
                } else {
                    format!("{hour}:00")
                };
                push(i as f64 * step, label, date.year(), false);
            }
        }
        Step::Days(n) => {
            // 1970-01-01 was a Thursday; weeks are told by their Mondays (ISO 8601).
            let monday = if n % 7 == 0 { 4 } else { 0 };
            let a = (first.floor() as i64 - monday).div_euclid(n);
            for i in a..=(last.floor() as i64 - monday).div_euclid(n) {
                let days = i * n + monday;
                let date = EPOCH.saturating_add(days.days());
                push(days as f64, short(date), date.year(), false);
            }
        }
        Step::Months(n) => {
            let mut date = Date::new(start.year(), 1, 1).unwrap_or(start);
            while days_to(date) as f64 <= last && date < Date::MAX.first_of_year() {
                push(
                    days_to(date) as f64,
                    month(date).to_owned(),
                    date.year(),
                    false,
                );
                date = date.saturating_add(n.months());
            }
        }
        Step::Years(n) => {
            let mut year = i64::from(start.year()).div_euclid(n) * n;
            while let Some(date) = i16::try_from(year)
                .ok()
                .and_then(|y| Date::new(y, 1, 1).ok())
            {
                if days_to(date) as f64 > last {
                    break;
                }
                push(days_to(date) as f64, year.to_string(), date.year(), true);
                year += n;
            }
        }
    }
    found
}

/// The year goes below the first tick and the first of each new year.
fn with_years(ticks: Vec<Bare>) -> Vec<Tick> {
    let mut told = None;
    ticks
        .into_iter()
        .map(|t| {
            let new = !t.is_year && told != Some(t.year);
            told = Some(t.year);
            Tick {
                day: t.day,
                label: t.label,
                year: new.then(|| t.year.to_string()),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2026-10-05 is a Monday, 20,731 days after 1970-01-01 (from a calendar: 56 years with 14 leap days, then 277 days).
    const MONDAY: f64 = 20_731.0;

    fn labels(from: f64, to: f64, offset: i32, most: usize) -> Vec<String> {
        ticks(from, to, offset, most)
            .into_iter()
            .map(|t| t.label + &t.year.map(|y| format!(" {y}")).unwrap_or_default())
            .collect()
    }

    #[test]
    fn days_have_dates() {
        assert_eq!(date(MONDAY, 0, true), "5 Oct 2026");
        assert_eq!(date(MONDAY + 0.01, -3600, false), "4 Oct");
        assert_eq!(date(-0.5, 0, true), "31 Dec 1969");
        assert_eq!(year(MONDAY, 0), 2026);
    }

    #[test]
    fn ticks_are_where_people_look() {
        assert_eq!(
            labels(MONDAY - 1.0, MONDAY + 15.0, 0, 8),
            ["5 Oct 2026", "12 Oct", "19 Oct"]
        );
        assert_eq!(
            labels(MONDAY, MONDAY + 100.0, 0, 5),
            ["Nov 2026", "Dec", "Jan 2027"]
        );
        assert_eq!(
            labels(MONDAY + 0.4, MONDAY + 1.1, 0, 4),
            ["12:00 2026", "18:00", "6 Oct"]
        );
        assert_eq!(
            labels(MONDAY, MONDAY + 1000.0, 0, 4),
            ["2027", "2028", "2029"]
        );
    }

    #[test]
    fn ticks_are_local_midnights() {
        let found = ticks(MONDAY, MONDAY + 3.0, -8 * 3600, 8);
        assert_eq!(found[0].label, "5 Oct");
        assert!((found[0].day - (MONDAY + 8.0 / 24.0)).abs() < 1e-9);
    }

    #[test]
    fn the_longest_axis_ends() {
        for most in [1, 5, 10] {
            let found = ticks(-super::super::DAYS, super::super::DAYS, i32::MAX, most);
            assert!(found.len() <= 10, "{}", found.len());
        }
    }
}
