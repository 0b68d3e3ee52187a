//! Finds the printed card in a photo by its markers and gives the map from card millimetres to photo pixels.
//!
//! ```text
//!  reduced picture ──> dark quads ──> decode ──> markers that agree on one plane ──> Place
//!                                     full size: edges to a part of a pixel, missing markers looked for where they must be
//! ```
//!
//! Never guesses a card that is not there: a marker counts only if its code, its design and its place on the card's plane
//! agree with another one. Never looks at colour. The marker family and its code words: [`family`]; the plane: Hartley &
//! Zisserman 2004.

mod agree;
mod decode;
mod edge;

mod luma;
mod plane;
mod quad;

use super::family;
use image::GrayImage;
use rayon::prelude::*;

pub use luma::Luma;
pub(super) use luma::between;

use crate::card::design::Design;
use crate::error::{Error, Result};
use crate::place::{Area, Bay, CardSeen, PatchArea, Place};
use agree::{RESIDUAL_CELLS, Seen, cell_mm};
use plane::Point;
pub(crate) use plane::seen_from;
use quad::Threshold;

/// Longest side of the picture that markers are looked for on first, pixels. At 1600 a card that spans a third of the
/// photo shows its marker cells 5 pixels wide at full sensor size, twice what decoding needs.
pub const REDUCED_SIDE: usize = 1600;

/// How the reduced picture is split into dark and light, tried in turn. The first is right for most photos; the others take
/// over where too few markers agree: fainter contrast, then large cells seen from near.
const THRESHOLDS: [Threshold; 3] = [
    Threshold {
        reach: 0.011,
        below: 0.06,
    },
    Threshold {
        reach: 0.011,
        below: 0.015,
    },
    Threshold {
        reach: 0.03,
        below: 0.03,
    },
];

/// Wrong bits up to which a shape is taken for a marker. The family can mend five; at three, random cells pass for one of
/// its 587 markers once in 4000, and only inside a black border on white ground.
const WRONG_BITS: u32 = 3;

/// Wrong bits up to which a marker is believed without support from others: random cells pass once in 40,000.
const SURE_BITS: u32 = 2;

/// Largest standard error of where any end of the card lies, mm: two of them stay within the quarter of a patch of 10 mm
/// that sampling its middle leaves on each side.
const OPEN_MM: f64 = 1.25;

/// Photo pixels per millimetre below which a vial of 12 mm would be less than 18 pixels wide.
const LEAST_PX_PER_MM: f64 = 1.5;

/// Finds the card of one of the `designs` in a photo.
///
/// `full` is the upright photo. The place maps millimetres on the card (origin top left of the face, y down) to photo pixels
/// (pixel centres at integer + 0.5). Patches and bare paper that the photo cuts off are left out of it.
///
/// # Errors
/// If no card is there, only one marker of it, more than one card, the markers do not lie on a plane, the card is too
/// small, or its bay or reference white is cut off by the photo.
pub fn find(full: &impl Luma, designs: &[Design]) -> Result<Place> {
    let (width, height) = full.size();
    let longest = width.max(height) as f64;
    let factor = (longest / REDUCED_SIDE as f64).round().max(1.0) as usize;
    find_from(&full.reduced(factor), factor as f64, full, designs)
}

/// As [`find`], but looks for markers on `reduced`, in which one pixel stands for `factor` x `factor` pixels of `full`
/// (both with the same top left corner), and touches `full` only around markers. Only if too few are found is `full`
/// reduced less, up to all of it.
///
/// # Errors
/// As [`find`].
pub fn find_from<'d>(
    reduced: &GrayImage,
    factor: f64,
    full: &impl Luma,
    designs: &'d [Design],
) -> Result<Place> {
    let mut seen: Vec<Marker> = Vec::new();
    // More than half of the markers: the others are then looked for only where they must be.
    let enough = |best: &Option<Seen>| {
        best.as_ref()
            .is_some_and(|b| 2 * b.used.len() > b.design.tags.len())
    };
    let mut look = |picture: &GrayImage, factor: f64, best: &mut Option<Seen<'d>>| {
        for threshold in THRESHOLDS {
            markers(picture, factor, full, threshold, &mut seen);
            *best = surest(
                designs
                    .iter()
                    .filter_map(|d| agree::from_pairs(d, &seen, full)),
            );
            if enough(best) {
                return;
            }
        }
        if best.is_none() {
            *best = surest(
                designs
                    .iter()
                    .filter_map(|d| agree::from_one(d, &seen, full)),
            );
        }
    };
    let mut best = None;
    look(reduced, factor, &mut best);
    if !enough(&best) {
        // Noise and blur fray small shapes: a coarser picture has less of both.
        look(&reduced.reduced(2), 2.0 * factor, &mut best);
    }
    let mut finer = factor;
    while best.is_none() && finer > 1.0 {
        finer = (finer / 2.0).floor().max(1.0);
        look(&full.reduced(finer as usize), finer, &mut best);
    }
    match best {
        Some(best) => {
            alone(&best, &seen, designs)?;
            place(&best, full)
        }
        None => Err(nothing(&seen, designs)),
    }
}

