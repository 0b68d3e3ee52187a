//! The colour of the water itself, from a photo of a vial of it without reagent, to be taken off a sample's colour.
//!
//! Old tank water is yellowish. By the law of Beer and Lambert its absorbance adds to the dye's, so it is subtracted in the
//! logarithm of light. A vial gathers light as it stands, which no photo tells from a grey tint; so only the tint counts: the
//! channel in which the water is clearest is taken for clear.
//!
//! Science: Beer-Lambert; natural water's yellow matter absorbs as exp(-0.014/nm x wavelength), so blue light is taken away
//! about seven times as much as red (Bricaud, Morel & Prieur 1981, Limnol. Oceanogr. 26(1):43-53; figures from memory).

use nalgebra::{Matrix3, Vector3};

use crate::chart::Chart;
use crate::error::Result;
use crate::estimate::budget::depth;
use crate::flag::{Checked, Flag, Severity, Verdict};
use crate::light::correct::Correction;
use crate::look::{Where, look};
use crate::photo::Photo;
use crate::reading::right_card;
use crate::sight;

/// The colour of the water itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blank {
    /// What it does to the light of each channel (linear BT.2020), natural log; 0 in the clearest channel, negative in others.
    pub tint: Vector3<f64>,
    /// Covariance of the tint.
    pub covariance: Matrix3<f64>,
}

/// What the clearest channel takes away itself, as a share of the tint: red light seven times less than blue.
const CLEAREST: f64 = 1.0 / 7.0;
/// A tint (natural log) past which the water rather than the dye makes the colour: half of the light of a channel.
const STRONG: f64 = std::f64::consts::LN_2;

/// Cosine between the tints of water and dye from which on they are alike: 30 degrees apart in the directions of log light, within
/// which inks tell of each other too. A choice.
const ALIKE: f64 = 0.87;
/// Standard deviations from which on there is a tint.
const SURELY: f64 = 3.0;
/// Water as brown as weak tea takes so much (natural log) of blue light in a vial; what is paler may be yellow by itself. From memory.
const TEA: f64 = 0.25;

impl Blank {
    /// Looks at a photo of a blank: the water to be tested in the vial, without reagent.
    ///
    /// # Errors
    /// As for a reading: card, paper, vial or liquid not seen, or another card than the chart's.
    pub fn new(photo: &Photo, by: &Where, chart: &Chart) -> Result<Checked<Blank>> {
        let look = look(photo, by)?;
        right_card(&look, chart)?;
        let correction = Correction::choose(&look.observed, &chart.patches);
        let sampled = look.colour(&correction)?;
        let mut seen = photo.notes.clone();
        seen.extend(sight::flags(&look, &correction, &sampled, chart));
        let no_dye = Vector3::zeros();
        seen.extend(sight::uneven(&look, &sampled, None, &no_dye));
        seen.extend(sight::empty(&look, &no_dye, chart.lines_lowered));
        let repeat = Matrix3::from_fn(|i, k| chart.repeatability[i][k]);
        let covariance = look.covariance(&sampled, &correction, chart.inks_missed)
            + correction.untold(&sampled.ln)
            + repeat * depth(&sampled.ln).powi(2);
        let blank = Blank::of(&sampled.ln, &covariance);
        let mut flags = Vec::new();
        if let Some(worst) = seen.iter().find(|f| f.severity != Severity::Note) {
            flags.push(Flag::new(
                "blank-doubtful",
                Severity::Doubt,
                format!(
                    "the photo of the blank is not to be trusted: {}",
                    worst.message
                ),
                worst.fix.clone(),
            ));
        }
        let taken = -blank.tint.min();
        if taken > STRONG {
            flags.push(Flag::new(
                "blank-strong",
                Severity::Doubt,
                format!(
                    "the water itself takes away {:.0} % of the light of one colour: is there reagent in the blank?",
                    100.0 * (1.0 - (-taken).exp())
                ),
                "fill the blank with the water to be tested and nothing else; water as dark as this asks for another method",
            ));
        }
        if taken <= STRONG && blank.is_like(&chart.dye_at(f64::INFINITY)) {
            flags.push(Flag::new(
                "blank-like-sample",
                Severity::Doubt,
                "the blank has a tint like that of the samples of this test: is there reagent in it?",
                "fill the blank with the water to be tested and nothing else, in a clean vial",
            ));
        }
        debug_assert_ne!(Verdict::of(&flags), Verdict::Unreadable);
        Ok(Checked {
            value: blank,
            flags,
        })
    }

