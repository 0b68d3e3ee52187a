//! The card's geometry in millimetres and its patch colours; the one source for drawing, finding and reading it.
//!
//! A layout of our own. Coordinates: millimetres on the printed face, origin top left, y down.

mod above;
mod inks;
mod side;

use super::family::{CELLS, COUNT};
use crate::error::{Error, Result};
use crate::place::{Area, View};

/// A fiducial marker of the AprilTag family 36h11 (Wang & Olson 2016, "AprilTag 2: efficient and robust fiducial
/// detection", IROS).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tag {
    /// Marker number in the family.
    pub id: u32,
    /// Left edge of the black square, mm.
    pub x: f64,
    /// Top edge of the black square, mm.
    pub y: f64,
    /// Edge length of the black square (8 cells), mm.
    pub size: f64,
}

/// A printed patch.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Name, unique on the card.
    pub name: &'static str,
    /// Where it is printed, mm.
    pub area: Area,
    /// The sRGB code that is sent to the printer.
    pub srgb: [u8; 3],
    /// True for the steps of the neutral scale.
    pub neutral: bool,
}

/// A card design: everything that drawing, finding and reading share.
#[derive(Debug, Clone, PartialEq)]
pub struct Design {
    /// Stable id, such as `side-1`; charts remember it.
    pub id: &'static str,
    /// How the vial is seen with this card.
    pub view: View,
    /// Width of the printed face, mm.
    pub width_mm: f64,
    /// Height of the printed face, mm.
    pub height_mm: f64,
    /// Markers; no two designs share an id, so a photo tells which card it shows.
    pub tags: Vec<Tag>,
    /// Patches; a mono card has only neutral ones.
    pub patches: Vec<Patch>,
    /// The open bay of bare paper where the vial stands.
    pub bay: Area,
    /// Faint lines across the bay, from the top down: how much of them is seen through the liquid tells how clear it is.
    pub lines: Vec<Area>,
    /// Areas of bare paper that nothing may be printed on, outside the bay; the first one is the reference white.
    pub paper: Vec<Area>,
}

/// The sRGB code of the faint lines: 17 % darker than paper before the printer adds its own. Lines as thin as these take less
/// than 2 % of the light behind a liquid.
pub const LINE_SRGB: [u8; 3] = [235, 235, 235];

/// Edge of a marker's black square, mm: a cell of 2.25 mm is 9 pixels in a 12-megapixel photo that the card fills by half.
const TAG_SIZE: f64 = 18.0;
/// Bare paper between the edge of the face and the markers, mm: more than the one cell the family asks for.
const TAG_MARGIN: f64 = 6.0;

impl Tag {
    /// The black square, mm.
    pub fn area(&self) -> Area {
        Area {
            x: self.x,
            y: self.y,
            w: self.size,
            h: self.size,
        }
    }

    /// Edge length of one cell, mm.
    pub fn cell(&self) -> f64 {
        self.size / CELLS as f64
    }
}

impl Design {
    /// The upright card for vials seen from the side, with colour patches.
    pub fn side() -> Design {
        side::colour()
    }

    /// The upright card in black ink only.
    pub fn side_mono() -> Design {
        side::mono()
    }

    /// The flat card for open vials seen from above, with colour patches.
    pub fn above() -> Design {
        above::colour()
    }

    /// The flat card in black ink only.
    pub fn above_mono() -> Design {
        above::mono()
    }

    /// All designs there are.
    pub fn all() -> Vec<Design> {
        vec![
            Design::side(),
            Design::side_mono(),
            Design::above(),
            Design::above_mono(),
        ]
    }

    /// The design of this id, if there is one.
    pub fn by_id(id: &str) -> Option<Design> {
        Design::all().into_iter().find(|d| d.id == id)
    }

    /// The design that uses this marker, if there is one.
    pub fn by_tag(tag: u32) -> Option<Design> {
        Design::all()
            .into_iter()
            .find(|d| d.tags.iter().any(|t| t.id == tag))
    }

