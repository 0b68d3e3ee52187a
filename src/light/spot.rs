//! The mean light over a small area of the photo, with the variance of that mean.

use nalgebra::Vector3;

use crate::photo::Picture;
use crate::place::{Area, Homography};

/// Mean light over an area, in the logarithm of the file's own linear RGB.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// Centre of the area, plane units.
    pub x: f64,
    /// Centre of the area, plane units.
    pub y: f64,
    /// Natural logarithm of the mean linear light, native R, G, B.
    pub ln: Vector3<f64>,
    /// Variance of `ln`, from the spread between blocks of the area, so that correlated pixels do not count as many.
    pub var: Vector3<f64>,
    /// Relative standard deviation of luminance between blocks: texture, edges, dirt.
    pub texture: f64,
    /// Share of pixels with a channel at the top of its range, 0 to 1.
    pub clipped: f64,
    /// Share of pixels with a channel at the bottom of its range, 0 to 1.
    pub crushed: f64,
}

impl Spot {
    /// Whether so much of it is over-exposed that its light is not known.
    pub fn is_blown(&self) -> bool {
        self.clipped >= BLOWN
    }

    /// Whether a channel, 0 to 2 for native R, G and B, is at the top of its range or next to it.
    fn at_top(&self, channel: usize) -> bool {
        self.ln[channel] > NEXT_TO_TOP
    }
}

/// The channels that over-exposed paper is over-exposed in, in words for the end of a sentence; nothing if in all of them.
pub fn blown_in(paper: &[Spot]) -> String {
    let blown: Vec<&Spot> = paper.iter().filter(|s| s.is_blown()).collect();
    let named: Vec<&str> = ["red", "green", "blue"]
        .into_iter()
        .enumerate()
        .filter(|(c, _)| 2 * blown.iter().filter(|s| s.at_top(*c)).count() > blown.len())
        .map(|(_, name)| name)
        .collect();
    match named.as_slice() {
        [] | [_, _, _] => String::new(),
        some => format!(" in {}", some.join(" and ")),
    }
}

/// Natural log of light from which on a channel of an over-exposed spot is next to its top: under it by 5 % of light or less.
const NEXT_TO_TOP: f64 = -0.05;

/// Share of over-exposed pixels from which a spot's light is not known.
const BLOWN: f64 = 0.05;

/// Blocks along one side of an area; their means give the variance of the whole.
const BLOCKS: usize = 4;

/// Least linear light that a logarithm is taken of: half a code of an 8-bit sRGB file (1 / 255 / 12.92 / 2).
pub const DARKEST: f64 = 1.0 / 255.0 / 12.92 / 2.0;

/// Measures the mean light over `area`. At most `max_samples` pixels are looked at, evenly spread.
///
/// `None` if a part of the area lies outside the photo or it is smaller than two pixels.
pub fn measure(
    picture: &Picture,
    to_photo: &Homography,
    area: Area,
    max_samples: usize,
) -> Option<Spot> {
    let (cx, cy) = area.centre();
    let scale = to_photo.scale_at(cx, cy);
    let side_w = (area.w * scale).floor().max(1.0);
    let side_h = (area.h * scale).floor().max(1.0);
    if !scale.is_finite() || side_w < 2.0 || side_h < 2.0 {
        return None;
    }
    let thin = ((side_w * side_h) / max_samples as f64).sqrt().max(1.0);
    let nx = ((side_w / thin) as usize).max(2);
    let ny = ((side_h / thin) as usize).max(2);
    let blocks_x = BLOCKS.min(nx);
    let blocks_y = BLOCKS.min(ny);
    let mut sums = vec![(Vector3::zeros(), 0usize); blocks_x * blocks_y];
    let (mut clipped, mut crushed) = (0usize, 0usize);
    let (width, height) = (f64::from(picture.width()), f64::from(picture.height()));
    for j in 0..ny {
        for i in 0..nx {
            let (px, py) = to_photo.map(
                area.x + area.w * (i as f64 + 0.5) / nx as f64,
                area.y + area.h * (j as f64 + 0.5) / ny as f64,
            );
            if !(px >= 0.0 && py >= 0.0 && px < width && py < height) {
                return None;
            }
            let (px, py) = (px as u32, py as u32);
            let block = (j * blocks_y / ny) * blocks_x + i * blocks_x / nx;
            sums[block].0 += Vector3::from(picture.native_linear(px, py));
            sums[block].1 += 1;
            clipped += usize::from(picture.clipped(px, py));
            crushed += usize::from(picture.crushed(px, py));
        }
    }
    let means: Vec<Vector3<f64>> = sums
        .iter()
        .filter(|s| s.1 > 0)
        .map(|s| s.0 / s.1 as f64)
        .collect();
    Some(summarise(
        &means,
        cx,
        cy,
        clipped as f64 / (nx * ny) as f64,
        crushed as f64 / (nx * ny) as f64,
    ))
}

