//! What a four-sided shape says if it is read as a marker.
//!
//! Each of the 6 x 6 data cells is compared with the black of the border and the white around the marker, interpolated
//! from all four sides: a light fall-off or the edge of a shadow across the marker moves the dividing level along.

use super::luma::{Luma, sample};
use super::plane::{Pair, Plane, Point, direct};
use crate::card::family::{CELLS, DATA};

/// How strongly each cell is set off from its neighbours in the second reading: AprilTag 3's own default (Krogius,
/// Haggenmiller & Olson 2019, "Flexible layouts for fiducial tags", IROS).
const SET_OFF: f64 = 0.25;

/// Reads the data cells, row by row from the corner `corners[0]` (clockwise), first cell in the highest bit, 1 = white:
/// as they are, and with each cell set off from its neighbours, which undoes some blur. `None` if there is no black border
/// on white ground.
pub(super) fn read(picture: &impl Luma, corners: &[Point; 4]) -> Option<[u64; 2]> {
    let cells = CELLS as f64;
    let square = [(0.0, 0.0), (cells, 0.0), (cells, cells), (0.0, cells)];
    let pairs: Vec<Pair> = square
        .iter()
        .zip(corners)
        .map(|((x, y), seen)| Pair {
            printed: Point::new(*x, *y),
            outward: Point::zeros(),
            seen: *seen,
        })
        .collect();
    let plane = direct(&pairs)?;
    // One ring of cells more than the marker has: the white around it.
    let side = CELLS + 2;
    let mut level = vec![0.0; side * side];
    for row in 0..side {
        for column in 0..side {
            level[row * side + column] =
                cell(picture, &plane, column as f64 - 0.5, row as f64 - 0.5);
        }
    }
    let at = |row: usize, column: usize| level[row * side + column];
    // (white outside, black border) at the ends of every row and column that crosses the data.
    let left = |i: usize| (at(i, 0), at(i, 1));
    let right = |i: usize| (at(i, side - 1), at(i, side - 2));
    let top = |i: usize| (at(0, i), at(1, i));
    let bottom = |i: usize| (at(side - 1, i), at(side - 2, i));
    let ends: Vec<(f64, f64)> = (1..side - 1)
        .flat_map(|i| [left(i), right(i), top(i), bottom(i)])
        .collect();
    let contrast = ends.iter().map(|(w, b)| w - b).sum::<f64>() / ends.len() as f64;
    // Three levels of brightness, averaged over 32 pairs of cells, still stand out of any noise that leaves bits to read;
    // a finger or a highlight may spoil a quarter of them.
    let framed = ends.iter().filter(|(w, b)| w - b > 0.25 * contrast).count();
    if contrast < 3.0 || 4 * framed < 3 * ends.len() {
        return None;
    }
    let mut bits = [0; 2];
    for row in 2..2 + DATA {
        for column in 2..2 + DATA {
            let mut sum = 0.0;
            let mut weights = 0.0;
            for ((white, black), distance) in [
                (left(row), column),
                (right(row), side - 1 - column),
                (top(column), row),
                (bottom(column), side - 1 - row),
            ] {
                let weight = 1.0 / distance as f64;
                sum += weight * (white + black) / 2.0;
                weights += weight;
            }
            let above = at(row, column) - sum / weights;
            let around = at(row - 1, column)
                + at(row + 1, column)
                + at(row, column - 1)
                + at(row, column + 1);
            let set_off = above + SET_OFF * (4.0 * at(row, column) - around);
            bits = [
                bits[0] << 1 | u64::from(above > 0.0),
                bits[1] << 1 | u64::from(set_off > 0.0),
            ];
        }
    }
    Some(bits)
}

/// Mean luma over the middle of the cell centred at (x, y) in cells, with about a sample for each pixel there.
fn cell(picture: &impl Luma, plane: &Plane, x: f64, y: f64) -> f64 {
    let (width, height) = picture.size();
    // Half the cell each way: blur and a corner that is off by a pixel or two then stay out.
    let samples = (plane.map.scale_at(x, y) * 0.5).round().clamp(2.0, 6.0) as usize;
    let place = |i: usize| ((i as f64 + 0.5) / samples as f64 - 0.5) * 0.5;
    let mut sum = 0.0;
    for i in 0..samples {
        for j in 0..samples {
            let p = plane.at(Point::new(x + place(i), y + place(j)));
            // The white around a marker may reach beyond the photo: its last pixels then stand for it.
            let p = Point::new(
                p.x.clamp(0.5, width as f64 - 0.6),
                p.y.clamp(0.5, height as f64 - 0.6),
            );
            sum += sample(picture, p).unwrap_or_default();
        }
    }
    sum / (samples * samples) as f64
}
