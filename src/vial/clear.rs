//! How clear the liquid is: how much of the faint lines behind the vial is seen through it.
//!
//! Light that comes through a clear liquid is dimmed alike on a line and beside it, so on a logarithmic scale the line is as
//! plain through any depth of colour as on bare paper. Light that does not come through - scattered by particles, reflected by
//! the glass - lies over both and takes the line's contrast: what is left of it is the share of light that came through
//! (the same reasoning as for Secchi's disc: Preisendorfer 1986, Limnol. Oceanogr. 31(5):909-926). Measures; what it means is
//! judged in `sight`.

use nalgebra::Vector3;
use rayon::prelude::*;

use super::bay::BayPicture;
use crate::place::Area;

/// What is seen of the lines through the liquid, per channel of the file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clearness {
    /// Contrast through the liquid over that on bare paper beside the vial: 1 is clear.
    pub share: Vector3<f64>,
    /// Standard deviation of `share`.
    pub sd: Vector3<f64>,
}

impl Clearness {
    /// How plain the lines are beside what is `usual` per channel, 1 for the same: the mean over channels by their certainty,
    /// since a dye may take nearly all light of one. Where the usual is plainer than on bare paper, that paper was at fault.
    pub fn against(&self, usual: &Vector3<f64>) -> f64 {
        let usual = usual.map(|v| v.min(1.0));
        let (mut sum, mut total) = (0.0, 0.0);
        for c in 0..3 {
            let weight = (usual[c].max(0.0) / self.sd[c]).powi(2);
            sum += weight * self.share[c] / usual[c].max(LEAST_USUAL);
            total += weight;
        }
        if total > 0.0 { sum / total } else { 1.0 }
    }
}

/// Least share with which a channel is compared.
const LEAST_USUAL: f64 = 0.05;

/// Farthest that refraction shifts a line, mm: 28 mm of water under a tilt of 40 degrees.
const FARTHEST: f64 = 8.0;
/// Half of the vial's width in which the lines are looked for, in parts of it, and the bands it is cut into.
const BAND: f64 = 0.3;
const BANDS: usize = 3;
/// How much a line may sag, and how much it may tilt, from the axis to the end of that half, mm, and the step in which both are
/// tried: seen from above or below, the round vial bends it, and seen from aside it turns it.
const BOWED: f64 = 1.2;
const BOW_STEP: f64 = 0.3;
/// Steps in which shifts (mm) and stretches are first tried, and the largest stretch: the nearer a line is to the height
/// of the lens, the less it is shifted.
const ROUGHLY: Steps = Steps {
    shift: 0.2,
    stretch: 0.04,
};
const STRETCH: f64 = 0.24;
/// Steps of shift (mm) and stretch in which the lines are looked for again, band by band.
const FINELY: Steps = Steps {
    shift: 0.1,
    stretch: 0.02,
};
/// How much farther or nearer the lines may lie in one band than in all together, mm, and how much more or less stretched.
const BENT: f64 = 1.0;
const STRETCHED: f64 = 0.04;
/// Bare paper beside the vial begins so far from its outline, mm.
const BESIDE: f64 = 2.0;
/// Least bare paper beside the vial on which the lines are measured, mm.
const LEAST_PAPER: f64 = 3.0;
/// Half of the window whose mean is taken off a profile, mm: light changes slowly, lines do not.
const SLOW: f64 = 1.7;
/// Standard deviation of the blur that is expected of a line, mm: a little less than a printed edge in a plain photo. An error
/// in it is met on paper and through the liquid alike.
const BLUR: f64 = 0.2;
/// Blurs past which nothing of a line is left.
const FADED: f64 = 4.0;
/// A line counts where it is so far from the end of a profile, mm: a meniscus or the base lies there.
const CLEAR_OF_END: f64 = 0.5;
/// Neighbouring rows share blur and compression: so many count as one.
const ROWS_AS_ONE: f64 = 2.0;
/// Share of a column's cells at the top of their range past which it says nothing, since a line there is cut off, and the share of
/// the columns that must be left.
const MOST_CLIPPED: f64 = 0.05;
const LEAST_LEFT: f64 = 0.4;
/// Least contrast on paper that a share is taken of, natural log, and the largest share that is told.
const LEAST_CONTRAST: f64 = 0.002;
const MOST_SHARE: f64 = 5.0;
/// Lines on bare paper count from so many times their noise: else they were not printed, or the photo is too coarse for them.
const PRINTED: f64 = 5.0;