fn surest<'d>(found: impl Iterator<Item = Seen<'d>>) -> Option<Seen<'d>> {
    found.max_by(|a, b| a.rank().total_cmp(&b.rank()))
}

/// A marker seen somewhere in the photo.
#[derive(Debug, Clone)]
struct Marker {
    id: u32,
    /// Corners in the photo; the first is the top left one of the code table, the others follow clockwise.
    corners: [Point; 4],
    wrong: u32,
}

impl Marker {
    fn centre(&self) -> Point {
        self.corners.iter().sum::<Point>() / 4.0
    }

    /// Edge length in the photo: the root of the area.
    fn size(&self) -> f64 {
        quad::area(&self.corners).max(0.0).sqrt()
    }
}

/// Adds the markers of one look at the reduced picture, corners refined at full size.
fn markers(
    picture: &GrayImage,
    factor: f64,
    full: &impl Luma,
    threshold: Threshold,
    seen: &mut Vec<Marker>,
) {
    let found: Vec<Option<Marker>> = quad::quads(picture, threshold)
        .par_iter()
        .map(|rough| marker(picture, factor, full, rough))
        .collect();
    for marker in found.into_iter().flatten() {
        // The same print seen in an earlier look; the better reading stays.
        match seen.iter_mut().find(|m| {
            m.id == marker.id && (m.centre() - marker.centre()).norm() < marker.size() / 2.0
        }) {
            Some(known) if marker.wrong < known.wrong => *known = marker,
            Some(_) => {}
            None => seen.push(marker),
        }
    }
}

/// The marker that a dark quad of the reduced picture is, if it is one.
fn marker(
    picture: &GrayImage,
    factor: f64,
    full: &impl Luma,
    rough: &[Point; 4],
) -> Option<Marker> {
    // The hull of dark pixels is off by about a pixel, more where blur or noise frays it.
    let corners = edge::sharpen(picture, rough, 3.0).filter(quad::believable)?;
    let [plain, set_off] = decode::read(picture, &corners)?.map(family::nearest);
    let (id, turns, wrong) = if set_off.2 < plain.2 { set_off } else { plain };
    if wrong > WRONG_BITS {
        return None;
    }
    let at_full = corners.map(|c| c * factor);
    let corners = if factor > 1.0 {
        edge::sharpen(full, &at_full, 1.5 * factor).unwrap_or(at_full)
    } else {
        corners
    };
    Some(Marker {
        id,
        corners: std::array::from_fn(|i| corners[(i + turns) % 4]),
        wrong,
    })
}

/// An error if markers that are surely printed ones belong to another card than the one found, or too many of the card's own
/// are not where the plane of the others has them.
fn alone(best: &Seen, seen: &[Marker], designs: &[Design]) -> Result<()> {
    let astray = best
        .design
        .tags
        .iter()
        .filter(|t| best.used.iter().all(|u| u.0.id != t.id));
    let astray = astray
        .filter(|t| seen.iter().any(|m| m.id == t.id && m.wrong <= SURE_BITS))
        .count();
    // One that is torn loose or misread is outvoted by three; more is a card that is not flat.
    if 3 * astray > best.used.len() {
        return Err(nothing(seen, designs));
    }
    for marker in seen.iter().filter(|m| m.wrong <= SURE_BITS) {
        let Some(design) = designs
            .iter()
            .find(|d| d.tags.iter().any(|t| t.id == marker.id))
        else {
            continue;
        };
        if design.id != best.design.id {
            return Err(Error::new(
                format!(
                    "two different cards are in the photo: {} and {} (marker {})",
                    best.design.id, design.id, marker.id
                ),
                "keep one card in view, take the other one away and photograph again",
            ));
        }
        let Some((_, pairs)) = best.used.iter().find(|u| u.0.id == marker.id) else {
            continue;
        };
        let used = pairs.iter().map(|p| p.seen).sum::<Point>() / 4.0;
        if (used - marker.centre()).norm() > marker.size() {
            return Err(Error::new(
                format!(
                    "two cards are in the photo: marker {} of card {} is seen at more than one place",
                    marker.id, design.id
                ),
                "keep one card in view, take the other one away and photograph again",
            ));
        }
    }
    Ok(())
}

