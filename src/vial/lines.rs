//! How the card's faint lines run behind a vial: shifted and stretched by refraction, bowed by its roundness, tilted by the view.
//!
//! A matched filter (Turin 1960, IRE Trans. Inf. Theory 6(3):311-329): what changes quickly down the vial is correlated once with
//! one line, and what speaks for a course of all lines is then the sum of what lies at their places. That tells where they are;
//! how plain they are is measured there by `clear`.

use std::ops::RangeInclusive;

use nalgebra::Vector3;
use rayon::prelude::*;

use super::bay::BayPicture;
use crate::place::Area;

/// How a line runs behind the vial: at a distance to the right of the axis it is lower by `per_mm` times that and `per_mm2` times
/// its square, mm.
#[derive(Debug, Clone, Copy, Default)]
pub struct Bow {
    axis: f64,
    per_mm: f64,
    per_mm2: f64,
}

impl Bow {
    /// How much lower a line is at `x` than at the axis, in rows of `step` mm.
    pub fn rows_lower(&self, x: f64, step: f64) -> isize {
        let off = x - self.axis;
        ((self.per_mm * off + self.per_mm2 * off * off) / step).round() as isize
    }
}

/// Where lines are seen: so much lower than printed, mm, and stretched about the middle of a profile by such a share.
#[derive(Debug, Clone, Copy, Default)]
pub struct Course {
    pub shift: f64,
    pub stretch: f64,
}

impl Course {
    /// The height at which a line printed at `y` is seen in a profile with this middle.
    pub fn of(&self, y: f64, middle: f64) -> f64 {
        middle + (y - middle) * (1.0 + self.stretch) + self.shift
    }

    /// Courses that differ from this one by up to a range (shift in mm, stretch), in steps.
    pub fn around(self, range: Course, steps: Course) -> impl Iterator<Item = Course> {
        let tried = |range: f64, step: f64| {
            let n = (range / step).round() as i32;
            (-n..=n).map(move |k| f64::from(k) * step)
        };
        tried(range.stretch, steps.stretch).flat_map(move |stretch| {
            tried(range.shift, steps.shift).map(move |shift| Course {
                shift: self.shift + shift,
                stretch: self.stretch + stretch,
            })
        })
    }
}

/// Farthest that refraction shifts a line, mm (28 mm of water under a tilt of 40 degrees), and the largest stretch: the nearer a
/// line is to the height of the lens, the less it is shifted.
const FARTHEST: Course = Course {
    shift: 8.0,
    stretch: 0.24,
};
/// Steps in which both are tried.
const STEPS: Course = Course {
    shift: 0.2,
    stretch: 0.04,
};
/// How much a line may sag, and how much it may tilt, from the axis to the last column, in parts of that distance, and the steps in
/// which both are tried, mm: the first is as wide as a line, the last hides nothing of it.
const BOWED: f64 = 0.3;
const BOW_STEPS: [f64; 3] = [0.4, 0.2, 0.1];
/// Distance of the places at which the filter is computed, mm.
const FINE: f64 = 0.1;
/// What differs more than this from its surroundings (natural log) is no faint line: a drop, a bubble, a reflection.
const FAINT: f64 = 0.3;
/// Half of the window whose mean is taken off a profile, mm: light changes slowly, lines do not.
pub const SLOW: f64 = 1.7;
/// A line counts where it is so far from the end of a profile, mm: a meniscus or the base lies there.
pub const CLEAR_OF_END: f64 = 0.5;
/// Standard deviation of the blur that is expected of a line, mm: a little less than a printed edge in a plain photo. An error
/// in it is met on paper and through the liquid alike.
const BLUR: f64 = 0.2;
/// Blurs past which nothing of a line is left.
const FADED: f64 = 4.0;
/// Share of a column's cells at the top of their range past which it says nothing, since a line there is cut off.
const MOST_CLIPPED: f64 = 0.05;

/// One line as it is seen in rows of some height: a box blurred by the lens and by the row itself.
pub struct Stroke {
    half: f64,
    blur: f64,
}

impl Stroke {
    pub fn new(line: &Area, row: f64) -> Stroke {
        Stroke {
            half: line.h / 2.0,
            blur: BLUR.hypot(row / 12f64.sqrt()),
        }
    }

    /// How dark it is at a distance from its middle, mm; 1 where it is wide and sharp.
    pub fn dark(&self, off: f64) -> f64 {
        0.5 * (edge((off + self.half) / self.blur) - edge((off - self.half) / self.blur))
    }