    /// Checks that the design can be printed and read: everything on the face, nothing on top of anything else,
    /// a cell of bare paper around each marker, ids and names unique.
    ///
    /// # Errors
    /// The first rule that is broken.
    pub fn check(&self) -> Result<()> {
        let broken = |what: String| Error::new(what, "correct the design").about(self.id);
        let mut printed: Vec<(String, Area)> = Vec::new();
        for tag in &self.tags {
            if tag.id >= COUNT {
                return Err(broken(format!(
                    "marker {} is not in the family (0 to {})",
                    tag.id,
                    COUNT - 1
                )));
            }
            printed.push((format!("marker {}", tag.id), tag.area().shrunk(-tag.cell())));
        }
        printed.extend(
            self.patches
                .iter()
                .map(|p| (format!("patch {}", p.name), p.area)),
        );
        printed.push(("the bay".to_owned(), self.bay));

        let paper = self
            .paper
            .iter()
            .enumerate()
            .map(|(i, a)| (format!("paper area {i}"), *a));
        // The quiet zone is bare paper too: paper areas keep off the black square only.
        let inked = self
            .tags
            .iter()
            .map(|t| (format!("marker {}", t.id), t.area()));
        let bare: Vec<(String, Area)> = paper
            .chain(inked)
            .chain(
                self.patches
                    .iter()
                    .map(|p| (format!("patch {}", p.name), p.area)),
            )
            .chain([("the bay".to_owned(), self.bay)])
            .collect();

        if let Some(i) = self.lines.iter().position(|l| !within(l, &self.bay)) {
            return Err(broken(format!("line {i} is not wholly in the bay")));
        }
        let face = Area {
            x: 0.0,
            y: 0.0,
            w: self.width_mm,
            h: self.height_mm,
        };
        for things in [&printed, &bare] {
            for (i, (name, area)) in things.iter().enumerate() {
                // NaN fails every comparison, so the tests are for what must hold.
                let inside = area.w > 0.0 && area.h > 0.0 && within(area, &face);
                if !inside {
                    return Err(broken(format!("{name} is not wholly on the face")));
                }
                for (other_name, other) in &things[i + 1..] {
                    if name == other_name {
                        return Err(broken(format!("{name} is there twice")));
                    }
                    if overlap(area, other) {
                        return Err(broken(format!("{name} and {other_name} overlap")));
                    }
                }
            }
        }
        if self.paper.is_empty() {
            return Err(broken(
                "no bare paper is named, so there is no reference white".to_owned(),
            ));
        }
        Ok(())
    }
}

/// Whether an area lies wholly in another.
fn within(inner: &Area, outer: &Area) -> bool {
    inner.x >= outer.x
        && inner.y >= outer.y
        && inner.x + inner.w <= outer.x + outer.w
        && inner.y + inner.h <= outer.y + outer.h
}

/// Whether two areas share more than an edge.
fn overlap(a: &Area, b: &Area) -> bool {
    a.x < b.x + b.w && b.x < a.x + a.w && a.y < b.y + b.h && b.y < a.y + a.h
}

/// Six markers with ids from `first`: the corners and the middles of the left and right edges, row by row.
fn corner_and_edge_tags(first: u32, width: f64, height: f64) -> Vec<Tag> {
    let columns = [TAG_MARGIN, width - TAG_MARGIN - TAG_SIZE];
    let rows = [
        TAG_MARGIN,
        (height - TAG_SIZE) / 2.0,
        height - TAG_MARGIN - TAG_SIZE,
    ];
    let places = rows
        .iter()
        .flat_map(|&y| columns.iter().map(move |&x| (x, y)));
    (first..)
        .zip(places)
        .map(|(id, (x, y))| Tag {
            id,
            x,
            y,
            size: TAG_SIZE,
        })
        .collect()
}

/// The bare paper between the `count` patches of a column, a millimetre off their edges.
fn gaps_of_column(
    x: f64,
    top: f64,
    patch: f64,
    pitch: f64,
    count: usize,
) -> impl Iterator<Item = Area> {
    let margin = 1.0;
    (0..count.saturating_sub(1)).map(move |row| Area {
        x,
        y: top + pitch * row as f64 + patch + margin,
        w: patch,
        h: pitch - patch - 2.0 * margin,
    })
}

