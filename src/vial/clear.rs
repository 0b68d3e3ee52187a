//! How clear the liquid is: how much of the faint lines behind the vial is seen through it.
//!
//! Light that comes through a clear liquid is dimmed alike on a line and beside it, so on a logarithmic scale the line is as
//! plain through any depth of colour as on bare paper. Light that does not come through - scattered by particles, reflected by
//! the glass - lies over both and takes the line's contrast: what is left of it is the share of light that came through
//! (the same reasoning as for Secchi's disc: Preisendorfer 1986, Limnol. Oceanogr. 31(5):909-926). Measures; what it means is
//! judged in `sight`.

use std::ops::RangeInclusive;

use nalgebra::Vector3;
use rayon::prelude::*;

use super::bay::BayPicture;
use super::lines::{Bow, CLEAR_OF_END, Course, SLOW, Stroke, cut_off, run, window, without_mean};
use crate::place::Area;

/// What is seen of the lines through the liquid, per channel of the file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Clearness {
    /// Contrast through the liquid over that on bare paper beside the vial: 1 is clear.
    pub share: Vector3<f64>,
    /// Standard deviation of `share`.
    pub sd: Vector3<f64>,
    /// How much lower the lines are seen through the liquid than printed, mm: refraction, none in an empty vial.
    pub lower: f64,
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

    /// What [`Clearness::against`] is off by: standard deviation. Channels share the photo's noise, so the best of them counts.
    pub fn sd_against(&self, usual: &Vector3<f64>) -> f64 {
        (0..3)
            .map(|c| self.sd[c] / usual[c].clamp(LEAST_USUAL, 1.0))
            .fold(f64::INFINITY, f64::min)
    }

    /// Whether the lines are seen at all through the liquid.
    pub fn seen(&self) -> bool {
        (0..3).any(|c| self.share[c] > PRINTED * self.sd[c])
    }
}

/// Least share with which a channel is compared.
const LEAST_USUAL: f64 = 0.05;

/// Half of the vial's width in which the lines are looked for, in parts of it, and the bands it is cut into.
const BAND: f64 = 0.3;
const BANDS: usize = 3;
/// Steps of shift (mm) and stretch in which the lines are looked for, and how far from where all of them together were found they
/// may lie in one band.
const STEPS: Course = Course {
    shift: 0.1,
    stretch: 0.02,
};
const BENT: Course = Course {
    shift: 1.0,
    stretch: 0.04,
};
/// How far lines on paper may lie from where they were printed: what the fit of the card leaves.
const MISPLACED: Course = Course {
    shift: 0.5,
    stretch: 0.0,
};
/// A band this many times less sure than another is left out: something else than lines is seen there, as print on the glass. An
/// assumption, below what print did in pictures drawn flat, reckoned at some six times.
const UNSURE_BAND: f64 = 3.0;
/// Bare paper beside the vial begins so far from its outline, mm.
const BESIDE: f64 = 2.0;
/// Bare paper beside the vial on which the lines are measured, mm; and the least, where neither side has that: what a vial of 28 mm, seen
/// 30 mm wide, leaves on either side of it in a bay of 40 mm.
const GOOD_PAPER: f64 = 3.0;
const LEAST_PAPER: f64 = 2.0;
/// Neighbouring rows share blur and compression: so many count as one.
const ROWS_AS_ONE: f64 = 2.0;
/// Share of the columns over the liquid that must be left when those that are cut off are not counted.
const LEAST_LEFT: f64 = 0.4;
/// Least contrast on paper that a share is taken of, natural log, and the largest share that is told.
const LEAST_CONTRAST: f64 = 0.002;
const MOST_SHARE: f64 = 5.0;
/// Lines count from so many times their noise: else they were not printed, or the photo is too coarse for them.
const PRINTED: f64 = 5.0;

/// How many times what water alone does liquid and glass may lower lines, and how far off that they may lie, mm, where a card leans or
/// curls: assumptions.
const MORE: f64 = 1.5;
const LOWER_OFF: f64 = 1.5;

