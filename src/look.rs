//! One photo looked at, before any chart: place, light and liquid.
//!
//! Calibrating and reading start from the same [`Look`], so that a standard and a sample are seen alike.

use nalgebra::{Matrix3, Vector2, Vector3};

use crate::card::design::Design;
use crate::card::{find, sharp};
use crate::error::{Error, Result};
use crate::light::correct::Correction;
use crate::light::{self, Observed};
use crate::photo::{Photo, Picture};
use crate::place::{Area, Bay, Place, View};
use crate::stage::stage;
use crate::vial::bay::{self, BayPicture};
use crate::vial::clear::{self, Clearness};
use crate::vial::sample::{self, Sampled};
use crate::vial::slant::Slant;
use crate::vial::{Found, above, find as vial_find, gap};

/// How to know where things are.
#[derive(Debug, Clone)]
pub enum Where {
    /// By the markers of one of these designs.
    Card(Vec<Design>),
    /// By regions in pixels of the upright photo; `photo` is the width and height of the one in which they were marked, if it was
    /// another.
    Regions {
        white: Area,
        liquid: Area,
        photo: Option<[u32; 2]>,
    },
}

impl Where {
    /// White paper and liquid as marked by hand; `None` if the card is looked for.
    pub fn regions(&self) -> Option<[Area; 2]> {
        match self {
            Where::Regions { white, liquid, .. } => Some([*white, *liquid]),
            Where::Card(_) => None,
        }
    }
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
    /// The liquid, plane units; for an open vial the square around its disc.
    pub liquid: Area,
    /// The vial, if it was found rather than marked.
    pub vial: Option<Found>,
    /// At which slant a standing vial is seen, where the card tells.
    pub slant: Option<Slant>,
    /// How clear the liquid is, if the card has lines to tell it by and they are seen.
    pub clear: Option<Clearness>,
    /// Width of printed edges in the photo, mm on the card: how soft it is.
    pub edge_mm: Option<f64>,
}

/// Around a mouth, mm: its blur, and the light that the wall throws beside it.
const BESIDE_MOUTH: f64 = 2.0;

/// Looks at a photo.
///
/// # Errors
/// If the card, the paper or the vial cannot be found.
pub fn look(photo: &Photo, by: &Where) -> Result<Look> {
    let picture = &photo.picture;
    let mut place = stage!(
        CARD,
        match by {
            Where::Card(designs) => find::find(picture, designs)?,
            Where::Regions {
                white,
                liquid,
                photo,
            } => {
                same_size(picture, *photo)?;
                Place::by_hand(*white, *liquid, picture.width(), picture.height())?
            }
        }
    );
    let (mut observed, edge_mm) = stage!(
        LIGHT,
        (light::observe(picture, &place)?, softness(picture, &place))
    );
    let obvious = too_dark(&observed).or_else(|| too_soft(edge_mm));
    let instead = |e: Error| obvious.unwrap_or(e);
    let (bay, vial, liquid) = stage!(
        VIAL,
        match place.bay {
            Bay::Search {
                area,
                view: View::Side,
            } => {
                let bay = bay::of(picture, &place, &observed, bay::search_area(area));
                let height = slant(picture, &place, area).map_or(0.0, |s| s.height_deg);
                let vial = vial_find::find(&bay, area, height).map_err(instead)?;
                (bay, Some(Found::Standing(vial)), vial.liquid())
            }
            Bay::Search {
                area,
                view: View::Above,
            } => {
                let area = bay::search_area_above(area);
                let mut bay = bay::of(picture, &place, &observed, area);
                let vial = above::find(&bay).map_err(instead)?;
                // A vial rises over the card: it may hide paper and patches around the bay, which then must not count.
                if place.hide(vial.mouth.area().shrunk(-BESIDE_MOUTH)) {
                    observed = light::observe(picture, &place)?;
                    bay = bay::of(picture, &place, &observed, area);
                }
                (bay, Some(Found::Open(vial)), vial.liquid.area())
            }
            Bay::Liquid { area } => (bay::of(picture, &place, &observed, area), None, area),
        }
    );
    let slant = match vial {
        Some(Found::Standing(_)) => slant(picture, &place, liquid),
        _ => None,
    };
    let clear = stage!(
        LINES,
        match (vial, &place.card, place.bay) {
            (Some(Found::Standing(vial)), Some(card), Bay::Search { area, .. }) => {
                let by_water = slant.map(|s| s.lower(vial.width()));
                let height = slant.map_or(0.0, |s| s.height_deg);
                let under = under_surface(liquid, vial_find::surface_mm(vial.width(), height));
                Design::by_id(&card.design)
                    .and_then(|d| clear::clearness(&bay, &d.lines, area, under, by_water))
            }
            _ => None,
        }
    );
    Ok(Look {
        slant,
        clear,
        edge_mm,
        place,
        observed,
        bay,
        liquid,
        vial,
    })
}

/// Most of a liquid's height that its surface takes of it.
const MOST_SURFACE: f64 = 1.0 / 3.0;

/// A liquid without its surface, which from above is seen as so much of its height: its rim is darker than any line.
fn under_surface(liquid: Area, surface_mm: f64) -> Area {
    let off = surface_mm.min(MOST_SURFACE * liquid.h);
    Area {
        y: liquid.y + off,
        h: liquid.h - off,
        ..liquid
    }
}

/// Regions hold for photos like the one in which they were marked.
fn same_size(picture: &Picture, marked: Option<[u32; 2]>) -> Result<()> {
    let own = [picture.width(), picture.height()];
    match marked.filter(|marked| *marked != own) {
        None => Ok(()),
        Some([width, height]) => Err(Error::new(
            format!(
                "the photo has {} x {} pixels, the one in which the regions were marked had {width} x {height}",
                own[0], own[1]
            ),
            "mark the regions anew in a photo of this size, held the same way up",
        )),
    }
}

