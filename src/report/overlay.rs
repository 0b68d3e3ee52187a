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
use crate::report::svg::{Drawing, png};
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
    let small = reduced(picture);
    let (width, height) = (
        small.width() + panel::WIDTH,
        small.height().max(LEAST_HEIGHT),
    );
    let mut drawing = Drawing::new(width, height);
    let scale = f64::from(small.width()) / f64::from(picture.width());
    outlines(&mut drawing, seen, scale);
    let corner = (f64::from(small.width()), f64::from(height));
    panel::draw(
        &mut drawing,
        corner,
        photo,
        reading,
        chart,
        seen.look.place.card.is_some(),
    );
    let mut canvas = canvas(&small, width, height).ok_or_else(undrawn)?;
    resvg::render(
        &drawing.tree().ok_or_else(undrawn)?,
        usvg::Transform::identity(),
        &mut canvas.as_mut(),
    );
    png(&canvas).ok_or_else(undrawn)
}

fn undrawn() -> Error {
    Error::new(
        "the overlay cannot be drawn",
        "read the photo without --overlay",
    )
}

fn reduced(picture: &Picture) -> RgbImage {
    let full = picture.srgb8();
    let (w, h) = full.dimensions();
    let longest = w.max(h);
    if longest <= LONGEST {
        return full;
    }
    let side = |v: u32| (u64::from(v) * u64::from(LONGEST) / u64::from(longest)).max(1) as u32;
    image::imageops::thumbnail(&full, side(w), side(h))
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

fn outlines(drawing: &mut Drawing, seen: &Seen, scale: f64) {
    let look = &seen.look;
    let place = &look.place;
    let corners = |a: &Area| corners(&place.to_photo, a, scale);
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
            drawing.outline(&around(&place.to_photo, &vial.mouth, scale), VIAL);
            drawing.outline(&around(&place.to_photo, &vial.liquid, scale), LIQUID);
        }
        None => drawing.outline(&corners(&look.liquid), LIQUID),
    }
}

/// A circle as a polygon that the eye takes for one.
fn around(to_photo: &Homography, disc: &Disc, scale: f64) -> Vec<(f64, f64)> {
    const SIDES: usize = 72;
    (0..SIDES)
        .map(|k| {
            let (s, c) = (std::f64::consts::TAU * k as f64 / SIDES as f64).sin_cos();
            let (x, y) = to_photo.map(disc.x + disc.r * c, disc.y + disc.r * s);
            (x * scale, y * scale)
        })
        .collect()
}

fn corners(to_photo: &Homography, a: &Area, scale: f64) -> [(f64, f64); 4] {
    [
        (a.x, a.y),
        (a.x + a.w, a.y),
        (a.x + a.w, a.y + a.h),
        (a.x, a.y + a.h),
    ]
    .map(|(x, y)| {
        let (px, py) = to_photo.map(x, y);
        (px * scale, py * scale)
    })
}
