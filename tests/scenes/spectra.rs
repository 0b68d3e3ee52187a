//! Spectra on one grid (380 to 730 nm, every 5 nm), the tables they come from, and what the standard observer makes of them.
//!
//! The tables are in `fixtures/spectra`, each with its origin in its head.

use std::sync::OnceLock;

/// Points of the grid.
pub const N: usize = 71;

/// One value per grid point.
pub type Spectrum = [f64; N];

/// The wavelength of a grid point, nm.
pub fn wavelength(i: usize) -> f64 {
    380.0 + 5.0 * i as f64
}

/// A spectrum from a formula of the wavelength in nm.
pub fn spectrum(f: impl Fn(f64) -> f64) -> Spectrum {
    std::array::from_fn(|i| f(wavelength(i)))
}

/// `exp(-((x - centre) / sigma)^2 / 2)`.
pub fn bump(x: f64, centre: f64, sigma: f64) -> f64 {
    (-0.5 * ((x - centre) / sigma).powi(2)).exp()
}

/// Rises from 0 to 1 around `centre` over a few `width`.
pub fn rise(x: f64, centre: f64, width: f64) -> f64 {
    1.0 / (1.0 + (-(x - centre) / width).exp())
}

/// A spectrum between grid points, linear; the ends are held.
pub fn between(s: &Spectrum, nm: f64) -> f64 {
    let p = ((nm - 380.0) / 5.0).clamp(0.0, (N - 1) as f64);
    let i = (p as usize).min(N - 2);
    s[i] + (s[i + 1] - s[i]) * (p - i as f64)
}

/// A named column of a table whose first column is the wavelength.
///
/// # Panics
/// If the table has no such column.
fn column(csv: &str, name: &str) -> Spectrum {
    let mut lines = csv.lines().filter(|l| !l.starts_with('#'));
    let head = lines.next().expect("a header row");
    let index = head
        .split(',')
        .position(|h| h == name)
        .unwrap_or_else(|| panic!("no column {name}"));
    let mut out = [0.0; N];
    for line in lines {
        let mut cells = line.split(',');
        let nm: f64 = cells
            .next()
            .and_then(|c| c.parse().ok())
            .expect("a wavelength");
        let i = ((nm - 380.0) / 5.0).round() as usize;
        if i < N {
            out[i] = cells
                .nth(index - 1)
                .and_then(|c| c.parse().ok())
                .expect("a number");
        }
    }
    out
}

/// Names of the illuminants in the table.
pub fn illuminant_names() -> Vec<&'static str> {
    let head = ILLUMINANTS
        .lines()
        .find(|l| !l.starts_with('#'))
        .expect("a header row");
    head.split(',').skip(1).collect()
}

const ILLUMINANTS: &str = include_str!("../../fixtures/spectra/illuminants_5nm.csv");

/// Relative spectral power of a CIE illuminant by name, scaled so that its luminance sum is that of the equal-energy light.
pub fn illuminant(name: &str) -> Spectrum {
    let raw = column(ILLUMINANTS, name);
    let ybar = &observer()[1];
    let sum: f64 = raw.iter().zip(ybar).map(|(s, y)| s * y).sum();
    let equal: f64 = ybar.iter().sum();
    raw.map(|v| v * equal / sum)
}

/// The CIE 1931 2 degree observer.
pub fn observer() -> &'static [Spectrum; 3] {
    static TABLE: OnceLock<[Spectrum; 3]> = OnceLock::new();
    TABLE.get_or_init(|| {
        let csv = include_str!("../../fixtures/spectra/cmf_cie1931_5nm.csv");
        ["xbar", "ybar", "zbar"].map(|n| column(csv, n))
    })
}

/// A column of the modelled dye table: absorption shape, scaled to 1 at its highest point between 400 and 700 nm.
pub fn dye_shape(name: &str) -> Spectrum {
    let raw = column(
        include_str!("../../fixtures/spectra/dye_spectra_modelled.csv"),
        name,
    );
    let top = (4..=64).map(|i| raw[i]).fold(0.0, f64::max);
    raw.map(|v| v / top)
}

/// Camera sensitivities: 0 and 1 are measured cameras, 2 to 4 modelled phones; each channel set scaled so that green sums to 1.
pub fn sensitivities(which: usize) -> [Spectrum; 3] {
    let measured = include_str!("../../fixtures/spectra/camera_sensitivities_measured_5nm.csv");
    let modelled = include_str!("../../fixtures/spectra/phone_camera_sensitivities_modelled.csv");
    let (csv, stem) = match which {
        0 | 1 => (measured, format!("c{}", which + 1)),
        _ => (modelled, format!("p{}", which - 1)),
    };
    let rgb = ["R", "G", "B"].map(|c| column(csv, &format!("{stem}_{c}")));
    let sum: f64 = rgb[1].iter().sum();
    rgb.map(|s| s.map(|v| v.max(0.0) / sum))
}

/// Tristimulus values of a light, Y = 1 for the light that reflects wholly.
pub fn xyz(light: &Spectrum, reflectance: &Spectrum) -> [f64; 3] {
    let [x, y, z] = observer();
    let norm: f64 = light.iter().zip(y).map(|(l, y)| l * y).sum();
    [x, y, z].map(|c| {
        (0..N)
            .map(|i| c[i] * light[i] * reflectance[i])
            .sum::<f64>()
            / norm
    })
}

/// XYZ (D65, Y = 1) to linear sRGB, IEC 61966-2-1 with Amendment 1 (7-decimal inverse).
pub const XYZ_TO_SRGB: [[f64; 3]; 3] = [
    [3.2406255, -1.5372080, -0.4986286],
    [-0.9689307, 1.8757561, 0.0415175],
    [0.0557101, -0.2040211, 1.0569959],
];

/// XYZ (D65, Y = 1) to linear Display P3: the inverse of the matrix of the primaries of SMPTE EG 432-1 with a D65 white.
pub const XYZ_TO_P3: [[f64; 3]; 3] = [
    [2.4934969, -0.9313836, -0.4027108],
    [-0.8294890, 1.7626641, 0.0236247],
    [0.0358458, -0.0761724, 0.9568845],
];

/// Matrix times column.
pub fn apply(m: &[[f64; 3]; 3], v: [f64; 3]) -> [f64; 3] {
    m.map(|r| r[0] * v[0] + r[1] * v[1] + r[2] * v[2])
}

/// Linear sRGB to XYZ (IEC 61966-2-1:1999), and its white D65.
pub const SRGB_TO_XYZ: [[f64; 3]; 3] = [
    [0.4124, 0.3576, 0.1805],
    [0.2126, 0.7152, 0.0722],
    [0.0193, 0.1192, 0.9505],
];
pub const D65_WHITE: [f64; 3] = [0.9505, 1.0, 1.0890];
