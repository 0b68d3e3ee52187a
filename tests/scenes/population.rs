//! Populations of photos: a chart session, and what may differ from it.
//!
//! A session draws phone, light, print, vial and test once from its seed; each scene draws its own small changes from its
//! own. The other populations change the light or the phone, and are held as people hold a phone another day; what goes
//! wrong is in [`super::foul`].

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::light::{Fall, Shadow, Source};
use super::print::{Paper, PaperKind, Printer, PrinterKind, plain_colour};
use super::seed::{normal, stream};
use super::spectra::{Spectrum, illuminant};
use super::vial::Cap;
use super::{
    Capture, Clutter, Dye, Exposure, Light, Liquid, Phone, Pose, Print, Scene, Series, Stand,
    Surroundings, Vial,
};

/// What stays the same through a chart session.
#[derive(Debug, Clone)]
pub struct Session {
    pub seed: u64,
    pub dye: Dye,
    pub phone: Phone,
    pub light: Light,
    pub print: Print,
    pub vial: Vial,
    pub surroundings: Surroundings,
    pub size: (u32, u32),
    /// How the pose and the light vary from shot to shot: 1 = by hand at one place.
    pub looseness: f64,
}

/// Lights that rooms have: daylight, incandescent, fluorescent and LED.
const ROOM_LIGHTS: [&str; 15] = [
    "D65", "D55", "D50", "D75", "A", "FL2", "FL7", "FL11", "LED-B1", "LED-B2", "LED-B3", "LED-B4",
    "LED-B5", "LED-V1", "LED-V2",
];

/// A room's light: one illuminant or a mixture of two.
fn room_spd(rng: &mut ChaCha8Rng) -> (Spectrum, bool) {
    let name = ROOM_LIGHTS[rng.random_range(0..ROOM_LIGHTS.len())];
    let mut spd = illuminant(name);
    if rng.random_bool(0.25) {
        let other = illuminant(ROOM_LIGHTS[rng.random_range(0..ROOM_LIGHTS.len())]);
        let share = rng.random_range(0.1..0.4);
        for (a, b) in spd.iter_mut().zip(other) {
            *a = *a * (1.0 - share) + b * share;
        }
    }
    (spd, name.starts_with('D'))
}

fn room_source(rng: &mut ChaCha8Rng) -> Source {
    let (spd, day) = room_spd(rng);
    if day {
        Source::window(spd, rng)
    } else {
        Source::lamp(spd, rng)
    }
}

/// A room: a main source that falls off a little.
fn room(rng: &mut ChaCha8Rng) -> Light {
    let mut source = room_source(rng);
    let towards = if source.azimuth_deg > 0.0 {
        rng.random_range(0.0..70.0)
    } else {
        rng.random_range(110.0..180.0)
    };
    source.fall = Fall::Linear {
        ratio: rng.random_range(1.02..1.25),
        towards_deg: towards,
    };
    Light::one(source, rng.random())
}

/// Vials that tests come with.
fn vial(rng: &mut ChaCha8Rng) -> Vial {
    let glass = rng.random_bool(0.7);
    let outer_mm: f64 = rng.random_range(13.0..27.0);
    let colours = [
        [0.85, 0.85, 0.83],
        [0.03, 0.12, 0.45],
        [0.02, 0.02, 0.02],
        [0.55, 0.04, 0.04],
        [0.05, 0.35, 0.12],
        [0.75, 0.55, 0.05],
    ];
    let cap = rng.random_bool(0.75).then(|| Cap {
        reflectance: plain_colour(colours[rng.random_range(0..colours.len())]),
        down_mm: rng.random_range(6.0..10.0),
        above_mm: rng.random_range(1.0..4.0),
        over_mm: rng.random_range(0.6..1.6),
        ribs: if rng.random_bool(0.6) {
            rng.random_range(30..60)
        } else {
            0
        },
    });
    Vial {
        outer_mm,
        wall_mm: rng.random_range(0.8..1.2),
        height_mm: (outer_mm * rng.random_range(2.2..3.6)).clamp(38.0, 72.0),
        base_mm: rng.random_range(1.2..3.2),
        index: if glass {
            1.517
        } else {
            rng.random_range(1.49..1.59)
        },
        wall_tint: if glass {
            [0.996, 0.999, 0.997]
        } else {
            [0.998, 0.998, 0.997]
        },
        cap,
    }
}

