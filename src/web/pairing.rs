//! Letting a new device in: a word that is good once and for ten minutes.
//!
//! It stands on the computer's screen alone. Guessing it is hopeless: ten characters out of 31 (49 bits), and after five wrong ones
//! everybody waits. Touches no clock: who asks says when.

use jiff::{SignedDuration, Timestamp};
use subtle::ConstantTimeEq;

use crate::error::{Error, Result};

/// How long a word is good.
pub const GOOD_FOR: SignedDuration = SignedDuration::from_mins(10);
/// So many wrong words are borne ...
const WRONG: usize = 5;
/// ... within this time.
const WITHIN: SignedDuration = SignedDuration::from_mins(1);
/// Digits and small letters without those that look alike (0 o, 1 i l).
const LETTERS: &[u8; 31] = b"23456789abcdefghjkmnpqrstuvwxyz";
const LENGTH: usize = 10;

/// Why a word was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refused {
    /// It is another, or too old.
    Wrong,
    /// Too many were wrong; so many seconds to wait.
    Wait(i64),
}

/// The word of the moment.
pub struct Pairing {
    word: String,
    expires: Timestamp,
    /// When the last wrong words were tried.
    wrong: Vec<Timestamp>,
}

impl Pairing {
    /// With a first word.
    ///
    /// # Errors
    /// If the system gives no random numbers.
    pub fn new(now: Timestamp) -> Result<Pairing> {
        Ok(Pairing {
            word: random_word()?,
            expires: now + GOOD_FOR,
            wrong: Vec::new(),
        })
    }

    /// The word as it is shown, `abcde-fghjk`.
    pub fn word(&self) -> String {
        let (a, b) = self.word.split_at(LENGTH / 2);
        format!("{a}-{b}")
    }

    /// A new word, if this one is used up or too old.
    ///
    /// # Errors
    /// If the system gives no random numbers.
    pub fn renew(&mut self, now: Timestamp) -> Result<Option<String>> {
        if now < self.expires {
            return Ok(None);
        }
        self.word = random_word()?;
        self.expires = now + GOOD_FOR;
        Ok(Some(self.word()))
    }

    /// Whether a word is the right one. Case, spaces and hyphens do not matter.
    ///
    /// # Errors
    /// If it is not, or if it is not looked at because too many were wrong.
    pub fn check(&mut self, told: &str, now: Timestamp) -> std::result::Result<(), Refused> {
        self.wrong.retain(|at| now.duration_since(*at) < WITHIN);
        if let (WRONG.., Some(first)) = (self.wrong.len(), self.wrong.first()) {
            let wait = WITHIN - now.duration_since(*first);
            return Err(Refused::Wait(wait.as_secs().max(0) + 1));
        }
        let told: String = told
            .chars()
            .filter(|c| !c.is_whitespace() && *c != '-')
            .flat_map(char::to_lowercase)
            .take(LENGTH + 1)
            .collect();
        let same = bool::from(told.as_bytes().ct_eq(self.word.as_bytes()));
        if same && now < self.expires {
            return Ok(());
        }
        self.wrong.push(now);
        Err(Refused::Wrong)
    }

    /// Makes the word good for nothing: it was used.
    pub fn use_up(&mut self) {
        self.expires = Timestamp::MIN;
    }
}

fn random_word() -> Result<String> {
    let mut word = String::new();
    while word.len() < LENGTH {
        for byte in random::<32>()? {
            // Of the 32 numbers one has no letter: it is left out, so that all letters are equally likely.
            if let (true, Some(letter)) = (word.len() < LENGTH, LETTERS.get(usize::from(byte & 31)))
            {
                word.push(char::from(*letter));
            }
        }
    }
    Ok(word)
}

/// Random bytes from the system.
pub(super) fn random<const N: usize>() -> Result<[u8; N]> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|e| {
        Error::new(
            format!("the system gives no random numbers: {e}"),
            "nobody can be let in without them: restart the system",
        )
    })?;
    Ok(bytes)
}
