//! How the ends of a liquid differ, top from bottom: in its dye, or in the light over it.
//!
//! A liquid that is not mixed is deeper in its own colour at one end. Light that runs down a vial dims its whole colour towards
//! one end, and may deepen it too; then it did so in the session's vials. Measures; `sight` judges.

use nalgebra::Vector3;
use serde::{Deserialize, Serialize};

use crate::light::tint;

/// What the ends of one liquid differ by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ends {
    /// By how much of its dye the upper end (from above: the left) is deeper than the lower one, a share of the whole.
    pub dye: f64,
    /// What else they differ by, natural log of light, the largest over channels.
    pub light: f64,
    /// The tint of the dye, natural log: without one, its share is not known.
    pub tint: f64,
}

/// What the ends of a session's vials differed by.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct UsualEnds {
    /// The least and the most of [`Ends::dye`] over its photos; zero is always among them.
    pub dye: [f64; 2],
    /// The most of [`Ends::light`].
    pub light: f64,
}

/// A tint (natural log) of which a share is measured: under it, the grain of a photo makes a share of any size.
const LEAST_TINT: f64 = 0.1;

impl Ends {
    /// From the difference of the ends and the colour that the dye gives the liquid, both natural log of light: the share of the
    /// dye by least squares in their tints, whatever the light, with a ridge for where there is hardly a tint.
    pub fn of(difference: &Vector3<f64>, dye: &Vector3<f64>) -> Ends {
        let own = tint(dye);
        let grain = (LEAST_TINT / 2.0).powi(2);
        let share = tint(difference).dot(&own) / (own.norm_squared() + grain);
        Ends {
            dye: share,
            light: (difference - dye * share).amax(),
            tint: own.amax(),
        }
    }

    /// Whether the dye is unlike by more than a share of it, and by more than a tint (natural log).
    pub fn unmixed(&self, share: f64, tint: f64) -> bool {
        self.dye.abs() > share && self.dye.abs() * self.tint > tint
    }

    /// By how much the colour differs at the first of the named ends from the second, in words.
    pub fn in_words(&self, [upper, lower]: [&str; 2]) -> String {
        format!(
            "{:.0} % {} at the {upper} than at the {lower}",
            100.0 * self.dye.abs(),
            if self.dye > 0.0 { "deeper" } else { "paler" },
        )
    }
}

impl UsualEnds {
    /// Over the photos of a session; `None` if there are none.
    pub fn of(seen: &[Ends]) -> Option<UsualEnds> {
        let dye = || seen.iter().filter(|e| e.tint >= LEAST_TINT).map(|e| e.dye);
        (!seen.is_empty()).then(|| UsualEnds {
            dye: [dye().fold(0.0, f64::min), dye().fold(0.0, f64::max)],
            light: seen.iter().map(|e| e.light).fold(0.0, f64::max),
        })
    }

    /// What the ends of another liquid differ by beyond this.
    pub fn beyond(&self, ends: &Ends) -> Ends {
        Ends {
            dye: ends.dye - ends.dye.clamp(self.dye[0], self.dye[1]),
            light: (ends.light - self.light).max(0.0),
            ..*ends
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const DYE: [f64; 3] = [-0.2, -1.2, -0.4];

    /// Synthetic-known: a share of the dye more at the upper end, and light that falls off towards it.
    #[test]
    fn dye_is_told_from_light() {
        let dye = Vector3::from(DYE);
        let ends = Ends::of(&(dye * 0.3).add_scalar(-0.4), &dye);
        assert!((ends.dye - 0.3).abs() < 0.01, "{ends:?}");
        assert!((ends.light - 0.4).abs() < 0.02, "{ends:?}");
    }

    /// Where there is no dye, none can be uneven, however the grain falls.
    #[test]
    fn no_dye_has_no_share() {
        let ends = Ends::of(&Vector3::new(0.01, -0.01, 0.0), &Vector3::zeros());
        assert!(ends.dye.abs() < 1e-12 && ends.tint < 1e-12);
    }

    #[test]
    fn what_the_session_saw_is_usual() {
        let seen = |dye, tint| Ends {
            dye,
            light: 0.1,
            tint,
        };
        let usual = UsualEnds::of(&[seen(-0.3, 0.5), seen(-0.1, 0.6), seen(2.0, 0.01)]).unwrap();
        assert_eq!(usual.dye, [-0.3, 0.0]);
        let beyond = |dye| usual.beyond(&seen(dye, 0.5)).dye;
        assert!(beyond(-0.2).abs() < 1e-12);
        assert!((beyond(-0.5) + 0.2).abs() < 1e-12 && (beyond(0.2) - 0.2).abs() < 1e-12);
        assert!(UsualEnds::of(&[]).is_none());
    }
}
