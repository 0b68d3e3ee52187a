//! A chart from photos of known standards.
//!
//! The session's patches (mean over its photos) are the yardstick; every photo of the session is itself corrected onto
//! them before its vial's colour is taken, so that a drifting lamp during the session does not bend the chart.

use nalgebra::{Matrix3, Vector3};

use super::curve::Choice;
use super::{Chart, Origin, Step, Terms};
use crate::error::{Error, Result};
use crate::estimate::budget::depth;
use crate::flag::{Checked, Flag, Severity};
use crate::light::correct::{Correction, SessionPatch, ln};
use crate::light::relative;
use crate::light::spot::{mean, median};
use crate::look::{Look, Where, look};
use crate::photo::Photo;
use crate::place::Area;
use crate::vial::Found;
use crate::vial::ends::{Ends, UsualEnds};
use crate::vial::lens::{Lens, gathered_light};

/// A photo of a known standard.
pub struct Standard {
    /// Concentration in the chart's unit.
    pub value: f64,
    /// Name of the photo, for messages.
    pub name: String,
    /// The photo, looked at.
    pub look: Look,
}

/// Fewest steps of a chart.
pub const LEAST_STEPS: usize = 3;

/// Repeatability assumed where no replicate photos tell: a vial's path length and filling repeat to about 1.5 % of its
/// depth, other things to 0.5 % (assumptions, common practice for hand-held vials; replicates take their place).
const ASSUMED_PATH: f64 = 0.015;
const ASSUMED_OTHER: f64 = 0.005;
/// Degrees of freedom with which the assumption counts beside replicates.
const ASSUMED_DF: f64 = 3.0;
/// Patches that differ by more than this between photos of a session (natural log, median) tell of a session that was
/// not held together: 5 % is about 2 CIELAB units at mid-grey.
const DRIFT: f64 = 0.05;

/// A curve that misses left-out steps by more than this share of what neighbours lie apart leads nowhere: along a smooth
/// curve a left-out step is missed by a fraction of it, with two standards mixed up by more than the whole.
const MIXED_UP: f64 = 0.8;

/// Root mean square CIELAB distance of neighbouring steps.
fn typical_distance(steps: &[Step]) -> f64 {
    let squares = steps
        .windows(2)
        .map(|w| (w[1].lab().to_vector() - w[0].lab().to_vector()).norm_squared());
    (squares.sum::<f64>() / (steps.len() - 1) as f64).sqrt()
}

/// Builds the chart.
///
/// # Errors
/// If there are fewer than three steps, photos with different cards, or a liquid that cannot be sampled.
pub fn build(terms: Terms, origin: Origin, standards: &[Standard]) -> Result<Checked<Chart>> {
    let mut values: Vec<f64> = standards.iter().map(|s| s.value).collect();
    values.sort_by(f64::total_cmp);
    values.dedup();
    if values.len() < LEAST_STEPS {
        return Err(Error::new(
            format!(
                "{} different standards are not enough for a chart: at least {LEAST_STEPS} are needed",
                values.len()
            ),
            "photograph more standards; five or six that span the range make a good chart",
        ));
    }
    let card = one_card(standards)?;
    let mut flags = Vec::new();
    let patches = session_patches(standards);
    let drift = median_drift(&patches);
    if drift > DRIFT {
        flags.push(Flag::new(
            "session-drift",
            Severity::Doubt,
            format!(
                "the card's patches differ by {:.0} % between the photos of this session",
                100.0 * drift
            ),
            "photograph all standards with one phone, one after another, in the same light",
        ));
    }
    let mut seen: Vec<(f64, Vector3<f64>, Matrix3<f64>)> = Vec::new();
    let (mut across, mut ends_differ) = (Vec::new(), Vec::new());
    let corrections: Vec<Correction> = standards
        .iter()
        .map(|s| Correction::choose(&s.look.observed, &patches))
        .collect();
    let inks_missed = mean(corrections.iter().map(Correction::inks_missed));
    for (s, correction) in standards.iter().zip(&corrections) {
        let sampled = s
            .look
            .colour(correction)
            .map_err(|e| e.about(s.name.clone()))?;
        let own = sampled.covariance
            + s.look.observed.field.covariance(s.look.liquid)
            + s.look.slant_covariance(&sampled.ln)
            + correction.residual_covariance(&sampled.ln)
            + correction.metamerism(&sampled.ln, inks_missed);
        seen.push((s.value, sampled.ln, own));
        ends_differ.push((s.value, sampled.ends_differ));
        across.push(sampled.across);
    }
    let lens = Lens::of(&across.iter().flatten().cloned().collect::<Vec<_>>());
    if let Some(lens) = &lens {
        for (photo, seen_across) in seen.iter_mut().zip(&across) {
            let unlike = seen_across.as_ref().map(|c| c.unlike(&lens.across));
            photo.2 += gathered_light(&photo.1, unlike);
        }
    }
    if let Some(gathered) = lens.as_ref().and_then(Lens::unsteady) {
        flags.push(Flag::new(
            "lamp-through-vials",
            Severity::Doubt,
            format!(
                "one lamp or the sun shines through the vials and throws stripes of light behind them, {:.0} % unlike from photo to photo",
                100.0 * (gathered.exp() - 1.0)
            ),
            "photograph the standards again in diffuse light: by a window without sun, or under a wide or shaded lamp",
        ));
    }
    let (repeatability, df) = repeatability(&values, &seen);
    if df == 0 && origin == Origin::Standards {
        flags.push(Flag::new(
            "no-replicates",
            Severity::Note,
            "every standard was photographed once, so how well a vial repeats is assumed, not measured",
            "photograph each standard twice, taking the vial away and putting it back in between",
        ));
    }
    let steps: Vec<Step> = values
        .iter()
        .map(|v| Step {
            clear: clear(*v, standards),
            ..step(*v, &seen, &repeatability)
        })
        .collect();
    let curve = Choice::choose(&steps)?;
    if let Some(missed) = curve.left_out_error {
        let apart = typical_distance(&steps);
        if missed > MIXED_UP * apart {
            flags.push(Flag::new(
                "steps-out-of-line",
                Severity::Doubt,
                format!(
                    "the steps do not follow each other: left-out ones are missed by {missed:.1} CIELAB, neighbours are {apart:.1} apart"
                ),
                "see whether photos of two standards are mixed up, or a vial was empty or not mixed (`tintwell chart` shows the colours)",
            ));
        }
    }
    let view = match (&card, standards[0].look.place.bay) {
        (Some(_), crate::place::Bay::Search { view, .. }) => Some(view),
        _ => None,
    };
    let mut widths: Vec<f64> = standards
        .iter()
        .filter_map(|s| s.look.vial.as_ref().map(Found::width))
        .collect();
    let mut chart = Chart {
        terms,
        origin,
        card,
        view,
        vial_mm: (!widths.is_empty()).then(|| median(&mut widths)),
        lens,
        ends: None,
        inks_missed,
        patches,
        steps,
        repeatability: rows(&repeatability),
        repeatability_df: df,
        curve,
    };
    let ends: Vec<Ends> = ends_differ
        .iter()
        .map(|(value, differ)| Ends::of(differ, &chart.dye_at(chart.step_position(*value))))
        .collect();
    chart.ends = UsualEnds::of(&ends);
    flags.extend(unmixed(standards, &ends));
    flags.extend(super::resolve::flags(&chart)?);
    Ok(Checked {
        value: chart,
        flags,
    })
}

