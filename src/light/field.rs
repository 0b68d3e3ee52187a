//! The light field: how bright, and of what tint, bare paper would be anywhere on the card.
//!
//! Fitted to spots of bare paper, in the logarithm of light, as a plane plus a Gaussian process (universal kriging:
//! Rasmussen & Williams 2006, *Gaussian Processes for Machine Learning*, sections 2.2 and 2.7). Its length and strength
//! are chosen by the leave-one-out predictive density (ibid., section 5.4.2), for the strength of light and for its tint
//! apart: a lamp that falls off, or a shadow, changes the one much and the other hardly. It gives a variance with every
//! prediction, which grows where a shadow edge runs and no paper is near.

use std::f64::consts::FRAC_1_SQRT_2;

use nalgebra::{DMatrix, DVector, Matrix3, Vector3};
use rayon::prelude::*;

use super::kriging::{Kernels, LOCAL, Part, Process, SMOOTH, SMOOTHEST, Solver, base, kernel};
use super::spot::{Spot, median};
use crate::place::Area;

/// A fitted light field.
#[derive(Debug, Clone)]
pub struct Field {
    centre: (f64, f64),
    span: f64,
    points: Vec<(f64, f64)>,
    strength: Part,
    tint: Part,
    /// Of both parts together, red, green and blue: what each term of the plane and each spot adds.
    plane: Vec<Vector3<f64>>,
    weights: Vec<Weight>,
    /// Spots that were left out as not being paper.
    pub rejected: usize,
    /// Per spot, how far its light lies from the smoothest field, natural log, mean over channels.
    beside_smooth: Vec<f64>,
}

/// Range of smooth light over spots of paper, natural log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Of its strength.
    pub light: f64,
    /// Of its tint: red against green or blue against green, whichever differs more.
    pub tint: f64,
}

/// Chroma of a spot may differ from the median of all by so much (natural log of channel ratios) before it is taken for
/// something else than paper: daylight mixed with incandescent light spreads about 0.7 (CIE D65 against CIE A in B/R).
const CHROMA_LIMIT: f64 = 0.8;

/// A spot whose blocks differ by more than this (relative) is not bare paper in even light: an edge runs through it.
const TEXTURE_LIMIT: f64 = 0.2;

/// Places over which an area is averaged, across and down.
const PLACES: (usize, usize) = (3, 6);

/// Spots of paper nearer than this, mm, are neighbours.
const NEIGHBOUR: f64 = 15.0;

impl Field {
    /// Fits the field. `None` if there is no usable spot.
    pub fn fit(spots: &[Spot]) -> Option<Field> {
        let mut usable = sieve(spots);
        if usable.is_empty() {
            return None;
        }
        let (centre, span) = extent(&usable);
        let trend = trend(&usable);
        let even = smoothest(&mut usable, centre, span)?;
        let kernels = Kernels::of(&usable, span);
        let candidates: Vec<Process> = [1e-4, 3.0, 30.0, SMOOTHEST.smooth]
            .into_iter()
            .flat_map(|smooth| [0.0, 3.0, 30.0].map(|local| Process { smooth, local }))
            .collect();
        let solvers: Vec<Solver> = candidates
            .into_par_iter()
            .filter_map(|process| Solver::new(&usable, &kernels, centre, trend, process))
            .collect();
        let seen = along_axes(&usable);
        let best = |columns: Columns| {
            let seen = columns.of(&seen);
            let mut best: Option<(f64, &Solver)> = None;
            for solver in &solvers {
                let score = solver.score(&seen);
                // Of equal ones the simplest, which comes first.
                if best.is_none_or(|(s, _)| score > s) {
                    best = Some((score, solver));
                }
            }
            best.map(|b| b.1)
        };
        let mut field = Field::of(&usable, centre, [best(STRENGTH)?, best(TINT)?])?;
        field.rejected = spots.len() - usable.len();
        field.beside_smooth = usable
            .iter()
            .map(|s| (s.ln - even.ln_white(s.x, s.y)).mean())
            .collect();
        Some(field)
    }

