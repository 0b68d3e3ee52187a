//! Rays that meet the vial: cap, walls, liquid, its surface, bubbles, and what the glass reflects.

use super::Vec3;
use super::bake::Rgb;
use super::render::{Local, Stage, Veil, add, scaled, step};
use super::seed::texture;
use super::vial::{Inside, Liquid, Passage, Vial, fresnel};

impl Stage<'_> {
    /// Where a ray in the vial's frame meets an upright cylinder: entry distance.
    fn enters(o: Local, d: Local, radius: f64) -> Option<f64> {
        let a = d.x * d.x + d.z * d.z;
        let half_b = o.x * d.x + o.z * d.z;
        let root = half_b * half_b - a * (o.x * o.x + o.z * o.z - radius * radius);
        (root > 0.0 && a > 1e-12).then(|| (-half_b - root.sqrt()) / a)
    }

    /// Where a ray meets a level disc.
    fn meets_disc(o: Local, d: Local, h: f64, radius: f64) -> Option<f64> {
        let t = (h - o.h) / d.h;
        let (x, z) = (o.x + d.x * t, o.z + d.z * t);
        (t > 0.0 && x * x + z * z < radius * radius).then_some(t)
    }

    pub fn vial_seen(&self, o: &Vec3, d: &Vec3) -> Option<Rgb> {
        let vial = self.scene.vial.as_ref()?;
        let lo = self.local(o);
        let ld = Local {
            x: d.x,
            z: d.dot(&self.out),
            h: d.dot(&self.up),
        };
        if let Some(cap) = &vial.cap {
            let (from, top) = (vial.height_mm - cap.down_mm, vial.height_mm + cap.above_mm);
            let radius = vial.outer_radius() + cap.over_mm;
            if let Some(t) = Self::enters(lo, ld, radius) {
                let p = Local {
                    x: lo.x + ld.x * t,
                    z: lo.z + ld.z * t,
                    h: lo.h + ld.h * t,
                };
                if p.h >= from && p.h <= top {
                    return Some(self.cap_seen(
                        p,
                        ld,
                        radius,
                        cap.ribs,
                        (p.h - from).min(top - p.h),
                    ));
                }
                if ld.h < 0.0 && Self::meets_disc(lo, ld, top, radius).is_some() {
                    return Some(self.lit(self.extra.cap, &self.up, &self.world(p), 1.0));
                }
                if ld.h > 0.0 && Self::meets_disc(lo, ld, from, radius).is_some() && p.h < from {
                    // From below, past the glass: the cap's underside, in its own shade.
                    if Self::enters(lo, ld, vial.outer_radius()).is_none() {
                        return Some(self.lit(self.extra.cap, &self.out, &self.world(p), 0.3));
                    }
                }
            }
        }
        let t = Self::enters(lo, ld, vial.outer_radius())?;
        let p = Local {
            x: lo.x + ld.x * t,
            z: lo.z + ld.z * t,
            h: lo.h + ld.h * t,
        };
        if p.h < 0.0 || p.h > vial.height_mm {
            if vial.cap.is_none() && p.h > vial.height_mm && ld.h < 0.0 {
                return self.mouth_seen(lo, ld, d, vial);
            }
            return None;
        }
        Some(self.wall_of_vial(vial, p, ld))
    }

    /// A lit matt surface.
    pub fn lit(&self, material: usize, normal: &Vec3, p: &Vec3, share: f64) -> Rgb {
        let mut out = [0.0; 3];
        for (s, bake) in self.bakes.iter().enumerate() {
            let source = &self.scene.light.sources[s];
            add(
                &mut out,
                bake.materials[material],
                share * self.fields[s].at(p) * source.on_surface(normal),
            );
        }
        out
    }

    fn cap_seen(&self, p: Local, d: Local, radius: f64, ribs: u32, from_edge: f64) -> Rgb {
        let mut angle = p.x.atan2(p.z);
        let mut shade = 0.92;
        if ribs > 0 && from_edge > 0.8 {
            let phase = angle * f64::from(ribs);
            angle += 0.35 * phase.cos();
            shade -= 0.12 * (0.5 - 0.5 * phase.sin());
        }
        let n = self.turn_to_world(angle.sin(), angle.cos(), 0.0);
        let mut out = self.lit(
            self.extra.cap,
            &n,
            &self.world(p),
            shade * step(0.0, 1.2, from_edge + 0.5).max(0.55),
        );
        // Plastic has a soft gloss.
        let (nx, nz) = (p.x / radius, p.z / radius);
        let dn = d.x * nx + d.z * nz;
        let mirror = self.turn_to_world(d.x - 2.0 * dn * nx, d.z - 2.0 * dn * nz, d.h);
        let blur = self.room(&mirror, None).map(|v| v.min(4.0));
        add(&mut out, blur, 0.6 * fresnel(1.0, 1.5, -dn));
        out
    }

    /// Into an open vial from above its rim.
    fn mouth_seen(&self, o: Local, ld: Local, d: &Vec3, vial: &Vial) -> Option<Rgb> {
        let t = Self::meets_disc(o, ld, vial.height_mm, vial.outer_radius())?;
        let p = Local {
            x: o.x + ld.x * t,
            z: o.z + ld.z * t,
            h: vial.height_mm,
        };
        let r = p.x.hypot(p.z);
        let mut behind = self.beyond(&self.world(p), d, None);
        if r > vial.inner_radius() {
            // The rim: rounded glass, bright and dark.
            let round = ((r - vial.inner_radius()) / vial.wall_mm * std::f64::consts::PI).sin();
            behind = scaled(behind, 0.55 + 0.5 * round);
        } else {
            behind = scaled(behind, 0.88);
        }
        Some(behind)
    }

    fn wall_of_vial(&self, vial: &Vial, p: Local, ld: Local) -> Rgb {
        let scene = self.scene;
        let across = ld.x.hypot(ld.z);
        let (ux, uz) = (ld.x / across, ld.z / across);
        let b = p.x * uz - p.z * ux;
        let k = ld.h;
        let radius = vial.outer_radius();
        let level = scene.liquid.as_ref().map_or(0.0, |l| vial.level(l.fill));
        let (liquid_pass, air_pass) = (
            vial.pass(b, k, Inside::Liquid),
            vial.pass(b, k, Inside::Air),
        );
        let solid = p.h < vial.base_mm;
        // The liquid climbs the wall: its surface is higher there than in the middle.
        let climb = 1.1;
        let front = p.h + liquid_pass.rise[0];
        let back = p.h + liquid_pass.rise[1];
        let mut shade = 1.0;
        let mut wet = 1.0;
        let pass: Passage;
        if solid {
            pass = vial.pass(b, k, Inside::Solid);
            let depth = p.h / vial.base_mm;
            // The bottom is uneven inside: it bends light away.
            shade =
                0.62 + 0.22 * depth + 0.10 * texture(b / radius * 4.0, p.h / 1.3, scene.seed ^ 77);
            if p.h < 0.7 {
                shade *= 0.7;
            }
            wet = 0.0;
        } else if front < level && back < level {
            pass = liquid_pass;
            shade *= 1.0 - 0.30 * (-(front - vial.base_mm) / 0.6).exp();
        } else if front >= level && back >= level + climb {
            pass = air_pass;
            wet = 0.0;
        } else if front < level {
            // From below at the surface: it mirrors the liquid underneath.
            pass = liquid_pass;
            shade *= 0.93;
        } else {
            // From above through the surface: air, then liquid.
            let share = ((level - back) / (front - back).abs().max(0.3)).clamp(0.0, 1.0);
            pass = Passage {
                turn: air_pass.turn * (1.0 - share) + liquid_pass.turn * share,
                inside_mm: liquid_pass.inside_mm * share,
                ..air_pass
            };
            wet = share;
            shade *= 0.90;
        }
        if !solid && level > 0.0 {
            // Where the liquid climbs the front and the far wall, it is a prism that shows the dark or bright room.
            let band = |h: f64| ((h - level + 0.25) / climb).clamp(0.0, 1.0);
            let dark = |u: f64| (std::f64::consts::PI * u).sin().powf(0.7);
            let front_band = band(front);
            shade *= 1.0 - 0.48 * dark(front_band);
            shade += 0.22 * (-0.5 * ((front - level - climb) / 0.18).powi(2)).exp();
            if front > level {
                shade *= 1.0 - 0.22 * dark(band(back));
            }
        }
        if p.h > vial.height_mm - 0.8 && vial.cap.is_none() {
            shade *= 0.75;
        }
        let sign = if b >= 0.0 { 1.0 } else { -1.0 };
        let rotated = |turn: f64| {
            let (s, c) = (turn * sign).sin_cos();
            (ux * c - uz * s, ux * s + uz * c)
        };
        let (ex, ez) = rotated(pass.turn);
        let along = (radius * radius - b * b).max(0.0).sqrt();
        let exit = Local {
            x: b * ez + ex * along,
            z: -b * ex + ez * along,
            h: (p.h + pass.rise[2]).max(0.02),
        };
        let exit_d = self.turn_to_world(ex * across, ez * across, k);
        let relative = scene.liquid.as_ref().map_or(1.0, |l| {
            let u = ((0.5 * (front + back) - vial.base_mm) / (level - vial.base_mm).max(1.0))
                .clamp(0.0, 1.0);
            1.0 + l.layers * (1.0 - 2.0 * u)
        });
        let mm = if wet > 0.0 { pass.inside_mm } else { 0.0 };
        let veil = Veil { mm, relative };
        let mut seen = self.beyond(&self.world(exit), &exit_d, Some(veil));
        if let Some(liquid) = &scene.liquid
            && mm > 0.0
        {
            if liquid.turbidity > 0.0 {
                let kept = (1.0 - liquid.turbidity).powf(mm / vial.path_mm());
                let at = self.world(Local {
                    x: 0.0,
                    z: 0.0,
                    h: p.h,
                });
                seen = scaled(seen, kept);
                for (s, bake) in self.bakes.iter().enumerate() {
                    let field = self.fields[s].at(&at);
                    add(&mut seen, bake.cloud(mm, relative), (1.0 - kept) * field);
                }
            }
            let inside = (pass.inside_impact * sign, rotated(pass.turn_inside));
            let rise = 0.5 * (front + back) - vial.base_mm;
            seen = scaled(seen, Self::bubbles(vial, liquid, inside, rise));
        }
        let tint: Rgb = std::array::from_fn(|c| vial.wall_tint[c].powf(pass.wall_mm) as f32);
        let share = pass.let_through * shade;
        let mut out: Rgb = std::array::from_fn(|c| seen[c] * tint[c] * share as f32);

        // Reflections of the room: off the near wall, and off the far one through the liquid.
        let (nx, nz) = (p.x / radius, p.z / radius);
        let dn = ld.x * nx + ld.z * nz;
        let mirror = self.turn_to_world(ld.x - 2.0 * dn * nx, ld.z - 2.0 * dn * nz, ld.h);
        add(
            &mut out,
            self.reflected(&self.world(p), &mirror, None),
            pass.reflected,
        );
        if pass.echo > 0.0 && !solid {
            let (qx, qz) = rotated(pass.echo_turn);
            let back = self.turn_to_world(qx * across, qz * across, k);
            let veil = Veil {
                mm: 2.0 * mm,
                relative,
            };
            add(
                &mut out,
                self.reflected(&self.world(p), &back, Some(veil)),
                pass.echo * 0.7,
            );
        }
        out
    }

    /// What a reflected ray meets: the card at the sides of the vial, table or room.
    fn reflected(&self, p: &Vec3, d: &Vec3, veil: Option<Veil>) -> Rgb {
        if d.z > 0.02 && d.dot(&self.up) >= -0.02 {
            self.room(d, veil)
        } else {
            self.beyond(p, d, veil)
        }
    }

    /// What bubbles make of a ray in the liquid, as a factor: its impact parameter and direction there, and how high above
    /// the bottom it passes.
    fn bubbles(vial: &Vial, liquid: &Liquid, (impact, dir): (f64, (f64, f64)), rise: f64) -> f64 {
        if !impact.is_finite() {
            return 1.0;
        }
        let depth = vial.level(liquid.fill) - vial.base_mm;
        let mut factor = 1.0;
        for [x, z, up, r] in &liquid.bubbles {
            let (x, z) = (x * vial.inner_radius(), z * vial.inner_radius());
            let dh = up * depth - rise;
            if dh.abs() > *r {
                continue;
            }
            let side = x * dir.1 - z * dir.0 - impact;
            let u = side.hypot(dh) / r;
            if u < 1.0 {
                // Total reflection at the bubble's edge shows the dark surroundings; its middle is a weak lens; a spark on top.
                let spark = (side / r - 0.3).hypot(dh / r - 0.35) < 0.18;
                factor *= if u > 0.62 {
                    0.42 + 0.4 * (1.0 - u)
                } else {
                    1.04
                };
                factor += if spark { 0.9 } else { 0.0 };
            }
        }
        factor
    }
}