/// Noise of single pixels about a place of the photo, share of the light there: from differences of neighbours, which neither
/// slopes of light nor texture coarser than pixels enter. `None` at the rim of the photo.
pub fn noise(picture: &Picture, (x, y): (f64, f64)) -> Option<f64> {
    const HALF: f64 = 6.0;
    let fits = x >= HALF
        && y >= HALF
        && x + HALF + 1.0 < f64::from(picture.width())
        && y + HALF < f64::from(picture.height());
    if !fits {
        return None;
    }
    let luminance = |i: u32, j: u32| picture.native_linear(i, j).iter().sum::<f64>() / 3.0;
    let (x0, y0, side) = ((x - HALF) as u32, (y - HALF) as u32, 2 * HALF as u32);
    let (mut sum, mut squares) = (0.0, 0.0);
    for j in y0..y0 + side {
        for i in x0..x0 + side {
            let (a, b) = (luminance(i, j), luminance(i + 1, j));
            sum += a;
            squares += (b - a).powi(2) / 2.0;
        }
    }
    let n = f64::from(side * side);
    Some((squares / n).sqrt() / (sum / n).max(DARKEST))
}

/// A speck, a hair or a printed line spoils some blocks: blocks far from the median luminance are left out.
fn summarise(means: &[Vector3<f64>], x: f64, y: f64, clipped: f64, crushed: f64) -> Spot {
    let luminance = |m: &Vector3<f64>| m.sum() / 3.0;
    let mut sorted: Vec<f64> = means.iter().map(luminance).collect();
    let middle = median(&mut sorted);
    let mut off: Vec<f64> = means
        .iter()
        .map(|m| (luminance(m) - middle).abs())
        .collect();
    // 1.4826: median absolute deviation to standard deviation of a normal distribution.
    let sigma = 1.4826 * median(&mut off);
    let limit = 3.5 * sigma + 1e-3 * middle;
    let kept: Vec<&Vector3<f64>> = means
        .iter()
        .filter(|m| (luminance(m) - middle).abs() <= limit)
        .collect();
    let n = kept.len() as f64;
    let mean = kept.iter().copied().sum::<Vector3<f64>>() / n;
    let safe = mean.map(|v| v.max(DARKEST));
    let spread = kept
        .iter()
        .map(|m| (*m - mean).component_div(&safe).map(|v| v * v))
        .sum::<Vector3<f64>>();
    let var = spread / ((n - 1.0).max(1.0) * n);
    let all_mean = sorted.iter().sum::<f64>() / sorted.len() as f64;
    let all_var = sorted.iter().map(|v| (v - all_mean).powi(2)).sum::<f64>() / sorted.len() as f64;
    Spot {
        x,
        y,
        ln: safe.map(f64::ln),
        var,
        texture: all_var.sqrt() / all_mean.max(DARKEST),
        clipped,
        crushed,
    }
}

/// The mean of what is there; `None` if nothing is.
pub(crate) fn mean(values: impl Iterator<Item = Option<f64>>) -> Option<f64> {
    let there: Vec<f64> = values.flatten().collect();
    (!there.is_empty()).then(|| there.iter().sum::<f64>() / there.len() as f64)
}

/// The median of what there is; `None` of nothing.
pub(crate) fn middle(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let mut there: Vec<f64> = values.into_iter().collect();
    (!there.is_empty()).then(|| median(&mut there))
}

/// The median; sorts its argument. NaN for an empty slice.
pub(crate) fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    values.sort_by(f64::total_cmp);
    let m = values.len() / 2;
    if values.len() % 2 == 1 {
        values[m]
    } else {
        (values[m - 1] + values[m]) / 2.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What paper of one colour is over-exposed in.
    fn blown(colour: [u8; 3]) -> String {
        let picture = Picture::from_rgb8(20, 20, colour.repeat(400));
        let area = Area {
            x: 2.0,
            y: 2.0,
            w: 16.0,
            h: 16.0,
        };
        let spot = measure(&picture, &Homography::identity(), area, 100).expect("in the picture");
        blown_in(&[spot])
    }

    #[test]
    fn the_channels_at_their_top_are_named() {
        assert_eq!(blown([228, 236, 255]), " in blue");
        assert_eq!(blown([254, 254, 216]), " in red and green");
        assert_eq!(blown([255, 255, 255]), "");
        assert_eq!(blown([200, 200, 200]), "");
    }
}