    /// The field of some spots under a process for its strength and one for its tint.
    fn of(spots: &[&Spot], centre: (f64, f64), solvers: [&Solver; 2]) -> Option<Field> {
        let seen = along_axes(spots);
        let own = AXES * Matrix3::from_diagonal(&spots.first()?.var) * AXES.transpose();
        let part = |columns: Columns, solver: &Solver| {
            solver.fit(&columns.of(&seen), columns.square(&own))
        };
        let (strength, tint) = (part(STRENGTH, solvers[0]), part(TINT, solvers[1]));
        // A row of either along the axes, back in red, green and blue.
        let back = [STRENGTH, TINT].map(|c| c.of(&DMatrix::from_fn(3, 3, |i, j| AXES[(j, i)])));
        let both = |of: &dyn Fn(&Part) -> DVector<f64>| -> Vector3<f64> {
            let sum = &back[0] * of(&strength) + &back[1] * of(&tint);
            sum.fixed_rows::<3>(0).into()
        };
        let plane = (0..strength.beta.nrows())
            .map(|j| both(&|part| part.beta.row(j).transpose()))
            .collect();
        let weights = (0..spots.len())
            .map(|i| {
                let by = |share: &dyn Fn(&Process) -> f64| {
                    both(&|part| part.weights.row(i).transpose() * share(&part.solver.process))
                };
                Weight {
                    smooth: by(&|process| process.smooth),
                    local: by(&|process| process.local),
                }
            })
            .collect();
        Some(Field {
            centre,
            span: solvers[0].span,
            points: spots.iter().map(|s| (s.x, s.y)).collect(),
            plane,
            weights,
            rejected: 0,
            beside_smooth: Vec::new(),
            strength,
            tint,
        })
    }

    /// Natural logarithm of native linear light that bare paper would show at a point of the plane.
    pub fn ln_white(&self, x: f64, y: f64) -> Vector3<f64> {
        let base = base((x, y), self.centre, self.span);
        let mut sum: Vector3<f64> = self.plane.iter().zip(base).map(|(p, b)| p * b).sum();
        for (p, weight) in self.points.iter().zip(&self.weights) {
            sum += weight.smooth * kernel((x, y), *p, SMOOTH * self.span);
            if weight.local != Vector3::zeros() {
                sum += weight.local * kernel((x, y), *p, LOCAL * self.span);
            }
        }
        sum
    }

    /// Covariance between channels of the mean of [`Field::ln_white`] over an area, from the process and the trend (noise
    /// of a spot not included). What is local averages out over an area wider than it.
    pub fn covariance(&self, area: Area) -> Matrix3<f64> {
        let places: Vec<(f64, f64)> = (0..PLACES.0 * PLACES.1)
            .map(|i| {
                let part = |i: usize, n: usize| (i as f64 + 0.5) / n as f64;
                (
                    area.x + area.w * part(i % PLACES.0, PLACES.0),
                    area.y + area.h * part(i / PLACES.0, PLACES.1),
                )
            })
            .collect();
        let bases: Vec<[f64; 3]> = places
            .iter()
            .map(|p| base(*p, self.centre, self.span))
            .collect();
        let [strength, tint] =
            [&self.strength, &self.tint].map(|part| part.variance(&places, &self.points, &bases));
        let mut along = Matrix3::zeros();
        along[(0, 0)] = strength[(0, 0)];
        along.fixed_view_mut::<2, 2>(1, 1).copy_from(&tint);
        AXES.transpose() * along * AXES
    }

    /// How much the light differs, natural log, beyond what the smoothest field has, among the spots that lie no more than
    /// `reach` to the left or right of `area` (at any height): a shadow with an edge. The 20-quantiles farthest apart, so that
    /// a speck is none. 0 if there are no spots.
    pub fn edge_beside(&self, area: Area, reach: f64) -> f64 {
        let beside = (area.x - reach)..=(area.x + area.w + reach);
        let mut off: Vec<f64> = self
            .points
            .iter()
            .zip(&self.beside_smooth)
            .filter(|(point, _)| beside.contains(&point.0))
            .map(|(_, off)| *off)
            .collect();
        off.sort_by(f64::total_cmp);
        let tail = off.len() / 20;
        match off.len() {
            0 => 0.0,
            n => off[n - 1 - tail] - off[tail],
        }
    }

