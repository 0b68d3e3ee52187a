//! Where the mouth of an open vial and the liquid in it are, seen from above.
//!
//! The vial's horizontal circles (rim, liquid, base) lie in planes parallel to the card. Projection between parallel
//! planes keeps shapes, so on the flattened card each of them is an exact circle whatever the camera's pose: larger the
//! higher it lies, and moved away from the point straight under the camera. The rim is the highest, so nothing hides it:
//! it is the outermost circle with an edge all around. The liquid is the largest even disc inside it.
//!
//! It never takes a part of a circle for a mouth: what is cut off by the bay or covered is not found.

use nalgebra::Vector3;

use super::bay::BayPicture;
use crate::error::{Error, Result};
use crate::light::spot::median;
use crate::place::Area;

/// A circle on the flattened card, plane units.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Disc {
    /// Centre, from the left.
    pub x: f64,
    /// Centre, from the top.
    pub y: f64,
    /// Radius, above 0.
    pub r: f64,
}

impl Disc {
    /// The square around it.
    pub fn area(&self) -> Area {
        Area {
            x: self.x - self.r,
            y: self.y - self.r,
            w: 2.0 * self.r,
            h: 2.0 * self.r,
        }
    }

    /// Whether a point lies inside.
    pub fn contains(&self, x: f64, y: f64) -> bool {
        (x - self.x).hypot(y - self.y) <= self.r
    }

    /// How far `other` sticks out of this one; negative if it lies inside with room to spare.
    fn exceeded_by(&self, other: &Disc) -> f64 {
        (other.x - self.x).hypot(other.y - self.y) + other.r - self.r
    }
}

/// An open vial as found from above.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Open {
    /// The rim. Nearer to the camera than the card, so larger than the vial is and moved aside.
    pub mouth: Disc,
    /// The largest disc that shows liquid and nothing else.
    pub liquid: Disc,
    /// How much of the rim has a plain edge, 0 to 1.
    pub clarity: f64,
}

/// Radii of a mouth on the card, mm: vials of 12 to 28 mm, a moulded rim, and up to 1.5 times larger for a rim 75 mm
/// above the card seen from 220 mm.
const RADII: (f64, f64) = (5.0, 22.0);
/// An edge of this height counts in full (cube-root scale: 0.03 is 9 % of light, glass seen against paper).
const PLAIN: f64 = 0.03;
/// Least support of a mouth: half of its edge plain all around. Paper, shadows and straight edges give below 0.3.
const LEAST_SUPPORT: f64 = 0.5;
/// A circle around the best one with this share of its support is the outer edge of the same vial.
const ALSO_PLAIN: f64 = 0.7;
/// Radii of two circles of a vial differ by more than this, mm: nearer edges run into one.
const APART: f64 = 0.8;
/// How many circles of the coarse search are looked at closely.
const COMPARED: usize = 60;
/// Directions in which a circle is looked at, and parts in which they are counted.
const DIRECTIONS: usize = 64;
const PARTS: usize = 8;
/// Light may differ by 12 % (0.04 on the cube-root scale) from the liquid's middle and still be liquid: its bottom edge
/// and reflections in the wall are a little darker. 0.015 (1.5 % of full light) is noise and rounding.
const SAME_SHARE: f64 = 0.04;
const SAME_LEAST: f64 = 0.015;
/// Least radius of the liquid in parts of that of the mouth: a thick wall (2 mm of a 12 mm vial) leaves two thirds, and
/// half of that stays in sight under a tilt.
const LEAST_LIQUID: f64 = 0.35;

/// Finds the open vial in the picture of the bay and the paper around it.
///
/// # Errors
/// If no circle with an edge all around is found, or no even disc of liquid inside it.
pub fn find(picture: &BayPicture) -> Result<Open> {
    let slopes = Slopes::of(picture);
    let (mouth, clarity) = mouth(picture, &slopes).ok_or_else(|| {
        Error::new(
            "no mouth of an open vial was found in the bay of the card",
            "lay the card flat, stand the open vial in the middle of the bay, and take the photo from straight above so that \
             the whole rim is over bare paper",
        )
    })?;
    let liquid = liquid(picture, &mouth).ok_or_else(|| {
        Error::new(
            "a vial was found, but no even disc of liquid in its mouth",
            "fill the vial to its mark, let bubbles clear, and take the photo from straight above, without reflections \
             over the liquid",
        )
    })?;
    Ok(Open {
        mouth,
        liquid,
        clarity,
    })
}

