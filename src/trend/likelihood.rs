//! A linear model of readings with their own uncertainties, a scatter of the water on top, and readings beyond a limit.
//!
//! Each reading has the variance u² + tau². A value counts with the normal density, a reading beyond a limit with the
//! probability of lying there. For one tau this is concave in the coefficients, so Newton's steps find the one maximum; tau
//! is then sought over the whole range that the readings allow. Never replaces a limit by a number.
//!
//! Science: Tobin (1958) Econometrica 26(1):24-36 for the likelihood; Patterson & Thompson (1971) Biometrika 58(3):545-554
//! for the restricted likelihood that does not take tau too small, Cox & Reid (1987) J. R. Stat. Soc. B 49(1):1-39 for the
//! same where readings are censored; Kish (1965) *Survey Sampling* for how many full readings weighted ones are worth;
//! [`freedom`] for intervals.

pub mod freedom;

use std::f64::consts::PI;

use libm::erfc;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::{AS_KNOWN, Point, Seen, check};
use crate::error::{Error, Result};

/// What to do about the scatter of the water, a standard deviation in the unit of the readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tau {
    /// It is known.
    Fixed(f64),
    /// Take the most likely one; too small where readings are few.
    Likelihood,
    /// Take the most likely one with the coefficients integrated out.
    Restricted,
}

/// What fits best.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// One for each column of the design.
    pub coefficients: DVector<f64>,
    /// Their covariance, by the observed information; what is not known of tau is in it.
    pub covariance: DMatrix<f64>,
    /// Standard deviation of the water beyond the uncertainties of the readings; 0 if those explain all.
    pub tau: f64,
    /// Log-likelihood at the coefficients and tau (not the restricted one).
    pub log_likelihood: f64,
    /// Degrees of freedom for intervals (Student's t), at most [`AS_KNOWN`]. Where the readings scatter more than their
    /// uncertainties explain: their worth less the coefficients. Where they do not: more, see [`freedom`]. Where
    /// tau is given: [`AS_KNOWN`].
    pub freedom: f64,
}

/// Degrees of freedom at or below which there are none: what rounding of weights leaves.
const NO_FREEDOM: f64 = 1e-9;
/// Places looked at between the least and the greatest tau, evenly on a log scale: neighbours are about 1.25-fold apart. The
/// likelihood of a scale from n readings is about 1 / sqrt(2 n) wide, a quarter for 8; one that is narrower still rises from
/// both sides, so the best place is beside its top.
const PLACES: usize = 80;
/// Least tau looked at besides 0, and greatest, in units of the range of the readings. Less than a millionth of the range is
/// nothing beside any uncertainty; residuals of values call for at most one range (times the square root of the readings over
/// the degrees of freedom), and ten leave room for readings beyond a limit.
const LEAST: f64 = 1e-6;
const GREATEST: f64 = 10.0;
/// Golden-section steps: shrink a bracket of 1.6-fold to where rounding hides the maximum (about 1e-8).
const SECTIONS: usize = 40;
/// Newton's steps for the coefficients. Each one near the end doubles the digits; far from it the halving of steps makes
/// headway with each one.
const MOST_STEPS: usize = 100;
/// Newton decrement at which the coefficients are within 1e-10 of a standard error.
const ENOUGH: f64 = 1e-20;
/// Newton decrement, in parts of the log-likelihood, from which on steps are taken whole until they shrink no more: rounding
/// hides whether they climb. Stopping here would leave the coefficients off by 1e-5 of a standard error, and with readings
/// beyond a limit the restricted likelihood, whose determinant moves with them, too rough to find tau by.
const CLOSE: f64 = 1e-10;
/// Least part of a step that is tried farther off: there is no top if even so short a step does not climb.
const LEAST_PART: f64 = 1e-6;
/// Step in ln tau for derivatives: rounding (1e-15 over its square) and curvature both leave 6 digits.
const STEP: f64 = 0.01;
/// Least eigenvalue of the correlation of the design at which its columns count as told apart: below, half of the digits
/// are lost.
const TOLD_APART: f64 = 1e-10;

