//! The map from the card's plane to the photo: fitted to point pairs, judged, and read for the tilt it implies.
//!
//! Never looks at a pixel. Science: direct linear transformation with normalised coordinates (Hartley & Zisserman 2004,
//! "Multiple View Geometry in Computer Vision", 2nd ed., algorithms 4.1 and 4.2), refined by damped least squares on the
//! distance in the photo with Huber weights (Huber 1964, Ann. Math. Stat. 35:73); focal length and tilt from the
//! orthogonality of the plane's axes (Zhang 2000, IEEE TPAMI 22:1330).

use nalgebra::{Matrix3, SMatrix, SVector, SymmetricEigen, Vector2, Vector3};

use crate::place::Homography;

pub(super) type Point = Vector2<f64>;

/// One marker corner: where it is printed, which way is outward from its marker (each component -1 or 1), where it is seen.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pair {
    pub printed: Point,
    pub outward: Point,
    pub seen: Point,
}

/// A fitted plane.
#[derive(Debug, Clone, Copy)]
pub(super) struct Plane {
    pub map: Homography,
    /// By how much the markers look larger on each side than designed, mm: ink that spreads, blur and overexposure move
    /// all edges of a black square alike, which says nothing about where the square is.
    pub swell: f64,
}

impl Plane {
    /// Distance in the photo between a corner as seen and as mapped, pixels.
    pub fn miss(&self, pair: &Pair) -> f64 {
        (self.at(pair.printed + pair.outward * self.swell) - pair.seen).norm()
    }

    /// Root mean square of [`Plane::miss`], pixels.
    pub fn residual(&self, pairs: &[Pair]) -> f64 {
        (pairs.iter().map(|p| self.miss(p).powi(2)).sum::<f64>() / pairs.len() as f64).sqrt()
    }

    /// Where a point of the card is seen.
    pub fn at(&self, p: Point) -> Point {
        let (x, y) = self.map.map(p.x, p.y);
        Point::new(x, y)
    }
}

/// The map that fits the pairs best, without regard to outliers; at least four pairs, no three on a line.
pub(super) fn direct(pairs: &[Pair]) -> Option<Plane> {
    let from = normaliser(pairs.iter().map(|p| p.printed))?;
    let to = normaliser(pairs.iter().map(|p| p.seen))?;
    let mut normal = SMatrix::<f64, 9, 9>::zeros();
    for pair in pairs {
        let p = from * pair.printed.push(1.0);
        let q = to * pair.seen.push(1.0);
        let zero = Vector3::zeros();
        for (a, b, c) in [(zero, -p, p * q.y), (p, zero, -p * q.x)] {
            let row =
                SVector::<f64, 9>::from_iterator(a.iter().chain(b.iter()).chain(c.iter()).copied());
            normal += row * row.transpose();
        }
    }
    let eigen = SymmetricEigen::new(normal);
    let h = eigen.eigenvectors.column(eigen.eigenvalues.imin());
    let map = to.try_inverse()? * Matrix3::from_row_iterator(h.iter().copied()) * from;
    scaled(map).map(|map| Plane {
        map: Homography(map),
        swell: 0.0,
    })
}