/// The slope of the shade at every cell, across and down, in parts of a plain edge.
struct Slopes {
    nx: usize,
    ny: usize,
    across: Vec<Vector3<f64>>,
    down: Vec<Vector3<f64>>,
}

impl Slopes {
    fn of(p: &BayPicture) -> Slopes {
        let (nx, ny) = (p.nx, p.ny);
        let raw: Vec<Vector3<f64>> = (0..nx * ny).map(|n| p.shade(n % nx, n / nx)).collect();
        let mut across = vec![Vector3::zeros(); nx * ny];
        let mut down = across.clone();
        // Differences of means over about 0.6 mm, side by side: a rim is about 1 mm wide.
        let reach = ((0.6 / p.step).round() as usize).max(1);
        let flat = (2 * reach + 1) as f64 * reach as f64 * PLAIN;
        for j in reach..ny.saturating_sub(reach) {
            for i in reach..nx.saturating_sub(reach) {
                let (mut a, mut d) = (Vector3::zeros(), Vector3::zeros());
                for v in 0..=2 * reach {
                    for u in 1..=reach {
                        let at = |x: usize, y: usize| raw[y * nx + x];
                        a += at(i + u, j + v - reach) - at(i - u, j + v - reach);
                        d += at(i + v - reach, j + u) - at(i + v - reach, j - u);
                    }
                }
                across[j * nx + i] = a / flat;
                down[j * nx + i] = d / flat;
            }
        }
        Slopes {
            nx,
            ny,
            across,
            down,
        }
    }

    /// Support of a circle (cells): the mean share of a plain edge across it, averaged with that of its two weakest eighths.
    fn support(&self, x: f64, y: f64, r: f64, directions: &[(f64, f64)]) -> f64 {
        let mut parts = [0.0; PARTS];
        for (k, (c, s)) in directions.iter().enumerate() {
            let (i, j) = (x + r * c, y + r * s);
            if i < 0.0 || j < 0.0 || i >= self.nx as f64 || j >= self.ny as f64 {
                continue;
            }
            let n = j as usize * self.nx + i as usize;
            let edge = (self.across[n] * *c + self.down[n] * *s).amax();
            parts[k * PARTS / DIRECTIONS] += edge.min(1.0);
        }
        parts.sort_by(f64::total_cmp);
        let mean = |v: &[f64]| v.iter().sum::<f64>() * PARTS as f64 / (v.len() * DIRECTIONS) as f64;
        (mean(&parts) + mean(&parts[..PARTS / 4])) / 2.0
    }
}

/// The rim and its support.
fn mouth(p: &BayPicture, slopes: &Slopes) -> Option<(Disc, f64)> {
    let directions: Vec<(f64, f64)> = (0..DIRECTIONS)
        .map(|k| {
            let (s, c) = (std::f64::consts::TAU * k as f64 / DIRECTIONS as f64).sin_cos();
            (c, s)
        })
        .collect();
    let support = |d: &Disc| {
        slopes.support(
            (d.x - p.area.x) / p.step,
            (d.y - p.area.y) / p.step,
            d.r / p.step,
            &directions,
        )
    };
    // An edge is seen as wide as the reach of the slopes, about 1 mm: three looks across it miss none.
    let coarse = 2.0 * p.step.max(0.3);
    let mut seen: Vec<(f64, Disc)> = Vec::new();
    for r in steps(RADII.0, RADII.1, coarse) {
        for y in steps(p.area.y + r, p.area.y + p.area.h - r, coarse) {
            for x in steps(p.area.x + r, p.area.x + p.area.w - r, coarse) {
                let disc = Disc { x, y, r };
                let s = support(&disc);
                if s >= ALSO_PLAIN * LEAST_SUPPORT {
                    seen.push((s, disc));
                }
            }
        }
    }
    seen.sort_by(|a, b| b.0.total_cmp(&a.0));
    // The coarse grid may pass beside a thin rim: the plainest few are moved uphill before they are compared.
    let plainest = |inner: Option<&Disc>| {
        let outside =
            |d: &Disc| inner.is_none_or(|i| d.r >= i.r + APART && d.exceeded_by(i) <= p.step);
        seen.iter()
            .filter(|(_, d)| outside(d))
            .take(COMPARED)
            .map(|s| uphill(*s, coarse / 4.0, &support))
            .filter(|(_, d)| outside(d))
            .max_by(|a, b| a.0.total_cmp(&b.0))
    };
    let best = plainest(None).filter(|b| b.0 >= LEAST_SUPPORT)?;
    // The plainest may be the liquid, or the rim's inner edge: go outwards from circle to circle.
    let mut outer = best;
    while let Some(next) = plainest(Some(&outer.1)).filter(|n| n.0 >= ALSO_PLAIN * best.0) {
        outer = next;
    }
    Some((outer.1, outer.0))
}

