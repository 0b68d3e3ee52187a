//! Photos of an open vial on the flat card, from above: rays through a pinhole onto a card, a glass and a liquid whose
//! places are known.
//!
//! Shares no code with the pipeline. The card is its layout file with ideal inks (the patches' sRGB). Light falls off
//! across the card and a soft shadow lies beside the vial. A ray that enters the mouth meets the wall above the liquid, or
//! the liquid: there it bends (Snell, water 1.33), is reflected by the wall (total reflection at such grazing angles) until it
//! meets the floor, and loses light along its whole way and along the straight way down that the light took before
//! (Beer-Lambert in three channels). The camera: linear sRGB, blur, shot and read noise, 8 bits, JPEG.

use image::codecs::jpeg::JpegEncoder;
use nalgebra::{Matrix3, Vector3};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;

use crate::layout::{Face, Layout, Printed};
use crate::srgb::{decode, encode};

type Rgb = Vector3<f64>;

/// Refractive index of water.
const WATER: f64 = 1.33;
/// Light that a floor of bare paper under the vial gets and gives back through glass, against paper beside it.
const FLOOR: f64 = 0.9;
/// What the dye takes away from each channel, relative to green: pink.
const PINK: [f64; 3] = [0.1, 1.0, 0.45];
/// Decadic absorbance of green light per mm for a concentration of 1.
const STRENGTH: f64 = 3.5e-4;

/// An open vial, mm; concentration in the unit of [`STRENGTH`].
#[derive(Debug, Clone)]
pub struct Glass {
    /// Foot on the card.
    pub x: f64,
    pub y: f64,
    pub outer: f64,
    pub wall: f64,
    pub height: f64,
    /// Height of the liquid's surface.
    pub fill: f64,
    pub concentration: f64,
    /// Reflections of a lamp on the liquid: centre relative to the axis and size (standard deviation), mm.
    pub glints: Vec<(f64, f64, f64)>,
}

/// A circle on the card, mm.
#[derive(Debug, Clone, Copy)]
pub struct Circle {
    pub x: f64,
    pub y: f64,
    pub r: f64,
}

#[derive(Debug, Clone)]
pub struct Shot {
    pub glass: Option<Glass>,
    /// Angle between the card's normal and the line of sight, and its direction on the card, degrees.
    pub tilt: f64,
    pub towards: f64,
    /// From the camera to the middle of the card, mm.
    pub distance: f64,
    /// Turn of the phone, degrees.
    pub roll: f64,
    /// Colour and strength of the light: linear signal of white paper at the middle of the card.
    pub light: [f64; 3],
    /// Light at the right edge in parts of that at the left.
    pub falloff: f64,
    pub seed: u64,
}

const WIDTH: u32 = 1600;
const HEIGHT: u32 = 1200;
/// A 40 mm lens in terms of a frame 36 mm wide: a phone's main lens at slight zoom.
const FOCAL: f64 = 40.0 / 36.0 * WIDTH as f64;

impl Glass {
    fn inner(&self) -> f64 {
        self.outer - self.wall
    }

    fn absorbance(&self, path: f64) -> Rgb {
        Rgb::from(PINK.map(|a| 10f64.powf(-a * STRENGTH * self.concentration * path)))
    }
}

impl Shot {
    pub fn of(glass: Option<Glass>, seed: u64) -> Shot {
        Shot {
            glass,
            tilt: 4.0,
            towards: 70.0,
            distance: 330.0,
            roll: 2.0,
            light: [0.66, 0.72, 0.62],
            falloff: 0.8,
            seed,
        }
    }

    /// Camera in card coordinates; heights above the card are negative z.
    fn camera(&self, card: &Layout) -> (Vector3<f64>, Matrix3<f64>) {
        let middle = Vector3::new(card.width_mm / 2.0, card.height_mm / 2.0, 0.0);
        let (st, ct) = self.tilt.to_radians().sin_cos();
        let (sa, ca) = self.towards.to_radians().sin_cos();
        let back = Vector3::new(st * ca, st * sa, -ct);
        let forward = -back;
        let (sr, cr) = self.roll.to_radians().sin_cos();
        let hint = Vector3::new(cr, sr, 0.0);
        let right = (hint - forward * hint.dot(&forward)).normalize();
        let down = forward.cross(&right);
        (
            middle + back * self.distance,
            Matrix3::from_columns(&[right, down, forward]),
        )
    }