/// Least squares on the distance in the photo, with Huber weights, from a first guess. `swell_limit` bounds the common
/// growth of the markers, mm; with a single marker it cannot be told from the scale and must be zero.
pub(super) fn refine(start: Plane, pairs: &[Pair], swell_limit: f64) -> Option<Plane> {
    let from = normaliser(pairs.iter().map(|p| p.printed))?;
    let back = from.try_inverse()?;
    let mut plane = start;
    let mut damping = 1e-6;
    // A dozen steps are ample: from the direct solution the cost settles within three or four.
    for _ in 0..12 {
        let h = scaled(plane.map.0 * back)?;
        // Huber's bend at 1.345 robust standard deviations keeps 95 % efficiency for normal errors; never below a
        // twentieth of a pixel, where corners are as exact as they get.
        let mut misses: Vec<f64> = pairs.iter().map(|p| plane.miss(p)).collect();
        misses.sort_by(f64::total_cmp);
        let bend = (1.345 * 1.4826 * misses[misses.len() / 2]).max(0.05);
        let cost = |plane: &Plane| -> f64 {
            pairs
                .iter()
                .map(|p| {
                    let r = plane.miss(p);
                    if r <= bend {
                        r * r / 2.0
                    } else {
                        bend * (r - bend / 2.0)
                    }
                })
                .sum()
        };
        let mut normal = SMatrix::<f64, 9, 9>::zeros();
        let mut slope = SVector::<f64, 9>::zeros();
        for pair in pairs {
            let Slopes { at, x: a, y: b } =
                Slopes::of(&h, &from, pair.printed, pair.outward, plane.swell);
            let miss = pair.seen - at;
            let weight = (bend / miss.norm().max(1e-12)).min(1.0);
            normal += (a * a.transpose() + b * b.transpose()) * weight;
            slope += (a * miss.x + b * miss.y) * weight;
        }
        if swell_limit <= 0.0 {
            normal.row_mut(8).fill(0.0);
            normal.column_mut(8).fill(0.0);
            normal[(8, 8)] = 1.0;
            slope[8] = 0.0;
        }
        let before = cost(&plane);
        let mut better = None;
        for _ in 0..8 {
            let mut damped = normal;
            for i in 0..9 {
                damped[(i, i)] *= 1.0 + damping;
            }
            let Some(step) = damped.cholesky().map(|c| c.solve(&slope)) else {
                damping *= 10.0;
                continue;
            };
            let mut moved = h;
            for i in 0..8 {
                moved[(i / 3, i % 3)] += step[i];
            }
            let trial = Plane {
                map: Homography(scaled(moved * from)?),
                swell: (plane.swell + step[8]).clamp(-swell_limit, swell_limit),
            };
            if cost(&trial) < before {
                better = Some(trial);
                damping = (damping / 10.0).max(1e-12);
                break;
            }
            damping *= 10.0;
        }
        let Some(trial) = better else { break };
        let gain = before - cost(&trial);
        plane = trial;
        if gain <= before * 1e-9 {
            break;
        }
    }
    Some(plane)
}

/// Standard error of where the plane puts the printed point that is told worst of `points`, pixels: what the scatter of
/// the corners leaves open, at least a tenth of a pixel each. Infinite if the pairs do not fix the plane.
pub(super) fn uncertainty(plane: &Plane, pairs: &[Pair], points: &[Point]) -> f64 {
    let known = || {
        let from = normaliser(pairs.iter().map(|p| p.printed))?;
        let h = scaled(plane.map.0 * from.try_inverse()?)?;
        let mut normal = SMatrix::<f64, 9, 9>::zeros();
        for pair in pairs {
            let slopes = Slopes::of(&h, &from, pair.printed, pair.outward, plane.swell);
            normal += slopes.x * slopes.x.transpose() + slopes.y * slopes.y.transpose();
        }
        let covariance = normal.cholesky()?.inverse();
        let freedom = (2 * pairs.len()).checked_sub(9).filter(|f| *f > 0)? as f64;
        let scatter =
            (pairs.iter().map(|p| plane.miss(p).powi(2)).sum::<f64>() / freedom).max(0.01);
        points
            .iter()
            .map(|p| {
                let slopes = Slopes::of(&h, &from, *p, Point::zeros(), 0.0);
                let variance = |s: SVector<f64, 9>| (s.transpose() * covariance * s)[0];
                (scatter * (variance(slopes.x) + variance(slopes.y))).sqrt()
            })
            .max_by(f64::total_cmp)
    };
    known().unwrap_or(f64::INFINITY)
}

