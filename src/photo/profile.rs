//! Colour spaces of photo files: from an embedded ICC profile, or sRGB, to tone curves and one matrix.
//!
//! Sources: ICC.1:2022 (matrix/TRC model, profile connection space D50, linear Bradford in annex E), IEC 61966-2-1:1999
//! (sRGB), ITU-R BT.709-6 and BT.2020-2 (primaries and white). Profiles are parsed by `moxcms`.

use std::sync::{Arc, LazyLock};

use moxcms::{
    BarycentricWeightScale, ColorProfile, DataColorSpace, Layout, RenderingIntent,
    ToneCurveEvaluator, ToneReprCurve, TransformOptions,
};
use nalgebra::{Matrix3, Vector3};

use super::picture::Samples;

/// Chromaticities of red, green and blue.
type Primaries = [(f64, f64); 3];

/// White D65 as sRGB, BT.709 and BT.2020 define it.
const WHITE_D65: (f64, f64) = (0.3127, 0.3290);
/// IEC 61966-2-1:1999, the same as ITU-R BT.709-6.
const SRGB: Primaries = [(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)];
/// Adobe RGB (1998) Color Image Encoding, version 2005-05, section 4.3.1; its white is D65 too.
const ADOBE_RGB: Primaries = [(0.64, 0.33), (0.21, 0.71), (0.15, 0.06)];
/// ITU-R BT.2020-2 table 3.
const BT2020: Primaries = [(0.708, 0.292), (0.170, 0.797), (0.131, 0.046)];
/// SMPTE EG 432-1, white D65 (Display P3).
const P3: Primaries = [(0.680, 0.320), (0.265, 0.690), (0.150, 0.060)];
/// Adobe RGB (1998) Color Image Encoding, section 4.3.4.2: 2 + 51/256.
const ADOBE_RGB_GAMMA: f64 = 2.199_218_75;
/// ICC.1:2022, 7.2.16: XYZ of the profile connection space illuminant.
const PCS_WHITE: [f64; 3] = [0.9642, 1.0, 0.8249];
/// ICC.1:2022 annex E, table E.1 (linear Bradford).
const BRADFORD: Matrix3<f64> = Matrix3::new(
    0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296,
);

