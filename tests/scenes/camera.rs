//! The phone: its sensor, its colour matrix and how it develops a picture.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::seed::{normal, stream};
use super::spectra::{
    N, Spectrum, XYZ_TO_P3, XYZ_TO_SRGB, apply, between, bump, illuminant, rise, sensitivities,
    spectrum, wavelength, xyz,
};

/// A phone camera.
#[derive(Debug, Clone, PartialEq)]
pub struct Phone {
    /// Model name written to the photo.
    pub name: String,
    pub sensitivity: [Spectrum; 3],
    /// White-balanced sensor values to linear output, fitted for daylight and for incandescent light.
    pub matrices: [[[f64; 3]; 3]; 2],
    /// Output in Display P3 instead of sRGB.
    pub wide: bool,
    /// Factor on chroma of the encoded picture.
    pub saturation: f64,
    /// Strength of the S-shaped tone curve, 0..0.5.
    pub tone: f64,
    /// Linear output at which the sensor is full, where bare paper is exposed to 0.55.
    pub headroom: f64,
    /// Strength of local tone mapping, 0..0.3: dark regions are lifted and light ones lowered by this power.
    pub local_tone: f64,
    /// Unsharp masking: share and radius as share of the picture's width.
    pub sharpen: f64,
    pub sharpen_radius: f64,
    /// Optical blur (standard deviation), share of the picture's width.
    pub blur: f64,
    /// Electrons at full well after binning to the photo's pixels, and read noise as share of full well.
    pub full_well: f64,
    pub read_noise: f64,
    /// Noise reduction: blur of noise in lightness and colour, pixels.
    pub smooth: [f64; 2],
    /// Share of the picture's mean light that the lens strews over all of it.
    pub flare: f64,
    /// Linear output below which colours outside the output space are pressed together instead of cut off.
    pub toe: f64,
    /// Fall of light to the corners that is left after correction, share.
    pub vignette: f64,
    /// Radial distortion left after correction, at half the diagonal, share.
    pub distortion: f64,
    /// Horizontal field of view of the long side, degrees.
    pub field_deg: f64,
    /// JPEG quality and halved colour resolution.
    pub quality: u8,
    pub half_chroma: bool,
}

/// Reflectances on which makers would fit a colour matrix: seeded smooth ones.
fn training() -> Vec<Spectrum> {
    let mut rng = stream(2026, 77);
    (0..90)
        .map(|_| {
            let base = rng.random_range(0.03..0.5);
            let (c1, w1, a1) = (
                rng.random_range(400.0..700.0),
                rng.random_range(20.0..90.0),
                rng.random_range(-0.4..0.7),
            );
            let (c2, w2, a2) = (
                rng.random_range(430.0..680.0),
                rng.random_range(8.0..25.0),
                rng.random_range(-0.4..0.5),
            );
            spectrum(|w| (base + a1 * bump(w, c1, w1) + a2 * rise(w, c2, w2)).clamp(0.02, 0.95))
        })
        .collect()
}

/// Sensor values of a light off a reflectance.
pub fn raw(sensitivity: &[Spectrum; 3], light: &Spectrum, reflectance: &Spectrum) -> [f64; 3] {
    std::array::from_fn(|c| {
        (0..N)
            .map(|i| sensitivity[c][i] * light[i] * reflectance[i])
            .sum()
    })
}

/// Least-squares matrix from white-balanced sensor values under a light to linear output colour under D65, white kept.
pub fn fit_matrix(
    sensitivity: &[Spectrum; 3],
    light: &Spectrum,
    to_rgb: &[[f64; 3]; 3],
) -> [[f64; 3]; 3] {
    let white = raw(sensitivity, light, &[1.0; N]);
    let d65 = illuminant("D65");
    let (mut ata, mut atb) = (
        nalgebra::Matrix2::<f64>::zeros(),
        [nalgebra::Vector2::<f64>::zeros(); 3],
    );
    for r in training() {
        let s = raw(sensitivity, light, &r);
        let s: [f64; 3] = std::array::from_fn(|c| s[c] / white[c]);
        let t = apply(to_rgb, xyz(&d65, &r));
        let f = nalgebra::Vector2::new(s[0] - s[1], s[2] - s[1]);
        ata += f * f.transpose();
        for c in 0..3 {
            atb[c] += f * (t[c] - s[1]);
        }
    }
    let inverse = ata.try_inverse().expect("enough colours");
    atb.map(|b| {
        let k = inverse * b;
        [k[0], 1.0 - k[0] - k[1], k[1]]
    })
}

impl Phone {
    /// A phone: one of the five tabulated sensitivities, moved a little, with a maker's taste in developing.
    ///
    /// Sensors whose colours could only be parted with gains above 3 are drawn again: the noise would be past selling.
    pub fn seeded(rng: &mut ChaCha8Rng) -> Phone {
        loop {
            let phone = Phone::drawn(rng);
            if phone
                .matrices
                .as_flattened()
                .as_flattened()
                .iter()
                .all(|m| m.abs() <= 3.0)
            {
                return phone;
            }
        }
    }

