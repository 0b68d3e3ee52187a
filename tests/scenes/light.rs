//! Light: lamps and windows, how they fall over the scene, and shadows.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::Vec3;
use super::seed::texture;
use super::spectra::{Spectrum, illuminant};

/// How a source weakens over the scene.
#[derive(Debug, Clone, PartialEq)]
pub enum Fall {
    Even,
    /// Brightest to darkest over the card's diagonal as `ratio` to 1, brightest towards `towards_deg` (0 = right of the card,
    /// 90 = its top).
    Linear {
        ratio: f64,
        towards_deg: f64,
    },
    /// A point lamp at a place in scene millimetres: inverse square and cosine, 1 at the card's centre.
    Lamp {
        at: [f64; 3],
    },
}

/// One source of light.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    pub spd: Spectrum,
    /// Irradiance of the card's centre; all sources of a plain scene sum to 1.
    pub strength: f64,
    pub fall: Fall,
    /// Direction seen from the card, degrees: 0 = straight before it, positive = right; and above the horizon.
    pub azimuth_deg: f64,
    pub elevation_deg: f64,
    /// Half width and half height of the shining surface as seen from the card, degrees.
    pub half_width_deg: f64,
    pub half_height_deg: f64,
    /// Share that arrives from everywhere, off walls and ceiling.
    pub diffuse: f64,
    /// A bar across the window.
    pub barred: bool,
}

impl Source {
    /// A window.
    pub fn window(spd: Spectrum, rng: &mut ChaCha8Rng) -> Source {
        let side = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
        Source {
            spd,
            strength: 1.0,
            fall: Fall::Even,
            azimuth_deg: side * rng.random_range(25.0..70.0),
            elevation_deg: rng.random_range(4.0..28.0),
            half_width_deg: rng.random_range(8.0..22.0),
            half_height_deg: rng.random_range(14.0..30.0),
            diffuse: rng.random_range(0.35..0.65),
            barred: rng.random_bool(0.5),
        }
    }

    /// A ceiling or desk lamp.
    pub fn lamp(spd: Spectrum, rng: &mut ChaCha8Rng) -> Source {
        Source {
            spd,
            strength: 1.0,
            fall: Fall::Even,
            azimuth_deg: rng.random_range(-50.0..50.0),
            elevation_deg: rng.random_range(35.0..62.0),
            half_width_deg: rng.random_range(5.0..16.0),
            half_height_deg: rng.random_range(4.0..9.0),
            diffuse: rng.random_range(0.35..0.6),
            barred: false,
        }
    }

    /// The phone's own lamp beside its lens, at a place in scene millimetres.
    pub fn flash(strength: f64, at: [f64; 3], card_centre: Vec3) -> Source {
        let d = Vec3::from(at) - card_centre;
        Source {
            spd: illuminant("LED-B4"),
            strength,
            fall: Fall::Lamp { at },
            azimuth_deg: d.x.atan2(d.z).to_degrees(),
            elevation_deg: (d.y / d.norm()).asin().to_degrees(),
            half_width_deg: 0.7,
            half_height_deg: 0.7,
            diffuse: 0.06,
            barred: false,
        }
    }

    /// Unit vector towards the source.
    pub fn direction(&self) -> Vec3 {
        let (a, e) = (
            self.azimuth_deg.to_radians(),
            self.elevation_deg.to_radians(),
        );
        Vec3::new(a.sin() * e.cos(), e.sin(), a.cos() * e.cos())
    }

    /// Solid angle of the shining surface, sr.
    fn solid_angle(&self) -> f64 {
        4.0 * self.half_width_deg.to_radians()
            * self.half_height_deg.to_radians()
            * self.elevation_deg.to_radians().cos()
    }

    /// Cosine of incidence on the card.
    fn card_cosine(&self) -> f64 {
        self.direction().z.max(0.15)
    }

    /// Irradiance of a surface with normal `n`, where the card facing forward receives 1.
    pub fn on_surface(&self, n: &Vec3) -> f64 {
        let open = 0.5 + 0.5 * n.z.max(n.y);
        self.diffuse * open.clamp(0.3, 1.0)
            + (1.0 - self.diffuse)
                * (n.dot(&self.direction()).max(0.0) / self.card_cosine()).min(2.5)
    }

    /// Radiance that arrives from direction `d` (pointing away from the vial), where a perfect white on the card shines with 1.
    /// Energy balance: the surface of solid angle W that gives the direct irradiance E has the radiance E / (W cos).
    fn seen_towards(&self, d: &Vec3, room_seed: u64) -> f64 {
        let az = d.x.atan2(d.z).to_degrees();
        let el = d.y.clamp(-1.0, 1.0).asin().to_degrees();
        let (da, de) = (az - self.azimuth_deg, el - self.elevation_deg);
        let mut pane = soft(da, self.half_width_deg) * soft(de, self.half_height_deg);
        if self.barred && da.abs() < 0.06 * self.half_width_deg {
            pane *= 0.15;
        }
        let direct = (1.0 - self.diffuse) * std::f64::consts::PI
            / (self.solid_angle() * self.card_cosine())
            * pane;
        // Walls and ceiling are lighter than what stands about below; the photographer is darker.
        let room = 0.75
            + 0.35 * texture(az / 35.0, el / 30.0, room_seed)
            + 0.3 * (el / 60.0).clamp(-1.0, 1.0);
        self.strength * (direct + self.diffuse * room.max(0.08))
    }
}

