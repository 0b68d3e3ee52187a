//! A sample diluted before the test: what was read is multiplied back, and the volumes' uncertainty enters the interval.

use std::str::FromStr;

use crate::reading::Answer;

/// Parts of sample and of water free of the substance, mixed by volume. `1:4` is one part of sample with four parts of
/// water: the reading times five.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dilution {
    sample: f64,
    water: f64,
}

/// Relative standard uncertainty of each volume, measured with a syringe or to the mark of a vial (common practice; a scale
/// does better).
const VOLUME: f64 = 0.02;

/// 95 % of a normal distribution lies within so many standard deviations.
const K95: f64 = 1.96;

impl Dilution {
    /// What a reading is multiplied by.
    pub fn factor(self) -> f64 {
        (self.sample + self.water) / self.sample
    }

    /// Relative standard uncertainty of the factor: `1 + water / sample` with both volumes uncertain (JCGM 100:2008,
    /// equation 10).
    pub fn relative_uncertainty(self) -> f64 {
        let share = self.water / (self.sample + self.water);
        share * VOLUME * 2f64.sqrt()
    }

    /// The answer for the sample as it was before. Half-widths add as squares; a bound gives way by as much.
    pub fn undo(self, answer: Answer) -> Answer {
        let (f, u) = (self.factor(), K95 * self.relative_uncertainty());
        match answer {
            Answer::Value { value, low, high } => Answer::Value {
                value: f * value,
                low: (f * (value - (value - low).hypot(u * value))).max(0.0),
                high: f * (value + (high - value).hypot(u * value)),
            },
            Answer::Below { high } => Answer::Below {
                high: f * high * (1.0 + u),
            },
            Answer::Under { high } => Answer::Under {
                high: f * high * (1.0 + u),
            },
            Answer::Above { low } => Answer::Above {
                low: f * low * (1.0 - u).max(0.0),
            },
            Answer::OffChart => Answer::OffChart,
        }
    }
}

impl FromStr for Dilution {
    type Err = String;

    fn from_str(text: &str) -> Result<Dilution, String> {
        let part = |t: &str| t.trim().parse().ok().filter(|v: &f64| v.is_finite());
        text.split_once(':')
            .and_then(|(a, b)| Some((part(a)?, part(b)?)))
            .filter(|(a, b)| PARTS.contains(a) && (*b == 0.0 || PARTS.contains(b)) && b / a <= MOST)
            .map(|(sample, water)| Dilution { sample, water })
            .ok_or_else(|| {
                format!("give parts of sample and parts of water, such as 1:4 (up to 1:{MOST:.0})")
            })
    }
}

/// Parts that volumes can be measured in.
const PARTS: std::ops::RangeInclusive<f64> = 1e-3..=1e6;
/// More than this is a chain of dilutions, whose uncertainty is another.
const MOST: f64 = 100.0;

#[cfg(test)]
mod tests {
    use super::*;

    fn dilution(text: &str) -> Dilution {
        text.parse().unwrap()
    }

    #[test]
    fn one_part_with_four_is_a_factor_of_five() {
        assert_eq!(dilution("1:4").factor(), 5.0);
        assert_eq!(dilution("5 : 20").factor(), 5.0);
        assert_eq!(dilution("1:0").factor(), 1.0);
        for bad in ["4", "0:4", "1:-1", "a:b", "1:4:2", "1:inf", "1:1000"] {
            assert!(bad.parse::<Dilution>().is_err(), "{bad}");
        }
    }

    /// By hand: 10 (9 to 11) diluted 1:1 is 20; volumes of 2 % each make 1.41 % in the factor, 2.77 % at 95 %; so
    /// +-2 x hypot(1, 0.277) = 2.075.
    #[test]
    fn volumes_widen_the_interval() {
        let answer = Answer::Value {
            value: 10.0,
            low: 9.0,
            high: 11.0,
        };
        let Answer::Value { value, low, high } = dilution("1:1").undo(answer) else {
            panic!("a value stays one");
        };
        assert_eq!(value, 20.0);
        assert!(
            (low - 17.925).abs() < 0.001 && (high - 22.075).abs() < 0.001,
            "{low} {high}"
        );
    }

    #[test]
    fn none_leaves_everything() {
        let answer = Answer::Above { low: 40.0 };
        assert_eq!(dilution("1:0").undo(answer.clone()), answer);
    }
}