    /// What is left of it in a sample of which `factor` times as much was made with colourless water.
    #[must_use]
    pub fn diluted(self, factor: f64) -> Blank {
        Blank {
            tint: self.tint / factor,
            covariance: self.covariance / (factor * factor),
        }
    }

    /// Whether it goes the way of a dye (natural log of relative light) more surely than clear water would, and not as water that
    /// is yellow by itself does.
    fn is_like(&self, dye: &Vector3<f64>) -> bool {
        let dye = dye.add_scalar(-dye.max());
        let along = self.tint.dot(&dye) / (self.tint.norm() * dye.norm()).max(f64::MIN_POSITIVE);
        let way = self.tint / self.tint.norm().max(f64::MIN_POSITIVE);
        let sd = way.dot(&(self.covariance * way)).max(0.0).sqrt();
        let is_yellow = self.tint.imin() == 2 && self.tint.norm() < TEA;
        along > ALIKE && self.tint.norm() > SURELY * sd && !is_yellow
    }

    /// The tint of a colour `ln` (natural log of relative light) with its covariance.
    fn of(ln: &Vector3<f64>, covariance: &Matrix3<f64>) -> Blank {
        let clearest = ln.imax();
        let mut to_tint = Matrix3::identity();
        for row in 0..3 {
            to_tint[(row, clearest)] -= 1.0;
        }
        let tint = to_tint * ln;
        let unseen = tint * tint.transpose() * (CLEAREST * CLEAREST);
        Blank {
            tint,
            covariance: to_tint * covariance * to_tint.transpose() + unseen,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reagent in a blank goes the dye's way, as tank water that is yellow does only where the dye is yellow too.
    #[test]
    fn reagent_in_a_blank_is_told_from_yellow_water() {
        let like = |ln: [f64; 3], dye: [f64; 3]| {
            let own = Matrix3::identity() * 1e-4;
            Blank::of(&ln.into(), &own).is_like(&dye.into())
        };
        let (pink, yellow) = ([-0.4, -2.0, -0.7], [-0.1, -0.3, -1.5]);
        assert!(like([-0.05, -0.25, -0.1], pink));
        assert!(!like([-0.02, -0.05, -0.18], pink));
        // Clear water, whose tint is what it is measured to.
        assert!(!like([0.0, -0.02, 0.0], pink));
        assert!(!like([-0.02, -0.05, -0.18], yellow));
        assert!(like([-0.02, -0.07, -0.4], yellow));
    }

    /// A grey veil is the vial's, not the water's; and what is alike in all channels has no error in the tint either.
    #[test]
    fn only_the_tint_counts() {
        let alike = Matrix3::from_element(0.04);
        let own = Matrix3::identity() * 1e-4;
        let dark = Blank::of(&Vector3::new(-0.3, -0.35, -0.5), &(alike + own));
        let light = Blank::of(&Vector3::new(0.0, -0.05, -0.2), &own);
        assert!((dark.tint - Vector3::new(0.0, -0.05, -0.2)).norm() < 1e-12);
        assert!((dark.tint - light.tint).norm() < 1e-12);
        assert!((dark.covariance - light.covariance).norm() < 1e-12);
        assert!(dark.covariance[(0, 0)].abs() < 1e-12);
        assert!(dark.covariance[(2, 2)] >= 2e-4);
    }
}
