//! What a ruler, a printer and a camera would find on the drawing.

use super::sheet::{self, PRINTER_MARGIN, face_origin};
use super::*;
use crate::card::design::LINE_SRGB;
use crate::card::family;
use crate::place::{Area, View};

const PAPERS: [Paper; 2] = [Paper::A4, Paper::Letter];

fn sheet_png(design: &Design, paper: Paper) -> RgbImage {
    image::load_from_memory(&draw(design, paper, Format::Png).unwrap())
        .unwrap()
        .to_rgb8()
}

/// With `TINTWELL_WRITE_CARDS=1` the test writes the shipped sheet; all sheets, for looking at, go to
/// the folder that `TINTWELL_CARDS_TO` names.
#[test]
fn the_shipped_sheet_is_that_of_the_code() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/calibration/card-side.pdf");
    let now = || draw(&Design::side(), Paper::A4, Format::Pdf).unwrap();
    if std::env::var_os("TINTWELL_WRITE_CARDS").is_some() {
        std::fs::write(path, now()).unwrap();
    }
    if let Some(folder) = std::env::var_os("TINTWELL_CARDS_TO") {
        let folder = std::path::PathBuf::from(folder);
        for design in Design::all() {
            for paper in PAPERS {
                for (format, end) in [
                    (Format::Pdf, "pdf"),
                    (Format::Svg, "svg"),
                    (Format::Png, "png"),
                ] {
                    let name = format!("{}-{paper:?}.{end}", design.id);
                    std::fs::write(folder.join(name), draw(&design, paper, format).unwrap())
                        .unwrap();
                }
            }
        }
    }
    // The PDF writer puts the two typefaces into the file in an order left to chance (four files were seen): one of many
    // drawings is the shipped one to the byte.
    let shipped = std::fs::read(path).unwrap_or_default();
    assert!(
        (0..64).any(|_| now() == shipped),
        "card-side.pdf is out of date: run the tests once with TINTWELL_WRITE_CARDS=1"
    );
}

/// Pixels per millimetre of the PNG.
const SCALE: f64 = PNG_DPI / MM_PER_INCH;

fn each_sheet(mut look: impl FnMut(&Design, Paper, &str)) {
    for design in Design::all() {
        for paper in PAPERS {
            look(&design, paper, &format!("{} on {paper:?}", design.id));
        }
    }
}

/// The pixels wholly inside an area given in mm on the picture.
fn pixels_of(area: Area, scale: f64) -> impl Iterator<Item = (u32, u32)> {
    let columns = (area.x * scale).ceil() as u32..((area.x + area.w) * scale).floor() as u32;
    let rows = (area.y * scale).ceil() as u32..((area.y + area.h) * scale).floor() as u32;
    rows.flat_map(move |y| columns.clone().map(move |x| (x, y)))
}

fn on_sheet(area: Area, (x, y): (f64, f64)) -> Area {
    Area {
        x: area.x + x,
        y: area.y + y,
        ..area
    }
}

/// The middle of a pixel of the sheet, mm on the face.
fn on_face(x: u32, y: u32, origin: (f64, f64)) -> (f64, f64) {
    (
        (f64::from(x) + 0.5) / SCALE - origin.0,
        (f64::from(y) + 0.5) / SCALE - origin.1,
    )
}

#[test]
fn the_pdf_page_is_the_paper() {
    // Edges in points of 1/72 inch: ISO 216 A4 is 210 x 297 mm, Letter is 8.5 x 11 inches.
    let expected = |paper, view| match (paper, view) {
        (Paper::A4, View::Side) => (841.890, 595.276),
        (Paper::A4, View::Above) => (595.276, 841.890),
        (Paper::Letter, View::Side) => (792.0, 612.0),
        (Paper::Letter, View::Above) => (612.0, 792.0),
    };
    each_sheet(|design, paper, name| {
        let bytes = draw(design, paper, Format::Pdf).unwrap();
        let text = String::from_utf8_lossy(&bytes);
        assert_eq!(text.matches("/MediaBox").count(), 1, "{name}: pages");
        let after = text.split("/MediaBox").nth(1).unwrap();
        let list = &after[after.find('[').unwrap() + 1..after.find(']').unwrap()];
        let edges: Vec<f64> = list
            .split_whitespace()
            .map(|n| n.parse().unwrap())
            .collect();
        assert_eq!(edges[..2], [0.0, 0.0], "{name}");
        let (w, h) = expected(paper, design.view);
        // A hundredth of a point is 3.5 micrometres.
        assert!(
            (edges[2] - w).abs() < 0.01 && (edges[3] - h).abs() < 0.01,
            "{name}: {edges:?}"
        );
    });
}

