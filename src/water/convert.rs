//! The same concentration stated as another substance or in another unit: nitrate as nitrogen, ammonium as ammonia,
//! mg/L as ppm by mass.
//!
//! Never a chemical reaction: substances are exchanged so that an element they share stays the same amount. Ions are
//! taken as heavy as their atoms (an electron is 3e-5 of the lightest ion). Atomic weights: IUPAC 2021, Prohaska et al.
//! (2022) Pure Appl. Chem. 94(5):573-600; where nature varies, the abridged value. Their uncertainty (6e-4 of the weight for
//! sulfur, 3e-4 for chlorine, 2e-4 or less for the rest) is left out: no colour test sees it.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::density::density;
use super::{Estimate, check};
use crate::error::{Error, Result};

/// Chemical elements of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Element {
    H,
    N,
    O,
    P,
    K,
    Na,
    Cl,
    S,
}

impl Element {
    /// Atomic weight, g/mol.
    fn weight(self) -> f64 {
        match self {
            Element::H => 1.008,
            Element::N => 14.007,
            Element::O => 15.999,
            Element::P => 30.973761998,
            Element::K => 39.0983,
            Element::Na => 22.98976928,
            Element::Cl => 35.45,
            Element::S => 32.06,
        }
    }

    /// Hydrogen and oxygen are in water itself: no measure of what is dissolved in it.
    fn counts(self) -> bool {
        !matches!(self, Element::H | Element::O)
    }
}

/// What a concentration is stated as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Species {
    /// As nitrogen: what is written NO3-N, NO2-N, NH3-N.
    #[serde(rename = "N")]
    N,
    /// As phosphorus: what is written PO4-P.
    #[serde(rename = "P")]
    P,
    #[serde(rename = "K")]
    K,
    #[serde(rename = "Na")]
    Na,
    #[serde(rename = "Cl")]
    Cl,
    #[serde(rename = "NO3")]
    Nitrate,
    #[serde(rename = "NO2")]
    Nitrite,
    #[serde(rename = "NH3")]
    Ammonia,
    #[serde(rename = "NH4")]
    Ammonium,
    #[serde(rename = "PO4")]
    Phosphate,
    #[serde(rename = "P2O5")]
    PhosphorusPentoxide,
    #[serde(rename = "KNO3")]
    PotassiumNitrate,
    #[serde(rename = "NaNO3")]
    SodiumNitrate,
    #[serde(rename = "NaNO2")]
    SodiumNitrite,
    #[serde(rename = "NH4Cl")]
    AmmoniumChloride,
    #[serde(rename = "KH2PO4")]
    PotassiumDihydrogenPhosphate,
    #[serde(rename = "(NH4)2SO4")]
    AmmoniumSulfate,
}

impl Species {
    /// All of the table.
    pub const ALL: [Species; 17] = [
        Species::N,
        Species::P,
        Species::K,
        Species::Na,
        Species::Cl,
        Species::Nitrate,
        Species::Nitrite,
        Species::Ammonia,
        Species::Ammonium,
        Species::Phosphate,
        Species::PhosphorusPentoxide,
        Species::PotassiumNitrate,
        Species::SodiumNitrate,
        Species::SodiumNitrite,
        Species::AmmoniumChloride,
        Species::PotassiumDihydrogenPhosphate,
        Species::AmmoniumSulfate,
    ];

