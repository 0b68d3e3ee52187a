//! How much water to change so that several substances come down to their targets.

use serde::Serialize;

use super::change::{at_once_percent, each_percent, holds_water, large};
use super::figure::{Figure, short, short_if_known};
use super::level::{Now, Otherwise, Source};
use crate::error::Result;
use crate::water::Estimate;
use crate::water::mixing::{self, share_for_all, spread};

/// What is asked.
pub(crate) struct Asked {
    /// At least one.
    pub(crate) goals: Vec<Goal>,
    /// Litres.
    pub(crate) volume: Option<f64>,
    /// Most of the water that is changed on one day, per cent.
    pub(crate) most_a_day: Option<f64>,
}

/// A substance and the level that it is to come down to.
pub(crate) struct Goal {
    pub(crate) test: String,
    pub(crate) unit: String,
    pub(crate) now: Now,
    pub(crate) target: f64,
    pub(crate) source: Source,
}

/// The answer.
#[derive(Serialize)]
pub(crate) struct Plan {
    #[serde(serialize_with = "short_if_known")]
    pub(crate) volume_litres: Option<f64>,
    pub(crate) needed: bool,
    /// All at once, the largest that any goal needs; `null` if nothing is to change.
    pub(crate) share_at_once_percent: Option<Figure>,
    /// The test that needs it.
    pub(crate) decided_by: Option<String>,
    /// Equal changes, one a day, and each of them.
    pub(crate) days: u32,
    pub(crate) share_each_percent: Option<Figure>,
    #[serde(serialize_with = "short_if_known")]
    pub(crate) litres_each: Option<f64>,
    pub(crate) goals: Vec<Outcome>,
}

/// What one substance comes to.
#[derive(Serialize)]
pub(crate) struct Outcome {
    pub(crate) test: String,
    pub(crate) unit: String,
    pub(crate) now: Now,
    #[serde(serialize_with = "short")]
    pub(crate) target: f64,
    pub(crate) source: Figure,
    /// What it would need for itself; `null` if it is not above its target.
    pub(crate) needs_percent: Option<Figure>,
    /// After the last of the changes.
    pub(crate) expected: Figure,
    /// By source water that holds more than the target.
    pub(crate) raised_above_target: bool,
}

/// The plan, and what has to be said beside it.
///
/// # Errors
/// If water was changed since a level was read, the volume is none, or no change with this source water reaches a target.
pub(crate) fn plan(asked: Asked) -> Result<(Plan, Vec<String>)> {
    let Asked { goals, volume, .. } = asked;
    let mut notes = Vec::new();
    for goal in &goals {
        let dosed = goal.now.before_a_change(Otherwise::Log);
        notes.extend(dosed.map_err(|e| e.about(goal.test.clone()))?);
    }
    holds_water(volume)?;
    let mut plan = Plan {
        volume_litres: volume,
        needed: false,
        share_at_once_percent: None,
        decided_by: None,
        days: 0,
        share_each_percent: None,
        litres_each: None,
        goals: goals.iter().map(Goal::left_alone).collect(),
    };
    notes.extend(goals.iter().filter_map(Goal::unsure));
    if goals.iter().all(|g| g.now.estimate.value <= g.target) {
        return Ok((plan, notes));
    }
    let mixed: Vec<mixing::Goal> = goals.iter().map(Goal::mixing).collect();
    let together = share_for_all(&mixed)?;
    let most = asked.most_a_day.map_or(1.0, |most| most / 100.0);
    let schedule = spread(together.share, most)?;
    plan.needed = true;
    let needs: Vec<Option<Figure>> = mixed
        .iter()
        .zip(&together.each)
        .map(|(g, found)| {
            Some(at_once_percent(
                found.needed?,
                g.present,
                g.source,
                g.target,
            ))
        })
        .collect();
    plan.share_at_once_percent = needs[together.decided_by];
    plan.decided_by = Some(goals[together.decided_by].test.clone());
    plan.days = schedule.days;
    plan.share_each_percent = plan
        .share_at_once_percent
        .map(|p| each_percent(&schedule, p));
    plan.litres_each = volume.map(|v| v * schedule.share.value);
    for ((goal, found), needs) in plan.goals.iter_mut().zip(&together.each).zip(needs) {
        // Together the changes leave as much of the old water as the one.
        goal.expected = Figure::of(found.after);
        goal.needs_percent = needs;
        goal.raised_above_target = found.raised_above_target;
        if found.raised_above_target {
            notes.push(format!(
                "{}: the source water is above the target, and the change raises the level above it.",
                goal.test
            ));
        }
    }
    notes.extend(plan.share_each_percent.as_ref().and_then(large));
    notes.push(
        "Not counted is what is made or used up meanwhile; the water is taken as well mixed. Test afterwards."
            .to_owned(),
    );
    Ok((plan, notes))
}

impl Goal {
    /// As it is, if nothing is changed.
    fn left_alone(&self) -> Outcome {
        Outcome {
            test: self.test.clone(),
            unit: self.unit.clone(),
            now: self.now.clone(),
            target: self.target,
            source: self.source.figure(),
            needs_percent: None,
            expected: self.now.figure,
            raised_above_target: false,
        }
    }

    fn mixing(&self) -> mixing::Goal {
        mixing::Goal {
            name: self.test.clone(),
            unit: self.unit.clone(),
            present: self.now.estimate,
            source: self.source.estimate(),
            target: self.target,
        }
    }

    /// Whether the level now may lie on the other side of the target.
    fn unsure(&self) -> Option<String> {
        let (Estimate { value, .. }, figure) = (self.now.estimate, self.now.figure);
        if value <= self.target {
            figure.high.filter(|high| *high > self.target).map(|_| {
                format!(
                    "{}: its interval reaches above the target; test again before you rely on it.",
                    self.test
                )
            })
        } else {
            figure.low.filter(|low| *low <= self.target).map(|_| {
                format!(
                    "{}: its interval reaches down to the target; the water may be there already.",
                    self.test
                )
            })
        }
    }
}
