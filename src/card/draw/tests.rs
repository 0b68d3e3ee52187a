//! The sheet as printed: sizes, bare paper, colours, words on their panels, markers that can be read.

use image::GrayImage;
use resvg::usvg::{self, Node};

use super::sheet::{MARGIN, Sheet};
use super::*;
use crate::card::find;
use crate::place::Area;

const PAPERS: [Paper; 2] = [Paper::A4, Paper::Letter];

fn sheet_picture(design: &Design, paper: Paper, px_per_mm: f64) -> (Sheet, RgbImage) {
    let tree = parse(&sheet::svg(design, paper).unwrap()).unwrap();
    (
        Sheet::new(design, paper).unwrap(),
        render(&tree, px_per_mm).unwrap(),
    )
}

/// Bounding boxes of all texts, mm on the sheet.
fn texts(group: &usvg::Group, found: &mut Vec<(String, Area)>) {
    for node in group.children() {
        match node {
            Node::Group(inner) => texts(inner, found),
            Node::Text(text) => {
                let b = text.abs_bounding_box();
                let words: String = text.chunks().iter().map(|c| c.text().to_owned()).collect();
                let [x, y, w, h] = [b.x(), b.y(), b.width(), b.height()].map(f64::from);
                found.push((words, Area { x, y, w, h }));
            }
            _ => {}
        }
    }
}

fn within(inner: Area, outer: Area) -> bool {
    outer.contains(inner.x, inner.y) && outer.contains(inner.x + inner.w, inner.y + inner.h)
}

#[test]
fn nothing_is_printed_on_bare_paper_and_patches_have_their_codes() {
    let scale = 4.0;
    for design in Design::all() {
        let (sheet, picture) = sheet_picture(&design, Paper::A4, scale);
        // Pixels that lie wholly inside an area.
        let inside = |a: &Area| {
            let x0 = ((sheet.face.x + a.x) * scale).ceil() as u32;
            let y0 = ((sheet.face.y + a.y) * scale).ceil() as u32;
            let x1 = ((sheet.face.x + a.x + a.w) * scale).floor() as u32;
            let y1 = ((sheet.face.y + a.y + a.h) * scale).floor() as u32;
            assert!(x1 > x0 && y1 > y0);
            (y0..y1).flat_map(move |y| (x0..x1).map(move |x| (x, y)))
        };
        for area in design.paper.iter().chain([&design.bay]) {
            for (x, y) in inside(area) {
                assert_eq!(
                    picture.get_pixel(x, y).0,
                    [255; 3],
                    "{}: ink at {x}, {y} in {area:?}",
                    design.id
                );
            }
        }
        for patch in &design.patches {
            for (x, y) in inside(&patch.area) {
                assert_eq!(
                    picture.get_pixel(x, y).0,
                    patch.srgb,
                    "{}: {} at {x}, {y}",
                    design.id,
                    patch.name
                );
            }
        }
    }
}

#[test]
fn nothing_is_printed_in_the_margins_of_the_paper() {
    for paper in PAPERS {
        for design in Design::all() {
            let (sheet, picture) = sheet_picture(&design, paper, 2.0);
            let free = Area {
                x: 0.0,
                y: 0.0,
                w: sheet.width,
                h: sheet.height,
            }
            .shrunk(MARGIN);
            for (x, y, pixel) in picture.enumerate_pixels() {
                let (mm_x, mm_y) = ((f64::from(x) + 0.5) / 2.0, (f64::from(y) + 0.5) / 2.0);
                let blank = pixel.0 == [255; 3];
                assert!(
                    blank || free.contains(mm_x, mm_y),
                    "{} on {paper:?}: ink at {mm_x}, {mm_y} mm",
                    design.id
                );
            }
        }
    }
}

#[test]
fn every_line_of_text_stays_on_its_panel_and_clear_of_the_others() {
    for paper in PAPERS {
        for design in Design::all() {
            let sheet = Sheet::new(&design, paper).unwrap();
            let tree = parse(&sheet::svg(&design, paper).unwrap()).unwrap();
            let mut lines = Vec::new();
            texts(tree.root(), &mut lines);
            assert!(lines.len() > 40, "{} lines", lines.len());
            for (i, (text, area)) in lines.iter().enumerate() {
                let held = sheet.panels.iter().any(|p| within(*area, p.shrunk(-0.01)));
                assert!(
                    held,
                    "{} on {paper:?}: \"{text}\" leaves its panel: {area:?}",
                    design.id
                );
                for (other, b) in &lines[i + 1..] {
                    // Boxes hold the letters' full height, so a line may touch the next one, but not side by side.
                    let a = area.shrunk(0.6);
                    let apart = a.x >= b.x + b.w
                        || b.x >= a.x + a.w
                        || a.y >= b.y + b.h - 0.6
                        || b.y + 0.6 >= a.y + a.h;
                    assert!(
                        apart,
                        "{} on {paper:?}: \"{text}\" and \"{other}\" collide",
                        design.id
                    );
                }
            }
        }
    }
}