    fn drawn(rng: &mut ChaCha8Rng) -> Phone {
        let which = [2, 3, 4, 2, 3, 4, 0, 1][rng.random_range(0..8)];
        let cut = rng.random_range(645.0..690.0);
        let base = sensitivities(which);
        let mut sensitivity = base.map(|s| {
            let shift = (4.0 * normal(rng)).clamp(-8.0, 8.0);
            let wide = (1.0 + 0.05 * normal(rng)).clamp(0.9, 1.1);
            let top = (0..N)
                .max_by(|a, b| s[*a].total_cmp(&s[*b]))
                .map_or(550.0, wavelength);
            spectrum(|w| between(&s, top + (w - top - shift) / wide) * rise(-w, -cut, 6.0))
        });
        let green: f64 = sensitivity[1].iter().sum();
        for s in &mut sensitivity {
            s.iter_mut().for_each(|v| *v /= green);
        }
        let wide = rng.random_bool(0.3);
        let to_rgb = if wide { XYZ_TO_P3 } else { XYZ_TO_SRGB };
        let matrices = ["D65", "A"].map(|l| fit_matrix(&sensitivity, &illuminant(l), &to_rgb));
        Phone {
            name: format!("Simulated phone {}", rng.random_range(1..1000)),
            sensitivity,
            matrices,
            wide,
            saturation: rng.random_range(1.0..1.25),
            tone: rng.random_range(0.05..0.40),
            headroom: rng.random_range(1.2..1.7),
            local_tone: rng.random_range(0.0..0.18),
            sharpen: rng.random_range(0.2..0.9),
            sharpen_radius: rng.random_range(0.0005..0.0011),
            blur: rng.random_range(0.0004..0.0008),
            full_well: rng.random_range(6000.0..20000.0),
            read_noise: rng.random_range(0.0005..0.0015),
            smooth: [rng.random_range(0.4..0.9), rng.random_range(1.0..3.0)],
            flare: rng.random_range(0.003..0.012),
            toe: rng.random_range(0.004..0.03),
            vignette: rng.random_range(0.0..0.12),
            distortion: rng.random_range(-0.002..0.002),
            field_deg: rng.random_range(55.0..72.0),
            quality: rng.random_range(82..97),
            half_chroma: rng.random_bool(0.7),
        }
    }

    /// The matrix used under a light.
    pub fn matrix(&self, light: &Spectrum) -> [[f64; 3]; 3] {
        matrix_under(&self.matrices, light)
    }
}

/// The matrix used under a light: between those fitted for daylight and for incandescent light, by reciprocal colour temperature.
pub fn matrix_under([day, lamp]: &[[[f64; 3]; 3]; 2], light: &Spectrum) -> [[f64; 3]; 3] {
    let [x, y, z] = xyz(light, &[1.0; N]);
    let (x, y) = (x / (x + y + z), y / (x + y + z));
    // McCamy 1992, Color Res. Appl. 17(2):142-144 (from memory); only a weight depends on it.
    let n = (x - 0.3320) / (0.1858 - y);
    let cct = (449.0 * n.powi(3) + 3525.0 * n * n + 6823.3 * n + 5520.33).clamp(2000.0, 12000.0);
    let warm = ((1e6 / cct - 1e6 / 6504.0) / (1e6 / 2856.0 - 1e6 / 6504.0)).clamp(0.0, 1.0);
    std::array::from_fn(|r| std::array::from_fn(|c| day[r][c] * (1.0 - warm) + lamp[r][c] * warm))
}

/// What differs from shot to shot.
#[derive(Debug, Clone, PartialEq)]
pub struct Exposure {
    /// Stops off the exposure that puts bare paper at 0.55 of the output range before the tone curve.
    pub stops: f64,
    /// Errors of the white balance: natural logarithm of the red and blue gains.
    pub tint: [f64; 2],
    /// Share of the light's colour that the white balance takes away.
    pub adaptation: f64,
    /// Amplification over base sensitivity: the noise's variance grows with it.
    pub gain: f64,
    /// Defocus and motion (standard deviation, length; share of the picture's width) and the direction of motion.
    pub defocus: f64,
    pub motion: f64,
    pub motion_deg: f64,
    pub flash: bool,
}

impl Exposure {
    pub fn seeded(rng: &mut ChaCha8Rng) -> Exposure {
        Exposure {
            stops: (0.15 * normal(rng)).clamp(-0.4, 0.3),
            tint: [0.01 * normal(rng), 0.01 * normal(rng)],
            adaptation: rng.random_range(0.9..1.0),
            gain: rng.random_range(1.0..3.0),
            defocus: 0.0002 * normal(rng).abs(),
            motion: 0.0004 * normal(rng).abs(),
            motion_deg: rng.random_range(0.0..180.0),
            flash: false,
        }
    }
}
