//! Frames: the regions of white paper and liquid in the photos of a phone on a stand, kept in a file.

use serde::{Deserialize, Serialize};

use super::Area;
use crate::error::{Error, Result};
use crate::look::Where;
use crate::report::text::clean;

const FORMAT: &str = "tintwell-frame";
const VERSION: u32 = 2;

/// Regions that were marked in one photo and hold for others like it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// Width and height of the upright photo in which they were marked, pixels.
    pub photo: [u32; 2],
    /// Bare white paper, pixels of the upright photo.
    pub white: Area,
    /// Liquid and nothing else, likewise.
    pub vial: Area,
}

/// A frame as its file has it.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    format: String,
    version: u32,
    photo: [u32; 2],
    white: Area,
    vial: Area,
}

impl Frame {
    /// The frame in the text of a file. Whether its regions fit into a photo is told when they are looked at.
    ///
    /// # Errors
    /// If it is no frame file, or one of another version.
    pub fn parse(text: &str) -> Result<Frame> {
        let wrong = |what: String| {
            Error::new(
                what,
                "write the frame again with `tintwell read ... --white ... --vial ... --save-frame FILE`",
            )
        };
        let written: Written = serde_json::from_str(text)
            .map_err(|e| wrong(format!("this is not a frame file: {e}")))?;
        if written.format != FORMAT || written.version != VERSION {
            return Err(wrong(format!(
                "this is \"{}\" version {}, wanted is \"{FORMAT}\" version {VERSION}",
                clean(&written.format),
                written.version
            )));
        }
        Ok(Frame {
            photo: written.photo,
            white: written.white,
            vial: written.vial,
        })
    }

    /// The text of its file.
    pub fn json(&self) -> String {
        let written = Written {
            format: FORMAT.into(),
            version: VERSION,
            photo: self.photo,
            white: self.white,
            vial: self.vial,
        };
        // Numbers and strings cannot fail to serialise: regions are finite when parsed.
        serde_json::to_string_pretty(&written).unwrap_or_default() + "\n"
    }

    /// Where to look by it.
    pub fn regions(&self) -> Where {
        Where::Regions {
            white: self.white,
            liquid: self.vial,
            photo: Some(self.photo),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read() {
        let area = |x: f64| Area {
            x,
            y: 2.5,
            w: 30.0,
            h: 40.0,
        };
        let frame = Frame {
            photo: [4000, 3000],
            white: area(1.0),
            vial: area(100.0),
        };
        assert_eq!(Frame::parse(&frame.json()).unwrap(), frame);
        for wrong in ["", "{}", "[1]", &frame.json().replace("2,", "3,")] {
            assert!(Frame::parse(wrong).is_err(), "{wrong}");
        }
    }
}
