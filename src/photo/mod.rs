//! Photo files: bytes in, an upright, colour-managed picture and the facts of its capture out.
//!
//! Never trusts a size or a length field: the limits hold before anything is allocated. Never opens a file itself,
//! never fails because of metadata (unknown facts are `None`), and never passes off half a picture as a whole one.

mod decode;
mod exif;
#[cfg(feature = "heic")]
mod heif;
mod jpeg;
mod picture;
mod profile;
mod sniff;

pub use decode::{Limits, Photo, decode, is_cut_off, sha256};
pub use exif::CaptureFacts;
pub use picture::Picture;
