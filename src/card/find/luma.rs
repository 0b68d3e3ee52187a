//! The picture that finding works on: luma, read pixel by pixel, and its reduction.
//!
//! Coordinates are continuous: pixel (i, j) covers the unit square from (i, j), its centre is at (i + 0.5, j + 0.5).

use image::GrayImage;

use super::plane::Point;

/// A picture whose encoded luma (0 to 255) can be read pixel by pixel: only what is touched need be computed.
pub trait Luma {
    /// Width and height, pixels.
    fn size(&self) -> (usize, usize);
    /// Luma of pixel (x, y), which lies inside.
    fn at(&self, x: usize, y: usize) -> u8;
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
    let (width, height) = picture.size();
    let (x, y) = (p.x - 0.5, p.y - 0.5);
    if !(x >= 0.0 && y >= 0.0 && x < (width - 1) as f64 && y < (height - 1) as f64) {
        return None;
    }
    let (i, j) = (x as usize, y as usize);
    let (a, b) = (x - i as f64, y - j as f64);
    let v = |i, j| f64::from(picture.at(i, j));
    Some(
        (v(i, j) * (1.0 - a) + v(i + 1, j) * a) * (1.0 - b)
            + (v(i, j + 1) * (1.0 - a) + v(i + 1, j + 1) * a) * b,
    )
}

/// The picture reduced by averaging squares of `factor` x `factor` pixels; an incomplete last row or column is left out.
pub fn reduce(picture: &impl Luma, factor: usize) -> GrayImage {
    let (width, height) = picture.size();
    let (w, h) = (width / factor, height / factor);
    let round = (factor * factor / 2) as u32;
    let mut data = Vec::with_capacity(w * h);
    let mut sums = vec![0u32; w];
    for j in 0..h {
        sums.fill(round);
        for y in j * factor..(j + 1) * factor {
            for (i, sum) in sums.iter_mut().enumerate() {
                for x in i * factor..(i + 1) * factor {
                    *sum += u32::from(picture.at(x, y));
                }
            }
        }
        data.extend(sums.iter().map(|s| (s / (factor * factor) as u32) as u8));
    }
    GrayImage::from_raw(w as u32, h as u32, data).unwrap_or_default()
}
