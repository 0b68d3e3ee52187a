//! The liquid: clear, mixed, enough of it, and nothing over it.

use libm::erfc;
use nalgebra::Vector3;

use crate::error::{Error, Result};
use crate::estimate::budget::depth;
use crate::flag::{Flag, Severity};
use crate::light::tint;
use crate::look::Look;
use crate::vial::ends::{Ends, UsualEnds};
use crate::vial::sample::Sampled;
use crate::vial::{Found, find};

/// A tint (natural log of light) that an empty vial may seem to have, by light that is not quite balanced: 2 CIELAB units or so.
const HARDLY_ANY: f64 = 0.05;

/// Whether a colour, natural log of light relative to paper, is none to speak of.
pub fn hardly_any(ln: &Vector3<f64>) -> bool {
    tint(ln).amax() < HARDLY_ANY
}

/// Doubt about a liquid through which less of the card's faint lines is seen, or may well be, than through the chart's vials of that
/// colour, which showed the share `usual` of them.
pub fn cloudy(look: &Look, usual: Option<Vector3<f64>>) -> Option<Flag> {
    let usual = usual?;
    look.place.card.as_ref()?;
    let (clear, sd) = look.clear.map_or((1.0, f64::INFINITY), |c| {
        (c.against(&usual), c.sd_against(&usual))
    });
    let seen = match Clouded::of(clear, sd) {
        Clouded::No => return None,
        Clouded::Unseen => {
            return Some(Flag::new(
                "lines-not-seen",
                Severity::Note,
                "the faint lines on the card are not seen well enough, so a cloudy liquid might not be noticed",
                "bring card and vial nearer and sharp, with the whole liquid before bare paper and nothing over-exposed",
            ));
        }
        Clouded::Plainly => format!(
            "only {:.0} % as plainly as through the chart's vials: it is",
            100.0 * clear.max(0.0)
        ),
        Clouded::Maybe => format!(
            "{:.0} % as plainly as through the chart's vials, give or take {:.0}: it may be",
            100.0 * clear,
            100.0 * sd
        ),
    };
    Some(Flag::new(
        "cloudy-liquid",
        Severity::Doubt,
        format!(
            "the lines on the card show through the liquid {seen} cloudy, full of bubbles, or a reflection, print or a label lies before or behind it"
        ),
        "wipe the glass, let bubbles clear, and turn the vial until no print, label or reflection of a bright window lies in the way; if the liquid itself is cloudy, filter the sample or see what the reagent maker says of it",
    ))
}

/// What the lines say of a liquid.
#[derive(Debug, PartialEq)]
enum Clouded {
    No,
    /// The lines are not seen well enough to tell.
    Unseen,
    Plainly,
    /// The lines are not seen well, and it may well be.
    Maybe,
}

impl Clouded {
    /// What a share `clear` of the lines says, of a standard deviation.
    fn of(clear: f64, sd: f64) -> Clouded {
        let cloudy = 0.5 * erfc((clear - CLOUDY) / sd / 2f64.sqrt());
        if clear < CLOUDY {
            Clouded::Plainly
        } else if sd > UNSEEN {
            Clouded::Unseen
        } else if cloudy > MAY_BE {
            Clouded::Maybe
        } else {
            Clouded::No
        }
    }
}

/// Where a quarter of the light over the liquid did not come through it, a colour may read half a step too pale, and more at the
/// top of a chart. Of the clear liquids in the scenes of `tests/scenes` in diffuse light (study seeds 5501, 9203, 10301 and 10701)
/// 99 of 100 are above this, in light of all kinds 96 or more.
const CLOUDY: f64 = 0.75;
/// A liquid is doubtful if it is cloudy with this probability, by the normal distribution: one chance in five. Of 635 clear liquids
/// (study seed 11101) that costs three that [`CLOUDY`] alone does not.
const MAY_BE: f64 = 0.2;
/// Lines whose share is this unsure say nothing: as unsure as what they are to tell is large.
const UNSEEN: f64 = 1.0 - CLOUDY;

