//! Photo files: bytes in, an upright, colour-managed picture and the facts of its capture out.

use crate::colour::CameraRgb;

/// An upright picture, its samples still encoded; linear light is computed for the pixels that are asked for.
pub struct Picture {
    width: u32,
    height: u32,
}

impl Picture {
    /// Width of the upright picture, pixels.
    pub fn width(&self) -> u32 {
        self.width
    }
    /// Height of the upright picture, pixels.
    pub fn height(&self) -> u32 {
        self.height
    }
    /// Linear light of one pixel. `x < width`, `y < height`.
    pub fn linear(&self, _x: u32, _y: u32) -> CameraRgb {
        todo!()
    }
    /// Whether a channel of the pixel is at the top of its range: its light was at least that, and is not known.
    pub fn clipped(&self, _x: u32, _y: u32) -> bool {
        todo!()
    }
}
