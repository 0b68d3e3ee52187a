//! A seeded spectral simulator of phone photos of a vial before the card. It shares no code with the pipeline that it
//! judges: of the project it knows only the card's layout file.
//!
//! Light x paper and ink x liquid x sensor, spectrally ([`bake`]); rays through card, vial and room ([`render`]); and a
//! phone's development of the sensor values ([`develop`]). [`population`] draws sessions and shots from seeds.
#![allow(dead_code)]

pub mod bake;
pub mod camera;
pub mod develop;
pub mod dye;
pub mod layout;
pub mod light;
pub mod population;
pub mod plain;
pub mod pose;
pub mod print;
pub mod render;
pub mod seed;
pub mod spectra;
pub mod tag;
pub mod vial;

pub use layout::Layout;
pub use population::{Foul, Session};

/// A point or direction of the scene, mm.
pub type Vec3 = nalgebra::Vector3<f64>;

/// What kind of thing lies over the card.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CoverKind {
    Finger,
    Sheet,
}

/// A thing held in front of the card.
#[derive(Debug, Clone, PartialEq)]
pub struct Cover {
    pub kind: CoverKind,
    /// Centre on the face, mm, origin top left.
    pub at: [f64; 2],
    /// Half sizes, mm.
    pub half: [f64; 2],
    pub turn_deg: f64,
    /// Distance before the card, mm.
    pub before_mm: f64,
    /// Linear red, green, blue reflectance.
    pub colour: [f64; 3],
}

/// A thing on the wall behind the card: centre and half sizes in scene mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Clutter {
    pub at: [f64; 2],
    pub half: [f64; 2],
    pub stripes: bool,
    pub colour: [f64; 3],
}

/// What is around the vial.
#[derive(Debug, Clone, PartialEq)]
pub struct Surroundings {
    pub has_card: bool,
    /// A second card: left and top edge on the first one's face, mm, and its turn, radians.
    pub second_card: Option<[f64; 3]>,
    /// How far the edges of the face come forward, mm.
    pub bend_mm: f64,
    /// Depth of the flap in front of the fold, mm.
    pub flap_mm: f64,
    /// Distance of the wall behind, mm.
    pub wall_mm: f64,
    /// Grain of the table.
    pub grain: f64,
    /// Linear colours of table and wall.
    pub table: [f64; 3],
    pub wall: [f64; 3],
    pub clutter: Vec<Clutter>,
    pub covers: Vec<Cover>,
}

/// Everything that makes a photo.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    pub seed: u64,
    /// Width and height of the photo, pixels.
    pub size: (u32, u32),
    pub pose: pose::Pose,
    pub light: light::Light,
    pub print: print::Print,
    pub vial: Option<vial::Vial>,
    pub liquid: Option<vial::Liquid>,
    pub stand: vial::Stand,
    pub surroundings: Surroundings,
    pub phone: camera::Phone,
    pub exposure: camera::Exposure,
    /// Local time of the shot for EXIF, `YYYY:MM:DD HH:MM:SS`.
    pub taken_at: String,
}

/// What is known about a photo.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    pub concentration: Option<f64>,
    /// Corners of the face in photo pixels: top left, top right, bottom right, bottom left.
    pub face: [[f64; 2]; 4],
    /// Outlines of the vial and of its liquid.
    pub vial: Option<[[[f64; 2]; 4]; 2]>,
}

/// A finished photo.
pub struct Shot {
    pub rgb: image::RgbImage,
    pub truth: Truth,
    pub exif: Vec<u8>,
    pub icc: Option<Vec<u8>>,
    pub quality: u8,
}

impl Shot {
    /// The photo as a JPEG file with EXIF.
    pub fn jpeg(&self) -> Vec<u8> {
        use image::ImageEncoder;
        let mut out = Vec::new();
        let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut out, self.quality);
        encoder.set_exif_metadata(self.exif.clone()).expect("EXIF can be set");
        if let Some(icc) = &self.icc {
            encoder.set_icc_profile(icc.clone()).expect("a profile can be set");
        }
        encoder
            .write_image(&self.rgb, self.rgb.width(), self.rgb.height(), image::ExtendedColorType::Rgb8)
            .expect("a picture can be encoded");
        out
    }
}

/// Takes the photo of a scene.
pub fn render(scene: &Scene, card: &Layout) -> Shot {
    let camera = pose::Camera::new(&scene.pose, scene.size, scene.phone.field_deg, scene.phone.distortion, card);
    let stage = render::Stage::new(scene, card, camera);
    let (w, h) = (scene.size.0 as usize, scene.size.1 as usize);
    let sensor = stage.picture(w, h);
    let rgb = develop::develop(scene, &stage, sensor);
    let (cw, ch) = (card.width_mm, card.height_mm);
    let truth = Truth {
        concentration: scene.liquid.as_ref().map(|l| l.concentration),
        face: [stage.photo_of(0.0, 0.0), stage.photo_of(cw, 0.0), stage.photo_of(cw, ch), stage.photo_of(0.0, ch)],
        vial: stage.outlines(),
    };
    let icc = scene.phone.wide.then(|| moxcms::ColorProfile::new_display_p3().encode().expect("a profile"));
    Shot { rgb, truth, exif: develop::exif(scene), icc, quality: scene.phone.quality }
}
