//! White points and RGB primaries: linear RGB to XYZ and back.
//!
//! The matrices are derived from the published chromaticities and the white, not copied in their printed, rounded form,
//! so that RGB (1, 1, 1) is the white to the last bit of the arithmetic and neutral colours have a* = b* = 0.
//! Derivation: SMPTE RP 177-1993.

use std::sync::LazyLock;

use nalgebra::{Matrix3, Vector3};

/// XYZ of a white, on the scale where Y = 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct White(pub [f64; 3]);

impl White {
    /// The white of a chromaticity.
    pub const fn at(x: f64, y: f64) -> White {
        White([x / y, 1.0, (1.0 - x - y) / y])
    }
}

/// Daylight D65 as all RGB spaces here define it, by its chromaticity: IEC 61966-2-1:1999, ITU-R BT.709-6 and BT.2020-2 (system
/// colorimetry). The XYZ of ASTM E308 differs from it in the fourth decimal of Z: where light was coded under the one and taken
/// for relative to the other, grey would not be grey.
pub const D65: White = White::at(0.3127, 0.3290);

/// Chromaticities (x, y) of red, green and blue; the white is [`D65`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Primaries(pub [[f64; 2]; 3]);

impl Primaries {
    /// IEC 61966-2-1:1999, the same as ITU-R BT.709-6.
    pub const SRGB: Primaries = Primaries([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]]);
    /// Adobe RGB (1998) Color Image Encoding, version 2005-05, section 4.3.1.
    pub const ADOBE_RGB: Primaries = Primaries([[0.64, 0.33], [0.21, 0.71], [0.15, 0.06]]);
    /// Display P3: SMPTE EG 432-1 with white D65.
    pub const P3: Primaries = Primaries([[0.680, 0.320], [0.265, 0.690], [0.150, 0.060]]);
    /// ITU-R BT.2020-2 (10/2015), system colorimetry.
    pub const BT2020: Primaries = Primaries([[0.708, 0.292], [0.170, 0.797], [0.131, 0.046]]);

    /// Matrix from linear RGB to XYZ on the scale where `white`, which RGB (1, 1, 1) is to be, has Y = 1.
    pub fn to_xyz(self, white: White) -> Matrix3<f64> {
        let columns = self.0.map(|[x, y]| Vector3::from(White::at(x, y).0));
        let unscaled = Matrix3::from_columns(&columns);
        let amounts = inverse(unscaled) * Vector3::from(white.0);
        unscaled * Matrix3::from_diagonal(&amounts)
    }
}

fn inverse(m: Matrix3<f64>) -> Matrix3<f64> {
    m.try_inverse()
        .expect("three distinct primaries span the space")
}

/// A linear RGB space that colours are turned into and back, its matrices ready.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RgbSpace {
    /// That of screens.
    Srgb,
    /// The working space.
    Bt2020,
}

static SRGB: LazyLock<Pair> = LazyLock::new(|| Pair::of(Primaries::SRGB));
static BT2020: LazyLock<Pair> = LazyLock::new(|| Pair::of(Primaries::BT2020));

impl RgbSpace {
    /// Matrix from linear RGB to XYZ (Y = 1 scale, white [`D65`]).
    pub fn to_xyz(self) -> Matrix3<f64> {
        self.pair().to_xyz
    }

    /// Matrix from XYZ (Y = 1 scale, white [`D65`]) to linear RGB.
    pub fn from_xyz(self) -> Matrix3<f64> {
        self.pair().from_xyz
    }

    fn pair(self) -> &'static Pair {
        match self {
            RgbSpace::Srgb => &SRGB,
            RgbSpace::Bt2020 => &BT2020,
        }
    }
}

struct Pair {
    to_xyz: Matrix3<f64>,
    from_xyz: Matrix3<f64>,
}

impl Pair {
    fn of(primaries: Primaries) -> Pair {
        let to_xyz = primaries.to_xyz(D65);
        Pair {
            to_xyz,
            from_xyz: inverse(to_xyz),
        }
    }
}
