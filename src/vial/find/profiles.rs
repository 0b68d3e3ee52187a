//! The vial's middle from top to bottom, in bands side by side, and the stretches in which it looks even.

use nalgebra::Vector3;
use rayon::prelude::*;

use super::{cells, jumps, level, mean_ln};
use crate::light::spot::median;
use crate::light::tint;
use crate::vial::bay::BayPicture;

/// A change along the vial's middle counts as an end of the liquid from 0.015 (about 4 % of light), and however noisy the
/// photo, from 0.06 (about 18 %).
const STEP_LEAST: f64 = 0.015;
const STEP_MOST: f64 = 0.06;
/// A meniscus or base is bent by up to this much to either side within the vial's middle, mm.
const BENT: f64 = 0.7;
/// Half of the vial's middle in which the liquid is looked for, in parts of its width, and the bands it is cut into.
const MIDDLE: f64 = 0.3;
pub(super) const BANDS: usize = 5;
/// Dark lines across the vial thinner than this, mm, are printed ones: they are 0.4 mm thick, and a lens blurs them.
const THIN: f64 = 1.2;

/// A stretch of rows: the first, and the one after the last.
pub(super) type Run = (usize, usize);

/// The vial's middle, row by row.
pub(super) struct Profiles {
    /// Each band of it on its own.
    bands: Vec<Vec<Vector3<f64>>>,
    /// The median of the bands: what is printed on the glass covers less than half of them.
    typical: Vec<Vector3<f64>>,
    /// Their mean, which is less noisy: for tints near none.
    mean: Vec<Vector3<f64>>,
}

impl Profiles {
    /// The middle of a vial between its outlines.
    pub fn of(p: &BayPicture, left: f64, right: f64) -> Profiles {
        Profiles::of_bands(
            (0..BANDS)
                .into_par_iter()
                .map(|band| without_thin_lines(&profile(p, left, right, band), cells(p, THIN)))
                .collect(),
        )
    }

    /// The same from its bands, each a colour a row.
    pub fn of_bands(bands: Vec<Vec<Vector3<f64>>>) -> Profiles {
        let rows = 0..bands[0].len();
        let median_of = |j: usize| {
            Vector3::from_fn(|c, _| {
                median(&mut bands.iter().map(|b| b[j][c]).collect::<Vec<f64>>())
            })
        };
        let mean_of =
            |j: usize| bands.iter().map(|b| b[j]).sum::<Vector3<f64>>() / bands.len() as f64;
        Profiles {
            typical: rows.clone().map(median_of).collect(),
            mean: rows.map(mean_of).collect(),
            bands,
        }
    }

    /// The light of a stretch, natural log, with what is printed on the glass left out.
    pub fn light(&self, run: Run) -> Vector3<f64> {
        mean_ln(&self.typical, run)
    }

    /// The tint of a stretch, over all that is seen of it.
    pub fn mean_tint(&self, run: Run) -> Vector3<f64> {
        tint(&mean_ln(&self.mean, run))
    }

    /// Whether a line darker than both sides by `depth` (natural log of light) runs between two stretches, across most of the vial's
    /// middle: what is printed on the glass does not.
    pub fn line_between(&self, above: Run, below: Run, depth: f64) -> bool {
        let dip = |rows: &Vec<Vector3<f64>>| {
            let sides = mean_ln(rows, above).mean().min(mean_ln(rows, below).mean());
            let darkest = rows[above.1..below.0].iter().map(|v| level(v).mean());
            sides - darkest.fold(f64::INFINITY, f64::min)
        };
        median(&mut self.bands.iter().map(dip).collect::<Vec<f64>>()) > depth
    }

    /// The stretches in which the vial looks even, highest first. `None` if the picture is too low for any.
    pub fn even_runs(&self, p: &BayPicture) -> Option<Vec<Run>> {
        let coarse = coarse(p);
        if p.ny < 4 * coarse {
            return None;
        }
        let jump = self.changes(p);
        // Noise of the jumps: most rows lie inside something even.
        let mut sorted: Vec<f64> = jump.iter().copied().filter(|v| *v > 0.0).collect();
        let limit = (5.0 * median(&mut sorted)).clamp(STEP_LEAST, STEP_MOST);
        let mut runs = Vec::new();
        let (mut from, mut j) = (0, coarse);
        while j + coarse < jump.len() {
            if jump[j] > limit {
                runs.push((from, j));
                from = (j..jump.len())
                    .find(|&k| jump[k] <= limit)
                    .unwrap_or(jump.len() - 1);
                j = from + 1;
            } else {
                j += 1;
            }
        }
        runs.push((from, jump.len() - 1));
        runs.retain(|(a, b)| a < b);
        Some(runs)
    }

    /// How much the colour changes from row to row, in the median of the bands. A meniscus or base runs across the vial, bent a little by
    /// perspective; light that the vial gathers behind itself draws arcs, which cross the bands at different heights.
    fn changes(&self, p: &BayPicture) -> Vec<f64> {
        let reach = cells(p, BENT);
        let bands: Vec<Vec<f64>> = self
            .bands
            .iter()
            .map(|rows| {
                let jump = jumps(rows, cells(p, 1.0), coarse(p));
                (0..jump.len())
                    .map(|j| {
                        jump[j.saturating_sub(reach)..(j + reach + 1).min(jump.len())]
                            .iter()
                            .copied()
                            .fold(0.0, f64::max)
                    })
                    .collect()
            })
            .collect();
        (0..p.ny)
            .map(|j| median(&mut bands.iter().map(|b| b[j]).collect::<Vec<f64>>()))
            .collect()
    }
}

/// Cells over which slow changes of the light are taken; no end of the liquid is nearer to the picture's.
pub(super) fn coarse(p: &BayPicture) -> usize {
    cells(p, 3.0).max(2)
}

/// Row by row, the colour of one band of the vial's middle, highlights left out: the mean of its darker half.
fn profile(p: &BayPicture, left: f64, right: f64, band: usize) -> Vec<Vector3<f64>> {
    let (start, width) = (
        (left + right) / 2.0 - MIDDLE * (right - left),
        2.0 * MIDDLE * (right - left) / BANDS as f64,
    );
    let from = start + band as f64 * width;
    let (i0, i1) = (p.column(from), p.column(from + width));
    (0..p.ny)
        .map(|j| {
            let mut cells: Vec<Vector3<f64>> = (i0..=i1).map(|i| p.shade(i, j)).collect();
            cells.sort_by(|a, b| a.sum().total_cmp(&b.sum()));
            let n = (cells.len() / 2).max(1);
            cells[..n].iter().sum::<Vector3<f64>>() / n as f64
        })
        .collect()
}

/// A profile without dark lines thinner than `rows`: a closing, channel by channel (Serra 1982, *Image Analysis and Mathematical
/// Morphology*). The printed lines that are seen through the liquid are thinner than any meniscus.
fn without_thin_lines(profile: &[Vector3<f64>], rows: usize) -> Vec<Vector3<f64>> {
    let (before, after) = ((rows - 1) / 2, rows / 2);
    let over = |values: &[Vector3<f64>], before: usize, after: usize, lighter: bool| {
        (0..values.len())
            .map(|j| {
                let near = &values[j.saturating_sub(before)..(j + after + 1).min(values.len())];
                let first = near[0];
                near.iter()
                    .fold(first, |a, b| if lighter { a.sup(b) } else { a.inf(b) })
            })
            .collect::<Vec<_>>()
    };
    let dilated = over(profile, before, after, true);
    over(&dilated, after, before, false)
}
