//! Colour spaces of photo files: from an embedded ICC profile, or sRGB, to tone curves and one matrix.
//!
//! Sources: ICC.1:2022 (matrix/TRC model, profile connection space D50, linear Bradford in annex E), IEC 61966-2-1:1999
//! (sRGB), ITU-R BT.709-6 and BT.2020-2 (system colorimetry). White, primaries, adaptation and the curve of sRGB are those of
//! [`crate::colour`]. Profiles are parsed by `moxcms`.

use std::sync::{Arc, LazyLock};

use moxcms::{
    BarycentricWeightScale, ColorProfile, DataColorSpace, Layout, RenderingIntent,
    ToneCurveEvaluator, ToneReprCurve, TransformOptions,
};
use nalgebra::{Matrix3, Vector3};

use super::picture::Samples;
use crate::colour::{D65, Primaries, RgbSpace, White, bradford, srgb_decode};

/// Adobe RGB (1998) Color Image Encoding, section 4.3.4.2: 2 + 51/256.
const ADOBE_RGB_GAMMA: f64 = 2.199_218_75;
/// ICC.1:2022, 7.2.16: XYZ of the profile connection space illuminant.
const PCS_WHITE: White = White([0.9642, 1.0, 0.8249]);
/// From the working space (linear BT.2020, D65) to linear sRGB.
pub(super) static WORKING_TO_SRGB: LazyLock<[[f64; 3]; 3]> =
    LazyLock::new(|| rows(&(RgbSpace::Srgb.from_xyz() * RgbSpace::Bt2020.to_xyz())));

/// How encoded values turn into linear light, and with which primaries.
#[derive(Clone)]
pub(super) struct ColourSpace {
    curves: [Curve; 3],
    /// Linear light in the file's primaries to the working space.
    pub to_working: [[f64; 3]; 3],
    /// Exactly sRGB: samples can be shown as they are.
    pub is_srgb: bool,
}

#[derive(Clone)]
enum Curve {
    Srgb,
    Gamma(f64),
    /// ITU-R BT.709-6, 1.2, and those of BT.601 and BT.2020, which are the same.
    Video,
    Profile(Arc<dyn ToneCurveEvaluator + Send + Sync>),
}

impl Curve {
    /// Linear light of an encoded value, both 0 to 1.
    fn linear(&self, encoded: f64) -> f64 {
        match self {
            Curve::Srgb => srgb_decode(encoded),
            Curve::Gamma(gamma) => encoded.powf(*gamma),
            Curve::Video if encoded < 0.081 => encoded / 4.5,
            Curve::Video => ((encoded + 0.099) / 1.099).powf(1.0 / 0.45),
            Curve::Profile(curve) => f64::from(curve.evaluate_value(encoded as f32)),
        }
        .clamp(0.0, 1.0)
    }

    fn table(&self, codes: usize) -> Arc<[f64]> {
        (0..codes)
            .map(|i| self.linear(i as f64 / (codes - 1) as f64))
            .collect()
    }
}

/// What an embedded profile says.
pub(super) enum Profile {
    /// Tone curves and a matrix: exact, and applied to single pixels.
    Matrix(ColourSpace),
    /// Tables: the whole picture has to be converted once, by [`convert`].
    Tables(Box<ColorProfile>),
}

impl ColourSpace {
    /// sRGB, also the meaning of files without a profile.
    pub fn srgb() -> ColourSpace {
        ColourSpace {
            curves: [const { Curve::Srgb }; 3],
            to_working: to_working(Primaries::SRGB),
            is_srgb: true,
        }
    }

    /// Adobe RGB (1998): what a camera's EXIF can announce without embedding a profile.
    pub fn adobe_rgb() -> ColourSpace {
        ColourSpace {
            curves: [const { Curve::Gamma(ADOBE_RGB_GAMMA) }; 3],
            to_working: to_working(Primaries::ADOBE_RGB),
            is_srgb: false,
        }
    }