/// Why no card could be made of the markers seen.
fn nothing(seen: &[Marker], designs: &[Design]) -> Error {
    let ours: Vec<u32> = ids(seen
        .iter()
        .filter(|m| designs.iter().any(|d| d.tags.iter().any(|t| t.id == m.id))));
    let sure: Vec<u32> = ids(seen.iter().filter(|m| m.wrong <= SURE_BITS));
    match ours.as_slice() {
        [] if sure.is_empty() => Error::new(
            "no card found in the photo: none of its black square markers can be made out",
            "photograph the whole card with the vial before it, in focus, large in the picture and evenly lit; or mark the \
             white paper and the vial by hand with --white and --vial",
        ),
        [] => Error::new(
            format!(
                "no card found in the photo: the markers seen ({}) are not of a Tintwell card",
                listed(&sure)
            ),
            "print the card with `tintwell card` and use it unchanged",
        ),
        [one] => Error::new(
            format!(
                "only one marker of the card was found (number {one}); at least two are needed"
            ),
            "keep fingers, vial and shadows off the square markers at the card's edges, and have the whole card in the photo",
        ),
        many => Error::new(
            format!(
                "the markers found ({}) do not fit together as those of one flat card",
                listed(many)
            ),
            "lay the card flat and use it uncut, one card in the photo; it may be bent, or parts of two cards may be in view",
        ),
    }
}

fn ids<'m>(markers: impl Iterator<Item = &'m Marker>) -> Vec<u32> {
    let mut ids: Vec<u32> = markers.map(|m| m.id).collect();
    ids.sort_unstable();
    ids.dedup();
    ids
}

fn listed(ids: &[u32]) -> String {
    ids.iter()
        .map(u32::to_string)
        .collect::<Vec<_>>()
        .join(", ")
}

/// The place of a card that was found, after the last checks.
fn place(best: &Seen, full: &impl Luma) -> Result<Place> {
    let design = best.design;
    let (width, height) = full.size();
    let (width, height) = (width as f64, height as f64);
    let residual_mm = best.residual_mm();
    let limit = RESIDUAL_CELLS * cell_mm(design);
    if residual_mm > limit {
        return Err(Error::new(
            format!(
                "the markers of the card do not lie on a plane: they are {residual_mm:.1} mm off on average, at most {limit:.2} mm \
                 is allowed"
            ),
            "straighten the card (stiff paper or a board behind it helps) and photograph again",
        ));
    }
    let px_per_mm = best.px_per_mm();
    if px_per_mm < LEAST_PX_PER_MM {
        return Err(Error::new(
            format!(
                "the card is too small in the photo: {px_per_mm:.2} pixels per mm, at least {LEAST_PX_PER_MM} are needed"
            ),
            "go nearer, so that the card fills at least half of the picture's width",
        ));
    }
    let (w, h) = (design.width_mm, design.height_mm);
    let ends = [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)].map(|(x, y)| Point::new(x, y));
    let open_mm = plane::uncertainty(&best.plane, &best.pairs(), &ends) / px_per_mm;
    if open_mm > OPEN_MM {
        return Err(Error::new(
            format!(
                "the markers found ({} of {}) do not tell the place of the whole card well enough: its far end may be {open_mm:.1} mm \
                 off, at most {OPEN_MM} mm is allowed",
                best.used.len(),
                design.tags.len()
            ),
            "keep fingers, vial and shadows off the square markers and hold the phone still, so that all markers are seen sharply",
        ));
    }
    let inside = |area: &Area| {
        [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)]
            .iter()
            .all(|(u, v)| {
                let (x, y) = best.plane.map.map(area.x + u * area.w, area.y + v * area.h);
                x >= 0.0 && y >= 0.0 && x <= width && y <= height
            })
    };
    let white = design.paper.first().copied().filter(inside);
    let (Some(white), true) = (white, inside(&design.bay)) else {
        let part = if white.is_none() {
            "reference white"
        } else {
            "bay where the vial stands"
        };
        return Err(Error::new(
            format!(
                "the card is cut off by the edge of the photo: its {part} is not wholly in the picture"
            ),
            "photograph the whole card, with a little room around it",
        ));
    };
    let mut tags_found: Vec<u32> = best.used.iter().map(|u| u.0.id).collect();
    tags_found.sort_unstable();
    Ok(Place {
        to_photo: best.plane.map,
        white,
        paper: design.paper.iter().filter(|a| inside(a)).copied().collect(),
        patches: design
            .patches
            .iter()
            .filter(|p| inside(&p.area))
            .map(|p| PatchArea {
                name: p.name.to_string(),
                neutral: p.neutral,
                area: p.area,
            })
            .collect(),
        bay: Bay::Search {
            area: design.bay,
            view: design.view,
        },
        card: Some(CardSeen {
            design: design.id.to_string(),
            tags_found,
            tags_expected: design.tags.len(),
            residual_px: best.plane.residual(&best.pairs()),
            residual_mm,
            px_per_mm,
            tilt_deg: seen_from(
                &best.plane.map,
                Point::new(design.width_mm / 2.0, design.height_mm / 2.0),
                width,
                height,
            )
            .map(|s| s.tilt_deg),
        }),
    })
}
