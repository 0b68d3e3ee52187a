//! Straight-line calibration and its inverse: the value at which a reading was most likely made, and how well that is known.
//!
//! For signals that are straight in the value over the range in question; a chart that bends goes through its curve.
//! Scatter is taken to lie in the signal y, the values x to be exact. Units: x in the unit of the chart, y in that of the signal.
//!
//! Science: Miller & Miller, Statistics and Chemometrics for Analytical Chemistry, chapter 5 (straight line, ordinary and
//! weighted, inverse prediction); Fieller (1954) J. R. Stat. Soc. B 16(2):175-185 and Graybill & Iyer (1994) Regression Analysis,
//! chapter 6 (exact interval, replicate readings).

use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::error::{Error, Result};

/// A straight line y = intercept + slope x fitted by least squares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Signal per unit of value.
    pub slope: f64,
    /// Signal at value 0.
    pub intercept: f64,
    /// Number of points.
    pub points: usize,
    /// Weighted mean of the values.
    pub mean_x: f64,
    /// Weighted mean of the signals.
    pub mean_y: f64,
    /// Weighted sum of squares of the values about their mean.
    pub sxx: f64,
    /// Standard deviation of a signal of weight 1 about the line (s_y/x).
    pub residual_sd: f64,
    /// Mean of the points' 1/sd², the precision that has weight 1; `None` for a line fitted without weights.
    mean_precision: Option<f64>,
}

/// What is known of the signal of an unknown sample.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Response<'a> {
    /// Single readings of the sample, each of weight 1. With more than one their own scatter joins that of the line.
    Readings(&'a [f64]),
    /// A reading whose weight is known: the number of readings behind a mean, or [`Line::weight_of`] its standard deviation.
    Weighted {
        /// The reading, or the mean of several.
        signal: f64,
        /// Its weight, above 0.
        weight: f64,
    },
    /// The true mean signal, without scatter of its own: where does the line itself reach it?
    Mean(f64),
}

/// A value read back from a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inverse {
    /// The value x.
    pub value: f64,
    /// Its standard error, to first order.
    pub standard_error: f64,
    /// Degrees of freedom of the scatter.
    pub freedom: f64,
    /// Interval value ± t times the standard error (Miller & Miller). Good while `g` is small, below about 0.05.
    pub symmetric: (f64, f64),
    /// Fieller's interval, exact for normal scatter and not symmetric. `None` where `g` is 1 or more: the slope is not
    /// told apart from 0 and no finite interval holds the value.
    pub fieller: Option<(f64, f64)>,
    /// t² times the relative variance of the slope.
    pub g: f64,
}

impl Line {
    /// The ordinary line through points of equal scatter.
    ///
    /// # Errors
    /// Fewer than three points, lists of different length, values that are not finite, or all `x` the same.
    pub fn fit(x: &[f64], y: &[f64]) -> Result<Line> {
        Line::weighted(x, y, &vec![1.0; x.len()], None)
    }

    /// The weighted line through points whose scatter differs: `sd` is the standard deviation of each `y`. Weights are
    /// 1/sd², scaled to a mean of 1.
    ///
    /// # Errors
    /// As for [`Line::fit`], and an `sd` that is not above 0.
    pub fn fit_weighted(x: &[f64], y: &[f64], sd: &[f64]) -> Result<Line> {
        if sd.len() != x.len() {
            return Err(Error::new(
                format!(
                    "a line got {} values and {} standard deviations",
                    x.len(),
                    sd.len()
                ),
                "give one standard deviation for each value",
            ));
        }
        if let Some(bad) = sd.iter().find(|s| !(s.is_finite() && **s > 0.0)) {
            return Err(Error::new(
                format!("a weighted line got the standard deviation {bad}"),
                "give standard deviations above 0; without them fit the ordinary line",
            ));
        }
        let precision: Vec<f64> = sd.iter().map(|s| s.powi(-2)).collect();
        let mean = precision.iter().sum::<f64>() / precision.len() as f64;
        let weights: Vec<f64> = precision.iter().map(|p| p / mean).collect();
        Line::weighted(x, y, &weights, Some(mean))
    }

