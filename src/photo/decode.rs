//! From bytes to a [`Photo`].
use std::io::Cursor;

use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader};
use sha2::{Digest, Sha256};

use super::exif::{self, CaptureFacts};
use super::picture::{Picture, Samples};
use super::profile::{self, ColourSpace, Profile};
use super::sniff;
use crate::error::{Error, Result};
use crate::flag::{Flag, Severity};

/// What a photo may cost, enforced from its header before anything is allocated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Largest file, bytes.
    pub max_bytes: u64,
    /// Largest picture, pixels.
    pub max_pixels: u64,
}

impl Default for Limits {
    /// 100 MB and 120 megapixels: above what phone cameras deliver (108 megapixels).
    fn default() -> Self {
        Limits {
            max_bytes: 100_000_000,
            max_pixels: 120_000_000,
        }
    }
}

/// A decoded photo.
#[derive(Debug, Clone)]
pub struct Photo {
    /// The upright picture.
    pub picture: Picture,
    /// What the file says about its capture.
    pub facts: CaptureFacts,
    /// What was noticed while decoding.
    pub notes: Vec<Flag>,
    /// SHA-256 of the file's bytes, lower-case hexadecimal.
    pub sha256: String,
}

const PHOTO: &str = "give a JPEG, PNG, WebP or TIFF photo";
const AGAIN: &str = "copy or send the photo again in full, or take it again";

/// Decodes a photo.
///
/// # Errors
/// If the bytes are empty, too many, not a photo of a format read here, damaged or incomplete.
pub fn decode(bytes: &[u8], limits: &Limits) -> Result<Photo> {
    if bytes.is_empty() {
        return Err(Error::new("the file is empty (0 bytes)", AGAIN));
    }
    if bytes.len() as u64 > limits.max_bytes {
        return Err(Error::new(
            format!("the file has {} bytes, allowed are {}", bytes.len(), limits.max_bytes),
            "give the photo as the phone saved it",
        ));
    }
    let mut notes = Vec::new();
    let format = known_format(bytes)?;
    if format == ImageFormat::Jpeg {
        check_jpeg(bytes, &mut notes)?;
    }
    let reader = || {
        let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
        reader.no_limits();
        reader.into_decoder().map_err(|e| damaged(format, &e))
    };
    let mut decoder = reader()?;
    let (width, height) = decoder.dimensions();
    let pixels = u64::from(width) * u64::from(height);
    if pixels == 0 || pixels > limits.max_pixels {
        return Err(Error::new(
            format!("the picture is {width} x {height} pixels ({:.0} megapixels), allowed are up to {:.0}",
                pixels as f64 / 1e6, limits.max_pixels as f64 / 1e6),
            "give the photo as the phone saved it, or one of lower resolution",
        ));
    }
    let colour = decoder.color_type();
    let icc = decoder.icc_profile().ok().flatten();
    let exif_block = decoder.exif_metadata().ok().flatten();
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let mut image = DynamicImage::from_decoder(decoder).map_err(|e| damaged(format, &e))?;
    image.apply_orientation(orientation);

    let facts = match &exif_block {
        Some(block) => {
            let (facts, broken) = exif::read(block);
            if broken {
                notes.push(Flag::new(
                    "exif-damaged",
                    Severity::Note,
                    "the photo's metadata (EXIF) is damaged; what could not be read is unknown",
                    "nothing: the reading does not depend on it",
                ));
            }
            facts
        }
        None => CaptureFacts::default(),
    };
    let grey = !colour.has_color();
    let samples = samples(image, &mut notes);
    let (width, height) = (samples.1, samples.2);
    let adobe = exif_block.as_deref().is_some_and(exif::announces_adobe_rgb);
    let picture = managed(samples.0, width, height, icc.as_deref(), grey, adobe, &mut notes);
    Ok(Photo { picture, facts, notes, sha256: sha256(bytes) })
}

/// SHA-256 of bytes in lower-case hexadecimal (FIPS 180-4).
pub fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}

