//! A picture of a chart: its curve through the colours, and how well one photo tells the concentration along it.
//!
//! Left the plane of a* and b* with the steps in their own colours; right, along the steps, lightness and the width of the
//! interval. Marks differ in shape as well as colour, so that a print without colour still tells them apart.

use nalgebra::{Matrix2, SymmetricEigen};
use resvg::{tiny_skia, usvg};

use super::axes::{Frame, ticks};
use super::number;
use super::svg::{Drawing, Type, hex, png};
use crate::chart::curve::Curve;
use crate::chart::limits::{self, Expected, Limits};
use crate::chart::{Chart, resolve};
use crate::error::{Error, Result};
use crate::reading::LEVEL;

/// What kind of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    Svg,
    Png,
}

const WIDTH: u32 = 1280;
const HEIGHT: u32 = 780;
const INK: &str = "#1c1c1c";
const QUIET: &str = "#5a5a5a";
const GRID: &str = "#dedede";
const BAND: &str = "#b9c3cf";
const SMALL: Type = Type {
    size: 15.0,
    bold: false,
};
const STRONG: Type = Type {
    size: 17.0,
    bold: true,
};
/// 95 % radius of a normal distribution in the plane, in standard deviations: the square root of chi-squared with 2 degrees.
const ELLIPSE: f64 = 2.448;
/// Places drawn per step.
const PER_STEP: usize = 24;

/// The chart as a picture.
///
/// # Errors
/// If the chart has too few steps for a curve, or the picture cannot be drawn.
pub fn chart(chart: &Chart, format: Format) -> Result<Vec<u8>> {
    let curve = Curve::new(&chart.steps, &chart.curve)?;
    let along = limits::along(chart, PER_STEP)?;
    let found = limits::limits(chart)?;
    let mut d = Drawing::new(WIDTH, HEIGHT);
    d.rectangle(0.0, 0.0, f64::from(WIDTH), f64::from(HEIGHT), "#ffffff");
    let title = Type {
        size: 26.0,
        bold: true,
    };
    d.text(56.0, 52.0, title, INK, &shortened(&heading(chart), 80));
    plane(&mut d, chart, &curve);
    lightness(&mut d, chart, &curve);
    width(&mut d, chart, &along, found.as_ref());
    paint(&d, format).ok_or_else(|| {
        Error::new(
            "the plot of the chart cannot be drawn",
            "show the chart without --plot",
        )
    })
}

fn heading(chart: &Chart) -> String {
    format!(
        "{}, {}: what one photo can tell",
        chart.terms.test, chart.terms.unit
    )
}

fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most - 1).chain(['…']).collect()
}

fn paint(d: &Drawing, format: Format) -> Option<Vec<u8>> {
    let tree = d.tree()?;
    Some(match format {
        Format::Svg => tree.to_string(&usvg::WriteOptions::default()).into_bytes(),
        Format::Png => {
            let mut canvas = tiny_skia::Pixmap::new(WIDTH, HEIGHT)?;
            resvg::render(&tree, usvg::Transform::identity(), &mut canvas.as_mut());
            png(&canvas)?
        }
    })
}

impl Frame {
    fn outline(&self, d: &mut Drawing) {
        let (l, t, r, b) = (self.left, self.top, self.left + self.w, self.top + self.h);
        d.line(&[(l, t), (r, t), (r, b), (l, b), (l, t)], QUIET, 1.0, "");
    }

    fn across(&self, d: &mut Drawing, y: f64, label: &str) {
        let (x0, py) = self.at(self.x.0, y);
        d.line(&[(x0, py), (x0 + self.w, py)], GRID, 1.0, "");
        d.ending(x0 - 8.0, py + 5.0, SMALL, QUIET, label);
    }

    fn upright(&self, d: &mut Drawing, x: f64, label: &str) {
        let (px, y0) = self.at(x, self.y.0);
        d.line(&[(px, y0), (px, y0 - self.h)], GRID, 1.0, "");
        d.centred(px, y0 + 20.0, SMALL, QUIET, label);
    }
}

/// Labels of ticks, steps and marks.
fn label(v: f64) -> String {
    number::six(v).to_string()
}

