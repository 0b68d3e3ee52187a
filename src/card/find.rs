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

mod decode;
mod edge;
pub mod family;
mod luma;
mod plane;
mod quad;

use image::GrayImage;

pub use luma::{Luma, reduce};

use crate::card::design::{Design, Tag};
use crate::error::{Error, Result};
use crate::place::{Area, Bay, CardSeen, PatchArea, Place};
use plane::{Pair, Plane, Point};
use quad::Threshold;

/// Longest side of the picture that markers are looked for on first, pixels. At 1600 a card that spans a third of the
/// photo shows its marker cells 5 pixels wide at full sensor size, twice what decoding needs.
pub const REDUCED_SIDE: usize = 1600;

/// How the reduced picture is split into dark and light, tried in turn. The first is right for most photos; the others take
/// over where less than [`ENOUGH`] markers agree: fainter contrast, then large cells seen from near.
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

/// With this many markers in agreement the others are looked for only where they must be.
const ENOUGH: usize = 3;

/// Wrong bits up to which a shape is taken for a marker. The family can mend five; at three, random cells pass for one of
/// its 587 markers once in 4000, and only inside a black border on white ground.
const WRONG_BITS: u32 = 3;

/// Wrong bits up to which a marker is believed without support from others: random cells pass once in 40,000.
const SURE_BITS: u32 = 2;

/// Wrong bits up to which a marker is believed at the very place where the plane puts it: random cells pass once in 30,000.
const EXPECTED_BITS: u32 = 6;

/// Where a marker is looked for that does not show at its expected place, in cells from there: two neighbouring markers
/// foretell one at the other end of the card to two or three cells in a blurred photo.
const STEPS: [(f64, f64); 13] = [
    (0.0, 0.0),
    (1.2, 0.0),
    (0.0, 1.2),
    (-1.2, 0.0),
    (0.0, -1.2),
    (1.2, 1.2),
    (-1.2, 1.2),
    (-1.2, -1.2),
    (1.2, -1.2),
    (2.4, 0.0),
    (0.0, 2.4),
    (-2.4, 0.0),
    (0.0, -2.4),
];

/// Largest residual of the plane in cells (an eighth of a marker): 0.75 mm on a marker of 18 mm. A flat card stays below a
/// tenth of it; beyond it patches are no longer where they are taken for.
const RESIDUAL_CELLS: f64 = 1.0 / 3.0;

/// Largest standard error of where any end of the card lies, mm: two of them stay within the quarter of a patch of 10 mm
/// that sampling its middle leaves on each side.
const OPEN_MM: f64 = 1.25;

/// Photo pixels per millimetre below which a vial of 12 mm would be less than 18 pixels wide.
const LEAST_PX_PER_MM: f64 = 1.5;

/// Finds the card of one of the `designs` in a photo.
///
/// `gray` is the encoded luma (0 to 255) of the upright photo at full size. The place maps millimetres on the card (origin
/// top left of the face, y down) to photo pixels (pixel centres at integer + 0.5). Patches and bare paper that the photo
/// cuts off are left out of it.
///
/// # Errors
/// If no card is there, only one marker of it, more than one card, the markers do not lie on a plane, the card is too
/// small, or its bay or reference white is cut off by the photo.
pub fn find(gray: &GrayImage, designs: &[Design]) -> Result<Place> {
    let longest = gray.width().max(gray.height()) as usize;
    let factor = (longest as f64 / REDUCED_SIDE as f64).round().max(1.0) as usize;
    if factor == 1 {
        find_from(gray, 1.0, gray, designs)
    } else {
        find_from(&reduce(gray, factor), factor as f64, gray, designs)
    }
}

