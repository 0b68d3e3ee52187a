//! The colour of the liquid: a robust mean over blocks of the vial's middle band, with the covariance of that mean.
//!
//! Blocks, not pixels, are the unit: neighbouring pixels share demosaicking, noise reduction and compression, so a
//! pixel count would promise too much. Within a row of blocks the bright ones carry reflections; the darker ones are kept.

use nalgebra::{Matrix3, Vector3};

use super::above::Disc;
use super::aside::{self, Aside};
use super::bay::{BayPicture, ENDS};
use super::lens::Across;
use crate::light::Level;
use crate::light::correct::Correction;
use crate::light::spot::median;
use crate::place::Area;

/// The colour of the liquid against paper.
#[derive(Debug, Clone, PartialEq)]
pub struct Sampled {
    /// Natural log of linear BT.2020 light relative to paper, corrected.
    pub ln: Vector3<f64>,
    /// How far the correction moved that mean, natural log.
    pub moved: Vector3<f64>,
    /// Covariance of that mean from the spread between blocks.
    pub covariance: Matrix3<f64>,
    /// Blocks that were averaged.
    pub blocks: usize,
    /// Blocks that were looked at.
    pub looked_at: usize,
    /// Share of blocks left out for reflections, bubbles or clipped pixels, 0 to 1; those on a line of the card do not count.
    pub rejected: f64,
    /// Difference of the upper third from the lower third (from above: left from right), natural log.
    pub ends_differ: Vector3<f64>,
    /// Standard deviation between kept blocks, natural log, the largest over channels.
    pub roughness: f64,
    /// Share of blocks in which red, green and blue of the file are crushed to nothing, 0 to 1 each.
    pub crushed: [f64; 3],
    /// How the light runs across a vial that stands.
    pub across: Option<Across>,
    /// How much light a vial that stands throws aside.
    pub aside: Option<Aside>,
    /// Where the kept blocks lie.
    pub kept: Vec<Area>,
}

/// Half width of the sampled band in parts of the vial's outer width: the path through a cylinder differs there by
/// less than 1 - sqrt(1 - (2 x 0.3)^2) = 20 % from that through its axis, and on average by 6 %.
const BAND: f64 = 0.3;
/// Rows and columns of blocks.
const ROWS: usize = 12;
const COLUMNS: usize = 7;
/// Share of the radius of a disc of liquid that is sampled: away from wall, base and what they reflect.
const DISC_CORE: f64 = 0.55;
/// Blocks across a disc's core.
const DISC_BLOCKS: usize = 9;
/// Share of blocks in a row that is kept, the darker ones.
const DARKER: f64 = 0.6;

/// Samples a vial that stands upright between the outlines of `liquid`, or any `liquid` marked by hand.
/// `None` if nothing is left to sample.
pub fn sample(
    p: &BayPicture,
    liquid: Area,
    standing: bool,
    correction: &Correction,
) -> Option<Sampled> {
    let (band, ends) = if standing {
        (BAND * liquid.w, ENDS * liquid.h)
    } else {
        (0.5 * liquid.w, 0.0)
    };
    let axis = liquid.x + liquid.w / 2.0;
    let core = Area {
        x: axis - band,
        y: liquid.y + ends,
        w: 2.0 * band,
        h: liquid.h - 2.0 * ends,
    };
    let (nx, ny) = (
        COLUMNS.min((core.w / p.step) as usize),
        ROWS.min((core.h / p.step) as usize),
    );
    if nx == 0 || ny == 0 {
        return None;
    }
    let block_at = |i: usize, j: usize| Area {
        x: core.x + core.w * i as f64 / nx as f64,
        y: core.y + core.h * j as f64 / ny as f64,
        w: core.w / nx as f64,
        h: core.h / ny as f64,
    };
    let rows: Vec<Vec<Area>> = (0..ny)
        .map(|j| (0..nx).map(|i| block_at(i, j)).collect())
        .collect();
    Some(Sampled {
        across: standing.then(|| Across::of(p, liquid)).flatten(),
        aside: standing.then(|| aside::of(p, liquid)).flatten(),
        ..of_groups(p, &rows, correction)?
    })
}

