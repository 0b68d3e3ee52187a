//! Colour correction as a least-squares map: linear RGB is expanded into terms, and the map is linear in the terms.
//!
//! All expansions here scale with the light: twice the light in gives twice the light out, so that a correction learnt
//! on the patches holds for a darker place of the same photo. Ordinary polynomials lack this and are not offered.
//! Many terms need many patches: whoever fits chooses by the error on patches left out, never by the residual.
//!
//! Science: Finlayson, Mackiewicz, Hurlbert (2015) Color Correction Using Root-Polynomial Regression, IEEE Transactions on
//! Image Processing 24(5):1460-1470, doi:10.1109/TIP.2015.2405336.

use nalgebra::{DMatrix, DVector};

use crate::error::{Error, Result};

/// A way to expand a linear RGB colour into terms.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Terms {
    /// R, G, B: a 3x3 matrix.
    Linear,
    /// Root polynomial of degree 2: 6 terms.
    Root2,
    /// Root polynomial of degree 3: 13 terms.
    Root3,
    /// Root polynomial of degree 4: 22 terms.
    Root4,
}

/// Exponents of R, G, B in each term; those of one term sum to 1. Cut off after 3, 6, 13 or 22 they are the four expansions
/// (Finlayson et al. 2015).
const EXPONENTS: [[f64; 3]; 22] = {
    const T: f64 = 1.0 / 3.0;
    [
        [1.0, 0.0, 0.0],
        [0.0, 1.0, 0.0],
        [0.0, 0.0, 1.0],
        [0.5, 0.5, 0.0],
        [0.0, 0.5, 0.5],
        [0.5, 0.0, 0.5],
        [T, 2.0 * T, 0.0],
        [0.0, T, 2.0 * T],
        [T, 0.0, 2.0 * T],
        [2.0 * T, T, 0.0],
        [0.0, 2.0 * T, T],
        [2.0 * T, 0.0, T],
        [T, T, T],
        [0.75, 0.25, 0.0],
        [0.75, 0.0, 0.25],
        [0.25, 0.75, 0.0],
        [0.0, 0.75, 0.25],
        [0.25, 0.0, 0.75],
        [0.0, 0.25, 0.75],
        [0.5, 0.25, 0.25],
        [0.25, 0.5, 0.25],
        [0.25, 0.25, 0.5],
    ]
};

impl Terms {
    /// How many terms; a fit needs at least as many patches.
    pub const fn count(self) -> usize {
        match self {
            Terms::Linear => 3,
            Terms::Root2 => 6,
            Terms::Root3 => 13,
            Terms::Root4 => 22,
        }
    }

    /// The terms of a linear RGB colour, R, G, B first, each in the unit of the colour itself.
    ///
    /// A negative channel (noise below black) counts as 0 inside the roots.
    pub fn expand(self, rgb: [f64; 3]) -> Vec<f64> {
        let root = |exponents: &[f64; 3]| -> f64 {
            rgb.iter()
                .zip(exponents)
                .map(|(channel, e)| channel.max(0.0).powf(*e))
                .product()
        };
        rgb.into_iter()
            .chain(EXPONENTS[3..self.count()].iter().map(root))
            .collect()
    }

    /// The map that takes `from` closest to `to` in the sense of least squares, channel by channel.
    ///
    /// `from` and `to` are linear RGB of the same patches in the same order; `weights` (one a patch, not negative) says how
    /// much a patch counts, `None` that all count alike: weight w counts like w equal patches.
    ///
    /// # Errors
    /// Lists of different length, values that are not finite, negative weights, fewer patches with weight than terms, or
    /// patches too alike to tell the terms apart.
    pub fn fit(
        self,
        from: &[[f64; 3]],
        to: &[[f64; 3]],
        weights: Option<&[f64]>,
    ) -> Result<Correction> {
        let patches = from.len();
        if to.len() != patches || weights.is_some_and(|w| w.len() != patches) {
            let weights = weights.map_or(String::new(), |w| format!(" and {} weights", w.len()));
            return Err(Error::new(
                format!(
                    "a colour correction got {patches} patches to map, {} to map onto{weights}",
                    to.len()
                ),
                "give each patch once in each list, in the same order",
            ));
        }
        let weight = |i: usize| weights.map_or(1.0, |w| w[i]);
        let bad = |i: &usize| {
            let finite = from[*i].iter().chain(&to[*i]).all(|v| v.is_finite());
            !(finite && weight(*i).is_finite() && weight(*i) >= 0.0)
        };
        if let Some(i) = (0..patches).find(bad) {
            return Err(Error::new(
                format!(
                    "patch {} of a colour correction is {:?} onto {:?}, weight {}",
                    i + 1,
                    from[i],
                    to[i],
                    weight(i)
                ),
                "leave out patches that could not be measured",
            ));
        }
        let count = self.count();
        let used = (0..patches).filter(|i| weight(*i) > 0.0).count();
        if used < count {
            return Err(Error::new(
                format!(
                    "a colour correction of {count} terms cannot be learnt from {used} patches"
                ),
                "use fewer terms, or a card with more patches",
            ));
        }

        let mut design = DMatrix::zeros(patches, count);
        let mut target = DMatrix::zeros(patches, 3);
        for i in 0..patches {
            let scale = weight(i).sqrt();
            let terms = DVector::from_vec(self.expand(from[i]));
            design.row_mut(i).copy_from(&(scale * terms).transpose());
            target.row_mut(i).copy_from_slice(&to[i].map(|v| scale * v));
        }
        let svd = design.svd(true, true);
        // The customary cut (common practice): below it a direction is rounding noise, not light.
        let floor = f64::EPSILON * patches as f64 * svd.singular_values.max();
        if svd.rank(floor) < count {
            return Err(Error::new(
                format!("the patches are too alike to learn a colour correction of {count} terms"),
                "use fewer terms, or a card with colours that differ more",
            ));
        }
        let matrix = svd
            .solve(&target, floor)
            .expect("both sides of the decomposition were asked for")
            .transpose();
        Ok(Correction {
            terms: self,
            matrix,
        })
    }
}

