//! Photos of a card made from nothing but its design: exact pinhole geometry, so that the truth is known.
//!
//! Shares no code with the finder but the table of code words. Light is linear until the very end: fall-off, shadow and
//! blur act on reflectance, noise on the sensor signal, then the sRGB curve and 8 bits.

use crate::srgb::encode;
use image::GrayImage;
use nalgebra::{Matrix3, Rotation3, Vector3};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use rayon::prelude::*;
use tintwell::card::design::{Design, Tag};
use tintwell::card::family;
use tintwell::place::Area;

type Cells = [[bool; family::CELLS]; family::CELLS];

/// Where a card stands before the camera.
#[derive(Debug, Clone, Copy)]
pub struct Pose {
    /// Angle between the card's normal and the optical axis, degrees.
    pub tilt: f64,
    /// Direction of the tilt on the card, degrees.
    pub towards: f64,
    /// Rotation in the picture, degrees.
    pub roll: f64,
    /// Part of the picture's longest side that the card's width spans at the distance of its centre.
    pub span: f64,
    /// Shift of the card's centre from the middle of the picture, parts of the longest side.
    pub shift: (f64, f64),
}

/// Everything about a photo.
#[derive(Debug, Clone)]
pub struct Scene {
    pub width: u32,
    pub height: u32,
    pub cards: Vec<(Design, Pose)>,
    /// Things lying over every card, mm on it, with their reflectance.
    pub covers: Vec<(Area, f64)>,
    /// Exposure: signal of a white of reflectance one, 1 = full scale.
    pub light: f64,
    /// Haze added to the signal: lowers the contrast.
    pub haze: f64,
    /// Light at the left and at the right edge, as parts of `light`.
    pub falloff: (f64, f64),
    /// A shadow right of a slanted line through the picture's middle: what is left of the light there.
    pub shadow: Option<f64>,
    /// Standard deviation of the blur, pixels.
    pub blur: f64,
    /// Standard deviation of the noise, parts of full scale, in the dark; shot noise comes on top in proportion.
    pub noise: f64,
    /// Sagitta by which the card is bent like a cylinder about its upright middle line, mm.
    pub bend: f64,
    /// Number of things lying about.
    pub clutter: usize,
    /// Reflectance of black ink.
    pub black: f64,
    pub seed: u64,
}

impl Scene {
    pub fn of(design: Design, width: u32, height: u32, pose: Pose) -> Scene {
        Scene {
            width,
            height,
            cards: vec![(design, pose)],
            covers: Vec::new(),
            light: 0.75,
            haze: 0.0,
            falloff: (1.0, 0.8),
            shadow: None,
            blur: 0.6,
            noise: 0.004,
            bend: 0.0,
            clutter: 40,
            black: 0.05,
            seed: 1,
        }
    }

    /// From card millimetres to picture pixels for the n-th card.
    pub fn truth(&self, n: usize) -> Matrix3<f64> {
        let (design, pose) = &self.cards[n];
        let (camera, turn, place) = self.camera(design, pose);
        let centred = Matrix3::new(
            1.0,
            0.0,
            -design.width_mm / 2.0,
            0.0,
            1.0,
            -design.height_mm / 2.0,
            0.0,
            0.0,
            1.0,
        );
        let mut plane = Matrix3::zeros();
        plane.set_column(0, &turn.matrix().column(0));
        plane.set_column(1, &turn.matrix().column(1));
        plane.set_column(2, &place);
        camera * plane * centred
    }

