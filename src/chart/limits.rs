//! What one photo can say at each concentration of a chart: its uncertainty, its interval and the limits of detection.
//!
//! All under the session's own conditions: another light or phone adds to them, and the reading tells by how much.
//!
//! Science: Currie 1995, Pure Appl. Chem. 67(10):1699-1723, section 4 (critical value, detection limit for known sigma at 5 %
//! errors, quantification limit at a relative standard deviation of 10 %); JCGM 102:2011, 6.2, for the uncertainty of a
//! quantity behind a colour.

use nalgebra::Matrix3;

use super::Chart;
use super::curve::Curve;
use super::resolve::{TOLD_APART, apart, photo_covariance, reading_covariance};
use crate::error::Result;
use crate::estimate::posterior::posterior;
use crate::reading::{LEVEL, is_ph};

/// 95 % point of the normal distribution.
const ONE_SIDED: f64 = 1.645;
/// Relative standard deviation at the quantification limit.
const QUANTIFIED: f64 = 0.1;
/// Places looked at per step.
const PER_STEP: usize = 100;

/// The limits of one photo on a chart that starts at zero, in the chart's unit; `None` where the chart does not reach so far.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// A reading past this is not of a blank, but for 5 % of blanks.
    pub critical: Option<f64>,
    /// The least true concentration whose reading is past the critical value, but for 5 %.
    pub detection: Option<f64>,
    /// The least concentration from which on the standard uncertainty is at most 10 % of it, if only for a while.
    pub quantification: Option<f64>,
    /// Where that ends: the greatest concentration up to which it is so from there on.
    pub quantified_to: Option<f64>,
}

/// The limits of a chart; `None` if it starts above zero or is one of pH, where there is no blank to tell from.
///
/// # Errors
/// If the chart has too few steps for a curve.
pub fn limits(chart: &Chart) -> Result<Option<Limits>> {
    if chart.steps[0].value != 0.0 || is_ph(&chart.terms.unit) {
        return Ok(None);
    }
    let curve = Curve::new(&chart.steps, &chart.curve)?;
    let last = chart.steps.len() - 1;
    let places = || (1..=PER_STEP * last).map(|i| i as f64 / PER_STEP as f64);
    let past = |sigmas: f64| {
        places()
            .find(|p| apart(chart, &curve, 0.0, *p) >= sigmas)
            .map(|p| chart.value_at(p))
    };
    let quantified = |p: &f64| {
        standard_uncertainty(chart, &curve, *p)
            .is_some_and(|u| u <= QUANTIFIED * chart.value_at(*p))
    };
    let from = places().position(|p| quantified(&p));
    let to = from.and_then(|from| places().skip(from).take_while(quantified).last());
    Ok(Some(Limits {
        critical: past(ONE_SIDED),
        detection: past(TOLD_APART),
        quantification: from
            .and_then(|i| places().nth(i))
            .map(|p| chart.value_at(p)),
        quantified_to: to.map(|p| chart.value_at(p)),
    }))
}

/// Standard uncertainty of the concentration that one photo gives at a place among the steps, in the chart's unit, to first
/// order. `None` where the colour does not change.
pub fn standard_uncertainty(chart: &Chart, curve: &Curve, position: f64) -> Option<f64> {
    const STEP: f64 = 0.02;
    let last = (chart.steps.len() - 1) as f64;
    let (p, q) = ((position - STEP).max(0.0), (position + STEP).min(last));
    let per_unit = (curve.lab(q).to_vector() - curve.lab(p).to_vector())
        / (chart.value_at(q) - chart.value_at(p));
    let weight = reading_covariance(chart, curve, position).cholesky()?;
    let information = per_unit.dot(&weight.solve(&per_unit));
    (information > 0.0).then(|| information.sqrt().recip())
}

/// What one photo of a vial would give.
#[derive(Debug, Clone, PartialEq)]
pub struct Expected {
    /// True concentration.
    pub value: f64,
    /// Place among the steps.
    pub position: f64,
    /// The interval of [`LEVEL`] that a photo free of its own error would give, in the chart's unit; the outer ends if it is
    /// in pieces.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
    /// Standard uncertainty, if the colour changes there.
    pub standard_uncertainty: Option<f64>,
}

