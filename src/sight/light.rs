//! The light on the card and the exposure of its paper.

use crate::flag::{Flag, Severity};
use crate::light::LESS_EXPOSURE;
use crate::light::field::spread;
use crate::light::spot::{Spot, blown_in, mean};
use crate::look::Look;
use crate::place::{Area, Bay};

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

pub(super) fn flags(look: &Look, flags: &mut Vec<Flag>) {
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