/// The design with bare paper where its colour patches were, under its own id and with markers from `first`.
fn without_colours(colour: Design, id: &'static str, first: u32) -> Design {
    let mut mono = Design { id, ..colour };
    for (tag, id) in mono.tags.iter_mut().zip(first..) {
        tag.id = id;
    }
    mono.paper
        .extend(mono.patches.iter().filter(|p| !p.neutral).map(|p| p.area));
    mono.patches.retain(|p| p.neutral);
    mono
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    use super::*;

    #[test]
    fn every_design_can_be_printed_and_read() {
        for design in Design::all() {
            design.check().unwrap();
        }
    }

    #[test]
    fn no_two_designs_share_an_id_or_a_marker() {
        let all = Design::all();
        let ids: HashSet<_> = all.iter().map(|d| d.id).collect();
        assert_eq!(ids.len(), all.len());
        let tags: Vec<u32> = all
            .iter()
            .flat_map(|d| d.tags.iter().map(|t| t.id))
            .collect();
        let distinct: HashSet<_> = tags.iter().collect();
        assert_eq!(distinct.len(), tags.len());
    }

    #[test]
    fn a_design_is_found_by_its_id_and_by_each_marker() {
        for design in Design::all() {
            assert_eq!(Design::by_id(design.id).as_ref(), Some(&design));
            for tag in &design.tags {
                assert_eq!(Design::by_tag(tag.id).map(|d| d.id), Some(design.id));
            }
        }
        assert_eq!(Design::by_id("side-0"), None);
        assert_eq!(Design::by_tag(0), None);
    }

    #[test]
    fn the_bay_of_the_upright_card_takes_the_vials_it_is_meant_for() {
        let design = Design::side();
        assert!(design.bay.w >= 30.0 && design.bay.h >= 85.0);
        assert_eq!(
            design.bay.y + design.bay.h,
            design.height_mm,
            "the bay ends at the fold"
        );
        assert_eq!(design.bay.centre().0, design.width_mm / 2.0);
        // Ten millimetres of bare paper between the patches and the bay.
        for p in &design.patches {
            let gap =
                (design.bay.x - p.area.x - p.area.w).max(p.area.x - design.bay.x - design.bay.w);
            assert!(gap >= 10.0, "{}: {gap} mm", p.name);
        }
    }

    #[test]
    fn neutrals_stand_on_both_sides_and_step_evenly() {
        for design in Design::all() {
            let mid = design.width_mm / 2.0;
            let neutral: Vec<_> = design.patches.iter().filter(|p| p.neutral).collect();
            assert_eq!(neutral.len(), 8);
            assert!(
                neutral
                    .iter()
                    .all(|p| p.srgb[0] == p.srgb[1] && p.srgb[1] == p.srgb[2])
            );
            let left = neutral.iter().filter(|p| p.area.centre().0 < mid).count();
            assert!(
                (3..=5).contains(&left),
                "{}: {left} of 8 on the left",
                design.id
            );
        }
        assert!(Design::side_mono().patches.iter().all(|p| p.neutral));
        assert_eq!(Design::side().patches.len(), 26);
        assert_eq!(Design::above().patches.len(), 26);
    }

    #[test]
    fn a_broken_design_is_named() {
        let mut shifted = Design::side();
        shifted.patches[0].area.x = 20.0;
        assert!(
            shifted
                .check()
                .unwrap_err()
                .what
                .contains("marker 112 and patch brick overlap")
        );
        let mut outside = Design::side();
        outside.paper[0].h = 500.0;
        assert!(outside.check().unwrap_err().what.contains("paper area 0"));
        let mut unknown = Design::side();
        unknown.tags[2].id = 900;
        assert!(unknown.check().unwrap_err().what.contains("900"));
        let mut nan = Design::side();
        nan.bay.x = f64::NAN;
        assert!(nan.check().unwrap_err().what.contains("the bay"));
    }
}