    /// Where a circle at a height over the card appears on the card.
    fn shadowgraph(&self, card: &Layout, glass: &Glass, r: f64, height: f64) -> Circle {
        let eye = self.camera(card).0;
        let grow = -eye.z / (-eye.z - height);
        Circle {
            x: eye.x + (glass.x - eye.x) * grow,
            y: eye.y + (glass.y - eye.y) * grow,
            r: r * grow,
        }
    }

    /// Outer edge of the rim.
    pub fn rim(&self, card: &Layout) -> Circle {
        let g = self.glass.as_ref().expect("a vial");
        self.shadowgraph(card, g, g.outer, g.height)
    }

    /// Largest circle inside what the mouth shows of the liquid's surface: the overlap of two circles.
    pub fn liquid(&self, card: &Layout) -> Circle {
        let g = self.glass.as_ref().expect("a vial");
        let mouth = self.shadowgraph(card, g, g.inner(), g.height);
        let surface = self.shadowgraph(card, g, g.inner(), g.fill);
        let (dx, dy) = (surface.x - mouth.x, surface.y - mouth.y);
        let apart = dx.hypot(dy);
        if apart <= mouth.r - surface.r {
            return surface;
        }
        // From the mouth's edge on the side of the surface to the surface's edge on the side of the mouth.
        let r = (mouth.r + surface.r - apart) / 2.0;
        let along = (mouth.r - r) / apart;
        Circle {
            x: mouth.x + dx * along,
            y: mouth.y + dy * along,
            r,
        }
    }

    fn light_at(&self, card: &Layout, x: f64, y: f64) -> Rgb {
        let across = (x / card.width_mm - 0.5) * (self.falloff - 1.0);
        let down = (y / card.height_mm - 0.5) * -0.06;
        let mut light = 1.0 + across + down;
        if let Some(g) = &self.glass {
            // The shadow lies to the right and below, soft, and fades with distance.
            let (dx, dy) = (x - g.x, y - g.y);
            let along = (dx * 0.8 + dy * 0.6).clamp(0.0, g.height * 0.5);
            let off = (dx - 0.8 * along).hypot(dy - 0.6 * along) - g.outer;
            light *= 1.0 - 0.2 / (1.0 + (off / 1.5).exp()) * (1.0 - along / g.height);
        }
        Rgb::from(self.light) * light
    }

    /// What a ray from the eye sees.
    fn seen(&self, card: &Layout, face: &Face, eye: Vector3<f64>, ray: Vector3<f64>) -> Rgb {
        let at_height = |h: f64| eye + ray * ((-h - eye.z) / ray.z);
        if let Some(g) = &self.glass {
            let lit = self.light_at(card, g.x - g.outer, g.y - g.outer);
            let from_axis = |p: &Vector3<f64>| (p.x - g.x).hypot(p.y - g.y);
            let rim = from_axis(&at_height(g.height));
            if rim < g.inner() {
                return self.inside(g, at_height(g.fill), ray).component_mul(&lit);
            }
            if rim < g.outer {
                // Rounded glass: dark at its edges, bright on its crest.
                let across = (rim - g.inner()) / g.wall;
                return lit * (0.5 + 0.4 * (std::f64::consts::PI * across).sin());
            }
            if let Some(h) = self.side(g, eye, ray) {
                return lit.component_mul(&if h < g.fill {
                    g.absorbance(2.0 * g.inner()) * 0.7
                } else {
                    Rgb::repeat(0.8)
                });
            }
        }
        let p = at_height(0.0);
        let outside = p.x < 0.0 || p.y < 0.0 || p.x > card.width_mm || p.y > card.height_mm;
        let reflectance = if outside {
            Rgb::new(0.22, 0.16, 0.11)
        } else {
            match face.at(p.x, p.y) {
                Printed::Paper => Rgb::repeat(1.0),
                Printed::Black => Rgb::repeat(0.05),
                Printed::Patch(n) => Rgb::from(
                    card.patches[n]
                        .srgb
                        .map(|code| decode(f64::from(code) / 255.0)),
                ),
            }
        };
        self.light_at(card, p.x, p.y).component_mul(&reflectance)
    }

