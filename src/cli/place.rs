//! Where things are in the photos: by the card, by regions on the command line, or by a saved frame for a phone on a
//! stand.

use std::path::{Path, PathBuf};

use super::Stop;
use super::files::{self, Output, shown};
use crate::card::design::Design;
use crate::error::Result;
use crate::look::Where;
use crate::place::Area;
use crate::place::frame::Frame;

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

fn load_frame(path: &Path) -> Result<Where> {
    let frame = Frame::parse(&files::text(path)?).map_err(|e| e.about(shown(path)))?;
    Ok(frame.regions())
}

/// Writes a frame file: regions that were marked in a photo of so many pixels.
pub(super) fn save_frame(path: &Path, white: Area, vial: Area, photo: [u32; 2]) -> Result<()> {
    let frame = Frame { photo, white, vial };
    Output::new(path)?.write(frame.json().as_bytes())
}