/// Measures the lines through the `liquid` of a vial that stands, between its outlines. `None` if they are not seen well on
/// the paper beside it (`bay`), or the liquid does not reach before one of them.
pub fn clearness(p: &BayPicture, lines: &[Area], bay: Area, liquid: Area) -> Option<Clearness> {
    let sides: Vec<(f64, f64)> = [
        (bay.x + 1.0, liquid.x - BESIDE),
        (liquid.x + liquid.w + BESIDE, bay.x + bay.w - 1.0),
    ]
    .into_iter()
    .filter(|(a, b)| b - a >= LEAST_PAPER)
    .collect();
    let (first, last) = (lines.first()?.y, lines.last()?.y);
    let around = (first - 2.0 * SLOW, (last + 2.0 * SLOW).min(bay.y + bay.h));
    // On paper the lines are where they were printed, but for what the fit of the card leaves.
    let on_paper = Profile::of(p, &sides, around, None)?.search(
        lines,
        Course::default(),
        (0.5, 0.0),
        FINELY,
    )?;
    if (0..3).all(|c| on_paper.contrast[c] < PRINTED * on_paper.sd[c]) {
        return None;
    }
    let seen = through(p, lines, liquid)?;
    // A channel in which the lines do not show on paper, as blue may not in the light of a candle, says nothing.
    let on = on_paper.contrast.map(|v| v.max(LEAST_CONTRAST));
    let share = seen
        .contrast
        .component_div(&on)
        .map(|v| v.clamp(-MOST_SHARE, MOST_SHARE));
    let sd = seen
        .sd
        .zip_zip_map(&share, &on_paper.sd, |seen, share, paper| {
            seen.hypot(share * paper)
        })
        .component_div(&on);
    Some(Clearness { share, sd })
}

/// The lines as seen through the liquid. Seen from aside or above, a line is bent and tilted: how they run is found in all the
/// width, and their contrast in bands of it, each near where all together show them.
fn through(p: &BayPicture, lines: &[Area], liquid: Area) -> Option<Seen> {
    let axis = liquid.centre().0;
    let half = BAND * liquid.w;
    let within = (liquid.y, liquid.y + liquid.h);
    // Sag first, then tilt, then sag again: the one hides a little of the other.
    let mut bow = Bow {
        axis,
        ..Bow::default()
    };
    let mut all = None;
    for part in [Part::Sag, Part::Tilt, Part::Sag] {
        let n = (BOWED / BOW_STEP).round() as i32;
        let best = (-n..=n)
            .into_par_iter()
            .filter_map(|k| {
                let end = f64::from(k) * BOW_STEP;
                let bow = match part {
                    Part::Sag => Bow {
                        per_mm2: end / (half * half),
                        ..bow
                    },
                    Part::Tilt => Bow {
                        per_mm: end / half,
                        ..bow
                    },
                };
                let whole = Profile::of(p, &[(axis - half, axis + half)], within, Some(bow))?;
                let seen = whole.search(lines, Course::default(), (FARTHEST, STRETCH), ROUGHLY)?;
                Some((seen, bow))
            })
            .max_by(|a, b| a.0.plain.total_cmp(&b.0.plain))?;
        (all, bow) = (Some(best.0), best.1);
    }
    let all = all?;
    let part = 2.0 * half / BANDS as f64;
    let bands: Vec<Seen> = (0..BANDS)
        .into_par_iter()
        .map(|k| axis - half + k as f64 * part)
        .filter_map(|x| Profile::of(p, &[(x, x + part)], within, Some(bow)))
        .filter_map(|band| band.search(lines, all.course, (BENT, STRETCHED), FINELY))
        .collect();
    let n = bands.len() as f64;
    let mean = |f: &dyn Fn(&Seen) -> Vector3<f64>| bands.iter().map(f).sum::<Vector3<f64>>() / n;
    (!bands.is_empty()).then(|| Seen {
        contrast: mean(&|s| s.contrast),
        sd: (mean(&|s| s.sd.map(|v| v * v)) / n).map(f64::sqrt),
        ..all
    })
}

