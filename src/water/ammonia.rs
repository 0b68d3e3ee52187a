//! The un-ionised share of total ammonia (NH3 of NH3 and NH4 together), from pH, temperature and salinity.
//!
//! Never says which concentration does harm. The pH is on the free scale of hydrogen ions, to which a colour test or a
//! meter set with buffers of low salt comes near; in sea water the total scale reads about 0.1 lower and makes a share
//! about a quarter larger at the same number, so the scale is stated.
//!
//! Science: fresh water by Emerson, Russo, Lund & Thurston (1975) J. Fish. Res. Board Can. 32(12):2379-2383; sea water by
//! Clegg & Whitfield (1995) Geochim. Cosmochim. Acta 59(12):2403-2421, as a second opinion Bell, Johnson, Jickells & Liss
//! (2007) Environ. Chem. 4(3):183-186 with its correction of 2008. The coefficients for sea water are not read from the
//! papers: they reproduce tabulated shares, from public software that cites them, to nine decimals (see the tests). Those
//! of the free scale were solved from that table, those of the total scale and of Bell recalled and compared with it.

use std::f64::consts::LN_10;

use serde::Serialize;

use super::{Estimate, check};
use crate::error::Result;

/// Ranges: pH,
const PH: (f64, f64) = (5.0, 10.0);
/// temperature, degrees C,
const TEMPERATURE: (f64, f64) = (0.0, 40.0);
/// and practical salinity. The formulas hold in all of this; sources disagree whether Emerson's holds above 30 degrees.
const SALINITY: (f64, f64) = (0.0, 40.0);

/// Of 0 degrees Celsius, kelvin.
const ZERO_CELSIUS: f64 = 273.15;

/// Which water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Water {
    Fresh,
    /// Sea water or brackish water, of a practical salinity (0 to 40), its pH on a scale.
    Sea {
        salinity: f64,
        scale: PhScale,
    },
}

/// What a pH counts in sea water.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PhScale {
    /// Free hydrogen ions.
    Free,
    /// With those bound by sulfate.
    Total,
}

/// The un-ionised share and what makes it uncertain. All numbers are shares, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct UnIonised {
    /// With its combined standard uncertainty. First order: above 0.1 in the uncertainty of pH the true distribution is
    /// lopsided, with more room above than below.
    pub share: Estimate,
    /// The second opinion: sea water on the free scale only.
    pub second: Option<f64>,
    /// Standard uncertainty from the pH alone,
    pub u_ph: f64,
    /// from the temperature,
    pub u_temperature: f64,
    /// and from the formulas: in sea water the stated accuracy of the constant and the spread of the two opinions.
    pub u_model: f64,
}

/// Stated accuracy of the constant of Clegg & Whitfield (1995), a share of it; taken for the half-width of a rectangle.
const CONSTANT_ACCURACY: f64 = 0.05;

/// Standard deviation of a rectangle of half-width 1 (JCGM 100:2008, 4.3.7).
const RECTANGLE: f64 = 0.577_350_269_189_625_8;

/// The un-ionised share at a pH (5 to 10) and a temperature (0 to 40 degrees C). The salinity counts as exact: one that is
/// wrong by 1 makes 0.7 % of the share.
///
/// # Errors
/// pH, temperature or salinity out of range, a negative uncertainty, anything not a number.
pub fn unionised(ph: Estimate, temperature: Estimate, water: Water) -> Result<UnIonised> {
    check::within("pH", ph.value, PH.0, PH.1, "")?;
    check::uncertainty("pH", ph.u)?;
    check::within(
        "temperature",
        temperature.value,
        TEMPERATURE.0,
        TEMPERATURE.1,
        "degrees C",
    )?;
    check::uncertainty("temperature", temperature.u)?;
    if let Water::Sea { salinity, .. } = water {
        check::within("salinity", salinity, SALINITY.0, SALINITY.1, "")?;
    }

    let t = temperature.value;
    let share = share_of(ph.value, pk(t, water));
    // Of 1 / (1 + 10^(pK - pH)), by pH and by -pK.
    let steep = LN_10 * share * (1.0 - share);
    let u_ph = steep * ph.u;
    let u_temperature = steep * pk_per_degree(t, water).abs() * temperature.u;
    let second = match water {
        Water::Sea {
            salinity,
            scale: PhScale::Free,
        } => Some(share_of(ph.value, bell(t, salinity))),
        _ => None,
    };
    let u_model = match water {
        Water::Fresh => 0.0,
        Water::Sea { .. } => {
            let constant = share * (1.0 - share) * CONSTANT_ACCURACY;
            let spread = second.map_or(0.0, |s| s - share);
            constant.hypot(spread) * RECTANGLE
        }
    };
    Ok(UnIonised {
        share: Estimate::from_contributions(share, &[u_ph, u_temperature, u_model])?,
        second,
        u_ph,
        u_temperature,
        u_model,
    })
}

