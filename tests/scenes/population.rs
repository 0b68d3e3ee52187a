//! Populations: a session (one phone, light, print and kind of vial) from its seed, and shots of it under changed
//! conditions, each from its own seed.

use rand::Rng;
use rand::seq::IndexedRandom;
use rand_chacha::ChaCha8Rng;

use super::camera::{Exposure, Phone};
use super::dye::{Dye, Series};
use super::light::{Fall, Light, Shadow, Source};
use super::pose::Pose;
use super::print::{Paper, PaperKind, Print, Printer, PrinterKind, plain_colour};
use super::seed::{normal, stream};
use super::spectra::illuminant;
use super::vial::{Cap, Liquid, Stand, Vial};
use super::{Clutter, Cover, CoverKind, Scene, Surroundings, Vec3};

/// Lights a room may have: daylight, incandescent, fluorescent and LED.
pub const LIGHTS: [&str; 13] =
    ["D50", "D55", "D65", "D75", "A", "FL2", "FL7", "FL11", "LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5"];

/// What can go wrong with a photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Foul {
    Shadow,
    BlownOut,
    VeryDark,
    Blurred,
    Turbid,
    OtherDye,
    FlashGlare,
    MixedLight,
    OverRange,
    NoVial,
    CoveredMarkers,
    TwoCards,
}

impl Foul {
    pub const ALL: [Foul; 12] = [
        Foul::Shadow,
        Foul::BlownOut,
        Foul::VeryDark,
        Foul::Blurred,
        Foul::Turbid,
        Foul::OtherDye,
        Foul::FlashGlare,
        Foul::MixedLight,
        Foul::OverRange,
        Foul::NoVial,
        Foul::CoveredMarkers,
        Foul::TwoCards,
    ];
}

/// A calibration session: what stays the same from photo to photo.
#[derive(Debug, Clone)]
pub struct Session {
    pub seed: u64,
    pub phone: Phone,
    pub light: Light,
    pub print: Print,
    pub vial: Vial,
    pub dye: Dye,
    pub surroundings: Surroundings,
    pub size: (u32, u32),
}

fn light(rng: &mut ChaCha8Rng, names: &[&str]) -> Light {
    let spd = illuminant(names.choose(rng).expect("names"));
    let source = if rng.random_bool(0.5) { Source::window(spd, rng) } else { Source::lamp(spd, rng) };
    let seed = rng.random();
    Light::one(source, seed)
}

fn surroundings(rng: &mut ChaCha8Rng) -> Surroundings {
    let mut grey = |low: f64, high: f64| {
        let v = rng.random_range(low..high);
        [v * rng.random_range(0.85..1.15), v, v * rng.random_range(0.7..1.1)]
    };
    let (table, wall) = (grey(0.12, 0.6), grey(0.2, 0.75));
    let clutter = (0..rng.random_range(0..6))
        .map(|_| Clutter {
            at: [rng.random_range(-160.0..340.0), rng.random_range(0.0..260.0)],
            half: [rng.random_range(8.0..60.0), rng.random_range(10.0..90.0)],
            stripes: rng.random_bool(0.2),
            colour: std::array::from_fn(|_| rng.random_range(0.03..0.7)),
        })
        .collect();
    Surroundings {
        has_card: true,
        second_card: None,
        bend_mm: 0.0,
        flap_mm: 45.0,
        wall_mm: rng.random_range(60.0..900.0),
        grain: rng.random_range(0.02..0.12),
        table,
        wall,
        clutter,
        covers: Vec::new(),
    }
}