/// Measures the lines through the `liquid` of a vial that stands, between its outlines, near where they are seen `by_water`, mm lower
/// through so much of it, if that is known. `None` if they are not seen well on the paper beside it (`bay`), or the liquid does not
/// reach before one of them.
pub fn clearness(
    p: &BayPicture,
    lines: &[Area],
    bay: Area,
    liquid: Area,
    by_water: Option<f64>,
) -> Option<Clearness> {
    let beside = [
        (bay.x + 1.0, liquid.x - BESIDE),
        (liquid.x + liquid.w + BESIDE, bay.x + bay.w - 1.0),
    ];
    let wide = |least: f64| -> Vec<(f64, f64)> {
        beside.into_iter().filter(|(a, b)| b - a >= least).collect()
    };
    let sides = [GOOD_PAPER, LEAST_PAPER]
        .map(wide)
        .into_iter()
        .find(|sides| !sides.is_empty())?;
    let (first, last) = (lines.first()?.y, lines.last()?.y);
    let around = (first - 2.0 * SLOW, (last + 2.0 * SLOW).min(bay.y + bay.h));
    // Paper beside what is cut off is pressed together by the phone's tone curve, and its lines are too faint: all of a side must be
    // left, as it is not where the vial throws the light that it gathers.
    let whole = |sides: &[(f64, f64)]| Profile::of(p, sides, around, &Bow::default(), 1.0);
    let on_paper = whole(&sides)
        .or_else(|| sides.iter().find_map(|side| whole(&[*side])))?
        .search(lines, Course::default(), MISPLACED)?;
    if (0..3).all(|c| on_paper.contrast[c] < PRINTED * on_paper.sd[c]) {
        return None;
    }
    // Elsewhere nothing but grain looks like them, and it would do so the more plainly the less is seen of them.
    let lower = by_water.map_or(f64::NEG_INFINITY..=f64::INFINITY, |by| {
        MORE * by.min(0.0) - LOWER_OFF..=MORE * by.max(0.0) + LOWER_OFF
    });
    let seen = through(p, lines, liquid, &lower)?;
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
    Some(Clearness {
        share,
        sd,
        lower: seen.lower - on_paper.lower,
    })
}

/// The lines as seen through the liquid. Seen from aside or above, a line is bent and tilted: how they run is found in all the
/// width, and their contrast in bands of it, each near where all together show them.
fn through(
    p: &BayPicture,
    lines: &[Area],
    liquid: Area,
    lower: &RangeInclusive<f64>,
) -> Option<Seen> {
    let axis = liquid.centre().0;
    let half = BAND * liquid.w;
    let within = (liquid.y, liquid.y + liquid.h);
    let (bow, course) = run(p, lines, (axis, half), within, lower)?;
    let part = 2.0 * half / BANDS as f64;
    let bands: Vec<Seen> = (0..BANDS)
        .into_par_iter()
        .map(|k| axis - half + k as f64 * part)
        .filter_map(|x| Profile::of(p, &[(x, x + part)], within, &bow, LEAST_LEFT))
        .filter_map(|band| band.search(lines, course, BENT))
        .collect();
    let surest = bands.iter().map(Seen::unsure).fold(f64::INFINITY, f64::min);
    let bands: Vec<Seen> = bands
        .into_iter()
        .filter(|band| band.unsure() <= UNSURE_BAND * surest)
        .collect();
    let n = bands.len() as f64;
    let mean = |f: &dyn Fn(&Seen) -> Vector3<f64>| bands.iter().map(f).sum::<Vector3<f64>>() / n;
    (!bands.is_empty()).then(|| Seen {
        contrast: mean(&|s| s.contrast),
        sd: (mean(&|s| s.sd.map(|v| v * v)) / n).map(f64::sqrt),
        lower: bands.iter().map(|s| s.lower).sum::<f64>() / n,
    })
}

/// The lines as seen in a profile.
struct Seen {
    /// How much darker than their surroundings, natural log.
    contrast: Vector3<f64>,
    /// Standard deviation of `contrast`.
    sd: Vector3<f64>,
    /// How much lower than printed, mm, in the middle of the profile.
    lower: f64,
}

impl Seen {
    /// How unsure the contrast is, in the channel where it is surest.
    fn unsure(&self) -> f64 {
        self.sd.min()
    }
}

/// Row by row, the natural log of light against paper over some columns.
struct Profile {
    top: f64,
    step: f64,
    rows: Vec<Vector3<f64>>,
}

