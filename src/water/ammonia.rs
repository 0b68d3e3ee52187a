//! The un-ionised share of total ammonia (NH3 of NH3 and NH4 together), from pH, temperature and salinity.
//!
//! Never says which concentration does harm. The pH is on the free scale of hydrogen ions, to which a colour test or a
//! meter set with buffers of low salt comes near. A pH on the total scale (hydrogen ions bound by sulfate counted along, as
//! oceanographers state it) reads about 0.1 lower in sea water; taken for one on the free scale it makes the share about a
//! fifth too small.
//!
//! Science: fresh water by Emerson, Russo, Lund & Thurston (1975) J. Fish. Res. Board Can. 32(12):2379-2383; sea water by
//! Clegg & Whitfield (1995) Geochim. Cosmochim. Acta 59(12):2403-2421, as a second opinion Bell, Johnson, Jickells & Liss
//! (2007) Environ. Chem. 4(3):183-186 with its correction of 2008.
//!
//! Not read from the papers: the coefficients for sea water. Those of Clegg & Whitfield were solved from shares at 10 to 28
//! degrees, tabulated by public software that cites the paper; they give that table to nine decimals (see the tests) and are
//! not known to hold outside of it, so other temperatures of sea water are refused. The formula of Bell is from memory.

use std::f64::consts::LN_10;

use serde::Serialize;

use super::{Estimate, check};
use crate::error::Result;

/// Ranges: pH,
const PH: (f64, f64) = (5.0, 10.0);
/// temperature of fresh water, degrees C (sources disagree whether Emerson's formula holds above 30),
const FRESH_TEMPERATURE: (f64, f64) = (0.0, 40.0);
/// temperature of sea water: that of the table from which the coefficients were solved,
const SEA_TEMPERATURE: (f64, f64) = (10.0, 28.0);
/// and practical salinity, also that of the table. It holds all salinities at 20 to 28 degrees, but below that only 34.
const SALINITY: (f64, f64) = (0.0, 40.0);

/// Of 0 degrees Celsius, kelvin.
const ZERO_CELSIUS: f64 = 273.15;

/// Which water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Water {
    Fresh,
    /// Sea water or brackish water, of a practical salinity (0 to 40).
    Sea {
        salinity: f64,
    },
}

/// The un-ionised share and what makes it uncertain. All numbers are shares, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct UnIonised {
    /// With its combined standard uncertainty. First order: above 0.1 in the uncertainty of pH the true distribution is
    /// lopsided, with more room above than below.
    pub share: Estimate,
    /// The second opinion: sea water only.
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

/// The un-ionised share at a pH (5 to 10) and a temperature (degrees C: fresh water 0 to 40, sea water 10 to 28). The
/// salinity counts as exact: one that is wrong by 1 makes 0.7 % of the share.
///
/// # Errors
/// pH, temperature or salinity out of range, a negative uncertainty, anything not a number.
pub fn unionised(ph: Estimate, temperature: Estimate, water: Water) -> Result<UnIonised> {
    check::within("pH", ph.value, PH.0, PH.1, "")?;
    check::uncertainty("pH", ph.u)?;
    let (name, (low, high)) = match water {
        Water::Fresh => ("temperature of fresh water", FRESH_TEMPERATURE),
        Water::Sea { .. } => ("temperature of sea water", SEA_TEMPERATURE),
    };
    check::within(name, temperature.value, low, high, "degrees C")?;
    check::uncertainty("temperature", temperature.u)?;
    if let Water::Sea { salinity } = water {
        check::within("salinity", salinity, SALINITY.0, SALINITY.1, "")?;
    }

    let t = temperature.value;
    let share = share_of(ph.value, pk(t, water));
    // Of 1 / (1 + 10^(pK - pH)), by pH and by -pK.
    let steep = LN_10 * share * (1.0 - share);
    let u_ph = steep * ph.u;
    let u_temperature = steep * pk_per_degree(t, water).abs() * temperature.u;
    let second = match water {
        Water::Fresh => None,
        Water::Sea { salinity } => Some(share_of(ph.value, bell(t, salinity))),
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
        Water::Sea { salinity } => clegg(t, salinity),
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

/// Clegg & Whitfield (1995), free scale: pure water, then what the salt does.
fn clegg(t: f64, s: f64) -> f64 {
    let k = t + ZERO_CELSIUS;
    9.244605 - 2729.33 * (1.0 / 298.15 - 1.0 / k)
        + (0.0500616 - 9.412696 / k - 2.029559e-7 * k * k) * s.sqrt()
        + (-0.0142372 + 1.46041e-5 * k + 3.730005 / k) * s
        + (7.10470e-5 - 0.0229021 / k) * s * s
        + (-5.521278e-7 + 1.95413e-4 / k) * s.powi(3)
}

/// Bell et al. (2007), free scale; from memory.
fn bell(t: f64, s: f64) -> f64 {
    10.0423 - 0.0315536 * t + 0.003071 * s
}
