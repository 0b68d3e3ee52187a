//! One value out of those of several photos of one vial.
//!
//! What is the photo's own (grain, pose, shade) averages out over photos; what all photos of a vial share (the
//! chart's standards, the curve, lamp and camera) does not, however many there are. Photos that scatter by more
//! than their own uncertainties explain get a variance between photos. Values are positions among the chart's steps, so
//! that intervals stay sensible where the chart is steep or flat. Never decides which photos belong together.
//!
//! Science: Paule & Mandel (1982) J. Res. Natl. Bur. Stand. 87(5):377-385, by the iteration of DerSimonian & Kacker (2007)
//! Contemp. Clin. Trials 28(2):105-114; Cochran (1954) Biometrics 10(1):101-129 for the test of scatter; JCGM 100:2008, 5.2
//! for errors in common and G.4 for the degrees of freedom of the interval.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

use super::student::student_t;
use crate::error::{Error, Result};

/// What one photo says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Position among the steps.
    pub value: f64,
    /// Its interval at the level that is combined at; `low <= value <= high`.
    pub low: f64,
    pub high: f64,
    /// Share of its variance that all photos of the vial have in common, 0 to 1.
    pub shared: f64,
}

/// Several photos as one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// Position among the steps, and its interval.
    pub value: f64,
    pub low: f64,
    pub high: f64,
    /// Variance of the value, steps squared, in three parts: what the photos share,
    pub shared: f64,
    /// what is left of each photo's own,
    pub own: f64,
    /// and what they differ by beyond that.
    pub between: f64,
    /// How far the photos scatter around their mean.
    pub scatter: Scatter,
    /// Effective degrees of freedom of the interval; infinite if no variance had to be estimated from the photos.
    pub freedom: f64,
}

/// How far values scatter around their mean, against their own variances.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scatter {
    /// Variance between them beyond their own, by Paule and Mandel.
    pub tau2: f64,
    /// Cochran's Q: about chi-squared where there is no such variance.
    pub q: f64,
    /// Degrees of freedom of Q: one less than there are values.
    pub freedom: usize,
    /// Chance of such a Q or a greater one where there is no such variance; 1 for a single value.
    pub probability: f64,
}

/// A mean of values of unequal variance.
#[derive(Debug, Clone, PartialEq)]
pub struct Mean {
    /// The mean, with weights of one over own variance and variance between.
    pub value: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Weight of each value; they sum to 1.
    pub weights: Vec<f64>,
    /// How far the values scatter.
    pub scatter: Scatter,
}

/// Least own standard deviation of a photo, in steps: the grid on which values are taken.
const LEAST_SD: f64 = 0.005;

/// One value out of several; `level` is the coverage of their intervals and of the one that comes out, between 0 and 1.
///
/// One estimate gives itself. Errors in common count in full (their correlation is 1).
///
/// The interval leans to the side to which those of the photos lean. Its half width is a quantile of Student's t with the
/// degrees of freedom of Welch and Satterthwaite: only the variance between photos is estimated from few values, the rest
/// is known beforehand. Intervals that use the scatter alone (Hartung & Knapp 2001, Sidik & Jonkman 2002) would throw that
/// knowledge away: with two photos they are 6 times as wide even where both agree.
///
/// # Errors
/// If there is none, or one is not a finite value inside its interval.
pub fn combine(estimates: &[Estimate], level: f64) -> Result<Combined> {
    if estimates.iter().any(|e| {
        !(e.low.is_finite() && e.high.is_finite() && e.low <= e.value && e.value <= e.high)
    }) {
        return Err(Error::new(
            "a value to combine is not inside its interval",
            "leave that photo out",
        ));
    }
    let normal = Normal::standard().inverse_cdf(0.5 * (1.0 + level));
    let variance = |e: &Estimate| ((e.high - e.low) / (2.0 * normal)).powi(2);
    let values: Vec<f64> = estimates.iter().map(|e| e.value).collect();
    let own: Vec<f64> = estimates
        .iter()
        .map(|e| (variance(e) * (1.0 - e.shared)).max(LEAST_SD * LEAST_SD))
        .collect();
    let mean = paule_mandel(&values, &own)?;
    let over = |f: &dyn Fn(usize) -> f64| -> f64 { (0..values.len()).map(f).sum() };
    let weight = &mean.weights;
    let shared = over(&|i| weight[i] * (variance(&estimates[i]) * estimates[i].shared).sqrt());
    let shared = shared * shared;
    let own = over(&|i| weight[i].powi(2) * own[i]);
    let between = over(&|i| weight[i].powi(2) * mean.scatter.tau2);
    let total = shared + own + between;
    let freedom = effective_freedom(total, &[(between, mean.scatter.freedom as f64)]);
    let quantile = if freedom.is_finite() {
        student_t(freedom).inverse_cdf(0.5 * (1.0 + level))
    } else {
        normal
    };
    let lean = over(&|i| {
        let e = &estimates[i];
        let width = e.high - e.low;
        let above = if width > 0.0 {
            (e.high - e.value) / width
        } else {
            0.5
        };
        weight[i] * above
    });
    let width = 2.0 * quantile * total.sqrt();
    Ok(Combined {
        value: mean.value,
        low: mean.value - (1.0 - lean) * width,
        high: mean.value + lean * width,
        shared,
        own,
        between,
        scatter: mean.scatter,
        freedom,
    })
}

