//! What the sight of card, light and liquid says against a reading: findings with figures, and what to do about each.
//!
//! Judges, never measures: the figures come from `place`, `light` and `vial`. What the file says of its capture is judged
//! in `capture`, what the colour says on the chart in `reading`.

mod card;
mod light;
mod liquid;
mod vial;

use crate::chart::Chart;
use crate::flag::Flag;
use crate::light::correct::Correction;
use crate::look::Look;
use crate::vial::sample::Sampled;

pub use liquid::{cloudy, hardly_any, not_glass, possible, uneven};
pub use vial::{empty, lowered};

/// Findings about the sight of the card, its light and the vial.
pub fn flags(look: &Look, correction: &Correction, sampled: &Sampled, chart: &Chart) -> Vec<Flag> {
    let mut flags = Vec::new();
    card::flags(look, correction, &mut flags);
    flags.extend(of_vial(look, sampled, chart.vial_mm));
    flags.extend(vial::lit_from_aside(sampled, chart));
    flags
}

/// Those of them that are not about the card: sharpness, light and the vial, whose kind is `usual_mm` wide.
pub fn of_vial(look: &Look, sampled: &Sampled, usual_mm: Option<f64>) -> Vec<Flag> {
    let mut flags = Vec::new();
    card::sharpness(look, &mut flags);
    light::flags(look, &mut flags);
    vial::flags(look, usual_mm, &mut flags);
    liquid::flags(look, sampled, &mut flags);
    flags
}
