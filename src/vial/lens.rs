//! The vial as a lens: how it gathers the light of a lamp on the paper behind itself, and what that leaves open.
//!
//! A filled vial throws its own light and shadow where it stands, so the paper seen through it may be brighter or darker than
//! the card beside it, alike in all channels, and no patch shows by how much. But light that is gathered is gathered unevenly:
//! stripes run down the liquid. Their course from the vial's axis outwards tells how strongly it gathers, and where it is that
//! of the session, the vial gathers as it did there. Measures and judges; never corrects.

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

use super::bay::BayPicture;
use crate::light::spot::median;
use crate::place::Area;

/// Places from the axis outwards at which the light is looked at.
pub const PLACES: usize = 7;

/// How the light runs from the vial's axis outwards, the mean of both sides: natural log, without the liquid's own colour,
/// summing to zero.
pub type Across = [f64; PLACES];

/// Distance of neighbouring places in parts of the vial's outer radius: they reach as far as the band that is sampled.
const APART: f64 = 0.1;

/// Share of the liquid's height left out at each end: meniscus and base.
const ENDS: f64 = 0.12;

/// Refractive index of water: rays turn towards the axis on entering, so the path through the liquid shortens outwards by
/// less than the chord.
const WATER: f64 = 1.333;

/// What the session's vials did to its light.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Lens {
    /// The mean course over the photos of the session.
    pub across: Across,
    /// How far single photos of the session were from it: root mean square of [`unlike`].
    pub scatter: f64,
}

impl Lens {
    /// The session's lens from the courses of its photos; `None` if there are none.
    pub fn of(seen: &[Across]) -> Option<Lens> {
        let n = seen.len() as f64;
        if seen.is_empty() {
            return None;
        }
        let across = std::array::from_fn(|i| seen.iter().map(|a| a[i]).sum::<f64>() / n);
        let square: f64 = seen.iter().map(|a| unlike(a, &across).powi(2)).sum();
        // The mean takes one degree of freedom.
        let scatter = (square / (n - 1.0).max(1.0)).sqrt();
        Some(Lens { across, scatter })
    }
}

/// How unlike two courses are: the root mean square of their difference, natural log.
pub fn unlike(a: &Across, b: &Across) -> f64 {
    let square: f64 = a.iter().zip(b).map(|(a, b)| (a - b) * (a - b)).sum();
    (square / PLACES as f64).sqrt()
}

/// The course of the light across a vial that stands upright between the outlines of `liquid`; `None` if too little of it is
/// in the picture or not clipped.
pub fn across(p: &BayPicture, liquid: Area) -> Option<Across> {
    let (axis, radius) = (liquid.centre().0, liquid.w / 2.0);
    let rows = p.row(liquid.y + ENDS * liquid.h)..=p.row(liquid.y + (1.0 - ENDS) * liquid.h);
    let at = |part: f64| -> Option<Vector3<f64>> {
        let i = p.column(axis + part * radius);
        let cells: Vec<Vector3<f64>> = rows
            .clone()
            .filter(|j| !p.clipped(i, *j))
            .map(|j| p.level(i, j))
            .map(|l| l.seen - l.white)
            .collect();
        (2 * cells.len() > rows.clone().count()).then(|| {
            Vector3::from_fn(|c, _| median(&mut cells.iter().map(|v| v[c]).collect::<Vec<_>>()))
        })
    };
    let mut sides = Vec::new();
    for k in 0..PLACES {
        let part = APART * k as f64;
        sides.push((at(part)? + at(-part)?) / 2.0);
    }
    let mean = sides.iter().sum::<Vector3<f64>>() / PLACES as f64;
    let path: Vec<f64> = (0..PLACES)
        .map(|k| (1.0 - (APART * k as f64 / WATER).powi(2)).sqrt())
        .collect();
    let mean_path = path.iter().sum::<f64>() / PLACES as f64;
    // Channels count by the square of their light: where the dye takes most of it away, a weak reflection would show.
    let weight = mean.map(|m| (2.0 * m).exp());
    let weight = weight / weight.sum();
    Some(std::array::from_fn(|k| {
        (sides[k] - mean * (path[k] / mean_path)).dot(&weight)
    }))
}

/// How much the path of light through the liquid may differ (share of the depth): light from behind the camera crosses the
/// liquid twice, light from the side once on its way back. From the simulated scenes of `tests/scenes` (tried at 0, 0.05,
/// 0.1, 0.2).
const PATH: f64 = 0.05;

/// Variance of the gathered light (natural log, squared) where the course is that of the session.
const STEADY: f64 = 0.04 * 0.04;
/// Variance of the gathered light per unit of [`unlike`].
const PER_UNLIKE: f64 = 1.0;
/// The same where the course is not known: a standard deviation of 0.2.
const UNSEEN: f64 = 0.2 * 0.2;

/// Standard deviation of the gathered light, alike in all channels, natural log. `unlike` is how unlike the session's the course
/// across the vial is; `None` if either was not seen.
pub fn alike(unlike: Option<f64>) -> f64 {
    unlike.map_or(UNSEEN, |u| STEADY + PER_UNLIKE * u).sqrt()
}

/// Covariance of a colour `ln` (natural log of relative light) from where the light comes from, which neither paper nor
/// patches show. `unlike` is how unlike the session's the course across the vial is.
pub fn gathered_light(ln: &Vector3<f64>, unlike: Option<f64>) -> Matrix3<f64> {
    Matrix3::from_element(alike(unlike).powi(2)) + ln * ln.transpose() * (PATH * PATH)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_session_is_the_mean_of_its_photos() {
        let up = [0.1, 0.0, 0.0, 0.0, 0.0, 0.0, -0.1];
        let down = up.map(|v| -v);
        let lens = Lens::of(&[up, down]).unwrap();
        assert!(lens.across.iter().all(|v| v.abs() < 1e-12));
        let each = unlike(&up, &lens.across);
        assert!((each - (0.02f64 / 7.0).sqrt()).abs() < 1e-12);
        assert!((lens.scatter - each * 2.0f64.sqrt()).abs() < 1e-12);
        assert!(Lens::of(&[]).is_none());
    }

    /// Stripes unlike those of the session leave more open, and what is not seen is not taken for known.
    #[test]
    fn stripes_leave_the_brightness_open() {
        let ln = Vector3::new(-0.1, -0.9, -0.4);
        let grey = |unlike| gathered_light(&ln, unlike).sum();
        assert!(grey(Some(0.0)) < grey(Some(0.01)) && grey(Some(0.01)) < grey(Some(0.1)));
        assert!(grey(Some(0.0)) < grey(None));
    }
}
