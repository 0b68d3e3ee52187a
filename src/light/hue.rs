//! What the inks of the card are moved and missed by, hue for hue: how much lamp or camera differ from the session's.
//!
//! By the law of Beer and Lambert a dye's logarithm of light grows in proportion to its concentration, so what another lamp or
//! camera does to it grows with its depth. Per depth, then, the move is taken for a smooth function of hue (the direction of the
//! logarithm of light) and of depth: a Gaussian process with the inks as its observations (Rasmussen & Williams 2006,
//! *Gaussian Processes for Machine Learning*, section 2.2). How far each ink is missed when the others predict it tells how little
//! inks agree. How dyes go is another matter: see [`super::metamerism`].

use nalgebra::{Cholesky, DMatrix, DVector, Dyn, Matrix3, Vector3, Vector4};

use super::tint;

/// The move of colours from this photo to the session, by hue and depth.
#[derive(Debug, Clone)]
pub struct Hue {
    places: Vec<Vector4<f64>>,
    chol: Cholesky<f64, Dyn>,
    /// Covariance of the move per depth, between channels.
    spread: Matrix3<f64>,
    /// Mean square of the tint that inks are missed by, per depth, when each is predicted from the others.
    missed: f64,
    /// The same of the tint that they are moved by.
    moved_by: f64,
    /// Per ink: natural log of light as predicted from the others.
    left_out: Vec<Vector3<f64>>,
}

/// Length scale over hue: inks 30 degrees apart in the directions of log light tell of each other, at 60 hardly.
const HUE: f64 = 0.5;
/// Length scale over the natural log of depth: an ink tells of a dye e times as deep.
const DEPTH: f64 = 1.0;
/// Variances of an ink's own way over that of the smooth move, of which the one that predicts left-out inks best is taken.
const OWN: [f64; 3] = [0.1, 0.3, 1.0];
/// Depth (natural log) under which errors and moves no longer shrink with the colour: paper, print and rounding.
const FLOOR: f64 = 0.15;
/// Fewest inks.
const LEAST: usize = 4;

/// How far inks are moved, beside what they are missed by, in how much dyes are missed by: both tell of it. The population of
/// [`super::metamerism`] tells which part makes what it is missed by likeliest: `metamerism -- check` prints it.
pub const MOVED: f64 = 0.3;

/// Depth of a colour: how much light it takes away (norm of the natural log of relative light), with a floor under which errors
/// no longer shrink with the colour.
pub fn depth(ln: &Vector3<f64>) -> f64 {
    (ln.norm_squared() + FLOOR * FLOOR).sqrt()
}

/// Where a colour (natural log of relative light) lies: hue and depth in units of their length scales.
pub fn place(ln: &Vector3<f64>) -> Vector4<f64> {
    let d = depth(ln);
    let hue = ln / (d * HUE);
    Vector4::new(hue.x, hue.y, hue.z, d.ln() / DEPTH)
}

/// How much a colour at one place tells of one at another, 0 to 1.
pub(super) fn kernel(a: &Vector4<f64>, b: &Vector4<f64>) -> f64 {
    (-0.5 * (a - b).norm_squared()).exp()
}