fn print(rng: &mut ChaCha8Rng) -> Print {
    let papers = [
        PaperKind::Bright,
        PaperKind::Bright,
        PaperKind::Bright,
        PaperKind::Cream,
        PaperKind::Recycled,
    ];
    let printers = [
        PrinterKind::DyeJet,
        PrinterKind::PigmentJet,
        PrinterKind::Toner,
    ];
    let paper = Paper::new(papers[rng.random_range(0..papers.len())], rng);
    let printer = Printer::new(printers[rng.random_range(0..printers.len())], rng);
    Print {
        paper,
        printer,
        seed: rng.random(),
        fade: 0.0,
        stains: Vec::new(),
        sheen: rng.random_range(0.0..0.03),
    }
}

fn surroundings(rng: &mut ChaCha8Rng) -> Surroundings {
    let tables = [
        [0.45, 0.28, 0.15],
        [0.62, 0.60, 0.57],
        [0.22, 0.12, 0.06],
        [0.30, 0.31, 0.33],
        [0.75, 0.74, 0.70],
        [0.55, 0.40, 0.22],
    ];
    let walls = [
        [0.62, 0.60, 0.55],
        [0.45, 0.50, 0.52],
        [0.70, 0.68, 0.62],
        [0.25, 0.28, 0.32],
        [0.50, 0.36, 0.28],
        [0.12, 0.14, 0.18],
    ];
    let clutter = (0..rng.random_range(0..7))
        .map(|_| Clutter {
            at: [
                rng.random_range(-180.0..360.0),
                rng.random_range(0.0..260.0),
            ],
            half: [rng.random_range(12.0..90.0), rng.random_range(12.0..110.0)],
            colour: std::array::from_fn(|_| rng.random_range(0.02f64..0.85).powf(1.5)),
            stripes: rng.random_bool(0.25),
        })
        .collect();
    Surroundings {
        has_card: true,
        table_mm: rng.random_range(150.0..700.0),
        flap_mm: rng.random_range(45.0..65.0),
        bend_mm: 0.4 * normal(rng),
        second_card: None,
        table: tables[rng.random_range(0..tables.len())],
        grain: rng.random_range(0.0..0.12),
        wall: walls[rng.random_range(0..walls.len())],
        wall_mm: rng.random_range(60.0..500.0),
        clutter,
        covers: Vec::new(),
    }
}

impl Session {
    /// Draws a session; those of different series share nothing.
    pub fn new(seed: u64, series: Series) -> Session {
        let mut rng = stream(seed, 2 + 100 * series as u64);
        let vial = vial(&mut rng);
        let dye = Dye::new(series, rng.random_range(1.0..1.5), vial.path_mm());
        let portrait = rng.random_bool(0.4);
        Session {
            seed,
            dye,
            phone: Phone::seeded(&mut stream(seed, 3 + 100 * series as u64)),
            light: room(&mut stream(seed, 4 + 100 * series as u64)),
            print: print(&mut stream(seed, 5 + 100 * series as u64)),
            surroundings: surroundings(&mut stream(seed, 6 + 100 * series as u64)),
            vial,
            size: if portrait { (1200, 1600) } else { (1600, 1200) },
            looseness: 1.0,
        }
    }

    /// A photo like the session's: the same phone and light, the vial filled and put down anew, the phone held again.
    /// `concentration` in mg/L.
    pub fn own(&self, concentration: f64, seed: u64) -> Scene {
        let seed = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ self.seed;
        let mut rng = stream(seed, 10);
        let mut pose = Pose::hand(&mut rng);
        if self.size.0 < self.size.1 {
            pose.cover = (pose.cover * 1.3).min(0.85);
        }
        let mut light = self.light.clone();
        for s in &mut light.sources {
            s.strength *= (0.05 * self.looseness * normal(&mut rng)).exp();
            s.azimuth_deg += self.looseness * normal(&mut rng);
            if let Fall::Linear { ratio, towards_deg } = &mut s.fall {
                *ratio = (*ratio + 0.04 * self.looseness * normal(&mut rng)).max(1.0);
                *towards_deg += 8.0 * self.looseness * normal(&mut rng);
            }
        }
        let bubbles = if rng.random_bool(0.3) {
            bubbles(&mut rng, 3)
        } else {
            Vec::new()
        };
        Scene {
            seed,
            size: self.size,
            pose,
            stand: Stand {
                offset_mm: (1.3 * normal(&mut rng)).clamp(-4.0, 4.0),
                gap_mm: rng.random_range(0.0..2.0),
                card_lean_deg: rng.random_range(0.0..4.0),
            },
            vial: Some(self.vial.clone()),
            liquid: Some(Liquid {
                dye: self.dye.clone(),
                concentration,
                fill: rng.random_range(0.60..0.78),
                turbidity: 0.0,
                layers: 0.0,
                bubbles,
            }),
            light,
            print: self.print.clone(),
            phone: self.phone.clone(),
            exposure: Exposure::seeded(&mut rng),
            surroundings: self.surroundings.clone(),
            capture: Capture {
                taken_at: format!(
                    "2026:03:{:02} {:02}:{:02}:00",
                    rng.random_range(1..29),
                    rng.random_range(8..19),
                    rng.random_range(0..60)
                ),
                offset: "-08:00".into(),
                orientation: 1,
                software: None,
                seconds: 1.0 / rng.random_range(30.0..200.0),
            },
        }
    }

