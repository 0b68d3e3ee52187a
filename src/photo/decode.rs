//! From bytes to a [`Photo`]: format, limits, decoding, orientation, colour space, facts.
//!
//! JPEG goes through [`super::jpeg`]; the other formats through the decoders of the `image` crate.

use std::io::Cursor;

use image::codecs::{png::PngDecoder, tiff::TiffDecoder, webp::WebPDecoder};
use image::metadata::Orientation;
use image::{DynamicImage, ExtendedColorType, GrayImage, ImageDecoder, ImageFormat, RgbImage};
use sha2::{Digest, Sha256};

use super::exif::{self, CaptureFacts};
use super::jpeg;
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
const AS_SAVED: &str = "give the photo as the phone saved it";

/// What a decoder leaves: the picture as stored, and the metadata blocks beside it.
struct Decoded {
    image: DynamicImage,
    icc: Option<Vec<u8>>,
    /// Primaries and transfer as code points of ITU-T H.273.
    coded: Option<(u8, u8)>,
    exif: Option<Vec<u8>>,
    orientation: Orientation,
}

/// Formats read here.
enum Format {
    Jpeg,
    #[cfg(feature = "heic")]
    Heif,
    Other(ImageFormat),
}

/// Decodes a photo.
///
/// # Errors
/// If the bytes are empty, too many, not a photo of a format read here, damaged or incomplete, or in colours that do not
/// tell what the camera saw (CMYK).
pub fn decode(bytes: &[u8], limits: &Limits) -> Result<Photo> {
    if bytes.is_empty() {
        return Err(Error::new("the file is empty (0 bytes)", AGAIN));
    }
    if bytes.len() as u64 > limits.max_bytes {
        return Err(Error::new(
            format!(
                "the file has {} bytes, allowed are {}",
                bytes.len(),
                limits.max_bytes
            ),
            AS_SAVED,
        ));
    }
    let mut notes = Vec::new();
    let mut decoded = match known_format(bytes)? {
        Format::Jpeg => from_jpeg(bytes, limits, &mut notes)?,
        #[cfg(feature = "heic")]
        Format::Heif => from_heif(bytes, limits, &mut notes)?,
        Format::Other(format) => from_other(bytes, format, limits, &mut notes)?,
    };
    decoded.image.apply_orientation(decoded.orientation);

    let (mut facts, mut adobe) = (CaptureFacts::default(), false);
    if let Some(block) = &decoded.exif {
        let read = exif::read(block);
        (facts, adobe) = (read.facts, read.announces_adobe_rgb);
        if read.damaged {
            notes.push(Flag::new(
                "exif-damaged",
                Severity::Note,
                "the photo's metadata (EXIF) is damaged; what could not be read is unknown",
                "nothing: the colours do not depend on it",
            ));
        }
    }
    let grey = !decoded.image.color().has_color();
    let (width, height) = (decoded.image.width(), decoded.image.height());
    let space = space(&decoded, grey, adobe);
    let samples = samples(decoded.image, &mut notes);
    let picture = managed(samples, width, height, space, &mut notes);
    Ok(Photo {
        picture,
        facts,
        notes,
        sha256: sha256(bytes),
    })
}

/// Whether the end of a photo is missing, as while it is being copied. `false` where the format does not tell (TIFF, HEIF).
pub fn is_cut_off(bytes: &[u8]) -> bool {
    match image::guess_format(bytes) {
        Ok(ImageFormat::Jpeg) => jpeg::layout(bytes).is_none_or(|l| l.end.is_none()),
        Ok(ImageFormat::Png) => !sniff::png_has_end(bytes),
        Ok(ImageFormat::WebP) => sniff::webp_is_cut(bytes),
        _ => bytes.is_empty(),
    }
}

/// SHA-256 of bytes in lower-case hexadecimal (FIPS 180-4).
pub fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect()
}

