//! A smooth curve through points that never swings past them: piecewise cubic Hermite interpolation.
//!
//! Between two points the curve stays between their values; where the points rise the curve rises, and where they turn the
//! curve turns at the point. Nothing is extrapolated: outside the points there is an error, not a value.
//!
//! Science: Fritsch, Carlson (1980) Monotone Piecewise Cubic Interpolation, SIAM J. Numer. Anal. 17(2):238-246; inner slopes by
//! the weighted harmonic mean of Fritsch, Butland (1984) SIAM J. Sci. Stat. Comput. 5(2):300-304; end slopes by the three-point
//! formula held to the same shape, as in the PCHIM routine of the SLATEC library.

use crate::error::{Error, Result};

/// A shape-preserving curve y(x) through at least two points. Units are the caller's.
#[derive(Debug, Clone, PartialEq)]
pub struct Pchip {
    x: Vec<f64>,
    y: Vec<f64>,
    slope: Vec<f64>,
}

impl Pchip {
    /// The curve through the points (`x`, `y`).
    ///
    /// # Errors
    /// Fewer than two points, lists of different length, values that are not finite, or `x` that does not rise strictly.
    pub fn new(x: &[f64], y: &[f64]) -> Result<Pchip> {
        if x.len() != y.len() || x.len() < 2 {
            return Err(Error::new(
                format!("a curve got {} places and {} values", x.len(), y.len()),
                "give at least two points, each with a place and a value",
            ));
        }
        if let Some(i) = (0..x.len()).find(|i| !(x[*i].is_finite() && y[*i].is_finite())) {
            return Err(Error::new(
                format!("point {} of a curve is ({}, {})", i + 1, x[i], y[i]),
                "leave out points that are not known",
            ));
        }
        if let Some(pair) = x.windows(2).find(|pair| pair[0] >= pair[1]) {
            return Err(Error::new(
                format!(
                    "a curve got the places {} and {} in this order",
                    pair[0], pair[1]
                ),
                "give the points in rising order, each place once",
            ));
        }
        Ok(Pchip {
            x: x.to_vec(),
            y: y.to_vec(),
            slope: slopes(x, y),
        })
    }

    /// First and last place of the curve.
    pub fn domain(&self) -> (f64, f64) {
        (self.x[0], self.x[self.x.len() - 1])
    }

    /// The curve at `x`.
    ///
    /// # Errors
    /// `x` outside [`Pchip::domain`], or not a number.
    pub fn value(&self, x: f64) -> Result<f64> {
        let (i, h, t) = self.piece(x)?;
        let u = 1.0 - t;
        Ok(u * u * (1.0 + 2.0 * t) * self.y[i]
            + t * t * (1.0 + 2.0 * u) * self.y[i + 1]
            + h * t * u * (u * self.slope[i] - t * self.slope[i + 1]))
    }

    /// Slope of the curve at `x`; it has no jumps.
    ///
    /// # Errors
    /// As for [`Pchip::value`].
    pub fn derivative(&self, x: f64) -> Result<f64> {
        let (i, h, t) = self.piece(x)?;
        let u = 1.0 - t;
        let secant = (self.y[i + 1] - self.y[i]) / h;
        Ok(6.0 * t * u * secant
            + u * (1.0 - 3.0 * t) * self.slope[i]
            + t * (1.0 - 3.0 * u) * self.slope[i + 1])
    }

    /// The piece that holds `x`: its index, its width, and how far along it `x` lies (0..=1).
    fn piece(&self, x: f64) -> Result<(usize, f64, f64)> {
        let (first, last) = self.domain();
        if !(first..=last).contains(&x) {
            return Err(Error::new(
                format!("{x} lies outside the curve, which runs from {first} to {last}"),
                "nothing is known there: stay within the steps of the chart",
            ));
        }
        let i = self
            .x
            .partition_point(|knot| *knot <= x)
            .clamp(1, self.x.len() - 1)
            - 1;
        let h = self.x[i + 1] - self.x[i];
        Ok((i, h, (x - self.x[i]) / h))
    }
}