/// Fits `design` (one row for each point, one column for each coefficient) to the points.
///
/// The days of the points are not looked at. A reading beyond a limit has no uncertainty of its own: it is given the one of
/// the value nearest to the limit (the larger, if two are equally near).
///
/// # Errors
/// If a point cannot be used, the values (without the readings beyond a limit) do not determine the coefficients, the
/// readings are not worth more than there are coefficients, or nothing bounds tau.
pub fn maximise(points: &[Point], design: &DMatrix<f64>, tau: Tau) -> Result<Fit> {
    check(points)?;
    let p = design.ncols();
    if design.nrows() != points.len() || p == 0 || design.iter().any(|x| !x.is_finite()) {
        return Err(Error::new(
            format!(
                "a design of {} rows and {p} columns for {} readings",
                design.nrows(),
                points.len()
            ),
            "give one row of finite numbers for each reading",
        ));
    }
    let freedom = worth(points) - p as f64;
    if freedom <= NO_FREEDOM && !matches!(tau, Tau::Fixed(_)) {
        return Err(Error::new(
            format!(
                "{} readings, worth {:.1} full ones by their weights, cannot tell {p} numbers and a scatter",
                points.len(),
                worth(points)
            ),
            "add readings, or trusted ones in place of the doubtful",
        ));
    }
    let problem = Problem::new(points, design);
    if !problem.determined() {
        return Err(Error::new(
            "the values do not determine the line: too few, or on too few days",
            "add readings that are values, on other days",
        ));
    }
    let restricted = tau == Tau::Restricted;
    let (freedom, (tau, best)) = match tau {
        Tau::Fixed(tau) => (AS_KNOWN, (tau, problem.at(tau))),
        _ => (
            freedom,
            problem.search(restricted, freedom + p as f64, freedom)?,
        ),
    };
    let best = best.ok_or_else(lost)?;
    let mut covariance = best.root.inverse();
    if restricted && tau > 0.0 {
        covariance += problem
            .through_tau(tau)
            .unwrap_or_else(|| DMatrix::zeros(p, p));
    }
    let freedom = if restricted && tau == 0.0 {
        problem.freedom_of_known(&best, freedom)
    } else {
        freedom
    };
    if !covariance
        .iter()
        .chain(best.coefficients.iter())
        .all(|v| v.is_finite())
    {
        return Err(lost());
    }
    Ok(Fit {
        coefficients: best.coefficients,
        covariance,
        tau,
        log_likelihood: best.log_likelihood,
        freedom,
    })
}

/// How many full readings these are worth: the square of the sum of weights over the sum of their squares (Kish).
pub fn worth(points: &[Point]) -> f64 {
    let sum: f64 = points.iter().map(|p| p.weight).sum();
    let squares: f64 = points.iter().map(|p| p.weight * p.weight).sum();
    if squares > 0.0 {
        sum * sum / squares
    } else {
        0.0
    }
}

fn lost() -> Error {
    Error::new(
        "no line could be fitted: the numbers are too large, too small or too far apart",
        "check days, values and uncertainties for slips",
    )
}

struct Problem<'a> {
    points: &'a [Point],
    design: &'a DMatrix<f64>,
    /// Square of each reading's own uncertainty.
    own: Vec<f64>,
    /// What a reading's weight is on average, in the sense of [`worth`]: the restricted likelihood counts a coefficient so
    /// many times, so that doubting all readings alike leaves tau as it is.
    typical_weight: f64,
}

/// The coefficients for one tau.
struct Inner {
    coefficients: DVector<f64>,
    log_likelihood: f64,
    /// Of the observed information.
    root: Cholesky<f64, Dyn>,
}

impl<'a> Problem<'a> {
    fn new(points: &'a [Point], design: &'a DMatrix<f64>) -> Self {
        let values: Vec<(f64, f64)> = points
            .iter()
            .filter_map(|p| match p.seen {
                Seen::Value { value, u } => Some((value, u)),
                _ => None,
            })
            .collect();
        let near = |limit: f64| {
            values
                .iter()
                .map(|(value, u)| ((value - limit).abs(), *u))
                .min_by(|a, b| a.0.total_cmp(&b.0).then(b.1.total_cmp(&a.1)))
                .map_or(0.0, |(_, u)| u)
        };
        let own = points
            .iter()
            .map(|p| match p.seen {
                Seen::Value { u, .. } => u * u,
                Seen::Below(limit) | Seen::Above(limit) => near(limit).powi(2),
            })
            .collect();
        let sum: f64 = points.iter().map(|p| p.weight).sum();
        Problem {
            points,
            design,
            own,
            typical_weight: sum / worth(points),
        }
    }

    fn values(&self) -> impl Iterator<Item = (usize, f64)> {
        self.points
            .iter()
            .enumerate()
            .filter_map(|(i, p)| match p.seen {
                Seen::Value { value, .. } => Some((i, value)),
                _ => None,
            })
    }

    /// Do the values alone determine all coefficients? Then the likelihood has one maximum.
    fn determined(&self) -> bool {
        let p = self.design.ncols();
        let mut squares = DMatrix::zeros(p, p);
        for (i, _) in self.values() {
            let row = self.design.row(i);
            squares += row.transpose() * row;
        }
        let scale = squares.diagonal().map(|d: f64| d.sqrt());
        if scale.iter().any(|s| !(s.is_finite() && *s > 0.0)) {
            return false;
        }
        let correlation = DMatrix::from_fn(p, p, |i, j| squares[(i, j)] / (scale[i] * scale[j]));
        correlation.symmetric_eigenvalues().min() > TOLD_APART
    }