#[test]
fn the_svg_counts_in_millimetres() {
    let svg =
        String::from_utf8(draw(&Design::side(), Paper::Letter, Format::Svg).unwrap()).unwrap();
    assert!(svg.contains(r#"width="279.4mm" height="215.9mm" viewBox="0 0 279.4 215.9""#));
    assert!(svg.contains("@font-face"));
    let tree = usvg::Tree::from_str(&svg, &usvg::Options::default()).unwrap();
    assert!((tree.size().width() - 279.4 / 25.4 * 96.0).abs() < 0.01);
}

#[test]
fn the_png_has_300_pixels_per_inch() {
    let bytes = draw(&Design::side(), Paper::A4, Format::Png).unwrap();
    let reader = png::Decoder::new(std::io::Cursor::new(&bytes))
        .read_info()
        .unwrap();
    let info = reader.info();
    assert_eq!((info.width, info.height), (3508, 2480));
    // 300 / 0.0254 per metre.
    assert_eq!(
        info.pixel_dims.map(|d| (d.xppu, d.yppu)),
        Some((11811, 11811))
    );
    assert_eq!(
        sheet_png(&Design::above(), Paper::Letter).dimensions(),
        (2550, 3300)
    );
}

#[test]
fn patches_have_their_codes_and_bare_paper_is_white() {
    each_sheet(|design, paper, name| {
        let picture = sheet_png(design, paper);
        let origin = face_origin(design, paper);
        for p in &design.patches {
            for (x, y) in pixels_of(on_sheet(p.area, origin), SCALE) {
                assert_eq!(
                    picture.get_pixel(x, y).0,
                    p.srgb,
                    "{name}: {} at {x}, {y}",
                    p.name
                );
            }
        }
        for area in design.paper.iter().chain([&design.bay]) {
            for (x, y) in pixels_of(on_sheet(*area, origin), SCALE) {
                let (mm_x, mm_y) = on_face(x, y, origin);
                // A pixel on the edge of a faint line is part of it.
                if design
                    .lines
                    .iter()
                    .any(|l| l.shrunk(-1.5 / SCALE).contains(mm_x, mm_y))
                {
                    continue;
                }
                assert_eq!(
                    picture.get_pixel(x, y).0,
                    [255; 3],
                    "{name}: {area:?} at {x}, {y}"
                );
            }
        }
        for l in &design.lines {
            let core = Area {
                y: l.y + 0.1,
                h: l.h - 0.2,
                ..*l
            };
            for (x, y) in pixels_of(on_sheet(core, origin), SCALE) {
                assert_eq!(
                    picture.get_pixel(x, y).0,
                    LINE_SRGB,
                    "{name}: {l:?} at {x}, {y}"
                );
            }
        }
    });
}

#[test]
fn nothing_but_markers_patches_and_lines_is_on_the_face() {
    each_sheet(|design, paper, name| {
        let picture = sheet_png(design, paper);
        let origin = face_origin(design, paper);
        let face = Area {
            x: 0.0,
            y: 0.0,
            w: design.width_mm,
            h: design.height_mm,
        };
        // A pixel on an edge is part ink.
        let edge = 1.5 / SCALE;
        let mut drawn: Vec<Area> = design.tags.iter().map(|t| t.area().shrunk(-edge)).collect();
        drawn.extend(design.patches.iter().map(|p| p.area.shrunk(-edge)));
        drawn.extend(design.lines.iter().map(|l| l.shrunk(-edge)));
        if design.view == View::Above {
            // The foot mark; the bay inside it is checked to be bare elsewhere.
            drawn.push(design.bay.shrunk(-1.2));
        }
        for (x, y) in pixels_of(on_sheet(face, origin), SCALE) {
            let at = on_face(x, y, origin);
            if picture.get_pixel(x, y).0 != [255; 3] {
                assert!(
                    drawn.iter().any(|a| a.contains(at.0, at.1)),
                    "{name}: ink at {at:?} mm"
                );
            }
        }
    });
}

#[test]
fn the_printer_margin_is_bare() {
    each_sheet(|design, paper, name| {
        let picture = sheet_png(design, paper);
        let (w, h) = sheet::size(design, paper);
        let inner = Area {
            x: 0.0,
            y: 0.0,
            w,
            h,
        }
        .shrunk(PRINTER_MARGIN);
        for (x, y, pixel) in picture.enumerate_pixels() {
            let at = ((f64::from(x) + 0.5) / SCALE, (f64::from(y) + 0.5) / SCALE);
            assert!(
                pixel.0 == [255; 3] || inner.contains(at.0, at.1),
                "{name}: ink at {at:?} mm"
            );
        }
    });
}

#[test]
fn the_scale_bar_is_100_mm_long() {
    each_sheet(|design, paper, name| {
        let picture = sheet_png(design, paper);
        let (x, y) = face_origin(design, paper);
        // The bar is the only thing in the head's right part whose rows are dark over more than 90 mm.
        let right = match design.view {
            View::Side => x + design.width_mm / 2.0,
            View::Above => x + 60.0,
        };
        let columns = (right * SCALE) as u32..picture.width();
        let ink = |row: u32| -> f64 {
            let dark = |x| 1.0 - f64::from(picture.get_pixel(x, row).0[0]) / 255.0;
            columns.clone().map(dark).sum()
        };
        // Its closing lines are at least one whole row high, and there each end pixel is dark as far as it is covered.
        let rows = ((y - 22.0) * SCALE) as u32..(y * SCALE) as u32 - 4;
        let longest = rows.map(ink).fold(0.0, f64::max) / SCALE;
        assert!((longest - 100.0).abs() < 0.02, "{name}: {longest} mm");
    });
}

#[test]
fn the_cells_of_a_marker_are_where_the_code_table_has_them() {
    let scale = 8.0;
    for design in Design::all() {
        let face = face_image(&design, scale).unwrap();
        for tag in &design.tags {
            let cells = family::cells(tag.id).unwrap();
            for (r, row) in cells.iter().enumerate() {
                for (c, black) in row.iter().enumerate() {
                    let centre =
                        |at: f64, n: usize| ((at + tag.cell() * (n as f64 + 0.5)) * scale) as u32;
                    let pixel = face.get_pixel(centre(tag.x, c), centre(tag.y, r)).0;
                    assert_eq!(
                        pixel,
                        if *black { [0; 3] } else { [255; 3] },
                        "marker {} row {r} column {c}",
                        tag.id
                    );
                }
            }
        }
    }
}

/// Every line of text, mm on the sheet.
fn lines_of(group: &usvg::Group, found: &mut Vec<(String, Area)>) {
    for node in group.children() {
        match node {
            usvg::Node::Group(g) => lines_of(g, found),
            usvg::Node::Text(t) => {
                let b = t.abs_bounding_box();
                let mm = |px: f32| f64::from(px) / f64::from(CSS_DPI) * MM_PER_INCH;
                let words = t.chunks().iter().map(|c| c.text()).collect();
                let area = Area {
                    x: mm(b.x()),
                    y: mm(b.y()),
                    w: mm(b.width()),
                    h: mm(b.height()),
                };
                found.push((words, area));
            }
            _ => {}
        }
    }
}

#[test]
fn every_line_of_text_stays_in_its_panel() {
    each_sheet(|design, paper, name| {
        let mut lines = Vec::new();
        lines_of(
            tree(&sheet::sheet(design, paper).unwrap()).unwrap().root(),
            &mut lines,
        );
        assert!(lines.len() > 30, "{name}: {} lines", lines.len());
        let (x, y) = face_origin(design, paper);
        let (w, h) = (design.width_mm, design.height_mm);
        let area = |x, y, w, h| Area { x, y, w, h };
        // Head, then the panels around the face and the waste beside them.
        let panels = match design.view {
            View::Side => vec![
                area(x - 42.0, y - 22.0, w + 84.0, 22.0),
                area(x - 42.0, y, 42.0, h),
                area(x + w, y, 42.0, h),
                area(x, y + h, w, 45.0),
                area(x - 42.0, y + h, 42.0, 45.0),
                area(x + w, y + h, 42.0, 45.0),
            ],
            View::Above => vec![
                area(x, y - 22.0, w, 22.0),
                area(x, y + h, w / 2.0, 54.0),
                area(x + w / 2.0, y + h, w / 2.0, 54.0),
                area(x, y + h + 54.0, w / 2.0, 16.0),
                area(x + w / 2.0, y + h + 54.0, w / 2.0, 16.0),
            ],
        };
        for (words, a) in &lines {
            // A line may begin on its panel's edge, within rounding.
            let within = |p: &Area| {
                p.shrunk(-0.01).contains(a.x, a.y) && p.shrunk(-0.01).contains(a.x + a.w, a.y + a.h)
            };
            assert!(panels.iter().any(within), "{name}: \"{words}\" at {a:?}");
        }
    });
}

#[test]
fn a_senseless_scale_is_one_clear_error() {
    for scale in [f64::NAN, 0.0, -3.0, 1e9, f64::INFINITY] {
        assert!(
            face_image(&Design::side(), scale)
                .unwrap_err()
                .what
                .contains("pixels per millimetre"),
            "{scale}"
        );
    }
    assert_eq!(
        face_image(&Design::side(), 5.0).unwrap().dimensions(),
        (900, 620)
    );
}