    /// `weights` have a mean of 1.
    fn weighted(
        x: &[f64],
        y: &[f64],
        weights: &[f64],
        mean_precision: Option<f64>,
    ) -> Result<Line> {
        if x.len() != y.len() || x.len() < 3 {
            return Err(Error::new(
                format!("a line got {} values and {} signals", x.len(), y.len()),
                "give at least three points, each with a value and a signal",
            ));
        }
        if let Some(i) = (0..x.len()).find(|i| !(x[*i].is_finite() && y[*i].is_finite())) {
            return Err(Error::new(
                format!("point {} of a line is ({}, {})", i + 1, x[i], y[i]),
                "leave out points that are not known",
            ));
        }
        let n = x.len() as f64;
        let sum =
            |term: &dyn Fn(usize) -> f64| (0..x.len()).map(|i| weights[i] * term(i)).sum::<f64>();
        let (mean_x, mean_y) = (sum(&|i| x[i]) / n, sum(&|i| y[i]) / n);
        let sxx = sum(&|i| (x[i] - mean_x).powi(2));
        if x.iter().all(|v| *v == x[0]) {
            return Err(Error::new(
                format!("all points of a line have the value {}", x[0]),
                "give points at two values or more",
            ));
        }
        let slope = sum(&|i| (x[i] - mean_x) * (y[i] - mean_y)) / sxx;
        let intercept = mean_y - slope * mean_x;
        let rss = sum(&|i| (y[i] - intercept - slope * x[i]).powi(2));
        let residual_sd = (rss / (n - 2.0)).sqrt();
        Ok(Line {
            slope,
            intercept,
            points: x.len(),
            mean_x,
            mean_y,
            sxx,
            residual_sd,
            mean_precision,
        })
    }

    /// Standard error of the slope.
    pub fn slope_error(&self) -> f64 {
        self.residual_sd / self.sxx.sqrt()
    }

    /// Standard error of the intercept.
    pub fn intercept_error(&self) -> f64 {
        self.residual_sd * (1.0 / self.points as f64 + self.mean_x.powi(2) / self.sxx).sqrt()
    }

    /// Degrees of freedom of the scatter: points less 2.
    pub fn freedom(&self) -> f64 {
        self.points as f64 - 2.0
    }

    /// Weight of a signal of standard deviation `sd` on a weighted line; `None` on an ordinary line, which does not know
    /// the scatter of its points one by one.
    pub fn weight_of(&self, sd: f64) -> Option<f64> {
        self.mean_precision.map(|mean| sd.powi(-2) / mean)
    }

    /// The value at which `response` was read, with its intervals at `level` (for example 0.95).
    ///
    /// # Errors
    /// A level outside 0..1 (both excluded), no reading or one that is not finite, a weight not above 0, or a level line.
    pub fn invert(&self, response: Response, level: f64) -> Result<Inverse> {
        if !(level > 0.0 && level < 1.0) {
            return Err(Error::new(
                format!("an interval of level {level} was asked for"),
                "give a level between 0 and 1, for example 0.95",
            ));
        }
        if self.slope == 0.0 {
            return Err(Error::new(
                "the signal does not change along the line, so no value can be read from it",
                "calibrate where the signal changes",
            ));
        }
        let Spread {
            signal,
            spread,
            variance,
            freedom,
        } = self.spread(response)?;
        let t = student_t(freedom).inverse_cdf(0.5 * (1.0 + level));
        let (b, away, sd) = (self.slope, signal - self.mean_y, variance.sqrt());
        let k = spread + 1.0 / self.points as f64;

        let value = (signal - self.intercept) / b;
        let standard_error = sd / b.abs() * (k + away.powi(2) / (b.powi(2) * self.sxx)).sqrt();
        let q = b.powi(2) - t.powi(2) * variance / self.sxx;
        let fieller = (q > 0.0).then(|| {
            let centre = self.mean_x + b * away / q;
            let half = t * sd / q * (k * q + away.powi(2) / self.sxx).sqrt();
            (centre - half, centre + half)
        });
        Ok(Inverse {
            value,
            standard_error,
            freedom,
            symmetric: (value - t * standard_error, value + t * standard_error),
            fieller,
            g: 1.0 - q / b.powi(2),
        })
    }

    fn spread(&self, response: Response) -> Result<Spread> {
        let of_line = |signal: f64, spread: f64| Spread {
            signal,
            spread,
            variance: self.residual_sd.powi(2),
            freedom: self.freedom(),
        };
        let spread = match response {
            Response::Mean(signal) => of_line(signal, 0.0),
            Response::Weighted { signal, weight } if weight > 0.0 => of_line(signal, 1.0 / weight),
            Response::Weighted { weight, .. } => {
                return Err(Error::new(
                    format!("a reading of weight {weight} was to be read from a line"),
                    "give a weight above 0",
                ));
            }
            Response::Readings([]) => {
                return Err(Error::new(
                    "no reading was to be read from a line",
                    "give at least one reading",
                ));
            }
            Response::Readings(readings) => {
                let m = readings.len() as f64;
                let mean = readings.iter().sum::<f64>() / m;
                let within: f64 = readings.iter().map(|y| (y - mean).powi(2)).sum();
                let line = of_line(mean, 1.0 / m);
                let freedom = line.freedom + m - 1.0;
                Spread {
                    variance: (line.variance * line.freedom + within) / freedom,
                    freedom,
                    ..line
                }
            }
        };
        if !spread.signal.is_finite() {
            return Err(Error::new(
                format!("the signal {} was to be read from a line", spread.signal),
                "leave out readings that are not known",
            ));
        }
        Ok(spread)
    }
}

