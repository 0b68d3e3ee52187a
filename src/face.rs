//! What the faces (`cli`, `web`) share: files, one photo read whatever happens, and the logging of what was read.
//!
//! The edge of the library: it opens files, and never shows anything itself.

pub(crate) mod files;
pub(crate) mod keep;
pub(crate) mod one;
pub(crate) mod plan;
pub(crate) mod water;