/// The colours of a printed chart as standards, for [`build`] with [`Origin::PrintedColours`]: each region of the photo is
/// sampled as if it were liquid, with `white` as paper. Regions are in pixels of the upright photo.
///
/// # Errors
/// If a region does not fit into the photo, or the white is over-exposed. The error names the step.
pub fn printed(photo: &Photo, white: Area, regions: &[(f64, Area)]) -> Result<Vec<Standard>> {
    regions
        .iter()
        .map(|(value, area)| {
            let name = format!("the colour of step {value}");
            match look(
                photo,
                &Where::Regions {
                    white,
                    liquid: *area,
                },
            ) {
                Ok(look) => Ok(Standard {
                    value: *value,
                    name,
                    look,
                }),
                Err(e) => Err(Error {
                    what: format!("{name}: {}", e.what),
                    ..e
                }),
            }
        })
        .collect()
}

/// A note on each standard whose ends differ in their dye beyond those of all others.
fn unmixed(standards: &[Standard], ends: &[Ends]) -> Vec<Flag> {
    let beyond_others = |i: usize| {
        let others = [&ends[..i], &ends[i + 1..]].concat();
        Some(UsualEnds::of(&others)?.beyond(&ends[i]))
    };
    standards
        .iter()
        .enumerate()
        .filter(|(i, _)| beyond_others(*i).is_some_and(|b| b.unmixed(UNMIXED, UNMIXED_TINT)))
        .map(|(i, standard)| {
            Flag::new(
                "standard-uneven",
                Severity::Note,
                format!(
                    "in {} the colour of the liquid is {}, unlike in the other standards",
                    standard.name,
                    ends[i].in_words(standard.look.ends()),
                ),
                "if it was not mixed, shake it and photograph it again; if a lamp shines down the vial, use diffuse light",
            )
        })
        .collect()
}

/// A standard whose ends differ by more than this share of its dye, beyond all others of its session, and by more than this tint
/// (natural log), is worth a look.
const UNMIXED: f64 = 0.25;
const UNMIXED_TINT: f64 = 0.05;

fn one_card(standards: &[Standard]) -> Result<Option<String>> {
    let design = |s: &Standard| s.look.place.card.as_ref().map(|c| c.design.clone());
    let first = design(&standards[0]);
    match standards.iter().find(|s| design(s) != first) {
        None => Ok(first),
        Some(other) => Err(Error::new(
            format!(
                "this photo shows the card \"{}\", but {} shows \"{}\"",
                design(other).unwrap_or_else(|| "none".into()),
                standards[0].name,
                first.unwrap_or_else(|| "none".into())
            ),
            "use one card for the whole session",
        )
        .about(other.name.clone())),
    }
}

