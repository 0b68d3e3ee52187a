//! Kriging over spots of paper: a plane plus a Gaussian process, solved once for a process and then fitted to any axes of what was
//! seen (universal kriging: Rasmussen & Williams 2006, *Gaussian Processes for Machine Learning*, sections 2.2 and 2.7).

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::spot::Spot;

/// Texture of matt paper and rounding: no spot is trusted closer than this (relative; common practice, 0.3 %).
const SPOT_FLOOR: f64 = 0.003;

/// The Gaussian process beside the plane: a sum of two squared-exponential kernels (Rasmussen & Williams 2006, section
/// 5.4.3). Lamps and windows light a card smoothly, and that part reaches across the bay; what is local (a shadow's edge, a
/// fold) does not, and where no paper is near it counts as not known.
#[derive(Debug, Clone, Copy)]
pub(super) struct Process {
    /// Variance of the smooth part over that of a spot.
    pub(super) smooth: f64,
    /// Variance of the local part over that of a spot.
    pub(super) local: f64,
}

/// The smoothest process: the largest variance of the smooth part over that of a spot, and nothing local.
pub(super) const SMOOTHEST: Process = Process {
    smooth: 300.0,
    local: 0.0,
};

/// Length scale of the smooth part, over the span of the paper: a lamp no nearer than the card is wide.
pub(super) const SMOOTH: f64 = 1.5;

/// Length scale of the local part, over the span of the paper: less than the bay is wide.
pub(super) const LOCAL: f64 = 0.1;

/// All spots solved for under a process.
#[derive(Debug, Clone)]
pub(super) struct Solver {
    pub(super) process: Process,
    /// Half the reach of the paper, plane units.
    pub(super) span: f64,
    chol: Cholesky<f64, Dyn>,
    basis: DMatrix<f64>,
    ki_b: DMatrix<f64>,
    gls: DMatrix<f64>,
    /// Diagonal of the projected inverse: leave-one-out with an estimated trend.
    projected: DVector<f64>,
}

/// Strength or tint of the light under the process that suits it.
#[derive(Debug, Clone)]
pub(super) struct Part {
    pub(super) solver: Solver,
    /// Spots x axes, and terms of the plane x axes.
    pub(super) weights: DMatrix<f64>,
    pub(super) beta: DMatrix<f64>,
    /// Covariance of a spot about the field, between axes.
    of_spot: DMatrix<f64>,
}

impl Solver {
    pub(super) fn new(
        spots: &[&Spot],
        kernels: &Kernels,
        centre: (f64, f64),
        trend: usize,
        process: Process,
    ) -> Option<Solver> {
        let n = spots.len();
        let span = kernels.span;
        let chol = Cholesky::new(kernels.covariance(&process))?;
        let basis = DMatrix::from_fn(n, trend, |i, j| {
            base((spots[i].x, spots[i].y), centre, span)[j]
        });
        let ki_b = chol.solve(&basis);
        let gls = (basis.transpose() * &ki_b).try_inverse()?;
        let taken = &ki_b * &gls;
        let inverse = inverse_diagonal(&chol);
        let projected = DVector::from_fn(n, |i, _| {
            (inverse[i] - taken.row(i).dot(&ki_b.row(i))).max(1e-12)
        });
        Some(Solver {
            process,
            span,
            chol,
            basis,
            ki_b,
            gls,
            projected,
        })
    }

    /// Coefficients of the plane, and the solved residuals.
    fn solve(&self, seen: &DMatrix<f64>) -> (DMatrix<f64>, DMatrix<f64>) {
        let beta = &self.gls * (self.ki_b.transpose() * seen);
        let residual = self.chol.solve(&(seen - &self.basis * &beta));
        (beta, residual)
    }

    /// Spots beyond what the plane uses up.
    fn freedom(&self) -> Option<f64> {
        let (n, trend) = self.basis.shape();
        (n > trend).then(|| (n - trend) as f64)
    }

    /// Leave-one-out predictive density (natural log) of what was seen, spots x axes.
    pub(super) fn score(&self, seen: &DMatrix<f64>) -> f64 {
        let Some(freedom) = self.freedom() else {
            return 0.0;
        };
        let (_, residual) = self.solve(seen);
        let mut score = 0.0;
        for (y, r) in seen.column_iter().zip(residual.column_iter()) {
            let s2 = (y.dot(&r) / freedom).max(SPOT_FLOOR.powi(2));
            for (r, p) in r.iter().zip(&self.projected) {
                let (e, v) = (r / p, s2 / p);
                score -= 0.5 * (e * e / v + v.ln());
            }
        }
        score
    }

    /// `own` is the covariance of a spot between axes from the spread within it, for where there are too few to tell.
    pub(super) fn fit(&self, seen: &DMatrix<f64>, own: DMatrix<f64>) -> Part {
        let (beta, weights) = self.solve(seen);
        let axes = seen.ncols();
        let mut of_spot = match self.freedom() {
            Some(freedom) => weights.transpose() * seen / freedom,
            None => own,
        };
        of_spot += DMatrix::identity(axes, axes) * SPOT_FLOOR.powi(2);
        Part {
            solver: self.clone(),
            weights,
            beta,
            of_spot,
        }
    }
}