impl Profile {
    /// The profile of some columns (from, to) between two heights, along a bow; `None` if it is too short for a line and its
    /// surroundings, or less than a share of the columns is left without those that are cut off.
    fn of(
        p: &BayPicture,
        columns: &[(f64, f64)],
        (top, bottom): (f64, f64),
        bow: &Bow,
        least: f64,
    ) -> Option<Profile> {
        let (first, last) = (p.row(top.max(p.area.y)), p.row(bottom));
        let all = columns
            .iter()
            .flat_map(|(a, b)| p.column(*a)..=p.column(*b));
        let (lost, at): (Vec<usize>, Vec<usize>) = all.partition(|i| cut_off(p, *i, first..=last));
        if at.is_empty()
            || (at.len() as f64) < least * (at.len() + lost.len()) as f64
            || (last.saturating_sub(first) as f64) * p.step < 2.0 * SLOW
        {
            return None;
        }
        // Rows by which each column is lower.
        let lower: Vec<isize> = at
            .iter()
            .map(|&i| bow.rows_lower(p.point(i, first).0, p.step))
            .collect();
        let row = |j: usize| {
            let cells: Vec<Vector3<f64>> = at
                .iter()
                .zip(&lower)
                .map(|(&i, &lower)| p.level(i, j.saturating_add_signed(lower).clamp(first, last)))
                .map(|l| l.against_white())
                .collect();
            middle(&cells)
        };
        Some(Profile {
            top: p.area.y + first as f64 * p.step,
            step: p.step,
            rows: (first..=last).map(row).collect(),
        })
    }