    /// The formula, without charge.
    pub fn formula(self) -> &'static str {
        match self {
            Species::N => "N",
            Species::P => "P",
            Species::K => "K",
            Species::Na => "Na",
            Species::Cl => "Cl",
            Species::Nitrate => "NO3",
            Species::Nitrite => "NO2",
            Species::Ammonia => "NH3",
            Species::Ammonium => "NH4",
            Species::Phosphate => "PO4",
            Species::PhosphorusPentoxide => "P2O5",
            Species::PotassiumNitrate => "KNO3",
            Species::SodiumNitrate => "NaNO3",
            Species::SodiumNitrite => "NaNO2",
            Species::AmmoniumChloride => "NH4Cl",
            Species::PotassiumDihydrogenPhosphate => "KH2PO4",
            Species::AmmoniumSulfate => "(NH4)2SO4",
        }
    }

    /// Whether it is a salt that can be weighed out.
    pub fn is_salt(self) -> bool {
        matches!(
            self,
            Species::PotassiumNitrate
                | Species::SodiumNitrate
                | Species::SodiumNitrite
                | Species::AmmoniumChloride
                | Species::PotassiumDihydrogenPhosphate
                | Species::AmmoniumSulfate
        )
    }

    /// What a salt holds that its concentration can be stated as: elements, and ions that it gives as it dissolves. Ammonium is in
    /// balance with ammonia, which is why tests of the total are stated as either; P2O5 is another way to state phosphate. None of
    /// what is no salt.
    pub fn holds(self) -> &'static [Species] {
        use Species::{Ammonia, Ammonium, Cl, K, N, Na, Nitrate, Nitrite, P, Phosphate};
        match self {
            Species::PotassiumNitrate => &[Nitrate, N, K],
            Species::SodiumNitrate => &[Nitrate, N, Na],
            Species::SodiumNitrite => &[Nitrite, N, Na],
            Species::AmmoniumChloride => &[Ammonium, Ammonia, N, Cl],
            Species::PotassiumDihydrogenPhosphate => {
                &[Phosphate, Species::PhosphorusPentoxide, P, K]
            }
            Species::AmmoniumSulfate => &[Ammonium, Ammonia, N],
            _ => &[],
        }
    }

    /// The name of what a text that is one stands for: `NO3`, `NO3-N`.
    pub fn named(self, text: &str) -> String {
        as_element(text).map_or_else(
            || self.formula().to_owned(),
            |(ion, element)| format!("{ion}-{element}"),
        )
    }

    /// The ion that is meant where a concentration is stated as an element of it, such as `NO3-N`.
    pub fn ion_named(text: &str) -> Option<Species> {
        Some(as_element(text)?.0)
    }

    /// Its atoms.
    fn atoms(self) -> &'static [(Element, u8)] {
        use Element::{Cl, H, K, N, Na, O, P, S};
        match self {
            Species::N => &[(N, 1)],
            Species::P => &[(P, 1)],
            Species::K => &[(K, 1)],
            Species::Na => &[(Na, 1)],
            Species::Cl => &[(Cl, 1)],
            Species::Nitrate => &[(N, 1), (O, 3)],
            Species::Nitrite => &[(N, 1), (O, 2)],
            Species::Ammonia => &[(N, 1), (H, 3)],
            Species::Ammonium => &[(N, 1), (H, 4)],
            Species::Phosphate => &[(P, 1), (O, 4)],
            Species::PhosphorusPentoxide => &[(P, 2), (O, 5)],
            Species::PotassiumNitrate => &[(K, 1), (N, 1), (O, 3)],
            Species::SodiumNitrate => &[(Na, 1), (N, 1), (O, 3)],
            Species::SodiumNitrite => &[(Na, 1), (N, 1), (O, 2)],
            Species::AmmoniumChloride => &[(N, 1), (H, 4), (Cl, 1)],
            Species::PotassiumDihydrogenPhosphate => &[(K, 1), (H, 2), (P, 1), (O, 4)],
            Species::AmmoniumSulfate => &[(N, 2), (H, 8), (S, 1), (O, 4)],
        }
    }

    /// Molar mass, g/mol.
    pub fn molar_mass(self) -> f64 {
        self.atoms()
            .iter()
            .map(|(e, n)| e.weight() * f64::from(*n))
            .sum()
    }

    /// Mass of the substance that holds one mole of the element, g; none if it holds none.
    fn mass_per_mole_of(self, element: Element) -> Option<f64> {
        self.atoms()
            .iter()
            .find(|(e, _)| *e == element)
            .map(|(_, n)| self.molar_mass() / f64::from(*n))
    }
}