/// How a line runs behind the vial: lower by `per_mm` times the distance to the right of the axis and `per_mm2` times its square, mm.
#[derive(Debug, Clone, Copy, Default)]
struct Bow {
    axis: f64,
    per_mm: f64,
    per_mm2: f64,
}

/// What of a bow is looked for.
enum Part {
    Sag,
    Tilt,
}

/// Steps in which something is tried.
#[derive(Debug, Clone, Copy)]
struct Steps {
    shift: f64,
    stretch: f64,
}

/// Where lines are seen: so much lower than printed, mm, and stretched about the middle of the profile by such a share.
#[derive(Debug, Clone, Copy, Default)]
struct Course {
    shift: f64,
    stretch: f64,
}

/// The lines as seen in a profile.
struct Seen {
    course: Course,
    /// How much darker than their surroundings, natural log.
    contrast: Vector3<f64>,
    /// Standard deviation of `contrast`.
    sd: Vector3<f64>,
    /// How much of the profile they explain.
    plain: f64,
}

/// Row by row, the natural log of light against paper over some columns.
struct Profile {
    top: f64,
    step: f64,
    rows: Vec<Vector3<f64>>,
}

impl Profile {
    /// The profile of some columns (from, to) between two heights, along a bow if there is one; `None` if it is too short for a
    /// line and its surroundings, or clipped.
    fn of(
        p: &BayPicture,
        columns: &[(f64, f64)],
        (top, bottom): (f64, f64),
        bow: Option<Bow>,
    ) -> Option<Profile> {
        let (first, last) = (p.row(top.max(p.area.y)), p.row(bottom));
        let cut_off = |i: usize| {
            let clipped = (first..=last).filter(|j| p.clipped(i, *j)).count();
            clipped as f64 > MOST_CLIPPED * (last + 1 - first) as f64
        };
        let all = columns
            .iter()
            .flat_map(|(a, b)| p.column(*a)..=p.column(*b));
        let (lost, at): (Vec<usize>, Vec<usize>) = all.partition(|i| cut_off(*i));
        // Paper beside what is cut off is pressed together by the phone's tone curve, and its lines are too faint.
        let least = if bow.is_some() { LEAST_LEFT } else { 1.0 };
        if (at.len() as f64) < least * (at.len() + lost.len()) as f64
            || (last.saturating_sub(first) as f64) * p.step < 2.0 * SLOW
        {
            return None;
        }
        // Rows by which each column is lower.
        let lower: Vec<isize> = at
            .iter()
            .map(|&i| {
                let x = p.area.x + (i as f64 + 0.5) * p.step;
                bow.map_or(0, |b| {
                    let off = x - b.axis;
                    ((b.per_mm * off + b.per_mm2 * off * off) / p.step).round() as isize
                })
            })
            .collect();
        let row = |j: usize| {
            let cells: Vec<Vector3<f64>> = at
                .iter()
                .zip(&lower)
                .map(|(&i, &lower)| p.level(i, j.saturating_add_signed(lower).clamp(first, last)))
                .map(|l| l.seen - l.white)
                .collect();
            middle(&cells)
        };
        Some(Profile {
            top: p.area.y + first as f64 * p.step,
            step: p.step,
            rows: (first..=last).map(row).collect(),
        })
    }