impl Session {
    /// A session from its seed.
    pub fn new(seed: u64, series: Series) -> Session {
        let mut rng = stream(seed, 10 + series as u64);
        let rng = &mut rng;
        let paper = Paper::new(*[PaperKind::Bright, PaperKind::Bright, PaperKind::Cream, PaperKind::Recycled].choose(rng).expect("kinds"), rng);
        let printer = Printer::new(*[PrinterKind::DyeJet, PrinterKind::PigmentJet, PrinterKind::Toner].choose(rng).expect("kinds"), rng);
        let outer = rng.random_range(14.0..26.0);
        let height = rng.random_range(45.0..75.0);
        let cap_colour = *[[0.8, 0.8, 0.8], [0.05, 0.05, 0.05], [0.05, 0.1, 0.4], [0.5, 0.04, 0.04], [0.1, 0.35, 0.12]].choose(rng).expect("colours");
        let cap = rng.random_bool(0.7).then(|| Cap {
            reflectance: plain_colour(cap_colour),
            down_mm: rng.random_range(5.0..9.0),
            above_mm: rng.random_range(1.0..5.0),
            over_mm: rng.random_range(0.5..1.5),
            ribs: if rng.random_bool(0.5) { 24 } else { 0 },
        });
        let vial = Vial {
            outer_mm: outer,
            wall_mm: rng.random_range(0.8..1.2),
            height_mm: height,
            base_mm: rng.random_range(1.0..3.0),
            index: rng.random_range(1.49..1.56),
            wall_tint: [rng.random_range(0.990..1.0), 1.0, rng.random_range(0.990..1.0)],
            cap,
        };
        let peak = rng.random_range(0.9..1.5);
        let path = vial.path_mm();
        Session {
            seed,
            phone: Phone::seeded(rng),
            light: light(rng, &["D50", "D55", "D65", "LED-B3", "LED-B4", "FL7", "LED-B5"]),
            print: Print { paper, printer, seed: rng.random(), fade: 0.0, stains: Vec::new(), sheen: rng.random_range(0.0..0.02) },
            vial,
            dye: Dye::new(series, peak, path),
            surroundings: surroundings(rng),
            size: (1280, 960),
        }
    }

    /// A shot of the session itself: same phone and light, held and filled anew.
    pub fn own(&self, concentration: f64, seed: u64) -> Scene {
        let mut rng = stream(seed, self.seed.wrapping_mul(31).wrapping_add(3));
        let rng = &mut rng;
        Scene {
            seed: seed ^ self.seed.rotate_left(17),
            size: self.size,
            pose: Pose::hand(rng),
            light: self.light.clone(),
            print: self.print.clone(),
            vial: Some(self.vial.clone()),
            liquid: Some(Liquid {
                dye: self.dye.clone(),
                concentration,
                fill: rng.random_range(0.62..0.72),
                turbidity: 0.0,
                layers: 0.0,
                bubbles: (0..rng.random_range(0..3))
                    .map(|_| [rng.random_range(-0.9..0.9), rng.random_range(-0.4..0.4), rng.random_range(0.05..0.95), rng.random_range(0.2..0.6)])
                    .collect(),
            }),
            stand: Stand {
                offset_mm: (1.5 * normal(rng)).clamp(-4.0, 4.0),
                gap_mm: rng.random_range(0.0..2.0),
                card_lean_deg: rng.random_range(0.0..4.0),
            },
            surroundings: self.surroundings.clone(),
            phone: self.phone.clone(),
            exposure: Exposure::seeded(rng),
            taken_at: "2026:11:02 09:30:00".into(),
        }
    }

    /// Under another lamp or another daylight, from another side, held more freely.
    pub fn other_light(&self, concentration: f64, seed: u64) -> Scene {
        let mut scene = self.own(concentration, seed);
        let mut rng = stream(seed, 41);
        scene.light = light(&mut rng, &LIGHTS);
        free(&mut scene, &mut rng);
        scene
    }

    /// With another phone.
    pub fn other_camera(&self, concentration: f64, seed: u64) -> Scene {
        let mut scene = self.own(concentration, seed);
        let mut rng = stream(seed, 42);
        scene.phone = Phone::seeded(&mut rng);
        free(&mut scene, &mut rng);
        scene
    }

    /// In light that falls off to one side or comes from a lamp near by.
    pub fn uneven(&self, concentration: f64, seed: u64) -> Scene {
        let mut scene = self.own(concentration, seed);
        let mut rng = stream(seed, 43);
        let source = &mut scene.light.sources[0];
        source.fall = if rng.random_bool(0.5) {
            Fall::Linear { ratio: rng.random_range(1.5..3.0), towards_deg: rng.random_range(0.0..360.0) }
        } else {
            Fall::Lamp { at: [rng.random_range(-150.0..330.0), rng.random_range(120.0..380.0), rng.random_range(150.0..350.0)] }
        };
        free(&mut scene, &mut rng);
        scene
    }