/// Mean of each patch over the photos that show it.
fn session_patches(standards: &[Standard]) -> Vec<SessionPatch> {
    let mut names: Vec<(String, bool)> = Vec::new();
    for p in standards.iter().flat_map(|s| &s.look.observed.patches) {
        if !names.iter().any(|(n, _)| *n == p.name) {
            names.push((p.name.clone(), p.neutral));
        }
    }
    names
        .into_iter()
        .map(|(name, neutral)| {
            let seen: Vec<Vector3<f64>> = standards
                .iter()
                .filter_map(|s| {
                    let o = &s.look.observed;
                    let p = o.patches.iter().find(|p| p.name == name)?;
                    Some(ln(relative(&p.level, &o.to_working)))
                })
                .collect();
            let n = seen.len() as f64;
            let mean = seen.iter().sum::<Vector3<f64>>() / n;
            let sd = (seen.len() > 1).then(|| {
                let square = seen
                    .iter()
                    .map(|v| (v - mean).map(|d| d * d))
                    .sum::<Vector3<f64>>()
                    / (n - 1.0);
                square.map(f64::sqrt).into()
            });
            SessionPatch {
                name,
                neutral,
                ln: mean.into(),
                sd,
            }
        })
        .collect()
}

fn median_drift(patches: &[SessionPatch]) -> f64 {
    let mut sd: Vec<f64> = patches
        .iter()
        .filter_map(|p| p.sd.map(|s| (s[0] + s[1] + s[2]) / 3.0))
        .collect();
    if sd.is_empty() {
        0.0
    } else {
        crate::light::spot::median(&mut sd)
    }
}

/// Repeatability of a vial's colour per unit of its depth squared, and the degrees of freedom of the replicates: how much more
/// they scatter than what is known of each photo explains.
fn repeatability(
    values: &[f64],
    seen: &[(f64, Vector3<f64>, Matrix3<f64>)],
) -> (Matrix3<f64>, usize) {
    let (mut sum, mut df) = (Matrix3::zeros(), 0usize);
    for v in values {
        let of_step: Vec<_> = seen.iter().filter(|s| s.0 == *v).collect();
        let n = of_step.len() as f64;
        let mean = of_step.iter().map(|s| s.1).sum::<Vector3<f64>>() / n;
        for (_, ln, known) in of_step.iter().copied() {
            let d = (ln - mean) / depth(&mean);
            sum += d * d.transpose() - known * ((1.0 - 1.0 / n) / depth(&mean).powi(2));
        }
        df += of_step.len() - 1;
    }
    let deepest = seen
        .iter()
        .map(|s| s.1)
        .max_by(|a, b| a.norm().total_cmp(&b.norm()))
        .unwrap_or_default();
    let along = deepest / deepest.norm().max(1e-9);
    let assumed = along * along.transpose() * ASSUMED_PATH.powi(2)
        + Matrix3::identity() * ASSUMED_OTHER.powi(2);
    let pooled = assumed * ASSUMED_DF + without_negative(sum);
    (pooled / (ASSUMED_DF + df as f64), df)
}

/// A symmetric matrix without its negative parts: a variance is none.
fn without_negative(m: Matrix3<f64>) -> Matrix3<f64> {
    let parts = ((m + m.transpose()) / 2.0).symmetric_eigen();
    let kept = Matrix3::from_diagonal(&parts.eigenvalues.map(|v| v.max(0.0)));
    parts.eigenvectors * kept * parts.eigenvectors.transpose()
}

fn step(
    value: f64,
    seen: &[(f64, Vector3<f64>, Matrix3<f64>)],
    repeatability: &Matrix3<f64>,
) -> Step {
    let of_step: Vec<_> = seen.iter().filter(|s| s.0 == value).collect();
    let n = of_step.len() as f64;
    let mean = of_step.iter().map(|s| s.1).sum::<Vector3<f64>>() / n;
    let own = of_step.iter().map(|s| s.2).sum::<Matrix3<f64>>() / (n * n);
    let covariance = own + repeatability * (depth(&mean).powi(2) / n);
    Step {
        value,
        ln: mean.into(),
        covariance: rows(&covariance),
        photos: of_step.len(),
        clear: None,
    }
}

/// How much of the card's lines is seen through the vials of a step.
fn clear(value: f64, standards: &[Standard]) -> Option<[f64; 3]> {
    let seen: Vec<Vector3<f64>> = standards
        .iter()
        .filter(|s| s.value == value)
        .filter_map(|s| Some(s.look.clear?.share))
        .collect();
    let n = seen.len() as f64;
    (!seen.is_empty()).then(|| (seen.iter().sum::<Vector3<f64>>() / n).into())
}

fn rows(m: &Matrix3<f64>) -> [[f64; 3]; 3] {
    std::array::from_fn(|i| std::array::from_fn(|j| m[(i, j)]))
}