/// As [`find`], but looks for markers on `reduced`, in which one pixel stands for `factor` x `factor` pixels of `full`
/// (both with the same top left corner), and touches `full` only around markers. Only if too few are found is `full`
/// reduced less, up to all of it.
///
/// # Errors
/// As [`find`].
pub fn find_from(
    reduced: &GrayImage,
    factor: f64,
    full: &impl Luma,
    designs: &[Design],
) -> Result<Place> {
    let mut seen: Vec<Marker> = Vec::new();
    let mut look = |picture: &GrayImage, factor: f64| {
        let mut best: Option<Seen> = None;
        for threshold in THRESHOLDS {
            markers(picture, factor, full, threshold, &mut seen);
            best = designs
                .iter()
                .filter_map(|d| agree(d, &seen, full))
                .max_by(|a, b| a.rank().total_cmp(&b.rank()));
            if best
                .as_ref()
                .is_some_and(|b| b.direct >= ENOUGH.min(b.design.tags.len()))
            {
                break;
            }
        }
        best
    };
    let mut best = look(reduced, factor);
    let mut smaller = factor;
    while best.is_none() && smaller > 1.0 {
        smaller = (smaller / 2.0).floor().max(1.0);
        best = look(&reduce(full, smaller as usize), smaller);
    }
    match best {
        Some(best) => {
            alone(&best, &seen, designs)?;
            place(&best, full)
        }
        None => Err(nothing(&seen, designs)),
    }
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
    for rough in quad::quads(picture, threshold) {
        // The hull of dark pixels is off by about a pixel, more where blur or noise frays it.
        let Some(corners) = edge::sharpen(picture, &rough, 3.0).filter(quad::believable) else {
            continue;
        };
        let Some(read) = decode::read(picture, &corners) else {
            continue;
        };
        let [plain, set_off] = read.map(family::nearest);
        let (id, turns, wrong) = if set_off.2 < plain.2 { set_off } else { plain };
        if wrong > WRONG_BITS {
            continue;
        }
        let at_full = corners.map(|c| c * factor);
        let corners = if factor > 1.0 {
            edge::sharpen(full, &at_full, 1.5 * factor).unwrap_or(at_full)
        } else {
            corners
        };
        let marker = Marker {
            id,
            corners: std::array::from_fn(|i| corners[(i + turns) % 4]),
            wrong,
        };
        // The same print seen in an earlier look; the better reading stays.
        match seen
            .iter_mut()
            .find(|m| m.id == id && (m.centre() - marker.centre()).norm() < marker.size() / 2.0)
        {
            Some(known) if marker.wrong < known.wrong => *known = marker,
            Some(_) => {}
            None => seen.push(marker),
        }
    }
}

/// A design whose markers agree on a plane.
struct Seen<'d> {
    design: &'d Design,
    plane: Plane,
    /// Quarter turns between the code table and the card's print, the same for all its markers.
    turns: usize,
    /// The markers used, with their corners paired.
    used: Vec<(Tag, [Pair; 4])>,
    /// How many of them were found before others were looked for at their expected place.
    direct: usize,
}

impl Seen<'_> {
    fn rank(&self) -> f64 {
        self.used.len() as f64 - self.residual_cells()
    }

    fn pairs(&self) -> Vec<Pair> {
        self.used.iter().flat_map(|u| u.1).collect()
    }

    fn residual_mm(&self) -> f64 {
        self.plane.residual(&self.pairs()) / self.px_per_mm()
    }

    fn residual_cells(&self) -> f64 {
        self.residual_mm() / cell_mm(self.design)
    }

    fn px_per_mm(&self) -> f64 {
        self.plane
            .map
            .scale_at(self.design.width_mm / 2.0, self.design.height_mm / 2.0)
    }
}

fn cell_mm(design: &Design) -> f64 {
    design
        .tags
        .iter()
        .map(|t| t.size)
        .fold(f64::INFINITY, f64::min)
        / family::CELLS as f64
}

/// The corners of a printed marker, clockwise from the top left, paired with where they are seen.
fn paired(tag: &Tag, corners: &[Point; 4], turns: usize) -> [Pair; 4] {
    let ways = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
    std::array::from_fn(|i| {
        let (x, y) = ways[i];
        Pair {
            printed: Point::new(
                tag.x + tag.size * (x + 1.0) / 2.0,
                tag.y + tag.size * (y + 1.0) / 2.0,
            ),
            outward: Point::new(x, y),
            seen: corners[(i + turns) % 4],
        }
    })
}