/// Doubt about a liquid whose ends differ beyond what those of the chart's vials did; `dye` is the colour that the dye gives it,
/// natural log.
pub fn uneven(
    look: &Look,
    sampled: &Sampled,
    usual: Option<UsualEnds>,
    dye: &Vector3<f64>,
) -> Option<Flag> {
    let seen = Ends::of(&sampled.ends_differ, dye);
    let beyond = usual.map_or(seen, |u| u.beyond(&seen));
    let [upper, lower] = look.ends();
    let message = if beyond.unmixed(UNMIXED, UNMIXED_TINT) {
        format!(
            "the colour of the liquid is {}",
            seen.in_words([upper, lower])
        )
    } else if beyond.light > UNEVEN + UNEVEN_PER_DEPTH * depth(&sampled.ln) {
        format!(
            "the liquid differs by {:.0} % between {upper} and {lower}",
            100.0 * (seen.light.exp() - 1.0)
        )
    } else {
        return None;
    };
    Some(Flag::new("uneven-liquid", Severity::Doubt, message, MIX))
}

/// What to do about an uneven liquid.
const MIX: &str = "close the vial and shake or invert it until its colour is even, let bubbles clear, and take the photo again; if it is mixed, see that no shadow of its cap falls on it";

/// Upper and lower third of a mixed liquid differ by less than this share of its dye beyond what is usual: they say that much more
/// and less than the mean, each by half of it.
const UNMIXED: f64 = 0.15;
/// A tint (natural log) in which the ends differ by less than this is none: about 2 CIELAB units at mid-grey.
const UNMIXED_TINT: f64 = 0.04;
/// What else the ends may differ by beyond what is usual, natural log, and that per depth of the colour: about 3 CIELAB units at
/// mid-grey.
const UNEVEN: f64 = 0.06;
const UNEVEN_PER_DEPTH: f64 = 0.1;

/// Whether something of a deeper colour stands under what was taken for the liquid.
fn pool(look: &Look) -> bool {
    matches!(look.vial, Some(Found::Standing(vial)) if vial.deeper_below)
}

/// For an answer of next to nothing: that it is not the empty glass over a little liquid which was measured.
///
/// # Errors
/// If something of a deeper colour stands under it.
pub fn not_glass(look: &Look) -> Result<()> {
    if pool(look) {
        return Err(Error::new(
            "something of a deeper colour lies under what was taken for the liquid: there is little liquid under empty glass",
            "fill the vial to its mark, and take the photo again",
        ));
    }
    Ok(())
}

/// That a liquid is no brighter than any reflection makes it.
///
/// # Errors
/// If what was taken for it or for white paper is something else.
pub fn possible(sampled: &Sampled) -> Result<()> {
    if sampled.ln.max() < IMPOSSIBLE {
        return Ok(());
    }
    Err(Error::new(
        format!(
            "what was taken for the liquid is {:.0} % brighter than the white paper, as no liquid can be: it is a reflection, or something else was taken for liquid or paper",
            100.0 * (sampled.ln.max().exp() - 1.0)
        ),
        "see that liquid and white paper were marked, if they were marked by hand; else turn the vial or the light until no reflection lies over the liquid",
    ))
}

pub(super) fn flags(look: &Look, sampled: &Sampled, flags: &mut Vec<Flag>) {
    if pool(look) {
        flags.push(Flag::new(
            "little-liquid",
            Severity::Doubt,
            "something of a deeper colour lies under the stretch that was taken for the liquid: there may be little liquid under empty glass, or something that settled on the bottom",
            "fill the vial to its mark, mix what has settled or see what the reagent maker says of it, and look at the overlay (--overlay) for where the liquid was seen",
        ));
    }
    if layers(look) {
        flags.push(Flag::new(
            "uneven-liquid",
            Severity::Doubt,
            "a paler liquid of the same colour stands above the stretch that was taken for the liquid: it is in layers",
            MIX,
        ));
    }
    if sampled.ln.max() > BRIGHTER {
        flags.push(Flag::new(
            "brighter-than-paper",
            Severity::Doubt,
            format!(
                "the liquid is {:.0} % brighter than the white paper, as no liquid can be: a reflection lies over it",
                100.0 * (sampled.ln.max().exp() - 1.0)
            ),
            "turn the vial or the light until no reflection lies over the liquid",
        ));
    }
    let covered = if sampled.rejected > 0.4 {
        format!(
            "{:.0} % of the liquid is covered by reflections or bubbles",
            100.0 * sampled.rejected
        )
    } else if bright_above(look) > LEAST_BRIGHT + surface_mm(look) {
        "a bright reflection stands right above what was taken for the liquid: it may cover the most of it".to_owned()
    } else {
        return;
    };
    flags.push(Flag::new(
        "glare",
        Severity::Doubt,
        covered,
        "turn the vial or yourself until no bright reflection lies over the liquid; let bubbles clear",
    ));
}