    /// The maximum for one tau.
    fn at(&self, tau: f64) -> Option<Inner> {
        let mut coefficients = self.start(tau)?;
        let (mut l, mut gradient, mut information) = self.evaluate(&coefficients, tau);
        let mut before = f64::INFINITY;
        for _ in 0..MOST_STEPS {
            let root = information.cholesky()?;
            let step = root.solve(&gradient);
            let decrement = gradient.dot(&step);
            if decrement.is_nan() {
                return None;
            }
            let close = decrement < CLOSE * (1.0 + l.abs());
            if decrement <= ENOUGH || (close && decrement >= before) {
                return l.is_finite().then_some(Inner {
                    coefficients,
                    log_likelihood: l,
                    root,
                });
            }
            before = decrement;
            let mut part = 1.0;
            loop {
                let next = &coefficients + &step * part;
                let tried = self.evaluate(&next, tau);
                if close || tried.0 >= l {
                    coefficients = next;
                    (l, gradient, information) = tried;
                    break;
                }
                part *= 0.5;
                if part < LEAST_PART {
                    return None;
                }
            }
        }
        None
    }

    /// Least squares through the values alone: the maximum itself, if there is nothing else.
    fn start(&self, tau: f64) -> Option<DVector<f64>> {
        let p = self.design.ncols();
        let (mut squares, mut products) = (DMatrix::zeros(p, p), DVector::zeros(p));
        for (i, value) in self.values() {
            let row = self.design.row(i);
            let weight = self.points[i].weight / (self.own[i] + tau * tau);
            squares += row.transpose() * row * weight;
            products += row.transpose() * (weight * value);
        }
        Some(squares.cholesky()?.solve(&products))
    }

    /// Log-likelihood, its gradient and the observed information.
    fn evaluate(&self, coefficients: &DVector<f64>, tau: f64) -> (f64, DVector<f64>, DMatrix<f64>) {
        let p = self.design.ncols();
        let (mut sum, mut gradient, mut information) =
            (0.0, DVector::zeros(p), DMatrix::zeros(p, p));
        for (i, point) in self.points.iter().enumerate() {
            let row = self.design.row(i);
            let level = (row * coefficients)[0];
            let (l, slope, curvature) = contribution(point.seen, level, self.own[i] + tau * tau);
            sum += point.weight * l;
            gradient += row.transpose() * (point.weight * slope);
            information += row.transpose() * row * (point.weight * curvature);
        }
        (sum, gradient, information)
    }

    /// What tau is to make greatest; minus infinity where there is no fit.
    fn criterion(&self, tau: f64, restricted: bool) -> f64 {
        let Some(inner) = self.at(tau) else {
            return f64::NEG_INFINITY;
        };
        let value = if restricted {
            inner.log_likelihood
                - self.typical_weight * inner.root.l_dirty().diagonal().map(f64::ln).sum()
        } else {
            inner.log_likelihood
        };
        if value.is_nan() {
            f64::NEG_INFINITY
        } else {
            value
        }
    }

    /// The best tau and its coefficients.
    fn search(&self, restricted: bool, worth: f64, freedom: f64) -> Result<(f64, Option<Inner>)> {
        let numbers = || self.points.iter().map(|p| p.seen.number());
        let range =
            numbers().fold(f64::NEG_INFINITY, f64::max) - numbers().fold(f64::INFINITY, f64::min);
        let u = self.own.iter().fold(0.0, |a: f64, b| a.max(b.sqrt()));
        // Readings that are all alike have no range: then only their uncertainties give the scale.
        let scale = range.max(u);
        let top = (scale * GREATEST * (worth / freedom).sqrt()).ln();
        let bottom = (scale * LEAST).ln();
        let at = |i: usize| bottom + (top - bottom) * i as f64 / (PLACES - 1) as f64;
        let value = |log: f64| self.criterion(log.exp(), restricted);
        let scan: Vec<f64> = (0..PLACES).map(|i| value(at(i))).collect();
        let (best, _) = scan
            .iter()
            .enumerate()
            .max_by(|a, b| a.1.total_cmp(b.1))
            .ok_or_else(lost)?;
        if scan[best] == f64::NEG_INFINITY || !top.is_finite() {
            return Err(lost());
        }
        if best == PLACES - 1 {
            return Err(Error::new(
                "too few of the readings are values: nothing bounds how far the water scatters",
                "add readings within the range of the test",
            ));
        }
        let log = golden(at(best.saturating_sub(1)), at(best + 1), value);
        let tau = if self.criterion(0.0, restricted) >= value(log) {
            0.0
        } else {
            log.exp()
        };
        Ok((tau, self.at(tau)))
    }