/// The curve over a* and b*, with what one photo scatters by at each step.
fn plane(d: &mut Drawing, chart: &Chart, curve: &Curve) {
    let last = chart.steps.len() - 1;
    let line: Vec<[f64; 3]> = (0..=PER_STEP * last)
        .map(|i| curve.lab(i as f64 / PER_STEP as f64))
        .map(|c| [c.l, c.a, c.b])
        .collect();
    let ellipses: Vec<Vec<(f64, f64)>> = (0..=last)
        .map(|i| {
            let centre = curve.lab(i as f64);
            let c = resolve::reading_covariance(chart, curve, i as f64);
            ellipse(
                (centre.a, centre.b),
                &Matrix2::new(c[(1, 1)], c[(1, 2)], c[(2, 1)], c[(2, 2)]),
            )
        })
        .collect();
    let all = || {
        let rims = ellipses.iter().flatten().copied();
        rims.chain(line.iter().map(|c| (c[1], c[2])))
            .chain([(0.0, 0.0)])
    };
    let ends = |of: fn((f64, f64)) -> f64| {
        let low = all().map(of).fold(f64::INFINITY, f64::min);
        (low, all().map(of).fold(f64::NEG_INFINITY, f64::max))
    };
    let (xs, ys) = (ends(|p| p.0), ends(|p| p.1));
    // One scale for both axes, so that distances are what an eye takes them for.
    let half = 0.54 * (xs.1 - xs.0).max(ys.1 - ys.0).max(10.0);
    let (cx, cy) = ((xs.0 + xs.1) / 2.0, (ys.0 + ys.1) / 2.0);
    let frame = Frame {
        left: 84.0,
        top: 116.0,
        w: 560.0,
        h: 560.0,
        x: (cx - half, cx + half),
        y: (cy - half, cy + half),
    };
    d.text(84.0, 100.0, STRONG, INK, "Colours of the steps: a* and b*");
    for t in ticks(frame.x.0, frame.x.1, 6.0) {
        frame.upright(d, t, &label(t));
    }
    for t in ticks(frame.y.0, frame.y.1, 6.0) {
        frame.across(d, t, &label(t));
    }
    d.centred(364.0, 722.0, SMALL, QUIET, "a*: green to red");
    d.text(
        84.0,
        744.0,
        SMALL,
        QUIET,
        "b*, upwards: blue to yellow. Ellipses: where 95 % of photos of a step would lie.",
    );
    frame.outline(d);
    for rim in &ellipses {
        let points: Vec<_> = rim.iter().map(|p| frame.at(p.0, p.1)).collect();
        d.line(&points, QUIET, 1.5, "5 3");
    }
    let points: Vec<_> = line.iter().map(|c| frame.at(c[1], c[2])).collect();
    d.line(&points, INK, 7.0, "");
    for (i, pair) in points.windows(2).enumerate() {
        let colour = curve
            .relative((i as f64 + 0.5) / PER_STEP as f64)
            .to_srgb8();
        d.line(pair, &hex(colour), 5.0, "");
    }
    let mut placed: Vec<(f64, f64)> = Vec::new();
    for (i, step) in chart.steps.iter().enumerate() {
        let (x, y) = points[i * PER_STEP];
        d.dot(x, y, 8.0, &hex(step.relative().to_srgb8()));
        // Above the step, or below it, where there is room; the axis on the right names them all.
        let free = |p: &(f64, f64)| {
            placed
                .iter()
                .all(|q| (p.0 - q.0).abs() > 40.0 || (p.1 - q.1).abs() > 18.0)
        };
        if let Some(at) = [(x + 12.0, y - 10.0), (x - 12.0, y + 24.0)]
            .into_iter()
            .find(free)
        {
            d.text(at.0, at.1, SMALL, INK, &label(step.value));
            placed.push(at);
        }
    }
}

fn ellipse(centre: (f64, f64), covariance: &Matrix2<f64>) -> Vec<(f64, f64)> {
    let axes = SymmetricEigen::new(*covariance);
    (0..=48)
        .map(|k| {
            let (s, c) = (std::f64::consts::TAU * f64::from(k) / 48.0).sin_cos();
            let long = axes.eigenvalues.map(|v| ELLIPSE * v.max(0.0).sqrt());
            let p = axes.eigenvectors * nalgebra::Vector2::new(long[0] * c, long[1] * s);
            (centre.0 + p.x, centre.1 + p.y)
        })
        .collect()
}

/// The steps below a frame, at equal distances; labels that would run into each other are left out.
fn steps_below(d: &mut Drawing, frame: &Frame, chart: &Chart) {
    let mut free = f64::NEG_INFINITY;
    for (i, step) in chart.steps.iter().enumerate() {
        let text = label(step.value);
        let half = 4.5 * text.chars().count() as f64;
        let (x, y) = frame.at(i as f64, frame.y.0);
        d.line(&[(x, y), (x, y + 5.0)], QUIET, 1.0, "");
        if x - half > free {
            d.centred(x, y + 20.0, SMALL, QUIET, &text);
            free = x + half + 4.0;
        }
    }
}