    /// Something wrong.
    pub fn foul(&self, kind: Foul, concentration: f64, seed: u64) -> Scene {
        let mut scene = self.own(concentration, seed);
        let mut rng = stream(seed, 60 + kind as u64);
        let rng = &mut rng;
        match kind {
            Foul::Shadow => {
                scene.light.shadow = Some(Shadow {
                    at: [90.0 + rng.random_range(-8.0..8.0), 80.0],
                    across_deg: rng.random_range(-15.0..15.0),
                    half_width_mm: rng.random_range(4.0..9.0),
                    soft_mm: rng.random_range(1.0..4.0),
                    depth: rng.random_range(0.35..0.7),
                });
            }
            Foul::BlownOut => scene.exposure.stops = rng.random_range(1.6..2.6),
            Foul::VeryDark => {
                scene.exposure.stops = rng.random_range(-6.0..-4.5);
                scene.exposure.gain = 20.0;
            }
            Foul::Blurred => {
                if rng.random_bool(0.5) {
                    scene.exposure.defocus = rng.random_range(0.008..0.014);
                } else {
                    scene.exposure.motion = rng.random_range(0.03..0.05);
                }
            }
            Foul::Turbid => scene.liquid.as_mut().expect("liquid").turbidity = rng.random_range(0.35..0.7),
            Foul::OtherDye => {
                let others: Vec<Series> = match self.dye.series {
                    Series::Pink | Series::YellowRed => vec![Series::YellowBlue, Series::Indophenol],
                    _ => vec![Series::Pink],
                };
                let series = *others.choose(rng).expect("others");
                let liquid = scene.liquid.as_mut().expect("liquid");
                liquid.dye = Dye::new(series, self.dye.peak, self.dye.path_mm);
                liquid.concentration = series.steps()[series.steps().len() - 2];
            }
            Foul::FlashGlare => {
                scene.exposure.flash = true;
                let at = [90.0 + rng.random_range(-20.0..20.0), 60.0 + rng.random_range(-10.0..30.0), 300.0];
                scene.light.sources[0].strength = 0.3;
                scene.light.sources.push(Source::flash(0.7, at, Vec3::new(90.0, 62.0, 0.0)));
            }
            Foul::MixedLight => {
                let mut a = Source::window(illuminant("D75"), rng);
                let mut b = Source::lamp(illuminant("A"), rng);
                a.strength = 0.5;
                b.strength = 0.5;
                let towards = rng.random_range(0.0..360.0);
                a.fall = Fall::Linear { ratio: 8.0, towards_deg: towards };
                b.fall = Fall::Linear { ratio: 8.0, towards_deg: towards + 180.0 };
                scene.light = Light { sources: vec![a, b], shadow: None, room_seed: 5 };
            }
            Foul::OverRange => {
                let top = self.dye.series.steps().last().expect("steps");
                scene.liquid.as_mut().expect("liquid").concentration = top * rng.random_range(1.6..3.0);
            }
            Foul::NoVial => {
                scene.vial = None;
                scene.liquid = None;
            }
            Foul::CoveredMarkers => {
                let corner = *[[15.0, 15.0], [165.0, 15.0], [15.0, 62.0], [165.0, 62.0]].choose(rng).expect("corners");
                scene.surroundings.covers.push(Cover {
                    kind: CoverKind::Finger,
                    at: corner,
                    half: [9.0, 40.0],
                    turn_deg: rng.random_range(-60.0..60.0),
                    before_mm: 3.0,
                    colour: [0.55, 0.32, 0.24],
                });
            }
            Foul::TwoCards => {
                scene.surroundings.second_card = Some([20.0, -135.0, 0.02]);
                scene.pose.cover = 0.5;
            }
        }
        scene
    }
}

/// A hand that holds the phone as people do: tilted up to 25 degrees, turned, nearer or farther.
fn free(scene: &mut Scene, rng: &mut ChaCha8Rng) {
    scene.pose.tilt_deg = rng.random_range(0.0..25.0);
    scene.pose.from_deg = rng.random_range(20.0..160.0);
    scene.pose.roll_deg = 6.0 * normal(rng);
    scene.pose.cover = rng.random_range(0.5..0.85);
}
