//! Paper and ink: the reflectance of every patch, as a printer would lay it down.
//!
//! Inks are modelled: sums of Gaussian density bands with unwanted absorptions, three kinds of printer. A printer aims
//! at the sRGB code on its paper under D65 (media-relative) and misses by a seeded error, so that no two prints agree.
//! Shapes are models made here, not measurements of any ink.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::seed::normal;
use super::spectra::{N, Spectrum, XYZ_TO_SRGB, apply, bump, illuminant, rise, spectrum, xyz};
use super::srgb::decode;

/// Sorts of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PaperKind {
    /// Copy paper with a fluorescent brightener.
    Bright,
    /// Uncoated without brightener, yellowish.
    Cream,
    /// Greyish, speckled.
    Recycled,
}

/// A sheet of paper.
#[derive(Debug, Clone, PartialEq)]
pub struct Paper {
    pub kind: PaperKind,
    /// Reflectance without fluorescence.
    pub body: Spectrum,
    /// Strength of the brightener: share of white that it adds at 440 nm in light as violet as D65.
    pub brightener: f64,
    /// Standard deviation of the fibre texture, share of the reflectance.
    pub texture: f64,
}

impl Paper {
    pub fn new(kind: PaperKind, rng: &mut ChaCha8Rng) -> Paper {
        let level = rng.random_range(-0.015..0.015);
        let (body, brightener, texture): (Spectrum, f64, f64) = match kind {
            PaperKind::Bright => (
                spectrum(|w| 0.87 + level - 0.35 * rise(-w, -402.0, 7.0)),
                rng.random_range(0.05..0.11),
                0.004,
            ),
            PaperKind::Cream => (
                spectrum(|w| 0.84 + level - 0.16 * rise(-w, -470.0, 35.0)),
                0.0,
                0.005,
            ),
            PaperKind::Recycled => (
                spectrum(|w| 0.70 + level + 0.00013 * (w - 550.0)),
                rng.random_range(0.0..0.02),
                0.012,
            ),
        };
        Paper {
            kind,
            body,
            brightener,
            texture,
        }
    }

    /// What the paper sends back under a light, as a reflectance: the brightener turns the light's violet into blue.
    pub fn under(&self, light: &Spectrum) -> Spectrum {
        let violet = |s: &Spectrum| s[..7].iter().sum::<f64>() / s[12..20].iter().sum::<f64>();
        let share = self.brightener * violet(light) / violet(&illuminant("D65"));
        std::array::from_fn(|i| self.body[i] + share * bump(380.0 + 5.0 * i as f64, 440.0, 17.0))
    }
}

/// Sorts of printer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PrinterKind {
    DyeJet,
    PigmentJet,
    Toner,
}

/// A printer: its inks' densities at full cover (cyan, magenta, yellow, black) and how it errs.
#[derive(Debug, Clone, PartialEq)]
pub struct Printer {
    pub kind: PrinterKind,
    pub inks: [Spectrum; 4],
    /// Share of the grey component that black takes over.
    pub black_share: f64,
    /// Reflectance of its solid black.
    pub solid_black: f64,
    /// Errors of the four inks' amounts, as factors, and a random error per patch (standard deviation, share).
    pub ink_error: [f64; 4],
    pub patch_error: f64,
    /// Light that the surface sends back whatever is printed.
    pub surface: f64,
}

impl Printer {
    pub fn new(kind: PrinterKind, rng: &mut ChaCha8Rng) -> Printer {
        let mut j = |s: f64| s * normal(rng);
        let bands: [[(f64, f64, f64); 3]; 3] = match kind {
            PrinterKind::DyeJet => [
                [
                    (1.0, 635.0 + j(4.0), 48.0),
                    (0.16, 560.0, 40.0),
                    (0.10, 410.0, 40.0),
                ],
                [
                    (1.0, 545.0 + j(4.0), 32.0),
                    (0.35, 510.0, 25.0),
                    (0.20, 420.0, 40.0),
                ],
                [
                    (1.0, 435.0 + j(4.0), 38.0),
                    (0.10, 490.0, 25.0),
                    (0.02, 600.0, 60.0),
                ],
            ],
            PrinterKind::PigmentJet => [
                [
                    (1.0, 620.0 + j(4.0), 38.0),
                    (0.75, 690.0, 35.0),
                    (0.14, 440.0, 60.0),
                ],
                [
                    (1.0, 560.0 + j(4.0), 24.0),
                    (0.80, 525.0, 24.0),
                    (0.22, 430.0, 50.0),
                ],
                [
                    (1.0, 425.0 + j(4.0), 45.0),
                    (0.18, 495.0, 20.0),
                    (0.03, 600.0, 60.0),
                ],
            ],
            PrinterKind::Toner => [
                [
                    (1.0, 612.0 + j(4.0), 34.0),
                    (0.9, 675.0, 38.0),
                    (0.22, 420.0, 60.0),
                ],
                [
                    (1.0, 566.0 + j(4.0), 20.0),
                    (0.85, 530.0, 26.0),
                    (0.30, 440.0, 45.0),
                ],
                [
                    (1.0, 440.0 + j(4.0), 42.0),
                    (0.25, 500.0, 16.0),
                    (0.05, 610.0, 80.0),
                ],
            ],
        };
        let black_slope = j(0.0006);
        let ink = |b: &[(f64, f64, f64); 3]| {
            spectrum(|w| b.iter().map(|(a, c, s)| a * bump(w, *c, *s)).sum())
        };
        let inks = [
            ink(&bands[0]),
            ink(&bands[1]),
            ink(&bands[2]),
            spectrum(|w| 1.0 + black_slope * (w - 550.0)),
        ];
        let (black_share, solid_black) = match kind {
            PrinterKind::DyeJet => (0.15, rng.random_range(0.048..0.060)),
            PrinterKind::PigmentJet => (0.45, rng.random_range(0.040..0.052)),
            PrinterKind::Toner => (0.8, rng.random_range(0.040..0.055)),
        };
        Printer {
            kind,
            inks,
            black_share,
            solid_black,
            ink_error: std::array::from_fn(|_| 1.0 + 0.04 * normal(rng)),
            patch_error: 0.008,
            surface: rng.random_range(0.008..0.02),
        }
    }

