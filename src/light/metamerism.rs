//! What another lamp or camera does to inks and to dyes: a prior from a population, and what one photo's inks make of it.
//!
//! An ink and a dye of one colour are not of one spectrum, so another light or camera moves them unlike each other (metamerism,
//! CIE 17-25-006). But both are moved by the same few changes of lamp, sensor and matrix, and a population shows how those go
//! together: lamps, cameras, inks and dyes drawn from ranges, none of them a real one (`tests/scenes/metamerism.rs` states them and
//! writes `calibration/metamerism.json`). From its inks one photo gets the changes that are likely in it (Bayes linear
//! regression: Rasmussen & Williams 2006, *Gaussian Processes for Machine Learning*, 2.1), and with them how far a dye moves.
//! What inks and dyes of about one hue share beyond the population (a maker's taste in developing) is carried over by hue, as
//! in [`super::hue`].
//!
//! All moves are natural logarithms of relative light in linear BT.2020, per depth ([`depth`]).

use std::sync::LazyLock;

use nalgebra::{Cholesky, DMatrix, DVector, Matrix3, Vector3, Vector4};
use serde::{Deserialize, Serialize};

use super::hue::{depth, kernel, place};

/// The population about one colour.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Near {
    /// The colour, natural log of relative light.
    pub ln: [f64; 3],
    /// How far inks of this colour move, per common change of lamp and camera.
    pub inks: Vec<[f64; 3]>,
    /// The same of dyes.
    pub dyes: Vec<[f64; 3]>,
    /// Covariance of what single inks move beyond that: rr, rg, rb, gg, gb, bb.
    pub inks_own: [f64; 6],
    /// Covariance of what dyes are missed by, over [`super::hue::Hue::unrest`] of the photo.
    pub dyes_missed: [f64; 6],
}

/// Inks and dyes of all colours under changes of lamp and camera. The changes are of unit variance and independent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Population {
    /// Colours all over where inks and dyes lie.
    pub places: Vec<Near>,
}

static SHIPPED: LazyLock<Population> = LazyLock::new(|| {
    serde_json::from_str(include_str!("../../calibration/metamerism.json"))
        .expect("the table that is part of the program")
});

/// How far about a colour of the population counts, in length scales of hue and depth.
const WIDTH: f64 = 0.6;
/// How strong the changes may be beside those of the population, what is the inks' own beside theirs, and how far a change that
/// the population has not may move colours, per depth: of these the most likely one is taken. A photo develops its colours in
/// ways that the population has not, so the inks' own way and the noise of a channel are taken larger than there: of a few values
/// those that served best on whole photos (study seeds 5501 and 9203, in diffuse light and in any).
const STRENGTH: [f64; 7] = [0.05, 0.12, 0.25, 0.45, 0.7, 1.0, 1.5];
const OWN: [f64; 2] = [2.0, 4.0];
const BEYOND: [f64; 2] = [0.0, 0.015];
/// How closely a patch is seen, natural log: brightness, with the light over the card, and each channel, with print and noise.
const BRIGHTNESS: f64 = 0.02;
const CHANNEL: f64 = 0.015;

impl Population {
    /// The one that the program carries.
    pub fn shipped() -> &'static Population {
        &SHIPPED
    }

    /// What each place has to say about a colour (natural log of relative light); the shares sum to 1, also far from all.
    pub fn shares(&self, ln: &Vector3<f64>) -> Vec<f64> {
        let at = place(ln);
        let apart: Vec<f64> = self
            .places
            .iter()
            .map(|p| (place(&p.ln.into()) - at).norm_squared() / (2.0 * WIDTH * WIDTH))
            .collect();
        let nearest = apart.iter().copied().fold(f64::INFINITY, f64::min);
        let near: Vec<f64> = apart.iter().map(|a| (nearest - a).exp()).collect();
        let all: f64 = near.iter().sum();
        near.iter().map(|n| n / all).collect()
    }

    /// How far each change moves something of a colour: channels x changes.
    fn moves<'a>(
        &'a self,
        ln: &Vector3<f64>,
        of: impl Fn(&'a Near) -> &'a [[f64; 3]],
    ) -> DMatrix<f64> {
        let mut moves = DMatrix::zeros(3, of(&self.places[0]).len());
        for (near, share) in self.places.iter().zip(self.shares(ln)) {
            for (m, moved) in of(near).iter().enumerate() {
                for c in 0..3 {
                    moves[(c, m)] += share * moved[c];
                }
            }
        }
        moves
    }

    fn covariance(&self, ln: &Vector3<f64>, of: impl Fn(&Near) -> &[f64; 6]) -> Matrix3<f64> {
        self.places
            .iter()
            .zip(self.shares(ln))
            .map(|(near, share)| symmetric(of(near)) * share)
            .sum()
    }

    /// Covariance (natural log of relative light) of how far a dye of the colour `ln` moves under a lamp and a camera of which nothing
    /// is known: as if they were drawn anew from the population.
    pub fn unknown(&self, ln: &Vector3<f64>) -> Matrix3<f64> {
        let moves = self.moves(ln, |near| &near.dyes);
        let all = &moves * moves.transpose() * depth(ln).powi(2);
        Matrix3::from_fn(|a, b| all[(a, b)])
    }

    /// Covariance of what a dye of the colour `ln` is missed by, per depth squared, over [`super::hue::Hue::unrest`].
    pub fn dyes_missed(&self, ln: &Vector3<f64>) -> Matrix3<f64> {
        self.covariance(ln, |near| &near.dyes_missed)
    }
}