/// How high the surface of the liquid in a standing vial is seen from above, mm of the card.
fn surface_mm(look: &Look) -> f64 {
    match look.vial {
        Some(Found::Standing(vial)) => find::surface_mm(vial.width(), look.height_deg()),
        _ => 0.0,
    }
}

/// How far up, mm, it goes on to be far brighter than paper in most of the width of a standing vial, from right above its liquid.
fn bright_above(look: &Look) -> f64 {
    let Some(Found::Standing(vial)) = look.vial else {
        return 0.0;
    };
    let bay = &look.bay;
    let half = MIDDLE * vial.width();
    let columns = bay.column(vial.axis() - half)..=bay.column(vial.axis() + half);
    let bright = |j: usize| {
        // How bright is not known where it is clipped; a vivid cap is too, in one channel, but darker than paper over all.
        let of = |i: &usize| {
            let least = if bay.clipped(*i, j) { 0.0 } else { BLINDING };
            bay.level(*i, j).against_white().mean() > least
        };
        2 * columns.clone().filter(of).count() > columns.clone().count()
    };
    let (top, near) = (bay.row(vial.top), bay.row(vial.top - RIGHT_ABOVE));
    let Some(lowest) = (near..top).rev().find(|j| bright(*j)) else {
        return 0.0;
    };
    let highest = (0..=lowest)
        .rev()
        .find(|j| !bright(*j))
        .map_or(0, |j| j + 1);
    (lowest + 1 - highest) as f64 * bay.step
}

/// Whether a paler layer stands on the liquid: higher than the liquid's own surface is seen from above.
fn layers(look: &Look) -> bool {
    let Some(Found::Standing(vial)) = look.vial else {
        return false;
    };
    vial.paler_above > LEAST_LAYER + MORE_SURFACE * surface_mm(look)
}

/// Least height of a layer that is told, mm, and what the surface of a liquid may look higher by than a flat disc in the card's
/// scale would: it stands nearer than the card, and climbs the glass.
const LEAST_LAYER: f64 = 3.0;
const MORE_SURFACE: f64 = 1.2;

/// Half of a vial's middle, in parts of its width; and light, natural log over paper, that no cap or glass throws without a lamp in it.
const MIDDLE: f64 = 0.3;
const BLINDING: f64 = 0.3;
/// A reflection stands right above the liquid if it begins so near, mm; and it is told from this height on, mm, beyond that of the
/// liquid's surface, which mirrors lamps.
const RIGHT_ABOVE: f64 = 3.0;
const LEAST_BRIGHT: f64 = 4.0;

/// What is half as bright again as paper (natural log) is no reflection over a liquid that could be looked past. An assumption.
const IMPOSSIBLE: f64 = 0.405;
/// Brighter than paper by this much (natural log): what a lens of water gathers behind itself may reach it.
const BRIGHTER: f64 = 0.15;

#[cfg(test)]
mod tests {
    use super::*;

    /// By the table of the normal distribution: 0.2 lie more than 0.8416 standard deviations under the mean.
    #[test]
    fn a_liquid_that_may_well_be_cloudy_is_doubtful() {
        assert_eq!(Clouded::of(1.0, 0.02), Clouded::No);
        assert_eq!(Clouded::of(0.74, 0.02), Clouded::Plainly);
        for sd in [0.04, 0.12, 0.24] {
            assert_eq!(Clouded::of(0.75 + 0.83 * sd, sd), Clouded::Maybe);
            assert_eq!(Clouded::of(0.75 + 0.85 * sd, sd), Clouded::No);
        }
        assert_eq!(Clouded::of(1.0, 0.26), Clouded::Unseen);
        assert_eq!(Clouded::of(1.0, f64::INFINITY), Clouded::Unseen);
    }
}
