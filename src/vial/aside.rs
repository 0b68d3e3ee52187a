//! A standing vial seen from aside: paper shows through it that lies beside its foot.
//!
//! Light reaches the paper close behind a vial through the liquid, and comes back through it: it is coloured twice. Seen from a side,
//! the sight goes on to paper farther off, which gets more of its light past the vial, so the liquid looks paler. From above it
//! does not: what the light lacks, the longer way of sight through the liquid makes up. In the scenes of `tests/scenes` seen from up
//! to 40 degrees off (study seeds 5501 and 9203, 160 photos in diffuse light) the depth of a colour falls by 0.66 (sd 0.03)
//! of the squared sine of the angle, or by 0.44 and the liquid darkens a little; in other light it may be less. So it is corrected by the half, and a rectangular distribution from nothing to
//! all of it stands for what is not known (JCGM 100:2008, 4.3.7).

use nalgebra::{Matrix3, Vector3};

/// What the depth of a colour falls by at most, times the squared sine of the angle: between those two.
const MOST: f64 = 0.6;

/// How a standing vial is seen from a side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aside {
    /// Angle between the line of sight and the upright plane that stands straight before the card, degrees, never negative.
    pub degrees: f64,
}

impl Aside {
    /// Half of what the depth may fall by, share.
    fn half(&self) -> f64 {
        0.5 * MOST * self.degrees.to_radians().sin().powi(2)
    }

    /// A colour (natural log of relative light) as it would look from straight before the card.
    pub fn straight(&self, ln: &Vector3<f64>) -> Vector3<f64> {
        ln / (1.0 - self.half())
    }

    /// Covariance of the straightened colour.
    pub fn covariance(&self, ln: &Vector3<f64>) -> Matrix3<f64> {
        ln * ln.transpose() * (self.half().powi(2) / 3.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_colour_seen_from_aside_is_deeper_and_less_sure() {
        let ln = Vector3::new(-0.2, -1.0, -0.4);
        let (before, aside) = (Aside { degrees: 0.0 }, Aside { degrees: 30.0 });
        assert_eq!(before.straight(&ln), ln);
        assert!(before.covariance(&ln).norm() < 1e-15);
        // Nothing to 15 % of the depth.
        assert!((aside.straight(&ln).norm() / ln.norm() - 1.0 / 0.925).abs() < 1e-12);
        let sd = (aside.covariance(&ln).trace() / ln.norm_squared()).sqrt();
        assert!((sd - 0.075 / 3.0f64.sqrt()).abs() < 1e-12);
    }
}
