//! Dark four-sided shapes on lighter ground: where a marker could be.
//!
//! Works on a reduced picture and gives corners good to a pixel or two of it. Never decides whether a shape is a marker.
//! Method: threshold against the local mean, connected components of the dark pixels (runs joined row by row), the
//! convex hull of each, and the hull's edges taken away one by one, cheapest in added area first, until four remain.

use image::GrayImage;

use super::plane::Point;

/// How dark is dark.
#[derive(Debug, Clone, Copy)]
pub(super) struct Threshold {
    /// Half the side of the square whose mean is compared with, as a part of the picture's longest side.
    pub reach: f64,
    /// A dark pixel lies this part below the mean ...
    pub below: f64,
}

/// Smallest edge of a marker that can be decoded, pixels: one and a half for each of its 8 cells.
const SMALLEST: f64 = 12.0;

/// Dark shapes with four sides, corners in clockwise order as seen.
pub(super) fn quads(picture: &GrayImage, threshold: Threshold) -> Vec<[Point; 4]> {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    if width < 16 || height < 16 {
        return Vec::new();
    }
    let runs = dark_runs(picture, threshold);
    components(&runs)
        .into_iter()
        .filter(|members| plausible(members, &runs, width, height))
        .filter_map(|members| four_sides(&hull(&members, &runs)))
        .collect()
}

/// A horizontal stretch of dark pixels, `start..end`.
#[derive(Debug, Clone, Copy)]
struct Run {
    y: u32,
    start: u32,
    end: u32,
}

fn dark_runs(picture: &GrayImage, threshold: Threshold) -> Vec<Run> {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let reach = ((threshold.reach * width.max(height) as f64).round() as usize).clamp(4, 200);
    // In 1/1024, so that the comparison is exact and cheap.
    let keep = ((1.0 - threshold.below) * 1024.0).round() as u32;
    let rows: Vec<&[u8]> = picture.as_raw().chunks_exact(width).collect();
    let mut columns = vec![0u32; width];
    let mut limit = vec![0u32; width + 1];
    let mut runs = Vec::new();
    let add = |columns: &mut [u32], row: &[u8]| {
        columns
            .iter_mut()
            .zip(row)
            .for_each(|(c, v)| *c += u32::from(*v))
    };
    for row in rows.iter().take(reach) {
        add(&mut columns, row);
    }
    for y in 0..height {
        if let Some(row) = rows.get(y + reach) {
            add(&mut columns, row);
        }
        if y > reach {
            columns
                .iter_mut()
                .zip(rows[y - reach - 1])
                .for_each(|(c, v)| *c -= u32::from(*v));
        }
        let tall = (y + reach).min(height - 1) - y.saturating_sub(reach) + 1;
        // Running sums along the row: the mean of any stretch is a difference.
        let mut sum = 0u32;
        for x in 0..width {
            sum = sum.wrapping_add(columns[x]);
            limit[x + 1] = sum;
        }
        let mut start = None;
        for x in 0..width {
            let (left, right) = (x.saturating_sub(reach), (x + reach + 1).min(width));
            let mean_sum = u64::from(limit[right].wrapping_sub(limit[left])) * u64::from(keep);
            let here = u64::from(rows[y][x]) * ((right - left) * tall) as u64 * 1024;
            if here < mean_sum {
                start.get_or_insert(x);
            } else if let Some(s) = start.take() {
                runs.push(Run {
                    y: y as u32,
                    start: s as u32,
                    end: x as u32,
                });
            }
        }
        if let Some(s) = start {
            runs.push(Run {
                y: y as u32,
                start: s as u32,
                end: width as u32,
            });
        }
    }
    runs
}

/// Groups of runs that touch (edge to edge), each as indices into `runs`, top to bottom.
fn components(runs: &[Run]) -> Vec<Vec<u32>> {
    let mut parent: Vec<u32> = (0..runs.len() as u32).collect();
    fn root(parent: &mut [u32], mut i: u32) -> u32 {
        while parent[i as usize] != i {
            parent[i as usize] = parent[parent[i as usize] as usize];
            i = parent[i as usize];
        }
        i
    }
    let mut above = 0;
    for i in 0..runs.len() {
        let run = runs[i];
        while above < i
            && (runs[above].y + 1 < run.y
                || (runs[above].y + 1 == run.y && runs[above].end <= run.start))
        {
            above += 1;
        }
        let mut j = above;
        while j < i && runs[j].y + 1 == run.y && runs[j].start < run.end {
            let (a, b) = (root(&mut parent, i as u32), root(&mut parent, j as u32));
            // The earlier run stays root, so that roots come first.
            parent[a.max(b) as usize] = a.min(b);
            j += 1;
        }
    }
    let mut slot = vec![u32::MAX; runs.len()];
    let mut sizes: Vec<u32> = Vec::new();
    let mut owner = vec![0u32; runs.len()];
    for i in 0..runs.len() {
        let r = root(&mut parent, i as u32) as usize;
        if slot[r] == u32::MAX {
            slot[r] = sizes.len() as u32;
            sizes.push(0);
        }
        owner[i] = slot[r];
        sizes[slot[r] as usize] += 1;
    }
    // A shape with fewer rows than half a marker's edge is no marker: specks of noise are not even listed.
    let wanted = (SMALLEST / 2.0) as u32;
    let mut place = vec![u32::MAX; sizes.len()];
    let mut groups: Vec<Vec<u32>> = Vec::new();
    for (i, own) in owner.iter().enumerate() {
        let own = *own as usize;
        if sizes[own] < wanted {
            continue;
        }
        if place[own] == u32::MAX {
            place[own] = groups.len() as u32;
            groups.push(Vec::with_capacity(sizes[own] as usize));
        }
        groups[place[own] as usize].push(i as u32);
    }
    groups
}