    /// How far the light of one spot in twenty lies from the smoothest field, natural log: edges anywhere on the paper.
    pub fn edges(&self) -> f64 {
        let mut off: Vec<f64> = self.beside_smooth.iter().map(|o| o.abs()).collect();
        off.sort_by(f64::total_cmp);
        off[(0.95 * (off.len() - 1) as f64) as usize]
    }

    /// The spots, farther than `away` from the sides and the top of `area`, that have a neighbour within [`NEIGHBOUR`] whose light
    /// differs, natural log beyond what the smoothest field has, by more than `step` and more than `slope` per unit of distance:
    /// where a hard edge of a shadow runs, not of one that the vial in `area` throws.
    pub fn hard_edge(&self, area: Area, away: f64, step: f64, slope: f64) -> Vec<(f64, f64)> {
        let spots: Vec<((f64, f64), f64)> = self
            .points
            .iter()
            .copied()
            .zip(self.beside_smooth.iter().copied())
            .filter(|(point, _)| is_clear_of(area, away, *point))
            .collect();
        let hard = |&(p, v): &((f64, f64), f64)| {
            spots.iter().any(|(q, w)| {
                let (apart, differ) = ((p.0 - q.0).hypot(p.1 - q.1), (v - w).abs());
                apart < NEIGHBOUR && differ > step.max(slope * apart)
            })
        };
        spots.iter().filter(|s| hard(s)).map(|(p, _)| *p).collect()
    }

    fn range(&self) -> Spread {
        let seen: Vec<Vector3<f64>> = self
            .points
            .iter()
            .map(|p| self.ln_white(p.0, p.1))
            .collect();
        let range = |f: &dyn Fn(&Vector3<f64>) -> f64| {
            let values = seen.iter().map(f);
            let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
                (l.min(v), h.max(v))
            });
            high - low
        };
        Spread {
            light: range(&|v| v.mean()),
            tint: range(&|v| v[0] - v[1]).max(range(&|v| v[2] - v[1])),
        }
    }

    /// The field on a grid of `step` over a rectangle, for fast bilinear look-up.
    pub fn grid(&self, x0: f64, y0: f64, w: f64, h: f64, step: f64) -> Grid {
        let (nx, ny) = (
            (w / step).ceil() as usize + 2,
            (h / step).ceil() as usize + 2,
        );
        let values = (0..nx * ny)
            .into_par_iter()
            .map(|i| self.ln_white(x0 + (i % nx) as f64 * step, y0 + (i / nx) as f64 * step))
            .collect();
        Grid {
            x0,
            y0,
            step,
            nx,
            ny,
            values,
        }
    }
}

/// How much smooth light differs from place to place on the paper farther than `away` from the sides and the top of `area`. `None`
/// if there is none.
pub fn spread(spots: &[Spot], area: Area, away: f64) -> Option<Spread> {
    let mut usable = sieve(spots);
    usable.retain(|s| is_clear_of(area, away, (s.x, s.y)));
    if usable.is_empty() {
        return None;
    }
    let (centre, span) = extent(&usable);
    let darker = |s: &Spot| s.ln.max() < SHOULDER;
    let mut below: Vec<&Spot> = usable.iter().copied().filter(|s| darker(s)).collect();
    let half = (usable.len().div_ceil(2)..usable.len()).contains(&below.len());
    let all = smoothest(&mut usable, centre, span)?.range();
    if !half {
        return Some(all);
    }
    let tint = smoothest(&mut below, centre, span)?.range().tint;
    Some(Spread { tint, ..all })
}

/// Cameras bend the last part of their range over, and the brightest channel first: paper there loses its tint (common practice;
/// natural log of relative light). Where at least half of the paper is darker, that half tells the tint.
const SHOULDER: f64 = -0.2;

