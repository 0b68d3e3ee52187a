//! Numbers of the command line and of results: what is given with a plus-minus, what comes out with a 95 % interval.

use serde::{Serialize, Serializer};

use crate::error::Error;
use crate::reading::{Answer, is_ph};
use crate::report::number::{plain, six};
use crate::report::words;
use crate::water::Estimate;

/// A plus-minus is half of the 95 % interval of a normal distribution: so many standard uncertainties.
pub(crate) const GIVEN: f64 = 1.96;
/// Half of a result's interval in standard uncertainties: coverage of about 95 % (JCGM 100:2008, 6.3.3).
pub(crate) const K: f64 = 2.0;

/// A value with its 95 % interval; without one if nothing is known of how far off it is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub(crate) struct Figure {
    #[serde(serialize_with = "short")]
    pub(crate) value: f64,
    #[serde(serialize_with = "short_if_known")]
    pub(crate) low: Option<f64>,
    #[serde(serialize_with = "short_if_known")]
    pub(crate) high: Option<f64>,
}

/// For machines: six significant digits.
pub(crate) fn short<S: Serializer>(v: &f64, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_f64(six(*v))
}

pub(crate) fn short_if_known<S: Serializer>(v: &Option<f64>, to: S) -> Result<S::Ok, S::Error> {
    v.map(six).serialize(to)
}

impl Figure {
    pub(crate) fn exact(value: f64) -> Figure {
        Figure {
            value,
            low: None,
            high: None,
        }
    }

    pub(crate) fn between(value: f64, low: f64, high: f64) -> Figure {
        Figure {
            value,
            low: Some(low),
            high: Some(high),
        }
    }

    /// A result that cannot be below zero.
    pub(crate) fn of(e: Estimate) -> Figure {
        if e.u > 0.0 {
            let half = K * e.u;
            Figure::between(e.value, (e.value - half).max(0.0), e.value + half)
        } else {
            Figure::exact(e.value)
        }
    }

    /// A share of 0 to 1 as per cent, with an interval that was found for it.
    pub(crate) fn percent_between(share: Estimate, (low, high): (f64, f64)) -> Figure {
        match share.u > 0.0 {
            true => Figure::between(100.0 * share.value, 100.0 * low, 100.0 * high),
            false => Figure::exact(100.0 * share.value),
        }
    }

    /// What was given, as it was given.
    pub(crate) fn given(value: f64, plus_minus: Option<f64>) -> Figure {
        match plus_minus {
            Some(half) if half > 0.0 => {
                Figure::between(value, (value - half).max(0.0), value + half)
            }
            _ => Figure::exact(value),
        }
    }

    /// The same of per cent of a whole, which are at most 100.
    pub(crate) fn given_percent(value: f64, plus_minus: Option<f64>) -> Figure {
        let figure = Figure::given(value, plus_minus);
        Figure {
            high: figure.high.map(|v| v.min(100.0)),
            ..figure
        }
    }

    pub(crate) fn times(self, by: f64) -> Figure {
        Figure {
            value: self.value * by,
            low: self.low.map(|v| v * by),
            high: self.high.map(|v| v * by),
        }
    }

    /// `20.0 mg/L (17.1 to 22.9)`.
    pub(crate) fn words(self, unit: &str) -> String {
        let (value, interval) = self.parts(unit);
        match interval {
            Some(interval) => format!("{value} ({interval})"),
            None => value,
        }
    }

    /// Value with unit, and the interval.
    pub(crate) fn parts(self, unit: &str) -> (String, Option<String>) {
        match self {
            Figure {
                value,
                low: Some(low),
                high: Some(high),
            } => {
                let w = words(&Answer::Value { value, low, high }, unit);
                (w.value.trim_end().to_owned(), w.interval)
            }
            Figure { value, .. } => (
                format!("{} {unit}", plain(value)).trim_end().to_owned(),
                None,
            ),
        }
    }
}

/// Four significant digits, for what has no interval to tell how many it bears.
pub(crate) fn four(v: f64) -> f64 {
    format!("{v:.3e}").parse().unwrap_or(v)
}

/// A value with a plus-minus, which is half of a 95 % interval.
pub(crate) fn estimate(value: f64, plus_minus: Option<f64>) -> Estimate {
    Estimate::new(value, plus_minus.unwrap_or(0.0) / GIVEN)
}

/// More than any concentration, volume or mass that is planned with; a number beyond it is a slip.
const MOST: f64 = 1e12;

/// A practical salinity of the command line. Sea water has a specific gravity of 1.02 or so, which many hydrometers show in its place.
pub(crate) fn salinity(text: &str) -> Result<f64, String> {
    let v = amount(text)?;
    if (1.005..1.045).contains(&v) {
        return Err(format!(
            "{v} looks like a specific gravity: give the practical salinity (35 or so in the sea, where a hydrometer shows about 1.026)"
        ));
    }
    Ok(v)
}

/// A number of the command line.
pub(crate) fn number(text: &str) -> Result<f64, String> {
    let v: f64 = text.trim().parse().map_err(|_| {
        if text.contains(',') {
            "write a decimal point, not a comma".to_owned()
        } else {
            "this is no number".to_owned()
        }
    })?;
    if v.abs() <= MOST {
        Ok(v)
    } else {
        Err(format!("it has to be a number up to {MOST:e}"))
    }
}

/// An amount: 0 or more.
pub(crate) fn amount(text: &str) -> Result<f64, String> {
    number(text).and_then(|v| {
        (v >= 0.0)
            .then_some(v)
            .ok_or_else(|| "it cannot be below 0".to_owned())
    })
}

/// More than nothing.
pub(crate) fn some(text: &str) -> Result<f64, String> {
    number(text).and_then(|v| {
        (v > 0.0)
            .then_some(v)
            .ok_or_else(|| "it has to be above 0".to_owned())
    })
}

/// Per cent of a whole, as a person writes it: a quarter is 25.
pub(crate) fn percent(text: &str) -> Result<f64, String> {
    number(text.trim_end_matches(['%', ' '])).and_then(|v| {
        (v > 0.0 && v <= 100.0)
            .then_some(v)
            .ok_or_else(|| "it has to be above 0 and at most 100 (a quarter is 25)".to_owned())
    })
}

/// Refuses the unit that does not mix by shares.
pub(crate) fn mixes(unit: &str) -> Result<(), Error> {
    if is_ph(unit) {
        return Err(Error::new(
            "a pH does not mix by shares: it is a logarithm, and what buffers the water moves it",
            "ask only for what is dissolved, in mg/L and the like",
        ));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_result_shows_two_digits_of_its_interval() {
        let f = Figure::of(Estimate::new(20.04, 1.5));
        assert_eq!(f.words("mg/L"), "20.0 mg/L (17.0 to 23.0)");
        assert_eq!(Figure::of(Estimate::new(1.0, 3.0)).low, Some(0.0));
        let share = Figure::percent_between(Estimate::new(0.85, 0.04), (0.7, 0.9));
        assert_eq!(share.words("%"), "85 % (70 to 90)");
        assert_eq!(Figure::exact(25.0).words("%"), "25 %");
    }

    #[test]
    fn numbers_of_the_command_line() {
        assert_eq!(percent("25 %"), Ok(25.0));
        assert_eq!(amount("0"), Ok(0.0));
        for bad in ["0", "101", "-1", "nan", "inf", "1e300", "2,5", ""] {
            assert!(percent(bad).is_err(), "{bad}");
        }
    }
}