impl fmt::Display for Species {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.formula())
    }
}

impl FromStr for Species {
    type Err = Error;

    /// A formula as [`Species::formula`] writes it, in whatever case, or the trade's way to say "as nitrogen" (NO3-N, NO2-N, NH3-N, NH4-N)
    /// and "as phosphorus" (PO4-P).
    ///
    /// # Errors
    /// Anything else.
    fn from_str(text: &str) -> Result<Species> {
        if let Some((_, element)) = as_element(text) {
            return Ok(element);
        }
        let formula = text.trim();
        Species::ALL
            .into_iter()
            .find(|s| s.formula().eq_ignore_ascii_case(formula))
            .ok_or_else(|| {
                let known = Species::ALL.map(Species::formula).join(", ");
                Error::new(
                    format!("\"{formula}\" is no substance of the table"),
                    format!("give one of {known}, or NO3-N, NO2-N, NH3-N, NH4-N, PO4-P"),
                )
            })
    }
}

/// The ion and the element of the trade's `NO3-N` and the like, in whatever case.
fn as_element(text: &str) -> Option<(Species, Species)> {
    use Species::{Ammonia, Ammonium, N, Nitrate, Nitrite, P, Phosphate};
    let pairs = [
        (Nitrate, N),
        (Nitrite, N),
        (Ammonia, N),
        (Ammonium, N),
        (Phosphate, P),
    ];
    let (ion, element) = text.trim().split_once('-')?;
    pairs.into_iter().find(|(i, e)| {
        i.formula().eq_ignore_ascii_case(ion) && e.formula().eq_ignore_ascii_case(element)
    })
}

/// How many times more `to` there is by mass than `from`, for the same amount of the element that they share.
///
/// # Errors
/// If they share no element besides hydrogen and oxygen.
pub fn factor(from: Species, to: Species) -> Result<f64> {
    from.atoms()
        .iter()
        .filter(|(e, _)| e.counts())
        .find_map(|(e, _)| Some(to.mass_per_mole_of(*e)? / from.mass_per_mole_of(*e)?))
        .ok_or_else(|| {
            Error::new(
                format!("{from} and {to} share no element to convert by"),
                "convert between substances of the same element, such as NO3 and NO3-N",
            )
        })
}

/// A mass or concentration of `from`, stated as `to`; any unit of mass or of mass by volume, which stays the same.
///
/// # Errors
/// If they share no element, or the value is negative or not a number.
pub fn convert(amount: Estimate, from: Species, to: Species) -> Result<Estimate> {
    scaled(check::amount("concentration", amount)?, factor(from, to)?)
}

/// mg/L as ppm by mass (mg/kg), in water of a practical salinity (0 to 42) at a temperature (-2 to 40 degrees C). The
/// density counts as exact: it is good to 4e-6, and a salinity wrong by one makes 8e-4.
///
/// # Errors
/// A negative concentration, or what [`density`] refuses.
pub fn ppm_from_mg_per_litre(
    amount: Estimate,
    salinity: f64,
    temperature: f64,
) -> Result<Estimate> {
    let amount = check::amount("concentration", amount)?;
    scaled(amount, GRAMS_PER_KG / density(salinity, temperature)?)
}

/// ppm by mass (mg/kg) as mg/L; otherwise as [`ppm_from_mg_per_litre`].
///
/// # Errors
/// A negative concentration, or what [`density`] refuses.
pub fn mg_per_litre_from_ppm(
    amount: Estimate,
    salinity: f64,
    temperature: f64,
) -> Result<Estimate> {
    let amount = check::amount("concentration", amount)?;
    scaled(amount, density(salinity, temperature)? / GRAMS_PER_KG)
}

/// kg/m3 is g/L: a litre of 1000 g/L is one kilogram.
const GRAMS_PER_KG: f64 = 1000.0;

fn scaled(amount: Estimate, by: f64) -> Result<Estimate> {
    Estimate::from_contributions(amount.value * by, &[by * amount.u])
}
