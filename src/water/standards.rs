//! Standards to make a chart from: what to weigh for a stock, what came of it, and one dilution of it.
//!
//! Never says that a substance is safe to handle, nor that a stock keeps. Volumes in mL, masses in g, concentrations in
//! mg/L. Errors of balance, flask, pipette and purity are independent. Arithmetic: balance of mass.

use serde::Serialize;

use super::convert::{Species, factor};
use super::{Estimate, check};
use crate::error::{Error, Result};

/// mg/L times mL is a millionth of a gram.
const GRAMS: f64 = 1e-6;

/// A stock to be made of a salt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stock {
    /// What is weighed.
    pub salt: Species,
    /// What the concentration is stated as: an ion of the salt, or an element of it.
    pub stated_as: Species,
    /// Wanted, mg/L, above 0.
    pub concentration: f64,
    /// What the flask holds to its mark, mL, above 0.
    pub volume: Estimate,
    /// Share of the salt in what is weighed, above 0, at most 1.
    pub purity: Estimate,
    /// Standard uncertainty of a weighing, g.
    pub balance: f64,
}

/// What to weigh, and what that makes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Weighed {
    /// g, with the balance's uncertainty.
    pub mass: Estimate,
    /// mg/L.
    pub concentration: Estimate,
}

/// Mass of the salt for the stock, and how well it fixes the concentration.
///
/// # Errors
/// What is no salt of the table, a salt that does not hold what the concentration is stated as, a concentration or volume
/// not above 0, a purity out of range, a negative uncertainty, anything not a number.
pub fn weigh(stock: &Stock) -> Result<Weighed> {
    let wanted = check::positive("wanted concentration", stock.concentration)?;
    let volume = check::some("volume of the flask", stock.volume)?;
    let purity = check::share("purity", stock.purity)?;
    let u = check::uncertainty("weighing", stock.balance)?;
    let by_salt = salt_factor(stock.salt, stock.stated_as)?;
    let mass = Estimate::new(wanted * volume.value * GRAMS / by_salt / purity.value, u);
    Ok(Weighed {
        mass,
        concentration: made(stock.salt, stock.stated_as, mass, volume, purity)?,
    })
}

/// Concentration, mg/L, of `mass` g of a salt of a purity in `volume` mL, stated as an ion or element of the salt.
///
/// # Errors
/// As [`weigh`]; a mass not above 0.
pub fn made(
    salt: Species,
    stated_as: Species,
    mass: Estimate,
    volume: Estimate,
    purity: Estimate,
) -> Result<Estimate> {
    let by_salt = salt_factor(salt, stated_as)?;
    let mass = check::some("mass", mass)?;
    let volume = check::some("volume of the flask", volume)?;
    let purity = check::share("purity", purity)?;
    let value = mass.value * purity.value * by_salt / GRAMS / volume.value;
    Estimate::from_contributions(
        value,
        &[
            value * mass.u / mass.value,
            value * volume.u / volume.value,
            value * purity.u / purity.value,
        ],
    )
}

/// What a mass of the salt is as `stated_as`.
fn salt_factor(salt: Species, stated_as: Species) -> Result<f64> {
    if !salt.is_salt() {
        return Err(Error::new(
            format!("{salt} is no salt of the table"),
            "give what is weighed: KNO3, NaNO3, NaNO2, NH4Cl, KH2PO4 or (NH4)2SO4",
        )
        .about("salt"));
    }
    gives(salt, stated_as)?;
    factor(salt, stated_as)
}

/// Refuses what a salt does not hold: an element alone is no reason to state it as another ion of it.
///
/// # Errors
/// If the salt is stated as something that is neither itself nor an ion or element of it.
pub fn gives(salt: Species, stated_as: Species) -> Result<()> {
    if salt == stated_as || salt.holds().contains(&stated_as) {
        return Ok(());
    }
    let held: Vec<&str> = salt.holds().iter().map(|s| s.formula()).collect();
    Err(Error::new(
        format!("{salt} gives no {stated_as} as it dissolves"),
        format!(
            "state it as one of {}, or weigh a salt that holds {stated_as}",
            held.join(", ")
        ),
    )
    .about("stated as"))
}

/// Concentration after `take` mL of a solution are filled up to `fill_to` mL with water free of the substance; in the unit
/// of the solution's.
///
/// # Errors
/// A negative concentration, a volume not above 0, more taken than filled up to, anything not a number.
pub fn dilute(solution: Estimate, take: Estimate, fill_to: Estimate) -> Result<Estimate> {
    let solution = check::amount("concentration of the solution", solution)?;
    let take = check::some("volume to take", take)?;
    let fill_to = check::some("volume to fill up to", fill_to)?;
    if take.value > fill_to.value {
        return Err(Error::new(
            format!(
                "{} mL do not go into a volume of {} mL",
                take.value, fill_to.value
            ),
            "take no more than the volume to fill up to",
        )
        .about("volume to take"));
    }
    let share = take.value / fill_to.value;
    let value = solution.value * share;
    Estimate::from_contributions(
        value,
        &[
            share * solution.u,
            solution.value * take.u / fill_to.value,
            value * fill_to.u / fill_to.value,
        ],
    )
}

/// mL of a solution to fill up to `fill_to` mL for the concentration `wanted` (above 0, at most the solution's).
///
/// # Errors
/// A wanted concentration above the solution's, a concentration or volume not above 0, anything not a number.
pub fn volume_to_take(solution: f64, wanted: f64, fill_to: f64) -> Result<f64> {
    check::positive("concentration of the solution", solution)?;
    check::positive("wanted concentration", wanted)?;
    check::positive("volume to fill up to", fill_to)?;
    if wanted > solution {
        return Err(Error::new(
            format!("{wanted} is above the {solution} that it is diluted from"),
            "give a lower concentration or a stronger solution",
        )
        .about("wanted concentration"));
    }
    // The ratio first: it is at most 1 and cannot grow out of range.
    Ok(wanted / solution * fill_to)
}
