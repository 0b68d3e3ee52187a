//! The printed card, and how sharply the photo shows it.

use crate::flag::{Flag, Severity};
use crate::light::correct::Correction;
use crate::look::{Look, SOFT_MM};

pub(super) fn flags(look: &Look, correction: &Correction, flags: &mut Vec<Flag>) {
    if let Some(card) = &look.place.card {
        let missing = card.tags_expected - card.tags_found.len();
        if missing > 0 {
            flags.push(Flag::new(
                "card-partly-covered",
                Severity::Note,
                format!(
                    "{missing} of {} markers of the card were not seen",
                    card.tags_expected
                ),
                "keep the whole card in the picture and uncovered",
            ));
        }
        if card.residual_mm > BENT {
            flags.push(Flag::new(
                "card-bent",
                Severity::Note,
                format!(
                    "the card's markers lie {:.1} mm off a plane: it is bent",
                    card.residual_mm
                ),
                "press the card flat at its fold, or print it on stiffer paper",
            ));
        }
        if correction.residuals.is_empty() {
            flags.push(Flag::new(
                "no-patches",
                Severity::Doubt,
                "the photo was balanced on white paper alone: other light or another phone than the session's is not corrected",
                "use the card with colour patches, with the chart made from it",
            ));
        } else if !correction.is_told() {
            flags.push(Flag::new(
                "few-coloured-patches",
                Severity::Note,
                "too few coloured patches are seen to tell another lamp or phone than the standards had; the interval allows for any",
                "print the card in colour and make the chart with it; keep all of it in the picture, dry and without reflections",
            ));
        }
    } else {
        flags.push(Flag::new(
            "white-only",
            Severity::Doubt,
            "the photo was balanced on the marked white alone: uneven light, other light or another phone are not corrected",
            "photograph the vial in front of the printed card",
        ));
    }
    if !correction.left_out.is_empty() {
        flags.push(Flag::new(
            "patches-left-out",
            Severity::Note,
            format!(
                "these patches of the card do not go along with the others and were left out: {}",
                correction.left_out.join(", ")
            ),
            "see whether they are stained or covered, or a reflection lies over them; print a new card of the same kind if they are",
        ));
    }
    if let Some(loo) = correction.loo.filter(|l| *l > POOR_MATCH) {
        flags.push(Flag::new(
            "patches-do-not-match",
            Severity::Doubt,
            format!("after correction the card's patches still differ by {loo:.1} CIEDE2000 from those of the chart's session"),
            "use light like that of the session (daylight or one good white lamp), and a clean card from the same print",
        ));
    }
}

pub(super) fn sharpness(look: &Look, flags: &mut Vec<Flag>) {
    if let Some(edge) = look.edge_mm.filter(|e| *e > SOFT_MM) {
        flags.push(Flag::new(
            "blurred",
            Severity::Doubt,
            format!("the photo is blurred: printed edges are {edge:.1} mm wide"),
            "rest the phone on something, touch the card on the screen to focus on it, and bring more light",
        ));
    }
    if look.observed.noise > NOISY {
        flags.push(Flag::new(
            "noisy",
            Severity::Doubt,
            format!(
                "the photo is grainy: single pixels of white paper scatter by {:.0} %",
                100.0 * look.observed.noise
            ),
            "bring more light, and do not zoom in on the screen",
        ));
    }
}

/// Noise of single pixels (share of the light of white paper) from which on the outlines of a vial begin to drown in it: in
/// the scenes of `tests/scenes` at twice this no vial is found, while sound photos stay under a quarter of it.
const NOISY: f64 = 0.04;

/// Markers of a flat card lie within this of a plane, mm: a pixel or so of a small photo.
const BENT: f64 = 0.25;
/// Patches that still differ by more than this are another print or a light that no matrix explains; reading by eye
/// tells about 1 apart.
const POOR_MATCH: f64 = 5.0;