impl Part {
    /// Covariance between the axes of the mean over `places`, whose terms of the plane are `bases`.
    pub(super) fn variance(
        &self,
        places: &[(f64, f64)],
        points: &[(f64, f64)],
        bases: &[[f64; 3]],
    ) -> DMatrix<f64> {
        let s = &self.solver;
        let n = places.len() as f64;
        let between = |a: (f64, f64), b: (f64, f64)| s.process.covariance(a, b, s.span);
        let mean = |f: &dyn Fn((f64, f64)) -> f64| places.iter().map(|&p| f(p)).sum::<f64>() / n;
        let k = DVector::from_fn(points.len(), |i, _| mean(&|p| between(p, points[i])));
        let ki_k = s.chol.solve(&k);
        let b = DVector::from_fn(s.basis.ncols(), |j, _| {
            bases.iter().map(|base| base[j]).sum::<f64>() / n
        });
        let r = b - s.basis.transpose() * &ki_k;
        let own = mean(&|p| mean(&|q| between(p, q)));
        let v = own - k.dot(&ki_k) + (r.transpose() * &s.gls * &r)[(0, 0)];
        &self.of_spot * v.max(0.0)
    }
}

impl Process {
    fn covariance(&self, a: (f64, f64), b: (f64, f64), span: f64) -> f64 {
        let part = |variance: f64, length: f64| {
            if variance > 0.0 {
                variance * kernel(a, b, length * span)
            } else {
                0.0
            }
        };
        part(self.smooth, SMOOTH) + part(self.local, LOCAL)
    }
}

/// The squared-exponential kernel of unit variance.
pub(super) fn kernel(a: (f64, f64), b: (f64, f64), length: f64) -> f64 {
    let d2 = (a.0 - b.0).powi(2) + (a.1 - b.1).powi(2);
    (-0.5 * d2 / (length * length)).exp()
}

/// Both kernels between all spots, of unit variance: every candidate process is a sum of them.
pub(super) struct Kernels {
    span: f64,
    smooth: DMatrix<f64>,
    local: DMatrix<f64>,
}

impl Kernels {
    pub(super) fn of(spots: &[&Spot], span: f64) -> Kernels {
        let between = |length: f64| {
            let n = spots.len();
            let mut k = DMatrix::identity(n, n);
            for j in 0..n {
                for i in j + 1..n {
                    let (a, b) = (spots[i], spots[j]);
                    k[(i, j)] = kernel((a.x, a.y), (b.x, b.y), length * span);
                    k[(j, i)] = k[(i, j)];
                }
            }
            k
        };
        Kernels {
            span,
            smooth: between(SMOOTH),
            local: between(LOCAL),
        }
    }

    /// Covariance of the spots under a process, in units of the variance of a spot.
    fn covariance(&self, process: &Process) -> DMatrix<f64> {
        let mut k = &self.smooth * process.smooth + &self.local * process.local;
        for i in 0..k.nrows() {
            k[(i, i)] += 1.0;
        }
        k
    }
}

/// The diagonal of the inverse of a matrix from its Cholesky factor `L`: sums of squares of the columns of `L^-1`, which are
/// solved for where they are not zero.
fn inverse_diagonal(chol: &Cholesky<f64, Dyn>) -> DVector<f64> {
    let l = chol.l_dirty();
    let n = l.nrows();
    let mut column = vec![0.0; n];
    DVector::from_fn(n, |j, _| {
        column[j..].fill(0.0);
        column[j] = 1.0;
        let mut sum = 0.0;
        for k in j..n {
            let v = column[k] / l[(k, k)];
            sum += v * v;
            let below = &l.as_slice()[k * n + k + 1..(k + 1) * n];
            for (c, l) in column[k + 1..].iter_mut().zip(below) {
                *c -= v * l;
            }
        }
        sum
    })
}

pub(super) fn base(p: (f64, f64), centre: (f64, f64), span: f64) -> [f64; 3] {
    [1.0, (p.0 - centre.0) / span, (p.1 - centre.1) / span]
}

#[cfg(test)]
mod tests {
    use nalgebra::Vector3;

    use super::*;

    /// Against the whole inverse of the same matrix by the library.
    #[test]
    fn the_diagonal_of_an_inverse() {
        let spots: Vec<Spot> = (0..12)
            .flat_map(|i| (0..5).map(move |j| (f64::from(i) * 15.0, f64::from(j) * 15.0)))
            .map(|(x, y)| Spot {
                x,
                y,
                ln: Vector3::zeros(),
                var: Vector3::repeat(1e-6),
                texture: 0.01,
                clipped: 0.0,
                crushed: 0.0,
            })
            .collect();
        let spots: Vec<&Spot> = spots.iter().collect();
        let process = Process {
            smooth: 30.0,
            local: 3.0,
        };
        let chol = Cholesky::new(Kernels::of(&spots, 90.0).covariance(&process)).unwrap();
        let whole = chol.inverse().diagonal();
        assert!((inverse_diagonal(&chol) - whole).amax() < 1e-9);
    }
}