/// Whether the extent and the amount of dark could be those of a marker.
fn plausible(members: &[u32], runs: &[Run], width: usize, height: usize) -> bool {
    let (mut left, mut right, mut dark) = (u32::MAX, 0, 0u64);
    for i in members {
        let run = runs[*i as usize];
        left = left.min(run.start);
        right = right.max(run.end);
        dark += u64::from(run.end - run.start);
    }
    let top = runs[members[0] as usize].y;
    let bottom = runs[members[members.len() - 1] as usize].y + 1;
    let (w, h) = (f64::from(right - left), f64::from(bottom - top));
    // At 40 degrees of tilt a marker is 0.77 as wide as high; at any angle its box is at most 1.6 times longer one way.
    // A marker is at least 28/64 dark, and when turned by 45 degrees its box is half empty; no marker spans half a photo
    // that shows the card.
    w >= SMALLEST * 0.75
        && h >= SMALLEST * 0.75
        && w.max(h) < 2.5 * w.min(h)
        && w < width as f64 / 2.0
        && h < height as f64 / 2.0
        && dark as f64 > 0.18 * w * h
}

/// The convex hull of a component's pixels, clockwise as seen.
fn hull(members: &[u32], runs: &[Run]) -> Vec<Point> {
    let mut extents: Vec<(u32, u32, u32)> = Vec::new();
    for i in members {
        let run = runs[*i as usize];
        match extents.last_mut() {
            Some((y, start, end)) if *y == run.y => {
                *start = (*start).min(run.start);
                *end = (*end).max(run.end);
            }
            _ => extents.push((run.y, run.start, run.end)),
        }
    }
    // Right side downwards, left side upwards; each chain keeps only its convex corners.
    let right = extents.iter().flat_map(|e| [(e.2, e.0), (e.2, e.0 + 1)]);
    let left = extents
        .iter()
        .rev()
        .flat_map(|e| [(e.1, e.0 + 1), (e.1, e.0)]);
    let mut corners: Vec<Point> = Vec::new();
    let chain = |points: &mut dyn Iterator<Item = (u32, u32)>| {
        let mut kept: Vec<Point> = Vec::new();
        for (x, y) in points {
            let p = Point::new(f64::from(x), f64::from(y));
            while kept.len() >= 2
                && cross(
                    kept[kept.len() - 1] - kept[kept.len() - 2],
                    p - kept[kept.len() - 1],
                ) <= 0.0
            {
                kept.pop();
            }
            kept.push(p);
        }
        kept
    };
    corners.extend(chain(&mut { right }));
    corners.extend(chain(&mut { left }));
    corners
}

/// Twice the signed area between two steps: positive for a turn to the right as seen (y down).
pub(super) fn cross(a: Point, b: Point) -> f64 {
    a.x * b.y - a.y * b.x
}

/// Area of a polygon, positive if its corners run clockwise as seen.
pub(super) fn area(corners: &[Point]) -> f64 {
    (0..corners.len())
        .map(|i| cross(corners[i], corners[(i + 1) % corners.len()]))
        .sum::<f64>()
        / 2.0
}

/// The four-sided shape around a hull, if the hull is nearly four-sided.
fn four_sides(hull: &[Point]) -> Option<[Point; 4]> {
    let mut corners = hull.to_vec();
    while corners.len() > 4 {
        // Taking edge i away lengthens its neighbours until they meet.
        let n = corners.len();
        let (mut best, mut at) = (f64::INFINITY, None);
        for i in 0..n {
            let (a, b, c, d) = (
                corners[(i + n - 1) % n],
                corners[i],
                corners[(i + 1) % n],
                corners[(i + 2) % n],
            );
            if (c - b).norm_squared() == 0.0 {
                at = Some((i, b));
                break;
            }
            let Some(meet) = crossing(a, b, c, d) else {
                continue;
            };
            let added = cross(meet - b, c - b).abs() / 2.0;
            // The neighbours must meet outside, beyond the edge.
            if cross(c - b, meet - b) < 0.0 && added < best {
                (best, at) = (added, Some((i, meet)));
            }
        }
        let (i, meet) = at?;
        corners[i] = meet;
        corners.remove((i + 1) % n);
    }
    let quad: [Point; 4] = corners.try_into().ok()?;
    let whole = area(&quad);
    // Rounded by blur and stepped by pixels a marker still fills nine tenths of its outline; an ellipse fills 0.785.
    (believable(&quad) && area(hull) > 0.85 * whole).then_some(quad)
}

/// Whether a four-sided shape is convex, large enough and not too slanted to be a marker.
pub(super) fn believable(quad: &[Point; 4]) -> bool {
    let side = |i: usize| quad[(i + 1) % 4] - quad[i];
    (0..4).all(|i| {
        let (a, b) = (side(i), side((i + 1) % 4));
        // Corner angles between 30 and 150 degrees: at 40 degrees of tilt a right angle is seen as 74 to 106.
        a.norm() >= SMALLEST * 0.75
            && cross(a, b) > 0.5 * a.norm() * b.norm()
            && a.norm() < 3.0 * b.norm()
    }) && area(quad) >= SMALLEST * SMALLEST * 0.75
}

/// Where the line through `a`, `b` meets the line through `c`, `d`.
pub(super) fn crossing(a: Point, b: Point, c: Point, d: Point) -> Option<Point> {
    let (u, v) = (b - a, d - c);
    let det = cross(u, v);
    (det.abs() > 1e-9 * u.norm() * v.norm()).then(|| a + u * (cross(c - a, v) / det))
}