/// At which slant a standing vial's liquid is seen.
fn slant(picture: &Picture, place: &Place, liquid: Area) -> Option<Slant> {
    let (x, y) = liquid.centre();
    let (width, height) = (f64::from(picture.width()), f64::from(picture.height()));
    let seen = find::seen_from(&place.to_photo, Vector2::new(x, y), width, height)?;
    Some(Slant {
        aside_deg: seen.aside_deg,
        height_deg: seen.height_deg,
    })
}

/// Width of the edges of the markers that were found, mm.
fn softness(picture: &Picture, place: &Place) -> Option<f64> {
    let card = place.card.as_ref()?;
    let design = Design::by_id(&card.design)?;
    let seen: Vec<_> = design
        .tags
        .iter()
        .filter(|t| card.tags_found.contains(&t.id))
        .collect();
    sharp::edge_mm(picture, &place.to_photo, &seen)
}

/// Blocks up to which their spread tells too little of a colour's uncertainty, and the least grain of a pixel (share of its light)
/// that counts then: rounding to 8 bits at mid-grey.
const FEW_BLOCKS: usize = 3;
const LEAST_GRAIN: f64 = 0.005;

/// Edges of print wider than this, mm, let patches and paper, glass and liquid run into each other: what is measured of a
/// patch begins 2.2 mm inside it, and a blur reaches about its edge's width to either side.
pub const SOFT_MM: f64 = 1.5;

/// The error that stands for a vial not found in a blurred photo.
fn too_soft(edge_mm: Option<f64>) -> Option<Error> {
    let edge = edge_mm.filter(|e| *e > SOFT_MM)?;
    Some(Error::new(
        format!("the photo is too blurred to see the vial: printed edges are {edge:.1} mm wide"),
        "rest the phone on something, touch the card on the screen to focus on it, and bring more light",
    ))
}

/// The error that stands for a vial not found where white paper is recorded under 3 % of full scale, five stops under.
fn too_dark(observed: &Observed) -> Option<Error> {
    let white = observed.white.max().exp();
    (white < 0.03).then(|| {
        Error::new(
            format!("the photo is too dark to see the vial: the white paper is recorded at {:.1} % of full scale", 100.0 * white),
            "bring more light, or raise the exposure until the paper looks white",
        )
    })
}

impl Look {
    /// What the two ends of the liquid are called from where it is seen.
    pub fn ends(&self) -> [&'static str; 2] {
        match self.vial {
            Some(Found::Open(_)) => ["left", "right"],
            _ => ["top", "bottom"],
        }
    }

    /// From how high the vial is seen, degrees; 0 where the card does not tell.
    pub fn height_deg(&self) -> f64 {
        self.slant.map_or(0.0, |s| s.height_deg)
    }

    /// Covariance of a colour (natural log of relative light) as far as its photo alone tells: the liquid, the light over it, the slant,
    /// and the correction by inks that the session missed by `inks_missed`. What differs between photos of one vial is not in it.
    pub fn covariance(
        &self,
        sampled: &Sampled,
        correction: &Correction,
        inks_missed: Option<f64>,
    ) -> Matrix3<f64> {
        sampled.covariance
            + self.observed.field.covariance(self.liquid)
            + self.slant_covariance(&sampled.ln)
            + correction.residual_covariance(&sampled.ln)
            + correction.metamerism(&sampled.ln, inks_missed)
    }

    /// The colour of the liquid under a correction, as a standing vial would show it from straight before the card.
    ///
    /// # Errors
    /// If nothing of the liquid is left to sample.
    pub fn colour(&self, correction: &Correction) -> Result<Sampled> {
        let mut sampled = match &self.vial {
            Some(Found::Open(vial)) => sample::sample_disc(&self.bay, &vial.liquid, correction),
            seen => sample::sample(&self.bay, self.liquid, seen.is_some(), correction),
        }
        .ok_or_else(|| {
            Error::new(
                "the liquid is covered by glare or over-exposed, so nothing of it can be measured",
                "turn the vial or the light until no bright reflection lies over the liquid, and take the photo again",
            )
        })?;
        sampled.covariance += self.grain(&sampled);
        if let Some(straight) = self.slant.map(|s| s.straight()) {
            sampled.ln *= straight;
            sampled.moved *= straight;
            sampled.ends_differ *= straight;
            sampled.covariance *= straight * straight;
        }
        Ok(sampled)
    }

    /// Covariance (natural log of relative light) of a colour from the grain of single pixels, where too few blocks were sampled for
    /// their spread to tell it.
    fn grain(&self, sampled: &Sampled) -> Matrix3<f64> {
        if sampled.blocks > FEW_BLOCKS {
            return Matrix3::zeros();
        }
        let sd = self.observed.noise.max(LEAST_GRAIN);
        Matrix3::identity() * (sd * sd / sampled.blocks as f64)
    }

    /// Covariance (natural log of relative light) of a standing vial's colour from how near it stands to the card. One that was marked by
    /// hand may be of any width.
    pub fn gap_covariance(&self, ln: &Vector3<f64>) -> Matrix3<f64> {
        match &self.vial {
            Some(Found::Standing(vial)) => gap::covariance(ln, vial.width()),
            Some(Found::Open(_)) => Matrix3::zeros(),
            None => gap::covariance(ln, gap::NARROWEST),
        }
    }

    /// Covariance (natural log of relative light) of a liquid's colour from being seen at a slant.
    pub fn slant_covariance(&self, ln: &Vector3<f64>) -> Matrix3<f64> {
        self.slant
            .map_or_else(Matrix3::zeros, |slant| slant.covariance(ln))
    }
}