/// Samples a disc of liquid seen from above: columns of blocks in its core, left to right.
/// `None` if nothing is left to sample.
pub fn sample_disc(p: &BayPicture, liquid: &Disc, correction: &Correction) -> Option<Sampled> {
    let core = Disc {
        r: DISC_CORE * liquid.r,
        ..*liquid
    };
    let side = (2.0 * core.r / DISC_BLOCKS as f64).max(p.step);
    let n = (2.0 * core.r / side + 1e-9).floor() as usize;
    let start = -0.5 * n as f64 * side;
    let columns: Vec<Vec<Area>> = (0..n)
        .map(|i| {
            (0..n)
                .map(|j| Area {
                    x: core.x + start + i as f64 * side,
                    y: core.y + start + j as f64 * side,
                    w: side,
                    h: side,
                })
                .filter(|a| core.contains(a.centre().0, a.centre().1))
                .collect()
        })
        .collect();
    of_groups(p, &columns, correction)
}

/// The robust mean over blocks. Blocks of one group share light and reflections; the first and last third of the groups
/// tell how even the liquid is.
fn of_groups(p: &BayPicture, groups: &[Vec<Area>], correction: &Correction) -> Option<Sampled> {
    let ny = groups.len();
    let (mut looked_at, mut crushed) = (0usize, [0usize; 3]);
    let mut kept: Vec<Block> = Vec::new();
    for (j, group) in groups.iter().enumerate() {
        let mut row = Vec::new();
        for area in group {
            looked_at += 1;
            if let Some(level) = block(p, *area) {
                for (count, seen) in crushed.iter_mut().zip(level.seen.iter()) {
                    *count += usize::from(*seen <= CRUSHED_LN);
                }
                let ln = correction.apply_to_liquid(&level);
                row.push(Block {
                    group: j,
                    ln,
                    moved: ln - correction.unmoved(&level),
                    area: *area,
                });
            }
        }
        // By light, not by its logarithm, in which the noise of a channel that a deep colour leaves no light in would choose.
        let light = |b: &Block| b.ln.map(f64::exp).sum();
        row.sort_by(|a, b| light(a).total_cmp(&light(b)));
        let n = ((group.len() as f64 * DARKER).round() as usize).clamp(1, row.len().max(1));
        kept.extend(row.into_iter().take(n));
    }
    let (kept, on_lines) = without_outliers(kept);
    if kept.is_empty() {
        return None;
    }
    let n = kept.len() as f64;
    let usable = n + on_lines as f64;
    let mean = kept.iter().map(|k| k.ln).sum::<Vector3<f64>>() / n;
    let scatter = kept
        .iter()
        .map(|k| (k.ln - mean) * (k.ln - mean).transpose())
        .sum::<Matrix3<f64>>()
        / (n - 1.0).max(1.0);
    // Blocks of one row share the row's light and reflections: the rows are what is independent.
    let used_rows = (0..ny)
        .filter(|j| kept.iter().any(|k| k.group == *j))
        .count()
        .max(1);
    let third = |range: std::ops::Range<usize>| {
        let part: Vec<&Vector3<f64>> = kept
            .iter()
            .filter(|k| range.contains(&k.group))
            .map(|k| &k.ln)
            .collect();
        (!part.is_empty()).then(|| part.iter().copied().sum::<Vector3<f64>>() / part.len() as f64)
    };
    let ends_differ = match (third(0..ny / 3), third(ny - ny / 3..ny)) {
        (Some(a), Some(b)) => a - b,
        _ => Vector3::zeros(),
    };
    Some(Sampled {
        ln: mean,
        moved: kept.iter().map(|k| k.moved).sum::<Vector3<f64>>() / n,
        covariance: scatter / used_rows as f64,
        blocks: kept.len(),
        looked_at,
        rejected: 1.0 - usable / (looked_at as f64 * DARKER).max(usable),
        ends_differ,
        roughness: scatter.diagonal().max().sqrt(),
        crushed: crushed.map(|c| c as f64 / looked_at as f64),
        across: None,
        aside: None,
        kept: kept.into_iter().map(|k| k.area).collect(),
    })
}

