//! What the sight of card, light and liquid says against a reading: findings with figures, and what to do about each.
//!
//! Judges, never measures: the figures come from `place`, `light` and `vial`. What the file says of its capture is judged
//! in `capture`, what the colour says on the chart in `reading`.

use nalgebra::Vector3;

use crate::chart::Chart;
use crate::error::{Error, Result};
use crate::estimate::budget::depth;
use crate::flag::{Flag, Severity};
use crate::light::correct::Correction;
use crate::light::field::spread;
use crate::light::spot::{Spot, blown_in, mean};
use crate::light::{LESS_EXPOSURE, tint};
use crate::look::{Look, SOFT_MM};
use crate::place::{Area, Bay};
use crate::vial::ends::{Ends, UsualEnds};
use crate::vial::sample::Sampled;
use crate::vial::{Found, find};

/// Findings about the sight of the card, its light and the vial.
pub fn flags(look: &Look, correction: &Correction, sampled: &Sampled, chart: &Chart) -> Vec<Flag> {
    let mut flags = Vec::new();
    card(look, correction, &mut flags);
    flags.extend(of_vial(look, sampled, chart.vial_mm));
    flags
}

/// Those of them that are not about the card: sharpness, light and the vial, whose kind is `usual_mm` wide.
pub fn of_vial(look: &Look, sampled: &Sampled, usual_mm: Option<f64>) -> Vec<Flag> {
    let mut flags = Vec::new();
    sharpness(look, &mut flags);
    light(look, &mut flags);
    vial(look, usual_mm, &mut flags);
    liquid(look, sampled, &mut flags);
    flags
}

/// Doubt about a reading of hardly any colour in a vial that may be empty: no surface of a liquid is seen, or the lines behind it are
/// seen as through air; `dye` is the colour that the dye gives the liquid, natural log, and `usual` what the chart's filled vials did
/// to the lines ([`lowered`]).
pub fn empty(look: &Look, dye: &Vector3<f64>, usual: Option<f64>) -> Option<Flag> {
    let Some(Found::Standing(vial)) = look.vial else {
        return None;
    };
    if !hardly_any(dye) {
        return None;
    }
    let lines = lines_behind(look).filter(|_| usual.is_none_or(|u| u >= REFRACTED));
    let message = match (lines, vial.surface) {
        (Some(Behind::Air), _) => {
            "hardly any colour, and the lines on the card are seen through the vial as if nothing were in it"
        }
        (Some(Behind::Water), _) | (None, true) => return None,
        (None, false) => {
            "hardly any colour, and no surface of a liquid is seen in the vial: an empty vial looks the same"
        }
    };
    Some(Flag::new(
        "no-surface",
        Severity::Doubt,
        message,
        "fill the vial to its mark, below cap and shoulder, so that the surface can be seen",
    ))
}

/// What lines behind a vial are seen through.
enum Behind {
    Water,
    Air,
}

/// Whether the lines behind a vial are seen lower through it, by what as much water would do, or where they are printed; `None` where
/// that cannot be told.
fn lines_behind(look: &Look) -> Option<Behind> {
    let (seen, by_water) = lower(look)?;
    if seen > (REFRACTED * by_water).max(LOWER) {
        Some(Behind::Water)
    } else {
        (by_water > 2.0 * LOWER && seen < LOWER).then_some(Behind::Air)
    }
}

/// How much lower than printed the lines behind a vial are seen, and how much lower as much water would show them, mm; `None` where they
/// are not seen.
fn lower(look: &Look) -> Option<(f64, f64)> {
    let clear = look.clear.filter(|c| c.seen())?;
    Some((clear.lower, look.slant?.lower(look.vial?.width())))
}

/// By what share of what as much water would do the lines behind a vial are seen lower through it; `None` where that is little, or
/// they are not seen.
pub fn lowered(look: &Look) -> Option<f64> {
    let (seen, by_water) = lower(look)?;
    (by_water > LOWER).then(|| seen / by_water)
}

