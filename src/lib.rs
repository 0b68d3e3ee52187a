//! Tintwell reads the concentration of a colour test from a phone photo of the vial.
//!
//! A photo flows through the modules in the order in which they are declared:
//!
//! ```text
//!  photo file          card + chart (calibration/)
//!      |                        |
//!   photo ──> place ──> light ──> vial ──> estimate ──> reading ──> report / cli
//!   decode    where     balance   colour   value +      flags +     text JSON CSV
//!   ICC EXIF  things    on the    in Lab,  interval     verdict     overlay picture
//!   upright   are       patches   robust   on the chart
//! ```
//!
//! `colour` to `reading` are functions of values: bytes in, reading out. They touch no clock, terminal, network or
//! file; `report`, `cli` and `web` do.

pub mod blank;
pub mod capture;
pub mod card;
pub mod chart;
pub mod cli;
pub mod colour;
pub mod course;
pub mod error;
pub mod estimate;
mod face;
pub mod flag;
pub mod light;
pub mod logbook;
pub mod look;
pub mod photo;
pub mod place;
pub mod reading;
pub mod report;
pub mod same_vial;
pub mod sight;
pub mod stage;
pub mod trend;
pub mod vial;
pub mod water;
pub mod web;