/// The largest set of markers of a design that lie on one plane as the design has them, completed by those that only show
/// at the place where the plane puts them.
fn agree<'d>(design: &'d Design, seen: &[Marker], full: &impl Luma) -> Option<Seen<'d>> {
    let known: Vec<(&Tag, &Marker)> = seen
        .iter()
        .filter_map(|m| design.tags.iter().find(|t| t.id == m.id).map(|t| (t, m)))
        .collect();
    let better = |a: Option<Seen<'d>>, b: Option<Seen<'d>>| match (a, b) {
        (Some(a), Some(b)) => Some(if b.rank() > a.rank() { b } else { a }),
        (a, b) => a.or(b),
    };
    let mut best: Option<Seen> = None;
    for turns in 0..4 {
        let printed: Vec<(Tag, [Pair; 4])> = known
            .iter()
            .map(|(tag, marker)| (**tag, paired(tag, &marker.corners, turns)))
            .collect();
        for i in 0..printed.len() {
            for j in 0..i {
                if printed[i].0.id != printed[j].0.id {
                    best = better(best, grown(design, &printed, [i, j], turns));
                }
            }
        }
        // All at once: markers on a bent card agree roughly with all others, but not with what two of them foretell.
        let distinct =
            (0..printed.len()).all(|i| (0..i).all(|j| printed[i].0.id != printed[j].0.id));
        if distinct && printed.len() > 2 {
            best = better(best, fitted(design, printed, turns, 1.0));
        }
    }
    if best.is_none() {
        // A lone marker fits any turn; a second one that turns up where it must be can tell.
        for (turns, (tag, marker)) in (0..4).flat_map(|turns| known.iter().map(move |k| (turns, k)))
        {
            let lone = fitted(
                design,
                vec![(**tag, paired(tag, &marker.corners, turns))],
                turns,
                1.0,
            );
            best = better(
                best,
                lone.map(|l| completed(l, full))
                    .filter(|l| l.used.len() > 1),
            );
        }
    }
    let best = without_misfit(completed(best?, full));
    sane(&best.plane, design).then_some(best)
}

/// The plane of two markers and of all others that lie on it.
fn grown<'d>(
    design: &'d Design,
    printed: &[(Tag, [Pair; 4])],
    pair: [usize; 2],
    turns: usize,
) -> Option<Seen<'d>> {
    let cell = cell_mm(design);
    let start = fitted(
        design,
        pair.map(|i| printed[i]).to_vec(),
        turns,
        RESIDUAL_CELLS,
    )?;
    let mut used = start.used.clone();
    for other in printed {
        // Two neighbouring markers foretell a far one only so well, and the card may be bent a little.
        if used.iter().all(|u| u.0.id != other.0.id)
            && off_cells(&start.plane, &[*other], cell) < 2.0
        {
            used.push(*other);
        }
    }
    fitted(design, used, turns, 1.0)
}

/// The plane of these markers, if they lie on one to within `limit` cells.
fn fitted<'d>(
    design: &'d Design,
    used: Vec<(Tag, [Pair; 4])>,
    turns: usize,
    limit: f64,
) -> Option<Seen<'d>> {
    let cell = cell_mm(design);
    let plane = fit(&used, cell)?;
    let direct = used.len();
    (sane(&plane, design) && off_cells(&plane, &used, cell) <= limit).then_some(Seen {
        design,
        plane,
        turns,
        used,
        direct,
    })
}

/// Fits the plane; the common swelling of markers is at most a quarter of a cell and needs two markers to be told.
fn fit(used: &[(Tag, [Pair; 4])], cell: f64) -> Option<Plane> {
    let pairs: Vec<Pair> = used.iter().flat_map(|u| u.1).collect();
    plane::refine(
        plane::direct(&pairs)?,
        &pairs,
        if used.len() > 1 { cell / 4.0 } else { 0.0 },
    )
}

/// Root mean square distance of marker corners from where the plane puts them, in cells at each marker's own scale.
fn off_cells(plane: &Plane, used: &[(Tag, [Pair; 4])], cell: f64) -> f64 {
    let sum: f64 = used
        .iter()
        .map(|(tag, pairs)| {
            let scale = plane
                .map
                .scale_at(tag.x + tag.size / 2.0, tag.y + tag.size / 2.0)
                * cell;
            (plane.residual(pairs) / scale).powi(2)
        })
        .sum();
    (sum / used.len() as f64).sqrt()
}

