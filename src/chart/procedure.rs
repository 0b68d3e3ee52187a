//! The procedure of a chart as steps with timers, for one who does them.
//!
//! A procedure is told in the user's words. A step is a line, or a part of one up to a `;`. A time in it such as `30 s`, `1 min`,
//! `1.5 minutes`, `1 min 30 s` or `2:30 min` gives it a timer; of a range such as `5 to 8 min` the first end counts, and a limit
//! (`within 10 min`) gives none. Where the chart tells when the colour is to be read, that waiting is the last step. Nothing
//! here says what is to be done chemically: where there is no procedure, the steps are what is common practice with a vial and
//! drops, and the maker's leaflet goes first.

use super::{ReadWindow, Terms};

/// What is to be done in a step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Doing {
    /// In the user's words.
    Told(String),
    /// Rinse the vial with the sample.
    Rinse,
    /// Fill it to the mark.
    Fill,
    /// Add the reagent.
    Reagent,
    /// Cap and shake.
    Shake,
    /// Let the colour come.
    Wait,
}

/// How long a step takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Timer {
    /// So many seconds from when it is begun.
    For(u32),
    /// From the last reagent on, until the colour may be read, and no longer than it may be.
    Window(ReadWindow),
}

/// A step.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    pub doing: Doing,
    /// `None` if it takes as long as it takes.
    pub timer: Option<Timer>,
    /// The last reagent is in once it is done: from then on the waiting counts.
    pub starts: bool,
}

/// Words for what goes into the vial to make the colour, as they begin, in English and German.
const REAGENTS: [&str; 12] = [
    "drop", "reagent", "powder", "tablet", "spoon", "scoop", "sachet", "tropf", "reagenz",
    "pulver", "tablette", "löffel",
];

/// Words for waiting, as they begin.
const WAITING: [&str; 6] = ["wait", "stand", "leave", "develop", "wart", "steh"];

/// Words before a time that make it a limit.
const LIMITS: [&str; 6] = ["within", "before", "max", "until", "innerhalb", "höchstens"];

/// Longest timer, seconds: a day. Longer waits are none for a timer.
const LONGEST: f64 = 86_400.0;

/// The steps of a test, at least one; the last is the waiting, if the chart tells its read window.
pub fn steps(terms: &Terms) -> Vec<Step> {
    let mut steps: Vec<Step> = match terms.procedure.as_deref().map(told) {
        Some(steps) if !steps.is_empty() => steps,
        _ => usual(),
    };
    // The waiting counts from the last reagent; where none is named, from the end of what is told.
    let starts = steps.iter().rposition(|s| {
        s.doing == Doing::Reagent || matches!(&s.doing, Doing::Told(t) if names(t, &REAGENTS))
    });
    if let Some(window) = terms.read_window {
        let timer = Some(Timer::Window(window));
        let last = steps.len() - 1;
        let waits = last > 0
            && Some(last) != starts
            && matches!((&steps[last].doing, steps[last].timer),
                        (Doing::Told(t), Some(Timer::For(_))) if names(t, &WAITING));
        if waits {
            steps[last].timer = timer;
        } else {
            steps.push(Step {
                doing: Doing::Wait,
                timer,
                starts: false,
            });
        }
    }
    let before_wait = match steps.last() {
        Some(Step {
            timer: Some(Timer::Window(_)),
            ..
        }) => steps.len() - 2,
        _ => steps.len() - 1,
    };
    steps[starts.unwrap_or(before_wait)].starts = true;
    steps
}

fn usual() -> Vec<Step> {
    [Doing::Rinse, Doing::Fill, Doing::Reagent, Doing::Shake]
        .map(|doing| Step {
            doing,
            timer: None,
            starts: false,
        })
        .to_vec()
}

fn told(procedure: &str) -> Vec<Step> {
    procedure
        .split(['\n', '\r', ';'])
        .map(unnumbered)
        .filter(|text| !text.is_empty())
        .map(|text| Step {
            doing: Doing::Told(text.to_owned()),
            timer: seconds(text).map(Timer::For),
            starts: false,
        })
        .collect()
}

