//! Where things are in the photos: by the card, by regions on the command line, or by a saved frame for a phone on a
//! stand.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::Stop;
use super::files::{self, Output, shown};
use crate::card::design::Design;
use crate::error::{Error, Result};
use crate::look::Where;
use crate::place::Area;

/// Options for regions by hand. Without them the printed card is looked for.
#[derive(clap::Args)]
pub(super) struct PlaceArgs {
    /// White paper in the photo, for use without the card: left, top, width, height in pixels
    #[arg(
        long,
        value_name = "X,Y,W,H",
        allow_hyphen_values = true,
        conflicts_with = "frame"
    )]
    pub(super) white: Option<Area>,
    /// Liquid in the photo and nothing else, for use without the card
    #[arg(
        long,
        value_name = "X,Y,W,H",
        allow_hyphen_values = true,
        conflicts_with = "frame"
    )]
    pub(super) vial: Option<Area>,
    /// Regions from a file, for a phone on a stand
    #[arg(long, value_name = "FILE")]
    pub(super) frame: Option<PathBuf>,
}

impl PlaceArgs {
    /// How to know where things are.
    pub(super) fn by(&self) -> std::result::Result<Where, Stop> {
        match (self.white, self.vial, &self.frame) {
            (Some(white), Some(liquid), _) => Ok(Where::Regions {
                white,
                liquid,
                photo: None,
            }),
            (None, None, Some(path)) => Ok(load_frame(path)?),
            (None, None, None) => Ok(Where::Card(Design::all())),
            _ => Err(Stop::Usage(
                "--white and --vial belong together: give both regions".into(),
            )),
        }
    }
}

const FORMAT: &str = "tintwell-frame";
const VERSION: u32 = 2;

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Frame {
    format: String,
    version: u32,
    /// Width and height of the upright photo in which the regions were marked, pixels.
    photo: [u32; 2],
    white: Area,
    vial: Area,
}

fn load_frame(path: &Path) -> Result<Where> {
    let wrong = |what: String| {
        Error::new(what, "write the frame again with `tintwell read ... --white ... --vial ... --save-frame FILE`").about(shown(path))
    };
    let frame: Frame = serde_json::from_str(&files::text(path)?)
        .map_err(|e| wrong(format!("this is not a frame file: {e}")))?;
    if frame.format != FORMAT || frame.version != VERSION {
        return Err(wrong(format!(
            "this is \"{}\" version {}, wanted is \"{FORMAT}\" version {VERSION}",
            crate::report::text::clean(&frame.format),
            frame.version
        )));
    }
    Ok(Where::Regions {
        white: frame.white,
        liquid: frame.vial,
        photo: Some(frame.photo),
    })
}

/// Writes a frame file: regions that were marked in a photo of so many pixels.
pub(super) fn save_frame(path: &Path, white: Area, vial: Area, photo: [u32; 2]) -> Result<()> {
    let frame = Frame {
        format: FORMAT.into(),
        version: VERSION,
        photo,
        white,
        vial,
    };
    // Numbers and strings cannot fail to serialise: regions are finite when parsed.
    let json = serde_json::to_string_pretty(&frame).unwrap_or_default() + "\n";
    Output::new(path)?.write(json.as_bytes())
}
