//! Numbers with as many digits as they bear.
//!
//! Science: two significant digits of an uncertainty, and the value rounded to the same place (JCGM 100:2008, 7.2.6).

/// Decimals at which `half_width` has two significant digits; negative for tens and hundreds. Two decimals if the half
/// width is not a positive number.
pub fn decimals(half_width: f64) -> i32 {
    exponent(half_width).map_or(2, |e| (1 - e).min(MOST_DECIMALS))
}

/// Concentrations finer than this are below every colour test; it keeps a vanishing interval readable.
const MOST_DECIMALS: i32 = 6;

/// Power of ten of the first digit, once rounded to two digits.
fn exponent(v: f64) -> Option<i32> {
    (v.is_finite() && v > 0.0).then(|| {
        format!("{v:.1e}")
            .split_once('e')
            .and_then(|(_, e)| e.parse().ok())
    })?
}

/// A number at the given decimals; negative ones round to tens, hundreds and so on.
pub fn to_decimals(v: f64, decimals: i32) -> String {
    match usize::try_from(decimals) {
        Ok(places) => format!("{v:.places$}"),
        Err(_) => {
            let grain = 10f64.powi(-decimals);
            format!("{:.0}", (v / grain).round() * grain)
        }
    }
}

/// An upper bound with two significant digits, rounded up so that it still is one.
pub fn rounded_up(v: f64) -> String {
    let Some(e) = exponent(v) else {
        return v.to_string();
    };
    let d = (1 - e).min(MOST_DECIMALS);
    let grain = 10f64.powi(-d);
    // What is a hair above a grain by binary rounding is that grain.
    to_decimals((v / grain - 1e-9).ceil() * grain, d)
}

/// A lower bound with two significant digits, rounded down so that it still is one.
pub fn rounded_down(v: f64) -> String {
    let Some(e) = exponent(v) else {
        return v.to_string();
    };
    let d = (1 - e).min(MOST_DECIMALS);
    let grain = 10f64.powi(-d);
    to_decimals((v / grain + 1e-9).floor() * grain, d)
}

/// At most six significant digits, for machines: more than any reading bears.
pub fn six(v: f64) -> f64 {
    format!("{v:.5e}").parse().unwrap_or(v)
}

/// A number as a person wrote it, or with six digits if it was computed.
pub fn plain(v: f64) -> String {
    six(v).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_upper_bound_stays_one() {
        for (v, text) in [
            (0.3112, "0.32"),
            (0.31, "0.31"),
            (3.99, "4.0"),
            (1234.0, "1300"),
            (9.96, "10"),
            (0.0, "0"),
        ] {
            assert_eq!(rounded_up(v), text, "{v}");
        }
    }

    #[test]
    fn a_lower_bound_stays_one() {
        for (v, text) in [
            (0.3112, "0.31"),
            (40.0, "40"),
            (3.99, "3.9"),
            (1299.0, "1200"),
        ] {
            assert_eq!(rounded_down(v), text, "{v}");
        }
    }

    #[test]
    fn six_digits_for_machines() {
        assert_eq!(six(12.345_678_9), 12.3457);
        assert_eq!(six(0.0), 0.0);
    }
}
