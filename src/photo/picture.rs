//! The upright picture: encoded samples as they came from the file, turned into linear light pixel by pixel on demand.
//!
//! It never holds a linear copy of a whole photo: twelve megapixels in floating point would be 300 MB. Each channel
//! goes through a table with one entry a code value (the tone curve of the file's profile) and then through one 3 x 3
//! matrix into the working space: linear light, primaries of ITU-R BT.2020-2 (system colorimetry), white D65.

use std::sync::Arc;

use image::{GrayImage, RgbImage};
use rayon::prelude::*;

use super::profile::{ColourSpace, WORKING_TO_SRGB, multiply};
use crate::colour::{CameraRgb, srgb_encode};

/// Red, green, blue, interleaved, row by row from the top left.
#[derive(Debug, Clone)]
pub(super) enum Samples {
    Eight(Vec<u8>),
    Sixteen(Vec<u16>),
}

/// Luma of the three samples of a pixel, 0 to 255: weights of ITU-R BT.601, as JFIF uses them, in 1/256
/// (77 + 150 + 29 = 256).
fn luma([r, g, b]: [u32; 3]) -> u32 {
    (77 * r + 150 * g + 29 * b + 128) >> 8
}

/// Most rows of a square: their sum of 8-bit samples still fits 16 bits, of which a processor adds twice as many at once.
const MOST_ROWS: usize = 257;

/// Luma of squares of `factor` x `factor` pixels, row by row. Where a side of the
/// picture is shorter, so is that of the squares. `shift` makes 8-bit samples of them.
fn reduced<T: Copy + Into<u16> + Sync>(
    samples: &[T],
    shift: u32,
    (width, height): (usize, usize),
    factor: usize,
) -> GrayImage {
    let [wide, high] = [width, height].map(|side| factor.clamp(1, side.clamp(1, MOST_ROWS)));
    let (across, down, row) = (width / wide, height / high, 3 * width);
    let all = (wide * high) as u32;
    let mut out = vec![0u8; across * down];
    out.par_chunks_mut(across.max(1)).enumerate().for_each_init(
        || vec![0u16; row],
        |sums, (j, to)| {
            // Rows first: that goes through memory in order, many samples at a time.
            let rows = &samples[j * high * row..(j + 1) * high * row];
            sums.fill(0);
            for row in rows.chunks_exact(row) {
                for (sum, &v) in sums.iter_mut().zip(row) {
                    *sum += v.into() >> shift;
                }
            }
            for (to, square) in to.iter_mut().zip(sums.chunks_exact(3 * wide)) {
                let mut rgb = [0u32; 3];
                for pixel in square.chunks_exact(3) {
                    for (sum, v) in rgb.iter_mut().zip(pixel) {
                        *sum += u32::from(*v);
                    }
                }
                *to = luma(rgb.map(|v| (v + all / 2) / all)) as u8;
            }
        },
    );
    GrayImage::from_raw(across as u32, down as u32, out).expect("one sample a pixel")
}

/// An upright picture, its samples still encoded; linear light is computed for the pixels that are asked for.
///
/// Methods that take a pixel want `x < width` and `y < height`, and panic otherwise.
#[derive(Debug, Clone)]
pub struct Picture {
    width: u32,
    height: u32,
    samples: Samples,
    /// Linear light of each code value, one table a channel; channels with the same curve share it.
    curves: [Arc<[f64]>; 3],
    to_working: [[f64; 3]; 3],
    is_srgb: bool,
}

impl Picture {
    /// A picture of sRGB samples (IEC 61966-2-1), 8 bit, interleaved.
    ///
    /// # Panics
    /// If `rgb` does not hold `3 * width * height` samples.
    pub fn from_rgb8(width: u32, height: u32, rgb: Vec<u8>) -> Picture {
        Picture::new(width, height, Samples::Eight(rgb), &ColourSpace::srgb())
    }

    /// A picture of samples in the given colour space.
    pub(super) fn new(width: u32, height: u32, samples: Samples, space: &ColourSpace) -> Picture {
        let (len, codes) = match &samples {
            Samples::Eight(s) => (s.len(), 256),
            Samples::Sixteen(s) => (s.len(), 65536),
        };
        assert_eq!(
            len as u64,
            3 * u64::from(width) * u64::from(height),
            "three samples a pixel"
        );
        Picture {
            width,
            height,
            samples,
            curves: space.tables(codes),
            to_working: space.to_working,
            is_srgb: space.is_srgb,
        }
    }

    /// Width of the upright picture, pixels.
    pub fn width(&self) -> u32 {
        self.width
    }

    /// Height of the upright picture, pixels.
    pub fn height(&self) -> u32 {
        self.height
    }

    /// The code values of one pixel.
    #[inline(always)]
    fn codes(&self, x: u32, y: u32) -> [u16; 3] {
        assert!(
            x < self.width && y < self.height,
            "pixel {x},{y} outside {} x {}",
            self.width,
            self.height
        );
        let at = 3 * (y as usize * self.width as usize + x as usize);
        match &self.samples {
            Samples::Eight(s) => [s[at].into(), s[at + 1].into(), s[at + 2].into()],
            Samples::Sixteen(s) => [s[at], s[at + 1], s[at + 2]],
        }
    }