/// Whether a point lies farther than `away` from the sides and the top of an area.
fn is_clear_of(area: Area, away: f64, (x, y): (f64, f64)) -> bool {
    x < area.x - away || x > area.x + area.w + away || y < area.y - away
}

/// A light field on a regular grid.
#[derive(Debug, Clone)]
pub struct Grid {
    x0: f64,
    y0: f64,
    step: f64,
    nx: usize,
    ny: usize,
    values: Vec<Vector3<f64>>,
}

impl Grid {
    /// Bilinear value; points outside take the nearest edge.
    pub fn at(&self, x: f64, y: f64) -> Vector3<f64> {
        let fx = ((x - self.x0) / self.step).clamp(0.0, (self.nx - 1) as f64 - 1e-9);
        let fy = ((y - self.y0) / self.step).clamp(0.0, (self.ny - 1) as f64 - 1e-9);
        let (i, j) = (fx as usize, fy as usize);
        let (u, v) = (fx - i as f64, fy - j as f64);
        let p = |a: usize, b: usize| self.values[b * self.nx + a];
        p(i, j) * ((1.0 - u) * (1.0 - v))
            + p(i + 1, j) * (u * (1.0 - v))
            + p(i, j + 1) * ((1.0 - u) * v)
            + p(i + 1, j + 1) * (u * v)
    }
}

/// Axes of the logarithm of light: its strength, and two of its tint. Orthonormal.
const AXES: Matrix3<f64> = {
    let (a, b, c) = (
        0.577_350_269_189_625_8,
        FRAC_1_SQRT_2,
        0.408_248_290_463_863,
    );
    Matrix3::new(a, a, a, b, -b, 0.0, c, c, -2.0 * c)
};

/// The spots along [`AXES`], one a row.
fn along_axes(spots: &[&Spot]) -> DMatrix<f64> {
    let seen: Vec<Vector3<f64>> = spots.iter().map(|s| AXES * s.ln).collect();
    DMatrix::from_fn(spots.len(), 3, |i, c| seen[i][c])
}

/// Some of the axes.
#[derive(Clone, Copy)]
struct Columns {
    first: usize,
    number: usize,
}

const STRENGTH: Columns = Columns {
    first: 0,
    number: 1,
};
const TINT: Columns = Columns {
    first: 1,
    number: 2,
};

impl Columns {
    fn of(&self, all: &DMatrix<f64>) -> DMatrix<f64> {
        all.columns(self.first, self.number).into_owned()
    }

    fn square(&self, all: &Matrix3<f64>) -> DMatrix<f64> {
        DMatrix::from_fn(self.number, self.number, |i, j| {
            all[(self.first + i, self.first + j)]
        })
    }
}

/// What a spot adds to the field: by each kernel, red, green and blue.
#[derive(Debug, Clone, Copy)]
struct Weight {
    smooth: Vector3<f64>,
    local: Vector3<f64>,
}

/// Middle of some spots, and how far the farthest lies from it; one spot and more are wanted.
fn extent(spots: &[&Spot]) -> ((f64, f64), f64) {
    let n = spots.len() as f64;
    let centre = (
        spots.iter().map(|s| s.x).sum::<f64>() / n,
        spots.iter().map(|s| s.y).sum::<f64>() / n,
    );
    let far = spots.iter().map(|s| (s.x - centre.0).hypot(s.y - centre.1));
    (centre, far.fold(1.0, f64::max))
}

/// Terms of the trend: a plane needs paper on all sides, a single small white has only a level.
fn trend(spots: &[&Spot]) -> usize {
    if spots.len() >= 12 { 3 } else { 1 }
}

/// The smoothest field through those of the spots whose tint fits it; the others are left out.
fn smoothest(usable: &mut Vec<&Spot>, centre: (f64, f64), span: f64) -> Option<Field> {
    let trend = trend(usable);
    drop_tinted(usable, |kept| {
        let solver = Solver::new(kept, &Kernels::of(kept, span), centre, trend, SMOOTHEST)?;
        Field::of(kept, centre, [&solver; 2])
    })
}

