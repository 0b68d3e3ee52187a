//! The chart: what vials of known standards looked like in one session, and the curve through them.
//!
//! A chart is made by [`calibrate`], kept in a versioned JSON file ([`file`]) and looked at by [`resolve`]. It never
//! extrapolates: past the last step the answer is "above".

pub mod calibrate;
pub mod curve;
pub mod file;
mod findings;
pub mod limits;
pub mod pchip;
pub mod procedure;
pub mod resolve;

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

use crate::colour::{Lab, Relative};
use crate::flag::{Flag, Severity};
use crate::light::correct::SessionPatch;
use crate::place::View;
use crate::vial::aside::Aside;
use crate::vial::ends::UsualEnds;
use crate::vial::lens::{Lens, gathered_light};
use crate::vial::sample::Sampled;

/// Salt or fresh water: many tests read differently in the two ("salt error").
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Medium {
    Fresh,
    Salt,
}

impl Medium {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Medium::Fresh => "fresh",
            Medium::Salt => "salt",
        }
    }
}

/// What the colours of a chart were taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Origin {
    /// Vials of known standards.
    Standards,
    /// A printed colour chart: ink and liquid differ to a camera.
    PrintedColours,
}

/// Minutes after the last reagent within which the colour is to be read.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ReadWindow {
    pub from_min: f64,
    pub to_min: f64,
}

impl ReadWindow {
    /// Whether it is a stretch of time, within a day: no colour lasts longer.
    pub fn is_one(&self) -> bool {
        0.0 <= self.from_min && self.from_min <= self.to_min && self.to_min <= 1440.0
    }
}

/// One measured standard.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// Concentration in the chart's unit.
    pub value: f64,
    /// Natural log of linear BT.2020 light relative to paper: the mean over its photos.
    pub ln: [f64; 3],
    /// Covariance of that mean.
    pub covariance: [[f64; 3]; 3],
    /// How many photos it rests on.
    pub photos: usize,
    /// How much of the card's faint lines was seen through its vials, per channel: the mean over the photos that show it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clear: Option<[f64; 3]>,
}

impl Step {
    /// Colour of the step relative to paper white.
    pub fn relative(&self) -> Relative {
        Relative(self.ln.map(f64::exp))
    }

    /// CIELAB relative to paper white.
    pub fn lab(&self) -> Lab {
        self.relative().to_lab()
    }

    /// The mean as a vector.
    pub fn ln_vector(&self) -> Vector3<f64> {
        Vector3::from(self.ln)
    }

    /// The covariance as a matrix.
    pub fn covariance_matrix(&self) -> Matrix3<f64> {
        Matrix3::from_fn(|i, j| self.covariance[i][j])
    }
}

/// What was agreed about the test when the chart was made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Terms {
    /// Name of the test, such as `nitrate`.
    pub test: String,
    /// Unit of the concentrations, such as `mg/L`.
    pub unit: String,
    /// Fresh or salt water, if told.
    pub medium: Option<Medium>,
    /// How the vial was prepared, in the user's words.
    pub procedure: Option<String>,
    /// When after the last reagent to read.
    pub read_window: Option<ReadWindow>,
    /// Lot of the reagent.
    pub lot: Option<String>,
    /// Date (ISO 8601) past which the reagent is not to be used.
    pub expires: Option<String>,
}

impl Terms {
    /// A test and its unit, of which nothing else was agreed.
    pub fn of(test: impl Into<String>, unit: impl Into<String>) -> Terms {
        Terms {
            test: test.into(),
            unit: unit.into(),
            medium: None,
            procedure: None,
            read_window: None,
            lot: None,
            expires: None,
        }
    }
}

/// A chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// Test, unit and procedure.
    pub terms: Terms,
    /// What its colours come from.
    pub origin: Origin,
    /// Card design of the session, if a card was used.
    pub card: Option<String>,
    /// From where the vial was seen, if a card was used.
    pub view: Option<View>,
    /// The card's patches as the session saw them: the yardstick for every later photo.
    pub patches: Vec<SessionPatch>,
    /// What the card's inks are missed by in the session's photos when each is predicted from the others: the mean of
    /// [`Hue::missed`](crate::light::hue::Hue::missed). `None` where no card was used.
    pub inks_missed: Option<f64>,
    /// Steps in rising order of value.
    pub steps: Vec<Step>,
    /// Outer width of the session's vials (of the mouth, if seen from above) as seen on the card, mm: the middle one. `None`
    /// where they were marked by hand.
    pub vial_mm: Option<f64>,
    /// By what share of what as much water would do the session's vials showed the card's lines lower ([`crate::sight::lowered`]): the
    /// middle one. `None` where that was not seen.
    pub lines_lowered: Option<f64>,
    /// How the session's vials gathered its light; `None` where they were not found standing.
    pub lens: Option<Lens>,
    /// How the ends of the session's liquids differed; `None` where that was not seen.
    pub ends: Option<UsualEnds>,
    /// Covariance between photos of one vial (pose, refill, light), natural log units; pooled over the steps.
    pub repeatability: [[f64; 3]; 3],
    /// Degrees of freedom behind `repeatability`; 0 if it is the default for want of replicate photos.
    pub repeatability_df: usize,
    /// The curve chosen by leave-one-step-out.
    pub curve: curve::Choice,
    /// What was found against it when it was made, worst first.
    pub found: Vec<Flag>,
}

