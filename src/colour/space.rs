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

/// Daylight D65 for the 2 degree observer: ASTM E308, white point tables.
pub const D65: White = White([0.95047, 1.0, 1.08883]);

/// Daylight D50 for the 2 degree observer: ASTM E308, white point tables.
pub const D50: White = White([0.96422, 1.0, 0.82521]);

/// Linear RGB of given primaries with white D65.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RgbSpace {
    /// IEC 61966-2-1:1999, the primaries of ITU-R BT.709.
    Srgb,
    /// ITU-R BT.2020-2 (10/2015).
    Bt2020,
}

static SRGB: LazyLock<Pair> =
    LazyLock::new(|| Pair::of([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]], D65));
static BT2020: LazyLock<Pair> =
    LazyLock::new(|| Pair::of([[0.708, 0.292], [0.170, 0.797], [0.131, 0.046]], D65));

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
    /// From the chromaticities (x, y) of red, green and blue.
    fn of(primaries: [[f64; 2]; 3], white: White) -> Pair {
        let columns = primaries.map(|[x, y]| Vector3::new(x / y, 1.0, (1.0 - x - y) / y));
        let unscaled = Matrix3::from_columns(&columns);
        let invert = |m: Matrix3<f64>| {
            m.try_inverse()
                .expect("three distinct primaries span the space")
        };
        let amounts = invert(unscaled) * Vector3::from(white.0);
        let to_xyz = unscaled * Matrix3::from_diagonal(&amounts);
        Pair {
            to_xyz,
            from_xyz: invert(to_xyz),
        }
    }
}