fn symmetric([rr, rg, rb, gg, gb, bb]: &[f64; 6]) -> Matrix3<f64> {
    Matrix3::new(*rr, *rg, *rb, *rg, *gg, *gb, *rb, *gb, *bb)
}

/// The changes that are likely in one photo.
#[derive(Debug, Clone)]
pub struct Changes {
    population: &'static Population,
    /// How far they move dyes of the colour of each place of the population, per depth.
    dyes: Vec<Vector3<f64>>,
    /// Where the inks lie, and how far what moves each of them beyond the population reaches dyes of its hue: inks x channels.
    places: Vec<Vector4<f64>>,
    beyond: Vec<Vector3<f64>>,
}

impl Changes {
    /// The changes that move inks as seen: natural log of relative light in this photo and in the session. `None` if nothing
    /// can be said.
    pub fn of(
        population: &'static Population,
        inks: &[(Vector3<f64>, Vector3<f64>)],
    ) -> Option<Changes> {
        let n = inks.len();
        let places: Vec<Vector4<f64>> = inks.iter().map(|i| place(&i.0)).collect();
        let depths: Vec<f64> = inks.iter().map(|i| depth(&i.0)).collect();
        let moved = DVector::from_fn(3 * n, |k, _| {
            let (seen, session) = inks[k / 3];
            (session - seen)[k % 3] / depths[k / 3]
        });
        let mut by_change = DMatrix::zeros(3 * n, population.places[0].inks.len());
        let mut own: DMatrix<f64> = DMatrix::zeros(3 * n, 3 * n);
        let mut noise: DMatrix<f64> = DMatrix::zeros(3 * n, 3 * n);
        for (i, (seen, _)) in inks.iter().enumerate() {
            let moves = population.moves(seen, |near| &near.inks);
            by_change.rows_mut(3 * i, 3).copy_from(&moves);
            let of_ink = population.covariance(seen, |near| &near.inks_own);
            own.view_mut((3 * i, 3 * i), (3, 3)).copy_from(&of_ink);
            let of_noise = (Matrix3::from_element(BRIGHTNESS * BRIGHTNESS)
                + Matrix3::identity() * (CHANNEL * CHANNEL))
                / depths[i].powi(2);
            noise.view_mut((3 * i, 3 * i), (3, 3)).copy_from(&of_noise);
        }
        let common = &by_change * by_change.transpose();
        let by_hue = DMatrix::from_fn(n, n, |i, j| kernel(&places[i], &places[j]))
            .kronecker(&Matrix3::identity());
        let mut best: Option<(f64, f64, f64, DVector<f64>)> = None;
        for beyond in BEYOND {
            let rest = &noise + &by_hue * (beyond * beyond);
            for share in OWN {
                let moves = &common + &own * (share * share);
                for strength in STRENGTH {
                    let Some(chol) = Cholesky::new(&moves * (strength * strength) + &rest) else {
                        continue;
                    };
                    let weights = chol.solve(&moved);
                    let ln_det: f64 = chol.l_dirty().diagonal().iter().map(|v| v.ln()).sum();
                    let likely = -ln_det - 0.5 * moved.dot(&weights);
                    if best.as_ref().is_none_or(|b| likely > b.0) {
                        best = Some((likely, strength, beyond, weights));
                    }
                }
            }
        }
        let (_, strength, beyond, weights) = best?;
        // How much of each change there is.
        let amounts = by_change.transpose() * &weights * (strength * strength);
        let of_dye = |near: &Near| {
            near.dyes
                .iter()
                .zip(&amounts)
                .map(|(moved, amount)| Vector3::from(*moved) * *amount)
                .sum()
        };
        Some(Changes {
            population,
            dyes: population.places.iter().map(of_dye).collect(),
            places,
            beyond: (0..n)
                .map(|i| Vector3::from_fn(|c, _| weights[3 * i + c]) * (beyond * beyond))
                .collect(),
        })
    }