    fn camera(&self, design: &Design, pose: &Pose) -> (Matrix3<f64>, Rotation3<f64>, Vector3<f64>) {
        let longest = f64::from(self.width.max(self.height));
        // A 26 mm lens in terms of a frame 36 mm wide.
        let focal = 0.722 * longest;
        let distance = focal * design.width_mm / (pose.span * longest);
        let camera = Matrix3::new(
            focal,
            0.0,
            f64::from(self.width) / 2.0,
            0.0,
            focal,
            f64::from(self.height) / 2.0,
            0.0,
            0.0,
            1.0,
        );
        let axis = nalgebra::Unit::new_normalize(Vector3::new(
            pose.towards.to_radians().cos(),
            pose.towards.to_radians().sin(),
            0.0,
        ));
        let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), pose.roll.to_radians())
            * Rotation3::from_axis_angle(&axis, pose.tilt.to_radians());
        let place = Vector3::new(
            pose.shift.0 * longest / focal * distance,
            pose.shift.1 * longest / focal * distance,
            distance,
        );
        (camera, turn, place)
    }

    /// The photo's luma.
    pub fn render(&self) -> GrayImage {
        let (w, h) = (self.width as usize, self.height as usize);
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        let things: Vec<Thing> = (0..self.clutter)
            .map(|_| Thing::random(&mut rng, self.width, self.height))
            .collect();
        let back: Vec<Matrix3<f64>> = (0..self.cards.len())
            .map(|n| self.truth(n).try_inverse().unwrap())
            .collect();
        let printed: Vec<Vec<(Tag, Cells)>> = (self.cards.iter())
            .map(|(design, _)| {
                design
                    .tags
                    .iter()
                    .map(|t| (*t, family::cells(t.id).unwrap()))
                    .collect()
            })
            .collect();
        let side = 4;
        let mut linear = vec![0f32; w * h];
        linear.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
            let here: Vec<&Thing> = things
                .iter()
                .rev()
                .filter(|t| t.reaches(1, y as f64))
                .collect();
            for (x, out) in row.iter_mut().enumerate() {
                let near: Vec<&Thing> = here
                    .iter()
                    .filter(|t| t.reaches(0, x as f64))
                    .copied()
                    .collect();
                let at = |px: f64, py: f64| {
                    let mut seen = None;
                    for (n, (design, pose)) in self.cards.iter().enumerate() {
                        let mut p = back[n] * Vector3::new(px, py, 1.0);
                        p /= p.z;
                        if self.bend != 0.0 {
                            p = self.bent(design, pose, px, py, p);
                        }
                        if (0.0..design.width_mm).contains(&p.x)
                            && (0.0..design.height_mm).contains(&p.y)
                        {
                            seen = Some(self.covered(design, &printed[n], p.x, p.y));
                        }
                    }
                    seen.unwrap_or_else(|| near.iter().find_map(|t| t.at(px, py)).unwrap_or(0.35))
                };
                // Only a pixel whose corners differ has an edge running through it.
                let (x0, y0) = (x as f64, y as f64);
                let corner = at(x0, y0);
                let plain = [(1.0, 0.0), (0.0, 1.0), (1.0, 1.0)]
                    .iter()
                    .all(|(u, v)| at(x0 + u, y0 + v) == corner);
                let step = |k: usize| (k as f64 + 0.5) / side as f64;
                let value = if plain {
                    corner
                } else {
                    (0..side * side)
                        .map(|k| at(x0 + step(k % side), y0 + step(k / side)))
                        .sum::<f64>()
                        / (side * side) as f64
                };
                let across = x as f64 / w as f64;
                let mut light = self.falloff.0 * (1.0 - across) + self.falloff.1 * across;
                if let Some(left) = self.shadow {
                    // Slanted edge with a penumbra of a hundredth of the picture.
                    let d =
                        (x as f64 - w as f64 / 2.0 + 0.4 * (y as f64 - h as f64 / 2.0)) / w as f64;
                    let t = (d / 0.01 + 0.5).clamp(0.0, 1.0);
                    light *= 1.0 + (left - 1.0) * t;
                }
                *out = (value * light * self.light + self.haze) as f32;
            }
        });
        let blurred = if self.blur > 0.0 {
            blur(&linear, w, h, self.blur)
        } else {
            linear
        };
        let normal = Normal::new(0.0, 1.0).unwrap();
        let mut data = vec![0u8; w * h];
        data.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
            let mut rng = ChaCha8Rng::seed_from_u64(
                self.seed ^ (y as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15),
            );
            for (x, out) in row.iter_mut().enumerate() {
                let v = f64::from(blurred[y * w + x]);
                let sigma = (self.noise * self.noise * (1.0 + 4.0 * v.max(0.0))).sqrt();
                let v = (v + sigma * normal.sample(&mut rng)).clamp(0.0, 1.0);
                *out = (encode(v) * 255.0).round() as u8;
            }
        });
        GrayImage::from_raw(self.width, self.height, data).unwrap()
    }

    /// Where the ray through (px, py) meets the card bent towards the camera at its middle: a few rounds of
    /// fixed-point search on the depth.
    fn bent(
        &self,
        design: &Design,
        pose: &Pose,
        px: f64,
        py: f64,
        flat: Vector3<f64>,
    ) -> Vector3<f64> {
        let (camera, turn, place) = self.camera(design, pose);
        let back = camera.try_inverse().unwrap();
        let ray = turn.inverse() * (back * Vector3::new(px, py, 1.0));
        let eye = turn.inverse() * -place;
        let mut p = flat;
        for _ in 0..4 {
            let u = (2.0 * p.x / design.width_mm - 1.0).clamp(-1.0, 1.0);
            let z = -self.bend * (1.0 - u * u);
            let t = (z - eye.z) / ray.z;
            p = eye + ray * t;
            p.x += design.width_mm / 2.0;
            p.y += design.height_mm / 2.0;
        }
        p
    }

    fn covered(&self, design: &Design, printed: &[(Tag, Cells)], x: f64, y: f64) -> f64 {
        for (area, value) in self.covers.iter().rev() {
            if area.contains(x, y) {
                return *value;
            }
        }
        for (tag, cells) in printed {
            let (u, v) = ((x - tag.x) / tag.size * 8.0, (y - tag.y) / tag.size * 8.0);
            if (0.0..8.0).contains(&u) && (0.0..8.0).contains(&v) {
                let black = cells[v as usize][u as usize];
                return if black { self.black } else { 0.85 };
            }
        }
        for patch in &design.patches {
            if patch.area.contains(x, y) {
                return f64::from(patch.srgb[1]) / 255.0 * 0.8;
            }
        }
        0.85
    }
}

