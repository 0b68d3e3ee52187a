//! Where things are in the photo: white paper, patches and the bay of the vial.
//!
//! Found from the card's markers ([`crate::card::find`]) or marked by hand ([`Place::by_hand`]); both give a [`Place`],
//! and the rest of the pipeline cannot tell them apart. Coordinates of a place are those of its *plane*: millimetres on
//! the card, origin top left, y down; for regions by hand the plane is the upright photo itself, in pixels.

pub mod frame;

use std::fmt;
use std::str::FromStr;

use nalgebra::{Matrix3, Vector3};

use crate::error::{Error, Result};

/// An axis-parallel rectangle in plane units (millimetres on a card, pixels by hand), origin top left, y down.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Area {
    pub x: f64,
    pub y: f64,
    pub w: f64,
    pub h: f64,
}

/// As on the command line: `x,y,w,h`.
impl fmt::Display for Area {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "{},{},{},{}", self.x, self.y, self.w, self.h)
    }
}

impl FromStr for Area {
    type Err = String;

    fn from_str(text: &str) -> std::result::Result<Area, String> {
        let numbers: Option<Vec<f64>> = text
            .split(',')
            .map(|p| p.trim().parse().ok().filter(|v: &f64| v.is_finite()))
            .collect();
        match numbers.as_deref() {
            Some(&[x, y, w, h]) => Ok(Area { x, y, w, h }),
            _ => Err("a region is four numbers x,y,w,h in pixels of the upright photo, such as 120,80,300,200".into()),
        }
    }
}

impl Area {
    /// The centre of the rectangle.
    pub fn centre(&self) -> (f64, f64) {
        (self.x + self.w / 2.0, self.y + self.h / 2.0)
    }

    /// The rectangle with `margin` taken off each side (added, if negative).
    pub fn shrunk(&self, margin: f64) -> Area {
        Area {
            x: self.x + margin,
            y: self.y + margin,
            w: self.w - 2.0 * margin,
            h: self.h - 2.0 * margin,
        }
    }

    /// Whether the point lies inside.
    pub fn contains(&self, x: f64, y: f64) -> bool {
        x >= self.x && x <= self.x + self.w && y >= self.y && y <= self.y + self.h
    }

    /// What is left of the rectangle outside `hole`: up to four rectangles.
    fn without(&self, hole: &Area) -> Vec<Area> {
        let (right, bottom) = (self.x + self.w, self.y + self.h);
        let (x0, x1) = (
            hole.x.clamp(self.x, right),
            (hole.x + hole.w).clamp(self.x, right),
        );
        let (y0, y1) = (
            hole.y.clamp(self.y, bottom),
            (hole.y + hole.h).clamp(self.y, bottom),
        );
        if x0 >= x1 || y0 >= y1 {
            return vec![*self];
        }
        let between = |x: f64, y: f64, to_x: f64, to_y: f64| Area {
            x,
            y,
            w: to_x - x,
            h: to_y - y,
        };
        [
            between(self.x, self.y, right, y0),
            between(self.x, y1, right, bottom),
            between(self.x, y0, x0, y1),
            between(x1, y0, right, y1),
        ]
        .into_iter()
        .filter(|a| a.w > 0.0 && a.h > 0.0)
        .collect()
    }
}

/// A projective map of the plane, `(x, y, 1) -> H (x, y, 1)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Homography(pub Matrix3<f64>);

impl Homography {
    /// The map that leaves every point where it is.
    pub fn identity() -> Self {
        Homography(Matrix3::identity())
    }

    /// The image of a point.
    pub fn map(&self, x: f64, y: f64) -> (f64, f64) {
        let p = self.0 * Vector3::new(x, y, 1.0);
        (p.x / p.z, p.y / p.z)
    }

    /// The map along a line of equal `y`, for many points of it.
    pub fn along(&self, y: f64) -> impl Fn(f64) -> (f64, f64) + use<> {
        let step = self.0.column(0).into_owned();
        let start = self.0.column(1) * y + self.0.column(2);
        move |x| {
            let p = start + step * x;
            let part = 1.0 / p.z;
            (p.x * part, p.y * part)
        }
    }

    /// The inverse map, if there is one.
    pub fn inverse(&self) -> Option<Homography> {
        self.0.try_inverse().map(Homography)
    }

    /// Photo pixels per plane unit at a point: the square root of the area scale.
    pub fn scale_at(&self, x: f64, y: f64) -> f64 {
        let e = 1e-3;
        let (x0, y0) = self.map(x, y);
        let (x1, y1) = self.map(x + e, y);
        let (x2, y2) = self.map(x, y + e);
        (((x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0)).abs()).sqrt() / e
    }
}

/// A printed patch and where it lies.
#[derive(Debug, Clone, PartialEq)]
pub struct PatchArea {
    /// The patch's name in the card design.
    pub name: String,
    /// True for the steps of the neutral scale.
    pub neutral: bool,
    /// The whole printed patch.
    pub area: Area,
}

