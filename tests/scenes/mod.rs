//! Seeded spectral scenes: phone photos of a test vial before the card, with known truth. They judge the reader.
//!
//! Light (CIE illuminants) falls on modelled paper, ink and a dyed liquid; rays go through the vial by Snell's and Fresnel's
//! laws; a camera's sensitivities, colour matrix and developing make the picture; JPEG and EXIF make the file. Everything is
//! drawn from seeds: the same scene gives the same bytes, whatever the number of threads.
//!
//! It shares no code with the crate it tests: even the card is read from its layout file. It never looks at what a reader
//! would find easy.
//!
//! ```text
//! let card = Layout::from_json(&std::fs::read_to_string("calibration/card-side.json")?);
//! let session = Session::new(7, Series::Pink);          // phone, light, print, vial
//! let scene = session.own(10.0, 1);                     // mg/L, seed of the shot
//! let shot = render(&scene, &card);                     // shot.rgb, shot.truth, shot.jpeg()
//! ```

// Every test binary that includes this tree uses its own part of it.
#![allow(dead_code, unused_imports)]

pub mod bake;
pub mod camera;
pub mod develop;
pub mod dye;
pub mod file;
pub mod foul;
pub mod layout;
pub mod light;
pub mod plain;
pub mod population;
pub mod pose;
pub mod print;
pub mod render;
pub mod seed;
pub mod spectra;
pub mod srgb;
pub mod tag;
pub mod through;
pub mod vial;

pub use camera::{Exposure, Phone};
pub use dye::{Dye, Series};
pub use file::Capture;
pub use foul::Foul;
pub use layout::Layout;
pub use light::Light;
pub use population::Session;
pub use pose::Pose;
pub use print::Print;
pub use vial::{Liquid, Stand, Vial};

/// A point or direction of the scene, mm (see [`pose`] for the axes).
pub type Vec3 = nalgebra::Vector3<f64>;

/// Everything that makes one photo.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// Seed of noise and small accidents.
    pub seed: u64,
    /// Width and height of the upright photo, pixels.
    pub size: (u32, u32),
    pub pose: Pose,
    pub stand: Stand,
    /// No vial: an empty bay.
    pub vial: Option<Vial>,
    /// No liquid: an empty vial.
    pub liquid: Option<Liquid>,
    pub light: Light,
    pub print: Print,
    pub phone: Phone,
    pub exposure: Exposure,
    pub surroundings: Surroundings,
    pub capture: Capture,
}

/// What else is in view.
#[derive(Debug, Clone, PartialEq)]
pub struct Surroundings {
    pub has_card: bool,
    /// Length of the card's flap on the table, mm.
    pub flap_mm: f64,
    /// How far the card's side edges come forward of its middle, mm; negative bends back.
    pub bend_mm: f64,
    /// A second card in the plane of the first: its top left corner on the first one's face (mm) and turn (degrees).
    pub second_card: Option<[f64; 3]>,
    /// Linear red, green and blue of table and wall, and the table's grain (share).
    pub table: [f64; 3],
    pub grain: f64,
    pub wall: [f64; 3],
    /// Where the table ends towards the viewer, mm before the card.
    pub table_mm: f64,
    /// Distance of the wall behind the card, mm.
    pub wall_mm: f64,
    pub clutter: Vec<Clutter>,
    pub covers: Vec<Cover>,
}

/// A thing at the wall.
#[derive(Debug, Clone, PartialEq)]
pub struct Clutter {
    /// Middle and half size at the wall, scene mm.
    pub at: [f64; 2],
    pub half: [f64; 2],
    pub colour: [f64; 3],
    pub stripes: bool,
}

/// A thing in front of the card.
#[derive(Debug, Clone, PartialEq)]
pub struct Cover {
    pub kind: CoverKind,
    /// Middle on the card's face, mm from its top left corner; half sizes; turn.
    pub at: [f64; 2],
    pub half: [f64; 2],
    pub turn_deg: f64,
    pub before_mm: f64,
    pub colour: [f64; 3],
}

/// Sorts of covers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CoverKind {
    /// A finger whose tip is at the end of negative local height.
    Finger,
    /// A flat box or sheet.
    Sheet,
}

/// What is known of a photo.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// Concentration, mg/L; none without liquid.
    pub concentration: Option<f64>,
    /// Corners of the card's face in photo pixels: top left, top right, bottom right, bottom left.
    pub face: [[f64; 2]; 4],
    /// Outlines of the vial (with its cap) and of the liquid inside the walls, corners in the same order.
    pub vial: Option<[[[f64; 2]; 4]; 2]>,
}

