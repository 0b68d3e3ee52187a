//! Which of the markers seen are those of one card: they must lie on one plane as the design has them.
//!
//! Pairs of markers propose a plane, others join it, and those not seen so far are looked for where they must be. Never
//! believes a marker because of its code alone. The turn of a marker's corners against the code table is not taken for
//! granted either: printed codes are found in all four orientations, so the one that makes all markers agree counts.

use super::Marker;
use super::luma::Luma;
use super::plane::{self, Pair, Plane, Point};
use super::{decode, edge, family, quad};
use crate::card::design::{Design, Tag};

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
pub(super) const RESIDUAL_CELLS: f64 = 1.0 / 3.0;

/// A design whose markers agree on a plane.
pub(super) struct Seen<'d> {
    pub design: &'d Design,
    pub plane: Plane,
    /// Quarter turns between the code table and the card's print, the same for all its markers.
    turns: usize,
    /// The markers used, with their corners paired.
    pub used: Vec<(Tag, [Pair; 4])>,
}

impl Seen<'_> {
    pub(super) fn rank(&self) -> f64 {
        self.used.len() as f64 - self.residual_cells()
    }

    pub(super) fn pairs(&self) -> Vec<Pair> {
        self.used.iter().flat_map(|u| u.1).collect()
    }

    pub(super) fn residual_mm(&self) -> f64 {
        self.plane.residual(&self.pairs()) / self.px_per_mm()
    }

    fn residual_cells(&self) -> f64 {
        self.residual_mm() / cell_mm(self.design)
    }

    pub(super) fn px_per_mm(&self) -> f64 {
        self.plane
            .map
            .scale_at(self.design.width_mm / 2.0, self.design.height_mm / 2.0)
    }
}

pub(super) fn cell_mm(design: &Design) -> f64 {
    design
        .tags
        .iter()
        .map(|t| t.size)
        .fold(f64::INFINITY, f64::min)
        / family::CELLS as f64
}

/// At most so many markers of a design are paired: four cards' worth, so that a sheet full of them costs no minutes.
const MOST: usize = 24;

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
pub(super) fn from_pairs<'d>(
    design: &'d Design,
    seen: &[Marker],
    full: &impl Luma,
) -> Option<Seen<'d>> {
    let known = of_design(design, seen);
    let better = |a: Option<Seen<'d>>, b: Option<Seen<'d>>| match (a, b) {
        (Some(a), Some(b)) => Some(if b.rank() > a.rank() { b } else { a }),
        (a, b) => a.or(b),
    };
    let mut best: Option<Seen> = None;
    for turns in 0..4 {
        let printed: Vec<(Tag, [Pair; 4])> = known
            .iter()
            .map(|(tag, marker)| (*tag, paired(tag, &marker.corners, turns)))
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
    finished(best?, full)
}

/// A second marker of the design at the place where a lone one lets it be expected, and then all others.
pub(super) fn from_one<'d>(
    design: &'d Design,
    seen: &[Marker],
    full: &impl Luma,
) -> Option<Seen<'d>> {
    let known = of_design(design, seen);
    // A lone marker fits any turn; only what it foretells can tell.
    let starts = (0..4).flat_map(|turns| known.iter().map(move |k| (turns, k)));
    let best = starts
        .filter_map(|(turns, (tag, marker))| {
            let lone = fitted(
                design,
                vec![(*tag, paired(tag, &marker.corners, turns))],
                turns,
                1.0,
            )?;
            Some(completed(lone, full)).filter(|l| l.used.len() > 1)
        })
        .max_by(|a, b| a.rank().total_cmp(&b.rank()))?;
    finished(best, full)
}

/// The design's markers among those seen, the best read and largest ones if there are unreasonably many.
fn of_design<'m>(design: &Design, seen: &'m [Marker]) -> Vec<(Tag, &'m Marker)> {
    let mut known: Vec<(Tag, &Marker)> = seen
        .iter()
        .filter_map(|m| design.tags.iter().find(|t| t.id == m.id).map(|t| (*t, m)))
        .collect();
    known.sort_by(|(_, a), (_, b)| a.wrong.cmp(&b.wrong).then(b.size().total_cmp(&a.size())));
    known.truncate(MOST);
    known
}

fn finished<'d>(seen: Seen<'d>, full: &impl Luma) -> Option<Seen<'d>> {
    let best = without_misfit(completed(seen, full));
    sane(&best.plane, best.design).then_some(best)
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
    (sane(&plane, design) && off_cells(&plane, &used, cell) <= limit).then_some(Seen {
        design,
        plane,
        turns,
        used,
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