/// A response in numbers.
struct Spread {
    signal: f64,
    /// Variance of the signal in units of `variance`.
    spread: f64,
    /// Variance of a signal of weight 1, and its degrees of freedom.
    variance: f64,
    freedom: f64,
}

/// Student's t with `freedom` above 0.
pub(super) fn student_t(freedom: f64) -> StudentsT {
    StudentsT::new(0.0, 1.0, freedom).expect("a positive number of degrees of freedom")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn says<T: std::fmt::Debug>(result: Result<T>, text: &str) {
        let error = result.expect_err(text).to_string();
        assert!(error.contains(text), "{error}");
    }

    #[test]
    fn what_is_no_line_is_an_error() {
        says(Line::fit(&[1.0, 2.0], &[1.0, 2.0]), "at least three points");
        says(
            Line::fit(&[1.0, 2.0, 3.0], &[1.0, 2.0]),
            "3 values and 2 signals",
        );
        says(
            Line::fit(&[0.1; 4], &[1.0, 2.0, 3.0, 4.0]),
            "all points of a line have the value 0.1",
        );
        says(
            Line::fit(&[1.0, 2.0, 3.0], &[1.0, f64::INFINITY, 3.0]),
            "point 2",
        );
        says(
            Line::fit_weighted(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0], &[0.1, 0.0, 0.1]),
            "standard deviation 0",
        );
        says(
            Line::fit_weighted(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0], &[0.1]),
            "1 standard deviations",
        );
    }

    #[test]
    fn what_cannot_be_read_back_is_an_error() {
        let line = Line::fit(&[0.0, 1.0, 2.0, 3.0], &[0.0, 1.1, 1.9, 3.0]).unwrap();
        says(line.invert(Response::Mean(1.0), 1.0), "level 1");
        says(line.invert(Response::Mean(f64::NAN), 0.95), "signal NaN");
        says(line.invert(Response::Readings(&[]), 0.95), "no reading");
        says(
            line.invert(
                Response::Weighted {
                    signal: 1.0,
                    weight: 0.0,
                },
                0.95,
            ),
            "weight 0",
        );
        let level = Line::fit(&[0.0, 1.0, 2.0], &[5.0; 3]).unwrap();
        says(level.invert(Response::Mean(5.0), 0.95), "does not change");
    }

    /// A falling signal is as good as a rising one.
    #[test]
    fn mirrored_signals_give_the_same_value() {
        let (x, y) = ([0.0, 1.0, 2.0, 4.0], [0.1, 1.0, 2.2, 3.9]);
        let up = Line::fit(&x, &y)
            .unwrap()
            .invert(Response::Readings(&[1.5]), 0.9)
            .unwrap();
        let down = Line::fit(&x, &y.map(|v| -v))
            .unwrap()
            .invert(Response::Readings(&[-1.5]), 0.9)
            .unwrap();
        assert!((up.value - down.value).abs() < 1e-12);
        assert!((up.standard_error - down.standard_error).abs() < 1e-12);
        let (up, down) = (up.fieller.unwrap(), down.fieller.unwrap());
        assert!(
            (up.0 - down.0).abs() < 1e-12 && (up.1 - down.1).abs() < 1e-12,
            "{up:?} {down:?}"
        );
    }

    proptest! {
        /// More noise never narrows the interval: the same residuals, larger.
        #[test]
        fn noise_never_narrows(
            residuals in prop::collection::vec(-0.2..0.2f64, 6), more in 1.0..3.0f64, signal in 0.0..5.0f64,
        ) {
            let x = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0];
            let fitted = |scale: f64| {
                // Residuals freed of their own straight part, so that only the scatter changes.
                let own = Line::fit(&x, &residuals).unwrap();
                let y: Vec<f64> = (0..6)
                    .map(|i| x[i] + scale * (residuals[i] - own.intercept - own.slope * x[i]))
                    .collect();
                Line::fit(&x, &y).unwrap().invert(Response::Weighted { signal, weight: 1.0 }, 0.95).unwrap()
            };
            let width = |inverse: Inverse| inverse.fieller.map_or(f64::INFINITY, |(low, high)| high - low);
            prop_assert!(width(fitted(more)) >= width(fitted(1.0)) - 1e-12);
        }
    }
}