impl Chart {
    /// Whether most of the light came from aside as its standards were photographed.
    fn is_lit_from_aside(&self) -> bool {
        self.found.iter().any(|f| f.code == findings::FROM_ASIDE)
    }

    /// Light that comes from aside, unless most of it did for the standards too.
    pub fn light_from_aside(&self, sampled: &Sampled) -> Option<Aside> {
        sampled.aside.filter(|_| !self.is_lit_from_aside())
    }

    /// How unlike the session's the course of the light across a vial is; `None` if either is not known.
    pub fn unlike(&self, sampled: &Sampled) -> Option<f64> {
        Some(sampled.across.as_ref()?.unlike(&self.lens.as_ref()?.across))
    }

    /// Covariance (natural log of relative light) of the light that a vial gathers, as far as the session's own photos differ in
    /// it from one to the next.
    pub fn usual_light(&self, sampled: &Sampled) -> Matrix3<f64> {
        match (&self.lens, self.unlike(sampled)) {
            (Some(lens), Some(unlike)) => {
                gathered_light(&sampled.ln, Some(unlike.min(lens.scatter)))
            }
            _ => Matrix3::zeros(),
        }
    }

    /// Doubt about every reading on a chart that was doubtful when it was made.
    pub fn doubt(&self) -> Option<Flag> {
        let mut doubts = self.found.iter().filter(|f| f.severity != Severity::Note);
        let first = doubts.next()?;
        let more = match doubts.count() {
            0 => String::new(),
            n => format!(" (and {n} more)"),
        };
        Some(Flag::new(
            "chart-doubtful",
            Severity::Doubt,
            format!("the chart itself is doubtful{more}: {}", first.message),
            "see what `tintwell chart` says of it, photograph those standards again and make the chart anew",
        ))
    }

    /// The values of the steps.
    pub fn values(&self) -> Vec<f64> {
        self.steps.iter().map(|s| s.value).collect()
    }

    /// Position of a concentration among the steps: 0 at the first, 1 at the second and so on, linear between.
    pub fn step_position(&self, value: f64) -> f64 {
        let v = self.values();
        let i = v.partition_point(|s| *s <= value).clamp(1, v.len() - 1);
        (i - 1) as f64 + (value - v[i - 1]) / (v[i] - v[i - 1])
    }

    /// How much of the card's faint lines was seen through the session's vials at a position among the steps, per channel: from the
    /// nearest steps on both sides through which they were seen.
    pub fn clear_at(&self, position: f64) -> Option<Vector3<f64>> {
        let seen: Vec<(f64, Vector3<f64>)> = self
            .steps
            .iter()
            .enumerate()
            .filter_map(|(i, step)| Some((i as f64, step.clear?.into())))
            .collect();
        let below = seen.iter().rev().find(|(at, _)| *at <= position);
        let above = seen.iter().find(|(at, _)| *at >= position);
        match (below, above) {
            (Some((from, a)), Some((to, b))) if to > from => {
                Some(a + (b - a) * ((position - from) / (to - from)))
            }
            (a, b) => a.or(b).map(|(_, share)| *share),
        }
    }

    /// The colour that the dye gives the liquid at a position among the steps, natural log: without that of a first step which
    /// has none.
    pub fn dye_at(&self, position: f64) -> Vector3<f64> {
        let ([a, b], share) = self.around(position);
        let first = &self.steps[0];
        let none = if first.value == 0.0 {
            first.ln_vector()
        } else {
            Vector3::zeros()
        };
        let (a, b) = (a.ln_vector(), b.ln_vector());
        a + (b - a) * share - none
    }

    /// The steps on both sides of a position among the steps, and the share of the way from one to the other.
    fn around(&self, position: f64) -> ([&Step; 2], f64) {
        let last = self.steps.len() - 1;
        let p = position.clamp(0.0, last as f64);
        let i = (p.floor() as usize).min(last - 1);
        ([&self.steps[i], &self.steps[i + 1]], p - i as f64)
    }

    /// The concentration at a position among the steps.
    pub fn value_at(&self, position: f64) -> f64 {
        curve::value_at(&self.values(), position)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A step through whose vials the lines were not seen leaves it to its neighbours.
    #[test]
    fn how_clear_the_vials_were_is_told_between_steps() {
        let mut chart =
            file::parse(include_str!("../../calibration/alder-creek-nitrate.json")).unwrap();
        for (i, step) in chart.steps.iter_mut().enumerate() {
            step.clear = (i == 1 || i == 3).then_some([i as f64; 3]);
        }
        let at = |position| chart.clear_at(position).map(|v| v[0]);
        assert_eq!(at(0.0), Some(1.0));
        assert_eq!(at(1.0), Some(1.0));
        assert_eq!(at(2.0), Some(2.0));
        assert_eq!(at(2.5), Some(2.5));
        assert_eq!(at(4.5), Some(3.0));
        chart.steps.iter_mut().for_each(|step| step.clear = None);
        assert_eq!(chart.clear_at(2.0), None);
    }
}
