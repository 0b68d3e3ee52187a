//! The light of one photo: how bright paper is everywhere, what the patches show, and how this photo's colours map onto
//! those of the session in which the chart was made.
//!
//! [`observe`] looks at paper and patches; [`correct::Correction::choose`] picks the map that predicts left-out patches
//! best. It never applies a correction that it could not check.

pub mod correct;
pub mod field;
pub mod hue;
mod kriging;
pub mod metamerism;
pub mod spot;
pub mod terms;
pub mod tone;

use nalgebra::{Matrix3, Vector3};
use rayon::iter::Either;
use rayon::prelude::*;

use crate::colour::Relative;
use crate::error::{Error, Result};
use crate::photo::Picture;
use crate::place::{Area, Bay, Place};
use field::Field;
use spot::Spot;

/// A light level beside what bare paper would show at the same place, natural logarithm of native linear RGB.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// What was seen.
    pub seen: Vector3<f64>,
    /// What bare paper would show there.
    pub white: Vector3<f64>,
}

impl Level {
    /// Light relative to bare paper, natural logarithm of native linear RGB.
    pub fn against_white(&self) -> Vector3<f64> {
        self.seen - self.white
    }
}

/// A colour without its brightness, both natural logarithm of light.
pub fn tint(ln: &Vector3<f64>) -> Vector3<f64> {
    ln.add_scalar(-ln.mean())
}

/// A patch as this photo shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct PatchSeen {
    /// The patch's name in the card design.
    pub name: String,
    /// A step of the neutral scale.
    pub neutral: bool,
    /// Its light and that of paper.
    pub level: Level,
    /// Variance of `level.seen - level.white` per channel, natural log units squared.
    pub var: Vector3<f64>,
    /// Variation inside the patch, relative: dirt, glare, an edge.
    pub texture: f64,
}

/// What the photo shows of paper and patches.
#[derive(Debug, Clone)]
pub struct Observed {
    /// The light field.
    pub field: Field,
    /// Patches that could be measured: not clipped, not crushed, inside the photo.
    pub patches: Vec<PatchSeen>,
    /// Names of patches that could not be measured.
    pub lost: Vec<String>,
    /// Spots of paper, for flags and pictures.
    pub paper: Vec<Spot>,
    /// From native linear RGB to the working space (linear BT.2020).
    pub to_working: Matrix3<f64>,
    /// Native log level of the reference white.
    pub white: Vector3<f64>,
    /// Share of paper spots that are blown out, 0 to 1.
    pub blown: f64,
    /// Noise of single pixels on bare paper, share of its light: the median over its spots.
    pub noise: f64,
}

/// Share of a patch's side that is measured: the rest is edge, blur and register of the printer.
const PATCH_CORE: f64 = 0.6;

/// Share of over-exposed places of the paper from which on they are why it cannot be measured.
const BLOWN: f64 = 0.25;

/// What to do about over-exposed paper.
pub const LESS_EXPOSURE: &str = "take the photo with less exposure: touch the white paper on the screen to meter on it, and draw the brightness down if it stays";

/// Edge length of a paper spot, mm on a card.
const SPOT_MM: f64 = 6.0;

/// Spots of paper on which noise is measured.
const NOISE_SPOTS: usize = 24;

/// Most pixels looked at in one spot.
const SPOT_SAMPLES: usize = 400;

/// Looks at the paper and the patches.
///
/// # Errors
/// If no bare paper can be measured, because it is blown out or covered.
pub fn observe(picture: &Picture, place: &Place) -> Result<Observed> {
    let paper = paper_spots(picture, place);
    if paper.is_empty() {
        return Err(Error::new(
            "no bare paper of the card can be seen in the photo",
            "keep the whole card, or the marked white region, inside the picture and uncovered",
        ));
    }
    let blown = paper.iter().filter(|s| s.is_blown()).count() as f64 / paper.len() as f64;
    let field = Field::fit(&paper).ok_or_else(|| {
        if blown < BLOWN {
            return Error::new(
                "the white paper is not even: print, a stain or an edge lies over most of its places, so its brightness is not known",
                "keep the paper clean and uncovered; if white is marked by hand, mark bare paper alone",
            );
        }
        Error::new(
            format!(
                "the white paper is over-exposed{} in {:.0} % of its places, so its brightness is not known",
                spot::blown_in(&paper),
                100.0 * blown
            ),
            LESS_EXPOSURE,
        )
    })?;
    let (patches, lost) = place.patches.par_iter().partition_map(|patch| {
        let core = shrink(patch.area, PATCH_CORE);
        match spot::measure(picture, &place.to_photo, core, SPOT_SAMPLES) {
            Some(s) if !s.is_blown() && s.crushed < 0.3 => Either::Left(PatchSeen {
                name: patch.name.clone(),
                neutral: patch.neutral,
                var: s.var + field.covariance(core).diagonal(),
                texture: s.texture,
                level: Level {
                    seen: s.ln,
                    white: field.ln_white(s.x, s.y),
                },
            }),
            _ => Either::Right(patch.name.clone()),
        }
    });
    let mut noise: Vec<f64> = paper
        .iter()
        .step_by(paper.len().div_ceil(NOISE_SPOTS))
        .filter_map(|s| spot::noise(picture, place.to_photo.map(s.x, s.y)))
        .collect();
    let (wx, wy) = place.white.centre();
    let white = field.ln_white(wx, wy);
    let to_working = Matrix3::from_row_slice(picture.to_working().as_flattened());
    Ok(Observed {
        field,
        patches,
        lost,
        paper,
        to_working,
        white,
        blown,
        noise: spot::median(&mut noise),
    })
}

/// Paper spots tile the areas of bare paper and, beside the vial, the edges of the bay.
fn paper_spots(picture: &Picture, place: &Place) -> Vec<Spot> {
    let side = match place.bay {
        Bay::Search { .. } => SPOT_MM,
        // So that what is measured of a spot is no narrower than two pixels.
        Bay::Liquid { .. } => (place.white.w.min(place.white.h) / 3.0).max(2.0 / INNER),
    };
    let mut cells = Vec::new();
    for area in &place.paper {
        let nx = (area.w / side).floor().max(1.0);
        let ny = (area.h / side).floor().max(1.0);
        let (w, h) = (area.w / nx, area.h / ny);
        if w < 0.4 * side || h < 0.4 * side {
            continue;
        }
        for j in 0..ny as usize {
            for i in 0..nx as usize {
                let cell = Area {
                    x: area.x + i as f64 * w,
                    y: area.y + j as f64 * h,
                    w,
                    h,
                };
                cells.push(shrink(cell, INNER));
            }
        }
    }
    cells
        .into_par_iter()
        .filter_map(|cell| spot::measure(picture, &place.to_photo, cell, SPOT_SAMPLES))
        .collect()
}

/// Part of a spot's width and height that is measured.
const INNER: f64 = 0.8;

fn shrink(area: Area, share: f64) -> Area {
    let (w, h) = (area.w * share, area.h * share);
    Area {
        x: area.x + (area.w - w) / 2.0,
        y: area.y + (area.h - h) / 2.0,
        w,
        h,
    }
}

/// The light of a level relative to paper, in the working space, without any correction.
///
/// The division by paper is done in the working space, so that files of different profiles agree.
pub fn relative(level: &Level, to_working: &Matrix3<f64>) -> Relative {
    let seen = to_working * level.seen.map(f64::exp);
    let white = to_working * level.white.map(f64::exp);
    Relative(seen.component_div(&white).into())
}
