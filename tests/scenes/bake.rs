//! Spectra times sensor, done once: what each material sends to the three channels under each source, and what the liquid
//! makes of light on its way to the paper and back.

use super::camera::raw;
use super::print::plain_colour;
use super::seed::stream;
use super::spectra::{N, Spectrum};
use super::vial::{Inside, Vial};
use super::{Layout, Scene};

/// A triple of channel values.
pub type Rgb = [f32; 3];

/// What stands before a point of the card, in the way of its light.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Zone {
    Liquid = 0,
    Glass = 1,
    Cap = 2,
}

/// Sideways positions in the shadow tables, over +-[`REACH`] outer radii.
const SIDEWAYS: usize = 181;
pub const REACH: f64 = 4.5;
/// Path lengths in the tables.
const PATHS: usize = 48;
/// Relative concentrations in the tables of a liquid with layers.
const LAYERS: usize = 7;

/// Materials after paper and black: the patches, then these.
pub struct Extra {
    pub cap: usize,
    pub table: usize,
    pub wall: usize,
    pub clutter: usize,
    pub covers: usize,
}

/// One source's values.
pub struct Bake {
    /// Sensor values of a perfect white.
    pub white: Rgb,
    /// Sensor values of every material.
    pub materials: Vec<Rgb>,
    /// Paper seen through a length of liquid, per layer.
    paths: Vec<Vec<Rgb>>,
    /// Light scattered by a cloudy liquid of a length, per layer.
    cloud: Vec<Vec<Rgb>>,
    /// Paper behind the vial relative to open paper: zone, layer, sideways, path of the view ray.
    behind: [Vec<Vec<Rgb>>; 3],
    step_mm: f64,
    spread: f64,
    layers: f64,
}

fn rgb(v: [f64; 3]) -> Rgb {
    v.map(|x| x as f32)
}

/// Reflectances of all materials under one source, in order, and where the extra ones begin.
pub fn materials(scene: &Scene, card: &Layout, light: &Spectrum) -> (Vec<Spectrum>, Extra) {
    let paper = scene.print.paper.under(light);
    let printer = &scene.print.printer;
    let times = |s: &Spectrum| -> Spectrum { std::array::from_fn(|i| s[i] * paper[i]) };
    let mut rng = stream(scene.print.seed, 1);
    let black: Spectrum =
        std::array::from_fn(|i| printer.solid_black * (0.97 + 0.06 * i as f64 / N as f64));
    let mut all = vec![paper, black];
    for p in &card.patches {
        all.push(times(&scene.print.patch(p.srgb, &mut rng)));
    }
    let cap = all.len();
    let vial_cap = scene.vial.as_ref().and_then(|v| v.cap.as_ref());
    all.push(vial_cap.map_or([0.5; N], |c| c.reflectance));
    all.push(plain_colour(scene.surroundings.table));
    all.push(plain_colour(scene.surroundings.wall));
    let clutter = all.len();
    all.extend(
        scene
            .surroundings
            .clutter
            .iter()
            .map(|c| plain_colour(c.colour)),
    );
    let covers = all.len();
    all.extend(
        scene
            .surroundings
            .covers
            .iter()
            .map(|c| plain_colour(c.colour)),
    );
    (
        all,
        Extra {
            cap,
            table: cap + 1,
            wall: cap + 2,
            clutter,
            covers,
        },
    )
}

