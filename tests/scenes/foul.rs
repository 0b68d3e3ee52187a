//! Photos in which something is wrong, each made from a session's own by one change.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::light::{Fall, Light, Shadow, Source};
use super::population::bubbles;
use super::print::Stain;
use super::seed::{normal, stream};
use super::spectra::illuminant;
use super::{Cover, CoverKind, Dye, Liquid, Scene, Series, Session, Vec3};

/// What can go wrong with a photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Foul {
    /// A hard-edged shadow across the vial.
    Shadow,
    BlownOut,
    VeryDark,
    Blurred,
    Turbid,
    Bubbly,
    /// Not mixed: the colour runs from bottom to top.
    Layered,
    /// Another test's colour in the vial.
    OtherDye,
    FlashGlare,
    /// Daylight from one side, a warm lamp from the other.
    MixedLight,
    /// Beyond the last step.
    OverRange,
    NoVial,
    LittleLiquid,
    /// Fingers or things over one or two markers.
    CoveredMarkers,
    TwoCards,
    NoCard,
    /// The card bent forward or back.
    Bent,
    /// Bleached ink.
    Faded,
    /// Spills on the print.
    Stained,
}

impl Foul {
    pub const ALL: [Foul; 19] = [
        Foul::Shadow,
        Foul::BlownOut,
        Foul::VeryDark,
        Foul::Blurred,
        Foul::Turbid,
        Foul::Bubbly,
        Foul::Layered,
        Foul::OtherDye,
        Foul::FlashGlare,
        Foul::MixedLight,
        Foul::OverRange,
        Foul::NoVial,
        Foul::LittleLiquid,
        Foul::CoveredMarkers,
        Foul::TwoCards,
        Foul::NoCard,
        Foul::Bent,
        Foul::Faded,
        Foul::Stained,
    ];
}

impl Session {
    /// A photo of the session in which something is wrong; `concentration` in mg/L where it still applies.
    pub fn foul(&self, kind: Foul, concentration: f64, seed: u64) -> Scene {
        let mut s = self.own(concentration, seed);
        let rng = &mut stream(s.seed, 60 + kind as u64);
        match kind {
            Foul::Shadow => {
                // An edge across the vial, as of a hand or of the phone: half a plane, or a narrow band.
                let (half, off) = if rng.random_bool(0.5) {
                    (400.0, 400.0)
                } else {
                    (rng.random_range(4.0..9.0), 0.0)
                };
                s.light.shadow = Some(Shadow {
                    at: [90.0 + off + rng.random_range(-6.0..6.0), 80.0],
                    across_deg: rng.random_range(-20.0..20.0),
                    half_width_mm: half,
                    soft_mm: rng.random_range(1.0..8.0),
                    depth: rng.random_range(0.45..0.8),
                });
            }
            Foul::BlownOut => s.exposure.stops = rng.random_range(1.6..2.6),
            Foul::VeryDark => {
                s.exposure.stops = rng.random_range(-5.5..-4.0);
                s.exposure.gain *= 6.0;
            }
            Foul::Blurred => {
                if rng.random_bool(0.5) {
                    s.exposure.defocus = rng.random_range(0.006..0.012);
                } else {
                    s.exposure.motion = rng.random_range(0.025..0.05);
                }
            }
            Foul::Turbid => liquid(&mut s).turbidity = rng.random_range(0.35..0.7),
            Foul::Bubbly => liquid(&mut s).bubbles = bubbles(rng, 90),
            Foul::Layered => {
                let sign = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
                liquid(&mut s).layers = sign * rng.random_range(0.4..0.8);
            }
            Foul::OtherDye => {
                let others: &[Series] = match self.dye.series {
                    Series::Pink | Series::YellowRed => {
                        &[Series::YellowBlue, Series::Indophenol, Series::PaleBlue]
                    }
                    _ => &[Series::Pink, Series::YellowRed],
                };
                let other = others[rng.random_range(0..others.len())];
                let steps = other.steps();
                let l = liquid(&mut s);
                l.concentration = steps[steps.len() - rng.random_range(1..=2)];
                l.dye = Dye::new(other, self.dye.peak, self.dye.path_mm);
            }
            Foul::FlashGlare => {
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
                    Vec3::new(90.0, 62.0, 0.0),
                ));
                s.print.sheen = s.print.sheen.max(0.02) * rng.random_range(2.0..8.0);
            }
            Foul::MixedLight => mixed(&mut s, rng),
            Foul::OverRange => {
                let top = *self.dye.series.steps().last().expect("steps");
                liquid(&mut s).concentration = top * rng.random_range(1.8..4.0);
            }
            Foul::NoVial => {
                s.vial = None;
                s.liquid = None;
            }
            Foul::LittleLiquid => liquid(&mut s).fill = rng.random_range(0.03..0.12),
            Foul::CoveredMarkers => cover_markers(&mut s, rng),
            Foul::TwoCards => {
                s.surroundings.second_card = Some([
                    186.0,
                    rng.random_range(-20.0..10.0),
                    rng.random_range(-6.0..6.0),
                ]);
                s.pose.cover = 0.47;
                s.pose.aim_mm[0] += 92.0;
            }
            Foul::NoCard => s.surroundings.has_card = false,
            Foul::Bent => {
                let sign = if rng.random_bool(0.5) { 1.0 } else { -1.0 };
                s.surroundings.bend_mm = sign * rng.random_range(6.0..14.0);
            }
            Foul::Faded => s.print.fade = rng.random_range(0.3..0.6),
            Foul::Stained => {
                for _ in 0..rng.random_range(1..4) {
                    let left = rng.random_bool(0.5);
                    s.print.stains.push(Stain {
                        at: [
                            if left {
                                rng.random_range(15.0..65.0)
                            } else {
                                rng.random_range(115.0..165.0)
                            },
                            rng.random_range(20.0..105.0),
                        ],
                        radius_mm: rng.random_range(6.0..18.0),
                        takes: [
                            rng.random_range(0.05..0.12),
                            rng.random_range(0.12..0.25),
                            rng.random_range(0.3..0.5),
                        ],
                    });
                }
            }
        }
        s
    }
}