/// A line without its number or bullet.
fn unnumbered(line: &str) -> &str {
    let line = line.trim();
    let after = line.trim_start_matches(|c: char| c.is_ascii_digit());
    let line = match after.strip_prefix(['.', ')']) {
        // Not the point of a number such as 2.5.
        Some(rest) if after.len() < line.len() && rest.starts_with(char::is_whitespace) => rest,
        _ => line.trim_start_matches(['-', '*', '•', '–']),
    };
    line.trim()
}

/// Whether a text has a word that begins in one of these ways.
fn names(text: &str, beginnings: &[&str]) -> bool {
    let text = text.to_lowercase();
    text.split(|c: char| !c.is_alphabetic())
        .any(|word| beginnings.iter().any(|b| word.starts_with(b)))
}

/// The time that a step tells, whole seconds.
fn seconds(text: &str) -> Option<u32> {
    let text = text.to_lowercase();
    let parts = parts(&text);
    let mut at = 0;
    while at < parts.len() {
        if let Some((mut sum, mut next)) = time(&parts, at) {
            let word = at.checked_sub(1).map_or("", |i| parts[i]);
            if LIMITS.iter().any(|l| word.starts_with(l)) {
                at = next;
                continue;
            }
            // "1 min 30 s"
            while let Some((more, end)) = time(&parts, next) {
                sum += more;
                next = end;
            }
            return (1.0..=LONGEST).contains(&sum).then(|| sum.round() as u32);
        }
        at += 1;
    }
    None
}

/// Numbers, words, and single other characters; no space.
fn parts(text: &str) -> Vec<&str> {
    let mut parts = Vec::new();
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        let end = if c.is_ascii_digit() {
            // A point, comma or colon between digits belongs to the number.
            rest.char_indices()
                .find(|&(i, c)| {
                    let within = matches!(c, '.' | ',' | ':')
                        && rest[i + 1..].starts_with(|d: char| d.is_ascii_digit());
                    !c.is_ascii_digit() && !within
                })
                .map_or(rest.len(), |(i, _)| i)
        } else if c.is_alphabetic() {
            rest.find(|c: char| !c.is_alphabetic())
                .unwrap_or(rest.len())
        } else {
            c.len_utf8()
        };
        if !c.is_whitespace() {
            parts.push(&rest[..end]);
        }
        rest = &rest[end..];
    }
    parts
}

/// A time that begins at this part, in seconds, and where it ends.
fn time(parts: &[&str], at: usize) -> Option<(f64, usize)> {
    let first = number(parts.get(at)?)?;
    let unit = parts.get(at + 1)?;
    if let Some(unit) = unit_of(unit) {
        return Some((first.in_seconds(unit)?, at + 2));
    }
    // "5 to 8 min": the unit stands behind the second number.
    if ["to", "-", "–", "bis", "or", "oder"].contains(unit) {
        number(parts.get(at + 2)?)?;
        let unit = unit_of(parts.get(at + 3)?)?;
        return Some((first.in_seconds(unit)?, at + 4));
    }
    None
}

/// A number as it is written.
enum Number {
    Plain(f64),
    /// `2:30`
    Clock(f64, f64),
}

impl Number {
    fn in_seconds(&self, unit: f64) -> Option<f64> {
        match self {
            Number::Plain(v) => Some(v * unit),
            // Sixtieths of seconds mean nothing.
            Number::Clock(..) if unit < 60.0 => None,
            Number::Clock(whole, parts) => Some((whole + parts / 60.0) * unit),
        }
    }
}

fn number(text: &str) -> Option<Number> {
    match text.split_once(':') {
        Some((whole, parts)) => Some(Number::Clock(
            whole.parse().ok()?,
            parts.parse().ok().filter(|p| *p < 60.0)?,
        )),
        None => text
            .replace(',', ".")
            .parse()
            .ok()
            .filter(|_| text.starts_with(|c: char| c.is_ascii_digit()))
            .map(Number::Plain),
    }
}