/// From where the vial is seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum View {
    /// From the side, the vial standing before the upright card.
    Side,
    /// From above into the open vial, standing on the card.
    Above,
}

/// Where the vial is to be looked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bay {
    /// The vial stands somewhere in this area and has to be found.
    Search { area: Area, view: View },
    /// This area holds liquid and nothing else: somebody marked it.
    Liquid { area: Area },
}

/// The card as it was seen.
#[derive(Debug, Clone, PartialEq)]
pub struct CardSeen {
    /// The design's id, such as `side-1`.
    pub design: String,
    /// Marker ids found.
    pub tags_found: Vec<u32>,
    /// Markers the design has.
    pub tags_expected: usize,
    /// Root mean square distance of the marker corners from where the homography puts them, photo pixels.
    pub residual_px: f64,
    /// The same in millimetres on the card.
    pub residual_mm: f64,
    /// Photo pixels per millimetre at the centre of the card.
    pub px_per_mm: f64,
    /// Estimated angle between the card's normal and the line of sight, degrees (0 = seen straight on), if it can be told.
    pub tilt_deg: Option<f64>,
}

/// Where things are in one photo.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// From plane units to pixels of the upright photo (pixel centres at integer + 0.5).
    pub to_photo: Homography,
    /// The reference white: bare paper.
    pub white: Area,
    /// All areas of bare paper, the white among them.
    pub paper: Vec<Area>,
    /// Printed patches; empty if there are none.
    pub patches: Vec<PatchArea>,
    /// Where the vial is.
    pub bay: Bay,
    /// The card, if the place was found by one.
    pub card: Option<CardSeen>,
}

impl Place {
    /// Leaves out paper and patches under `hidden`, plane units. Tells whether there were any.
    pub fn hide(&mut self, hidden: Area) -> bool {
        let paper: Vec<Area> = self.paper.iter().flat_map(|a| a.without(&hidden)).collect();
        let patches: Vec<PatchArea> = self
            .patches
            .iter()
            .filter(|p| p.area.without(&hidden) == [p.area])
            .cloned()
            .collect();
        let changed = paper != self.paper || patches != self.patches;
        (self.paper, self.patches) = (paper, patches);
        changed
    }

    /// A place marked by hand, in pixels of the upright photo of `width` x `height` pixels.
    ///
    /// # Errors
    /// If a region has no area or leaves the photo.
    pub fn by_hand(white: Area, liquid: Area, width: u32, height: u32) -> Result<Place> {
        for (name, a) in [("white", white), ("vial", liquid)] {
            let inside = [a.x, a.y, a.w, a.h].iter().all(|v| v.is_finite())
                && a.x >= 0.0
                && a.y >= 0.0
                && a.x + a.w <= f64::from(width)
                && a.y + a.h <= f64::from(height);
            if !inside || a.w < 4.0 || a.h < 4.0 {
                return Err(Error::new(
                    format!(
                        "the {name} region {},{},{},{} does not fit into the photo of {width} x {height} pixels \
                         (at least 4 x 4 pixels, wholly inside)",
                        a.x, a.y, a.w, a.h
                    ),
                    "give x,y,width,height in pixels of the upright photo, counted from its top left corner",
                ));
            }
        }
        let apart = |a: f64, w: f64, b: f64, v: f64| a + w <= b || b + v <= a;
        if !apart(white.x, white.w, liquid.x, liquid.w)
            && !apart(white.y, white.h, liquid.y, liquid.h)
        {
            return Err(Error::new(
                "the white region and the vial region overlap",
                "mark bare white paper beside the vial, and the liquid alone",
            ));
        }
        Ok(Place {
            to_photo: Homography::identity(),
            white,
            paper: vec![white],
            patches: Vec::new(),
            bay: Bay::Liquid { area: liquid },
            card: None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn area(x: f64, y: f64, w: f64, h: f64) -> Area {
        Area { x, y, w, h }
    }

    #[test]
    fn what_is_left_around_a_hole_is_the_rest() {
        let whole = area(10.0, 20.0, 8.0, 6.0);
        let size = |parts: &[Area]| parts.iter().map(|a| a.w * a.h).sum::<f64>();
        for (hole, covered) in [
            (area(12.0, 22.0, 2.0, 3.0), 6.0),
            (area(0.0, 0.0, 12.0, 100.0), 12.0),
            (area(15.0, 24.0, 10.0, 10.0), 6.0),
            (area(0.0, 0.0, 100.0, 100.0), 48.0),
            (area(30.0, 20.0, 5.0, 5.0), 0.0),
            (area(18.0, 20.0, 5.0, 5.0), 0.0),
        ] {
            let left = whole.without(&hole);
            assert_eq!(size(&left), 48.0 - covered, "{hole:?}: {left:?}");
            for a in &left {
                assert_eq!(a.without(&hole), [*a], "{hole:?}: {left:?}");
            }
        }
    }
}