/// A fitted colour correction.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    terms: Terms,
    /// 3 x number of terms.
    matrix: DMatrix<f64>,
}

impl Correction {
    /// The expansion it works on.
    pub fn terms(&self) -> Terms {
        self.terms
    }

    /// Coefficients: row = output channel R, G, B; column = term, in the order of [`Terms::expand`].
    pub fn matrix(&self) -> &DMatrix<f64> {
        &self.matrix
    }

    /// The corrected colour, linear RGB. May leave 0..=1.
    pub fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        let out = &self.matrix * DVector::from_vec(self.terms.expand(rgb));
        [out[0], out[1], out[2]]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PATCHES: [[f64; 3]; 8] = [
        [0.9, 0.9, 0.9],
        [0.2, 0.2, 0.2],
        [0.8, 0.1, 0.1],
        [0.1, 0.7, 0.2],
        [0.1, 0.2, 0.6],
        [0.7, 0.6, 0.1],
        [0.6, 0.2, 0.5],
        [0.2, 0.6, 0.7],
    ];

    #[test]
    fn light_scales_through() {
        let to = PATCHES.map(|[r, g, b]| [0.9 * r + 0.1 * g, g * 0.8 + 0.1 * (r * b).sqrt(), b]);
        for terms in [Terms::Linear, Terms::Root2] {
            let correction = terms.fit(&PATCHES, &to, None).unwrap();
            let bright = correction.apply([0.4, 0.3, 0.2]);
            let dark = correction.apply([0.1, 0.075, 0.05]);
            for i in 0..3 {
                assert!(
                    (bright[i] - 4.0 * dark[i]).abs() < 1e-12,
                    "{terms:?}: {bright:?} {dark:?}"
                );
            }
        }
    }

    #[test]
    fn weight_counts_like_repeats() {
        let mut to = PATCHES;
        to[3][1] = 0.5;
        let mut weights = [1.0; 8];
        weights[3] = 3.0;
        weights[5] = 0.0;
        let weighted = Terms::Linear.fit(&PATCHES, &to, Some(&weights)).unwrap();

        let order = [0, 1, 2, 3, 3, 3, 4, 6, 7];
        let repeated = Terms::Linear
            .fit(&order.map(|i| PATCHES[i]), &order.map(|i| to[i]), None)
            .unwrap();
        assert!((weighted.matrix() - repeated.matrix()).norm() < 1e-12);
    }

    #[test]
    fn what_cannot_be_learnt_is_an_error() {
        let grey: Vec<[f64; 3]> = (1..=9).map(|i| [0.1 * f64::from(i); 3]).collect();
        let says = |result: Result<Correction>, text: &str| {
            let error = result.expect_err(text).to_string();
            assert!(error.contains(text), "{error}");
        };
        says(Terms::Linear.fit(&grey, &grey, None), "too alike");
        says(
            Terms::Root3.fit(&PATCHES, &PATCHES, None),
            "13 terms cannot be learnt from 8 patches",
        );
        says(
            Terms::Linear.fit(&PATCHES, &PATCHES[1..], None),
            "8 patches to map, 7 to map onto",
        );
        let mut broken = PATCHES;
        broken[2][0] = f64::NAN;
        says(Terms::Linear.fit(&broken, &PATCHES, None), "patch 3");
        says(
            Terms::Linear.fit(&PATCHES, &PATCHES, Some(&[-1.0; 8])),
            "weight -1",
        );
    }
}
