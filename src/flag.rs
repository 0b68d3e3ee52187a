//! Every finding that travels with a reading: its code, severity, message and what to do about it.
//!
//! A flag never replaces a value and a value never travels without its flags: see [`Checked`].

use serde::{Deserialize, Serialize};

/// How much a flag says against the reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing; the reading stands.
    Note,
    /// The reading may be off: treat it as doubtful.
    Doubt,
    /// No number can be given.
    Stop,
}

/// One finding about a photo or reading.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Flag {
    /// Stable machine-readable code, kebab-case.
    pub code: String,
    /// How much it says against the reading.
    pub severity: Severity,
    /// What was seen, with figures.
    pub message: String,
    /// What to do about it, fitting what was seen.
    pub fix: String,
}

impl Flag {
    /// A flag of `code`; see the constants and constructors of this module for the codes in use.
    pub fn new(
        code: &str,
        severity: Severity,
        message: impl Into<String>,
        fix: impl Into<String>,
    ) -> Self {
        Flag {
            code: code.to_owned(),
            severity,
            message: message.into(),
            fix: fix.into(),
        }
    }
}

/// Each finding with its advice, if none before it has given the same.
pub fn advised(flags: &[Flag]) -> impl Iterator<Item = (&Flag, Option<&str>)> {
    flags.iter().enumerate().map(|(i, flag)| {
        let given = flags[..i].iter().any(|before| before.fix == flag.fix);
        (flag, (!given).then_some(flag.fix.as_str()))
    })
}

/// A value with the findings made on the way to it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Checked<T> {
    /// The answer.
    pub value: T,
    /// What was found on the way, most severe first.
    pub flags: Vec<Flag>,
}

/// How far a reading can be trusted. The rule, in one place: any flag that stops makes it unreadable; any flag of doubt
/// makes it doubtful; notes leave it trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Act on it as on a careful measurement.
    Trusted,
    /// A number, but with a reason to take the photo again.
    Doubtful,
    /// No number.
    Unreadable,
}

impl Verdict {
    /// The verdict that flags lead to.
    pub fn of(flags: &[Flag]) -> Verdict {
        match flags.iter().map(|f| f.severity).max() {
            Some(Severity::Stop) => Verdict::Unreadable,
            Some(Severity::Doubt) => Verdict::Doubtful,
            Some(Severity::Note) | None => Verdict::Trusted,
        }
    }

    /// The verdict of a word.
    pub fn from_word(word: &str) -> Option<Verdict> {
        [Verdict::Trusted, Verdict::Doubtful, Verdict::Unreadable]
            .into_iter()
            .find(|v| v.word() == word)
    }

    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Trusted => "trusted",
            Verdict::Doubtful => "doubtful",
            Verdict::Unreadable => "unreadable",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn advice_is_given_once() {
        let flags = [("a", "wipe it"), ("b", "turn it"), ("c", "wipe it")]
            .map(|(code, fix)| Flag::new(code, Severity::Note, "seen", fix));
        let given: Vec<_> = advised(&flags)
            .map(|(f, fix)| (f.code.as_str(), fix))
            .collect();
        let expected = [("a", Some("wipe it")), ("b", Some("turn it")), ("c", None)];
        assert_eq!(given, expected);
    }
}