#[test]
fn a_pdf_page_has_the_size_of_the_paper() {
    // A point is 1/72 inch: A4 is 841.89 x 595.28, Letter 792 x 612 points.
    for (paper, long, short) in [(Paper::A4, 841.89, 595.28), (Paper::Letter, 792.0, 612.0)] {
        for (design, width, height) in [
            (Design::side(), long, short),
            (Design::above(), short, long),
        ] {
            let pdf = draw(&design, paper, Format::Pdf).unwrap();
            let text = String::from_utf8_lossy(&pdf);
            let start = text.find("/MediaBox [").unwrap() + "/MediaBox [".len();
            let page: Vec<f64> = text[start..]
                .split(']')
                .next()
                .unwrap()
                .split_whitespace()
                .map(|n| n.parse().unwrap())
                .collect();
            assert_eq!(page[..2], [0.0, 0.0]);
            assert!(
                (page[2] - width).abs() < 0.01 && (page[3] - height).abs() < 0.01,
                "{page:?}"
            );
        }
    }
}

#[test]
fn an_svg_says_its_size_in_millimetres_and_needs_no_typeface() {
    let svg =
        String::from_utf8(draw(&Design::side(), Paper::Letter, Format::Svg).unwrap()).unwrap();
    let head = svg.split('>').next().unwrap();
    assert!(
        head.contains("width=\"279.4mm\" height=\"215.9mm\" viewBox=\"0 0 279.4 215.9\""),
        "{head}"
    );
    assert!(!svg.contains("<text"));
}

#[test]
fn a_png_notes_its_resolution() {
    let bytes = draw_png(&Design::above(), Paper::A4, 100.0).unwrap();
    let reader = png::Decoder::new(std::io::Cursor::new(&bytes))
        .read_info()
        .unwrap();
    let info = reader.info();
    // 210 x 297 mm at 100 dots per inch.
    assert_eq!((info.width, info.height), (827, 1169));
    assert_eq!(
        info.pixel_dims.map(|d| (d.xppu, d.yppu)),
        Some((3937, 3937))
    );
}

#[test]
fn pictures_too_small_or_too_large_are_refused() {
    for dpi in [0.0, -300.0, f64::NAN, 1e6] {
        let error = draw_png(&Design::side(), Paper::A4, dpi).unwrap_err();
        assert!(error.what.contains("cannot be drawn"), "{error}");
    }
    assert!(face_image(&Design::side(), 1000.0).is_err());
}

#[test]
fn a_card_larger_than_the_paper_is_refused() {
    let mut wide = Design::side();
    wide.width_mm = 250.0;
    let error = draw(&wide, Paper::Letter, Format::Pdf).unwrap_err();
    assert!(error.what.contains("334 x 185 mm"), "{error}");
}

/// The finder of this crate sees each card, where it was drawn.
#[test]
fn the_drawn_card_is_found() {
    let px_per_mm = 6.0;
    for design in Design::all() {
        let (sheet, picture) = sheet_picture(&design, Paper::Letter, px_per_mm);
        let gray: GrayImage = image::imageops::grayscale(&picture);
        let place = find::find(&gray, &Design::all()).unwrap();
        let card = place.card.as_ref().unwrap();
        assert_eq!(card.design, design.id);
        assert_eq!(card.tags_found.len(), 6);
        let (cx, cy) = design.bay.centre();
        let (x, y) = place.to_photo.map(cx, cy);
        let off = (x / px_per_mm - sheet.face.x - cx).hypot(y / px_per_mm - sheet.face.y - cy);
        assert!(off < 0.05, "{}: bay off by {off} mm", design.id);
    }
}

/// An independent reader of the family reads the ids that the design names.
#[test]
fn an_outside_decoder_reads_the_markers() {
    use kornia_apriltag::{AprilTagDecoder, DecodeTagsConfig, family::TagFamilyKind};
    use kornia_image::{Image, ImageSize, allocator::CpuAllocator};

    for design in Design::all() {
        let face = image::imageops::grayscale(&face_image(&design, 8.0).unwrap());
        let size = ImageSize {
            width: face.width() as usize,
            height: face.height() as usize,
        };
        let picture = Image::<u8, 1, _>::new(size, face.into_raw(), CpuAllocator).unwrap();
        let config = DecodeTagsConfig::new(vec![TagFamilyKind::Tag36H11]).unwrap();
        let mut decoder = AprilTagDecoder::new(config, size).unwrap();
        let mut read: Vec<u32> = decoder
            .decode(&picture)
            .unwrap()
            .iter()
            .map(|d| u32::from(d.id))
            .collect();
        read.sort_unstable();
        let named: Vec<u32> = design.tags.iter().map(|t| t.id).collect();
        assert_eq!(read, named, "{}", design.id);
    }
}