    /// The highest code value: 255 or 65535.
    fn top(&self) -> u16 {
        match self.samples {
            Samples::Eight(_) => 255,
            Samples::Sixteen(_) => 65535,
        }
    }

    /// Linear light of one pixel in the working space. Colours outside BT.2020 are clamped at 0.
    pub fn linear(&self, x: u32, y: u32) -> CameraRgb {
        CameraRgb(multiply(&self.to_working, self.native_linear(x, y)).map(|v| v.max(0.0)))
    }

    /// Linear light of one pixel in the file's own primaries, 0 to 1, before the matrix: the camera's own tone curve
    /// acted on each of these channels.
    pub fn native_linear(&self, x: u32, y: u32) -> [f64; 3] {
        self.light_of(self.codes(x, y))
    }

    /// [`native_linear`](Self::native_linear) and [`clipped`](Self::clipped) of one pixel in one look.
    #[inline(always)]
    pub fn light(&self, x: u32, y: u32) -> ([f64; 3], bool) {
        let codes = self.codes(x, y);
        (self.light_of(codes), self.at_top(codes))
    }

    #[inline(always)]
    fn light_of(&self, codes: [u16; 3]) -> [f64; 3] {
        [0, 1, 2].map(|i| self.curves[i][usize::from(codes[i])])
    }

    #[inline(always)]
    fn at_top(&self, codes: [u16; 3]) -> bool {
        let limit = (u32::from(self.top()) * 254 / 255) as u16;
        codes.iter().any(|&c| c >= limit)
    }

    /// The matrix from [`native_linear`](Self::native_linear) to the working space, rows first:
    /// `working[i] = sum over j of m[i][j] * native[j]`.
    pub fn to_working(&self) -> [[f64; 3]; 3] {
        self.to_working
    }

    /// The encoded values of one pixel as in the file, 0 to 1 (after conversion, if the file's profile is table-based).
    pub fn encoded(&self, x: u32, y: u32) -> [f64; 3] {
        let top = f64::from(self.top());
        self.codes(x, y).map(|c| f64::from(c) / top)
    }

    /// Whether a channel of the pixel is at the top of its range (from 254/255 of it): its light was at least that, and
    /// is not known. One code below the top counts, because chroma filtering and JPEG blur the top by a code.
    pub fn clipped(&self, x: u32, y: u32) -> bool {
        self.at_top(self.codes(x, y))
    }

    /// Whether a channel of the pixel is at the bottom of its range (up to 1/255 of it): its light was at most that, and
    /// is not known. One code above the bottom counts, for the same reason as in [`clipped`](Self::clipped).
    pub fn crushed(&self, x: u32, y: u32) -> bool {
        let limit = self.top() / 255;
        self.codes(x, y).iter().any(|&c| c <= limit)
    }

    /// Encoded luma of one pixel, 8 bit: for finding shapes, not for colour.
    pub fn luma_at(&self, x: u32, y: u32) -> u8 {
        let shift = if self.top() > 255 { 8 } else { 0 };
        luma(self.codes(x, y).map(|c| u32::from(c >> shift))) as u8
    }

    /// Encoded luma, 8 bit, full size: for finding shapes, not for colour.
    pub fn luma(&self) -> GrayImage {
        self.luma_reduced(1)
    }

    /// Encoded luma averaged over squares of `factor` x `factor` pixels. The right and bottom edge that fill no whole
    /// square are dropped (a picture smaller than one square becomes one pixel): pixel `(x, y)` covers
    /// `factor * x .. factor * (x + 1)` of the full picture.
    pub fn luma_reduced(&self, factor: u32) -> GrayImage {
        let size = (self.width as usize, self.height as usize);
        match &self.samples {
            Samples::Eight(s) => reduced(s, 0, size, factor as usize),
            Samples::Sixteen(s) => reduced(s, 8, size, factor as usize),
        }
    }

    /// The picture as 8-bit sRGB for showing; colours outside sRGB are clamped.
    pub fn srgb8(&self) -> RgbImage {
        let out = match &self.samples {
            Samples::Eight(s) if self.is_srgb => s.clone(),
            _ => {
                // 4096 steps keep every 8-bit code apart but the lowest few, whose steps are 1.2 entries wide.
                const STEPS: usize = 4096;
                let codes: Vec<u8> = (0..=STEPS)
                    .map(|i| (srgb_encode(i as f64 / STEPS as f64) * 255.0).round() as u8)
                    .collect();
                let width = self.width as usize;
                let mut out = vec![0u8; 3 * width * self.height as usize];
                out.par_chunks_mut((3 * width).max(1))
                    .enumerate()
                    .for_each(|(y, row)| {
                        for (x, to) in row.chunks_exact_mut(3).enumerate() {
                            let rgb = multiply(&WORKING_TO_SRGB, self.linear(x as u32, y as u32).0);
                            for (to, v) in to.iter_mut().zip(rgb) {
                                *to = codes[(v.clamp(0.0, 1.0) * STEPS as f64).round() as usize];
                            }
                        }
                    });
                out
            }
        };
        RgbImage::from_raw(self.width, self.height, out).expect("three samples a pixel")
    }
}
