//! Populations of photos: a chart session, and what may differ from it.
//!
//! A session draws phone, light, print, vial and test once from its seed; each scene draws its own small changes from its
//! own. The other populations change one thing of a session's scene.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::light::{Fall, Shadow, Source};
use super::print::{Paper, PaperKind, Printer, PrinterKind, plain_colour};
use super::seed::{normal, stream};
use super::spectra::{Spectrum, illuminant};
use super::vial::Cap;
use super::{
    Capture, Clutter, Cover, CoverKind, Dye, Exposure, Light, Liquid, Phone, Pose, Print, Scene,
    Series, Stand, Surroundings, Vial,
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

/// How a photo differs from its session's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// As in the session.
    Session,
    OtherLight,
    OtherCamera,
    UnevenLight,
    ShadowOnVial,
    BlownOut,
    VeryDark,
    BadlyBlurred,
    Turbid,
    Bubbly,
    Layered,
    OtherDye,
    Flash,
    MixedLight,
    OverRange,
    NoVial,
    LittleLiquid,
    CoveredMarkers,
    TwoCards,
    NoCard,
    Bent,
    Faded,
    Stained,
    Tilted,
}

impl Kind {
    pub const ALL: [Kind; 24] = [
        Kind::Session,
        Kind::OtherLight,
        Kind::OtherCamera,
        Kind::UnevenLight,
        Kind::ShadowOnVial,
        Kind::BlownOut,
        Kind::VeryDark,
        Kind::BadlyBlurred,
        Kind::Turbid,
        Kind::Bubbly,
        Kind::Layered,
        Kind::OtherDye,
        Kind::Flash,
        Kind::MixedLight,
        Kind::OverRange,
        Kind::NoVial,
        Kind::LittleLiquid,
        Kind::CoveredMarkers,
        Kind::TwoCards,
        Kind::NoCard,
        Kind::Bent,
        Kind::Faded,
        Kind::Stained,
        Kind::Tilted,
    ];
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
    /// Draws a session.
    pub fn new(seed: u64, series: Series) -> Session {
        let mut rng = stream(seed, 2);
        let vial = vial(&mut rng);
        let dye = Dye::new(series, rng.random_range(1.0..1.5), vial.path_mm());
        let portrait = rng.random_bool(0.4);
        Session {
            seed,
            dye,
            phone: Phone::seeded(&mut stream(seed, 3)),
            light: room(&mut stream(seed, 4)),
            print: print(&mut stream(seed, 5)),
            surroundings: surroundings(&mut stream(seed, 6)),
            vial,
            size: if portrait { (1200, 1600) } else { (1600, 1200) },
            looseness: 1.0,
        }
    }