    /// What code points of ITU-T H.273 say (tables 2 and 3), as PNG (cICP) and HEIF (nclx) carry them; not specified means
    /// sRGB.
    ///
    /// # Errors
    /// One phrase that says which of them is not known here.
    pub fn coded(primaries: u8, transfer: u8) -> Result<ColourSpace, String> {
        let primaries = match primaries {
            1 | 2 => Primaries::SRGB,
            9 => Primaries::BT2020,
            12 => Primaries::P3,
            n => return Err(format!("colour primaries of code {n} (H.273)")),
        };
        let curve = match transfer {
            2 | 13 => Curve::Srgb,
            1 | 6 | 14 | 15 => Curve::Video,
            8 => Curve::Gamma(1.0),
            16 | 18 => return Err("it is coded for HDR screens".into()),
            n => return Err(format!("a tone curve of code {n} (H.273)")),
        };
        let is_srgb = primaries == Primaries::SRGB && matches!(curve, Curve::Srgb);
        Ok(ColourSpace {
            curves: [curve.clone(), curve.clone(), curve],
            to_working: to_working(primaries),
            is_srgb,
        })
    }

    /// The working primaries with the tone curve of sRGB: what [`convert`] gives.
    pub fn converted() -> ColourSpace {
        ColourSpace {
            curves: [const { Curve::Srgb }; 3],
            to_working: rows(&Matrix3::identity()),
            is_srgb: false,
        }
    }

    /// Linear light of every code value, a table a channel.
    pub fn tables(&self, codes: usize) -> [Arc<[f64]>; 3] {
        let tables = [0, 1, 2].map(|i| self.curves[i].table(codes));
        // Nearly every profile has one curve for all channels: keep one table, 512 KiB at 16 bit.
        if tables[0] == tables[1] && tables[0] == tables[2] {
            let [one, ..] = tables;
            [one.clone(), one.clone(), one]
        } else {
            tables
        }
    }
}

/// Reads an embedded ICC profile of a picture that holds red, green and blue (`grey`: equal in all three).
///
/// # Errors
/// One phrase that says why the profile cannot be used.
pub(super) fn read(icc: &[u8], grey: bool) -> Result<Profile, String> {
    let profile = ColorProfile::new_from_slice(icc).map_err(|_| "it is damaged".to_owned())?;
    match profile.color_space {
        DataColorSpace::Gray => {
            if !grey {
                return Err("it is for grey pictures and this one has colour".into());
            }
            let curve = tone_curve(profile.gray_trc.as_ref())?;
            let to_working = ColourSpace::srgb().to_working;
            Ok(Profile::Matrix(ColourSpace {
                curves: [curve.clone(), curve.clone(), curve],
                to_working,
                is_srgb: false,
            }))
        }
        // Where a profile has both, the matrix is taken: its tables may hold a rendering made to please, the matrix
        // is colorimetric.
        DataColorSpace::Rgb if profile.is_matrix_shaper() => {
            matrix_profile(&profile).map(Profile::Matrix)
        }
        DataColorSpace::Rgb => Ok(Profile::Tables(Box::new(profile))),
        other => Err(format!("it is for {other:?} pictures")),
    }
}

fn matrix_profile(profile: &ColorProfile) -> Result<ColourSpace, String> {
    let curves = [
        tone_curve(profile.red_trc.as_ref())?,
        tone_curve(profile.green_trc.as_ref())?,
        tone_curve(profile.blue_trc.as_ref())?,
    ];
    let [r, g, b] = [
        profile.red_colorant,
        profile.green_colorant,
        profile.blue_colorant,
    ];
    let colorants = Matrix3::new(r.x, g.x, b.x, r.y, g.y, b.y, r.z, g.z, b.z);
    let white = colorants * Vector3::new(1.0, 1.0, 1.0);
    // Rounding in profiles moves their white by some 1e-4 and careless ones by some 1e-3; at 0.05 a white is
    // visibly coloured and the numbers are not colorants.
    let off = (white - Vector3::from(PCS_WHITE.0)).amax();
    let usable = colorants.iter().all(|v| v.is_finite()) && colorants.try_inverse().is_some();
    if !usable || off > 0.05 {
        return Err("its primaries do not add up to white".into());
    }
    let to_working = RgbSpace::Bt2020.from_xyz() * bradford(PCS_WHITE, D65) * colorants;
    Ok(ColourSpace {
        curves,
        to_working: rows(&to_working),
        is_srgb: false,
    })
}