/// A soft-edged shadow that falls on card and vial: a band, or with a wide band a half plane.
#[derive(Debug, Clone, PartialEq)]
pub struct Shadow {
    /// A point of its middle line, mm on the card's face.
    pub at: [f64; 2],
    /// Direction across the band on the face, degrees.
    pub across_deg: f64,
    pub half_width_mm: f64,
    pub soft_mm: f64,
    /// Share of the first source that is kept out.
    pub depth: f64,
}

impl Shadow {
    /// Share of the first source that arrives at a point of the face; `c`, `s` is the unit vector across the band.
    fn open(&self, x: f64, y: f64, [c, s]: [f64; 2]) -> f64 {
        let u = ((x - self.at[0]) * c + (y - self.at[1]) * s).abs() - self.half_width_mm;
        let t = (0.5 - u / self.soft_mm.max(0.1)).clamp(0.0, 1.0);
        1.0 - self.depth * t * t * (3.0 - 2.0 * t)
    }
}

/// 1 within `half` of 0, soft at the edge.
fn soft(v: f64, half: f64) -> f64 {
    (1.0 + (half - v.abs()) / (0.08 * half).max(0.3)).clamp(0.0, 1.0)
}

/// All light of a scene.
#[derive(Debug, Clone, PartialEq)]
pub struct Light {
    pub sources: Vec<Source>,
    pub shadow: Option<Shadow>,
    /// Seed of what the room looks like in reflections.
    pub room_seed: u64,
    /// Bright things low in the room, seen only in reflections: lit walls, screens, open doors.
    pub panels: Vec<Panel>,
}

/// A bright thing that adds nothing to speak of to the light on the card.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    pub azimuth_deg: f64,
    pub elevation_deg: f64,
    pub half_width_deg: f64,
    pub half_height_deg: f64,
    /// Radiance, where a perfect white on the card shines with 1.
    pub radiance: f64,
}

impl Panel {
    pub fn seeded(rng: &mut ChaCha8Rng) -> Panel {
        Panel {
            azimuth_deg: rng.random_range(-85.0..85.0),
            elevation_deg: rng.random_range(-12.0..15.0),
            half_width_deg: rng.random_range(2.0..12.0),
            half_height_deg: rng.random_range(6.0..25.0),
            radiance: rng.random_range(1.5..7.0),
        }
    }
}

impl Light {
    /// A light of one source.
    pub fn one(source: Source, room_seed: u64) -> Light {
        Light {
            sources: vec![source],
            shadow: None,
            room_seed,
            panels: Vec::new(),
        }
    }

    /// Radiance of source `s` and of what it lights that arrives from direction `d`, pointing away from the vial.
    pub fn seen_towards(&self, s: usize, d: &Vec3) -> f64 {
        let mut out = self.sources[s].seen_towards(d, self.room_seed);
        if s == 0 {
            let az = d.x.atan2(d.z).to_degrees();
            let el = d.y.clamp(-1.0, 1.0).asin().to_degrees();
            for p in &self.panels {
                out += p.radiance
                    * soft(az - p.azimuth_deg, p.half_width_deg)
                    * soft(el - p.elevation_deg, p.half_height_deg);
            }
        }
        out
    }

    /// Source `s` made ready for a card of the given size.
    pub fn field(&self, s: usize, size: [f64; 2]) -> Field {
        let source = &self.sources[s];
        let centre = Vec3::new(size[0] / 2.0, size[1] / 2.0, 0.0);
        let mut field = Field {
            strength: source.strength,
            slope: Vec3::zeros(),
            centre,
            lamp: None,
            shadow: self.shadow.clone().filter(|_| s == 0).map(|shadow| {
                let (s, c) = shadow.across_deg.to_radians().sin_cos();
                (shadow, [c, s])
            }),
            height: size[1],
        };
        match &source.fall {
            Fall::Even => {}
            Fall::Linear { ratio, towards_deg } => {
                let (sin, cos) = towards_deg.to_radians().sin_cos();
                field.slope = Vec3::new(cos, sin, 0.0)
                    * ((ratio - 1.0) / (ratio + 1.0) / (0.5 * size[0].hypot(size[1])));
            }
            Fall::Lamp { at } => {
                let at = Vec3::from(*at);
                field.strength /= lamp_part(&at, &centre);
                field.lamp = Some(at);
            }
        }
        field
    }
}

/// What a point lamp sends to a surface that faces forward: cosine over distance squared.
fn lamp_part(at: &Vec3, p: &Vec3) -> f64 {
    let d = at - p;
    let r = d.norm_squared().max(400.0);
    d.z.max(20.0) / (r * r.sqrt())
}

/// A source's strength over the scene.
pub struct Field {
    strength: f64,
    slope: Vec3,
    centre: Vec3,
    lamp: Option<Vec3>,
    shadow: Option<(Shadow, [f64; 2])>,
    height: f64,
}

impl Field {
    /// Strength at a scene point.
    pub fn at(&self, p: &Vec3) -> f64 {
        let fall = match &self.lamp {
            Some(at) => lamp_part(at, p),
            None => (1.0 + self.slope.dot(&(p - self.centre))).max(0.05),
        };
        let open = self
            .shadow
            .as_ref()
            .map_or(1.0, |(s, across)| s.open(p.x, self.height - p.y, *across));
        self.strength * fall * open
    }
}
