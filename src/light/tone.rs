//! The tone of a photo against that of the session: a phone's picture processing bends the scale of brightness.
//!
//! Levels are natural logarithms of native linear light. The bend is `g(z) = z + a1 t + a2 t^2 + a3 t^3` with
//! `t = z - z0` and `z0` the level of the reference white; it is fitted to the neutral steps so that
//! `g(seen) - g(white)` is what the session saw. Because both the step and the paper beside it go through the same bend,
//! a step in shade counts as what it is. The model is linear in its coefficients.

use nalgebra::{DMatrix, DVector, Vector3};

use super::Level;

/// A bend of the tone scale.
#[derive(Debug, Clone, PartialEq)]
pub struct Tone {
    zero: Vector3<f64>,
    coefficients: Vec<f64>,
}

/// Weight that keeps each coefficient near zero: a phone's tone curve differs from another's by some tenths in
/// log-log slope (prior standard deviation 0.3), while a patch is seen to about 0.01; (0.01 / 0.3)^2.
const RIDGE: f64 = 1.1e-3;

/// Levels darker than this against white (natural log; about 1/33 of white) do not steer the bend: glare and noise rule there.
const DARKEST: f64 = -3.5;

/// Levels against the reference white between which the bend is a polynomial. Steps lie in shade, and paper in the light may be
/// three times as bright as at the reference white.
const LOWEST: f64 = DARKEST - 0.5;
const HIGHEST: f64 = 1.1;

/// Least slope of a bend; a tone curve that presses the scale together by more would leave nothing to tell colours by.
const LEAST_SLOPE: f64 = 0.2;

impl Tone {
    /// No bend.
    pub fn none() -> Tone {
        Tone {
            zero: Vector3::zeros(),
            coefficients: Vec::new(),
        }
    }

    /// Fits a bend of 1 to 3 coefficients to pairs of a level and the relative log light that the session saw.
    /// `None` if there are fewer than `order + 2` steps.
    pub fn fit(order: usize, zero: Vector3<f64>, pairs: &[(Level, Vector3<f64>)]) -> Option<Tone> {
        let usable: Vec<_> = pairs.iter().filter(|(_, s)| s.min() > DARKEST).collect();
        if usable.len() < order + 2 {
            return None;
        }
        let rows = usable.len() * 3 + order;
        let mut a = DMatrix::zeros(rows, order);
        let mut y = DVector::zeros(rows);
        for (i, (level, session)) in usable.iter().enumerate() {
            for c in 0..3 {
                let (t, w) = (level.seen[c] - zero[c], level.white[c] - zero[c]);
                for k in 0..order {
                    a[(3 * i + c, k)] = t.powi(k as i32 + 1) - w.powi(k as i32 + 1);
                }
                y[3 * i + c] = session[c] - (level.seen[c] - level.white[c]);
            }
        }
        for k in 0..order {
            a[(usable.len() * 3 + k, k)] = RIDGE.sqrt();
        }
        let solution = a.svd(true, true).solve(&y, 1e-12).ok()?;
        let tone = Tone {
            zero,
            coefficients: solution.iter().copied().collect(),
        };
        tone.rises().then_some(tone)
    }

    /// The level with the bend taken out.
    pub fn apply(&self, level: &Level) -> Level {
        Level {
            seen: self.bend(&level.seen),
            white: self.bend(&level.white),
        }
    }

    fn bend(&self, z: &Vector3<f64>) -> Vector3<f64> {
        Vector3::from_fn(|c, _| {
            let t = z[c] - self.zero[c];
            // Past the steps that it was fitted to the bend goes on as a straight line rather than as a cubic.
            let inside = t.clamp(LOWEST, HIGHEST);
            let value: f64 = self
                .coefficients
                .iter()
                .enumerate()
                .map(|(k, a)| a * inside.powi(k as i32 + 1))
                .sum();
            z[c] + value + (t - inside) * (self.slope(inside) - 1.0)
        })
    }

    fn slope(&self, t: f64) -> f64 {
        1.0 + self
            .coefficients
            .iter()
            .enumerate()
            .map(|(k, a)| (k + 1) as f64 * a * t.powi(k as i32))
            .sum::<f64>()
    }

    /// A scale of brightness must rise; a fit that does not is noise.
    fn rises(&self) -> bool {
        const PLACES: u32 = 51;
        let part = |i: u32| f64::from(i) / f64::from(PLACES);
        (0..=PLACES).all(|i| self.slope(LOWEST + (HIGHEST - LOWEST) * part(i)) > LEAST_SLOPE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Synthetic-known: a gamma of 0.9 over a fall-off of 2:1 is taken out.
    #[test]
    fn takes_out_a_gamma_over_a_fall_off() {
        let pairs: Vec<(Level, Vector3<f64>)> = (0..8)
            .map(|i| {
                let true_rel = -0.4 * f64::from(i);
                let light = -0.1 * f64::from(i % 4);
                let level = Level {
                    seen: Vector3::repeat(0.9 * (true_rel + light)),
                    white: Vector3::repeat(0.9 * light),
                };
                (level, Vector3::repeat(true_rel))
            })
            .collect();
        let tone = Tone::fit(2, Vector3::zeros(), &pairs).unwrap();
        for (level, truth) in &pairs {
            let flat = tone.apply(level);
            assert!(((flat.seen - flat.white) - truth).norm() < 5e-3);
        }
    }

    /// A bend that falls in the dark end of what it is used for is none; past its ends one that rises goes on straight.
    #[test]
    fn a_bend_rises_wherever_it_is_used() {
        let tone = |coefficients: &[f64]| Tone {
            zero: Vector3::zeros(),
            coefficients: coefficients.to_vec(),
        };
        // Slopes of 1 + 0.22 t, which is 0.23 at -3.5, but 0.12 at -4; and of 1 + 0.198 t, which is 0.208 there.
        assert!(!tone(&[0.0, 0.11]).rises());
        let rising = tone(&[0.0, 0.099]);
        assert!(rising.rises());
        let bent = |t: f64| rising.bend(&Vector3::repeat(t)).x;
        for (end, past, slope) in [
            (-4.0, -5.0, 1.0 - 0.198 * 4.0),
            (1.1, 2.1, 1.0 + 0.198 * 1.1),
        ] {
            let went = (bent(past) - bent(end)) / (past - end);
            assert!((went - slope).abs() < 1e-12, "{went} for {slope}");
        }
    }
}