/// From the working space (linear BT.2020, D65) to linear sRGB.
pub(super) static WORKING_TO_SRGB: LazyLock<[[f64; 3]; 3]> =
    LazyLock::new(|| rows(&(inverse(&to_xyz(&SRGB)) * to_xyz(&BT2020))));

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
        let to_working = rows(&(inverse(&to_xyz(&BT2020)) * to_xyz(&SRGB)));
        ColourSpace {
            curves: [const { Curve::Srgb }; 3],
            to_working,
            is_srgb: true,
        }
    }

    /// Adobe RGB (1998): what a camera's EXIF can announce without embedding a profile.
    pub fn adobe_rgb() -> ColourSpace {
        let to_working = rows(&(inverse(&to_xyz(&BT2020)) * to_xyz(&ADOBE_RGB)));
        ColourSpace {
            curves: [const { Curve::Gamma(ADOBE_RGB_GAMMA) }; 3],
            to_working,
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
            1 | 2 => &SRGB,
            9 => &BT2020,
            12 => &P3,
            n => return Err(format!("colour primaries of code {n} (H.273)")),
        };
        let curve = match transfer {
            2 | 13 => Curve::Srgb,
            1 | 6 | 14 | 15 => Curve::Video,
            8 => Curve::Gamma(1.0),
            16 | 18 => return Err("it is coded for HDR screens".into()),
            n => return Err(format!("a tone curve of code {n} (H.273)")),
        };
        let is_srgb = std::ptr::eq(primaries, &SRGB) && matches!(curve, Curve::Srgb);
        Ok(ColourSpace {
            curves: [curve.clone(), curve.clone(), curve],
            to_working: rows(&(inverse(&to_xyz(&BT2020)) * to_xyz(primaries))),
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
    let off = (white - Vector3::from(PCS_WHITE)).amax();
    let usable = colorants.iter().all(|v| v.is_finite()) && colorants.try_inverse().is_some();
    if !usable || off > 0.05 {
        return Err("its primaries do not add up to white".into());
    }
    let to_working =
        inverse(&to_xyz(&BT2020)) * adaptation(PCS_WHITE.into(), white_xyz()) * colorants;
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

/// sRGB's tone curve, encoded to linear, both 0 to 1 (IEC 61966-2-1:1999, 5.2).
fn srgb_decode(v: f64) -> f64 {
    if v <= 0.04045 {
        v / 12.92
    } else {
        ((v + 0.055) / 1.055).powf(2.4)
    }
}

/// sRGB's tone curve, linear to encoded, both 0 to 1 (IEC 61966-2-1:1999, 5.3).
pub(super) fn srgb_encode(v: f64) -> f64 {
    if v <= 0.003_130_8 {
        12.92 * v
    } else {
        1.055 * v.powf(1.0 / 2.4) - 0.055
    }
}

/// Matrix times column.
pub(super) fn multiply(m: &[[f64; 3]; 3], v: [f64; 3]) -> [f64; 3] {
    [0, 1, 2].map(|i| m[i][0] * v[0] + m[i][1] * v[1] + m[i][2] * v[2])
}

fn xyz((x, y): (f64, f64)) -> Vector3<f64> {
    Vector3::new(x / y, 1.0, (1.0 - x - y) / y)
}

fn white_xyz() -> Vector3<f64> {
    xyz(WHITE_D65)
}

/// Linear RGB of these primaries, white D65, to XYZ with Y = 1 for white (SMPTE RP 177-1993).
fn to_xyz(primaries: &Primaries) -> Matrix3<f64> {
    let columns = Matrix3::from_columns(&primaries.map(xyz));
    columns * Matrix3::from_diagonal(&(inverse(&columns) * white_xyz()))
}

/// Linear Bradford adaptation from one white to another.
fn adaptation(from: Vector3<f64>, to: Vector3<f64>) -> Matrix3<f64> {
    let gain = (BRADFORD * to).component_div(&(BRADFORD * from));
    inverse(&BRADFORD) * Matrix3::from_diagonal(&gain) * BRADFORD
}

/// Inverse of one of this module's constant matrices, none of which is singular.
fn inverse(m: &Matrix3<f64>) -> Matrix3<f64> {
    m.try_inverse()
        .expect("primaries and cone responses are independent")
}

fn rows(m: &Matrix3<f64>) -> [[f64; 3]; 3] {
    [0, 1, 2].map(|i| [m[(i, 0)], m[(i, 1)], m[(i, 2)]])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn published(text: &str, path: &[&str]) -> Matrix3<f64> {
        let json: serde_json::Value = serde_json::from_str(text).expect("the fixture is JSON");
        let value = path.iter().fold(&json, |v, key| &v[key]);
        let rows: [[f64; 3]; 3] = serde_json::from_value(value.clone()).expect("a 3 x 3 matrix");
        Matrix3::from_fn(|i, j| rows[i][j])
    }

    fn close(name: &str, found: Matrix3<f64>, expected: Matrix3<f64>, tolerance: f64) {
        let off = (found - expected).amax();
        assert!(
            off <= tolerance,
            "{name}: off by {off:e}\n{found}{expected}"
        );
    }

    /// IEC 61966-2-1:1999 (four decimals) and Amendment 1:2003 (seven), the fixture names them.
    #[test]
    fn srgb_matrix_as_published() {
        let file = include_str!("../../fixtures/published/srgb_matrices.json");
        let m = to_xyz(&SRGB);
        close(
            "4 decimals",
            m,
            published(file, &["iec_rgb_to_xyz_4dp"]),
            5.1e-5,
        );
        // The seven decimals invert the rounded four-decimal matrix, so they differ in the fourth.
        close(
            "7 decimals",
            inverse(&m),
            published(file, &["iec_amd1_xyz_to_rgb_7dp"]),
            5e-4,
        );
    }

    /// Linear Bradford between ASTM E308 whites, seven decimals as tabulated by B. Lindbloom.
    #[test]
    fn adaptation_as_published() {
        let file = include_str!("../../fixtures/published/chromatic_adaptation.json");
        let d50 = Vector3::new(0.96422, 1.0, 0.82521);
        let d65 = Vector3::new(0.95047, 1.0, 1.08883);
        let path = |name| ["published_lindbloom_bradford", name];
        close(
            "D50->D65",
            adaptation(d50, d65),
            published(file, &path("D50->D65")),
            1e-7,
        );
        close(
            "D65->D50",
            adaptation(d65, d50),
            published(file, &path("D65->D50")),
            1e-7,
        );
    }

    /// ITU-R BT.2087-0, linear BT.709 to BT.2020, four decimals (from memory).
    #[test]
    fn srgb_to_bt2020_as_published() {
        let expected = Matrix3::new(
            0.6274, 0.3293, 0.0433, 0.0691, 0.9195, 0.0114, 0.0164, 0.0880, 0.8956,
        );
        let found = ColourSpace::srgb().to_working;
        close(
            "BT.2087",
            Matrix3::from_fn(|i, j| found[i][j]),
            expected,
            5.1e-5,
        );
    }
}
