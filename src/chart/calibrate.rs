//! A chart from photos of known standards.
//!
//! The session's patches (mean over its photos) are the yardstick; every photo of the session is itself corrected onto
//! them before its vial's colour is taken, so that a drifting lamp during the session does not bend the chart.

use nalgebra::{Matrix3, Vector3};

use super::curve::Choice;
use super::{Chart, Origin, Step, Terms, findings};
use crate::capture;
use crate::error::{Error, Result};
use crate::estimate::budget::depth;
use crate::flag::Flag;
use crate::light::correct::{Correction, SessionPatch, ln};
use crate::light::relative;
use crate::light::spot::{mean, middle};
use crate::look::{Look, Where, look};
use crate::photo::Photo;
use crate::place::Area;
use crate::sight;
use crate::vial::Found;
use crate::vial::ends::{Ends, UsualEnds};
use crate::vial::lens::{Lens, gathered_light};
use crate::vial::sample::Sampled;

/// A photo of a known standard.
pub struct Standard {
    /// Concentration in the chart's unit.
    pub value: f64,
    /// Name of the photo, for messages.
    pub name: String,
    /// The photo, looked at.
    pub look: Look,
    /// What its file says against it.
    pub of_file: Vec<Flag>,
}

impl Standard {
    /// Looks at a photo of a standard of concentration `value`.
    ///
    /// # Errors
    /// As [`look`].
    pub fn new(value: f64, name: String, photo: &Photo, by: &Where) -> Result<Standard> {
        let mut of_file = photo.notes.clone();
        of_file.extend(capture::of_file(&photo.facts));
        Ok(Standard {
            value,
            name,
            look: look(photo, by)?,
            of_file,
        })
    }
}

/// A standard with what was measured of its liquid.
pub(super) struct Taken<'a> {
    pub standard: &'a Standard,
    pub sampled: Sampled,
    /// Covariance of its colour (natural log of relative light), from all that is known of the one photo.
    pub covariance: Matrix3<f64>,
}

/// Fewest steps of a chart.
pub const LEAST_STEPS: usize = 3;

/// Repeatability assumed where no replicate photos tell: a vial's path length and filling repeat to about 1.5 % of its
/// depth, other things to 0.5 % (assumptions, common practice for hand-held vials; replicates take their place).
const ASSUMED_PATH: f64 = 0.015;
const ASSUMED_OTHER: f64 = 0.005;
/// Degrees of freedom with which the assumption counts beside replicates.
const ASSUMED_DF: f64 = 3.0;

/// Builds the chart, with what was found on the way. A photo that a reading would doubt is left out where another of the same standard
/// is sound.
///
/// # Errors
/// If there are fewer than three steps, photos with different cards, or a liquid that cannot be sampled.
pub fn build(terms: Terms, origin: Origin, standards: &[Standard]) -> Result<Chart> {
    let all: Vec<&Standard> = standards.iter().collect();
    build_without(terms, origin, &all, Vec::new())
}

/// Builds the chart of `standards`, which are all but those that were `left_out` with a word why.
fn build_without(
    terms: Terms,
    origin: Origin,
    standards: &[&Standard],
    left_out: Vec<Flag>,
) -> Result<Chart> {
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
    let patches = session_patches(standards);
    let mut taken: Vec<Taken> = Vec::new();
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
        let covariance = s.look.covariance(&sampled, correction, inks_missed);
        taken.push(Taken {
            standard: s,
            sampled,
            covariance,
        });
    }
    let looks = || standards.iter().map(|s| &s.look);
    let vial_mm = middle(looks().filter_map(|l| l.vial.as_ref().map(Found::width)));
    let doubts: Vec<Option<Flag>> = taken.iter().map(|t| findings::doubt(t, vial_mm)).collect();
    if let Some((sound, why)) = findings::spared(&taken, &doubts, &terms.unit) {
        return build_without(terms, origin, &sound, [left_out, why].concat());
    }
    let across: Vec<_> = taken
        .iter()
        .filter_map(|t| t.sampled.across.clone())
        .collect();
    let lens = Lens::of(&across);
    if let Some(lens) = &lens {
        for t in &mut taken {
            let unlike = t.sampled.across.as_ref().map(|c| c.unlike(&lens.across));
            t.covariance += gathered_light(&t.sampled.ln, unlike);
        }
    }
    let (repeatability, df) = repeatability(&values, &taken);
    let steps: Vec<Step> = values
        .iter()
        .map(|v| Step {
            clear: clear(*v, standards),
            ..step(*v, &taken, &repeatability)
        })
        .collect();
    let curve = Choice::choose(&steps)?;
    let view = match (&card, standards[0].look.place.bay) {
        (Some(_), crate::place::Bay::Search { view, .. }) => Some(view),
        _ => None,
    };
    let mut chart = Chart {
        terms,
        origin,
        card,
        view,
        vial_mm,
        lines_lowered: middle(looks().filter_map(sight::lowered)),
        lens,
        ends: None,
        inks_missed,
        patches,
        steps,
        repeatability: rows(&repeatability),
        repeatability_df: df,
        curve,
        found: Vec::new(),
    };
    let ends: Vec<Ends> = taken
        .iter()
        .map(|t| {
            let dye = chart.dye_at(chart.step_position(t.standard.value));
            Ends::of(&t.sampled.ends_differ, &dye)
        })
        .collect();
    chart.ends = UsualEnds::of(&ends);
    chart.found = findings::of(&chart, &taken, &doubts, &ends, left_out);
    Ok(chart)
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
            let by = Where::Regions {
                white,
                liquid: *area,
                photo: None,
            };
            Standard::new(*value, name.clone(), photo, &by).map_err(|e| Error {
                what: format!("{name}: {}", e.what),
                ..e
            })
        })
        .collect()
}