    /// What not knowing tau adds to the covariance of the coefficients; `None` where the likelihood is flat in tau, as it is
    /// where tau is nothing beside the uncertainties and adds nothing.
    fn through_tau(&self, tau: f64) -> Option<DMatrix<f64>> {
        let value = |step: f64| self.criterion(tau * step.exp(), true);
        let curvature = -(value(STEP) - 2.0 * value(0.0) + value(-STEP)) / (STEP * STEP);
        let moved = (self.at(tau * STEP.exp())?.coefficients
            - self.at(tau * (-STEP).exp())?.coefficients)
            / (2.0 * STEP);
        // What rounding leaves of a second difference.
        (curvature > 1e-8).then(|| &moved * moved.transpose() / curvature)
    }
}

/// The greatest of a function between two places, by golden section (Kiefer 1953, Proc. Am. Math. Soc. 4:502-506).
fn golden(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    let ratio = 0.5 * (5f64.sqrt() - 1.0);
    let (mut a, mut b) = (high - ratio * (high - low), low + ratio * (high - low));
    let (mut fa, mut fb) = (f(a), f(b));
    for _ in 0..SECTIONS {
        if fa >= fb {
            (high, b, fb) = (b, a, fa);
            a = high - ratio * (high - low);
            fa = f(a);
        } else {
            (low, a, fa) = (a, b, fb);
            b = low + ratio * (high - low);
            fb = f(b);
        }
    }
    0.5 * (low + high)
}

/// Log-likelihood of one reading at a level, its derivative by the level, and minus its second derivative (never below 0).
fn contribution(seen: Seen, level: f64, variance: f64) -> (f64, f64, f64) {
    let s = variance.sqrt();
    match seen {
        Seen::Value { value, .. } => {
            let z = (value - level) / s;
            (
                -0.5 * z * z - s.ln() - 0.5 * (2.0 * PI).ln(),
                z / s,
                1.0 / variance,
            )
        }
        Seen::Below(limit) => {
            let (l, slope, curvature) = ln_below((limit - level) / s);
            (l, -slope / s, curvature / variance)
        }
        Seen::Above(limit) => {
            let (l, slope, curvature) = ln_below((level - limit) / s);
            (l, slope / s, curvature / variance)
        }
    }
}

/// Logarithm of the normal distribution function at `z`, its derivative, and minus its second derivative.
fn ln_below(z: f64) -> (f64, f64, f64) {
    // From there on the asymptotic series (Abramowitz & Stegun 1964, 26.2.12) has 9 digits; the plain form runs out of
    // exponents at -38.
    if z < -30.0 {
        let y = 1.0 / (z * z);
        let less = y * (1.0 - y * (3.0 - 15.0 * y));
        let series = 1.0 - less;
        let slope = -z / series;
        (
            -0.5 * z * z - (-z).ln() - 0.5 * (2.0 * PI).ln() + series.ln(),
            slope,
            slope * slope * less,
        )
    } else {
        let below = 0.5 * erfc(-z / 2f64.sqrt());
        let slope = (-0.5 * z * z).exp() / (2.0 * PI).sqrt() / below;
        (below.ln(), slope, (slope * (slope + z)).max(0.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Abramowitz & Stegun (1964), tables 26.1 and 26.2, from memory: Phi(-1), and -log10 Q at 10 and 50 (one on each branch).
    #[test]
    fn the_tail_is_that_of_the_tables() {
        assert!((ln_below(-1.0).0 - 0.158_655_253_931_457f64.ln()).abs() < 1e-14);
        assert!((-ln_below(-10.0).0 / 10f64.ln() - 23.118_05).abs() < 5e-6);
        assert!((-ln_below(-50.0).0 / 10f64.ln() - 544.966_34).abs() < 5e-6);
    }

    #[test]
    fn both_branches_meet_and_the_derivatives_are_those_of_the_logarithm() {
        let (a, b) = (ln_below(-30.0 - 1e-9), ln_below(-30.0 + 1e-9));
        assert!(
            (a.0 - b.0).abs() < 1e-6 && (a.1 - b.1).abs() < 1e-7 && (a.2 - b.2).abs() < 1e-6,
            "{a:?} {b:?}"
        );
        for z in [-200.0, -31.0, -29.0, -8.0, -1.0, 0.0, 2.0, 5.0] {
            let h = 1e-5;
            let (low, mid, high) = (ln_below(z - h), ln_below(z), ln_below(z + h));
            let slope = (high.0 - low.0) / (2.0 * h);
            let curvature = -(high.1 - low.1) / (2.0 * h);
            assert!(
                (slope - mid.1).abs() < 1e-5 * (1.0 + mid.1),
                "{z}: {slope} {mid:?}"
            );
            assert!((curvature - mid.2).abs() < 1e-4, "{z}: {curvature} {mid:?}");
        }
    }
}