/// Spots that can be bare paper: not clipped, not textured, and of a tint near that of most.
fn sieve(spots: &[Spot]) -> Vec<&Spot> {
    let fair: Vec<&Spot> = spots
        .iter()
        .filter(|s| !s.is_blown() && s.texture < TEXTURE_LIMIT)
        .collect();
    let tint = |s: &Spot| (s.ln[0] - s.ln[1], s.ln[2] - s.ln[1]);
    let mut red: Vec<f64> = fair.iter().map(|s| tint(s).0).collect();
    let mut blue: Vec<f64> = fair.iter().map(|s| tint(s).1).collect();
    let (red, blue) = (median(&mut red), median(&mut blue));
    fair.into_iter()
        .filter(|s| {
            (tint(s).0 - red).abs() < CHROMA_LIMIT && (tint(s).1 - blue).abs() < CHROMA_LIMIT
        })
        .collect()
}

/// Leaves out spots whose tint does not fit smooth light - a finger, a stain, light that went through the liquid - the plainest
/// first, and gives the smooth field through the rest. Where more than a third of the spots do not fit it is the light that is
/// mixed, and all are kept.
fn drop_tinted(
    usable: &mut Vec<&Spot>,
    smooth: impl Fn(&[&Spot]) -> Option<Field>,
) -> Option<Field> {
    let all = usable.clone();
    let whole = smooth(&all)?;
    let mut even = whole.clone();
    loop {
        let off = |s: &Spot| {
            let d = s.ln - even.ln_white(s.x, s.y);
            (d[0] - d[1]).abs().max((d[2] - d[1]).abs())
        };
        let worst = usable.iter().map(|s| off(s)).fold(0.0, f64::max);
        if worst <= TINTED {
            return Some(even);
        }
        let limit = TINTED.max(0.5 * worst);
        let kept: Vec<&Spot> = usable.iter().copied().filter(|s| off(s) <= limit).collect();
        let next = (3 * kept.len() >= 2 * all.len())
            .then(|| smooth(&kept))
            .flatten();
        let Some(next) = next else {
            *usable = all;
            return Some(whole);
        };
        (*usable, even) = (kept, next);
    }
}

/// Paper whose tint is off smooth light by more than this (natural log; 10 %) is not bare paper under the light of the card.
const TINTED: f64 = 0.1;

#[cfg(test)]
mod tests {
    use super::*;

    fn paper(f: impl Fn(f64, f64) -> f64) -> Vec<Spot> {
        (0..12)
            .flat_map(|i| (0..8).map(move |j| (f64::from(i) * 15.0, f64::from(j) * 15.0)))
            .filter(|(x, _)| !(60.0..120.0).contains(x))
            .map(|(x, y)| spot(x, y, f(x, y)))
            .collect()
    }

    /// Paper all over the card, every 10 mm.
    fn dense(f: impl Fn(f64, f64) -> f64) -> Vec<Spot> {
        (0..18)
            .flat_map(|i| (0..12).map(move |j| (f64::from(i) * 10.0, f64::from(j) * 10.0)))
            .map(|(x, y)| spot(x, y, f(x, y)))
            .collect()
    }

    fn spot(x: f64, y: f64, ln: f64) -> Spot {
        Spot {
            x,
            y,
            ln: Vector3::repeat(ln),
            var: Vector3::repeat(1e-6),
            texture: 0.01,
            clipped: 0.0,
            crushed: 0.0,
        }
    }

    /// Synthetic-known: a plane in log light is recovered in the bay, where no paper was seen.
    #[test]
    fn recovers_a_plane() {
        let field = Field::fit(&paper(|x, y| -0.5 + 0.003 * x - 0.002 * y)).unwrap();
        assert!((field.ln_white(90.0, 60.0)[1] - (-0.5 + 0.27 - 0.12)).abs() < 1e-3);
    }

