//! What a calibration can detect: the critical value, the detection limit and the quantification limit.
//!
//! Below the critical value a reading is not told apart from a blank. The detection limit is the least true value whose
//! reading will, but for a small chance, lie above the critical value. From the quantification limit on a single reading is
//! good to about 10 %. A reading below its critical value is "below the detection limit", never a zero.
//!
//! Science: Currie (1995) Pure Appl. Chem. 67(10):1699-1723, doi:10.1351/pac199567101699; ISO 11843-2:2000 for the straight line;
//! (formulas of both from memory, the texts were not at hand); the noncentral t distribution by the series of Lenth (1989) Applied Statistics 38(1):185-189, algorithm AS 243.

use statrs::distribution::{ContinuousCDF, Normal};
use statrs::function::{beta::beta_reg, gamma::ln_gamma};

use super::line::{Line, student_t};
use crate::error::{Error, Result};

/// The chances of error that one accepts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Risks {
    /// That a blank is taken for a detection, 0.001..=0.5.
    pub false_alarm: f64,
    /// That a sample at the detection limit is missed, 0.001..=0.5.
    pub miss: f64,
}

/// 5 % each, as Currie 1995 and ISO 11843 recommend.
impl Default for Risks {
    fn default() -> Self {
        Risks {
            false_alarm: 0.05,
            miss: 0.05,
        }
    }
}

/// How well the standard deviation of a blank reading is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scatter {
    /// From long experience: the normal distribution applies.
    Known(f64),
    /// Estimated, with so many degrees of freedom (at least 1): Student's t applies.
    Estimated {
        /// Standard deviation of one reading.
        sd: f64,
        /// Degrees of freedom of the estimate.
        freedom: f64,
    },
}

/// Limits of a test, in the unit of its values, as distances from the value of the blank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// A reading up to this is not told apart from a blank.
    pub critical: f64,
    /// The least true value that is detected but for the accepted chance of a miss.
    pub detection: f64,
    /// The value at which the relative standard deviation of a reading is 10 %: ten times the standard deviation.
    pub quantification: f64,
}

/// Limits of one reading against a blank.
///
/// `slope` is the signal per unit of value near the blank; its sign does not matter. `blank_readings` is the number of blank
/// readings whose mean is subtracted: 1 for a paired blank, `None` for a blank that is known well.
///
/// # Errors
/// A standard deviation, slope, freedom or number of blanks that is not above 0 and finite; risks outside 0.001..=0.5.
pub fn against_blank(
    scatter: Scatter,
    blank_readings: Option<u32>,
    slope: f64,
    risks: Risks,
) -> Result<Limits> {
    let (sd, freedom) = match scatter {
        Scatter::Known(sd) => (sd, None),
        Scatter::Estimated { sd, freedom } => (sd, Some(freedom)),
    };
    let usable = |v: f64| v.is_finite() && v > 0.0;
    if !(usable(sd) && usable(slope.abs()) && freedom.is_none_or(|f| f.is_finite() && f >= 1.0)) {
        return Err(Error::new(
            format!(
                "limits were asked for with standard deviation {sd}, slope {slope}, degrees of freedom {freedom:?}"
            ),
            "give a standard deviation above 0, a slope other than 0 and at least 1 degree of freedom",
        ));
    }
    if blank_readings == Some(0) {
        return Err(Error::new(
            "limits were asked for against the mean of 0 blanks",
            "read at least one blank",
        ));
    }
    let difference = (1.0 + blank_readings.map_or(0.0, |n| 1.0 / f64::from(n))).sqrt();
    limits(sd / slope.abs(), difference, freedom, risks)
}

/// Limits by a calibration line whose blank lies at value 0 (ISO 11843-2), for a sample that is read `readings` times.
///
/// Of a weighted line they hold for readings of weight 1.
///
/// # Errors
/// No reading, a level line or one without scatter; risks outside 0.001..=0.5.
pub fn of_line(line: &Line, readings: u32, risks: Risks) -> Result<Limits> {
    if readings == 0 || line.slope == 0.0 || line.residual_sd == 0.0 {
        return Err(Error::new(
            format!(
                "limits of {readings} readings by a line of slope {}, scatter {}",
                line.slope, line.residual_sd
            ),
            "a line with a slope and some scatter is needed, and at least one reading",
        ));
    }
    let spread =
        1.0 / f64::from(readings) + 1.0 / line.points as f64 + line.mean_x.powi(2) / line.sxx;
    limits(
        line.residual_sd / line.slope.abs(),
        spread.sqrt(),
        Some(line.freedom()),
        risks,
    )
}

/// `sd` of one reading in the unit of the value; `difference` times it is that of a reading less its blank.
fn limits(sd: f64, difference: f64, freedom: Option<f64>, risks: Risks) -> Result<Limits> {
    let (critical, detection) = match freedom {
        None => {
            check(risks)?;
            let normal = Normal::standard();
            let critical = normal.inverse_cdf(1.0 - risks.false_alarm);
            (critical, critical + normal.inverse_cdf(1.0 - risks.miss))
        }
        Some(freedom) => (
            student_t(freedom).inverse_cdf(1.0 - risks.false_alarm),
            noncentrality(freedom, risks)?,
        ),
    };
    Ok(Limits {
        critical: critical * difference * sd,
        detection: detection * difference * sd,
        quantification: QUANTIFICATION * sd,
    })
}

