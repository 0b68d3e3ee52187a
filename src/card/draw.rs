//! Draws the card to be printed: one drawing in millimetres, written as PDF, SVG or PNG.
//!
//! The drawing is built once as SVG text whose user unit is the millimetre; PDF and PNG are made from that same drawing
//! (`svg2pdf`, `resvg`), so all three agree. The typeface is built in; none of the system's is used. In the PDF it is
//! embedded as text; in the SVG letters are outlines, so that every viewer shows the same.
//!
//! Never prints on anything that a design names as bare paper. Shape and colours come from [`super::design`], the cells
//! of the markers from [`super::find::family`].

mod face;
mod foot;
mod pen;
mod sheet;
mod words;

use std::sync::Arc;

use image::RgbImage;
use resvg::{tiny_skia, usvg};

use super::design::Design;
use crate::error::{Error, Result};

/// Millimetres in an inch, by definition.
const MM_PER_INCH: f64 = 25.4;

/// Dots per inch of a PNG made by [`draw`]: usual for printing; a cell of a marker is then 26 dots wide.
pub const PNG_DPI: f64 = 300.0;

/// Longest side of a picture, pixels: Letter at 900 dots per inch, 300 megabytes while drawing.
const MAX_SIDE: f64 = 10_000.0;

/// A sheet of paper; the drawing keeps to its printable area.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// ISO 216 A4, 210 x 297 mm.
    A4,
    /// US Letter, 8.5 x 11 inches, 215.9 x 279.4 mm.
    Letter,
}

impl Paper {
    /// Short and long side, mm.
    pub fn size_mm(self) -> (f64, f64) {
        match self {
            Paper::A4 => (210.0, 297.0),
            Paper::Letter => (8.5 * MM_PER_INCH, 11.0 * MM_PER_INCH),
        }
    }
}

/// What the drawing is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// One page of exactly the paper's size.
    Pdf,
    /// Width and height in mm, view box in mm, letters as outlines.
    Svg,
    /// Opaque RGB at [`PNG_DPI`], with that resolution noted in the file.
    Png,
}

/// The sheet to print for a design, with fold and cut lines, foot mark, scale bar and instructions, as a file's bytes.
///
/// # Errors
/// If the design breaks a rule of [`Design::check`] or does not fit on the paper.
pub fn draw(design: &Design, paper: Paper, format: Format) -> Result<Vec<u8>> {
    match format {
        Format::Png => draw_png(design, paper, PNG_DPI),
        Format::Pdf => {
            let tree = parse(&sheet::svg(design, paper)?)?;
            // One user unit is a millimetre.
            let page = svg2pdf::PageOptions {
                dpi: MM_PER_INCH as f32,
            };
            svg2pdf::to_pdf(&tree, svg2pdf::ConversionOptions::default(), page)
                .map_err(|e| undrawn(&e))
        }
        Format::Svg => Ok(outlined(&parse(&sheet::svg(design, paper)?)?).into_bytes()),
    }
}

/// The sheet as a PNG of `dpi` dots per inch.
///
/// # Errors
/// As [`draw`]; also if the picture would be empty or longer than 10,000 pixels.
pub fn draw_png(design: &Design, paper: Paper, dpi: f64) -> Result<Vec<u8>> {
    let tree = parse(&sheet::svg(design, paper)?)?;
    let picture = render(&tree, dpi / MM_PER_INCH)?;
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, picture.width(), picture.height());
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let per_metre = (dpi / MM_PER_INCH * 1000.0).round() as u32;
    encoder.set_pixel_dims(Some(png::PixelDimensions {
        xppu: per_metre,
        yppu: per_metre,
        unit: png::Unit::Meter,
    }));
    encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
    let mut writer = encoder.write_header().map_err(|e| undrawn(&e))?;
    writer
        .write_image_data(picture.as_raw())
        .map_err(|e| undrawn(&e))?;
    writer.finish().map_err(|e| undrawn(&e))?;
    Ok(bytes)
}

/// The face alone, without folds and words, `px_per_mm` pixels to a millimetre, in sRGB codes on white.
///
/// # Errors
/// If the design breaks a rule of [`Design::check`], or the picture would be empty or longer than 10,000 pixels.
pub fn face_image(design: &Design, px_per_mm: f64) -> Result<RgbImage> {
    design.check()?;
    let mut pen = pen::Pen::default();
    face::draw(design, &mut pen);
    render(
        &parse(&pen.svg(design.width_mm, design.height_mm))?,
        px_per_mm,
    )
}

/// The drawing with the built-in typeface.
fn parse(svg: &str) -> Result<usvg::Tree> {
    let mut fonts = usvg::fontdb::Database::new();
    fonts.load_font_data(include_bytes!("fonts/OpenSans-Regular.ttf").to_vec());
    fonts.load_font_data(include_bytes!("fonts/OpenSans-Semibold.ttf").to_vec());
    let options = usvg::Options {
        fontdb: Arc::new(fonts),
        ..Default::default()
    };
    usvg::Tree::from_str(svg, &options).map_err(|e| undrawn(&e))
}

/// The drawing on white.
fn render(tree: &usvg::Tree, px_per_mm: f64) -> Result<RgbImage> {
    let size = tree.size();
    let pixels = |mm: f32| (f64::from(mm) * px_per_mm).round();
    let (width, height) = (pixels(size.width()), pixels(size.height()));
    let fits = width >= 1.0 && height >= 1.0 && width.max(height) <= MAX_SIDE;
    let pixmap = if fits {
        tiny_skia::Pixmap::new(width as u32, height as u32)
    } else {
        None
    };
    let Some(mut pixmap) = pixmap else {
        return Err(Error::new(
            format!(
                "a picture of {width} x {height} pixels cannot be drawn (1 to {MAX_SIDE} pixels a side)"
            ),
            "choose another resolution; 300 dots per inch is usual for printing",
        ));
    };
    pixmap.fill(tiny_skia::Color::WHITE);
    let scale = tiny_skia::Transform::from_scale(px_per_mm as f32, px_per_mm as f32);
    resvg::render(tree, scale, &mut pixmap.as_mut());
    // On a white ground every pixel is opaque, so its premultiplied codes are its codes.
    let pixel = |x, y| {
        pixmap
            .pixel(x, y)
            .map_or([255; 3], |p| [p.red(), p.green(), p.blue()])
    };
    Ok(RgbImage::from_fn(
        pixmap.width(),
        pixmap.height(),
        |x, y| image::Rgb(pixel(x, y)),
    ))
}

/// The drawing as SVG with letters as outlines, its size given in millimetres.
fn outlined(tree: &usvg::Tree) -> String {
    // A ten-thousandth of a millimetre is far below any printer's dot.
    let options = usvg::WriteOptions {
        coordinates_precision: 4,
        transforms_precision: 6,
        ..Default::default()
    };
    let plain = tree.to_string(&options);
    let (width, height) = (tree.size().width(), tree.size().height());
    // The writer knows pixels only; the first tag is the place that says how large a pixel is.
    plain.replacen(
        &format!("width=\"{width}\" height=\"{height}\""),
        &format!("width=\"{width}mm\" height=\"{height}mm\" viewBox=\"0 0 {width} {height}\""),
        1,
    )
}

/// A failure of the drawing libraries, which a design that passed its check does not provoke.
fn undrawn(e: &dyn std::fmt::Display) -> Error {
    Error::new(
        format!("the card could not be drawn: {e}"),
        "please report this with the command that was given",
    )
}

#[cfg(test)]
mod tests;