/// Where the card lies in the photo and how it is lit, in full.
#[derive(Debug, Clone, PartialEq)]
pub struct Geometry {
    /// Corners of each marker's black square in the photo, from its top left clockwise.
    pub tags: Vec<(u32, [[f64; 2]; 4])>,
    /// Card millimetres (origin top left, y down) to photo pixels (centres at integer + 0.5) for a flat card and a lens
    /// without distortion.
    pub homography: [[f64; 3]; 3],
    /// Light on bare paper over the face relative to the face's middle: x, y in mm; red, green, blue of the sensor.
    pub light: Vec<([f64; 2], [f64; 3])>,
}

/// A photo and the truth about it.
pub struct Shot {
    /// The upright picture in the phone's output space, before the JPEG.
    pub rgb: image::RgbImage,
    pub truth: Truth,
    pub geometry: Geometry,
    /// The EXIF block and, from phones that work in Display P3, its profile.
    pub exif: Vec<u8>,
    pub icc: Option<Vec<u8>>,
    quality: u8,
    orientation: u16,
}

impl Shot {
    /// The file as the phone saves it.
    pub fn jpeg(&self) -> Vec<u8> {
        self.jpeg_at(self.quality)
    }

    /// The file at a given JPEG quality.
    pub fn jpeg_at(&self, quality: u8) -> Vec<u8> {
        file::jpeg(
            &self.rgb,
            quality,
            self.orientation,
            self.exif.clone(),
            self.icc.clone(),
        )
    }
}

/// Makes the photo.
pub fn render(scene: &Scene, card: &Layout) -> Shot {
    let camera = pose::Camera::new(
        &scene.pose,
        scene.size,
        scene.phone.field_deg,
        scene.phone.distortion,
        card,
    );
    let homography = camera.card_to_photo(card.height_mm);
    let stage = render::Stage::new(scene, card, camera);
    let (width, height) = (scene.size.0 as usize, scene.size.1 as usize);
    let film = develop::Film {
        width,
        height,
        px: stage.picture(width, height),
    };
    let (w, h) = (card.width_mm, card.height_mm);
    let middle = stage.paper_at(w / 2.0, h / 2.0);
    let truth_light = (0..35)
        .map(|i| {
            let (x, y) = (f64::from(i % 7) / 6.0 * w, f64::from(i / 7) / 4.0 * h);
            let here = stage.paper_at(x, y);
            (
                [x, y],
                std::array::from_fn(|c| here[c] / middle[c].max(1e-9)),
            )
        })
        .collect();
    // Phones meter and balance on the whole view, here on the mean over the face.
    let over = |s: usize| -> f64 {
        let at = |i: i32| Vec3::new(f64::from(i % 7) / 6.0 * w, f64::from(i / 7) / 4.0 * h, 0.0);
        (0..35).map(|i| stage.fields[s].at(&at(i)) / 35.0).sum()
    };
    let weights: Vec<f64> = (0..scene.light.sources.len()).map(over).collect();
    let mixed: spectra::Spectrum = std::array::from_fn(|i| {
        scene
            .light
            .sources
            .iter()
            .zip(&weights)
            .map(|(s, w)| s.spd[i] * w)
            .sum()
    });
    let mut metered = [0.0; 3];
    for i in 0..35 {
        let here = stage.paper_at(f64::from(i % 7) / 6.0 * w, f64::from(i / 7) / 4.0 * h);
        for c in 0..3 {
            metered[c] += here[c] / 35.0;
        }
    }
    let rgb = develop::develop(
        film,
        &scene.phone,
        &scene.exposure,
        &mixed,
        metered,
        scene.seed,
    );
    let corners = |x: f64, y: f64, w: f64, h: f64| {
        [[x, y], [x + w, y], [x + w, y + h], [x, y + h]].map(|[x, y]| stage.photo_of(x, y))
    };
    let truth = Truth {
        concentration: scene.liquid.as_ref().map(|l| l.concentration),
        face: corners(0.0, 0.0, w, h),
        vial: stage.outlines(),
    };
    let geometry = Geometry {
        tags: card
            .tags
            .iter()
            .map(|t| (t.id, corners(t.x, t.y, t.size, t.size)))
            .collect(),
        homography,
        light: truth_light,
    };
    let iso = (50.0 * scene.exposure.gain).round() as u16;
    let exif = file::exif(&scene.capture, &scene.phone.name, iso, scene.exposure.flash);
    let icc = scene.phone.wide.then(|| {
        moxcms::ColorProfile::new_display_p3()
            .encode()
            .expect("a known profile")
    });
    Shot {
        rgb,
        truth,
        geometry,
        exif,
        icc,
        quality: scene.phone.quality,
        orientation: scene.capture.orientation,
    }
}