    /// How far a dye of the colour `ln` (natural log of relative light in this photo) moves to the session, natural log.
    pub fn moved(&self, ln: &Vector3<f64>) -> Vector3<f64> {
        let shares = self.population.shares(ln);
        let common: Vector3<f64> = self.dyes.iter().zip(shares).map(|(d, s)| d * s).sum();
        let at = place(ln);
        let beyond: Vector3<f64> = self
            .places
            .iter()
            .zip(&self.beyond)
            .map(|(p, b)| b * kernel(&at, p))
            .sum();
        (common + beyond) * depth(ln)
    }
}

#[cfg(test)]
mod tests {
    use super::super::hue::tests::inks;
    use super::*;
    use approx::assert_relative_eq;

    /// Inks of many colours, moved by some amounts of the population's changes.
    fn moved_by(amounts: &[f64]) -> Vec<(Vector3<f64>, Vector3<f64>)> {
        inks(|ln| at(Population::shipped(), ln, amounts, |near| &near.inks))
    }

    fn at<'a>(
        population: &'a Population,
        ln: &Vector3<f64>,
        amounts: &[f64],
        of: impl Fn(&'a Near) -> &'a [[f64; 3]],
    ) -> Vector3<f64> {
        let mut all = DVector::zeros(population.places[0].inks.len());
        all.rows_mut(0, amounts.len())
            .copy_from(&DVector::from_column_slice(amounts));
        let moves = population.moves(ln, of) * all;
        Vector3::from_fn(|c, _| moves[c]) * depth(ln)
    }

    /// Synthetic-known: from what the population's first changes do to inks, most of what they do to dyes is found.
    #[test]
    fn a_change_of_the_population_is_found_by_its_inks() {
        let population = Population::shipped();
        let (mut all, mut off) = (0.0, 0.0);
        for amounts in [[1.5, 0.0, 0.0], [0.0, -1.5, 0.0], [1.0, 0.8, -0.8]] {
            let changes = Changes::of(population, &moved_by(&amounts)).unwrap();
            for dye in [[-0.2, -1.4, -0.3], [-0.1, -0.6, -1.2], [-1.3, -0.7, -0.1]] {
                let dye = Vector3::from(dye);
                let want = at(population, &dye, &amounts, |near| &near.dyes);
                all += want.norm_squared();
                off += (changes.moved(&dye) - want).norm_squared();
            }
        }
        assert!(off < 0.25 * all, "{off} of {all}");
    }

    /// In the session's own light, where inks stay, dyes stay.
    #[test]
    fn where_inks_stay_dyes_stay() {
        let changes = Changes::of(Population::shipped(), &moved_by(&[])).unwrap();
        let dye = Vector3::new(-0.2, -1.4, -0.3);
        assert!(changes.moved(&dye).norm() < 1e-9);
    }

    /// Every colour has its share of the table, also one that lies far from all of it.
    #[test]
    fn the_table_speaks_for_every_colour() {
        let population = Population::shipped();
        for ln in [[0.0; 3], [-0.3, -1.2, -0.2], [-6.0, 0.0, -6.0]] {
            let ln = Vector3::from(ln);
            assert_relative_eq!(
                population.shares(&ln).iter().sum::<f64>(),
                1.0,
                epsilon = 1e-12
            );
            assert!(population.dyes_missed(&ln).cholesky().is_some());
        }
    }

    /// Blue light of a yellow dye comes in at the edge of its band, and by the matrix from the other channels: it is missed most.
    #[test]
    fn the_blue_of_a_yellow_dye_is_the_least_sure() {
        let missed = Population::shipped().dyes_missed(&Vector3::new(-0.05, -0.3, -1.5));
        assert!(missed[(2, 2)] > 4.0 * missed[(0, 0)].max(missed[(1, 1)]));
    }
}