/// Share of what water would lower lines by from which they are; the glass and a card that leans count for less. Through 80 empty
/// vials in the scenes of `tests/scenes` (study seed 5501) lines were seen up to 0.5 mm lower, through 240 filled ones (seeds 5501,
/// 9203, 10301) all but one by 0.67 mm or more.
const REFRACTED: f64 = 0.5;
/// Least distance that counts, mm.
const LOWER: f64 = 0.6;
/// A tint (natural log of light) that an empty vial may seem to have, by light that is not quite balanced: 2 CIELAB units or so.
const HARDLY_ANY: f64 = 0.05;

/// Whether a colour, natural log of light relative to paper, is none to speak of.
pub fn hardly_any(ln: &Vector3<f64>) -> bool {
    tint(ln).amax() < HARDLY_ANY
}

/// Doubt about a liquid through which less of the card's faint lines is seen than through the chart's vials of that colour,
/// which showed the share `usual` of them.
pub fn cloudy(look: &Look, usual: Option<Vector3<f64>>) -> Option<Flag> {
    let usual = usual?;
    look.place.card.as_ref()?;
    let clear = look
        .clear
        .map(|c| (c.against(&usual), c.sd_against(&usual)))
        .filter(|(clear, sd)| *clear < CLOUDY || *sd <= (1.0 - CLOUDY) / 2.0);
    let Some((clear, _)) = clear else {
        return Some(Flag::new(
            "lines-not-seen",
            Severity::Note,
            "the faint lines on the card are not seen well enough, so a cloudy liquid might not be noticed",
            "bring card and vial nearer and sharp, with the whole liquid before bare paper and nothing over-exposed",
        ));
    };
    (clear < CLOUDY).then(|| {
        Flag::new(
            "cloudy-liquid",
            Severity::Doubt,
            format!(
                "the lines on the card show through the liquid only {:.0} % as plainly as through the chart's vials: it is cloudy, full of bubbles, or a reflection lies over it",
                100.0 * clear.max(0.0)
            ),
            "wipe the glass, let bubbles clear and turn the vial away from bright windows; if the liquid itself is cloudy, filter the sample or see what the reagent maker says of it",
        )
    })
}

/// Where a quarter of the light over the liquid did not come through it, a colour may read half a step too pale, and more at the
/// top of a chart. Of the clear liquids in the scenes of `tests/scenes` in diffuse light (study seeds 5501, 9203, 10301 and 10701)
/// 99 of 100 are above this, in light of all kinds 96 or more.
const CLOUDY: f64 = 0.75;

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