    /// Looks for the lines where they are plainest, no farther than `range` from a course: least squares of the pattern of all
    /// lines that fall into the profile. `None` if none does.
    fn search(&self, lines: &[Area], from: Course, range: Course) -> Option<Seen> {
        let seen = self.quick();
        let whole: Vector3<f64> = seen.iter().map(|s| s.map(|v| v * v)).sum();
        let freedom = (seen.len() as f64 - 2.0).max(1.0);
        let fit = |course: Course| -> Option<(f64, Seen)> {
            let pattern = self.pattern(lines, course)?;
            let power: f64 = pattern.iter().map(|v| v * v).sum();
            let along: Vector3<f64> = seen.iter().zip(&pattern).map(|(s, p)| s * *p).sum();
            let contrast = -along / power;
            let left = (whole - along.map(|v| v * v / power)).map(|v| v.max(1e-12));
            let plain = (0..3)
                .map(|c| contrast[c].max(0.0).powi(2) * power / left[c])
                .sum();
            let sd = left.map(|v| (ROWS_AS_ONE * v / freedom / power).sqrt().max(1e-6));
            Some((
                plain,
                Seen {
                    contrast,
                    sd,
                    lower: course.shift,
                },
            ))
        };
        from.around(range, STEPS)
            .filter_map(fit)
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|best| best.1)
    }

    /// What changes quickly: the profile without the mean over a window around each row.
    fn quick(&self) -> Vec<Vector3<f64>> {
        without_mean(&self.rows, window(self.step))
    }

    /// The lines, shifted and stretched about the profile's middle, as they would be seen in the profile if each were 1 darker
    /// than paper; `None` if no line lies in it.
    fn pattern(&self, lines: &[Area], course: Course) -> Option<Vec<f64>> {
        let mut rows = vec![0.0; self.rows.len()];
        let last = rows.len() - 1;
        let end = self.top + self.step * rows.len() as f64;
        let middle = (self.top + end) / 2.0;
        let mut any = false;
        for l in lines {
            let stroke = Stroke::new(l, self.step);
            let y = course.of(l.centre().1, middle);
            let half = l.h / 2.0;
            if y - half < self.top + CLEAR_OF_END || y + half > end - CLEAR_OF_END {
                continue;
            }
            any = true;
            let row = |y: f64| (((y - self.top) / self.step).max(0.0) as usize).min(last);
            let first = row(y - stroke.reach());
            for (k, v) in rows[first..=row(y + stroke.reach())].iter_mut().enumerate() {
                *v += stroke.dark(self.top + ((first + k) as f64 + 0.5) * self.step - y);
            }
        }
        any.then(|| without_mean(&rows, window(self.step)))
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::observe;
    use crate::photo::Picture;
    use crate::place::Place;
    use crate::vial::bay;

    /// A vial that fills its bay leaves no paper to measure the lines on, and nothing is said of how clear it is.
    #[test]
    fn without_paper_beside_it_nothing_is_told() {
        let area = |x, y, w, h| Area { x, y, w, h };
        let picture = Picture::from_rgb8(120, 120, vec![200; 3 * 120 * 120]);
        let liquid = area(20.0, 60.0, 40.0, 40.0);
        let place = Place::by_hand(area(5.0, 5.0, 30.0, 30.0), liquid, 120, 120).unwrap();
        let seen = observe(&picture, &place).unwrap();
        let p = bay::of(&picture, &place, &seen, area(10.0, 50.0, 60.0, 60.0));
        let lines = [70.0, 80.0, 90.0].map(|y| area(10.0, y, 60.0, 1.0));
        assert_eq!(clearness(&p, &lines, liquid, liquid, Some(0.0)), None);
    }

    /// Three lines behind a liquid that takes a quarter of the light, seen through it by `lower` than printed, and where the picture is
    /// cut off; looked for as through so much water.
    fn behind_liquid(
        lower: i32,
        cut_off: &dyn Fn(f64) -> bool,
        by_water: Option<f64>,
    ) -> Option<Clearness> {
        let area = |x, y, w, h| Area { x, y, w, h };
        let (liquid, bay) = (area(45.0, 60.0, 30.0, 58.0), area(10.0, 20.0, 100.0, 100.0));
        let lines = [70.0, 83.0, 97.0].map(|y| area(10.0, y, 100.0, 1.0));
        let mut pixels = Vec::new();
        for y in 0..120 {
            for x in 0..120 {
                let wet = (45..75).contains(&x) && y >= 60;
                let printed = f64::from(if wet { y - lower } else { y });
                let line = lines.iter().any(|l| printed == l.y);
                let paper = if line { 170u8 } else { 200 };
                let grain = ((x * 7 + y * 11) % 3) as u8;
                let level = if wet { paper - paper / 8 } else { paper } + grain;
                let level = if cut_off(f64::from(x)) && y > 60 {
                    255
                } else {
                    level
                };
                pixels.extend([level; 3]);
            }
        }
        let picture = Picture::from_rgb8(120, 120, pixels);
        let place = Place::by_hand(area(5.0, 5.0, 30.0, 30.0), liquid, 120, 120).unwrap();
        let seen = observe(&picture, &place).unwrap();
        let p = bay::of(&picture, &place, &seen, bay);
        clearness(&p, &lines, bay, liquid, by_water)
    }

    /// A patch beside the liquid that is cut off, as where a vial throws the light that it gathers: what is left on the other side is
    /// enough to measure on.
    #[test]
    fn paper_on_one_side_is_enough() {
        let of = |cut_off: &dyn Fn(f64) -> bool| behind_liquid(0, cut_off, Some(0.0));
        let whole = of(&|_| false).unwrap();
        let one_side = of(&|x| (80.0..85.0).contains(&x)).unwrap();
        for c in 0..3 {
            assert!(
                (one_side.share[c] - whole.share[c]).abs() < 0.1,
                "{one_side:?} {whole:?}"
            );
            assert!((0.8..1.2).contains(&whole.share[c]), "{whole:?}");
        }
        assert_eq!(
            of(&|x| (38.0..42.0).contains(&x) || (80.0..85.0).contains(&x)),
            None
        );
    }

    /// What looks like the lines where no water could show them is not they, though a stretch may meet one of the three: too little for
    /// a clear liquid, of which `sight` expects three quarters. Where it is not known how water shows them, it may be they.
    #[test]
    fn lines_are_looked_for_where_water_shows_them() {
        let of = |by_water| behind_liquid(5, &|_| false, by_water).unwrap();
        for by_water in [None, Some(5.0)] {
            let seen = of(by_water);
            assert!((seen.lower - 5.0).abs() < 0.5, "{seen:?}");
            assert!((0.8..1.2).contains(&seen.share[1]), "{seen:?}");
        }
        let elsewhere = of(Some(0.0));
        assert!(elsewhere.share[1] < 0.75, "{elsewhere:?}");
    }
}
