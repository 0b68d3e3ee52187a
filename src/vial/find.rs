//! Where the vial and its liquid are, in the bay seen from the side.
//!
//! A straight line parallel to the card is seen parallel to its projection on the card, so an upright vial is an upright
//! band in card coordinates, whatever the camera's pose. Its two outlines are the outermost lasting edges; its liquid
//! is the lowest even stretch between base and meniscus.

use nalgebra::Vector3;

use super::bay::BayPicture;
use crate::error::{Error, Result};
use crate::light::spot::median;
use crate::place::Area;

/// The vial as found, plane units.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Vial {
    /// Left outline.
    pub left: f64,
    /// Right outline.
    pub right: f64,
    /// Upper end of the even liquid.
    pub top: f64,
    /// Lower end of the even liquid.
    pub bottom: f64,
    /// Strength of the weaker outline over the noise of edges in the bay.
    pub clarity: f64,
}

impl Vial {
    /// Outer width.
    pub fn width(&self) -> f64 {
        self.right - self.left
    }

    /// The axis.
    pub fn axis(&self) -> f64 {
        (self.left + self.right) / 2.0
    }

    /// Left, top, width and height of the liquid between the outlines.
    pub fn liquid(&self) -> Area {
        Area { x: self.left, y: self.top, w: self.width(), h: self.bottom - self.top }
    }
}

/// Vials of 12 to 28 mm, with allowance for standing nearer to the camera than the card (up to 20 %) and for blur.
const WIDTHS: (f64, f64) = (10.5, 34.0);
/// Height of the strips in which outlines are looked for, mm.
const STRIP: f64 = 5.0;
/// An outline has to stand out from the median edge of the bay by this factor.
const CLEAR: f64 = 4.0;
/// The least contrast of an outline: 2 % in one channel, about what the wall of a colourless vial shows.
const FAINTEST: f64 = 0.02;
/// Least height of even liquid, mm.
const LEAST_LIQUID: f64 = 6.0;

/// Finds the vial in the picture of the search area around `bay`.
///
/// # Errors
/// If no two outlines stand out, or no even stretch of liquid is found between them.
pub fn find(picture: &BayPicture, bay: Area) -> Result<Vial> {
    let edges = outline_strength(picture, bay);
    let (left, right, clarity) = outlines(picture, &edges, bay).ok_or_else(|| {
        Error::new(
            "no vial was found in the bay of the card",
            "stand the vial on the foot mark, upright and filled, against the bare paper of the bay",
        )
    })?;
    let (top, bottom) = liquid(picture, left, right).ok_or_else(|| {
        Error::new(
            format!("a vial was found, but no even stretch of at least {LEAST_LIQUID} mm of liquid in it"),
            "fill the vial to its mark, let bubbles clear, and photograph it without reflections over the liquid",
        )
    })?;
    Ok(Vial { left, right, top, bottom, clarity })
}

/// For every column: how strong an upright edge runs through it, in most strips of the lower bay.
fn outline_strength(p: &BayPicture, bay: Area) -> Vec<f64> {
    let reach = ((0.6 / p.step).round() as usize).max(1);
    let first = p.row(bay.y + 0.3 * bay.h);
    let rows = ((STRIP / p.step) as usize).max(2);
    let mut strips: Vec<Vec<f64>> = Vec::new();
    let mut j0 = first;
    while j0 + rows <= p.ny {
        let column: Vec<Vector3<f64>> = (0..p.nx)
            .map(|i| (j0..j0 + rows).map(|j| p.against_paper(i, j)).sum::<Vector3<f64>>() / rows as f64)
            .collect();
        let strength = (0..p.nx)
            .map(|i| {
                if i < reach || i + reach >= p.nx {
                    return 0.0;
                }
                let before = column[i - reach..i].iter().sum::<Vector3<f64>>() / reach as f64;
                let after = column[i + 1..=i + reach].iter().sum::<Vector3<f64>>() / reach as f64;
                (after - before).amax()
            })
            .collect();
        strips.push(strength);
        j0 += rows;
    }
    (0..p.nx)
        .map(|i| {
            let mut v: Vec<f64> = strips.iter().map(|s| s[i]).collect();
            median(&mut v)
        })
        .collect()
}

