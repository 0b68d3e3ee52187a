//! Where the vial and its liquid are, in the bay seen from the side.
//!
//! A straight line parallel to the card is seen parallel to its projection on the card, so an upright vial is an upright
//! band in card coordinates, whatever the camera's pose. Its two outlines are the outermost lasting edges; its liquid
//! is the lowest even stretch between base and meniscus.

mod liquid;
mod outline;
mod profiles;

use nalgebra::Vector3;

use liquid::{Liquid, liquid};
use outline::{Outlines, Strips, outlines};

use super::bay::BayPicture;
use crate::error::{Error, Result};
use crate::place::Area;

/// The vial as found, plane units.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Vial {
    /// Left outline.
    pub left: f64,
    /// Right outline.
    pub right: f64,
    /// Upper end of the even liquid.
    pub top: f64,
    /// Lower end of the even liquid.
    pub bottom: f64,
    /// Whether something of a deeper tint lies below the even stretch: a low liquid under empty glass.
    pub deeper_below: bool,
    /// Height, mm, of what stands right on the even stretch, with no line between, and is of the same hue, only paler.
    pub paler_above: f64,
    /// Whether the upper end of the even stretch looks like the surface of a liquid.
    pub surface: bool,
    /// Strength of the weaker outline over the noise of edges in the bay.
    pub clarity: f64,
    /// How far outside the outlines an edge as plain as they are runs, mm, to the left negative: another vial's.
    pub beside: Option<f64>,
}

impl Vial {
    /// Outer width.
    pub fn width(&self) -> f64 {
        self.right - self.left
    }

    /// The axis.
    pub fn axis(&self) -> f64 {
        (self.left + self.right) / 2.0
    }

    /// Left, top, width and height of the liquid between the outlines.
    pub fn liquid(&self) -> Area {
        Area {
            x: self.left,
            y: self.top,
            w: self.width(),
            h: self.bottom - self.top,
        }
    }
}

/// How high the surface of a liquid in a vial of a width, mm, is seen from a height, degrees: mm of the card, taken for a flat disc in
/// its plane. 0 from below.
pub(crate) fn surface_mm(width: f64, height_deg: f64) -> f64 {
    width * height_deg.max(0.0).to_radians().tan()
}

/// A tint that differs by this much (natural log) is another colour to any eye.
const PLAIN_TINT: f64 = 0.15;
/// Shades under this (2 % of light) are taken for it: there, noise makes a tint.
const DARK: f64 = 0.27;
/// Least height of even liquid, mm.
const LEAST_LIQUID: f64 = 6.0;

/// Finds the vial in the picture of the search area around `bay`, seen from `height_deg` above, degrees.
///
/// # Errors
/// If no two outlines stand out, or no even stretch of liquid is found between them.
pub fn find(picture: &BayPicture, bay: Area, height_deg: f64) -> Result<Vial> {
    let strips = Strips::of(picture, bay);
    let Outlines {
        left,
        right,
        clarity,
        beside,
    } = outlines(picture, &strips, bay).ok_or_else(|| {
        Error::new(
            "no vial was found in the bay of the card",
            "stand the vial on its ring on the card, upright and filled, against the bare paper of the bay",
        )
    })?;
    let deep = surface_mm(right - left, height_deg);
    let Liquid {
        top,
        bottom,
        deeper_below,
        paler_above,
        surface,
    } = liquid(picture, (left, right), bay.y + bay.h, deep).ok_or_else(|| {
        Error::new(
            format!("a vial was found, but no even stretch of at least {LEAST_LIQUID} mm of liquid in it"),
            "stand the vial on its ring, filled to its mark, let bubbles clear, and photograph it without reflections over the liquid",
        )
    })?;
    Ok(Vial {
        left,
        right,
        top,
        bottom,
        deeper_below,
        paler_above,
        surface,
        clarity,
        beside,
    })
}

/// Cells that a length on the card, mm, takes; at least one.
fn cells(p: &BayPicture, mm: f64) -> usize {
    ((mm / p.step).round() as usize).max(1)
}

/// Natural log of light relative to paper; a channel with next to no light tells nothing finer than that.
fn level(shade: &Vector3<f64>) -> Vector3<f64> {
    shade.map(|s| s.max(DARK).ln()) * 3.0
}

/// Mean [`level`] over rows of shades.
fn mean_ln(rows: &[Vector3<f64>], (a, b): (usize, usize)) -> Vector3<f64> {
    rows[a..b].iter().map(level).sum::<Vector3<f64>>() / (b - a) as f64
}

/// Along a profile, how much the colour changes over `fine` cells beyond what a ramp over `coarse` ones would give, the largest
/// over channels: light that the vial gathers behind itself, and soft shadows, change slowly.
fn jumps(rows: &[Vector3<f64>], fine: usize, coarse: usize) -> Vec<f64> {
    let mean = |a: usize, b: usize| rows[a..b].iter().sum::<Vector3<f64>>() / (b - a) as f64;
    (0..rows.len())
        .map(|j| {
            if j < coarse || j + coarse >= rows.len() {
                return 0.0;
            }
            let step = mean(j + 1, j + 1 + fine) - mean(j - fine, j);
            let ramp = (rows[j + coarse] - rows[j - coarse]) * (fine as f64 / coarse as f64);
            (0..3)
                .map(|c| (step[c].abs() - ramp[c].abs()).max(0.0))
                .fold(0.0, f64::max)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::light::observe;
    use crate::photo::Picture;
    use crate::place::Place;
    use crate::vial::bay;

    /// A vial of 24 mm seen from 20 degrees above: its surface, 8.7 mm deep, is of the liquid's colour and ends in a bright line.
    #[test]
    fn a_surface_seen_from_above_is_left_out() {
        let area = |x, y, w, h| Area { x, y, w, h };
        let (back, front) = (80, 88);
        let colour = |x: u32, y: u32| match (x, y) {
            (50 | 73, 50..) => [120, 120, 120],
            (51..73, y) if y == front => [250, 225, 238],
            (51..73, y) if y >= back => [225, 150, 190],
            (51..73, 50..) => [205, 205, 205],
            _ => [215, 215, 215],
        };
        let pixels = (0..140 * 140)
            .flat_map(|i: u32| colour(i % 140, i / 140))
            .collect();
        let picture = Picture::from_rgb8(140, 140, pixels);
        let search = area(30.0, 20.0, 64.0, 114.0);
        let place = Place::by_hand(area(2.0, 2.0, 20.0, 60.0), search, 140, 140).unwrap();
        let p = bay::of(
            &picture,
            &place,
            &observe(&picture, &place).unwrap(),
            search,
        );
        let top = |height_deg| {
            find(&p, area(40.0, 28.0, 44.0, 96.0), height_deg)
                .unwrap()
                .top
        };
        let (straight, above) = (top(0.0), top(20.0));
        assert!((79.0..84.0).contains(&straight), "{straight}");
        assert!((87.0..92.0).contains(&above), "{above}");
    }
}
