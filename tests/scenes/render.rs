//! Rays from the camera into the scene: card, vial, table, wall, and what stands about. Gives sensor values before noise.

use rayon::prelude::*;

use super::bake::{Bake, Extra, REACH, Rgb, Zone, materials};
use super::layout::{Face, Printed};
use super::light::{Fall, Field, Source};
use super::pose::Camera;
use super::seed::texture;
use super::vial::{Vial, WATER};
use super::{CoverKind, Layout, Scene, Vec3};

/// A scene made ready for rays.
pub struct Stage<'a> {
    pub scene: &'a Scene,
    face: Face,
    pub bakes: Vec<Bake>,
    /// Per source: its strength over the scene, what falls on the table for 1 on the card, and the way to it.
    pub fields: Vec<Field>,
    on_table: Vec<f64>,
    towards: Vec<Vec3>,
    pub extra: Extra,
    camera: Camera,
    pub size: [f64; 2],
    /// Up, off the table; the card leans back against it.
    pub up: Vec3,
    /// Towards the viewer along the table.
    pub out: Vec3,
    pub foot: Vec3,
}

/// A point of the vial in its own frame: across (right, out) and height.
#[derive(Clone, Copy)]
pub struct Local {
    pub x: f64,
    pub z: f64,
    pub h: f64,
}

/// What a ray through the liquid has passed.
#[derive(Clone, Copy)]
pub struct Veil {
    pub mm: f64,
    pub relative: f64,
}

