//! A picture of where the program looked: the photo with outlines, and beside it the vial's corrected colour next to the
//! steps of the chart. For eyes only; nothing is measured on it.

mod panel;

use image::RgbImage;
use resvg::{tiny_skia, usvg};

use crate::card::design::Design;
use crate::chart::Chart;
use crate::error::{Error, Result};
use crate::flag::Checked;
use crate::photo::Picture;
use crate::place::{Area, Homography};
use crate::reading::{Reading, Seen};
use crate::report::svg::{Drawing, jpeg, png};
use crate::vial::Found;
use crate::vial::above::Disc;

/// Longest side of the photo in the overlay, pixels: outlines stay sharp on a screen, the file stays small.
const LONGEST: u32 = 1600;
/// Least height of the whole, so that the panel has room beside a wide photo.
const LEAST_HEIGHT: u32 = 900;

/// What is outlined, and how. The colours are far from each other and from most vials; the legend names them.
pub(super) const CARD: &str = "#2d8cff";
pub(super) const PATCHES: &str = "#ffb000";
pub(super) const WHITE: &str = "#ffffff";
pub(super) const VIAL: &str = "#ff4fb0";
pub(super) const LIQUID: &str = "#22e0a0";

/// The overlay of one reading as a PNG.
///
/// # Errors
/// If the picture cannot be drawn.
pub fn draw(
    picture: &Picture,
    photo: &str,
    seen: &Seen,
    reading: &Checked<Reading>,
    chart: &Chart,
) -> Result<Vec<u8>> {
    let small = reduced(picture.srgb8(), LONGEST);
    let (width, height) = (
        small.width() + panel::WIDTH,
        small.height().max(LEAST_HEIGHT),
    );
    let mut drawing = Drawing::new(width, height);
    let scale = f64::from(small.width()) / f64::from(picture.width());
    let whole = View {
        left: 0.0,
        top: 0.0,
        scale,
    };
    outlines(&mut drawing, seen, &whole);
    let corner = (f64::from(small.width()), f64::from(height));
    panel::draw(
        &mut drawing,
        corner,
        photo,
        reading,
        chart,
        seen.look.place.card.is_some(),
    );
    let canvas = painted(&small, &drawing, width, height)?;
    png(&canvas).ok_or_else(undrawn)
}

/// A small picture of where it looked, as a JPEG of about 40 kilobytes: the card, or the regions marked by hand, with the
/// outlines of [`draw`].
///
/// # Errors
/// If the picture cannot be drawn.
pub fn small(picture: &Picture, seen: &Seen) -> Result<Vec<u8>> {
    let full = picture.srgb8();
    let part = surroundings(seen, full.width(), full.height());
    let crop = image::imageops::crop_imm(&full, part.0, part.1, part.2, part.3).to_image();
    let small = reduced(crop, SMALL);
    let view = View {
        left: f64::from(part.0),
        top: f64::from(part.1),
        scale: f64::from(small.width()) / f64::from(part.2),
    };
    let mut drawing = Drawing::new(small.width(), small.height());
    outlines(&mut drawing, seen, &view);
    let canvas = painted(&small, &drawing, small.width(), small.height())?;
    jpeg(&canvas, QUALITY).ok_or_else(undrawn)
}

/// Longest side of a [`small`] picture, pixels, and its quality: an outline shows, and a year of weekly photos is two megabytes.
const SMALL: u32 = 480;
const QUALITY: u8 = 80;

/// What is around the card, or around all regions, with a little more: left, top, width and height in pixels.
fn surroundings(seen: &Seen, width: u32, height: u32) -> (u32, u32, u32, u32) {
    let place = &seen.look.place;
    let whole = View {
        left: 0.0,
        top: 0.0,
        scale: 1.0,
    };
    let mut areas = vec![place.white, seen.look.liquid];
    if let Some(design) = place.card.as_ref().and_then(|c| Design::by_id(&c.design)) {
        areas.push(Area {
            x: 0.0,
            y: 0.0,
            w: design.width_mm,
            h: design.height_mm,
        });
    }
    let points: Vec<(f64, f64)> = areas
        .iter()
        .flat_map(|a| corners(&place.to_photo, a, &whole))
        .collect();
    let ends = |of: fn(&(f64, f64)) -> f64, most: u32| {
        let low = points.iter().map(of).fold(f64::INFINITY, f64::min);
        let high = points.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
        let more = 0.08 * (high - low);
        // A cast keeps within the range of the type, whatever the number.
        let from = ((low - more) as u32).min(most.saturating_sub(1));
        let to = ((high + more) as u32).clamp(from + 1, most);
        (from, to - from)
    };
    let ((x, w), (y, h)) = (ends(|p| p.0, width), ends(|p| p.1, height));
    (x, y, w, h)
}