/// What one photo would give along the chart, `per_step` places a step.
///
/// # Errors
/// If the chart has too few steps for a curve.
pub fn along(chart: &Chart, per_step: usize) -> Result<Vec<Expected>> {
    let curve = Curve::new(&chart.steps, &chart.curve)?;
    let last = chart.steps.len() - 1;
    let zero = chart.steps[0].value == 0.0;
    Ok((0..=per_step * last)
        .map(|i| {
            let position = i as f64 / per_step as f64;
            let covariance: Matrix3<f64> = photo_covariance(chart, &curve, position);
            let post = posterior(curve.lab(position), &covariance, &curve, zero, LEVEL);
            let (low, high) = post.ends().unwrap_or((position, position));
            Expected {
                value: chart.value_at(position),
                position,
                low: chart.value_at(low),
                high: chart.value_at(high),
                standard_uncertainty: standard_uncertainty(chart, &curve, position),
            }
        })
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::file;

    fn demo() -> Chart {
        file::parse(include_str!("../../calibration/alder-creek-nitrate.json")).unwrap()
    }

    /// The limits lie in their order (that they are Currie's, `tests/published` shows), and a flattening curve ends the range in which a
    /// photo is good to 10 %: just inside its ends it is, just outside not.
    #[test]
    fn limits_lie_in_order() {
        let chart = demo();
        let l = limits(&chart).unwrap().unwrap();
        let ends = [l.critical, l.detection, l.quantification, l.quantified_to].map(Option::unwrap);
        assert!(ends.is_sorted_by(|a, b| a < b), "{l:?}");
        let curve = Curve::new(&chart.steps, &chart.curve).unwrap();
        let good =
            |p: f64| standard_uncertainty(&chart, &curve, p).unwrap() <= 0.1 * chart.value_at(p);
        let [from, to] = [ends[2], ends[3]].map(|value| chart.step_position(value));
        assert!(!good(from - 0.02) && good(from + 0.02), "{from}");
        assert!(good(to - 0.02) && !good(to + 0.02), "{to}");
    }

    /// Twice the scatter, twice the limits, so long as the steps' own uncertainty is small beside it.
    #[test]
    fn more_scatter_raises_every_limit() {
        let chart = demo();
        let mut worse = chart.clone();
        for row in &mut worse.repeatability {
            row.iter_mut().for_each(|v| *v *= 16.0);
        }
        let (a, b) = (
            limits(&chart).unwrap().unwrap(),
            limits(&worse).unwrap().unwrap(),
        );
        assert!(
            b.critical > a.critical && b.detection > a.detection,
            "{a:?} {b:?}"
        );
        assert!(b.quantification > a.quantification || b.quantification.is_none());
        for (x, y) in along(&chart, 4)
            .unwrap()
            .iter()
            .zip(along(&worse, 4).unwrap())
        {
            // An interval that reaches the last step ends there, and what lies past it takes a share of the chances: its lower end stays
            // where it is, to a hundredth of a step, or falls.
            let wider = if x.high < 80.0 {
                y.high - y.low > x.high - x.low
            } else {
                chart.step_position(y.low) < chart.step_position(x.low) + 1.0 / PER_STEP as f64
            };
            assert!(wider, "{x:?} {y:?}");
            let [x, y] = [x.standard_uncertainty, y.standard_uncertainty].map(Option::unwrap);
            assert!(y > x, "{x} {y}");
        }
    }

    #[test]
    fn no_blank_no_limits() {
        let mut chart = demo();
        chart.terms.unit = "pH".into();
        assert_eq!(limits(&chart).unwrap(), None);
        let mut chart = demo();
        chart.steps.remove(0);
        assert_eq!(limits(&chart).unwrap(), None);
    }

    #[test]
    fn the_truth_lies_inside() {
        for e in along(&demo(), 5).unwrap() {
            assert!(e.low <= e.value && e.value <= e.high, "{e:?}");
        }
    }
}