pub fn step(edge: f64, soft: f64, v: f64) -> f64 {
    let t = ((v - edge) / soft + 0.5).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

pub fn add(a: &mut Rgb, b: Rgb, w: f64) {
    for c in 0..3 {
        a[c] += b[c] * w as f32;
    }
}

pub fn scaled(a: Rgb, w: f64) -> Rgb {
    a.map(|v| v * w as f32)
}

impl<'a> Stage<'a> {
    pub fn new(scene: &'a Scene, card: &'a Layout, camera: Camera) -> Stage<'a> {
        let lean = scene.stand.card_lean_deg.to_radians();
        let up = Vec3::new(0.0, lean.cos(), lean.sin());
        let out = Vec3::new(0.0, -lean.sin(), lean.cos());
        let radius = scene.vial.as_ref().map_or(10.0, Vial::outer_radius);
        let centre = card.bay.x + card.bay.w / 2.0 + scene.stand.offset_mm;
        let foot = Vec3::new(centre, 0.0, 0.0) + out * (radius + scene.stand.gap_mm);
        let (_, extra) = materials(scene, card, &scene.light.sources[0].spd);
        Stage {
            scene,
            face: Face::new(card),
            bakes: (0..scene.light.sources.len())
                .map(|s| Bake::new(scene, card, s))
                .collect(),
            fields: (0..scene.light.sources.len())
                .map(|s| scene.light.field(s, [card.width_mm, card.height_mm]))
                .collect(),
            on_table: scene
                .light
                .sources
                .iter()
                .map(|s| s.on_surface(&up))
                .collect(),
            towards: scene.light.sources.iter().map(|s| s.direction()).collect(),
            extra,
            camera,
            size: [card.width_mm, card.height_mm],
            up,
            out,
            foot,
        }
    }

    pub fn world(&self, l: Local) -> Vec3 {
        self.foot + Vec3::new(l.x, 0.0, 0.0) + self.out * l.z + self.up * l.h
    }

    pub fn turn_to_world(&self, x: f64, z: f64, h: f64) -> Vec3 {
        Vec3::new(x, 0.0, 0.0) + self.out * z + self.up * h
    }

    pub fn local(&self, p: &Vec3) -> Local {
        let q = p - self.foot;
        Local {
            x: q.x,
            z: q.dot(&self.out),
            h: q.dot(&self.up),
        }
    }

    /// The picture at one value a pixel, edges sampled more finely.
    pub fn picture(&self, width: usize, height: usize) -> Vec<Rgb> {
        let mut first = vec![[0f32; 3]; width * height];
        first
            .par_chunks_mut(width)
            .enumerate()
            .for_each(|(v, row)| {
                for (u, px) in row.iter_mut().enumerate() {
                    *px = self.seen(u as f64 + 0.5, v as f64 + 0.5);
                }
            });
        let differs =
            |a: &Rgb, b: &Rgb| (0..3).any(|c| (a[c] - b[c]).abs() > 0.04 * (a[c] + b[c]) + 0.002);
        let mut second = first.clone();
        second
            .par_chunks_mut(width)
            .enumerate()
            .for_each(|(v, row)| {
                for (u, px) in row.iter_mut().enumerate() {
                    let here = &first[v * width + u];
                    let edge = (u > 0 && differs(here, &first[v * width + u - 1]))
                        || (u + 1 < width && differs(here, &first[v * width + u + 1]))
                        || (v > 0 && differs(here, &first[(v - 1) * width + u]))
                        || (v + 1 < height && differs(here, &first[(v + 1) * width + u]));
                    if edge {
                        // A turned square: each sample in a row and column of its own.
                        let mut sum = scaled(*here, 0.2);
                        for (i, j) in [(0.1, 0.3), (0.7, 0.1), (0.9, 0.7), (0.3, 0.9)] {
                            add(&mut sum, self.seen(u as f64 + i, v as f64 + j), 0.2);
                        }
                        *px = sum;
                    }
                }
            });
        second
    }

    /// Sensor values at a photo point.
    fn seen(&self, u: f64, v: f64) -> Rgb {
        let d = self.camera.ray(u, v);
        let o = self.camera.at;
        if let Some(c) = self.covered(&o, &d) {
            return c;
        }
        self.vial_seen(&o, &d)
            .unwrap_or_else(|| self.beyond(&o, &d, None))
    }

    /// A finger, box or other thing in front of the card.
    fn covered(&self, o: &Vec3, d: &Vec3) -> Option<Rgb> {
        for (i, cover) in self.scene.surroundings.covers.iter().enumerate() {
            let t = (cover.before_mm - o.z) / d.z;
            let p = o + d * t;
            let (dx, dy) = (p.x - cover.at[0], (self.size[1] - p.y) - cover.at[1]);
            let (s, c) = cover.turn_deg.to_radians().sin_cos();
            let (a, b) = (
                (dx * c + dy * s) / cover.half[0],
                (dy * c - dx * s) / cover.half[1],
            );
            let inside = match cover.kind {
                CoverKind::Finger => {
                    // A round tip at one end of a long bar.
                    let along = b.max(0.0) * cover.half[1] / cover.half[0];
                    if b > 1.0
                        || (a * a
                            + if b < 0.0 {
                                (b * cover.half[1] / cover.half[0]).powi(2)
                            } else {
                                0.0
                            })
                            > 1.0
                    {
                        None
                    } else {
                        Some((1.0 - 0.45 * a * a) * (1.0 + 0.03 * texture(along, a * 3.0, 5)))
                    }
                }
                CoverKind::Sheet => (a.abs() < 1.0 && b.abs() < 1.0).then_some(1.0),
            };
            if let Some(shade) = inside {
                let mut out = [0.0; 3];
                for (s, bake) in self.bakes.iter().enumerate() {
                    add(
                        &mut out,
                        bake.materials[self.extra.covers + i],
                        shade * self.fields[s].at(&p),
                    );
                }
                return Some(out);
            }
        }
        None
    }

    /// What a ray meets that does not go through the vial: card, table, wall or the room in front.
    pub fn beyond(&self, o: &Vec3, d: &Vec3, veil: Option<Veil>) -> Rgb {
        let table = self.up.dot(o) / -self.up.dot(d);
        let table = if self.up.dot(d) < 0.0 && table > 0.0 {
            table
        } else {
            f64::INFINITY
        };
        if d.z < 0.0 {
            let mut t = -o.z / d.z;
            let bend = self.scene.surroundings.bend_mm;
            if bend != 0.0 {
                for _ in 0..4 {
                    let u = ((o.x + d.x * t) / self.size[0] * 2.0 - 1.0).clamp(-1.2, 1.2);
                    t = (bend * u * u - o.z) / d.z;
                }
            }
            if t < table && self.scene.surroundings.has_card {
                let p = o + d * t;
                if p.x >= 0.0 && p.x < self.size[0] && p.y >= 0.0 && p.y < self.size[1] {
                    return self.card_seen(&p, d, p.x, self.size[1] - p.y, veil);
                }
                if let Some([x, y, turn]) = self.scene.surroundings.second_card {
                    let (s, c) = turn.to_radians().sin_cos();
                    let (dx, dy) = (p.x - x, self.size[1] - p.y - y);
                    let (x, y) = (dx * c + dy * s, dy * c - dx * s);
                    if x >= 0.0 && x < self.size[0] && y >= 0.0 && y < self.size[1] {
                        return self.card_seen(&p, d, x, y, veil);
                    }
                }
            }
        }
        if table < f64::INFINITY {
            let p = o + d * table;
            if p.z > self.scene.surroundings.table_mm {
                return self.room(d, veil);
            }
            if p.z > -self.scene.surroundings.wall_mm {
                return self.table_seen(&p, veil);
            }
        }
        if d.z < 0.0 {
            let p = o + d * ((-self.scene.surroundings.wall_mm - o.z) / d.z);
            return self.wall_seen(&p, veil);
        }
        self.room(d, veil)
    }

    fn veiled(&self, s: usize, colour: Rgb, veil: Option<Veil>) -> Rgb {
        let Some(veil) = veil else { return colour };
        let t = self.bakes[s].through(veil.mm, veil.relative);
        std::array::from_fn(|c| colour[c] * t[c])
    }

    /// The room in front of the card, as windows and walls reflect it.
    pub fn room(&self, d: &Vec3, veil: Option<Veil>) -> Rgb {
        let mut out = [0.0; 3];
        for (s, bake) in self.bakes.iter().enumerate() {
            let l = self.scene.light.seen_towards(s, d);
            add(&mut out, self.veiled(s, bake.white, veil), l);
        }
        out
    }

    /// A point of a card: `x`, `y` mm on its face.
    fn card_seen(&self, p: &Vec3, d: &Vec3, x: f64, y: f64, veil: Option<Veil>) -> Rgb {
        let scene = self.scene;
        let material = match self.face.at(x, y) {
            Printed::Paper => 0,
            Printed::Black => 1,
            Printed::Patch(i) => 2 + i,
        };
        let grain = 1.0
            + scene.print.paper.texture
                * (texture(x * 3.1, y * 3.1, scene.print.seed)
                    + 0.7 * texture(x * 0.6, y * 0.6, scene.print.seed + 1));
        // The table takes light from the foot of the card.
        let mut light = grain * (1.0 - 0.10 * (-p.y.max(0.0) / 6.0).exp());
        let mut takes = [1.0f32; 3];
        for stain in &scene.print.stains {
            let r = (x - stain.at[0]).hypot(y - stain.at[1]) / stain.radius_mm
                * (1.0 + 0.15 * texture(x / 4.0, y / 4.0, 9));
            let depth = step(1.0, 0.3, 2.0 - r) * (0.8 + 0.3 * r.min(1.0).powi(4));
            for (kept, share) in takes.iter_mut().zip(stain.takes) {
                *kept *= (1.0 - share * depth) as f32;
            }
        }
        let near = scene
            .vial
            .as_ref()
            .map(|v| (v, p.x - self.foot.x))
            .filter(|(v, a)| a.abs() < REACH * v.outer_radius());
        if let Some((v, a)) = near {
            let low = step(0.0, v.outer_mm, v.height_mm + v.outer_mm - p.y);
            light *= 1.0 - 0.10 * low * (-(a / v.outer_radius()).powi(2)).exp();
        }
        let mut out = [0.0; 3];
        for (s, bake) in self.bakes.iter().enumerate() {
            let source = &scene.light.sources[s];
            let mut colour = bake.materials[material];
            let ratio = match near {
                Some((vial, aside)) => self.behind(bake, vial, source, aside, p.y, veil),
                None => veil.map_or([1.0; 3], |v| bake.through(v.mm, v.relative)),
            };
            if scene.print.sheen > 0.0 {
                let to = match &source.fall {
                    Fall::Lamp { at } => (Vec3::from(*at) - p).normalize(),
                    _ => self.towards[s],
                };
                // For the small angles that matter, 2 (1 - cos) is the angle's square.
                let off = 2.0 * (1.0 - Vec3::new(d.x, d.y, -d.z).dot(&to));
                let wide = (9.0 + source.half_width_deg).to_radians().powi(2);
                if off < 9.0 * wide {
                    let glare =
                        scene.print.sheen * (1.0 - source.diffuse) * (-0.5 * off / wide).exp();
                    add(&mut colour, bake.white, glare);
                }
            }
            let field = self.fields[s].at(p) * light;
            add(
                &mut out,
                std::array::from_fn(|c| colour[c] * ratio[c] * takes[c]),
                field,
            );
        }
        out
    }

    /// Share of light at paper near the vial, with what a veil takes, relative to open paper.
    fn behind(
        &self,
        bake: &Bake,
        vial: &Vial,
        source: &Source,
        aside: f64,
        height: f64,
        veil: Option<Veil>,
    ) -> Rgb {
        let fill = self.scene.liquid.as_ref().map_or(0.0, |l| l.fill);
        let (level, radius) = (vial.level(fill), vial.outer_radius());
        // Light that falls here has passed the vial's axis higher up.
        let before = radius + self.scene.stand.gap_mm;
        let back = before / source.azimuth_deg.to_radians().cos().max(0.25);
        let elevation_deg = source.elevation_deg;
        let lifted = height + back * elevation_deg.to_radians().tan().clamp(-1.0, 2.0);
        let (cap_from, top) = match &vial.cap {
            Some(c) => (vial.height_mm - c.down_mm, vial.height_mm + c.above_mm),
            None => (vial.height_mm, vial.height_mm),
        };
        let soft = 0.8 * radius;
        // Light that comes in above the liquid's surface goes down through it: just below the level only a short way.
        let inside = (elevation_deg.to_radians().sin() / WATER).asin();
        let depth = (vial.path_mm() * inside.tan()).max(0.5);
        let above_level = ((height - level) / depth + 1.0).clamp(0.0, 1.0);
        let above_glass = step(cap_from, soft, lifted);
        let above_all = step(top, soft, lifted);
        let (mm, relative) = veil.map_or((0.0, 1.0), |v| (v.mm, v.relative));
        let weights = [
            (1.0 - above_level) * (1.0 - above_glass),
            above_level * (1.0 - above_glass),
            above_glass * (1.0 - above_all),
        ];
        // The tables end at their reach: let the vial's effect run out before.
        let kept = ((REACH - aside.abs() / radius) / 0.8).clamp(0.0, 1.0);
        let mut out = scaled(bake.through(mm, relative), 1.0 - kept);
        let weights = weights.map(|w| w * kept);
        for (zone, w) in [Zone::Liquid, Zone::Glass, Zone::Cap]
            .into_iter()
            .zip(weights)
        {
            if w > 0.0 {
                // A shadow that no ray of this view goes through is that of the liquid's mean.
                let here = if mm > 0.0 { relative } else { 1.0 };
                add(&mut out, bake.behind(zone, aside, mm, here), w);
            }
        }
        let open = above_glass * above_all * kept;
        if open > 0.0 {
            add(&mut out, bake.through(mm, relative), open);
        }
        out
    }

    fn table_seen(&self, p: &Vec3, veil: Option<Veil>) -> Rgb {
        let scene = self.scene;
        let s = &scene.surroundings;
        let near = p - self.foot;
        let forward = p.dot(&self.out);
        let flap =
            s.has_card && forward > 0.0 && forward < s.flap_mm && p.x > 0.0 && p.x < self.size[0];
        let mut light = 1.0;
        if s.has_card && p.x > -8.0 && p.x < self.size[0] + 8.0 {
            // The upright card keeps light from the table at its foot.
            light *= if forward > 0.0 {
                1.0 - 0.22 * (-forward / 9.0).exp()
            } else {
                0.55
            };
        }
        if let Some(vial) = &scene.vial {
            let r = near.norm() - vial.outer_radius();
            light *= 1.0 - 0.35 * (-r.max(0.0) / 3.0).exp();
        }
        let material = if flap { 0 } else { self.extra.table };
        let grain = if flap {
            1.0 + scene.print.paper.texture
                * texture(p.x * 3.1, forward * 3.1, scene.print.seed + 2)
        } else {
            1.0 + s.grain
                * (texture(
                    p.x / 25.0 + 0.6 * texture(forward / 20.0, p.x / 90.0, 3),
                    forward / 1.7,
                    11,
                ) + 0.5 * texture(p.x / 6.0, forward / 0.5, 12))
        };
        let mut out = [0.0; 3];
        for (i, bake) in self.bakes.iter().enumerate() {
            let source = &scene.light.sources[i];
            let field = self.fields[i].at(p) * self.on_table[i] * light * grain;
            let colour = bake.materials[material];
            // Under and behind the vial light has come through it, as on the card; before it, freely.
            let shaded = scene.vial.as_ref().map_or(0.0, |v| {
                let r = v.outer_radius();
                step(0.0, r, -near.dot(&self.out)) * step(0.0, 0.5 * r, r - near.x.abs())
            });
            let mut seen = scaled(self.veiled(i, colour, veil), 1.0 - shaded);
            if let Some(vial) = scene.vial.as_ref().filter(|_| shaded > 0.0) {
                let t = self.behind(bake, vial, source, near.x, 0.0, veil);
                add(&mut seen, std::array::from_fn(|c| colour[c] * t[c]), shaded);
            }
            add(&mut out, seen, field);
        }
        out
    }

    fn wall_seen(&self, p: &Vec3, veil: Option<Veil>) -> Rgb {
        let s = &self.scene.surroundings;
        let soft = 1.5 + s.wall_mm / 40.0;
        let mut out = [0.0; 3];
        for (i, bake) in self.bakes.iter().enumerate() {
            let mut colour = scaled(
                bake.materials[self.extra.wall],
                1.0 + 0.05 * texture(p.x / 60.0, p.y / 60.0, 21),
            );
            for (k, c) in s.clutter.iter().enumerate() {
                let edge = |v: f64, mid: f64, half: f64| step(0.0, soft, half - (v - mid).abs());
                let w = edge(p.x, c.at[0], c.half[0]) * edge(p.y, c.at[1], c.half[1]);
                if w > 0.0 {
                    let stripes = if c.stripes {
                        1.0 + 0.25 * (p.y / 4.0).sin()
                    } else {
                        1.0
                    };
                    colour = std::array::from_fn(|j| {
                        colour[j] * (1.0 - w as f32)
                            + bake.materials[self.extra.clutter + k][j] * (w * stripes) as f32
                    });
                }
            }
            let far = 0.75 - 0.25 * (s.wall_mm / 600.0).min(1.0);
            let near = Vec3::new(
                p.x.clamp(-60.0, self.size[0] + 60.0),
                p.y.clamp(-30.0, self.size[1] + 60.0),
                p.z,
            );
            add(
                &mut out,
                self.veiled(i, colour, veil),
                far * self.fields[i].at(&near),
            );
        }
        out
    }

    /// Mean sensor values of bare paper at a point of the face, for light truth and exposure.
    pub fn paper_at(&self, x: f64, y: f64) -> [f64; 3] {
        let p = Vec3::new(x, self.size[1] - y, 0.0);
        let mut out = [0.0; 3];
        for (s, bake) in self.bakes.iter().enumerate() {
            let field = self.fields[s].at(&p);
            for (sum, v) in out.iter_mut().zip(bake.materials[0]) {
                *sum += field * f64::from(v);
            }
        }
        out
    }

    /// Outline of the vial and of its liquid in the photo: four corners each, top left first, clockwise as the vial stands.
    pub fn outlines(&self) -> Option<[[[f64; 2]; 4]; 2]> {
        let vial = self.scene.vial.as_ref()?;
        let level = self
            .scene
            .liquid
            .as_ref()
            .map_or(vial.base_mm, |l| vial.level(l.fill));
        let towards = self.camera.at - self.foot;
        let flat = Vec3::new(towards.x, 0.0, 0.0) + self.out * towards.dot(&self.out);
        let side = self.up.cross(&flat.normalize());
        let at = |h: f64, r: f64| self.camera.project(&(self.foot + self.up * h + side * r));
        let quad =
            |low: f64, high: f64, r: f64| [at(high, -r), at(high, r), at(low, r), at(low, -r)];
        let top = vial.height_mm + vial.cap.as_ref().map_or(0.0, |c| c.above_mm);
        Some([
            quad(0.0, top, vial.outer_radius()),
            quad(vial.base_mm, level, vial.inner_radius()),
        ])
    }

    pub fn photo_of(&self, x: f64, y: f64) -> [f64; 2] {
        let bend = self.scene.surroundings.bend_mm;
        let u = x / self.size[0] * 2.0 - 1.0;
        self.camera
            .project(&Vec3::new(x, self.size[1] - y, bend * u * u))
    }
}