impl Hue {
    /// Fits the move to inks: natural log of relative light in this photo and in the session. `None` if there are too few.
    pub fn fit(inks: &[(Vector3<f64>, Vector3<f64>)]) -> Option<Hue> {
        if inks.len() < LEAST {
            return None;
        }
        OWN.iter()
            .filter_map(|own| Hue::with(inks, *own))
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|best| best.1)
    }

    /// The fit with a given share of own ways, and its leave-one-out predictive density (Rasmussen & Williams 2006, 5.4.2).
    fn with(inks: &[(Vector3<f64>, Vector3<f64>)], own: f64) -> Option<(f64, Hue)> {
        let n = inks.len();
        let places: Vec<Vector4<f64>> = inks.iter().map(|i| place(&i.0)).collect();
        let k = DMatrix::from_fn(n, n, |i, j| {
            kernel(&places[i], &places[j]) + if i == j { own } else { 0.0 }
        });
        let moves = DMatrix::from_fn(n, 3, |i, c| (inks[i].1 - inks[i].0)[c] / depth(&inks[i].0));
        let chol = Cholesky::new(k)?;
        let weights = chol.solve(&moves);
        let inverse = chol.inverse();
        let spread = Matrix3::from_fn(|a, b| {
            (moves.column(a).dot(&weights.column(b)) + moves.column(b).dot(&weights.column(a)))
                / (2 * n) as f64
        });
        let (mut density, mut left_out) = (0.0, Vec::new());
        let (mut missed, mut moved_by) = (0.0, 0.0);
        for (i, ink) in inks.iter().enumerate() {
            let variance = 1.0 / inverse[(i, i)];
            let off = Vector3::from_fn(|c, _| weights[(i, c)] * variance);
            for c in 0..3 {
                let v = variance * spread[(c, c)].max(LEAST_SPREAD);
                density -= 0.5 * (off[c] * off[c] / v + v.ln());
            }
            // What is alike in all channels is an error of the light over the card, not of colour.
            missed += tint(&off).norm_squared() / n as f64;
            let ink_move = Vector3::from_fn(|c, _| moves[(i, c)]);
            moved_by += tint(&ink_move).norm_squared() / n as f64;
            left_out.push(ink.1 - off * depth(&ink.0));
        }
        let hue = Hue {
            places,
            chol,
            spread,
            missed,
            moved_by,
            left_out,
        };
        Some((density, hue))
    }

    /// Per ink, natural log of light as the others predict it for the session.
    pub fn left_out(&self) -> &[Vector3<f64>] {
        &self.left_out
    }

    /// Covariance (natural log of relative light) of the move of a colour, as far as the inks leave it open.
    pub fn covariance(&self, ln: &Vector3<f64>) -> Matrix3<f64> {
        let k = self.near(ln);
        let open = (1.0 - k.dot(&self.chol.solve(&k))).max(0.0);
        self.spread * (open * depth(ln).powi(2))
    }

    /// Variance of the tint that inks are missed by, per depth squared: the sum over channels, natural log squared.
    pub fn missed(&self) -> f64 {
        self.missed
    }

    /// How surely lamp or camera are not those of the session, 0 to 1. `usual` is what inks are missed by among photos of the
    /// session itself ([`Hue::missed`]).
    pub fn unusual(&self, usual: f64) -> f64 {
        ((self.missed - usual) / self.missed.max(f64::MIN_POSITIVE)).max(0.0)
    }

    /// How much lamp or camera upset the inks, variance of tint per depth squared, natural log squared: what they are missed by,
    /// and a part of how far they are moved.
    pub fn unrest(&self) -> f64 {
        self.unrest_with(MOVED)
    }

    /// The same with another part of how far they are moved.
    pub fn unrest_with(&self, part: f64) -> f64 {
        self.missed + part * self.moved_by
    }

    fn near(&self, ln: &Vector3<f64>) -> DVector<f64> {
        let at = place(ln);
        DVector::from_iterator(
            self.places.len(),
            self.places.iter().map(|p| kernel(&at, p)),
        )
    }
}

/// Least variance of a move per depth: print grain and noise, about 0.2 %.
const LEAST_SPREAD: f64 = 0.002 * 0.002;

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Inks of all hues and some depths.
    pub fn inks(
        moved: impl Fn(&Vector3<f64>) -> Vector3<f64>,
    ) -> Vec<(Vector3<f64>, Vector3<f64>)> {
        let mut all = Vec::new();
        for depth in [0.2, 0.6, 1.2] {
            for hue in [
                [1.0, 0.1, 0.1],
                [0.1, 1.0, 0.1],
                [0.1, 0.1, 1.0],
                [1.0, 0.8, 0.1],
                [0.1, 0.9, 1.0],
                [0.8, 0.1, 0.9],
                [0.6, 0.6, 0.6],
            ] {
                let ln = -Vector3::from(hue) * depth;
                all.push((ln, ln + moved(&ln)));
            }
        }
        all
    }

    /// Synthetic-known: where channels mix alike for all colours, the inks of a card tell of each other how they are moved. Those at
    /// either end of the depths have fewer to tell of them.
    #[test]
    fn a_common_move_is_found() {
        let mix = Matrix3::new(0.04, 0.02, 0.0, 0.01, -0.03, 0.02, 0.0, 0.03, 0.05);
        let card = inks(|ln| mix * ln);
        let hue = Hue::fit(&card).unwrap();
        let (mut missed, mut moved) = (0.0, 0.0);
        for ((seen, session), left_out) in card.iter().zip(hue.left_out()) {
            missed += (left_out - session).norm_squared();
            moved += (session - seen).norm_squared();
        }
        assert!(missed < 0.1 * moved, "{missed} of {moved}");
    }

    /// Inks that do not go along with each other tell of dyes that will not either.
    #[test]
    fn unruly_inks_leave_more_open() {
        let ruly = Hue::fit(&inks(|ln| ln * 0.05)).unwrap();
        let mut turn = 0.0;
        let mut unruly = inks(|ln| ln * 0.05);
        for ink in &mut unruly {
            turn += 2.4;
            ink.1 += Vector3::new(f64::sin(turn), f64::cos(turn), f64::sin(2.0 * turn)) * 0.03;
        }
        let unruly = Hue::fit(&unruly).unwrap();
        assert!(unruly.unrest() > 4.0 * ruly.unrest());
    }

    /// Of a hue that no ink has less is known.
    #[test]
    fn far_from_all_inks_nothing_is_claimed() {
        let grey: Vec<_> = (1..9)
            .map(|i| Vector3::repeat(-0.2 * f64::from(i)))
            .map(|ln| (ln, ln * 1.05))
            .collect();
        let hue = Hue::fit(&grey).unwrap();
        let (yellow, shade) = (Vector3::new(0.0, 0.0, -1.2), Vector3::repeat(-0.7));
        assert!(hue.covariance(&yellow).trace() > 4.0 * hue.covariance(&shade).trace());
    }
}