impl Bake {
    pub fn new(scene: &Scene, card: &Layout, source: usize) -> Bake {
        let light = &scene.light.sources[source].spd;
        let sensor = &scene.phone.sensitivity;
        let white = rgb(raw(sensor, light, &[1.0; N]));
        let (reflectances, _) = materials(scene, card, light);
        let materials: Vec<Rgb> = reflectances
            .iter()
            .map(|r| rgb(raw(sensor, light, r)))
            .collect();
        let paper = &reflectances[0];
        let mut bake = Bake {
            white,
            materials,
            paths: Vec::new(),
            cloud: Vec::new(),
            behind: [Vec::new(), Vec::new(), Vec::new()],
            step_mm: 1.0,
            spread: 1.0,
            layers: 0.0,
        };
        let Some(vial) = &scene.vial else { return bake };
        bake.step_mm = vial.path_mm() * 1.5 / (PATHS - 1) as f64;
        bake.layers = scene.liquid.as_ref().map_or(0.0, |l| l.layers);
        let count = if bake.layers == 0.0 { 1 } else { LAYERS };
        for layer in 0..count {
            let relative = if count == 1 {
                1.0
            } else {
                1.0 + bake.layers * (2.0 * layer as f64 / (LAYERS - 1) as f64 - 1.0)
            };
            let absorbance = scene.liquid.as_ref().map_or([0.0; N], |l| {
                l.dye.absorbance_per_mm(l.concentration * relative)
            });
            let through = |mm: f64, r: &Spectrum| {
                let dimmed = std::array::from_fn(|i| r[i] * 10f64.powf(-absorbance[i] * mm));
                rgb(raw(sensor, light, &dimmed))
            };
            bake.paths.push(
                (0..2 * PATHS)
                    .map(|j| through(j as f64 * bake.step_mm, paper))
                    .collect(),
            );
            // Light that a cloud sends back has gone in and out by about a third of the way each.
            bake.cloud.push(
                (0..PATHS)
                    .map(|j| through(j as f64 * bake.step_mm * 0.67, &[0.75; N]))
                    .collect(),
            );
        }
        bake.shade(scene, vial, source);
        bake
    }

    /// Fills the tables of what arrives at paper behind the vial: light of all azimuths, bent and dimmed by the vial.
    fn shade(&mut self, scene: &Scene, vial: &Vial, source: usize) {
        let lamp = &scene.light.sources[source];
        let radius = vial.outer_radius();
        let level = vial.level(scene.liquid.as_ref().map_or(0.0, |l| l.fill));
        let before = radius
            + scene.stand.gap_mm
            + level / 2.0 * scene.stand.card_lean_deg.to_radians().tan();
        self.spread = REACH * radius;
        let azimuth = lamp.azimuth_deg.to_radians();
        let wide = (lamp.half_width_deg / 1.6).max(3.0).to_radians();
        let direct = |a: f64| (-0.5 * ((a - azimuth) / wide).powi(2)).exp();
        const RAYS: usize = 360;
        let angle = |i: usize| ((i as f64 + 0.5) / RAYS as f64 - 0.5) * 176f64.to_radians();
        let sum_direct: f64 = (0..RAYS).map(|i| direct(angle(i)) * angle(i).cos()).sum();
        let sum_all: f64 = (0..RAYS).map(|i| angle(i).cos()).sum();
        let arriving = |a: f64| {
            // Behind the card's plane there is only what the card itself sends.
            let all = if a.cos() > 0.0 { 1.0 } else { 0.3 };
            lamp.diffuse * all / sum_all + (1.0 - lamp.diffuse) * direct(a) / sum_direct.max(1e-6)
        };
        let k = lamp.elevation_deg.to_radians().sin();
        for zone in [Zone::Liquid, Zone::Glass, Zone::Cap] {
            let mut tables = vec![Vec::with_capacity(SIDEWAYS * PATHS); self.paths.len()];
            for s in 0..SIDEWAYS {
                let x = (2.0 * s as f64 / (SIDEWAYS - 1) as f64 - 1.0) * self.spread;
                let mut weights = [0.0f64; PATHS];
                for i in 0..RAYS {
                    let a = angle(i);
                    let (ux, uz) = a.sin_cos();
                    let b = x * uz + before * ux;
                    if b.abs() >= radius {
                        weights[0] += arriving(a) * a.cos();
                        continue;
                    }
                    let inside = match zone {
                        Zone::Liquid => Inside::Liquid,
                        Zone::Glass => Inside::Air,
                        Zone::Cap => {
                            // A cap about as high as it stands before the paper keeps out the diffuse light within some
                            // 27 degrees of the level, sin 27 = 0.45 of it; the rest comes over and under it.
                            weights[0] += 0.55 * lamp.diffuse / sum_all * a.cos();
                            continue;
                        }
                    };
                    let p = vial.pass(b, k, inside);
                    // Turning towards the axis lowers the azimuth (counted from z to x) where b is positive.
                    let w = arriving(a - p.turn * b.signum()) * a.cos() * p.let_through;
                    let path = if zone == Zone::Liquid {
                        p.inside_mm / self.step_mm
                    } else {
                        0.0
                    };
                    let j = (path as usize).min(PATHS - 2);
                    let t = (path - j as f64).min(1.0);
                    weights[j] += w * (1.0 - t);
                    weights[j + 1] += w * t;
                }
                for (table, paths) in tables.iter_mut().zip(&self.paths) {
                    for view in 0..PATHS {
                        let mut sum = [0.0f64; 3];
                        for (j, w) in weights.iter().enumerate().filter(|(_, w)| **w > 0.0) {
                            for c in 0..3 {
                                sum[c] += w * f64::from(paths[view + j][c]);
                            }
                        }
                        table.push(std::array::from_fn(|c| sum[c] as f32 / paths[0][c]));
                    }
                }
            }
            self.behind[zone as usize] = tables;
        }
    }

