//! Critical value, detection and quantification limit: Currie (1995) Pure Appl. Chem. 67(10):1699-1723, for a scatter that is
//! known and a blank that is known well.

use nalgebra::{Matrix3, Vector3};
use tintwell::chart::curve::{Axis, Choice, Space};
use tintwell::chart::limits::limits;
use tintwell::chart::{Chart, Step, file};
use tintwell::colour::{Lab, Relative};
use tintwell::estimate::budget::depth;

use crate::table::{Differences, json, number};

/// Standard deviation of a colour in every direction of CIELAB, and how far the colour runs along b* per unit of concentration.
const SD: f64 = 0.1;
const SLOPE: f64 = 0.5;

/// A chart whose colour runs straight from paper white along b*, and a photo of which scatters by [`SD`]. It stays so pale that the
/// scatter, which grows with the depth of a colour, grows by 3 %, and that light gathered behind a vial, which is told by L*, adds
/// nothing along b*.
fn straight() -> Chart {
    let mut chart = file::parse(include_str!("../../calibration/alder-creek-nitrate.json"))
        .expect("the shipped chart");
    chart.steps = (0..=7)
        .map(|k| {
            let value = f64::from(k);
            Step {
                value,
                ln: Lab::new(100.0, 0.0, SLOPE * value)
                    .to_relative()
                    .0
                    .map(f64::ln),
                covariance: [[0.0; 3]; 3],
                photos: 1,
                clear: None,
            }
        })
        .collect();
    chart.curve = Choice {
        space: Space::Lab,
        axis: Axis::Linear,
        left_out_error: None,
    };
    let to_ln = Relative([1.0; 3])
        .lab_jacobian_ln()
        .try_inverse()
        .expect("a slope");
    let scatter: Matrix3<f64> = to_ln * to_ln.transpose() * (SD / depth(&Vector3::zeros())).powi(2);
    chart.repeatability = std::array::from_fn(|i| std::array::from_fn(|j| scatter[(i, j)]));
    chart.lens.as_mut().expect("a lens").scatter = 0.0;
    // Nor does a vial that may stand nearer or farther, since its width is not known.
    chart.vial_mm = None;
    chart
}

#[test]
fn currie_with_known_scatter() {
    let table = json("detection_limits.json");
    let table = &table["currie_known_sigma"];
    // "L_Q": "10*sigma0"
    let quantification: f64 = table["formulas"]["L_Q"]
        .as_str()
        .and_then(|f| f.strip_suffix("*sigma0"))
        .and_then(|f| f.parse().ok())
        .expect("L_Q");
    let found = limits(&straight()).expect("a curve").expect("limits");
    let mut differences = Differences::default();
    for (name, got, sigmas) in [
        ("critical value", found.critical, number(table, "z_0.95")),
        ("detection limit", found.detection, number(table, "2z")),
        ("quantification limit", found.quantification, quantification),
    ] {
        let expected = sigmas * SD / SLOPE;
        // Places are looked at a hundredth of a step apart.
        let tolerance = 0.01 + 0.02 * expected;
        differences.within(name, got.expect(name), expected, tolerance);
    }
    differences.none_in(3);
}
