//! How much water to change for a target.

use serde::Serialize;

use super::figure::{Figure, short, short_if_known};
use super::level::{Now, Otherwise, Source};
use crate::error::{Error, Result};
use crate::water::Estimate;
use crate::water::mixing::{Schedule, share_interval, share_needed, spread};

/// Per cent of the water from which on a change at once calls for care (common practice: weekly changes are of 10 to 25 %).
const LARGE: f64 = 30.0;

/// What is asked.
pub(crate) struct Asked {
    pub(crate) unit: String,
    pub(crate) now: Now,
    /// Level to come down to.
    pub(crate) target: f64,
    pub(crate) source: Source,
    /// Litres.
    pub(crate) volume: Option<f64>,
    /// Most of the water that is changed on one day, per cent.
    pub(crate) most_a_day: Option<f64>,
}

/// The answer.
#[derive(Serialize)]
pub(crate) struct Plan {
    pub(crate) unit: String,
    pub(crate) now: Now,
    #[serde(serialize_with = "short")]
    pub(crate) target: f64,
    pub(crate) source: Figure,
    #[serde(serialize_with = "short_if_known")]
    pub(crate) volume_litres: Option<f64>,
    pub(crate) needed: bool,
    /// All at once; `null` if nothing is to change.
    pub(crate) share_at_once_percent: Option<Figure>,
    /// Each of the changes.
    pub(crate) share_each_percent: Option<Figure>,
    pub(crate) changes: Vec<Change>,
}

/// Most days that are all shown, and how many of the first ones are where there are more.
const MOST_SHOWN: usize = 21;
const FIRST_SHOWN: usize = 14;

impl Plan {
    /// The changes for people: of many the first and the last, with `None` for those between.
    pub(crate) fn shown(&self) -> Vec<Option<&Change>> {
        match self.changes.as_slice() {
            [first @ .., last] if self.changes.len() > MOST_SHOWN => {
                let begin = first.iter().take(FIRST_SHOWN).map(Some);
                begin.chain([None, Some(last)]).collect()
            }
            all => all.iter().map(Some).collect(),
        }
    }
}

/// One of the changes.
#[derive(Serialize)]
pub(crate) struct Change {
    pub(crate) day: usize,
    #[serde(serialize_with = "short")]
    pub(crate) percent: f64,
    #[serde(serialize_with = "short_if_known")]
    pub(crate) litres: Option<f64>,
    pub(crate) expected: Figure,
}

/// The plan, and what has to be said beside it.
///
/// # Errors
/// If water was changed since the level was read, the volume is none, or no change with this source water reaches the target.
pub(crate) fn plan(asked: Asked) -> Result<(Plan, Vec<String>)> {
    let dosed = asked.now.before_a_change(Otherwise::Tell)?;
    holds_water(asked.volume)?;
    let source = asked.source.estimate();
    let mut plan = Plan {
        unit: asked.unit,
        now: asked.now,
        target: asked.target,
        source: asked.source.figure(),
        volume_litres: asked.volume,
        needed: false,
        share_at_once_percent: None,
        share_each_percent: None,
        changes: Vec::new(),
    };
    let present = plan.now.estimate;
    if present.value <= plan.target {
        let mut notes = beside_nothing(&plan);
        notes.extend(dosed);
        return Ok((plan, notes));
    }
    let share = share_needed(present, source, plan.target, &plan.unit)?;
    let schedule = spread(share, asked.most_a_day.map_or(1.0, |most| most / 100.0))?;
    plan.needed = true;
    let at_once = at_once_percent(share, present, source, plan.target);
    plan.share_at_once_percent = Some(at_once);
    plan.share_each_percent = Some(each_percent(&schedule, at_once));
    plan.changes = changes(&schedule, present, source, plan.volume_litres)?;
    let mut notes = notes(&plan);
    notes.extend(dosed);
    Ok((plan, notes))
}

/// The share that is needed at once, with its interval.
pub(super) fn at_once_percent(
    share: Estimate,
    present: Estimate,
    source: Estimate,
    target: f64,
) -> Figure {
    Figure::percent_between(share, share_interval(present, source, target))
}

/// The share of each change of a schedule that takes the place of one at once.
pub(super) fn each_percent(schedule: &Schedule, at_once: Figure) -> Figure {
    let each = |percent: f64| 100.0 * schedule.each(percent / 100.0);
    Figure {
        value: 100.0 * schedule.share.value,
        low: at_once.low.map(each),
        high: at_once.high.map(each),
    }
}

/// A volume may come from a logbook that another program wrote.
pub(super) fn holds_water(volume: Option<f64>) -> Result<()> {
    match volume {
        Some(litres) if !(litres > 0.0 && litres.is_finite()) => Err(Error::new(
            format!("a volume of {litres} L holds no water"),
            "tell how much water it is with --volume, and correct the logbook",
        )),
        _ => Ok(()),
    }
}

fn changes(
    schedule: &Schedule,
    present: Estimate,
    source: Estimate,
    volume: Option<f64>,
) -> Result<Vec<Change>> {
    let share = schedule.share.value;
    let course = schedule.course(present, source)?;
    Ok(course
        .into_iter()
        .enumerate()
        .map(|(i, after)| Change {
            day: i + 1,
            percent: 100.0 * share,
            litres: volume.map(|v| v * share),
            expected: Figure::of(after),
        })
        .collect())
}

/// A volume that is poured, in litres: three digits are more than a bucket bears.
pub(crate) fn poured(litres: f64) -> String {
    let decimals = (2 - litres.log10().floor() as i32).clamp(0, 3) as usize;
    format!("{litres:.decimals$} L")
}

fn beside_nothing(plan: &Plan) -> Vec<String> {
    let mut notes = Vec::new();
    if plan.now.figure.high.is_some_and(|high| high > plan.target) {
        notes.push(
            "Its interval reaches above the target: test again before you rely on it.".to_owned(),
        );
    }
    if plan.source.value > plan.target {
        notes.push(
            "The source water is above the target: a change with it would raise the level."
                .to_owned(),
        );
    }
    notes
}

fn notes(plan: &Plan) -> Vec<String> {
    let mut notes = Vec::new();
    if plan.now.figure.low.is_some_and(|low| low <= plan.target) {
        notes.push(
            "The interval of the level now reaches down to the target: the water may be there already.".to_owned(),
        );
    }
    if plan.source.high.is_some_and(|high| high >= plan.target) {
        notes.push(
            "The source water may be above the target itself: test it better before you rely on this."
                .to_owned(),
        );
    }
    notes.extend(plan.share_each_percent.as_ref().and_then(large));
    notes.push(
        "Not counted is what is made or used up meanwhile; the water is taken as well mixed. Test afterwards."
            .to_owned(),
    );
    notes
}

/// What has to be said of a change at or above [`LARGE`].
pub(super) fn large(each: &Figure) -> Option<String> {
    (each.value >= LARGE).then(|| {
        "So large a change at once alters temperature, salinity and pH too, which animals may bear badly: match the water that is \
         put in, or spread the change over days."
            .to_owned()
    })
}