fn known_format(bytes: &[u8]) -> Result<Format> {
    #[cfg(feature = "heic")]
    if sniff::is_heif(bytes) {
        return Ok(Format::Heif);
    }
    match image::guess_format(bytes) {
        Ok(ImageFormat::Tiff) if sniff::is_raw(bytes) => Err(Error::new(
            "this is a raw camera file (such as DNG), which is not read here",
            "export a JPEG or a 16-bit TIFF from the raw file",
        )),
        Ok(ImageFormat::Jpeg) => Ok(Format::Jpeg),
        Ok(f @ (ImageFormat::Png | ImageFormat::WebP | ImageFormat::Tiff)) => Ok(Format::Other(f)),
        _ => Err(match sniff::other_format(bytes) {
            Some((what, fix)) => Error::new(
                format!("this is not a photo that can be read: it is {what}"),
                fix,
            ),
            None => Error::new(
                "this is not a photo: its first bytes belong to no picture format",
                PHOTO,
            ),
        }),
    }
}

fn check_pixels(width: u32, height: u32, limits: &Limits) -> Result<()> {
    let pixels = u64::from(width) * u64::from(height);
    if pixels == 0 {
        return Err(Error::new(
            format!(
                "the picture is {width} x {height} pixels: it is empty or its header is damaged"
            ),
            AGAIN,
        ));
    }
    if pixels > limits.max_pixels {
        return Err(Error::new(
            format!(
                "the picture's header says {width} x {height} pixels ({:.1} megapixels), allowed are {:.1} megapixels",
                pixels as f64 / 1e6,
                limits.max_pixels as f64 / 1e6
            ),
            "give the photo as the phone saved it, or one of lower resolution",
        ));
    }
    Ok(())
}

/// Most scans of a JPEG: each may cost a pass over the whole picture in a few bytes. Encoders make about ten.
const MAX_SCANS: usize = 100;

fn from_jpeg(bytes: &[u8], limits: &Limits, notes: &mut Vec<Flag>) -> Result<Decoded> {
    let cut = || Error::new("the JPEG is cut off: its end is missing", AGAIN);
    let layout = jpeg::layout(bytes).ok_or_else(cut)?;
    check_pixels(layout.width, layout.height, limits)?;
    if layout.components.len() == 4 {
        return Err(Error::new(
            "this JPEG holds CMYK colours (for print), which do not tell what the camera saw",
            "give the photo as the phone saved it, in RGB",
        ));
    }
    if layout.precision != 8 || !matches!(layout.frame, 0xC0..=0xC2) {
        return Err(Error::new(
            "this JPEG is of a rare kind (lossless, arithmetic-coded or deeper than 8 bit), which is not read here",
            "export it as an ordinary JPEG or as PNG",
        ));
    }
    if layout.scans > MAX_SCANS {
        return Err(Error::new(
            format!(
                "this JPEG builds its picture up in {} scans, allowed are {MAX_SCANS}",
                layout.scans
            ),
            AS_SAVED,
        ));
    }
    let end = layout.end.ok_or_else(cut)?;
    // Some phones pad a file by a few bytes; that is no second picture.
    let after = bytes.len() - end;
    if after > 64 && bytes[end..].iter().any(|b| *b != 0) {
        notes.push(Flag::new(
            "more-pictures",
            Severity::Note,
            format!(
                "{after} bytes follow the picture in the file (a gain map, depth or a short film); only the main \
                 picture was read"
            ),
            "nothing: the reading uses the main picture",
        ));
    }
    let (complete, decoded) = rayon::join(
        || layout.complete(bytes),
        || jpeg::decode(&bytes[..end], layout.components.len() == 1),
    );
    if !complete {
        return Err(Error::new(
            "the JPEG is damaged: part of its picture is missing",
            AGAIN,
        ));
    }
    let decoded = decoded.map_err(|e| damaged("JPEG", &e))?;
    let image = if decoded.grey {
        GrayImage::from_raw(layout.width, layout.height, decoded.samples).map(DynamicImage::from)
    } else {
        RgbImage::from_raw(layout.width, layout.height, decoded.samples).map(DynamicImage::from)
    };
    let image = image.ok_or_else(|| damaged("JPEG", "its size contradicts its header"))?;
    let orientation = decoded
        .exif
        .as_deref()
        .and_then(Orientation::from_exif_chunk);
    Ok(Decoded {
        image,
        icc: decoded.icc,
        coded: None,
        exif: decoded.exif,
        orientation: orientation.unwrap_or(Orientation::NoTransforms),
    })
}

