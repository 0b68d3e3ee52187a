//! The uncertainty budget of a colour: each contribution a covariance in CIELAB with its reason (JCGM 100:2008, 5.1).

use nalgebra::{Matrix3, Vector3};

pub use crate::light::hue::depth;

/// One contribution to the uncertainty of a colour.
#[derive(Debug, Clone, PartialEq)]
pub struct Contribution {
    /// What it comes from, in a few words.
    pub reason: &'static str,
    /// Covariance in CIELAB.
    pub covariance: Matrix3<f64>,
}

/// All contributions to the uncertainty of one colour.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Budget {
    pub contributions: Vec<Contribution>,
}

impl Budget {
    /// Adds a contribution.
    pub fn add(&mut self, reason: &'static str, covariance: Matrix3<f64>) {
        self.contributions.push(Contribution { reason, covariance });
    }

    /// The sum: independent contributions add as variances (JCGM 100:2008, equation 10).
    pub fn total(&self) -> Matrix3<f64> {
        self.contributions.iter().map(|c| c.covariance).sum()
    }

    /// Standard uncertainty that each contribution alone makes in a quantity whose unit moves the colour by `per_unit`
    /// (CIELAB), to first order: the quantity is estimated by generalised least squares with the whole covariance, so an
    /// error that lies off the curve and is known to be large counts little (JCGM 102:2011, 6.2 and 6.5.2).
    pub fn standard_uncertainties(&self, per_unit: Vector3<f64>) -> Vec<(&'static str, f64)> {
        let Some(inverse) = (self.total() + Matrix3::identity() * 1e-9).try_inverse() else {
            return Vec::new();
        };
        let weighted = inverse * per_unit;
        let gain = weighted / per_unit.dot(&weighted).max(f64::MIN_POSITIVE);
        self.contributions
            .iter()
            .map(|c| {
                let variance = (gain.transpose() * c.covariance * gain)[(0, 0)];
                (c.reason, variance.max(0.0).sqrt())
            })
            .collect()
    }
}

/// Light that a lens scatters over the whole picture, and errors of the black level, relative to paper white: some tenths
/// of a per cent in a good lens, common practice; the darkest patch shows only the mean of it.
const STRAY: f64 = 0.004;

/// A colour outside the file's gamut is recorded with a channel at zero; how far below zero it would have been is not
/// known. Relative to paper white; saturated dyes in sRGB reach about twice this.
const BEYOND_GAMUT: f64 = 0.06;

/// Covariance (linear relative light, working space) from stray light and from channels crushed to zero.
/// `crushed` is the share of crushed blocks per channel of the file, `to_working` its matrix.
pub fn dark_end(crushed: &[f64; 3], to_working: &Matrix3<f64>) -> Matrix3<f64> {
    let mut sum = Matrix3::from_element(STRAY * STRAY);
    for (share, column) in crushed.iter().zip(to_working.column_iter()) {
        sum += column * column.transpose() * (share * BEYOND_GAMUT).powi(2);
    }
    sum
}
