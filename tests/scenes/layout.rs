//! The card's geometry, read from its layout file: millimetres on the face, origin top left, y down.

use serde::Deserialize;

/// Name of a faint line among the patches.
pub const LINE: &str = "faint line";

/// A rectangle on the face, mm.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct Rect {
    pub x: f64,
    pub y: f64,
    pub w: f64,
    pub h: f64,
}

impl Rect {
    pub fn contains(&self, x: f64, y: f64) -> bool {
        x >= self.x && x < self.x + self.w && y >= self.y && y < self.y + self.h
    }
}

/// A marker; `x`, `y` is the top left corner of its black square of edge `size`.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub struct TagPlace {
    pub id: u32,
    pub x: f64,
    pub y: f64,
    pub size: f64,
}

/// A patch and the sRGB code sent to the printer.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Patch {
    pub name: String,
    pub x: f64,
    pub y: f64,
    pub w: f64,
    pub h: f64,
    pub srgb: [u8; 3],
}

/// A faint line and the sRGB code sent to the printer.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Line {
    pub x: f64,
    pub y: f64,
    pub w: f64,
    pub h: f64,
    pub srgb: [u8; 3],
}

/// The printed card.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct Layout {
    pub width_mm: f64,
    pub height_mm: f64,
    pub tags: Vec<TagPlace>,
    pub patches: Vec<Patch>,
    pub bay: Rect,
    /// Faint lines across the bay.
    #[serde(default)]
    pub lines: Vec<Line>,
    pub paper: Vec<Rect>,
}

impl Layout {
    /// Reads a layout file's text.
    ///
    /// # Panics
    /// If it is not one.
    pub fn from_json(text: &str) -> Layout {
        let mut card: Layout = serde_json::from_str(text).expect("a card layout");
        // A line is printed as a patch is; only its name tells that it is none.
        let lines = std::mem::take(&mut card.lines);
        card.patches.extend(lines.into_iter().map(|l| Patch {
            name: LINE.into(),
            x: l.x,
            y: l.y,
            w: l.w,
            h: l.h,
            srgb: l.srgb,
        }));
        card
    }
}

/// What is printed at a point of the face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Printed {
    Paper,
    Black,
    Patch(usize),
}

/// The face on a raster, so that a look-up costs the same anywhere on it. The raster only names candidates: edges are
/// decided on the exact rectangles.
pub struct Face {
    cells: Vec<[u8; 2]>,
    columns: usize,
    rows: usize,
    tags: Vec<(TagPlace, [[bool; 8]; 8])>,
    patches: Vec<Rect>,
}

/// Raster pitch of [`Face`], mm.
const PITCH: f64 = 2.0;

impl Face {
    pub fn new(card: &Layout) -> Face {
        let tags: Vec<_> = card
            .tags
            .iter()
            .map(|t| (*t, super::tag::cells(t.id)))
            .collect();
        let patches: Vec<Rect> = card
            .patches
            .iter()
            .map(|p| Rect {
                x: p.x,
                y: p.y,
                w: p.w,
                h: p.h,
            })
            .collect();
        let columns = (card.width_mm / PITCH).ceil() as usize;
        let rows = (card.height_mm / PITCH).ceil() as usize;
        let mut cells = vec![[0u8; 2]; columns * rows];
        let shapes = tags
            .iter()
            .map(|(t, _)| Rect {
                x: t.x,
                y: t.y,
                w: t.size,
                h: t.size,
            })
            .chain(patches.iter().copied());
        for (number, r) in shapes.enumerate() {
            let to = |v: f64, n: usize| ((v / PITCH) as usize).min(n - 1);
            for j in to(r.y, rows)..=to(r.y + r.h, rows) {
                for i in to(r.x, columns)..=to(r.x + r.w, columns) {
                    let cell = &mut cells[j * columns + i];
                    let free = cell
                        .iter()
                        .position(|c| *c == 0)
                        .expect("at most two printed things within 2 mm");
                    cell[free] = number as u8 + 1;
                }
            }
        }
        Face {
            cells,
            columns,
            rows,
            tags,
            patches,
        }
    }

    /// What is printed at `x`, `y` mm; bare paper outside.
    pub fn at(&self, x: f64, y: f64) -> Printed {
        if x < 0.0 || y < 0.0 {
            return Printed::Paper;
        }
        let (i, j) = ((x / PITCH) as usize, (y / PITCH) as usize);
        if i >= self.columns || j >= self.rows {
            return Printed::Paper;
        }
        for number in self.cells[j * self.columns + i] {
            let Some(number) = (number as usize).checked_sub(1) else {
                break;
            };
            if let Some((t, bits)) = self.tags.get(number) {
                let (u, v) = ((x - t.x) / t.size * 8.0, (y - t.y) / t.size * 8.0);
                if (0.0..8.0).contains(&u) && (0.0..8.0).contains(&v) {
                    return if bits[v as usize][u as usize] {
                        Printed::Paper
                    } else {
                        Printed::Black
                    };
                }
            } else {
                let number = number - self.tags.len();
                if self.patches[number].contains(x, y) {
                    return Printed::Patch(number);
                }
            }
        }
        Printed::Paper
    }
}
