//! The picture that finding works on: luma, read pixel by pixel, and its reduction.
//!
//! Coordinates are continuous: pixel (i, j) covers the unit square from (i, j), its centre is at (i + 0.5, j + 0.5).

use std::sync::LazyLock;

use image::GrayImage;

use super::plane::Point;
use crate::colour::srgb_decode;
use crate::photo::Picture;

/// A picture whose encoded luma (0 to 255) can be read pixel by pixel: only what is touched need be computed.
pub trait Luma: Sync {
    /// Width and height, pixels.
    fn size(&self) -> (usize, usize);
    /// Luma of pixel (x, y), which lies inside.
    fn at(&self, x: usize, y: usize) -> u8;

    /// The picture reduced by averaging squares of `factor` x `factor` pixels; an incomplete last row or column is left out.
    fn reduced(&self, factor: usize) -> GrayImage {
        let (width, height) = self.size();
        let (w, h) = (width / factor, height / factor);
        let all = factor * factor;
        let mut data = Vec::with_capacity(w * h);
        let mut sums = vec![0; w];
        for j in 0..h {
            sums.fill((all / 2) as u32);
            for y in j * factor..(j + 1) * factor {
                for (i, sum) in sums.iter_mut().enumerate() {
                    for x in i * factor..(i + 1) * factor {
                        *sum += u32::from(self.at(x, y));
                    }
                }
            }
            data.extend(sums.iter().map(|s| (s / all as u32) as u8));
        }
        GrayImage::from_raw(w as u32, h as u32, data).unwrap_or_default()
    }
}

impl Luma for Picture {
    fn size(&self) -> (usize, usize) {
        (self.width() as usize, self.height() as usize)
    }

    fn at(&self, x: usize, y: usize) -> u8 {
        self.luma_at(x as u32, y as u32)
    }

    fn reduced(&self, factor: usize) -> GrayImage {
        self.luma_reduced(factor as u32)
    }
}

impl Luma for GrayImage {
    fn size(&self) -> (usize, usize) {
        (self.width() as usize, self.height() as usize)
    }

    fn at(&self, x: usize, y: usize) -> u8 {
        self.as_raw()[y * self.width() as usize + x]
    }
}

/// The luma at a point, bilinear between pixel centres; `None` outside the outermost centres.
pub(super) fn sample(picture: &impl Luma, p: Point) -> Option<f64> {
    bilinear(picture, p, f64::from)
}

/// As [`sample`], but of the light behind the luma (0 to 1), by the sRGB curve (IEC 61966-2-1): a phone's own tone curve
/// differs, but less than no curve at all.
pub(super) fn light(picture: &impl Luma, p: Point) -> Option<f64> {
    static LIGHT: LazyLock<[f64; 256]> =
        LazyLock::new(|| std::array::from_fn(|v| srgb_decode(v as f64 / 255.0)));
    let table = &*LIGHT;
    bilinear(picture, p, |v| table[usize::from(v)])
}

fn bilinear(picture: &impl Luma, p: Point, value: impl Fn(u8) -> f64) -> Option<f64> {
    between(picture.size(), p.x, p.y, |i, j| value(picture.at(i, j)))
}

/// What lies at a point of a picture of so many pixels across and down, bilinear between pixel centres; `at` tells what lies at the
/// centre of pixel (i, j). `None` outside the outermost centres.
pub(in crate::card) fn between(
    (width, height): (usize, usize),
    x: f64,
    y: f64,
    at: impl Fn(usize, usize) -> f64,
) -> Option<f64> {
    let (x, y) = (x - 0.5, y - 0.5);
    // Written so that a coordinate that is no number is outside too.
    let inside = x >= 0.0 && y >= 0.0 && x + 1.0 < width as f64 && y + 1.0 < height as f64;
    if !inside {
        return None;
    }
    let (i, j) = (x as usize, y as usize);
    let (a, b) = (x - i as f64, y - j as f64);
    Some(
        (at(i, j) * (1.0 - a) + at(i + 1, j) * a) * (1.0 - b)
            + (at(i, j + 1) * (1.0 - a) + at(i + 1, j + 1) * a) * b,
    )
}
