//! The bay as a flat picture: each cell's light beside that of bare paper at the same place.

use std::ops::RangeInclusive;

use nalgebra::Vector3;
use rayon::prelude::*;

use crate::light::field::Field;
use crate::light::spot::DARKEST;
use crate::light::{Level, Observed};
use crate::photo::Picture;
use crate::place::{Area, Place};

/// A rectified part of the photo on a square grid in plane units.
#[derive(Debug, Clone)]
pub struct BayPicture {
    /// The part of the plane that it covers.
    pub area: Area,
    /// Edge of a cell, plane units.
    pub step: f64,
    /// Cells across.
    pub nx: usize,
    /// Cells down.
    pub ny: usize,
    cells: Vec<Cell>,
}

#[derive(Debug, Clone)]
struct Cell {
    level: Level,
    shade: Vector3<f64>,
    clipped: bool,
}

/// Share of the height of a standing vial's liquid that is left out at each end: meniscus, base and blur.
pub(super) const ENDS: f64 = 0.12;
/// Cells are about this large, mm; finer detail than a vial's wall (about 1 mm) is not needed.
const CELL_MM: f64 = 0.3;
/// Distance of the points at which the light field is computed, in parts of the larger side of the area.
const FIELD_PARTS: f64 = 24.0;
/// Most pixel look-ups along one side of a cell.
const LOOKUPS: usize = 4;

impl BayPicture {
    /// Rectifies `area` (plane units). Cells outside the photo are clipped ones.
    pub fn new(picture: &Picture, place: &Place, field: &Field, area: Area) -> BayPicture {
        let (cx, cy) = area.centre();
        let scale = place.to_photo.scale_at(cx, cy);
        let step = if place.card.is_some() {
            CELL_MM.max(1.0 / scale)
        } else {
            (area.w.max(area.h) / 300.0).max(1.0)
        };
        let nx = ((area.w / step).floor() as usize).max(2);
        let ny = ((area.h / step).floor() as usize).max(2);
        let per = ((step * scale).round() as usize).clamp(1, LOOKUPS);
        let (width, height) = (f64::from(picture.width()), f64::from(picture.height()));
        // Where the look-ups of a cell lie, in parts of it.
        let parts: Vec<f64> = (0..per).map(|a| (a as f64 + 0.5) / per as f64).collect();
        let white = field.grid(
            area.x,
            area.y,
            area.w,
            area.h,
            area.w.max(area.h) / FIELD_PARTS,
        );
        let rows: Vec<Vec<Cell>> = (0..ny)
            .into_par_iter()
            .map(|j| {
                let mut cells = vec![(Vector3::zeros(), 0usize, false); nx];
                for part in &parts {
                    let line = place.to_photo.along(area.y + (j as f64 + part) * step);
                    for (i, (sum, count, top)) in cells.iter_mut().enumerate() {
                        for part in &parts {
                            let (px, py) = line(area.x + (i as f64 + part) * step);
                            if px >= 0.0 && py >= 0.0 && px < width && py < height {
                                let (light, clipped) = picture.light(px as u32, py as u32);
                                *sum += Vector3::from(light);
                                *top |= clipped;
                                *count += 1;
                            }
                        }
                    }
                }
                let y = area.y + (j as f64 + 0.5) * step;
                cells
                    .into_iter()
                    .enumerate()
                    .map(|(i, (sum, count, top))| {
                        let mean = sum / count.max(1) as f64;
                        let level = Level {
                            seen: mean.map(|v| v.max(DARKEST).ln()),
                            white: white.at(area.x + (i as f64 + 0.5) * step, y),
                        };
                        Cell {
                            level,
                            shade: level.against_white().map(|v| (v / 3.0).exp()),
                            clipped: top || count == 0,
                        }
                    })
                    .collect()
            })
            .collect();
        BayPicture {
            area,
            step,
            nx,
            ny,
            cells: rows.into_iter().flatten().collect(),
        }
    }

    /// Centre of a cell, plane units.
    pub fn point(&self, i: usize, j: usize) -> (f64, f64) {
        (
            self.area.x + (i as f64 + 0.5) * self.step,
            self.area.y + (j as f64 + 0.5) * self.step,
        )
    }

    /// Column of a point of the plane.
    pub fn column(&self, x: f64) -> usize {
        (((x - self.area.x) / self.step) as usize).min(self.nx - 1)
    }

    /// Column of a point of the plane, if it is in the picture.
    pub fn column_within(&self, x: f64) -> Option<usize> {
        (self.area.x..self.area.x + self.area.w)
            .contains(&x)
            .then(|| self.column(x))
    }

    /// Rows of a standing vial's liquid without [`ENDS`].
    pub fn inner_rows(&self, liquid: Area) -> RangeInclusive<usize> {
        self.row(liquid.y + ENDS * liquid.h)..=self.row(liquid.y + (1.0 - ENDS) * liquid.h)
    }

    /// Row of a point of the plane.
    pub fn row(&self, y: f64) -> usize {
        (((y - self.area.y) / self.step) as usize).min(self.ny - 1)
    }

    /// The level of a cell: its light and that of paper there.
    pub fn level(&self, i: usize, j: usize) -> Level {
        self.cells[j * self.nx + i].level
    }

    /// A cell on a scale on which equal steps look about equally large, dark or light: the cube root of light against paper
    /// (as in CIELAB). The logarithm would blow up the noise of a channel that the dye has nearly taken away.
    pub fn shade(&self, i: usize, j: usize) -> Vector3<f64> {
        self.cells[j * self.nx + i].shade
    }

    /// Whether any pixel of the cell was at the top of its range, or the cell lies outside the photo.
    pub fn clipped(&self, i: usize, j: usize) -> bool {
        self.cells[j * self.nx + i].clipped
    }
}

/// How far beside the bay a vial may appear, mm: it stands before the card by its radius (up to 14 mm), so under a tilt
/// of 40 degrees it is seen up to 14 tan 40 = 12 mm aside.
const PARALLAX_MM: f64 = 12.0;

/// How far under the bay a vial may reach, mm: seen from above, the foot of a vial that stands before the card is drawn lower
/// than the card's.
const UNDER_MM: f64 = 10.0;

/// The area in which a vial may appear, for a card: the bay and what parallax adds on both sides and below.
pub fn search_area(bay: Area) -> Area {
    Area {
        x: bay.x - PARALLAX_MM,
        y: bay.y,
        w: bay.w + 2.0 * PARALLAX_MM,
        h: bay.h + UNDER_MM,
    }
}

/// How far beside its bay the mouth of an open vial may appear, mm: the bare paper around the bay of the flat card.
pub const BARE_AROUND: f64 = 10.0;

/// The area in which the mouth of an open vial may appear, for a card seen from above: the bay and the bare paper around
/// it. Farther out lie patches.
pub fn search_area_above(bay: Area) -> Area {
    bay.shrunk(-BARE_AROUND)
}

/// The bay picture of a place.
pub fn of(picture: &Picture, place: &Place, seen: &Observed, area: Area) -> BayPicture {
    BayPicture::new(picture, place, &seen.field, area)
}