fn card(look: &Look, correction: &Correction, flags: &mut Vec<Flag>) {
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

fn sharpness(look: &Look, flags: &mut Vec<Flag>) {
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

/// Share of the paper over-exposed past which it is told, and past which the light over the card is doubtful however well the paper
/// beside the liquid is seen: assumptions.
const BLOWN: f64 = 0.1;
const BLOWN_FAR: f64 = 1.0 / 3.0;
/// Paper within this distance of the liquid tells the light on it, mm.
const BESIDE_LIQUID: f64 = 20.0;

/// Share of the paper beside the liquid that is over-exposed; all of it where none is seen.
fn blown_beside(look: &Look) -> f64 {
    let l = look.liquid;
    let near = |s: &&Spot| {
        (l.x - BESIDE_LIQUID..=l.x + l.w + BESIDE_LIQUID).contains(&s.x)
            && (l.y - BESIDE_LIQUID..=l.y + l.h + BESIDE_LIQUID).contains(&s.y)
    };
    let near = look.observed.paper.iter().filter(near);
    mean(near.map(|s| Some(f64::from(u8::from(s.is_blown()))))).unwrap_or(1.0)
}

fn light(look: &Look, flags: &mut Vec<Flag>) {
    if look.observed.blown > BLOWN {
        flags.push(Flag::new(
            "white-over-exposed",
            if look.observed.blown > BLOWN_FAR || blown_beside(look) > BLOWN {
                Severity::Doubt
            } else {
                Severity::Note
            },
            format!(
                "{:.0} % of the white paper is over-exposed{}",
                100.0 * look.observed.blown,
                blown_in(&look.observed.paper)
            ),
            LESS_EXPOSURE,
        ));
    }
    if look.observed.white.max() < DARK_LN {
        flags.push(Flag::new(
            "too-dark",
            Severity::Doubt,
            format!(
                "the white paper is recorded at {:.1} % of full scale",
                100.0 * look.observed.white.max().exp()
            ),
            "bring more light, or raise the exposure until the paper looks white",
        ));
    }
    let field = &look.observed.field;
    let spread = spread(&look.observed.paper, look.liquid, OWN_TINT);
    let (tinted, fall_off) = spread.map_or((0.0, 0.0), |s| (s.tint, s.light));
    if tinted > MIXED {
        flags.push(Flag::new(
            "mixed-light",
            Severity::Doubt,
            format!("the light is of another colour from place to place: the tint of the white paper differs by {:.0} %", 100.0 * (tinted.exp() - 1.0)),
            "use one kind of light: switch off the lamp, or go away from the window; keep hands and coloured things away from the card",
        ));
    }
    let edge = field
        .edge_beside(look.liquid, NEAR_VIAL)
        .max(match look.place.bay {
            Bay::Search { area, .. } => field.edge_beside(area, NEAR_BAY),
            Bay::Liquid { .. } => 0.0,
        });
    let anywhere = field.edges();
    let spots = field.hard_edge(look.liquid, OWN_SHADOW, HARD_SHADOW, HARD_SLOPE);
    let hard = edge > HARD_SHADOW && spots.len() >= HARD_SPOTS || crosses(&spots, look.liquid);
    // Paper on the two sides of a hard edge differs by that much, however little of it lies in the shadow.
    let edge = if hard { edge.max(HARD_SHADOW) } else { edge };
    let by_vial = hard || edge > SHADOW && anywhere > WIDE_SHADOW;
    if by_vial || anywhere > DEEP_SHADOW {
        flags.push(Flag::new(
            "shadow-edge",
            Severity::Doubt,
            format!(
                "a shadow with an edge falls on the card, {}: paper there differs by {:.0} % beyond what smooth light would give",
                if by_vial { "by the vial" } else { "across much of it" },
                100.0 * (if by_vial { edge } else { anywhere }.exp() - 1.0)
            ),
            "turn card and vial until no shadow of your hand, the phone or a frame falls on them",
        ));
    } else if fall_off > FALL_OFF {
        flags.push(Flag::new(
            "strong-fall-off",
            Severity::Note,
            format!(
                "the brightest part of the card gets {:.1} times the light of the darkest",
                fall_off.exp()
            ),
            "bring the light farther away, or turn the card towards it",
        ));
    }
}

/// Whether a hard edge that runs through these spots crosses the liquid, or passes for its surface: it is seen at the liquid's
/// height on its left and on its right.
fn crosses(spots: &[(f64, f64)], liquid: Area) -> bool {
    let (middle, _) = liquid.centre();
    let height = liquid.y - HARD_OFF..=liquid.y + liquid.h;
    let (left, right): (Vec<_>, Vec<_>) = spots
        .iter()
        .copied()
        .filter(|(_, y)| height.contains(y))
        .partition(|(x, _)| *x < middle);
    left.len().min(right.len()) >= HARD_ASIDE
}

/// Spots on either side from which on an edge is seen there: on one spot dirt may lie.
const HARD_ASIDE: usize = 2;
/// Spots lie up to so far above the edge that they show, mm.
const HARD_OFF: f64 = 8.0;

/// White recorded under 5 % of full scale (linear) is four stops under: noise and rounding rule.
const DARK_LN: f64 = -3.0;
/// A tint of paper that differs by 15 % (natural log) over the card leaves half of that open at the vial: about 3 CIELAB
/// units in b for white.
const MIXED: f64 = 0.15;
/// Nearer to the liquid than this the paper takes its tint, mm: a red liquid in a vial of 28 mm throws up to a fifth there.
const OWN_TINT: f64 = 30.0;
/// Paper beside the vial that differs by this much beyond smooth light (natural log; a shadow that takes two fifths of it)
/// leaves open what falls over the vial. A soft shadow across another part of the card stays under it.
const SHADOW: f64 = 0.5;
/// The same for one place of twenty on the whole card: the vial's own shadow, and the light that it gathers, touch fewer.
const WIDE_SHADOW: f64 = 0.1;
/// An edge as deep as this (natural log, one place of twenty) is doubted wherever it is: where it runs behind the vial no paper
/// shows it.
const DEEP_SHADOW: f64 = 0.3;
/// A hard edge counts from half of that: light that changes by 4 % per mm along five spots of paper or more, some 40 mm. So does
/// the shadow of a hand or a phone before the vial; the edges of light from a window or a lamp are softer, the vial's own shadow
/// shorter. Chosen on the scenes of `tests/scenes` (study seeds 5501, 9203, 10301): all of 60 shadows with an edge over the vial are
/// told, and, as far as [`NEAR_VIAL`] goes, none of 1,920 sound photos, some with a soft shadow there, is.
const HARD_SHADOW: f64 = 0.25;
const HARD_SLOPE: f64 = 0.04;
const HARD_SPOTS: usize = 5;
/// How far from the liquid paper is free of the vial's own shadow, mm, but for below it.
const OWN_SHADOW: f64 = 20.0;
/// How far from the liquid an edge counts, mm: where it runs farther off, vial and paper beside it share their light.
const NEAR_VIAL: f64 = 14.0;
/// The same from the sides of the bay: a narrow vial stands far from any paper but the bay's. That tells 16 of 3,200 sound photos
/// (study seeds 5501, 9203, 10301, 10501 and 10601), all with the soft edge of a shadow beside the bay; they read true.
const NEAR_BAY: f64 = 8.0;
/// Light that differs by a factor of three over the card is told: the field bridges it, but less would be better.
const FALL_OFF: f64 = 1.1;

fn vial(look: &Look, usual_mm: Option<f64>, flags: &mut Vec<Flag>) {
    if let (Some(Found::Standing(vial)), Bay::Search { area, .. }) = (&look.vial, look.place.bay) {
        let aside = vial.axis() - area.centre().0;
        if aside.abs() > ASIDE {
            flags.push(Flag::new(
                "off-foot-mark",
                Severity::Note,
                format!(
                    "the vial stands {:.0} mm to the {} of its ring on the card",
                    aside.abs(),
                    if aside < 0.0 { "left" } else { "right" }
                ),
                "stand the vial on its ring, so that it has as much paper on either side as those of the chart",
            ));
        }
    }
    if let Some(slant) = look.slant.filter(|s| s.aside_deg > FROM_ASIDE) {
        flags.push(Flag::new(
            "seen-from-aside",
            Severity::Note,
            format!(
                "the vial is seen from {:.0} degrees to a side, where it looks paler than from straight before it",
                slant.aside_deg
            ),
            "hold the phone straight before the vial; a little from above is well",
        ));
    }
    if let (Some(usual), Some(vial)) = (usual_mm, &look.vial) {
        let width = vial.width();
        if (width / usual).ln().abs() > OTHER_VIAL {
            flags.push(Flag::new(
                "other-vial",
                Severity::Doubt,
                format!("the vial is {width:.0} mm wide on the card, those of the chart {usual:.0} mm: light goes another way through the liquid"),
                "use one vial of the kind that the chart was made with, alone on its ring on the card, or make a chart for this kind",
            ));
        }
    }
}

/// A vial whose axis is farther aside than this, mm, has half as much paper beside it on one side of the bay.
const ASIDE: f64 = 6.0;
/// Seen from farther to a side than this, degrees, a colour may be paler by a third of a step (see [`crate::vial::slant`]).
const FROM_ASIDE: f64 = 20.0;
/// Vials whose widths differ by more than this (natural log; 28 %) are of another kind: standing some centimetres nearer and
/// soft outlines make up to 20 %.
const OTHER_VIAL: f64 = 0.25;

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

fn liquid(look: &Look, sampled: &Sampled, flags: &mut Vec<Flag>) {
    if pool(look) {
        flags.push(Flag::new(
            "little-liquid",
            Severity::Doubt,
            "something of a deeper colour lies under the stretch that was taken for the liquid: there may be little liquid under empty glass",
            "fill the vial to its mark, and look at the overlay (--overlay) for where the liquid was seen",
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

/// Brighter than paper by this much (natural log): what a lens of water gathers behind itself may reach it.
const BRIGHTER: f64 = 0.15;