    /// Transmittance of ink amounts over the paper, without paper.
    fn laid(&self, amounts: [f64; 4]) -> Spectrum {
        std::array::from_fn(|i| {
            let d: f64 = (0..4).map(|k| amounts[k] * self.inks[k][i]).sum();
            self.surface + (1.0 - self.surface) * 10f64.powf(-2.0_f64.min(d))
        })
    }

    /// Cyan, magenta and yellow after black has taken its share.
    fn separate(&self, cmy: [f64; 3]) -> [f64; 4] {
        let k = self.black_share * cmy[0].min(cmy[1]).min(cmy[2]);
        [cmy[0] - k, cmy[1] - k, cmy[2] - k, k]
    }

    /// The ink amounts that come nearest to an sRGB code under D65, relative to paper.
    fn aim(&self, srgb: [u8; 3]) -> [f64; 4] {
        let light = illuminant("D65");
        let want = srgb.map(|v| decode(f64::from(v) / 255.0));
        let error = |cmy: [f64; 3]| {
            let got = apply(&XYZ_TO_SRGB, xyz(&light, &self.laid(self.separate(cmy))));
            // Cube roots weigh dark and light much as the eye does.
            std::array::from_fn::<f64, 3, _>(|k| got[k].max(1e-4).cbrt() - want[k].max(1e-4).cbrt())
        };
        let mut cmy = want.map(|v| -v.max(0.02).log10());
        for _ in 0..25 {
            let e = error(cmy);
            let mut jt = nalgebra::Matrix3::zeros();
            for k in 0..3 {
                let mut moved = cmy;
                moved[k] += 1e-4;
                let f = error(moved);
                for r in 0..3 {
                    jt[(r, k)] = (f[r] - e[r]) / 1e-4;
                }
            }
            let normal = jt.transpose() * jt + nalgebra::Matrix3::identity() * 1e-6;
            let step = normal
                .lu()
                .solve(&(jt.transpose() * nalgebra::Vector3::from(e)))
                .unwrap_or_default();
            for k in 0..3 {
                cmy[k] = (cmy[k] - step[k].clamp(-0.3, 0.3)).clamp(0.0, 2.0);
            }
        }
        self.separate(cmy)
    }

    /// The reflectance relative to paper that this printer makes of an sRGB code, each ink kept to a share of its amount.
    fn patch(&self, srgb: [u8; 3], kept: [f64; 4], rng: &mut ChaCha8Rng) -> Spectrum {
        let aim = self.aim(srgb);
        let amounts = std::array::from_fn(|k| {
            (aim[k] * self.ink_error[k] * kept[k] * (1.0 + self.patch_error * normal(rng))).max(0.0)
        });
        if srgb == [255; 3] {
            [1.0; N]
        } else {
            self.laid(amounts)
        }
    }
}

/// A print of the card.
#[derive(Debug, Clone, PartialEq)]
pub struct Print {
    pub paper: Paper,
    pub printer: Printer,
    /// Seed of this print's patch errors: the same sheet has the same ones.
    pub seed: u64,
    /// Share of magenta ink that light has bleached; yellow and cyan go at two thirds and a third of that.
    pub fade: f64,
    pub stains: Vec<Stain>,
    /// Amplitude of the surface's broad sheen, where a perfect white shines with 1 in the same light.
    pub sheen: f64,
}

impl Print {
    /// The reflectance relative to paper of a patch; call in the order of the layout with one generator.
    pub fn patch(&self, srgb: [u8; 3], rng: &mut ChaCha8Rng) -> Spectrum {
        let kept = [
            1.0 - self.fade / 3.0,
            1.0 - self.fade,
            1.0 - self.fade * 2.0 / 3.0,
            1.0,
        ];
        self.printer.patch(srgb, kept, rng)
    }
}

/// A smooth reflectance for things that are not printed, from linear red, green and blue.
pub fn plain_colour(rgb: [f64; 3]) -> Spectrum {
    spectrum(|w| {
        let red = rise(w, 592.0, 10.0);
        let blue = rise(-w, -492.0, 10.0);
        (rgb[0] * red + rgb[2] * blue + rgb[1] * (1.0 - red - blue).max(0.0)).clamp(0.0, 1.0)
    })
}

/// A spot of something spilled on the print.
#[derive(Debug, Clone, PartialEq)]
pub struct Stain {
    /// Centre on the face, mm, origin top left.
    pub at: [f64; 2],
    pub radius_mm: f64,
    /// Share of red, green and blue taken away in its middle.
    pub takes: [f64; 3],
}
