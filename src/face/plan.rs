//! Plans around a water: what is reckoned and what has to be said beside it, for the command line and the page alike.
//!
//! Never says which level is good, and gives no advice on treatment; the arithmetic itself is in [`crate::water`].

pub(crate) mod change;
pub(crate) mod figure;
pub(crate) mod level;
pub(crate) mod routine;
pub(crate) mod together;

pub(crate) const LIVESTOCK: &str =
    "Arithmetic only, no advice on treatment: for that ask a vet or a licensed practice.";
pub(crate) const USE: &str = "Not for drinking water, medical or compliance decisions. Local rules and licensed practice first.";
