//! One photo looked at, before any chart: place, light and liquid.
//!
//! Calibrating and reading start from the same [`Look`], so that a standard and a sample are seen alike.

use crate::card::design::Design;
use crate::card::find;
use crate::error::{Error, Result};
use crate::light::correct::Correction;
use crate::light::{self, Observed};
use crate::photo::Photo;
use crate::place::{Area, Bay, Place, View};
use crate::vial::bay::{self, BayPicture};
use crate::vial::find::{self as vial_find, Vial};
use crate::vial::sample::{self, Sampled};

/// How to know where things are.
#[derive(Debug, Clone)]
pub enum Where {
    /// By the markers of one of these designs.
    Card(Vec<Design>),
    /// By regions in pixels of the upright photo.
    Regions { white: Area, liquid: Area },
}

/// A photo whose paper, patches and liquid have been found.
#[derive(Debug, Clone)]
pub struct Look {
    /// Where things are.
    pub place: Place,
    /// What paper and patches show.
    pub observed: Observed,
    /// The bay, flattened.
    pub bay: BayPicture,
    /// The liquid, plane units.
    pub liquid: Area,
    /// The vial, if it was found rather than marked.
    pub vial: Option<Vial>,
}

/// Looks at a photo.
///
/// # Errors
/// If the card, the paper or the vial cannot be found.
pub fn look(photo: &Photo, by: &Where) -> Result<Look> {
    let picture = &photo.picture;
    let place = match by {
        Where::Card(designs) => find::find(&picture.luma(), designs)?,
        Where::Regions { white, liquid } => {
            Place::by_hand(*white, *liquid, picture.width(), picture.height())?
        }
    };
    let observed = light::observe(picture, &place)?;
    let (bay, vial, liquid) = match place.bay {
        Bay::Search {
            area,
            view: View::Side,
        } => {
            let bay = bay::of(picture, &place, &observed, bay::search_area(area));
            let vial = vial_find::find(&bay, area)?;
            (bay, Some(vial), vial.liquid())
        }
        Bay::Search {
            view: View::Above, ..
        } => {
            return Err(Error::new(
                "this card is for looking from above",
                "use the card for looking from the side",
            ));
        }
        Bay::Liquid { area } => (bay::of(picture, &place, &observed, area), None, area),
    };
    Ok(Look {
        place,
        observed,
        bay,
        liquid,
        vial,
    })
}

impl Look {
    /// The colour of the liquid under a correction.
    ///
    /// # Errors
    /// If nothing of the liquid is left to sample.
    pub fn colour(&self, correction: &Correction) -> Result<Sampled> {
        sample::sample(&self.bay, self.liquid, self.vial.is_some(), correction).ok_or_else(|| {
            Error::new(
                "the liquid is covered by glare or over-exposed, so nothing of it can be measured",
                "turn the vial or the light until no bright reflection lies over the liquid, and take the photo again",
            )
        })
    }
}