    /// Looks for the lines where they are plainest, no farther than `range` (shift and stretch) from a course: least squares of
    /// the pattern of all lines that fall into the profile. `None` if none does.
    fn search(
        &self,
        lines: &[Area],
        from: Course,
        range: (f64, f64),
        steps: Steps,
    ) -> Option<Seen> {
        let seen = self.quick();
        let whole: Vector3<f64> = seen.iter().map(|s| s.map(|v| v * v)).sum();
        let freedom = (seen.len() as f64 - 2.0).max(1.0);
        let fit = |course: Course| -> Option<Seen> {
            let pattern = self.pattern(lines, course)?;
            let power: f64 = pattern.iter().map(|v| v * v).sum();
            let along: Vector3<f64> = seen.iter().zip(&pattern).map(|(s, p)| s * *p).sum();
            let contrast = -along / power;
            let left = (whole - along.map(|v| v * v / power)).map(|v| v.max(1e-12));
            Some(Seen {
                course,
                contrast,
                sd: left.map(|v| (ROWS_AS_ONE * v / freedom / power).sqrt().max(1e-6)),
                plain: (0..3)
                    .map(|c| contrast[c].max(0.0).powi(2) * power / left[c])
                    .sum(),
            })
        };
        let tried = |range: f64, step: f64| {
            let n = (range / step).round() as i32;
            (-n..=n).map(move |k| f64::from(k) * step)
        };
        tried(range.1, steps.stretch)
            .flat_map(|stretch| tried(range.0, steps.shift).map(move |shift| (shift, stretch)))
            .filter_map(|(shift, stretch)| {
                fit(Course {
                    shift: from.shift + shift,
                    stretch: from.stretch + stretch,
                })
            })
            .max_by(|a, b| a.plain.total_cmp(&b.plain))
    }

    /// What changes quickly: the profile without the mean over a window around each row.
    fn quick(&self) -> Vec<Vector3<f64>> {
        without_mean(&self.rows, self.window())
    }

    fn window(&self) -> usize {
        ((SLOW / self.step).round() as usize).max(1)
    }

    /// The lines, shifted and stretched about the profile's middle, as they would be seen in the profile if each were 1 darker
    /// than paper; `None` if no line lies in it.
    fn pattern(&self, lines: &[Area], course: Course) -> Option<Vec<f64>> {
        let mut rows = vec![0.0; self.rows.len()];
        let last = rows.len() - 1;
        let end = self.top + self.step * rows.len() as f64;
        let middle = (self.top + end) / 2.0;
        // A box blurred by the lens and by the row itself; farther away than FADED blurs nothing of it is left.
        let blur = BLUR.hypot(self.step / 12f64.sqrt());
        let mut any = false;
        for l in lines {
            let y = middle + (l.centre().1 - middle) * (1.0 + course.stretch) + course.shift;
            let half = l.h / 2.0;
            if y - half < self.top + CLEAR_OF_END || y + half > end - CLEAR_OF_END {
                continue;
            }
            any = true;
            let reach = half + FADED * blur;
            let row = |y: f64| (((y - self.top) / self.step).max(0.0) as usize).min(last);
            let first = row(y - reach);
            for (k, v) in rows[first..=row(y + reach)].iter_mut().enumerate() {
                let off = self.top + ((first + k) as f64 + 0.5) * self.step - y;
                *v += 0.5 * (edge((off + half) / blur) - edge((off - half) / blur));
            }
        }
        any.then(|| without_mean(&rows, self.window()))
    }
}

/// Values without the mean over `window` rows to either side.
fn without_mean<T>(rows: &[T], window: usize) -> Vec<T>
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

/// Twice the probability that a standard normal value lies between 0 and `x`, with the sign of `x`: a blurred edge. tanh(0.8 x) is
/// within 0.04 of it, which is near enough, since on paper and through the liquid the error is the same.
fn edge(x: f64) -> f64 {
    (0.8 * x).tanh()
}

/// The mean (natural log per channel) of the middle half of cells, by light: no drop, no reflection. Not by its logarithm, in
/// which the noise of a channel that the dye leaves no light in would rule the choice.
fn middle(cells: &[Vector3<f64>]) -> Vector3<f64> {
    let mut sorted: Vec<(f64, &Vector3<f64>)> =
        cells.iter().map(|c| (c.map(f64::exp).sum(), c)).collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let kept = &sorted[sorted.len() / 4..sorted.len() - sorted.len() / 4];
    kept.iter().map(|c| c.1).sum::<Vector3<f64>>() / kept.len() as f64
}