impl Combined {
    /// Variance of the value, steps squared.
    pub fn variance(&self) -> f64 {
        self.shared + self.own + self.between
    }

    /// Probability that the truth lies within `half` steps of the value.
    pub fn within(&self, half: f64) -> f64 {
        (2.0 * self.below(self.value + half) - 1.0).clamp(0.0, 1.0)
    }

    /// Probability that the truth lies below a position.
    pub fn below(&self, position: f64) -> f64 {
        let at = (position - self.value) / self.variance().sqrt();
        if self.freedom.is_finite() {
            student_t(self.freedom).cdf(at)
        } else {
            Normal::standard().cdf(at)
        }
    }
}

/// The mean of `values` with their own `variances` and a variance between them by Paule and Mandel: the one at which the
/// weighted squares around the mean sum to their degrees of freedom, or 0 if they sum to less without it.
///
/// # Errors
/// If there are no values, not one variance for each, or a variance is not above 0 and finite.
pub fn paule_mandel(values: &[f64], variances: &[f64]) -> Result<Mean> {
    let usable = |v: &f64| v.is_finite() && *v > 0.0;
    if values.is_empty()
        || values.len() != variances.len()
        || !values.iter().all(|v| v.is_finite())
        || !variances.iter().all(usable)
    {
        return Err(Error::new(
            format!(
                "{} values with {} variances cannot be combined",
                values.len(),
                variances.len()
            ),
            "give finite values, at least one, each with a variance above 0",
        ));
    }
    let at = |tau2: f64| Weighted::of(values, variances, tau2);
    let freedom = values.len() - 1;
    let none = at(0.0);
    let mut tau2 = 0.0;
    let mut now = none.clone();
    // Newton's steps on a convex falling function: they come from the left and never overshoot.
    for _ in 0..MOST_STEPS {
        let excess = now.squares - freedom as f64;
        if excess <= ENOUGH {
            break;
        }
        tau2 += excess / now.slope;
        now = at(tau2);
    }
    let probability = match ChiSquared::new(freedom as f64) {
        Ok(chi2) => chi2.sf(none.squares),
        // No degrees of freedom: a single value cannot scatter.
        Err(_) => 1.0,
    };
    Ok(Mean {
        value: now.mean,
        standard_error: now.sum.sqrt().recip(),
        weights: now.weights.iter().map(|w| w / now.sum).collect(),
        scatter: Scatter {
            tau2,
            q: none.squares,
            freedom,
            probability,
        },
    })
}

/// By how much the sum of squares may exceed its degrees of freedom at the end: what rounding leaves.
const ENOUGH: f64 = 1e-12;
/// Each step at least doubles own variance and variance between until they are near, then gains digits quickly: from a
/// grain of 1e-6 steps it takes fewer than 60.
const MOST_STEPS: usize = 200;

/// Mean and squares for one variance between.
#[derive(Debug, Clone)]
struct Weighted {
    weights: Vec<f64>,
    sum: f64,
    mean: f64,
    /// Weighted squares around the mean.
    squares: f64,
    /// By how much `squares` falls per variance between.
    slope: f64,
}

impl Weighted {
    fn of(values: &[f64], variances: &[f64], tau2: f64) -> Weighted {
        let weights: Vec<f64> = variances.iter().map(|v| 1.0 / (v + tau2)).collect();
        let sum: f64 = weights.iter().sum();
        let dot: f64 = weights.iter().zip(values).map(|(w, v)| w * v).sum();
        let mean = dot / sum;
        let (mut squares, mut slope) = (0.0, 0.0);
        for (w, v) in weights.iter().zip(values) {
            squares += w * (v - mean).powi(2);
            slope += (w * (v - mean)).powi(2);
        }
        Weighted {
            weights,
            sum,
            mean,
            squares,
            slope,
        }
    }
}