fn liquid(s: &mut Scene) -> &mut Liquid {
    s.liquid.as_mut().expect("a session's scene has liquid")
}

/// A window on the left and a warm lamp on the right.
fn mixed(s: &mut Scene, rng: &mut ChaCha8Rng) {
    let mut window = Source::window(illuminant("D75"), rng);
    window.azimuth_deg = -window.azimuth_deg.abs();
    window.fall = Fall::Linear {
        ratio: 5.0,
        towards_deg: 180.0,
    };
    window.strength = 0.5;
    let mut lamp = Source::lamp(illuminant("A"), rng);
    lamp.azimuth_deg = lamp.azimuth_deg.abs() + 20.0;
    lamp.fall = Fall::Linear {
        ratio: 5.0,
        towards_deg: 0.0,
    };
    lamp.strength = 0.5;
    s.light = Light {
        sources: vec![window, lamp],
        ..s.light.clone()
    };
}

/// A finger or a box over one or two markers.
fn cover_markers(s: &mut Scene, rng: &mut ChaCha8Rng) {
    let corners = [[14.0, 14.0], [166.0, 14.0], [166.0, 110.0], [14.0, 110.0]];
    let skins = [[0.55, 0.32, 0.22], [0.35, 0.19, 0.12], [0.68, 0.45, 0.36]];
    let first = rng.random_range(0..4);
    for k in 0..rng.random_range(1..=2) {
        let at = corners[(first + k) % 4];
        s.surroundings.covers.push(if rng.random_bool(0.6) {
            // The tip lies on the marker, the finger comes from the side.
            let inward = if at[0] < 90.0 { 1.0 } else { -1.0 };
            Cover {
                kind: CoverKind::Finger,
                at: [
                    at[0] + inward * rng.random_range(-4.0..6.0),
                    at[1] + rng.random_range(-3.0..3.0),
                ],
                half: [rng.random_range(7.0..9.0), 70.0],
                turn_deg: inward * 90.0 + rng.random_range(-30.0..30.0),
                before_mm: 6.0,
                colour: skins[rng.random_range(0..skins.len())],
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