/// Natural log of linear light at or under which a channel is crushed: three codes of an 8-bit sRGB file
/// (3 / 255 / 12.92), since a mean over a block of noisy zeros lies a little above zero.
const CRUSHED_LN: f64 = -7.0;

/// Mean level of a block; `None` if a third of it is clipped.
fn block(p: &BayPicture, area: Area) -> Option<Level> {
    let (i0, i1) = (p.column(area.x), p.column(area.x + area.w - 1e-9));
    let (j0, j1) = (p.row(area.y), p.row(area.y + area.h - 1e-9));
    let (mut seen, mut white, mut n, mut clipped) =
        (Vector3::zeros(), Vector3::zeros(), 0usize, 0usize);
    for j in j0..=j1 {
        for i in i0..=i1 {
            if p.clipped(i, j) {
                clipped += 1;
                continue;
            }
            let level = p.level(i, j);
            seen += level.seen.map(f64::exp);
            white += level.white;
            n += 1;
        }
    }
    (n > 0 && clipped * 3 <= n + clipped).then(|| Level {
        seen: (seen / n as f64).map(f64::ln),
        white: white / n as f64,
    })
}

/// What is seen of a liquid in a small area.
struct Block {
    /// Which of the groups it belongs to.
    group: usize,
    /// Natural log of light, corrected.
    ln: Vector3<f64>,
    /// How far the correction moved that.
    moved: Vector3<f64>,
    area: Area,
}

/// A line of the card makes a block behind which it runs darker by less than this, in all channels: natural log; a line of 0.4 mm with
/// four fifths of the paper's light, in a block of a millimetre.
const LINE: f64 = 0.1;

/// Leaves out blocks far from the median colour: a bubble, a drop on the glass, the rest of a reflection; and tells how many of them
/// a line of the card explains.
fn without_outliers(kept: Vec<Block>) -> (Vec<Block>, usize) {
    let middle =
        Vector3::from_fn(|c, _| median(&mut kept.iter().map(|k| k.ln[c]).collect::<Vec<_>>()));
    let distance = |v: &Vector3<f64>| (v - middle).amax();
    let sigma = 1.4826 * median(&mut kept.iter().map(|k| distance(&k.ln)).collect::<Vec<_>>());
    // Half a per cent is the texture of paper seen through clear liquid.
    let limit = 3.0 * sigma.max(0.005);
    let (kept, far): (Vec<Block>, Vec<Block>) =
        kept.into_iter().partition(|k| distance(&k.ln) <= limit);
    let on_line = |k: &&Block| (k.ln - middle).max() < 0.0 && distance(&k.ln) < LINE;
    let on_lines = far.iter().filter(on_line).count();
    (kept, on_lines)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::observe;
    use crate::photo::Picture;
    use crate::place::Place;
    use crate::vial::bay;

    /// In a picture without any noise, the card's lines behind the liquid stand out; a reflection over most of it does too.
    #[test]
    fn lines_of_the_card_are_no_reflections() {
        let area = |x, y, w, h| Area { x, y, w, h };
        let liquid = area(50.0, 40.0, 50.0, 110.0);
        let rejected = |level: fn(u32, u32) -> u8| {
            let at = |i: u32| [level(i % 160, i / 160); 3];
            let pixels = (0..160 * 160).flat_map(at).collect();
            let picture = Picture::from_rgb8(160, 160, pixels);
            let place = Place::by_hand(area(5.0, 5.0, 40.0, 30.0), liquid, 160, 160).unwrap();
            let seen = observe(&picture, &place).unwrap();
            let p = bay::of(&picture, &place, &seen, area(45.0, 35.0, 60.0, 120.0));
            let sampled = sample(&p, liquid, true, &Correction::none(seen.to_working)).unwrap();
            sampled.rejected
        };
        assert!(rejected(|_, _| 200) < 0.1);
        let lined = |x, y| {
            if x >= 50 && y >= 40 && y % 21 < 2 {
                185
            } else {
                200
            }
        };
        assert!(rejected(lined) < 0.1);
        let glare = rejected(|x, y| if x >= 50 && y < 88 { 225 } else { 200 });
        assert!(glare > 0.4, "{glare}");
    }
}