fn tone_curve(curve: Option<&ToneReprCurve>) -> Result<Curve, String> {
    let curve = curve.ok_or("it has no tone curve")?;
    let curve = Curve::Profile(
        curve
            .make_linear_evaluator()
            .map_err(|_| "its tone curve is damaged")?
            .into(),
    );
    let table = curve.table(256);
    let rises = table.iter().all(|v| v.is_finite()) && table.windows(2).all(|w| w[0] <= w[1]);
    if !rises || table[255] - table[0] < 0.5 {
        return Err("its tone curve does not rise".into());
    }
    Ok(curve)
}

/// Converts a whole picture through a table-based profile, colorimetrically, into 16-bit samples of
/// [`ColourSpace::converted`].
pub(super) fn convert(samples: &Samples, profile: &ColorProfile) -> Result<Samples, String> {
    let mut to = ColorProfile::new_bt2020();
    let curve = ColorProfile::new_srgb().red_trc;
    (to.red_trc, to.green_trc, to.blue_trc) = (curve.clone(), curve.clone(), curve);
    let options = TransformOptions {
        rendering_intent: RenderingIntent::RelativeColorimetric,
        // The default interpolates from 8 bits of the input: half a code of error.
        barycentric_weight_scale: BarycentricWeightScale::High,
        ..TransformOptions::default()
    };
    let failed = |_| "its tables cannot be used".to_owned();
    let transform = profile
        .create_transform_16bit(Layout::Rgb, &to, Layout::Rgb, options)
        .map_err(failed)?;
    /// Samples converted at a time, so that the widened copy of an 8-bit picture stays small.
    const BLOCK: usize = 3 << 16;
    let out = match samples {
        Samples::Eight(s) => {
            let mut out = vec![0u16; s.len()];
            for (from, to) in s.chunks(BLOCK).zip(out.chunks_mut(BLOCK)) {
                let wide: Vec<u16> = from.iter().map(|&v| u16::from(v) * 257).collect();
                transform.transform(&wide, to).map_err(failed)?;
            }
            out
        }
        Samples::Sixteen(s) => {
            let mut out = vec![0u16; s.len()];
            transform.transform(s, &mut out).map_err(failed)?;
            out
        }
    };
    Ok(Samples::Sixteen(out))
}

/// Matrix times column.
pub(super) fn multiply(m: &[[f64; 3]; 3], v: [f64; 3]) -> [f64; 3] {
    [0, 1, 2].map(|i| m[i][0] * v[0] + m[i][1] * v[1] + m[i][2] * v[2])
}

/// From linear RGB of these primaries to the working space.
fn to_working(primaries: Primaries) -> [[f64; 3]; 3] {
    rows(&(RgbSpace::Bt2020.from_xyz() * primaries.to_xyz(D65)))
}

fn rows(m: &Matrix3<f64>) -> [[f64; 3]; 3] {
    [0, 1, 2].map(|i| [m[(i, 0)], m[(i, 1)], m[(i, 2)]])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ITU-R BT.2087-0, linear BT.709 to BT.2020, four decimals (from memory).
    #[test]
    fn srgb_to_bt2020_as_published() {
        let expected = [
            [0.6274, 0.3293, 0.0433],
            [0.0691, 0.9195, 0.0114],
            [0.0164, 0.0880, 0.8956],
        ];
        let found = ColourSpace::srgb().to_working;
        for (found, expected) in found.iter().flatten().zip(expected.iter().flatten()) {
            assert!((found - expected).abs() <= 5.1e-5, "{found} for {expected}");
        }
    }
}