    /// Distance past which nothing of it is left, mm.
    pub fn reach(&self) -> f64 {
        self.half + FADED * self.blur
    }
}

/// Twice the probability that a standard normal value lies between 0 and `x`, with the sign of `x`: a blurred edge. tanh(0.8 x) is
/// within 0.04 of it, which is near enough, since on paper and through the liquid the error is the same.
fn edge(x: f64) -> f64 {
    (0.8 * x).tanh()
}

/// Half of [`SLOW`]'s window in rows of some height.
pub fn window(row: f64) -> usize {
    ((SLOW / row).round() as usize).max(1)
}

/// Values without the mean over `window` rows to either side.
pub fn without_mean<T>(rows: &[T], window: usize) -> Vec<T>
where
    T: Copy + std::iter::Sum<T> + std::ops::Sub<Output = T> + std::ops::Div<f64, Output = T>,
{
    (0..rows.len())
        .map(|j| {
            let near = &rows[j.saturating_sub(window)..(j + window + 1).min(rows.len())];
            rows[j] - near.iter().copied().sum::<T>() / near.len() as f64
        })
        .collect()
}

/// Whether too many cells of a column are at the top of their range.
pub fn cut_off(p: &BayPicture, column: usize, rows: RangeInclusive<usize>) -> bool {
    let n = rows.end() + 1 - rows.start();
    let clipped = rows.filter(|j| p.clipped(column, *j)).count();
    clipped as f64 > MOST_CLIPPED * n as f64
}

/// How the lines run in the columns up to `half` to either side of `axis`, between two heights: the bow, and the course at the
/// axis, on which they are seen by so much `lower` than printed, mm. `None` if no line is to be seen there.
pub fn run(
    p: &BayPicture,
    lines: &[Area],
    (axis, half): (f64, f64),
    within: (f64, f64),
    lower: &RangeInclusive<f64>,
) -> Option<(Bow, Course)> {
    let columns = Columns::of(p, (axis - half, axis + half), within)?;
    let filter = Filter::new(&Stroke::new(lines.first()?, p.step), p.step);
    // How much lower a line is in the last column by tilt, and by sag.
    let bow = |(tilt, sag): (f64, f64)| Bow {
        axis,
        per_mm: tilt / half,
        per_mm2: sag / (half * half),
    };
    // Both at once: looked for one after the other, the one takes the place of the other.
    let best_of = |(tilt, sag): (f64, f64), n: i32, step: f64| {
        let off = move |k: i32| f64::from(k) * step;
        let ends: Vec<(f64, f64)> = (-n..=n)
            .flat_map(|a| (-n..=n).map(move |b| (tilt + off(a), sag + off(b))))
            .collect();
        ends.into_par_iter()
            .filter_map(|ends| Some((filter.best(&columns, &bow(ends), lines, lower)?, ends)))
            .max_by(|a, b| a.0.0.total_cmp(&b.0.0))
    };
    let n = (BOWED * half / BOW_STEPS[0]).ceil() as i32;
    let (_, coarse) = best_of((0.0, 0.0), n, BOW_STEPS[0])?;
    let (_, finer) = best_of(coarse, 1, BOW_STEPS[1])?;
    let ((_, course), ends) = best_of(finer, 1, BOW_STEPS[2])?;
    Some((bow(ends), course))
}

/// What changes quickly in each column of a part of the bay.
struct Columns {
    top: f64,
    step: f64,
    rows: usize,
    /// Where each column lies, plane units, and its cells from above.
    columns: Vec<(f64, Vec<Vector3<f64>>)>,
    /// Sum of the squares of a column's cells, the mean over columns.
    energy: Vector3<f64>,
}

impl Columns {
    fn of(p: &BayPicture, (left, right): (f64, f64), (top, bottom): (f64, f64)) -> Option<Columns> {
        let (first, last) = (p.row(top.max(p.area.y)), p.row(bottom));
        let columns: Vec<_> = (p.column(left)..=p.column(right))
            .into_par_iter()
            .filter(|i| first < last && !cut_off(p, *i, first..=last))
            .map(|i| {
                let against_paper: Vec<Vector3<f64>> = (first..=last)
                    .map(|j| p.level(i, j))
                    .map(|l| l.against_white())
                    .collect();
                let quick = without_mean(&against_paper, window(p.step));
                let faint = quick.iter().map(|q| q.map(|v| v.clamp(-FAINT, FAINT)));
                (p.point(i, first).0, faint.collect())
            })
            .collect();
        let squares = |(_, cells): &(f64, Vec<Vector3<f64>>)| -> Vector3<f64> {
            cells.iter().map(|v| v.component_mul(v)).sum()
        };
        let energy =
            columns.iter().map(squares).sum::<Vector3<f64>>() / columns.len().max(1) as f64;
        (!columns.is_empty()).then(|| Columns {
            energy,
            top: p.area.y + first as f64 * p.step,
            step: p.step,
            rows: last + 1 - first,
            columns,
        })
    }

