//! CIELAB relative to bare paper: the space in which vials and chart steps are compared.
//!
//! Science: CIE 15:2018 and ISO/CIE 11664-4:2019, with the exact rational constants.

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

use super::{D65, Relative, RgbSpace, White};

/// A CIELAB colour. `l` is 0 for black and 100 for the white; `a` runs green to red, `b` blue to yellow.
///
/// Written as `[L, a, b]` in files. For sums and matrices use [`Lab::to_vector`].
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(from = "[f64; 3]", into = "[f64; 3]")]
pub struct Lab {
    /// Lightness.
    pub l: f64,
    /// Green (negative) to red (positive).
    pub a: f64,
    /// Blue (negative) to yellow (positive).
    pub b: f64,
}

impl Lab {
    /// Bare paper.
    pub const PAPER: Lab = Lab::new(100.0, 0.0, 0.0);

    /// A colour from its coordinates.
    pub const fn new(l: f64, a: f64, b: f64) -> Lab {
        Lab { l, a, b }
    }

    /// As a vector (L, a, b).
    pub fn to_vector(self) -> Vector3<f64> {
        Vector3::new(self.l, self.a, self.b)
    }

    /// Lab of XYZ under `white` (both on the scale where the white has Y = 1). Components may lie outside 0..=white.
    pub fn from_xyz(xyz: [f64; 3], white: White) -> Lab {
        let [x, y, z] = std::array::from_fn(|i| compress(xyz[i] / white.0[i]));
        Lab::new(116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z))
    }

    /// XYZ under `white`; the inverse of [`Lab::from_xyz`].
    pub fn to_xyz(self, white: White) -> [f64; 3] {
        let y = (self.l + 16.0) / 116.0;
        let cone = [y + self.a / 500.0, y, y - self.b / 200.0];
        std::array::from_fn(|i| white.0[i] * expand(cone[i]))
    }

    /// The light that has this colour: the inverse of [`Relative::to_lab`]. Colours outside BT.2020 give negative
    /// components.
    pub fn to_relative(self) -> Relative {
        Relative((RgbSpace::Bt2020.from_xyz() * Vector3::from(self.to_xyz(D65))).into())
    }
}

impl From<[f64; 3]> for Lab {
    fn from([l, a, b]: [f64; 3]) -> Lab {
        Lab { l, a, b }
    }
}

impl From<Lab> for [f64; 3] {
    fn from(lab: Lab) -> [f64; 3] {
        [lab.l, lab.a, lab.b]
    }
}

impl From<Vector3<f64>> for Lab {
    fn from(v: Vector3<f64>) -> Lab {
        Lab::new(v.x, v.y, v.z)
    }
}

impl Relative {
    /// CIELAB with bare paper as the white: paper is (100, 0, 0).
    pub fn to_lab(self) -> Lab {
        Lab::from_xyz(
            (RgbSpace::Bt2020.to_xyz() * Vector3::from(self.0)).into(),
            D65,
        )
    }

    /// Derivative of [`Relative::to_lab`]: row = L, a, b; column = the linear channel R, G, B.
    ///
    /// A covariance C of the channels becomes J C Jᵀ in Lab. For a covariance of the channels' logarithms multiply
    /// column i by channel i. At the two joints of the CIELAB curve (Y/Yn = 216/24389) both branches have the same slope.
    pub fn lab_jacobian(self) -> Matrix3<f64> {
        let to_xyz = RgbSpace::Bt2020.to_xyz();
        let xyz = to_xyz * Vector3::from(self.0);
        let slopes = Vector3::from_fn(|i, _| compress_slope(xyz[i] / D65.0[i]) / D65.0[i]);
        LAB_OF_COMPRESSED * Matrix3::from_diagonal(&slopes) * to_xyz
    }

    /// Derivative of CIELAB by the natural logarithm of the channels: row = L, a, b; column = ln R, ln G, ln B.
    pub fn lab_jacobian_ln(self) -> Matrix3<f64> {
        self.lab_jacobian() * Matrix3::from_diagonal(&Vector3::from(self.0))
    }
}

/// (L, a, b) = this times the compressed (x, y, z), less (16, 0, 0).
const LAB_OF_COMPRESSED: Matrix3<f64> = Matrix3::new(
    0.0, 116.0, 0.0, //
    500.0, -500.0, 0.0, //
    0.0, 200.0, -200.0,
);

/// Where the cube root gives way to a straight line: (6/29)^3.
const JOINT: f64 = 216.0 / 24389.0;
/// Slope of that line: (29/6)^2 / 3.
const LINE_SLOPE: f64 = 841.0 / 108.0;
/// The line at 0.
const LINE_START: f64 = 4.0 / 29.0;

fn compress(ratio: f64) -> f64 {
    if ratio > JOINT {
        ratio.cbrt()
    } else {
        LINE_SLOPE * ratio + LINE_START
    }
}

fn compress_slope(ratio: f64) -> f64 {
    if ratio > JOINT {
        1.0 / (3.0 * ratio.cbrt().powi(2))
    } else {
        LINE_SLOPE
    }
}

fn expand(compressed: f64) -> f64 {
    if compressed > 6.0 / 29.0 {
        compressed.powi(3)
    } else {
        (compressed - LINE_START) / LINE_SLOPE
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paper_is_white() {
        let paper = Relative([1.0; 3]).to_lab().to_vector();
        assert!((paper - Lab::PAPER.to_vector()).norm() < 1e-12, "{paper}");
    }

    #[test]
    fn light_survives_the_way_to_lab_and_back() {
        for rgb in [
            [0.001, 0.004, 0.002],
            [0.2, 0.5, 0.1],
            [0.9, 0.3, 0.7],
            [1.1, 1.0, 0.95],
        ] {
            let back = Relative(rgb).to_lab().to_relative().0;
            for i in 0..3 {
                assert!(
                    (back[i] - rgb[i]).abs() < 1e-12,
                    "{rgb:?} came back as {back:?}"
                );
            }
        }
    }

    /// The slope against a central difference, dark (straight branch) and light.
    #[test]
    fn jacobian_is_the_slope() {
        for rgb in [[0.002, 0.003, 0.001], [0.1, 0.4, 0.05], [0.8, 0.7, 0.9]] {
            let jacobian = Relative(rgb).lab_jacobian();
            for channel in 0..3 {
                let step = 1e-6 * rgb[channel];
                let at = |d: f64| {
                    let mut moved = rgb;
                    moved[channel] += d;
                    Relative(moved).to_lab().to_vector()
                };
                let slope = (at(step) - at(-step)) / (2.0 * step);
                let given = jacobian.column(channel);
                assert!(
                    (slope - given).norm() < 1e-6 * given.norm(),
                    "{rgb:?}, channel {channel}: {slope} {given}"
                );
            }
        }
    }

    #[test]
    fn in_files_it_is_a_list() {
        let text = serde_json::to_string(&Lab::new(50.0, -1.5, 2.0)).unwrap();
        assert_eq!(text, "[50.0,-1.5,2.0]");
        assert_eq!(
            serde_json::from_str::<Lab>(&text).unwrap(),
            Lab::new(50.0, -1.5, 2.0)
        );
    }
}
