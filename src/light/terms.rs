//! Colour correction as a least-squares map: linear RGB is expanded into terms, and the map is linear in the terms.
//!
//! All expansions here scale with the light: twice the light in gives twice the light out, so that a correction learnt
//! on the patches holds for a darker place of the same photo. Ordinary polynomials lack this and are not offered.
//! Many terms need many patches: whoever fits chooses by the error on patches left out, never by the residual.
//!
//! Science: Finlayson, Mackiewicz, Hurlbert (2015) Color Correction Using Root-Polynomial Regression, IEEE Transactions on
//! Image Processing 24(5):1460-1470, doi:10.1109/TIP.2015.2405336; the pull towards a map known before is ridge regression
//! (Hoerl & Kennard 1970, Technometrics 12(1):55-67).

use nalgebra::{DMatrix, DVector};

/// A way to expand a linear RGB colour into terms.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Terms {
    /// R, G, B: a 3x3 matrix.
    Linear,
    /// Root polynomial of degree 2: 6 terms.
    Root2,
}

impl Terms {
    /// How many terms; a fit without a pull needs at least as many patches.
    pub const fn count(self) -> usize {
        match self {
            Terms::Linear => 3,
            Terms::Root2 => 6,
        }
    }

    /// The terms of a linear RGB colour, R, G, B first, each in the unit of the colour itself; then, for the root polynomial, the
    /// roots of RG, GB and RB.
    ///
    /// A negative channel (noise below black) counts as 0 inside the roots.
    pub fn expand(self, rgb: [f64; 3]) -> Vec<f64> {
        let mut terms = rgb.to_vec();
        if self == Terms::Root2 {
            let [r, g, b] = rgb.map(|v| v.max(0.0));
            terms.extend([r * g, g * b, r * b].map(f64::sqrt));
        }
        terms
    }

    /// The map that takes `from` closest to `to` in the sense of weighted least squares, channel by channel: row = output channel R,
    /// G, B; column = term, in the order of [`Terms::expand`].
    ///
    /// `from` and `to` are linear RGB of the same patches in the same order; `weight` of a patch (its index) in a channel says how
    /// much its error there counts, squared: weight w counts like w^2 equal patches of weight 1. `pull` draws every coefficient towards
    /// the map that changes nothing, as if it had been seen there with that weight, squared; 0 for none.
    ///
    /// `None` if the patches leave the map open.
    pub fn fit(
        self,
        from: &[[f64; 3]],
        to: &[[f64; 3]],
        weight: impl Fn(usize, usize) -> f64,
        pull: f64,
    ) -> Option<DMatrix<f64>> {
        let n = self.count();
        let rows: Vec<Vec<f64>> = from.iter().map(|rgb| self.expand(*rgb)).collect();
        let mut map = DMatrix::zeros(3, n);
        for (c, mut coefficients) in map.row_iter_mut().enumerate() {
            let terms = DMatrix::from_fn(rows.len(), n, |i, j| rows[i][j] * weight(i, c));
            let wanted = DVector::from_fn(rows.len(), |i, _| to[i][c] * weight(i, c));
            // The first three terms of every expansion are R, G and B themselves.
            let unchanged = DVector::from_fn(n, |j, _| if j == c { 1.0 } else { 0.0 });
            let row = drawn_towards(&unchanged, pull, &terms, &wanted)?;
            coefficients.copy_from(&row.transpose());
        }
        Some(map)
    }
}

/// Least squares solution x of `a x = y` with every coefficient drawn towards `prior`, by `pull`, the ratio of the variance of a
/// row of `y` to that of the prior.
pub(super) fn drawn_towards(
    prior: &DVector<f64>,
    pull: f64,
    a: &DMatrix<f64>,
    y: &DVector<f64>,
) -> Option<DVector<f64>> {
    let n = a.ncols();
    let normal = a.transpose() * a + DMatrix::identity(n, n) * pull;
    let right = a.transpose() * y + prior * pull;
    normal.cholesky().map(|c| c.solve(&right))
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
        for terms in [Terms::Linear, Terms::Root2] {
            let bright = terms.expand([0.4, 0.3, 0.2]);
            let dark = terms.expand([0.1, 0.075, 0.05]);
            assert_eq!(bright.len(), terms.count());
            for (b, d) in bright.iter().zip(&dark) {
                assert!(
                    (b - 4.0 * d).abs() < 1e-12,
                    "{terms:?}: {bright:?} {dark:?}"
                );
            }
        }
    }

    #[test]
    fn weight_counts_like_repeats() {
        let mut to = PATCHES;
        to[3][1] = 0.5;
        let weight = |i: usize, _| match i {
            3 => 3.0f64.sqrt(),
            5 => 0.0,
            _ => 1.0,
        };
        let weighted = Terms::Linear.fit(&PATCHES, &to, weight, 0.0).unwrap();

        let order = [0, 1, 2, 3, 3, 3, 4, 6, 7];
        let (from, to) = (order.map(|i| PATCHES[i]), order.map(|i| to[i]));
        let repeated = Terms::Linear.fit(&from, &to, |_, _| 1.0, 0.0).unwrap();
        assert!((weighted - repeated).norm() < 1e-12);
    }

    /// Grey patches tell nothing of how channels mix: drawn to the map that changes nothing, they leave colours alone.
    #[test]
    fn what_patches_leave_open_stays_as_it_was() {
        let grey: Vec<[f64; 3]> = (1..=9).map(|i| [0.1 * f64::from(i); 3]).collect();
        let map = Terms::Linear.fit(&grey, &grey, |_, _| 1.0, 1e-3).unwrap();
        assert!((map - DMatrix::identity(3, 3)).norm() < 1e-9);
        assert!(
            Terms::Root2
                .fit(&PATCHES[..0], &PATCHES[..0], |_, _| 1.0, 0.0)
                .is_none()
        );
    }
}
