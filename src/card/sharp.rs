//! How sharp the photo is on the card, from the printed edges of its markers.
//!
//! An edge seen through a lens is a soft step; its width is told from the height of the step over its steepest slope (for the
//! normal blur of defocus that is the distance from 10 % to 90 %, within 3 %: 2.51 against 2.56 standard deviations).

use rayon::prelude::*;

use super::design::Tag;
use super::family::CELLS;
use super::find::between;
use crate::light::spot::middle;
use crate::photo::Picture;
use crate::place::Homography;

/// Places along an edge whose profiles are averaged, and the parts of the edge between which they lie: off the corners.
const PLACES: usize = 12;
const ALONG: (f64, f64) = (0.2, 0.8);
/// How far the profile goes to either side of the edge, cells: the next change of black and white lies one cell away.
const REACH: f64 = 0.9;

/// The width of printed edges in the photo, mm on the card: the median over the upright edges of `tags` that are seen, or over the
/// level ones if that is more, since a phone that moves blurs one way. `None` if none is seen.
pub fn edge_mm(picture: &Picture, to_photo: &Homography, tags: &[&Tag]) -> Option<f64> {
    let typical = |sides: [usize; 2]| {
        let widths: Vec<f64> = tags
            .par_iter()
            .flat_map_iter(|tag| {
                sides
                    .into_iter()
                    .filter_map(|side| width(picture, to_photo, tag, side))
            })
            .collect();
        middle(widths)
    };
    match (typical([0, 1]), typical([2, 3])) {
        (Some(upright), Some(level)) => Some(upright.max(level)),
        (one, other) => one.or(other),
    }
}

/// The width of one edge, mm; sides are left, right, top and bottom.
fn width(picture: &Picture, to_photo: &Homography, tag: &Tag, side: usize) -> Option<f64> {
    let a = tag.area();
    let cell = tag.size / CELLS as f64;
    let px_per_mm = to_photo.scale_at(a.centre().0, a.centre().1);
    // Half a pixel apart: what lies between pixels is the blur itself.
    let n = (2.0 * REACH * cell * px_per_mm * 2.0).ceil() as usize;
    if !(8..=4000).contains(&n) {
        return None;
    }
    let step = 2.0 * REACH * cell / n as f64;
    let mut profile = vec![0.0; n + 1];
    for k in 0..PLACES {
        let t = ALONG.0 + (ALONG.1 - ALONG.0) * (k as f64 + 0.5) / PLACES as f64;
        for (i, sum) in profile.iter_mut().enumerate() {
            // From inside the black square outwards.
            let out = -REACH * cell + i as f64 * step;
            let (x, y) = match side {
                0 => (a.x - out, a.y + t * a.h),
                1 => (a.x + a.w + out, a.y + t * a.h),
                2 => (a.x + t * a.w, a.y - out),
                _ => (a.x + t * a.w, a.y + a.h + out),
            };
            let (px, py) = to_photo.map(x, y);
            *sum += light(picture, px, py)? / PLACES as f64;
        }
    }
    let end = (n / 8).max(1);
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let (dark, bright) = (mean(&profile[..end]), mean(&profile[n + 1 - end..]));
    // The slope over a whole pixel, so that its noise does not pass for sharpness.
    let steepest = profile
        .windows(3)
        .map(|w| (w[2] - w[0]) / (2.0 * step))
        .fold(0.0, f64::max);
    (bright > 1.5 * dark && steepest > 0.0).then(|| (bright - dark) / steepest)
}

/// Light at a place between pixels, mean of the channels; `None` outside the photo.
fn light(picture: &Picture, x: f64, y: f64) -> Option<f64> {
    let size = (picture.width() as usize, picture.height() as usize);
    between(size, x, y, |i, j| {
        picture
            .native_linear(i as u32, j as u32)
            .iter()
            .sum::<f64>()
            / 3.0
    })
}

#[cfg(test)]
mod tests {
    use image::imageops::blur;
    use image::{Rgb32FImage, RgbImage};

    use super::*;
    use crate::card::design::Design;
    use crate::card::draw::face_image;
    use crate::colour::{srgb_decode, srgb_encode};

    /// Edges of the card's face at 6 pixels a millimetre, blurred in light by a normal blur of so many pixels.
    fn blurred(pixels: f32) -> f64 {
        edges(|lit| {
            if pixels > 0.0 {
                blur(&lit, pixels)
            } else {
                lit
            }
        })
    }

    /// Edges of the card's face at 6 pixels a millimetre, after what is done to its light.
    fn edges(done: impl Fn(Rgb32FImage) -> Rgb32FImage) -> f64 {
        let design = Design::side();
        let face = face_image(&design, 6.0).unwrap();
        let lit = Rgb32FImage::from_fn(face.width(), face.height(), |x, y| {
            image::Rgb(
                face.get_pixel(x, y)
                    .0
                    .map(|v| srgb_decode(f64::from(v) / 255.0) as f32),
            )
        });
        let lit = done(lit);
        let codes = RgbImage::from_fn(face.width(), face.height(), |x, y| {
            image::Rgb(
                lit.get_pixel(x, y)
                    .0
                    .map(|v| (255.0 * srgb_encode(f64::from(v))) as u8),
            )
        });
        let picture = Picture::from_rgb8(codes.width(), codes.height(), codes.into_raw());
        let to_photo = Homography(nalgebra::Matrix3::from_diagonal(&nalgebra::Vector3::new(
            6.0, 6.0, 1.0,
        )));
        let tags: Vec<&Tag> = design.tags.iter().collect();
        edge_mm(&picture, &to_photo, &tags).unwrap()
    }

    /// The distance from 10 % to 90 % of a normal blur is 2.563 standard deviations (tables of the normal distribution).
    #[test]
    fn blur_is_measured() {
        assert!(blurred(0.0) < 0.35, "{}", blurred(0.0));
        for pixels in [1.5f32, 2.5] {
            let want = 2.563 * f64::from(pixels) / 6.0;
            let got = blurred(pixels);
            assert!((got / want - 1.0).abs() < 0.15, "{got} for {want} mm");
        }
        // Past the width of a cell its neighbour shines in; it still is the more, the worse.
        assert!(blurred(2.5) < blurred(4.0) && blurred(4.0) < blurred(6.0));
    }

    /// A phone that moves by so many pixels while it takes the photo smears what it crosses over them, and no more.
    #[test]
    fn blur_one_way_is_measured() {
        let smeared = |(across, down): (u32, u32)| {
            edges(|lit| {
                let n = across.max(down).max(1);
                Rgb32FImage::from_fn(lit.width(), lit.height(), |x, y| {
                    let mut sum = [0.0; 3];
                    for k in 0..n {
                        let moved = |at: u32, by: u32, size: u32| {
                            (at + k * by.min(1)).saturating_sub(by / 2).min(size - 1)
                        };
                        let i = moved(x, across, lit.width());
                        let j = moved(y, down, lit.height());
                        for (s, v) in sum.iter_mut().zip(lit.get_pixel(i, j).0) {
                            *s += v / n as f32;
                        }
                    }
                    image::Rgb(sum)
                })
            })
        };
        for by in [(10, 0), (0, 10)] {
            let got = smeared(by);
            assert!((got / (10.0 / 6.0) - 1.0).abs() < 0.15, "{got} for {by:?}");
        }
    }
}