    /// In another room: other lamps or other daylight.
    pub fn other_light(&self, concentration: f64, seed: u64) -> Scene {
        let mut scene = self.own(concentration, seed);
        let mut rng = stream(scene.seed, 21);
        scene.light = room(&mut rng);
        freely(&mut scene, &mut rng);
        scene
    }

    /// With another phone in the session's light.
    pub fn other_camera(&self, concentration: f64, seed: u64) -> Scene {
        let mut scene = self.own(concentration, seed);
        let mut rng = stream(scene.seed, 22);
        scene.phone = Phone::seeded(&mut rng);
        freely(&mut scene, &mut rng);
        scene
    }

    /// In light that falls off to a side, comes from a lamp near by, or is partly kept out by a soft shadow.
    pub fn uneven(&self, concentration: f64, seed: u64) -> Scene {
        let mut scene = self.own(concentration, seed);
        let mut rng = stream(scene.seed, 23);
        uneven(&mut scene, &mut rng);
        freely(&mut scene, &mut rng);
        scene
    }

    /// Seen from a side, from 15 to 40 degrees off, the phone turned by any angle.
    pub fn tilted(&self, concentration: f64, seed: u64) -> Scene {
        let mut scene = self.own(concentration, seed);
        let mut rng = stream(scene.seed, 24);
        scene.pose.tilt_deg = rng.random_range(15.0..40.0);
        // From the sides or above: the table keeps the phone from going far below.
        scene.pose.from_deg = rng.random_range(0.0..180.0);
        scene.pose.roll_deg = rng.random_range(-180.0..180.0);
        scene
    }
}

/// A phone held as people do on another day: nearer or farther, up to 25 degrees off, a little turned.
fn freely(scene: &mut Scene, rng: &mut ChaCha8Rng) {
    scene.pose.tilt_deg = rng.random_range(0.0..25.0);
    scene.pose.from_deg = rng.random_range(20.0..160.0);
    scene.pose.roll_deg = 5.0 * normal(rng);
    scene.pose.cover = rng.random_range(0.45..0.85);
}

/// Up to `most` bubbles at the wall or afloat, most of them small.
pub fn bubbles(rng: &mut ChaCha8Rng, most: usize) -> Vec<[f64; 4]> {
    (0..rng.random_range(most.div_ceil(2)..=most))
        .map(|_| {
            let angle = rng.random_range(0.0..std::f64::consts::TAU);
            let r = rng.random_range(0.5f64..0.97);
            [
                r * angle.sin(),
                r * angle.cos(),
                rng.random_range(0.02..0.98),
                0.15 + 0.6 * rng.random_range(0.0f64..1.0).powi(3),
            ]
        })
        .collect()
}

/// Strong fall-off to a side, a near lamp, or a soft shadow over a part of the card.
fn uneven(s: &mut Scene, rng: &mut ChaCha8Rng) {
    let source = &mut s.light.sources[0];
    match rng.random_range(0..3) {
        0 => {
            source.fall = Fall::Linear {
                ratio: rng.random_range(1.5..3.0),
                towards_deg: rng.random_range(0.0..360.0),
            };
        }
        1 => {
            let d = source.direction() * rng.random_range(260.0..420.0);
            source.fall = Fall::Lamp {
                at: [90.0 + d.x, 62.0 + d.y, d.z.max(90.0)],
            };
        }
        _ => {
            let side = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
            s.light.shadow = Some(Shadow {
                at: [90.0 + side * rng.random_range(430.0..480.0), 62.0],
                across_deg: rng.random_range(-30.0..30.0),
                half_width_mm: 400.0,
                soft_mm: rng.random_range(15.0..50.0),
                depth: rng.random_range(0.3..0.6),
            });
        }
    }
}

impl Scene {
    /// A photo of a pink test at its middle step with a session's own phone and light.
    pub fn plain(seed: u64) -> Scene {
        Session::new(1, Series::Pink).own(10.0, seed)
    }

    /// The same at another size; what is blurred is blurred alike.
    pub fn sized(mut self, width: u32, height: u32) -> Scene {
        self.size = (width, height);
        self
    }
}