    /// Height at which a ray meets the vial's outer side, if it does.
    fn side(&self, g: &Glass, eye: Vector3<f64>, ray: Vector3<f64>) -> Option<f64> {
        let (ox, oy) = (eye.x - g.x, eye.y - g.y);
        let a = ray.x * ray.x + ray.y * ray.y;
        let b = ox * ray.x + oy * ray.y;
        let c = ox * ox + oy * oy - g.outer * g.outer;
        let root = b * b - a * c;
        if root <= 0.0 {
            return None;
        }
        let height = -(eye.z + ray.z * (-b - root.sqrt()) / a);
        (0.0..g.height).contains(&height).then_some(height)
    }

    /// Through the mouth: `surface` is where the ray meets the level of the liquid.
    fn inside(&self, g: &Glass, surface: Vector3<f64>, ray: Vector3<f64>) -> Rgb {
        let r = g.inner();
        let (x, y) = (surface.x - g.x, surface.y - g.y);
        if x.hypot(y) >= r {
            return Rgb::repeat(0.82);
        }
        let level = ray.xy().norm() / ray.norm();
        let (sin, turn) = (level / WATER, ray.xy().try_normalize(1e-12));
        let cos = (1.0 - sin * sin).sqrt();
        let base = 2.0;
        let depth = g.fill - base;
        let mut left = depth * sin / cos;
        let (mut x, mut y) = (x, y);
        let mut wall = 1.0;
        if let Some(mut d) = turn {
            loop {
                let b = x * d.x + y * d.y;
                let reach = -b + (b * b - (x * x + y * y - r * r)).max(0.0).sqrt();
                if reach >= left {
                    x += d.x * left;
                    y += d.y * left;
                    break;
                }
                x += d.x * reach;
                y += d.y * reach;
                left -= reach;
                let (nx, ny) = (x / r, y / r);
                let out = d.x * nx + d.y * ny;
                d.x -= 2.0 * out * nx;
                d.y -= 2.0 * out * ny;
                wall *= 0.98;
                (x, y) = (x * (1.0 - 1e-9), y * (1.0 - 1e-9));
            }
        }
        // The rounded corner between floor and wall is a little darker.
        let corner = if x.hypot(y) > r - 0.6 { 0.88 } else { 1.0 };
        let mut light = g.absorbance(depth + depth / cos) * (FLOOR * wall * corner);
        for (u, v, size) in &g.glints {
            let d2 =
                ((surface.x - g.x - u).powi(2) + (surface.y - g.y - v).powi(2)) / (size * size);
            light += Rgb::repeat(2.0 * (-0.5 * d2).exp());
        }
        light
    }

    /// The photo as a JPEG file.
    pub fn jpeg(&self, card: &Layout) -> Vec<u8> {
        let face = Face::new(card);
        let (eye, turn) = self.camera(card);
        let (w, h) = (WIDTH as usize, HEIGHT as usize);
        let mut film = vec![Rgb::zeros(); w * h];
        for (n, px) in film.iter_mut().enumerate() {
            for (u, v) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
                let x = (n % w) as f64 + u - 0.5 * f64::from(WIDTH);
                let y = (n / w) as f64 + v - 0.5 * f64::from(HEIGHT);
                *px += self.seen(card, &face, eye, turn * Vector3::new(x, y, FOCAL)) / 4.0;
            }
        }
        let mut rng = ChaCha8Rng::seed_from_u64(self.seed);
        let mut bytes = Vec::with_capacity(3 * w * h);
        for y in 0..h {
            for x in 0..w {
                let mut sum = Rgb::zeros();
                for (dy, wy) in [(-1, 1.0), (0, 2.0), (1, 1.0)] {
                    for (dx, wx) in [(-1, 1.0), (0, 2.0), (1, 1.0)] {
                        let i = (x as i64 + dx).clamp(0, w as i64 - 1) as usize;
                        let j = (y as i64 + dy).clamp(0, h as i64 - 1) as usize;
                        sum += film[j * w + i] * (wx * wy / 16.0);
                    }
                }
                for v in sum.iter() {
                    let noise: f64 = rng.sample(StandardNormal);
                    let v = v + noise * (1e-4 * v + 4e-6).sqrt();
                    bytes.push((encode(v.clamp(0.0, 1.0)) * 255.0).round() as u8);
                }
            }
        }
        let mut file = Vec::new();
        JpegEncoder::new_with_quality(&mut file, 92)
            .encode(&bytes, WIDTH, HEIGHT, image::ExtendedColorType::Rgb8)
            .expect("a picture in memory");
        file
    }
}