/// The best of the circles within one coarse step.
fn uphill(from: (f64, Disc), fine: f64, support: &impl Fn(&Disc) -> f64) -> (f64, Disc) {
    let mut best = from;
    for dr in -3..=3 {
        for dy in -3..=3 {
            for dx in -3..=3 {
                let disc = Disc {
                    x: from.1.x + f64::from(dx) * fine,
                    y: from.1.y + f64::from(dy) * fine,
                    r: from.1.r + f64::from(dr) * fine,
                };
                let s = support(&disc);
                if s > best.0 {
                    best = (s, disc);
                }
            }
        }
    }
    best
}

/// `from`, `from + step`, ... up to `to`.
fn steps(from: f64, to: f64, step: f64) -> impl Iterator<Item = f64> {
    let n = ((to - from) / step).floor();
    (0..=n.max(-1.0) as i64).map(move |k| from + k as f64 * step)
}

/// The disc inside the mouth that holds most liquid and least else: it ends where less than half of a ring is liquid.
fn liquid(p: &BayPicture, mouth: &Disc) -> Option<Disc> {
    let middle = Disc {
        r: 0.5 * mouth.r,
        ..*mouth
    };
    let inside: Vec<Vector3<f64>> = (0..p.nx * p.ny)
        .map(|n| (n % p.nx, n / p.nx))
        .filter(|&(i, j)| {
            let (x, y) = p.point(i, j);
            middle.contains(x, y) && !p.clipped(i, j)
        })
        .map(|(i, j)| p.shade(i, j))
        .collect();
    if inside.is_empty() {
        return None;
    }
    let colour =
        Vector3::from_fn(|c, _| median(&mut inside.iter().map(|v| v[c]).collect::<Vec<_>>()));
    let limit = colour.map(|v| (SAME_SHARE * v).max(SAME_LEAST));
    // Sums along rows, so that a disc costs one look a row.
    let mut sums = vec![0.0; (p.nx + 1) * p.ny];
    for j in 0..p.ny {
        for i in 0..p.nx {
            let off = (p.shade(i, j) - colour).abs();
            let same = !p.clipped(i, j) && (0..3).all(|c| off[c] <= limit[c]);
            let at = j * (p.nx + 1) + i;
            sums[at + 1] = sums[at] + if same { 1.0 } else { -1.0 };
        }
    }
    let worth = |d: &Disc| {
        let (x, y, r) = (
            (d.x - p.area.x) / p.step,
            (d.y - p.area.y) / p.step,
            d.r / p.step,
        );
        let first = (y - r).ceil().max(0.0) as usize;
        let last = ((y + r).floor().max(0.0) as usize).min(p.ny);
        (first..last)
            .map(|j| {
                let half = (r * r - (j as f64 + 0.5 - y).powi(2)).max(0.0).sqrt();
                let cell = |v: f64| (v.round().max(0.0) as usize).min(p.nx);
                let row = &sums[j * (p.nx + 1)..];
                row[cell(x + half)] - row[cell(x - half)]
            })
            .sum::<f64>()
    };
    let step = p.step.max(0.3);
    let mut best: Option<(f64, Disc)> = None;
    for r in steps(LEAST_LIQUID * mouth.r, mouth.r, step) {
        let room = mouth.r - r;
        for dy in steps(-room, room, step) {
            for dx in steps(-room, room, step) {
                let disc = Disc {
                    x: mouth.x + dx,
                    y: mouth.y + dy,
                    r,
                };
                if mouth.exceeded_by(&disc) > 1e-9 {
                    continue;
                }
                let w = worth(&disc);
                if w > 0.0 && best.as_ref().is_none_or(|b| w > b.0) {
                    best = Some((w, disc));
                }
            }
        }
    }
    best.map(|b| b.1)
}
