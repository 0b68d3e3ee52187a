//! What every plot needs of its axes: values to pixels, and round numbers to label.

/// A frame with two axes: values to pixels, y upwards.
pub(super) struct Frame {
    pub(super) left: f64,
    pub(super) top: f64,
    pub(super) w: f64,
    pub(super) h: f64,
    pub(super) x: (f64, f64),
    pub(super) y: (f64, f64),
}

impl Frame {
    pub(super) fn at(&self, x: f64, y: f64) -> (f64, f64) {
        (
            self.left + (x - self.x.0) / (self.x.1 - self.x.0) * self.w,
            self.top + self.h - (y - self.y.0) / (self.y.1 - self.y.0) * self.h,
        )
    }
}

/// A round number near `v`: 1, 2 or 5 times a power of ten.
fn round(v: f64) -> f64 {
    let power = 10f64.powf(v.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .map(|m| m * power)
        .into_iter()
        .find(|r| *r >= 0.999 * v)
        .unwrap_or(10.0 * power)
}

/// Round numbers from `from` to `to`, about so many.
pub(super) fn ticks(from: f64, to: f64, about: f64) -> Vec<f64> {
    let step = round((to - from) / about);
    let first = (from / step).ceil() as i64;
    let last = (to / step).floor() as i64;
    (first..=last).map(|i| i as f64 * step).collect()
}

/// Ticks with their labels, all with as many decimals as the step needs.
pub(super) fn labelled(from: f64, to: f64, about: f64) -> Vec<(f64, String)> {
    let step = round((to - from) / about);
    // A hair more, since the logarithm of 0.01 may fall short of -2.
    let places = (-(step.log10() + 1e-9).floor()).max(0.0) as usize;
    // Beyond a million, digits are harder to count than to read as a power.
    let powers = from.abs().max(to.abs()) >= 1e6;
    ticks(from, to, about)
        .into_iter()
        .map(|v| {
            let text = if powers {
                format!("{:e}", super::number::six(v))
            } else {
                format!("{v:.places$}")
            };
            (v, text)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn round_numbers() {
        for (v, want) in [
            (0.7, 1.0),
            (1.4, 2.0),
            (2.0, 2.0),
            (3.1, 5.0),
            (60.0, 100.0),
        ] {
            assert!((round(v) - want).abs() < 1e-9, "{v}: {}", round(v));
        }
        assert_eq!(ticks(-3.0, 21.0, 5.0), [0.0, 5.0, 10.0, 15.0, 20.0]);
    }

    #[test]
    fn labels_have_the_decimals_of_the_step() {
        let said = |from, to| -> Vec<String> {
            labelled(from, to, 4.0).into_iter().map(|t| t.1).collect()
        };
        assert_eq!(said(8.0, 8.4), ["8.0", "8.1", "8.2", "8.3", "8.4"]);
        assert_eq!(said(0.0, 0.03), ["0.00", "0.01", "0.02", "0.03"]);
        assert_eq!(said(0.0, 9000.0), ["0", "5000"]);
        assert_eq!(said(0.0, 2e6), ["0e0", "5e5", "1e6", "1.5e6", "2e6"]);
    }
}
