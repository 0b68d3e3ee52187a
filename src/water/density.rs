//! Density of fresh and sea water at the pressure of the air, for what is stated by mass and measured by volume.
//!
//! Never measures salinity. Science: the one-atmosphere equation of state EOS-80, Fofonoff & Millard (1983) UNESCO
//! Technical Papers in Marine Science 44, equations 13 to 15 of Millero & Poisson (1981) Deep-Sea Res. 28A(6):625-629.

use super::check;
use crate::error::Result;

/// Range of the equation of state: practical salinity,
const SALINITY: (f64, f64) = (0.0, 42.0);
/// and temperature, degrees Celsius.
const TEMPERATURE: (f64, f64) = (-2.0, 40.0);

/// EOS-80 is written in the temperature scale IPTS-68; thermometers of today show ITS-90, which reads less by this factor
/// (Saunders 1990, WOCE Newsletter 10:10).
const T68_PER_T90: f64 = 1.00024;

/// Density in kg/m3 of water of a practical salinity (no unit, 0 to 42; 0 is pure water) at a temperature in degrees
/// Celsius on ITS-90 (-2 to 40), at one atmosphere. Good to 0.004 kg/m3 (Millero & Poisson 1981).
///
/// # Errors
/// Salinity or temperature outside of these ranges, or not a number.
pub fn density(salinity: f64, temperature: f64) -> Result<f64> {
    let s = check::within("salinity", salinity, SALINITY.0, SALINITY.1, "")?;
    let t = check::within(
        "temperature",
        temperature,
        TEMPERATURE.0,
        TEMPERATURE.1,
        "degrees C",
    )? * T68_PER_T90;
    let pure = polynomial(
        t,
        &[
            999.842594,
            6.793952e-2,
            -9.095290e-3,
            1.001685e-4,
            -1.120083e-6,
            6.536332e-9,
        ],
    );
    let a = polynomial(
        t,
        &[8.24493e-1, -4.0899e-3, 7.6438e-5, -8.2467e-7, 5.3875e-9],
    );
    let b = polynomial(t, &[-5.72466e-3, 1.0227e-4, -1.6546e-6]);
    Ok(pure + a * s + b * s.powf(1.5) + 4.8314e-4 * s * s)
}

/// Coefficients from the constant up.
fn polynomial(x: f64, coefficients: &[f64]) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}