fn one_card(standards: &[&Standard]) -> Result<Option<String>> {
    let design = |s: &Standard| s.look.place.card.as_ref().map(|c| c.design.clone());
    let first = design(standards[0]);
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
fn session_patches(standards: &[&Standard]) -> Vec<SessionPatch> {
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

/// Repeatability of a vial's colour per unit of its depth squared, and the degrees of freedom of the replicates: how much more
/// they scatter than what is known of each photo explains.
fn repeatability(values: &[f64], taken: &[Taken<'_>]) -> (Matrix3<f64>, usize) {
    let (mut sum, mut df) = (Matrix3::zeros(), 0usize);
    for v in values {
        let (of_step, mean) = of_value(*v, taken);
        let n = of_step.len() as f64;
        for t in &of_step {
            let d = (t.sampled.ln - mean) / depth(&mean);
            sum += d * d.transpose() - t.covariance * ((1.0 - 1.0 / n) / depth(&mean).powi(2));
        }
        df += of_step.len() - 1;
    }
    let deepest = taken
        .iter()
        .map(|t| t.sampled.ln)
        .max_by(|a, b| a.norm().total_cmp(&b.norm()))
        .unwrap_or_default();
    let along = deepest / deepest.norm().max(1e-9);
    let assumed = assumed(&along);
    let pooled = assumed * ASSUMED_DF + without_negative(sum);
    (pooled / (ASSUMED_DF + df as f64), df)
}

/// What a vial repeats to per unit of its depth where nothing was measured, for a dye that goes `along` a direction.
pub(super) fn assumed(along: &Vector3<f64>) -> Matrix3<f64> {
    along * along.transpose() * ASSUMED_PATH.powi(2) + Matrix3::identity() * ASSUMED_OTHER.powi(2)
}

/// A symmetric matrix without its negative parts: a variance is none.
fn without_negative(m: Matrix3<f64>) -> Matrix3<f64> {
    let parts = ((m + m.transpose()) / 2.0).symmetric_eigen();
    let kept = Matrix3::from_diagonal(&parts.eigenvalues.map(|v| v.max(0.0)));
    parts.eigenvectors * kept * parts.eigenvectors.transpose()
}

/// The photos of one standard, and their mean colour (natural log of relative light).
pub(super) fn of_value<'a, 'b>(
    value: f64,
    taken: &'a [Taken<'b>],
) -> (Vec<&'a Taken<'b>>, Vector3<f64>) {
    let of_step: Vec<_> = taken.iter().filter(|t| t.standard.value == value).collect();
    let sum: Vector3<f64> = of_step.iter().map(|t| t.sampled.ln).sum();
    let n = of_step.len() as f64;
    (of_step, sum / n)
}

fn step(value: f64, taken: &[Taken<'_>], repeatability: &Matrix3<f64>) -> Step {
    let (of_step, mean) = of_value(value, taken);
    let n = of_step.len() as f64;
    let own = of_step.iter().map(|t| t.covariance).sum::<Matrix3<f64>>() / (n * n);
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
fn clear(value: f64, standards: &[&Standard]) -> Option<[f64; 3]> {
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