/// Slope at each point.
fn slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let h: Vec<f64> = x.windows(2).map(|p| p[1] - p[0]).collect();
    let secant: Vec<f64> = y
        .windows(2)
        .zip(&h)
        .map(|(p, h)| (p[1] - p[0]) / h)
        .collect();
    let pieces = h.len();
    if pieces == 1 {
        return vec![secant[0]; 2];
    }
    let mut slope = vec![end_slope(h[0], h[1], secant[0], secant[1])];
    slope.extend((1..pieces).map(|i| inner_slope(h[i - 1], h[i], secant[i - 1], secant[i])));
    slope.push(end_slope(
        h[pieces - 1],
        h[pieces - 2],
        secant[pieces - 1],
        secant[pieces - 2],
    ));
    slope
}

/// Weighted harmonic mean of the secants on both sides; 0 where the points turn or are level.
fn inner_slope(h0: f64, h1: f64, secant0: f64, secant1: f64) -> f64 {
    if secant0 * secant1 <= 0.0 {
        return 0.0;
    }
    let (w0, w1) = (2.0 * h1 + h0, h1 + 2.0 * h0);
    (w0 + w1) / (w0 / secant0 + w1 / secant1)
}

/// Three-point slope at an end, `h0` and `secant0` being those of the outermost piece, held to the shape of the points.
fn end_slope(h0: f64, h1: f64, secant0: f64, secant1: f64) -> f64 {
    let slope = ((2.0 * h0 + h1) * secant0 - h0 * secant1) / (h0 + h1);
    if slope * secant0 <= 0.0 {
        0.0
    } else if secant0 * secant1 < 0.0 && slope.abs() > 3.0 * secant0.abs() {
        3.0 * secant0
    } else {
        slope
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_no_curve_is_an_error() {
        let says = |x: &[f64], y: &[f64], text: &str| {
            let error = Pchip::new(x, y).expect_err(text).to_string();
            assert!(error.contains(text), "{error}");
        };
        says(&[1.0], &[1.0], "at least two points");
        says(&[1.0, 2.0], &[1.0], "2 places and 1 values");
        says(&[1.0, 1.0], &[1.0, 2.0], "places 1 and 1");
        says(&[1.0, 2.0], &[1.0, f64::NAN], "point 2");
    }

    #[test]
    fn outside_there_is_no_value() {
        let line = Pchip::new(&[1.0, 3.0], &[10.0, 30.0]).unwrap();
        assert_eq!(line.value(2.0).unwrap(), 20.0);
        assert_eq!(line.derivative(3.0).unwrap(), 10.0);
        for x in [0.999, 3.001, f64::NAN] {
            assert!(line.value(x).is_err() && line.derivative(x).is_err(), "{x}");
        }
    }

    proptest! {
        /// The law it is chosen for: between two points the curve stays between their values.
        #[test]
        fn never_swings_past_the_points(
            points in prop::collection::vec((0.01..10.0f64, -50.0..50.0f64), 2..9), at in 0.0..1.0f64,
        ) {
            let x: Vec<f64> = points.iter().scan(0.0, |sum, (step, _)| { *sum += step; Some(*sum) }).collect();
            let y: Vec<f64> = points.iter().map(|(_, y)| *y).collect();
            let curve = Pchip::new(&x, &y).unwrap();
            for i in 1..x.len() {
                let value = curve.value(x[i - 1] + at * (x[i] - x[i - 1])).unwrap();
                let (low, high) = (y[i].min(y[i - 1]), y[i].max(y[i - 1]));
                prop_assert!((low - 1e-9..=high + 1e-9).contains(&value), "{value} not in {low}..{high}");
            }
        }

        /// The slope against a central difference.
        #[test]
        fn derivative_is_the_slope(y in prop::collection::vec(-50.0..50.0f64, 5), at in 0.01..3.99f64) {
            let curve = Pchip::new(&[0.0, 1.0, 2.0, 3.0, 4.0], &y).unwrap();
            let step = 1e-6;
            let slope = (curve.value(at + step).unwrap() - curve.value(at - step).unwrap()) / (2.0 * step);
            // A knot within the step bends the difference by at most the step times the second derivative (< 1000 here).
            prop_assert!((slope - curve.derivative(at).unwrap()).abs() < 1e-2, "at {at}");
        }
    }
}
