//! HEIF files (HEIC of phones, AVIF), through the system's `libheif`; only in builds with the feature `heic`.
//!
//! Turned and cropped as the file says by the library itself (ISO/IEC 23008-12, 6.5.10 and 7.2: its transformations stand
//! above those of EXIF). The decoder is `libheif`, its binding `libheif-rs`.

use image::{DynamicImage, ImageBuffer, RgbImage, RgbaImage};
use libheif_rs::{
    ColorSpace, DecodingOptions, HeifContext, ImageHandle, LibHeif, Plane, RgbChroma,
};

/// The main picture of a file, not yet decoded.
pub(super) struct Opened<'a> {
    library: LibHeif,
    context: HeifContext<'a>,
    handle: ImageHandle,
}

/// Opens a file and looks at its main picture.
///
/// # Errors
/// What the library says of a damaged file.
pub(super) fn open(bytes: &[u8]) -> Result<Opened<'_>, String> {
    let library = LibHeif::new();
    let context = HeifContext::read_from_bytes(bytes).map_err(|e| e.to_string())?;
    let handle = context.primary_image_handle().map_err(|e| e.to_string())?;
    Ok(Opened {
        library,
        context,
        handle,
    })
}

impl Opened<'_> {
    /// Width and height of the upright picture, pixels.
    pub(super) fn size(&self) -> (u32, u32) {
        (self.handle.width(), self.handle.height())
    }

    /// Whether the file holds more than the main picture: depth, gain map, a series.
    pub(super) fn has_more(&self) -> bool {
        self.context.image_ids().len() > 1
            || self.handle.has_depth_image()
            || !self.handle.auxiliary_images(None).is_empty()
    }

    /// An embedded ICC profile.
    pub(super) fn icc(&self) -> Option<Vec<u8>> {
        self.handle.color_profile_raw().map(|p| p.data)
    }

    /// Primaries and transfer as code points of ITU-T H.273.
    pub(super) fn coded(&self) -> Option<(u8, u8)> {
        let coded = self.handle.color_profile_nclx()?;
        Some((
            coded.color_primaries() as u8,
            coded.transfer_characteristics() as u8,
        ))
    }

    /// The EXIF block, from its TIFF header on. It is stored behind an offset of four bytes (ISO/IEC 23008-12, A.2.1).
    pub(super) fn exif(&self) -> Option<Vec<u8>> {
        let mut ids = [0; 1];
        if self.handle.metadata_block_ids(&mut ids, b"Exif") == 0 {
            return None;
        }
        let block = self.handle.metadata(ids[0]).ok()?;
        let offset = u32::from_be_bytes(block.get(..4)?.try_into().ok()?);
        let start = usize::try_from(offset).ok()?.checked_add(4)?;
        block.get(start..).map(<[u8]>::to_vec)
    }

    /// Decodes the main picture: 8 bit, or 16 if it holds more than 8.
    ///
    /// # Errors
    /// What the library says of damaged data.
    pub(super) fn decode(&self) -> Result<DynamicImage, String> {
        let deep = self.handle.luma_bits_per_pixel() > 8;
        let alpha = self.handle.has_alpha_channel();
        let chroma = match (deep, alpha) {
            (false, false) => RgbChroma::Rgb,
            (false, true) => RgbChroma::Rgba,
            (true, false) => RgbChroma::HdrRgbLe,
            (true, true) => RgbChroma::HdrRgbaLe,
        };
        let mut options = DecodingOptions::new().ok_or("there is not enough memory")?;
        options.set_strict_decoding(true);
        let image = self
            .library
            .decode(&self.handle, ColorSpace::Rgb(chroma), Some(options))
            .map_err(|e| e.to_string())?;
        let plane = image.planes().interleaved.ok_or("it has no colours")?;
        let (width, height) = (plane.width, plane.height);
        let channels = if alpha { 4 } else { 3 };
        let image = if deep {
            let samples = sixteen(&plane, channels);
            if alpha {
                ImageBuffer::from_raw(width, height, samples).map(DynamicImage::ImageRgba16)
            } else {
                ImageBuffer::from_raw(width, height, samples).map(DynamicImage::ImageRgb16)
            }
        } else {
            let samples = rows(&plane, channels).flatten().copied().collect();
            if alpha {
                RgbaImage::from_raw(width, height, samples).map(DynamicImage::from)
            } else {
                RgbImage::from_raw(width, height, samples).map(DynamicImage::from)
            }
        };
        image.ok_or_else(|| "its size contradicts its header".into())
    }
}

/// The rows of a plane, `bytes` a pixel, without what fills them up.
fn rows<'p>(plane: &Plane<&'p [u8]>, bytes: usize) -> impl Iterator<Item = &'p [u8]> + use<'p> {
    let length = plane.width as usize * bytes;
    plane
        .data
        .chunks(plane.stride.max(1))
        .take(plane.height as usize)
        .filter_map(move |row| row.get(..length))
}

/// Samples of 9 to 16 bits spread over 16.
fn sixteen(plane: &Plane<&[u8]>, channels: usize) -> Vec<u16> {
    let top = (1u32 << plane.bits_per_pixel.clamp(1, 16)) - 1;
    rows(plane, 2 * channels)
        .flat_map(|row| row.chunks_exact(2))
        .map(|v| {
            let v = u32::from(u16::from_le_bytes([v[0], v[1]])).min(top);
            ((v * u32::from(u16::MAX) + top / 2) / top) as u16
        })
        .collect()
}
