//! What a chart can tell apart: neighbouring steps, and colours in general.
//!
//! Two colours are told apart when they differ by 3.29 standard deviations of one reading: errors of 5 % either way (Currie
//! 1995, Pure Appl. Chem. 67:1699-1723, eqs 4.2-4.3, for known sigma). The distance is Mahalanobis's, as in the reading: light
//! and dark are known less well than tint.

use nalgebra::Matrix3;

use super::curve::Curve;
use super::{Chart, Origin};
use crate::error::Result;
use crate::estimate::budget::depth;
use crate::flag::{Flag, Severity};
use crate::place::View;
use crate::vial::gap;
use crate::vial::lens::gathered_light;

/// Two times the 95 % point of the normal distribution.
pub const TOLD_APART: f64 = 3.29;

/// Two neighbouring steps and how far apart a single reading sees them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// The lower step's value.
    pub lower: f64,
    /// The upper step's value.
    pub upper: f64,
    /// Their distance in standard deviations of one reading under the session's conditions.
    pub sigmas: f64,
    /// Their CIEDE2000 difference.
    pub delta_e: f64,
}

/// How far apart neighbouring steps are.
///
/// # Errors
/// If the chart has too few steps for a curve.
pub fn pairs(chart: &Chart) -> Result<Vec<Pair>> {
    let curve = Curve::new(&chart.steps, &chart.curve)?;
    Ok((0..chart.steps.len() - 1)
        .map(|i| {
            let (a, b) = (&chart.steps[i], &chart.steps[i + 1]);
            Pair {
                lower: a.value,
                upper: b.value,
                sigmas: apart(chart, &curve, i as f64, (i + 1) as f64),
                delta_e: crate::colour::ciede2000(a.lab(), b.lab()),
            }
        })
        .collect())
}

/// The highest step that one photo tells from the one under it; the last step, if it tells none.
///
/// # Errors
/// If the chart has too few steps for a curve.
pub fn clear_top(chart: &Chart) -> Result<f64> {
    let pairs = pairs(chart)?;
    let told = pairs.iter().rev().find(|p| p.sigmas >= TOLD_APART);
    Ok(told.or(pairs.last()).map_or(0.0, |p| p.upper))
}

/// Mahalanobis distance of two places on the curve, with the covariance of one reading halfway between theirs.
pub(super) fn apart(chart: &Chart, curve: &Curve, p: f64, q: f64) -> f64 {
    let d = curve.lab(q).to_vector() - curve.lab(p).to_vector();
    let sigma = (reading_covariance(chart, curve, p) + reading_covariance(chart, curve, q)) / 2.0;
    sigma
        .cholesky()
        .map_or(0.0, |c| d.dot(&c.solve(&d)).max(0.0).sqrt())
}

/// Covariance of one reading at a place on the curve, under the session's conditions, CIELAB: that of the photo and that of
/// the curve.
pub fn reading_covariance(chart: &Chart, curve: &Curve, position: f64) -> Matrix3<f64> {
    let (steps, between) = curve.covariance(position);
    photo_covariance(chart, curve, position) + steps + between
}

/// The photo's part of it.
pub(super) fn photo_covariance(chart: &Chart, curve: &Curve, position: f64) -> Matrix3<f64> {
    let rel = curve.relative(position);
    let ln = nalgebra::Vector3::from(rel.0).map(|v: f64| v.max(1e-3).ln());
    let repeat = Matrix3::from_fn(|i, j| chart.repeatability[i][j]) * depth(&ln).powi(2);
    let j = rel.lab_jacobian_ln();
    let gathered = gathered_light(&ln, chart.lens.as_ref().map(|l| l.scatter));
    let standing = chart.vial_mm.filter(|_| chart.view == Some(View::Side));
    let gap = standing.map_or_else(Matrix3::zeros, |width| gap::covariance(&ln, width));
    j * (repeat + gathered + gap) * j.transpose()
}

/// What a user should know about a chart: what was found when it was made, steps that look alike, and what it was made from.
///
/// # Errors
/// If the chart has too few steps for a curve.
pub fn flags(chart: &Chart) -> Result<Vec<Flag>> {
    let mut flags = chart.found.clone();
    let alike = pairs(chart)?
        .into_iter()
        .filter(|p| p.sigmas < TOLD_APART)
        .map(|p| {
            let unit = &chart.terms.unit;
            Flag::new(
                "steps-alike",
                Severity::Note,
                format!(
                    "{} and {} {unit} cannot be told apart by one photo: they differ by {:.1} standard deviations, {TOLD_APART} are needed",
                    p.lower, p.upper, p.sigmas
                ),
                "expect wide intervals there; a longer path of light through the vial or more photos of each standard help",
            )
        });
    flags.extend(alike);
    flags.extend(from_print(chart));
    Ok(flags)
}

/// Doubt about a chart of printed colours, and about every reading on it.
pub fn from_print(chart: &Chart) -> Option<Flag> {
    (chart.origin == Origin::PrintedColours).then(|| {
        Flag::new(
            "printed-colours",
            Severity::Doubt,
            "this chart was made from printed colours: ink and liquid look alike to the eye, but not to a camera",
            "photograph vials of known standards when you can, and make the chart from those",
        )
    })
}