fn painted(photo: &RgbImage, drawing: &Drawing, w: u32, h: u32) -> Result<tiny_skia::Pixmap> {
    let mut canvas = canvas(photo, w, h).ok_or_else(undrawn)?;
    resvg::render(
        &drawing.tree().ok_or_else(undrawn)?,
        usvg::Transform::identity(),
        &mut canvas.as_mut(),
    );
    Ok(canvas)
}

fn undrawn() -> Error {
    Error::new(
        "the overlay cannot be drawn",
        "read the photo without --overlay",
    )
}

fn reduced(full: RgbImage, most: u32) -> RgbImage {
    let (w, h) = full.dimensions();
    let longest = w.max(h);
    if longest <= most {
        return full;
    }
    let side = |v: u32| (u64::from(v) * u64::from(most) / u64::from(longest)).max(1) as u32;
    image::imageops::thumbnail(&full, side(w), side(h))
}

/// The part of the photo that is drawn: where it begins, in pixels of the photo, and pixels of the drawing for one of it.
struct View {
    left: f64,
    top: f64,
    scale: f64,
}

impl View {
    fn map(&self, (x, y): (f64, f64)) -> (f64, f64) {
        ((x - self.left) * self.scale, (y - self.top) * self.scale)
    }
}

/// The photo on a neutral ground, which does not colour the eye.
fn canvas(photo: &RgbImage, width: u32, height: u32) -> Option<tiny_skia::Pixmap> {
    let mut canvas = tiny_skia::Pixmap::new(width, height)?;
    canvas.fill(tiny_skia::Color::from_rgba8(236, 236, 236, 255));
    let row = 4 * width as usize;
    for (x, y, p) in photo.enumerate_pixels() {
        let at = y as usize * row + 4 * x as usize;
        canvas.data_mut()[at..at + 3].copy_from_slice(&p.0);
    }
    Some(canvas)
}

fn outlines(drawing: &mut Drawing, seen: &Seen, view: &View) {
    let look = &seen.look;
    let place = &look.place;
    let corners = |a: &Area| corners(&place.to_photo, a, view);
    for kept in &seen.sampled.kept {
        drawing.filled(&corners(kept), LIQUID, 0.35);
    }
    if let Some(design) = place.card.as_ref().and_then(|c| Design::by_id(&c.design)) {
        drawing.outline(
            &corners(&Area {
                x: 0.0,
                y: 0.0,
                w: design.width_mm,
                h: design.height_mm,
            }),
            CARD,
        );
        for tag in &design.tags {
            drawing.outline(&corners(&tag.area()), CARD);
        }
    }
    for patch in &place.patches {
        drawing.outline(&corners(&patch.area), PATCHES);
    }
    drawing.outline(&corners(&place.white), WHITE);
    match &look.vial {
        Some(Found::Standing(vial)) => {
            let bay = look.bay.area;
            let [a, b, c, d] = corners(&Area {
                x: vial.left,
                y: bay.y,
                w: vial.width(),
                h: bay.h,
            });
            // Its sides only: where glass or cap end is not looked for.
            drawing.outline(&[a, d], VIAL);
            drawing.outline(&[b, c], VIAL);
            drawing.outline(&corners(&look.liquid), LIQUID);
        }
        Some(Found::Open(vial)) => {
            drawing.outline(&around(&place.to_photo, &vial.mouth, view), VIAL);
            drawing.outline(&around(&place.to_photo, &vial.liquid, view), LIQUID);
        }
        None => drawing.outline(&corners(&look.liquid), LIQUID),
    }
}

/// A circle as a polygon that the eye takes for one.
fn around(to_photo: &Homography, disc: &Disc, view: &View) -> Vec<(f64, f64)> {
    const SIDES: usize = 72;
    (0..SIDES)
        .map(|k| {
            let (s, c) = (std::f64::consts::TAU * k as f64 / SIDES as f64).sin_cos();
            view.map(to_photo.map(disc.x + disc.r * c, disc.y + disc.r * s))
        })
        .collect()
}

fn corners(to_photo: &Homography, a: &Area, view: &View) -> [(f64, f64); 4] {
    [
        (a.x, a.y),
        (a.x + a.w, a.y),
        (a.x + a.w, a.y + a.h),
        (a.x, a.y + a.h),
    ]
    .map(|(x, y)| view.map(to_photo.map(x, y)))
}