/// The pair of edges that best encloses everything that is not paper.
fn outlines(p: &BayPicture, edges: &[f64], bay: Area) -> Option<(f64, f64, f64)> {
    let mut quiet: Vec<f64> = edges.iter().copied().filter(|e| *e > 0.0).collect();
    let noise = median(&mut quiet).max(FAINTEST / CLEAR);
    let peaks: Vec<usize> = (1..edges.len().saturating_sub(1))
        .filter(|&i| edges[i] >= edges[i - 1] && edges[i] > edges[i + 1] && edges[i] >= FAINTEST)
        .collect();
    let mut best: Option<(f64, usize, usize)> = None;
    let centre = bay.centre().0;
    for (n, &l) in peaks.iter().enumerate() {
        for &r in &peaks[n + 1..] {
            let width = (r - l) as f64 * p.step;
            if width < WIDTHS.0 || width > WIDTHS.1 {
                continue;
            }
            let near = |i: usize, side: f64| {
                peaks
                    .iter()
                    .filter(|&&k| {
                        let d = (k as f64 - i as f64) * side * p.step;
                        d > 0.9 && d < 4.0
                    })
                    .map(|&k| edges[k])
                    .fold(0.0, f64::max)
            };
            // Edges just outside belong to the outline that was missed; edges inside are walls and highlights.
            let missed = near(l, -1.0) + near(r, 1.0);
            let aside = ((l + r) as f64 / 2.0 * p.step + p.area.x - centre).abs();
            let score = (edges[l].min(edges[r]) * edges[l].max(edges[r]).sqrt() - 0.5 * missed * edges[l].max(edges[r]).sqrt())
                * (-0.5 * (aside / 8.0).powi(2)).exp();
            if best.is_none_or(|(s, _, _)| score > s) {
                best = Some((score, l, r));
            }
        }
    }
    let (_, l, r) = best?;
    let clarity = edges[l].min(edges[r]) / noise;
    let x = |i: usize| p.area.x + (i as f64 + 0.5) * p.step;
    Some((x(l), x(r), clarity))
}

/// The lowest even stretch of the vial's middle band.
fn liquid(p: &BayPicture, left: f64, right: f64) -> Option<(f64, f64)> {
    let rows = middle_profile(p, left, right);
    let window = ((2.0 / p.step) as usize).max(2);
    if rows.len() < 4 * window {
        return None;
    }
    let mean = |a: usize, b: usize| rows[a..b].iter().sum::<Vector3<f64>>() / (b - a) as f64;
    let jump: Vec<f64> = (0..rows.len())
        .map(|j| {
            if j < window || j + window >= rows.len() {
                return 0.0;
            }
            (mean(j + 1, j + 1 + window) - mean(j - window, j)).amax()
        })
        .collect();
    // Noise of the jumps: most rows lie inside something even.
    let mut sorted: Vec<f64> = jump.iter().copied().filter(|v| *v > 0.0).collect();
    let typical = median(&mut sorted);
    let limit = (4.0 * typical).clamp(0.02, 0.12);
    let mut cuts = vec![0usize];
    let mut j = window;
    while j + window < rows.len() {
        if jump[j] > limit {
            let end = (j..rows.len()).find(|&k| jump[k] <= limit).unwrap_or(rows.len() - 1);
            cuts.push(j);
            cuts.push(end);
            j = end + 1;
        } else {
            j += 1;
        }
    }
    cuts.push(rows.len() - 1);
    let y = |j: usize| p.area.y + (j as f64 + 0.5) * p.step;
    let runs: Vec<(f64, f64)> = cuts.chunks(2).filter(|c| c.len() == 2).map(|c| (y(c[0]), y(c[1]))).collect();
    // From below: the first stretch long enough is the liquid; what lies under it is the base or the table.
    runs.into_iter().rev().find(|(a, b)| b - a >= LEAST_LIQUID)
}

/// Row by row, the colour of the vial's middle, highlights left out: the mean of the darker half of the middle columns.
fn middle_profile(p: &BayPicture, left: f64, right: f64) -> Vec<Vector3<f64>> {
    let half = 0.3 * (right - left);
    let axis = (left + right) / 2.0;
    let (i0, i1) = (p.column(axis - half), p.column(axis + half));
    (0..p.ny)
        .map(|j| {
            let mut cells: Vec<Vector3<f64>> = (i0..=i1).map(|i| p.against_paper(i, j)).collect();
            cells.sort_by(|a, b| a.sum().total_cmp(&b.sum()));
            let n = (cells.len() / 2).max(1);
            cells[..n].iter().sum::<Vector3<f64>>() / n as f64
        })
        .collect()
}