/// How the image of a printed point moves with the eight elements of the map (in normalised coordinates) and the swelling.
struct Slopes {
    at: Point,
    x: SVector<f64, 9>,
    y: SVector<f64, 9>,
}

impl Slopes {
    fn of(
        h: &Matrix3<f64>,
        from: &Matrix3<f64>,
        printed: Point,
        outward: Point,
        swell: f64,
    ) -> Slopes {
        let p = from * (printed + outward * swell).push(1.0);
        let q = h * p;
        let (u, v) = (q.x / q.z, q.y / q.z);
        let step = from.fixed_view::<2, 2>(0, 0) * outward;
        let swells = |row: usize, value: f64| {
            (h[(row, 0)] * step.x + h[(row, 1)] * step.y
                - value * (h[(2, 0)] * step.x + h[(2, 1)] * step.y))
                / q.z
        };
        let (a, b, c) = (p.x / q.z, p.y / q.z, 1.0 / q.z);
        Slopes {
            at: Point::new(u, v),
            x: SVector::from([a, b, c, 0.0, 0.0, 0.0, -u * a, -u * b, swells(0, u)]),
            y: SVector::from([0.0, 0.0, 0.0, a, b, c, -v * a, -v * b, swells(1, v)]),
        }
    }
}

/// From where a place on the card is seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeenFrom {
    /// Angle between the normal of the card and the line of sight, degrees.
    pub tilt_deg: f64,
    /// How much of that is to a side: the angle between the line of sight and the upright plane through the normal of a card that
    /// stands, degrees, never negative.
    pub aside_deg: f64,
    /// How much of it is upwards or downwards: the angle between the line of sight and the level plane, degrees, never negative.
    pub height_deg: f64,
}

/// From where `at` (mm on the card) is seen in a photo of the given size.
///
/// Assumes square pixels and the optical axis in the middle of the photo (false for a cropped one, hence an estimate). The
/// focal length is solved from the map where perspective is strong enough to tell it; else the angle is taken for a
/// common phone lens, and `None` is given if it would depend on that choice.
pub fn seen_from(map: &Homography, at: Point, width: f64, height: f64) -> Option<SeenFrom> {
    let shift = Matrix3::new(
        1.0,
        0.0,
        -width / 2.0,
        0.0,
        1.0,
        -height / 2.0,
        0.0,
        0.0,
        1.0,
    );
    let h = shift * map.0;
    let longest = width.max(height);
    // Phone cameras span about 0.4 (ultra-wide) to 3 (telephoto) times the longest side; their main lens, 24 to 28 mm in
    // terms of a 36 mm wide frame, is 0.67 to 0.78 of it (common practice).
    let (widest, main, longest_lens) = (0.4 * longest, 0.75 * longest, 3.0 * longest);
    let through = |focal: f64| {
        // How a step on the card changes the unit direction of sight: foreshortened along the tilt by its cosine, not
        // across it.
        let k = Matrix3::from_diagonal(&Vector3::new(1.0 / focal, 1.0 / focal, 1.0)) * h;
        let ray = k * at.push(1.0);
        let along = ray.normalize();
        let turn = |step: Vector3<f64>| (step - along * along.dot(&step)) / ray.norm();
        let (a, b) = (turn(k.column(0).into()), turn(k.column(1).into()));
        let (aa, bb, ab) = (a.dot(&a), b.dot(&b), a.dot(&b));
        let spread = ((aa - bb).powi(2) + 4.0 * ab * ab).sqrt();
        let (least, most) = ((aa + bb - spread).max(0.0) / 2.0, (aa + bb + spread) / 2.0);
        let ratio = (least / most).sqrt();
        // What a step across the card lacks of one across the tilt goes along the line of sight.
        let lacks = |step: f64| (1.0 - step / most).max(0.0).sqrt();
        SeenFrom {
            tilt_deg: ratio.clamp(0.0, 1.0).acos().to_degrees(),
            aside_deg: lacks(aa).asin().to_degrees(),
            height_deg: lacks(bb).asin().to_degrees(),
        }
    };
    let dot = |i: usize, j: usize| h[(0, i)] * h[(0, j)] + h[(1, i)] * h[(1, j)];
    let (p, q) = (dot(0, 1), dot(0, 0) - dot(1, 1));
    let (r, s) = (h[(2, 0)] * h[(2, 1)], h[(2, 0)].powi(2) - h[(2, 1)].powi(2));
    // p / f^2 + r = 0 and q / f^2 + s = 0, weighed together.
    let inverse_square = -(p * r + q * s) / (p * p + q * q);
    let solved = (inverse_square > 0.0).then(|| (1.0 / inverse_square).sqrt());
    if let Some(focal) = solved.filter(|f| (widest..=longest_lens).contains(f)) {
        return Some(through(focal));
    }
    // A spread below ten degrees still tells "straight on" from "tilted".
    ((through(widest).tilt_deg - through(longest_lens).tilt_deg).abs() < 10.0)
        .then(|| through(main))
}