    /// Their mean along a bow.
    fn mean(&self, bow: &Bow) -> Vec<Vector3<f64>> {
        let mut sums = vec![Vector3::zeros(); self.rows];
        for (x, cells) in &self.columns {
            let lower = bow.rows_lower(*x, self.step);
            for (j, sum) in sums.iter_mut().enumerate() {
                *sum += cells[j.saturating_add_signed(lower).min(self.rows - 1)];
            }
        }
        let n = self.columns.len() as f64;
        sums.into_iter().map(|s| s / n).collect()
    }
}

/// One line, without the mean over a window around each place, at distances of [`FINE`].
struct Filter {
    kernel: Vec<f64>,
    /// Half of a line's height, mm.
    half: f64,
}

impl Filter {
    fn new(stroke: &Stroke, row: f64) -> Filter {
        let window = ((window(row) as f64 + 0.5) * row / FINE) as usize;
        let reach = (stroke.reach() / FINE).ceil() as usize + window;
        let dark: Vec<f64> = (0..=2 * reach)
            .map(|k| stroke.dark((k as f64 - reach as f64) * FINE))
            .collect();
        Filter {
            kernel: without_mean(&dark, window),
            half: stroke.half,
        }
    }

    /// What speaks for a line at each place down a profile, [`FINE`] apart: its product with the profile, and its power.
    fn along(&self, profile: &[Vector3<f64>], row: f64) -> Vec<(Vector3<f64>, f64)> {
        let reach = (self.kernel.len() / 2) as f64 * FINE;
        let places = (profile.len() as f64 * row / FINE) as usize;
        (0..=places)
            .map(|k| {
                let y = k as f64 * FINE;
                let first = ((y - reach) / row).max(0.0) as usize;
                let (mut product, mut power) = (Vector3::zeros(), 0.0);
                for (j, value) in profile.iter().enumerate().skip(first) {
                    let off = (j as f64 + 0.5) * row - y;
                    if off > reach {
                        break;
                    }
                    let index = ((off + reach) / FINE).round().max(0.0) as usize;
                    let q = self.kernel[index.min(self.kernel.len() - 1)];
                    product += value * q;
                    power += q * q;
                }
                (product, power)
            })
            .collect()
    }

    /// The plainest course of the lines in columns along a bow, and how plain it is: the sum over channels of what the lines
    /// explain in the mean of the columns, over all that changes quickly in one. Not over what they leave in that mean: a bow that
    /// smears half of the lines leaves little, too.
    fn best(
        &self,
        columns: &Columns,
        bow: &Bow,
        lines: &[Area],
        lower: &RangeInclusive<f64>,
    ) -> Option<(f64, Course)> {
        let profile = columns.mean(bow);
        let along = self.along(&profile, columns.step);
        let height = columns.rows as f64 * columns.step;
        let middle = columns.top + height / 2.0;
        let least = self.half + CLEAR_OF_END;
        let plain = |course: &Course| -> Option<f64> {
            let (mut product, mut power) = (Vector3::zeros(), 0.0);
            for line in lines {
                let y = course.of(line.centre().1, middle) - columns.top;
                if y >= least && y <= height - least {
                    let (a, b) = &along[(y / FINE).round() as usize];
                    product += a;
                    power += b;
                }
            }
            (power > 0.0).then(|| {
                (0..3)
                    .map(|c| {
                        let explained = (-product[c]).max(0.0).powi(2) / power;
                        explained / columns.energy[c].max(1e-12)
                    })
                    .sum()
            })
        };
        Course::default()
            .around(FARTHEST, STEPS)
            .filter(|course| lower.contains(&course.shift))
            .filter_map(|course| Some((plain(&course)?, course)))
            .max_by(|a, b| a.0.total_cmp(&b.0))
    }
}