    /// Two neighbouring layers and the weight of the second, for a relative concentration.
    fn layer(&self, relative: f64) -> (usize, usize, f32) {
        if self.paths.len() == 1 {
            return (0, 0, 0.0);
        }
        let p = ((relative - 1.0) / self.layers + 1.0) / 2.0 * (LAYERS - 1) as f64;
        let p = p.clamp(0.0, (LAYERS - 1) as f64);
        let i = (p as usize).min(LAYERS - 2);
        (i, i + 1, (p - i as f64) as f32)
    }

    /// Open paper seen through `mm` of liquid, relative to without.
    pub fn through(&self, mm: f64, relative: f64) -> Rgb {
        if self.paths.is_empty() {
            return [1.0; 3];
        }
        let (a, b, t) = self.layer(relative);
        let p = (mm / self.step_mm).clamp(0.0, (2 * PATHS - 2) as f64);
        let j = p as usize;
        let u = (p - j as f64) as f32;
        std::array::from_fn(|c| {
            let along = |l: usize| {
                (self.paths[l][j][c] * (1.0 - u) + self.paths[l][(j + 1).min(2 * PATHS - 1)][c] * u)
                    / self.paths[l][0][c]
            };
            along(a) * (1.0 - t) + along(b) * t
        })
    }

    /// Light scattered by `mm` of fully cloudy liquid.
    pub fn cloud(&self, mm: f64, relative: f64) -> Rgb {
        let (a, b, t) = self.layer(relative);
        let j = ((mm / self.step_mm) as usize).min(PATHS - 1);
        std::array::from_fn(|c| self.cloud[a][j][c] * (1.0 - t) + self.cloud[b][j][c] * t)
    }

    /// Paper behind the vial, `x` mm beside its axis, seen through `mm` of liquid, relative to open paper.
    pub fn behind(&self, zone: Zone, x: f64, mm: f64, relative: f64) -> Rgb {
        let tables = &self.behind[zone as usize];
        if tables.is_empty() {
            return [1.0; 3];
        }
        let (a, b, t) = self.layer(relative);
        let p = ((x / self.spread + 1.0) / 2.0 * (SIDEWAYS - 1) as f64)
            .clamp(0.0, (SIDEWAYS - 1) as f64);
        let i = (p as usize).min(SIDEWAYS - 2);
        let u = (p - i as f64) as f32;
        let q = (mm / self.step_mm).clamp(0.0, (PATHS - 1) as f64);
        let j = (q as usize).min(PATHS - 2);
        let v = (q - j as f64) as f32;
        let at = |l: usize, c: usize| {
            let cell = |i: usize, j: usize| tables[l][i * PATHS + j][c];
            (cell(i, j) * (1.0 - v) + cell(i, j + 1) * v) * (1.0 - u)
                + (cell(i + 1, j) * (1.0 - v) + cell(i + 1, j + 1) * v) * u
        };
        std::array::from_fn(|c| {
            if t == 0.0 {
                at(a, c)
            } else {
                at(a, c) * (1.0 - t) + at(b, c) * t
            }
        })
    }
}
