//! Light from aside: what it does to the path through the liquid, and how it shows on the card beside the vial.
//!
//! The paper behind a vial gets its light through the liquid where that comes from before it, and past the liquid where it comes
//! from aside: then light crosses the liquid once instead of twice, and its colour looks paler by up to half. But light that went through the liquid aside falls on the paper beside the vial and tints it there, on one
//! side alone. Measures and judges; never corrects.

use nalgebra::{Matrix3, Vector3};

use super::bay::BayPicture;
use crate::place::Area;

/// Paper beside the vial is looked at from so far from its axis on, and so far, in parts of the vial's outer radius; in such parts.
const FROM: f64 = 1.25;
const PLACES: usize = 30;
const APART: f64 = 0.1;
/// Less paper than this on a side tells nothing, in parts of the radius.
const LEAST: f64 = 0.8;
/// Tint that differs by no more than this between the sides is no sign (parts of the radius times relative light): noise, and walls
/// of another colour; an assumption.
const UNTINTED: f64 = 0.03;
/// A liquid that takes less than this away tints no paper (the same): of it nothing is told.
const LEAST_TAKEN: f64 = 0.1;
/// More light that went aside than this share of what the liquid takes of all is told: most of the light comes from aside.
pub const ASIDE: f64 = 0.5;
/// Standard deviation of the depth under most of it: between nothing and all of the second way, which is nearly half of both ([`super::gap`]:
/// r / h is 0.92 in a vial of 24 mm, so 0.48 of all), rectangular (JCGM 100:2008, 4.3.7).
const PATH: f64 = 0.28;

/// Light that went aside through the liquid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aside {
    /// How much more of it lies on one side of the vial than on the other, as a share of what the liquid would take of all light on
    /// one way through.
    pub share: f64,
    /// Whether it lies to the left.
    pub left: bool,
}

impl Aside {
    /// Whether most of the light comes from aside.
    pub fn is_most(&self) -> bool {
        self.share > ASIDE
    }
}

/// How much light a vial that stands between the outlines of `liquid` throws aside; `None` where there is too little paper, or
/// the liquid takes too little light away to tell.
pub fn of(p: &BayPicture, liquid: Area) -> Option<Aside> {
    let (centre, radius) = (liquid.centre().0, liquid.w / 2.0);
    let rows = p.inner_rows(liquid);
    let at = |x: f64| -> Option<Vector3<f64>> {
        let i = p.column_within(x)?;
        let seen = rows
            .clone()
            .map(|j| p.level(i, j).against_white().map(f64::exp));
        Some(seen.sum::<Vector3<f64>>() / rows.clone().count() as f64)
    };
    let inside = at(centre)?;
    // Twice the radius wide, and what one way through takes away is the root of what both leave.
    let taken = 2.0 * (1.0 - (inside.min() / inside.max()).max(0.0).sqrt());
    if taken < LEAST_TAKEN {
        return None;
    }
    let tint = |side: f64| -> Option<f64> {
        let places = (0..PLACES).map(|k| centre + side * (FROM + APART * k as f64) * radius);
        let seen: Vec<f64> = places.filter_map(at).map(|v| v.max() - v.min()).collect();
        (seen.len() as f64 * APART >= LEAST).then(|| APART * seen.iter().sum::<f64>())
    };
    let (left, right) = (tint(-1.0)?, tint(1.0)?);
    Some(Aside {
        share: ((left - right).abs() - UNTINTED).max(0.0) / taken,
        left: left > right,
    })
}

/// Covariance of a colour `ln` (natural log of relative light) from the way that light takes where most of it comes from aside;
/// nothing where it does not.
pub fn covariance(ln: &Vector3<f64>, aside: Option<Aside>) -> Matrix3<f64> {
    match aside {
        Some(a) if a.is_most() => ln * ln.transpose() * (PATH * PATH),
        _ => Matrix3::zeros(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn most_light_from_aside_leaves_the_depth_open() {
        let ln = Vector3::new(-0.2, -1.0, -0.4);
        let sd = |share| covariance(&ln, Some(Aside { share, left: true }))[(1, 1)].sqrt();
        assert_eq!(sd(0.4), 0.0);
        assert!((sd(0.6) - 0.28).abs() < 1e-12);
        assert_eq!(covariance(&ln, None), Matrix3::zeros());
    }
}