    /// A photo like the session's.
    pub fn scene(&self, seed: u64, concentration: f64) -> Scene {
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

    /// A photo that differs from the session's in one way.
    pub fn scene_of(&self, kind: Kind, seed: u64, concentration: f64) -> Scene {
        let mut s = self.scene(seed, concentration);
        let rng = &mut stream(s.seed, 20);
        match kind {
            Kind::Session => {}
            Kind::OtherLight => s.light = room(rng),
            Kind::OtherCamera => s.phone = Phone::seeded(rng),
            Kind::UnevenLight => uneven(&mut s, rng),
            Kind::ShadowOnVial => {
                // An edge across the vial, as of a hand or of the phone.
                s.light.shadow = Some(Shadow {
                    at: [90.0 + rng.random_range(-6.0..6.0) + 400.0, 62.0],
                    across_deg: rng.random_range(-25.0..25.0),
                    half_width_mm: 400.0,
                    soft_mm: rng.random_range(3.0..14.0),
                    depth: rng.random_range(0.5..0.8),
                });
            }
            Kind::BlownOut => s.exposure.stops = rng.random_range(1.2..2.0),
            Kind::VeryDark => {
                s.exposure.stops = rng.random_range(-4.5..-3.2);
                s.exposure.gain *= 4.0;
            }
            Kind::BadlyBlurred => {
                s.exposure.defocus = rng.random_range(0.004..0.008);
                s.exposure.motion = rng.random_range(0.0..0.01);
            }
            Kind::Turbid => liquid(&mut s).turbidity = rng.random_range(0.35..0.7),
            Kind::Bubbly => liquid(&mut s).bubbles = bubbles(rng, 60),
            Kind::Layered => {
                liquid(&mut s).layers =
                    rng.random_range(0.4..0.8) * if rng.random_bool(0.5) { 1.0 } else { -1.0 }
            }
            Kind::OtherDye => {
                let others: Vec<Series> = Series::ALL
                    .into_iter()
                    .filter(|o| *o != self.dye.series)
                    .collect();
                let other = others[rng.random_range(0..others.len())];
                let dye = Dye::new(other, self.dye.peak, self.dye.path_mm);
                let steps = other.steps();
                let l = liquid(&mut s);
                l.concentration = steps[rng.random_range(steps.len() / 2..steps.len())];
                l.dye = dye;
            }
            Kind::Flash => {
                s.exposure.flash = true;
                for source in &mut s.light.sources {
                    source.strength *= 0.3;
                }
                let at = [
                    90.0 + 25.0 * normal(rng),
                    75.0 + 15.0 * normal(rng),
                    rng.random_range(230.0..330.0),
                ];
                s.light.sources.push(Source::flash(
                    rng.random_range(0.6..1.5),
                    at,
                    super::Vec3::new(90.0, 62.0, 0.0),
                ));
                s.print.sheen = s.print.sheen.max(0.02) * rng.random_range(2.0..8.0);
            }
            Kind::MixedLight => {
                let mut window = Source::window(illuminant("D65"), rng);
                window.azimuth_deg = -window.azimuth_deg.abs();
                window.fall = Fall::Linear {
                    ratio: 3.0,
                    towards_deg: 180.0,
                };
                window.strength = 0.5;
                let mut lamp = Source::lamp(illuminant("A"), rng);
                lamp.azimuth_deg = lamp.azimuth_deg.abs() + 20.0;
                lamp.fall = Fall::Linear {
                    ratio: 3.0,
                    towards_deg: 0.0,
                };
                lamp.strength = 0.5;
                s.light.sources = vec![window, lamp];
            }
            Kind::OverRange => {
                let top = *self.dye.series.steps().last().expect("steps");
                liquid(&mut s).concentration = top * rng.random_range(1.8..4.0);
            }
            Kind::NoVial => {
                s.vial = None;
                s.liquid = None;
            }
            Kind::LittleLiquid => liquid(&mut s).fill = rng.random_range(0.05..0.18),
            Kind::CoveredMarkers => cover_markers(&mut s, rng),
            Kind::TwoCards => {
                s.surroundings.second_card = Some([
                    186.0,
                    rng.random_range(-20.0..10.0),
                    rng.random_range(-6.0..6.0),
                ]);
                s.pose.cover = 0.40;
                s.pose.aim_mm[0] += 92.0;
            }
            Kind::NoCard => s.surroundings.has_card = false,
            Kind::Bent => {
                s.surroundings.bend_mm =
                    rng.random_range(5.0..14.0) * if rng.random_bool(0.5) { 1.0 } else { -1.0 }
            }
            Kind::Faded => s.print.fade = rng.random_range(0.25..0.5),
            Kind::Stained => {
                for _ in 0..rng.random_range(1..4) {
                    s.print.stains.push(super::print::Stain {
                        at: [
                            if rng.random_bool(0.5) {
                                rng.random_range(15.0..65.0)
                            } else {
                                rng.random_range(115.0..165.0)
                            },
                            rng.random_range(20.0..105.0),
                        ],
                        radius_mm: rng.random_range(6.0..18.0),
                        takes: [
                            rng.random_range(0.05..0.15),
                            rng.random_range(0.15..0.3),
                            rng.random_range(0.3..0.5),
                        ],
                    });
                }
            }
            Kind::Tilted => {
                s.pose.tilt_deg = rng.random_range(15.0..40.0);
                // From the sides or above: the table keeps the phone from going far below.
                s.pose.from_deg = rng.random_range(0.0..180.0);
                s.pose.roll_deg = rng.random_range(-180.0..180.0);
            }
        }
        s
    }
}

fn liquid(s: &mut Scene) -> &mut Liquid {
    s.liquid.as_mut().expect("a session's scene has liquid")
}

/// Up to `most` bubbles at the wall or afloat, most of them small.
fn bubbles(rng: &mut ChaCha8Rng, most: usize) -> Vec<[f64; 4]> {
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

/// A finger or a box over one or two markers.
fn cover_markers(s: &mut Scene, rng: &mut ChaCha8Rng) {
    let corners = [[12.0, 12.0], [168.0, 12.0], [168.0, 112.0], [12.0, 112.0]];
    let first = rng.random_range(0..4);
    for k in 0..rng.random_range(1..=2) {
        let at = corners[(first + k) % 4];
        let skin =
            [[0.55, 0.32, 0.22], [0.35, 0.19, 0.12], [0.68, 0.45, 0.36]][rng.random_range(0..3)];
        s.surroundings.covers.push(if rng.random_bool(0.6) {
            Cover {
                kind: CoverKind::Finger,
                at: [
                    at[0] + rng.random_range(-3.0..3.0),
                    at[1] + rng.random_range(-3.0..3.0),
                ],
                half: [rng.random_range(7.0..9.0), 60.0],
                turn_deg: if at[0] < 90.0 { 90.0 } else { -90.0 } + rng.random_range(-30.0..30.0),
                before_mm: 6.0,
                colour: skin,
            }
        } else {
            Cover {
                kind: CoverKind::Sheet,
                at,
                half: [rng.random_range(10.0..16.0), rng.random_range(10.0..16.0)],
                turn_deg: rng.random_range(-40.0..40.0),
                before_mm: 4.0,
                colour: std::array::from_fn(|_| rng.random_range(0.05..0.8)),
            }
        });
    }
}

impl Scene {
    /// A photo of a pink test at its middle step with a session's own phone and light.
    pub fn plain(seed: u64) -> Scene {
        Session::new(1, Series::Pink).scene(seed, 10.0)
    }

    /// The same at another size; what is blurred is blurred alike.
    pub fn sized(mut self, width: u32, height: u32) -> Scene {
        self.size = (width, height);
        self
    }
}