/// The same map with a last element of one, if that can be.
fn scaled(h: Matrix3<f64>) -> Option<Matrix3<f64>> {
    let last = h[(2, 2)];
    let scaled = h / last;
    (last.abs() > f64::MIN_POSITIVE && scaled.iter().all(|v| v.is_finite())).then_some(scaled)
}

/// Moves points to mean zero and mean distance sqrt(2).
fn normaliser(points: impl Iterator<Item = Point> + Clone) -> Option<Matrix3<f64>> {
    let count = points.clone().count() as f64;
    let mean = points.clone().sum::<Point>() / count;
    let spread = points.map(|p| (p - mean).norm()).sum::<f64>() / count;
    let s = std::f64::consts::SQRT_2 / spread;
    s.is_finite()
        .then(|| Matrix3::new(s, 0.0, -s * mean.x, 0.0, s, -s * mean.y, 0.0, 0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;
    use nalgebra::Rotation3;

    /// A card photographed with a lens of 1200 pixels from 300 mm, turned by angles about its upright and its level axis, degrees.
    fn turned(upright: f64, level: f64) -> SeenFrom {
        let lens = Matrix3::new(1200.0, 0.0, 800.0, 0.0, 1200.0, 600.0, 0.0, 0.0, 1.0);
        let turn = Rotation3::from_axis_angle(&Vector3::x_axis(), level.to_radians())
            * Rotation3::from_axis_angle(&Vector3::y_axis(), upright.to_radians());
        let turn = turn.matrix();
        let at = Point::new(90.0, 62.0);
        let away = Vector3::new(0.0, 0.0, 300.0) - turn.column(0) * at.x - turn.column(1) * at.y;
        let map =
            lens * Matrix3::from_columns(&[turn.column(0).into(), turn.column(1).into(), away]);
        seen_from(&Homography(map), at, 1600.0, 1200.0).unwrap()
    }

    /// Worked by hand: a line of sight at an angle in the level plane is all aside, one in the upright plane not at all; with both
    /// the cosines multiply, and aside is what is left of the sine.
    #[test]
    fn from_where_a_card_is_seen() {
        for (upright, level, tilt, aside, height) in [
            (25.0, 0.0, 25.0, 25.0, 0.0),
            (-25.0, 0.0, 25.0, 25.0, 0.0),
            (0.0, 30.0, 30.0, 0.0, 30.0),
            (20.0, 30.0, 35.53, 17.23, 30.0),
        ] {
            let seen = turned(upright, level);
            assert_abs_diff_eq!(seen.tilt_deg, tilt, epsilon = 0.1);
            assert_abs_diff_eq!(seen.aside_deg, aside, epsilon = 0.3);
            assert_abs_diff_eq!(seen.height_deg, height, epsilon = 0.3);
        }
    }
}