/// Lightness along the steps, with the band of 95 % of photos.
fn lightness(d: &mut Drawing, chart: &Chart, curve: &Curve) {
    let last = chart.steps.len() - 1;
    let line: Vec<(f64, f64, f64)> = (0..=PER_STEP * last)
        .map(|i| {
            let p = i as f64 / PER_STEP as f64;
            let c = resolve::reading_covariance(chart, curve, p);
            (p, curve.lab(p).l, 1.96 * c[(0, 0)].max(0.0).sqrt())
        })
        .collect();
    let low = line
        .iter()
        .map(|p| p.1 - p.2)
        .fold(100.0, f64::min)
        .max(0.0);
    let frame = Frame {
        left: 740.0,
        top: 116.0,
        w: 490.0,
        h: 170.0,
        x: (0.0, last as f64),
        y: (low, 100.0),
    };
    d.text(740.0, 100.0, STRONG, INK, "Lightness: L*");
    for t in ticks(frame.y.0, frame.y.1, 4.0) {
        frame.across(d, t, &label(t));
    }
    let upper = line.iter().map(|p| frame.at(p.0, (p.1 + p.2).min(100.0)));
    let lower = line
        .iter()
        .rev()
        .map(|p| frame.at(p.0, (p.1 - p.2).max(low)));
    d.filled(&upper.chain(lower).collect::<Vec<_>>(), BAND, 0.6);
    let middle: Vec<_> = line.iter().map(|p| frame.at(p.0, p.1)).collect();
    d.line(&middle, INK, 2.0, "");
    for (i, step) in chart.steps.iter().enumerate() {
        let (x, y) = middle[i * PER_STEP];
        d.dot(x, y, 6.0, &hex(step.relative().to_srgb8()));
    }
    frame.outline(d);
    steps_below(d, &frame, chart);
}

/// How wide the interval of one photo is along the steps, with the limits marked.
fn width(d: &mut Drawing, chart: &Chart, along: &[Expected], found: Option<&Limits>) {
    let last = (chart.steps.len() - 1) as f64;
    let widths: Vec<f64> = along.iter().map(|e| e.high - e.low).collect();
    let least = widths.iter().copied().filter(|w| *w > 0.0);
    let (least, most) = (
        least.fold(f64::INFINITY, f64::min),
        widths.iter().copied().fold(0.0, f64::max),
    );
    if !(least.is_finite() && most > 0.0) {
        return;
    }
    // Over a wide range the narrow end would lie flat on the axis: then in powers of ten.
    let powers = most > 20.0 * least;
    let scaled = |w: f64| {
        if powers { w.max(least).log10() } else { w }
    };
    let frame = Frame {
        left: 740.0,
        top: 372.0,
        w: 490.0,
        h: 304.0,
        x: (0.0, last),
        y: if powers {
            (least.log10() - 0.1, most.log10() + 0.15)
        } else {
            (0.0, 1.15 * most)
        },
    };
    let unit = &chart.terms.unit;
    let name = format!(
        "Width of the {:.0} % interval along the steps, {unit}",
        100.0 * LEVEL
    );
    d.text(740.0, 356.0, STRONG, INK, &shortened(&name, 60));
    if powers {
        for exponent in (frame.y.0.floor() as i32)..=(frame.y.1.ceil() as i32) {
            for m in [1.0, 2.0, 5.0] {
                let w = m * 10f64.powi(exponent);
                if (frame.y.0..=frame.y.1).contains(&w.log10()) {
                    frame.across(d, w.log10(), &label(w));
                }
            }
        }
    } else {
        for t in ticks(0.0, frame.y.1, 5.0) {
            frame.across(d, t, &label(t));
        }
    }
    alike(d, &frame, chart);
    let line: Vec<_> = along
        .iter()
        .zip(&widths)
        .map(|(e, w)| frame.at(e.position, scaled(*w)))
        .collect();
    d.line(&line, INK, 3.0, "");
    frame.outline(d);
    steps_below(d, &frame, chart);
    let mut notes = Vec::new();
    if let Some(l) = found {
        for (value, dash, name) in [
            (l.detection, "2 4", "dotted: detection limit"),
            (l.quantification, "9 5", "dashed: good to 10 % from"),
        ] {
            if let Some(v) = value {
                let (x, y) = frame.at(chart.step_position(v), frame.y.0);
                d.line(&[(x, y), (x, frame.top)], INK, 2.0, dash);
                let to = l
                    .quantified_to
                    .filter(|_| value == l.quantification)
                    .map_or_else(String::new, |v| format!(" to {}", number::rounded_down(v)));
                notes.push(format!(
                    "{name} {}{to} {}",
                    number::rounded_up(v),
                    shortened(unit, 16)
                ));
            }
        }
    }
    if pairs_alike(chart) {
        notes.push("grey: steps that one photo cannot tell apart".into());
    }
    for (i, note) in notes.iter().enumerate() {
        d.text(740.0, 722.0 + 20.0 * i as f64, SMALL, QUIET, note);
    }
}

fn pairs_alike(chart: &Chart) -> bool {
    resolve::pairs(chart).is_ok_and(|p| p.iter().any(|p| p.sigmas < resolve::TOLD_APART))
}

/// Stretches between steps that one photo cannot tell apart, as grey ground.
fn alike(d: &mut Drawing, frame: &Frame, chart: &Chart) {
    for (i, pair) in resolve::pairs(chart).unwrap_or_default().iter().enumerate() {
        if pair.sigmas < resolve::TOLD_APART {
            let (x0, _) = frame.at(i as f64, frame.y.0);
            let (x1, _) = frame.at(i as f64 + 1.0, frame.y.0);
            d.rectangle(x0, frame.top, x1 - x0, frame.h, "#e6e6e6");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_are_plain_numbers() {
        assert_eq!(label(-0.5), "-0.5");
        assert_eq!(label(20.0), "20");
    }
}
