//! The geometry of a card as JSON, for other programs: millimetres on the face, origin top left, y down.
//!
//! A plain record copied from the [`Design`]; the program itself never reads it back.

use serde::Serialize;

use super::design::{Design, LINE_SRGB};
use crate::place::{Area, View};

#[derive(Serialize)]
struct Layout<'a> {
    id: &'a str,
    view: View,
    family: &'a str,
    width_mm: f64,
    height_mm: f64,
    tags: Vec<TagRecord>,
    patches: Vec<PatchRecord<'a>>,
    bay: Area,
    lines: Vec<LineRecord>,
    paper: &'a [Area],
}

#[derive(Serialize)]
struct TagRecord {
    id: u32,
    x: f64,
    y: f64,
    size: f64,
}

#[derive(Serialize)]
struct PatchRecord<'a> {
    name: &'a str,
    x: f64,
    y: f64,
    w: f64,
    h: f64,
    srgb: [u8; 3],
}

#[derive(Serialize)]
struct LineRecord {
    #[serde(flatten)]
    area: Area,
    srgb: [u8; 3],
}

/// The geometry of a card as indented JSON with a newline at the end.
///
/// Keys: `id`, `view` (`side` or `above`), `family`, `width_mm`, `height_mm`, `tags` [{`id`, `x`, `y`, `size`}] (top left
/// corner and edge of the black square), `patches` [{`name`, `x`, `y`, `w`, `h`, `srgb`}] (sRGB codes 0 to 255), `bay`
/// {`x`, `y`, `w`, `h`}, `lines` [{`x`, `y`, `w`, `h`, `srgb`}] (faint, across the bay), `paper` [{`x`, `y`, `w`, `h`}] (the
/// first is the reference white).
pub fn layout_json(design: &Design) -> String {
    let layout = Layout {
        id: design.id,
        view: design.view,
        family: "tag36h11",
        width_mm: design.width_mm,
        height_mm: design.height_mm,
        tags: design
            .tags
            .iter()
            .map(|t| TagRecord {
                id: t.id,
                x: t.x,
                y: t.y,
                size: t.size,
            })
            .collect(),
        patches: design
            .patches
            .iter()
            .map(|p| PatchRecord {
                name: p.name,
                x: p.area.x,
                y: p.area.y,
                w: p.area.w,
                h: p.area.h,
                srgb: p.srgb,
            })
            .collect(),
        bay: design.bay,
        lines: design
            .lines
            .iter()
            .map(|l| LineRecord {
                area: *l,
                srgb: LINE_SRGB,
            })
            .collect(),
        paper: &design.paper,
    };
    // Plain numbers, strings and lists cannot fail to serialise.
    let mut json = serde_json::to_string_pretty(&layout).unwrap_or_default();
    json.push('\n');
    json
}

#[cfg(test)]
mod tests {
    use super::*;

    /// File names under `calibration/` and the designs they hold.
    fn shipped() -> [(&'static str, Design); 4] {
        [
            ("card-side.json", Design::side()),
            ("card-side-mono.json", Design::side_mono()),
            ("card-above.json", Design::above()),
            ("card-above-mono.json", Design::above_mono()),
        ]
    }

    /// The shipped files are those of this code. With `TINTWELL_WRITE_CARDS=1` the test writes them.
    #[test]
    fn shipped_layouts_are_those_of_the_code() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/calibration");
        for (name, design) in shipped() {
            let path = format!("{folder}/{name}");
            let now = layout_json(&design);
            if std::env::var_os("TINTWELL_WRITE_CARDS").is_some() {
                std::fs::write(&path, &now).unwrap();
            }
            let on_disk = std::fs::read_to_string(&path).unwrap_or_default();
            assert!(
                on_disk == now,
                "{name} is out of date: run the tests once with TINTWELL_WRITE_CARDS=1"
            );
        }
    }

    #[test]
    fn the_keys_are_those_that_were_promised() {
        let json: serde_json::Value = serde_json::from_str(&layout_json(&Design::side())).unwrap();
        assert_eq!(json["width_mm"], 180.0);
        assert_eq!(json["height_mm"], 124.0);
        assert_eq!(
            json["tags"][0],
            serde_json::json!({"id": 112, "x": 6.0, "y": 6.0, "size": 18.0})
        );
        let brick = serde_json::json!({"name": "brick", "x": 29.0, "y": 7.0, "w": 11.0, "h": 11.0, "srgb": [188, 68, 68]});
        assert_eq!(json["patches"][0], brick);
        assert_eq!(
            json["bay"],
            serde_json::json!({"x": 70.0, "y": 28.0, "w": 40.0, "h": 96.0})
        );
        assert_eq!(
            json["paper"].as_array().map(Vec::len),
            Some(Design::side().paper.len())
        );
    }
}