/// Whether the whole face is seen from its front, before the camera, and convex.
fn sane(plane: &Plane, design: &Design) -> bool {
    let (w, h) = (design.width_mm, design.height_mm);
    let face = [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)];
    let depth = |(x, y): (f64, f64)| (plane.map.0 * Point::new(x, y).push(1.0)).z;
    let sign = depth((w / 2.0, h / 2.0)).signum();
    let seen = face.map(|(x, y)| plane.at(Point::new(x, y)));
    face.iter().all(|p| depth(*p) * sign > 0.0)
        && (0..4).all(|i| {
            quad::cross(
                seen[(i + 1) % 4] - seen[i],
                seen[(i + 2) % 4] - seen[(i + 1) % 4],
            ) > 0.0
        })
}

/// Looks for the design's other markers where the plane puts them, nearest to the known ones first.
fn completed<'d>(mut seen: Seen<'d>, full: &impl Luma) -> Seen<'d> {
    let cell = cell_mm(seen.design);
    let middle = |t: &Tag| Point::new(t.x + t.size / 2.0, t.y + t.size / 2.0);
    let far = |seen: &Seen, t: &Tag| {
        seen.used
            .iter()
            .map(|u| (middle(&u.0) - middle(t)).norm())
            .fold(f64::INFINITY, f64::min)
    };
    let mut missing: Vec<Tag> = seen
        .design
        .tags
        .iter()
        .filter(|t| seen.used.iter().all(|u| u.0.id != t.id))
        .copied()
        .collect();
    while let Some(at) = (0..missing.len())
        .min_by(|a, b| far(&seen, &missing[*a]).total_cmp(&far(&seen, &missing[*b])))
    {
        let tag = missing.swap_remove(at);
        let guess = paired(&tag, &[Point::zeros(); 4], 0)
            .map(|p| seen.plane.at(p.printed + p.outward * seen.plane.swell));
        let px = cell * seen.plane.map.scale_at(middle(&tag).x, middle(&tag).y);
        let reach = 0.9 * px;
        let found = STEPS.iter().find_map(|(x, y)| {
            let stepped = guess.map(|p| p + Point::new(*x, *y) * px);
            edge::sharpen(full, &stepped, reach)
                .filter(quad::believable)
                .filter(|corners| {
                    // Read from the card's own top left corner, the table appears turned back by `turns`.
                    let turns = (4 - seen.turns) % 4;
                    decode::read(full, corners).is_some_and(|readings| {
                        readings
                            .iter()
                            .filter_map(|r| family::wrong_bits(*r, tag.id, turns))
                            .any(|w| w <= EXPECTED_BITS)
                    })
                })
        });
        let Some(corners) = found else { continue };
        seen.used.push((tag, paired(&tag, &corners, 0)));
        match fit(&seen.used, cell) {
            Some(plane) if off_cells(&plane, &seen.used, cell) <= 2.0 * RESIDUAL_CELLS => {
                seen.plane = plane
            }
            _ => {
                seen.used.pop();
            }
        }
    }
    seen
}

/// Leaves out a marker whose corners disagree with all others: half a cell off, and the rest three times better without
/// it. A bent card does not get better so, and keeps its residual.
fn without_misfit(mut seen: Seen) -> Seen {
    let cell = cell_mm(seen.design);
    while seen.used.len() > 2 {
        let whole = off_cells(&seen.plane, &seen.used, cell);
        let trial = (0..seen.used.len())
            .filter_map(|out| {
                let mut rest = seen.used.clone();
                let dropped = rest.remove(out);
                let plane = fit(&rest, cell)?;
                let off = off_cells(&plane, &[dropped], cell);
                Some((off_cells(&plane, &rest, cell), off, rest, plane))
            })
            .min_by(|a, b| a.0.total_cmp(&b.0));
        match trial {
            Some((rest_off, dropped_off, rest, plane))
                if dropped_off > 0.5 && rest_off < whole / 3.0 =>
            {
                seen.used = rest;
                seen.plane = plane;
            }
            _ => break,
        }
    }
    seen
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
                "the card is too small in the photo: {px_per_mm:.1} pixels per mm, at least {LEAST_PX_PER_MM} are needed"
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
            tilt_deg: plane::tilt(
                &best.plane.map,
                Point::new(design.width_mm / 2.0, design.height_mm / 2.0),
                width,
                height,
            ),
        }),
    })
}