fn known_format(bytes: &[u8]) -> Result<ImageFormat> {
    let format = image::guess_format(bytes).ok();
    match format {
        Some(ImageFormat::Tiff) if sniff::is_dng(bytes) => {
            Err(Error::new("this is a raw camera file (DNG), which this program does not read",
                "export a JPEG or a 16-bit TIFF from the raw file"))
        }
        Some(f @ (ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP | ImageFormat::Tiff)) => Ok(f),
        _ => Err(match sniff::other_format(bytes) {
            Some((what, fix)) => Error::new(format!("this is not a photo that can be read: it is {what}"), fix),
            None => Error::new("this is not a photo: its first bytes belong to no picture format", PHOTO),
        }),
    }
}

/// A JPEG has to end with its end-of-image marker; what follows (a gain map, a depth picture) is left alone, and said.
fn check_jpeg(bytes: &[u8], notes: &mut Vec<Flag>) -> Result<()> {
    if sniff::jpeg_components(bytes) == Some(4) {
        return Err(Error::new(
            "this JPEG holds CMYK colours (for print), which do not tell what the camera saw",
            "give the photo as the phone saved it, in RGB",
        ));
    }
    match sniff::jpeg_end(bytes) {
        None => Err(Error::new("the JPEG is cut off: its end is missing", AGAIN)),
        Some(end) if bytes.len() - end > 64 && bytes[end..].iter().any(|b| *b != 0) => {
            notes.push(Flag::new(
                "more-pictures",
                Severity::Note,
                "the file carries more after its picture (a gain map, depth or a video); the base picture was read",
                "nothing: the reading uses the base picture",
            ));
            Ok(())
        }
        Some(_) => Ok(()),
    }
}

fn damaged(format: ImageFormat, error: &image::ImageError) -> Error {
    let name = format.extensions_str().first().map_or_else(String::new, |s| s.to_uppercase());
    Error::new(format!("the {name} picture is damaged or incomplete: {error}"), AGAIN)
}

/// Samples of an upright picture with its width and height; transparency is laid over white paper.
fn samples(image: DynamicImage, notes: &mut Vec<Flag>) -> (Samples, u32, u32) {
    let (width, height) = (image.width(), image.height());
    if image.color().has_alpha() {
        notes.push(Flag::new(
            "transparency",
            Severity::Note,
            "the picture has transparency, as photos from a camera do not; it was left out",
            "give the photo as the phone saved it",
        ));
    }
    let deep = image.color().bytes_per_pixel() / image.color().channel_count() > 1;
    let samples = if deep { Samples::Sixteen(image.into_rgb16().into_raw()) } else { Samples::Eight(image.into_rgb8().into_raw()) };
    (samples, width, height)
}

fn managed(
    samples: Samples,
    width: u32,
    height: u32,
    icc: Option<&[u8]>,
    grey: bool,
    adobe: bool,
    notes: &mut Vec<Flag>,
) -> Picture {
    let untagged = || if adobe { ColourSpace::adobe_rgb() } else { ColourSpace::srgb() };
    let mut unusable = |why: String| {
        notes.push(Flag::new(
            "profile-unusable",
            Severity::Doubt,
            format!("the photo's colour profile cannot be used ({why}); it was read as sRGB"),
            "give the photo as the phone saved it, not edited or converted",
        ));
    };
    let space = match icc.map(|p| profile::read(p, grey)) {
        None => untagged(),
        Some(Ok(Profile::Matrix(space))) => space,
        Some(Ok(Profile::Tables(p))) => match profile::convert(&samples, &p) {
            Ok(converted) => return Picture::new(width, height, converted, &ColourSpace::converted()),
            Err(why) => {
                unusable(why);
                ColourSpace::srgb()
            }
        },
        Some(Err(why)) => {
            unusable(why);
            ColourSpace::srgb()
        }
    };
    Picture::new(width, height, samples, &space)
}
