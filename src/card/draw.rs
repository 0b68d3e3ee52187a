//! Draws a card: the sheet to print as PDF, SVG or PNG, or its face alone as pixels.
//!
//! One drawing in millimetres, written as SVG, serves every format, so that the formats cannot differ. Never prints on the
//! areas a design keeps bare: everything that is no marker, patch or faint line of the bay stays off the face.

mod face;
mod sheet;
mod svg;
mod wording;

use std::sync::Arc;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use image::RgbImage;
use resvg::tiny_skia::{Color, Pixmap, Transform};
use svg2pdf::usvg::{self, fontdb};

use self::svg::Svg;
use super::design::Design;
use crate::error::{Error, Result};

/// The typeface of all print, "Cabin" by Pablo Impallari and Igino Marini; licence in `fonts/OFL.txt`.
const REGULAR: &[u8] = include_bytes!("fonts/Cabin-Regular.otf");
const BOLD: &[u8] = include_bytes!("fonts/Cabin-Bold.otf");

/// Millimetres per inch, by definition.
const MM_PER_INCH: f64 = 25.4;
/// Pixels per inch that CSS, and so SVG, counts with: a fixed ratio.
const CSS_DPI: f32 = 96.0;
/// Pixels per inch of the PNG: what office printers take as full quality.
const PNG_DPI: f64 = 300.0;
/// Pixels along the longer side of a face picture, at most: keeps a mistyped scale from taking all memory.
const MOST_PIXELS: f64 = 20_000.0;

/// Paper to print on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// ISO 216 A4, 210 x 297 mm.
    A4,
    /// US Letter, 8.5 x 11 inches = 215.9 x 279.4 mm.
    Letter,
}

impl Paper {
    /// Shorter and longer edge, mm.
    pub fn edges_mm(self) -> (f64, f64) {
        match self {
            Paper::A4 => (210.0, 297.0),
            Paper::Letter => (215.9, 279.4),
        }
    }
}

/// File format of a drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// One page of exact size, text embedded.
    Pdf,
    /// Width, height and coordinates in millimetres, typeface embedded.
    Svg,
    /// 300 pixels per inch, with that resolution in the file.
    Png,
}

/// The sheet to print, as the bytes of a file.
///
/// The upright cards lie across the paper, the flat ones along it; everything keeps 6 mm off the paper's edges.
///
/// # Errors
/// If the design fails [`Design::check`], is too large for the paper, or the drawing cannot be made into the format.
pub fn draw(design: &Design, paper: Paper, format: Format) -> Result<Vec<u8>> {
    design.check()?;
    let drawing = sheet::sheet(design, paper)?;
    match format {
        Format::Svg => Ok(drawing.finish(&typeface_style()).into_bytes()),
        Format::Pdf => pdf(&tree(&drawing)?),
        Format::Png => png(&drawing),
    }
}

/// The printed face alone on white, `px_per_mm` pixels to a millimetre; the face's top left corner is the picture's.
///
/// # Errors
/// If the design fails [`Design::check`], or the picture would have no pixel or more than 20,000 along a side.
pub fn face_image(design: &Design, px_per_mm: f64) -> Result<RgbImage> {
    design.check()?;
    let (w, h) = (
        (design.width_mm * px_per_mm).round(),
        (design.height_mm * px_per_mm).round(),
    );
    if !(w.min(h) >= 1.0 && w.max(h) <= MOST_PIXELS) {
        return Err(Error::new(
            format!("{px_per_mm} pixels per millimetre make a face of {w} x {h} pixels"),
            format!("choose a scale that gives 1 to {MOST_PIXELS} pixels along each side"),
        ));
    }
    let mut drawing = Svg::new(design.width_mm, design.height_mm);
    face::face(&mut drawing, design, 0.0, 0.0)?;
    render(&drawing, px_per_mm, w as u32, h as u32)
}

/// The embedded typeface for programs that read the SVG; our own renderer is handed the files instead.
fn typeface_style() -> String {
    let face = |weight: &str, file: &[u8]| {
        format!(
            "@font-face{{font-family:'Cabin';font-weight:{weight};src:url(data:font/otf;base64,{}) format('opentype')}}",
            BASE64.encode(file)
        )
    };
    format!(
        "<style>{}{}</style>\n",
        face("normal", REGULAR),
        face("bold", BOLD)
    )
}

/// The drawing as the renderer's tree. Reads no typeface from the system: the same print everywhere.
fn tree(drawing: &Svg) -> Result<usvg::Tree> {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(REGULAR.to_vec());
    fonts.load_font_data(BOLD.to_vec());
    let options = usvg::Options {
        dpi: CSS_DPI,
        font_family: svg::TYPEFACE.to_owned(),
        fontdb: Arc::new(fonts),
        ..Default::default()
    };
    usvg::Tree::from_str(&drawing.finish(""), &options).map_err(|e| cannot("be laid out", e))
}

fn pdf(tree: &usvg::Tree) -> Result<Vec<u8>> {
    let page = svg2pdf::PageOptions { dpi: CSS_DPI };
    svg2pdf::to_pdf(tree, svg2pdf::ConversionOptions::default(), page)
        .map_err(|e| cannot("be written as PDF", e))
}

fn png(drawing: &Svg) -> Result<Vec<u8>> {
    let px_per_mm = PNG_DPI / MM_PER_INCH;
    let w = (drawing.width_mm * px_per_mm).round() as u32;
    let h = (drawing.height_mm * px_per_mm).round() as u32;
    let picture = render(drawing, px_per_mm, w, h)?;

    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, w, h);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
    let per_metre = (px_per_mm * 1000.0).round() as u32;
    encoder.set_pixel_dims(Some(png::PixelDimensions {
        xppu: per_metre,
        yppu: per_metre,
        unit: png::Unit::Meter,
    }));
    let mut writer = encoder
        .write_header()
        .map_err(|e| cannot("be written as PNG", e))?;
    writer
        .write_image_data(picture.as_raw())
        .map_err(|e| cannot("be written as PNG", e))?;
    writer
        .finish()
        .map_err(|e| cannot("be written as PNG", e))?;
    Ok(bytes)
}

/// The drawing on white, `w` x `h` pixels.
fn render(drawing: &Svg, px_per_mm: f64, w: u32, h: u32) -> Result<RgbImage> {
    let mut pixels = Pixmap::new(w, h).ok_or_else(|| cannot("be made into pixels", "no memory"))?;
    pixels.fill(Color::WHITE);
    let css_px_per_mm = f64::from(CSS_DPI) / MM_PER_INCH;
    let scale = (px_per_mm / css_px_per_mm) as f32;
    resvg::render(
        &tree(drawing)?,
        Transform::from_scale(scale, scale),
        &mut pixels.as_mut(),
    );
    let rgb = pixels
        .pixels()
        .iter()
        .flat_map(|p| [p.red(), p.green(), p.blue()])
        .collect();
    RgbImage::from_raw(w, h, rgb)
        .ok_or_else(|| cannot("be made into pixels", "a wrong number of them"))
}

fn cannot(step: &str, why: impl std::fmt::Display) -> Error {
    Error::new(
        format!("the drawing cannot {step}: {why}"),
        "try another format",
    )
}

#[cfg(test)]
mod tests;