/// Something lying about: a rectangle, a striped one, a chessboard, or a square that looks like a marker but is none.
struct Thing {
    centre: (f64, f64),
    half: (f64, f64),
    turn: f64,
    kind: u32,
    values: (f64, f64),
    cells: u64,
}

impl Thing {
    fn random(rng: &mut ChaCha8Rng, width: u32, height: u32) -> Thing {
        let longest = f64::from(width.max(height));
        let kind = rng.random_range(0..5);
        let a = rng.random_range(0.01..0.08) * longest;
        let b = if kind >= 3 {
            a
        } else {
            rng.random_range(0.01..0.08) * longest
        };
        Thing {
            centre: (
                rng.random_range(0.0..f64::from(width)),
                rng.random_range(0.0..f64::from(height)),
            ),
            half: (a, b),
            turn: rng.random_range(0.0..std::f64::consts::TAU),
            kind,
            values: (rng.random_range(0.02..0.5), rng.random_range(0.3..0.9)),
            cells: rng.random(),
        }
    }

    /// Whether a pixel that starts at `at` along an axis (0 = x, 1 = y) can show it.
    fn reaches(&self, axis: usize, at: f64) -> bool {
        let centre = if axis == 0 {
            self.centre.0
        } else {
            self.centre.1
        };
        (at + 0.5 - centre).abs() < self.half.0.hypot(self.half.1) + 1.0
    }

    fn at(&self, x: f64, y: f64) -> Option<f64> {
        let (dx, dy) = (x - self.centre.0, y - self.centre.1);
        let (s, c) = self.turn.sin_cos();
        let (u, v) = (
            (c * dx + s * dy) / self.half.0,
            (c * dy - s * dx) / self.half.1,
        );
        if u.abs() >= 1.0 || v.abs() >= 1.0 {
            return None;
        }
        let cell = |n: f64, t: f64| ((t + 1.0) / 2.0 * n) as u64;
        let light = match self.kind {
            0 => false,
            1 => cell(9.0, u) % 2 == 0,
            2 => (cell(8.0, u) + cell(8.0, v)) % 2 == 0,
            // A white margin, a black frame, and cells of no meaning.
            _ => {
                let (i, j) = (cell(10.0, u), cell(10.0, v));
                let margin = i == 0 || j == 0 || i == 9 || j == 9;
                let frame = i == 1 || j == 1 || i == 8 || j == 8;
                return Some(if margin {
                    0.85
                } else if frame || self.cells >> ((i - 2) * 6 + j - 2) & 1 == 0 {
                    0.05
                } else {
                    0.85
                });
            }
        };
        Some(if light { self.values.1 } else { self.values.0 })
    }
}

fn blur(data: &[f32], w: usize, h: usize, sigma: f64) -> Vec<f32> {
    let reach = (3.5 * sigma).ceil() as usize;
    let kernel: Vec<f32> = {
        let raw: Vec<f64> = (0..=2 * reach)
            .map(|i| (-0.5 * ((i as f64 - reach as f64) / sigma).powi(2)).exp())
            .collect();
        let sum: f64 = raw.iter().sum();
        raw.iter().map(|v| (v / sum) as f32).collect()
    };
    let mut rows = vec![0f32; w * h];
    rows.par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        let row = &data[y * w..(y + 1) * w];
        for (x, o) in out.iter_mut().enumerate() {
            *o = kernel
                .iter()
                .enumerate()
                .map(|(k, g)| g * row[(x + k).saturating_sub(reach).min(w - 1)])
                .sum();
        }
    });
    let mut all = vec![0f32; w * h];
    all.par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        for (k, g) in kernel.iter().enumerate() {
            let row = &rows[(y + k).saturating_sub(reach).min(h - 1) * w..][..w];
            for (o, v) in out.iter_mut().zip(row) {
                *o += g * v;
            }
        }
    });
    all
}
