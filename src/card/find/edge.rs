//! The four edges of a marker to a small part of a pixel.
//!
//! Where an edge lies is the centroid of the step of light across it; a straight line is fitted robustly to many such points,
//! and corners are where the lines meet. The step is measured in light, not in encoded luma: blur is even-handed only there,
//! while the encoding makes blurred black squares look small or large. Never moves an edge by more than the reach it is given.

use super::luma::{Luma, light};
use super::plane::Point;
use super::quad::{area, crossing};

/// The edge points are taken between these parts of an edge, so that the rounding of blurred corners stays out.
const ALONG: (f64, f64) = (0.1, 0.9);

/// Corners of the black square (clockwise as seen), starting from corners that are off by at most `reach` pixels.
/// `None` if an edge does not show a step from dark to light over at least half its length.
pub(super) fn sharpen(picture: &impl Luma, start: &[Point; 4], reach: f64) -> Option<[Point; 4]> {
    let mut corners = *start;
    for round in 0..4 {
        let mut lines = [(Point::zeros(), Point::zeros()); 4];
        for (i, line) in lines.iter_mut().enumerate() {
            let (a, b) = (corners[i], corners[(i + 1) % 4]);
            // A cell across this edge: the next dark-light change lies that far inside.
            let cell = area(&corners) / (b - a).norm() / 8.0;
            *line = if round == 0 {
                fit(
                    picture,
                    a,
                    b,
                    Window {
                        reach: reach.min(cell * 0.9),
                        peak: true,
                    },
                )?
            } else {
                fit(
                    picture,
                    a,
                    b,
                    Window {
                        reach: (cell * 0.55).clamp(1.5, 8.0),
                        peak: false,
                    },
                )?
            };
        }
        let mut next = corners;
        for i in 0..4 {
            let (before, after) = (lines[(i + 3) % 4], lines[i]);
            next[i] = crossing(before.0, before.1, after.0, after.1)?;
        }
        let moved = (0..4)
            .map(|i| (next[i] - corners[i]).norm())
            .fold(0.0, f64::max);
        corners = next;
        if round > 0 && moved < 0.01 {
            break;
        }
    }
    // Two lines meet further off than either has moved: allow for that, not for another shape.
    (0..4)
        .all(|i| (corners[i] - start[i]).norm() <= 2.0 * reach + 1.0)
        .then_some(corners)
}

#[derive(Clone, Copy)]
struct Window {
    /// Half its width across the edge, pixels.
    reach: f64,
    /// Takes the steepest place instead of the centroid: for a first, rough look.
    peak: bool,
}

/// The straight edge near the line from `a` to `b`, light on its outer side (left of a to b as seen), as two points.
fn fit(picture: &impl Luma, a: Point, b: Point, window: Window) -> Option<(Point, Point)> {
    let length = (b - a).norm();
    let along = (b - a) / length;
    let outward = Point::new(along.y, -along.x);
    // Each point is the mean of a strip of profiles a pixel apart: enough points to tell a finger from the edge, each as
    // free of noise as can be.
    let usable = length * (ALONG.1 - ALONG.0);
    let wanted = ((usable / 4.0) as usize).clamp(8, 24);
    let strip = ((usable / wanted as f64).round() as usize).clamp(1, 6);
    let half = (window.reach.ceil() as i32).max(1);
    let step = window.reach / f64::from(half);
    let mut points: Vec<(f64, f64, f64)> = Vec::with_capacity(wanted);
    let mut profile = vec![0.0; 2 * half as usize + 1];
    for i in 0..wanted {
        let at = |part: f64| length * ALONG.0 + usable * (i as f64 + part) / wanted as f64;
        profile.fill(0.0);
        let whole = (0..strip).all(|j| {
            let foot = a + along * at((j as f64 + 0.5) / strip as f64);
            (-half..=half).zip(profile.iter_mut()).all(|(k, sum)| {
                let value = light(picture, foot + outward * (f64::from(k) * step));
                *sum += value.unwrap_or_default();
                value.is_some()
            })
        });
        if !whole {
            continue;
        }
        let t = at(0.5);
        // Steps between neighbours, signed: noise then averages out instead of pulling towards the middle.
        let rise = profile[profile.len() - 1] - profile[0];
        let middle = |k: usize| (k as f64 + 0.5 - f64::from(half)) * step;
        let (across, strength) = if window.peak {
            let steepest = (0..profile.len() - 1)
                .map(|k| {
                    let from = k.saturating_sub(1);
                    let to = (k + 2).min(profile.len() - 1);
                    (k, (profile[to] - profile[from]) / (to - from) as f64)
                })
                .max_by(|p, q| p.1.total_cmp(&q.1))?;
            (middle(steepest.0), steepest.1)
        } else {
            let moment: f64 = profile
                .windows(2)
                .enumerate()
                .map(|(k, v)| middle(k) * (v[1] - v[0]))
                .sum();
            (moment / rise, rise)
        };
        if strength > 0.0 && across.abs() <= window.reach {
            points.push((t - length / 2.0, across, strength));
        }
    }
    let mut strengths: Vec<f64> = points.iter().map(|p| p.2).collect();
    strengths.sort_by(f64::total_cmp);
    let usual = *strengths.get(strengths.len() / 2)?;
    // Far weaker than its neighbours is something lying over the edge.
    points.retain(|p| p.2 > 0.3 * usual);
    if 2 * points.len() < wanted {
        return None;
    }
    let (offset, slope) = line(&points)?;
    let at = |t: f64| a + along * (length / 2.0 + t) + outward * (offset + slope * t);
    Some((at(-length / 2.0), at(length / 2.0)))
}

/// Robust straight line `across = offset + slope * t` through weighted points: least squares with weights renewed from the
/// residuals, first those of least absolute deviation, then Tukey's biweight (Beaton & Tukey 1974, Technometrics 16:147).
fn line(points: &[(f64, f64, f64)]) -> Option<(f64, f64)> {
    let mut residual_weight = vec![1.0; points.len()];
    let mut fitted = (0.0, 0.0);
    for round in 0..8 {
        let (mut s, mut st, mut sa, mut stt, mut sta) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for ((t, across, strength), w) in points.iter().zip(&residual_weight) {
            let w = w * strength;
            s += w;
            st += w * t;
            sa += w * across;
            stt += w * t * t;
            sta += w * t * across;
        }
        let det = s * stt - st * st;
        if det <= 1e-9 * s * s {
            return None;
        }
        fitted = ((sa * stt - sta * st) / det, (s * sta - st * sa) / det);
        let residuals: Vec<f64> = points
            .iter()
            .map(|(t, across, _)| (across - fitted.0 - fitted.1 * t).abs())
            .collect();
        let mut sorted = residuals.clone();
        sorted.sort_by(f64::total_cmp);
        // A tenth of a pixel is what an edge point is good for in a clean photo: never cut finer than that.
        let scale = (1.4826 * sorted[sorted.len() / 2]).max(0.1);
        for (w, r) in residual_weight.iter_mut().zip(&residuals) {
            *w = if round < 3 {
                1.0 / r.max(0.1 * scale)
            } else {
                let u = r / (4.685 * scale);
                if u < 1.0 { (1.0 - u * u).powi(2) } else { 0.0 }
            };
        }
    }
    (2 * residual_weight.iter().filter(|w| **w > 0.0).count() >= points.len()).then_some(fitted)
}
