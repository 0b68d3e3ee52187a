//! How far from the card a standing vial stands, which no photo shows well: the farther, the paler its liquid looks.
//!
//! The paper behind the vial gets part of its light through the liquid, so that light crosses it twice. That part is the share of all
//! directions that the vial takes as seen from the paper: of an upright cylinder of radius r whose axis stands at h from it, r / h
//! (configuration factor of a strip and a parallel cylinder; Howell, A Catalog of Radiation Heat Transfer Configuration Factors; from
//! memory). The depth of the colour then goes with 1 + r / h.

use nalgebra::{Matrix3, Vector3};

/// A vial that is put on its ring by hand, as near to the card as it goes, stands up to so much nearer or farther than those of the
/// chart, mm: half the width of a rectangular distribution (JCGM 100:2008, 4.3.7). An assumption; a session's replicates tell of
/// what differs from photo to photo, not of a habit that changed since.
const BY_HAND: f64 = 1.0;
/// A card leans back from its fold by up to so much more or less than it did for the chart, degrees, and the middle of a liquid stands
/// so high before it, mm: the same distribution, and an assumption too. How a card leans no photo of it shows.
const LEANS_DEG: f64 = 4.0;
const MIDDLE: f64 = 17.0;
/// Where it usually stands off the card, mm: the thickness of a rim, a card that is not quite flat.
const USUAL: f64 = 1.0;

/// The narrowest vial that the bay is made for, mm: it loses the most.
pub const NARROWEST: f64 = 12.0;

/// Share by which the depth of a colour falls per mm that a vial of a width (mm) stands farther from the card.
pub fn paler_per_mm(width: f64) -> f64 {
    let r = width / 2.0;
    let h = r + USUAL;
    r / (h * (h + r))
}

/// Covariance of a colour `ln` (natural log of relative light) in a vial of a width (mm) from where it stands.
pub fn covariance(ln: &Vector3<f64>, width: f64) -> Matrix3<f64> {
    let farther = BY_HAND.hypot(MIDDLE * LEANS_DEG.to_radians().tan());
    let share = farther * paler_per_mm(width);
    ln * ln.transpose() * (share * share / 3.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand: 24 mm, 12 / (13 x 25); 12 mm, 6 / (7 x 13).
    #[test]
    fn narrow_vials_lose_more_per_millimetre() {
        assert!((paler_per_mm(24.0) - 0.03692).abs() < 1e-5);
        assert!((paler_per_mm(NARROWEST) - 0.06593).abs() < 1e-5);
    }

    /// It is the slope of ln(1 + r / h).
    #[test]
    fn it_is_the_slope_of_the_factor() {
        let factor = |gap: f64| (1.0 + 12.0 / (12.0 + gap)).ln();
        let slope = (factor(USUAL - 1e-4) - factor(USUAL + 1e-4)) / 2e-4;
        assert!((paler_per_mm(24.0) - slope).abs() < 1e-6);
    }

    #[test]
    fn a_liquid_without_colour_is_as_sure_as_before() {
        assert_eq!(covariance(&Vector3::zeros(), 24.0), Matrix3::zeros());
        let ln = Vector3::new(0.0, -1.0, 0.0);
        let sd = covariance(&ln, 24.0)[(1, 1)].sqrt();
        // 1 mm by hand, and 17 mm up a card that leans by 4 degrees 1.18876 mm: 1.55343 mm.
        assert!((sd - 1.55343 * 0.03692 / 3.0f64.sqrt()).abs() < 1e-5);
    }
}