/// What a decoder may take: eight bytes a pixel (16-bit RGBA) for the picture and as much for its own work; a small picture may
/// still carry a profile and text of some megabytes.
fn budget((width, height): (u32, u32)) -> image::Limits {
    let pixels = u64::from(width) * u64::from(height);
    let mut budget = image::Limits::no_limits();
    budget.max_alloc = Some(pixels.saturating_mul(16).saturating_add(16_000_000));
    budget
}

fn from_other(
    bytes: &[u8],
    format: ImageFormat,
    limits: &Limits,
    notes: &mut Vec<Flag>,
) -> Result<Decoded> {
    let name = match format {
        ImageFormat::Png => "PNG",
        ImageFormat::WebP => "WebP",
        _ => "TIFF",
    };
    let failed = |e: image::ImageError| damaged(name, &e.to_string());
    let animated;
    let mut decoder: Box<dyn ImageDecoder + '_> = match format {
        ImageFormat::Png => {
            // Its profile and text are unpacked as it is opened, so the budget has to be there before.
            let size = sniff::png_size(bytes);
            if let Some((width, height)) = size {
                check_pixels(width, height, limits)?;
            }
            let decoder =
                PngDecoder::with_limits(Cursor::new(bytes), budget(size.unwrap_or((1, 1))))
                    .map_err(failed)?;
            animated = decoder.is_apng().map_err(failed)?;
            Box::new(decoder)
        }
        ImageFormat::WebP => {
            if sniff::webp_is_cut(bytes) {
                return Err(Error::new("the WebP is cut off: its end is missing", AGAIN));
            }
            let decoder = WebPDecoder::new(Cursor::new(bytes)).map_err(failed)?;
            animated = decoder.has_animation();
            Box::new(decoder)
        }
        _ => {
            animated = false;
            Box::new(TiffDecoder::new(Cursor::new(bytes)).map_err(failed)?)
        }
    };
    let (width, height) = decoder.dimensions();
    check_pixels(width, height, limits)?;
    decoder
        .set_limits(budget((width, height)))
        .map_err(failed)?;
    check_colours(decoder.original_color_type())?;
    if animated {
        notes.push(Flag::new(
            "animated",
            Severity::Note,
            "the file holds an animation; its first picture was read",
            "give a still photo as the phone saved it",
        ));
    }
    // A profile that cannot be taken out is not none, nor is a coding that is told in another way.
    let lost = || {
        let named = || sniff::png_names_profile(bytes) || sniff::png_is_coded_otherwise(bytes);
        (format == ImageFormat::Png && named()).then(Vec::new)
    };
    let icc = match decoder.icc_profile() {
        Ok(icc) => icc.or_else(lost),
        Err(_) => Some(Vec::new()),
    };
    // A TIFF file is itself laid out like an EXIF block.
    let exif = match format {
        ImageFormat::Tiff => Some(bytes.to_vec()),
        _ => decoder.exif_metadata().ok().flatten(),
    };
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let image = DynamicImage::from_decoder(decoder).map_err(failed)?;
    let coded = match format {
        ImageFormat::Png => sniff::png_coded(bytes),
        _ => None,
    };
    // Code points come before a profile, if they can be used (PNG third edition, 4.3).
    let usable = |(primaries, transfer)| ColourSpace::coded(primaries, transfer).is_ok();
    let icc = icc.filter(|_| !coded.is_some_and(usable));
    Ok(Decoded {
        image,
        icc,
        coded,
        exif,
        orientation,
    })
}

#[cfg(feature = "heic")]
fn from_heif(bytes: &[u8], limits: &Limits, notes: &mut Vec<Flag>) -> Result<Decoded> {
    let failed = |e: String| damaged("HEIC", &e);
    let file = super::heif::open(bytes).map_err(failed)?;
    let (width, height) = file.size();
    check_pixels(width, height, limits)?;
    if file.has_more() {
        notes.push(Flag::new(
            "more-pictures",
            Severity::Note,
            "the file holds more than one picture (a gain map, depth or a series); only the main picture was read",
            "nothing: the reading uses the main picture",
        ));
    }
    Ok(Decoded {
        image: file.decode().map_err(failed)?,
        icc: file.icc(),
        coded: file.coded(),
        exif: file.exif(),
        orientation: Orientation::NoTransforms,
    })
}