/// Seconds of a unit of time.
fn unit_of(word: &str) -> Option<f64> {
    match word {
        "s" | "sec" | "secs" | "second" | "seconds" | "sek" | "sekunde" | "sekunden" => Some(1.0),
        "min" | "mins" | "minute" | "minutes" | "minuten" => Some(60.0),
        "h" | "hr" | "hrs" | "hour" | "hours" | "std" | "stunde" | "stunden" => Some(3600.0),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn terms(procedure: Option<&str>, window: Option<(f64, f64)>) -> Terms {
        Terms {
            procedure: procedure.map(str::to_owned),
            read_window: window.map(|(from_min, to_min)| ReadWindow { from_min, to_min }),
            ..Terms::of("nitrate", "mg/L")
        }
    }

    fn said(procedure: &str, window: Option<(f64, f64)>) -> Vec<(String, Option<Timer>, bool)> {
        steps(&terms(Some(procedure), window))
            .into_iter()
            .map(|s| match s.doing {
                Doing::Told(text) => (text, s.timer, s.starts),
                other => (format!("{other:?}"), s.timer, s.starts),
            })
            .collect()
    }

    #[test]
    fn a_time_gives_a_timer() {
        for (text, expected) in [
            ("shake 1 min", Some(60)),
            ("shake for 30 s", Some(30)),
            ("shake 30s, then tap", Some(30)),
            ("wait 5 minutes", Some(300)),
            ("wait 1.5 min", Some(90)),
            ("1,5 Minuten warten", Some(90)),
            ("shake 1 min 30 s", Some(90)),
            ("wait 2:30 min", Some(150)),
            ("wait 5 to 8 min", Some(300)),
            ("wait 5-8 min", Some(300)),
            ("shake 3 times, then 20 seconds more", Some(20)),
            ("add 10 drops", None),
            ("fill 5 ml", None),
            ("take 10 samples", None),
            ("read within 10 minutes", None),
            ("shake 10 s and read within 5 min", Some(10)),
            ("wait 0 min", None),
            ("wait 999999999999 h", None),
            ("1:99 min", None),
            ("1.2.3 min", None),
            ("", None),
            ("µ 5 minµ", None),
        ] {
            assert_eq!(seconds(text), expected, "{text}");
        }
    }

    #[test]
    fn lines_and_semicolons_part_steps() {
        let for_s = |s| Some(Timer::For(s));
        assert_eq!(
            said(
                "1. rinse; fill to 2.5 ml;\n2) add 8 drops\n- shake 1 min\n\n",
                None
            ),
            [
                ("rinse".into(), None, false),
                ("fill to 2.5 ml".into(), None, false),
                ("add 8 drops".into(), None, true),
                ("shake 1 min".into(), for_s(60), false),
            ]
        );
    }

    #[test]
    fn the_read_window_is_the_last_timer() {
        let window = Some(Timer::Window(ReadWindow {
            from_min: 5.0,
            to_min: 8.0,
        }));
        let w = Some((5.0, 8.0));
        // The waiting that is told is the one that is timed.
        assert_eq!(
            said("10 drops of A; 10 drops of B; wait 5 min", w)[1..],
            [
                ("10 drops of B".into(), None, true),
                ("wait 5 min".into(), window, false),
            ]
        );
        assert_eq!(
            said("swirl it", w),
            [
                ("swirl it".into(), None, true),
                ("Wait".into(), window, false),
            ]
        );
        // A wait that is the whole procedure is done first.
        assert_eq!(said("wait 5 min", w).len(), 2);
        let usual = steps(&terms(None, w));
        let doing: Vec<_> = usual.iter().map(|s| &s.doing).collect();
        use Doing::*;
        assert_eq!(doing, [&Rinse, &Fill, &Reagent, &Shake, &Wait]);
        assert!(usual[2].starts && usual[4].timer == window);
        assert_eq!(steps(&terms(Some(" ;\n"), None)).len(), 4);
    }
}