    /// Synthetic-known: a lamp near the card falls off by the inverse square; the bay is filled in to about 1 %.
    #[test]
    fn recovers_a_near_lamp() {
        let lamp =
            |x: f64, y: f64| -((x - 40.0).powi(2) + (y + 60.0).powi(2) + 200.0f64.powi(2)).ln();
        let field = Field::fit(&paper(lamp)).unwrap();
        assert!((field.ln_white(90.0, 60.0)[0] - lamp(90.0, 60.0)).abs() < 0.01);
    }

    /// Synthetic-known: light that falls by 40 % at one height has a hard edge along it, over 60 mm of it none, and none that counts
    /// within the vial's own shadow.
    #[test]
    fn a_hard_edge_is_told_from_a_soft_one() {
        let vial = Area {
            x: 80.0,
            y: 60.0,
            w: 20.0,
            h: 60.0,
        };
        let spots = |field: &Field, away: f64| field.hard_edge(vial, away, 0.25, 0.04).len();
        let falls = |y: f64, over: f64| -0.5 * ((y - 35.0) / over + 0.5).clamp(0.0, 1.0);
        let at = |over: f64| Field::fit(&dense(|_, y| falls(y, over))).unwrap();
        assert!(spots(&at(1.0), 20.0) >= 10, "{}", spots(&at(1.0), 20.0));
        assert_eq!(spots(&at(60.0), 20.0), 0);
        assert_eq!(spots(&at(1.0), 200.0), 0);
    }

    /// Synthetic-known: what a red vial throws on the paper beside it is no spread of the light's tint; light from the left that is
    /// redder than that from the right is.
    #[test]
    fn the_light_that_a_vial_throws_is_no_mixed_light() {
        let vial = Area {
            x: 75.0,
            y: 60.0,
            w: 20.0,
            h: 60.0,
        };
        let spread = |red: &dyn Fn(f64, f64) -> f64| {
            let mut spots = dense(|_, _| -0.5);
            spots.iter_mut().for_each(|s| s.ln[0] += red(s.x, s.y));
            super::spread(&spots, vial, 30.0).unwrap().tint
        };
        let thrown = |x: f64, y: f64| {
            0.2 * (-((x - 85.0) / 20.0).powi(2) - ((60.0 - y).max(0.0) / 20.0).powi(2)).exp()
        };
        assert!(spread(&thrown) < 0.1, "{}", spread(&thrown));
        let aslant = spread(&|x, _| 0.2 * x / 170.0);
        assert!((aslant - 0.2).abs() < 0.01, "{aslant}");
    }

    /// Synthetic-known: one warm lamp near the left edge, and a camera that bends each channel over near the top of its range.
    #[test]
    fn paper_that_a_camera_bends_over_is_no_mixed_light() {
        let away = Area {
            x: -200.0,
            y: 0.0,
            w: 1.0,
            h: 1.0,
        };
        let tint = |green: f64, bent: bool| {
            let mut spots = dense(|x, _| -x / 170.0);
            for s in &mut spots {
                s.ln += Vector3::new(0.0, green, green);
                if bent {
                    s.ln =
                        s.ln.map(|v| if v > -0.1 { -0.1 + (v + 0.1) / 5.0 } else { v });
                }
            }
            super::spread(&spots, away, 0.0).unwrap().tint
        };
        assert!(tint(-0.2, true) < 0.03, "{}", tint(-0.2, true));
        assert!(tint(-0.2, false) < 0.01);
    }

    /// The variance grows away from the paper.
    #[test]
    fn knows_less_in_the_bay() {
        let wavy = |x: f64, y: f64| 0.1 * (x / 12.0).sin() * (y / 12.0).cos();
        let field = Field::fit(&paper(wavy)).unwrap();
        let at = |x: f64| Area {
            x: x - 4.0,
            y: 40.0,
            w: 8.0,
            h: 40.0,
        };
        assert!(field.covariance(at(90.0))[(1, 1)] > 4.0 * field.covariance(at(30.0))[(1, 1)]);
    }
}