fn check_colours(colours: ExtendedColorType) -> Result<()> {
    use ExtendedColorType::{Cmyk8, Cmyk16, Rgb32F, Rgba32F};
    match colours {
        Cmyk8 | Cmyk16 => Err(Error::new(
            "this TIFF holds CMYK colours (for print), which do not tell what the camera saw",
            "export the photo in RGB",
        )),
        Rgb32F | Rgba32F => Err(Error::new(
            "this picture holds floating-point samples, whose tone curve is not defined",
            "export it with 8 or 16 bit a channel",
        )),
        _ => Ok(()),
    }
}

fn damaged(name: &str, error: &str) -> Error {
    Error::new(
        format!("the {name} is damaged, incomplete or of an unknown kind: {error}"),
        AGAIN,
    )
}

/// Samples of an upright picture, red, green and blue. Transparent parts become black, so that nothing can take them for
/// bare paper.
fn samples(image: DynamicImage, notes: &mut Vec<Flag>) -> Samples {
    let deep = image.color().bytes_per_pixel() > image.color().channel_count();
    let mut transparent = false;
    let samples = match (image.color().has_alpha(), deep) {
        (false, false) => Samples::Eight(image.into_rgb8().into_raw()),
        (false, true) => Samples::Sixteen(image.into_rgb16().into_raw()),
        (true, false) => {
            let over_black = |[r, g, b, a]: [u8; 4]| {
                transparent |= a != u8::MAX;
                [r, g, b].map(|v| (u32::from(v) * u32::from(a) / u32::from(u8::MAX)) as u8)
            };
            Samples::Eight(
                image
                    .into_rgba8()
                    .pixels()
                    .map(|p| p.0)
                    .flat_map(over_black)
                    .collect(),
            )
        }
        (true, true) => {
            let over_black = |[r, g, b, a]: [u16; 4]| {
                transparent |= a != u16::MAX;
                [r, g, b].map(|v| (u32::from(v) * u32::from(a) / u32::from(u16::MAX)) as u16)
            };
            Samples::Sixteen(
                image
                    .into_rgba16()
                    .pixels()
                    .map(|p| p.0)
                    .flat_map(over_black)
                    .collect(),
            )
        }
    };
    if transparent {
        notes.push(Flag::new(
            "transparency",
            Severity::Doubt,
            "parts of the picture are transparent, as no camera makes them: it was edited; they count as black",
            AS_SAVED,
        ));
    }
    samples
}

/// What the samples mean: by the embedded profile, by code points, by EXIF, or sRGB. An error says why what the file says cannot
/// be used.
fn space(decoded: &Decoded, grey: bool, adobe: bool) -> std::result::Result<Profile, String> {
    match (&decoded.icc, decoded.coded) {
        (Some(icc), _) => profile::read(icc, grey),
        (None, Some((primaries, transfer))) => {
            ColourSpace::coded(primaries, transfer).map(Profile::Matrix)
        }
        (None, None) if adobe => Ok(Profile::Matrix(ColourSpace::adobe_rgb())),
        (None, None) => Ok(Profile::Matrix(ColourSpace::srgb())),
    }
}

fn managed(
    samples: Samples,
    width: u32,
    height: u32,
    space: std::result::Result<Profile, String>,
    notes: &mut Vec<Flag>,
) -> Picture {
    let why = match space {
        Ok(Profile::Matrix(space)) => return Picture::new(width, height, samples, &space),
        Ok(Profile::Tables(p)) => match profile::convert(&samples, &p) {
            Ok(converted) => {
                return Picture::new(width, height, converted, &ColourSpace::converted());
            }
            Err(why) => why,
        },
        Err(why) => why,
    };
    notes.push(Flag::new(
        "profile-unusable",
        Severity::Doubt,
        format!("the photo's colour profile cannot be used ({why}); it was read as sRGB"),
        "give the photo as the phone saved it, not edited or converted",
    ));
    Picture::new(width, height, samples, &ColourSpace::srgb())
}