/// Effective degrees of freedom of a variance `total` (above 0) whose `parts` (variance, degrees of freedom) were estimated and
/// whose rest is known (Welch-Satterthwaite, JCGM 100:2008, G.4.1); infinite if all of it is known.
pub fn effective_freedom(total: f64, parts: &[(f64, f64)]) -> f64 {
    let estimated: f64 = parts
        .iter()
        .filter(|(variance, _)| *variance > 0.0)
        .map(|(variance, freedom)| variance * variance / freedom)
        .sum();
    let freedom = total * total / estimated;
    // From there on Student's t is the normal distribution to six digits.
    if estimated > 0.0 && freedom < 1e7 {
        freedom
    } else {
        f64::INFINITY
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn estimate(value: f64, half: f64, shared: f64) -> Estimate {
        Estimate {
            value,
            low: value - half,
            high: value + half,
            shared,
        }
    }

    fn photos() -> impl Strategy<Value = Vec<Estimate>> {
        prop::collection::vec(
            (0.0..6.0f64, 0.01..1.5f64, 0.01..1.5f64, 0.0..1.0f64).prop_map(
                |(value, down, up, shared)| Estimate {
                    value,
                    low: value - down,
                    high: value + up,
                    shared,
                },
            ),
            1..7,
        )
    }

    #[test]
    fn what_cannot_be_combined_is_an_error() {
        assert!(combine(&[], 0.95).is_err());
        for bad in [f64::NAN, f64::INFINITY, 3.0] {
            let mut e = estimate(1.0, 0.5, 0.5);
            e.value = bad;
            assert!(combine(&[e], 0.95).is_err(), "{bad}");
        }
        assert!(paule_mandel(&[1.0, 2.0], &[1.0]).is_err());
        assert!(paule_mandel(&[1.0], &[0.0]).is_err());
    }

    /// Two photos far apart say where they lie, and little more: Student's t with one degree of freedom.
    #[test]
    fn two_photos_apart_are_worth_little() {
        let apart = combine(&[estimate(1.0, 0.2, 0.3), estimate(4.0, 0.2, 0.3)], 0.95).unwrap();
        assert!(apart.scatter.probability < 1e-6, "{apart:?}");
        assert!(
            apart.high - apart.low > 10.0 && apart.freedom < 1.1,
            "{apart:?}"
        );
        assert!(apart.within(0.5) < 0.5, "{apart:?}");
    }

    proptest! {
        #[test]
        fn order_does_not_matter(photos in photos().prop_shuffle(), by in 0usize..7) {
            let mut turned = photos.clone();
            turned.rotate_left(by % photos.len());
            let (a, b) = (combine(&photos, 0.95).unwrap(), combine(&turned, 0.95).unwrap());
            for (a, b) in [(a.value, b.value), (a.low, b.low), (a.high, b.high), (a.scatter.q, b.scatter.q)] {
                prop_assert!((a - b).abs() <= 1e-6 * (1.0 + a.abs()), "{a} {b}");
            }
        }

        #[test]
        fn one_photo_gives_itself(photo in photos().prop_map(|p| p[0])) {
            let one = combine(&[photo], 0.95).unwrap();
            // But for the least own variance, which a photo that shares nearly all does not reach.
            for (a, b) in [(one.value, photo.value), (one.low, photo.low), (one.high, photo.high)] {
                prop_assert!((a - b).abs() < 0.011, "{one:?} {photo:?}");
            }
            prop_assert_eq!(one.scatter.probability, 1.0);
        }

        #[test]
        fn equal_photos_shrink_down_to_what_they_share(
            photo in photos().prop_map(|p| p[0]), n in 2usize..9,
        ) {
            let width = |n: usize| {
                let c = combine(&vec![photo; n], 0.95).unwrap();
                c.high - c.low
            };
            let alone = photo.high - photo.low;
            prop_assert!(width(n) < width(n - 1));
            prop_assert!(width(n) >= alone * photo.shared.sqrt());
            let all = combine(&vec![photo; 10_000], 0.95).unwrap();
            let left = (all.high - all.low) / alone;
            prop_assert!((left - photo.shared.sqrt()).abs() < 0.02, "{left}");
        }

        /// Moving all photos moves the answer along; the mean stays among them.
        #[test]
        fn the_mean_lies_among_the_photos(photos in photos(), by in -3.0..3.0f64) {
            let moved: Vec<Estimate> = photos
                .iter()
                .map(|e| Estimate { value: e.value + by, low: e.low + by, high: e.high + by, ..*e })
                .collect();
            let (a, b) = (combine(&photos, 0.95).unwrap(), combine(&moved, 0.95).unwrap());
            prop_assert!((a.value + by - b.value).abs() < 1e-6);
            prop_assert!((a.high - a.low - b.high + b.low).abs() < 1e-4 * (a.high - a.low));
            let (least, most) = photos
                .iter()
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, m), e| (l.min(e.value), m.max(e.value)));
            prop_assert!(a.value >= least - 1e-9 && a.value <= most + 1e-9);
            prop_assert!(a.low <= a.value && a.value <= a.high);
        }
    }
}