/// The un-ionised part of a concentration of total ammonia; in its unit, stated as the total is (as nitrogen or as NH3).
///
/// # Errors
/// A negative concentration or uncertainty, anything not a number.
pub fn part(total: Estimate, unionised: &UnIonised) -> Result<Estimate> {
    let total = check::amount("total ammonia", total)?;
    let share = check::amount("un-ionised share", unionised.share)?;
    Estimate::from_contributions(
        total.value * share.value,
        &[share.value * total.u, total.value * share.u],
    )
}

fn share_of(ph: f64, pk: f64) -> f64 {
    1.0 / (1.0 + 10f64.powf(pk - ph))
}

/// pK of ammonium at a temperature in degrees C.
fn pk(t: f64, water: Water) -> f64 {
    match water {
        Water::Fresh => emerson(t),
        Water::Sea {
            salinity,
            scale: PhScale::Free,
        } => clegg_free(t, salinity),
        Water::Sea {
            salinity,
            scale: PhScale::Total,
        } => clegg_total(t, salinity),
    }
}

/// Change of pK with a degree, by a central difference of a tenth: the curvature left out is below 1e-6 per degree.
fn pk_per_degree(t: f64, water: Water) -> f64 {
    const STEP: f64 = 0.1;
    (pk(t + STEP, water) - pk(t - STEP, water)) / (2.0 * STEP)
}

/// Emerson et al. (1975).
fn emerson(t: f64) -> f64 {
    0.09018 + 2729.92 / (t + ZERO_CELSIUS)
}

/// Clegg & Whitfield (1995), pure water; the same on both scales.
fn clegg_pure(kelvin: f64) -> f64 {
    9.244605 - 2729.33 * (1.0 / 298.15 - 1.0 / kelvin)
}

/// Clegg & Whitfield (1995), free scale.
fn clegg_free(t: f64, s: f64) -> f64 {
    let k = t + ZERO_CELSIUS;
    clegg_pure(k)
        + (0.0500616 - 9.412696 / k - 2.029559e-7 * k * k) * s.sqrt()
        + (-0.0142372 + 1.46041e-5 * k + 3.730005 / k) * s
        + (7.10470e-5 - 0.0229021 / k) * s * s
        + (-5.521278e-7 + 1.95413e-4 / k) * s.powi(3)
}

/// Clegg & Whitfield (1995), total scale.
fn clegg_total(t: f64, s: f64) -> f64 {
    let k = t + ZERO_CELSIUS;
    clegg_pure(k)
        + (0.04203362 - 11.24742 / k) * s.powf(0.25)
        + (-13.6416 + 1.176949 * k.sqrt() - 0.02860785 * k + 545.4834 / k) * s.sqrt()
        + (-0.1462507 + 0.009022648 * k.sqrt() - 0.0001471361 * k + 10.5425 / k) * s.powf(1.5)
        + (0.004669309 - 0.0001691742 * k.sqrt() - 0.5677934 / k) * s * s
        + (-2.354039e-5 + 0.009698623 / k) * s.powf(2.5)
}

/// Bell et al. (2007), free scale.
fn bell(t: f64, s: f64) -> f64 {
    10.0423 - 0.0315536 * t + 0.003071 * s
}