/// Currie 1995: a relative standard deviation of 10 %.
const QUANTIFICATION: f64 = 10.0;

fn check(risks: Risks) -> Result<()> {
    for (name, risk) in [("false alarm", risks.false_alarm), ("miss", risks.miss)] {
        if !(0.001..=0.5).contains(&risk) {
            return Err(Error::new(
                format!("the accepted chance of a {name} is {risk}"),
                "choose between 0.001 and 0.5; 0.05 is usual",
            ));
        }
    }
    Ok(())
}

/// Detection limit over the standard deviation of a difference, when that is estimated with `freedom` degrees of freedom
/// (at least 1): the noncentrality of a t variable that falls below the critical value with the chance of a miss.
///
/// # Errors
/// Fewer than 1 degree of freedom; risks outside 0.001..=0.5.
pub fn noncentrality(freedom: f64, risks: Risks) -> Result<f64> {
    check(risks)?;
    if !(freedom.is_finite() && freedom >= 1.0) {
        return Err(Error::new(
            format!("a detection limit was asked for with {freedom} degrees of freedom"),
            "read at least two blanks or three standards",
        ));
    }
    let critical = student_t(freedom).inverse_cdf(1.0 - risks.false_alarm);
    // The chance falls as the noncentrality grows. At 0 it is 1 - false alarm, not less than any miss allowed.
    let (mut low, mut high) = (0.0, 2.0 * critical + 4.0);
    while noncentral_t_cdf(critical, freedom, high) > risks.miss {
        (low, high) = (high, 2.0 * high);
    }
    while high - low > 1e-12 * high {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if noncentral_t_cdf(critical, freedom, middle) > risks.miss {
            low = middle
        } else {
            high = middle
        }
    }
    Ok(0.5 * (low + high))
}

/// P(T <= t) of the noncentral t distribution, for `t` >= 0 and `delta` >= 0.
fn noncentral_t_cdf(t: f64, freedom: f64, delta: f64) -> f64 {
    let mean = 0.5 * delta * delta;
    let below_zero = Normal::standard().cdf(-delta);
    if t == 0.0 {
        return below_zero;
    }
    if mean == 0.0 {
        return student_t(freedom).cdf(t);
    }
    let x = t * t / (t * t + freedom);
    // The terms are Poisson weights: beyond 9 standard deviations they are below 1e-18.
    let reach = 9.0 * mean.sqrt() + 30.0;
    let (first, last) = ((mean - reach).max(0.0).floor(), (mean + reach).ceil());
    let ln_mean = mean.ln();
    let series: f64 = (first as u32..=last as u32)
        .map(f64::from)
        .map(|j| {
            let even = (j * ln_mean - mean - ln_gamma(j + 1.0)).exp();
            let odd =
                (j * ln_mean - mean - ln_gamma(j + 1.5)).exp() * delta / std::f64::consts::SQRT_2;
            even * beta_reg(j + 0.5, 0.5 * freedom, x) + odd * beta_reg(j + 1.0, 0.5 * freedom, x)
        })
        .sum();
    below_zero + 0.5 * series
}

#[cfg(test)]
mod tests {
    use super::*;

    fn says(result: Result<Limits>, text: &str) {
        let error = result.expect_err(text).to_string();
        assert!(error.contains(text), "{error}");
    }

    #[test]
    fn what_has_no_limit_is_an_error() {
        let risks = Risks::default();
        says(
            against_blank(Scatter::Known(0.0), None, 1.0, risks),
            "standard deviation 0",
        );
        says(
            against_blank(Scatter::Known(0.1), None, 0.0, risks),
            "slope 0",
        );
        says(
            against_blank(Scatter::Known(0.1), Some(0), 1.0, risks),
            "0 blanks",
        );
        says(
            against_blank(
                Scatter::Estimated {
                    sd: 0.1,
                    freedom: 0.0,
                },
                None,
                1.0,
                risks,
            ),
            "degrees of freedom Some(0.0)",
        );
        says(
            against_blank(Scatter::Known(0.1), None, 1.0, Risks { miss: 0.0, ..risks }),
            "chance of a miss is 0",
        );
        let exact = Line::fit(&[0.0, 1.0, 2.0], &[0.0, 1.0, 2.0]).unwrap();
        says(of_line(&exact, 1, risks), "scatter 0");
    }

    /// The less is known of the scatter, the larger the limits; the fewer risks one takes, too. Both ends of the allowed range
    /// give an answer.
    #[test]
    fn ignorance_and_caution_raise_the_limit() {
        let delta = |freedom: f64, risk: f64| {
            noncentrality(
                freedom,
                Risks {
                    false_alarm: risk,
                    miss: risk,
                },
            )
            .unwrap()
        };
        let mut last = f64::INFINITY;
        for freedom in [1.0, 2.0, 5.0, 50.0, 5000.0] {
            let now = delta(freedom, 0.05);
            assert!(now < last, "freedom {freedom}: {now} after {last}");
            assert!(delta(freedom, 0.001) > now, "freedom {freedom}");
            last = now;
        }
        assert!(delta(3.0, 0.5) >= 0.0);
    }
}
