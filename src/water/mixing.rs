//! Water changes: what one leaves, what share a target needs, and how to spread it over days.
//!
//! Water out and water in are of the same volume, and the water is well mixed before the next change; the share is that
//! of the water, not of the tank. Nothing is made or used up meanwhile: that is [`super::routine`]. Never says which
//! concentration to aim at, nor how much change is good. Arithmetic: balance of mass.

use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal};

use super::{Estimate, check};
use crate::error::{Error, Result};

/// Concentration after one change: `present` mixed with a `share` (above 0, at most 1) of water of `source`. All
/// concentrations in the same unit.
///
/// # Errors
/// A negative concentration, a share out of range, anything not a number.
pub fn after_change(present: Estimate, source: Estimate, share: Estimate) -> Result<Estimate> {
    after_changes(present, source, share, 1)
}

/// Concentration after `times` equal changes with the same source water: an error of source or share is the same in each.
///
/// # Errors
/// As [`after_change`].
pub fn after_changes(
    present: Estimate,
    source: Estimate,
    share: Estimate,
    times: u32,
) -> Result<Estimate> {
    let present = check::amount("present concentration", present)?;
    let source = check::amount("source water", source)?;
    let share = check::share("share", share)?;
    if times == 0 {
        return Ok(present);
    }
    let n = f64::from(times);
    let kept = (1.0 - share.value).powf(n);
    let by_share = n * (1.0 - share.value).powf(n - 1.0) * (source.value - present.value);
    Estimate::from_contributions(
        kept * present.value + (1.0 - kept) * source.value,
        &[
            kept * present.u,
            (1.0 - kept) * source.u,
            by_share * share.u,
        ],
    )
}

/// Share to change at once to come from `present` down to `target`; all in `unit`, which errors name.
///
/// The uncertainty is that of present and source; the target is exact. Near a source as high as the present it grows
/// without bound.
///
/// # Errors
/// A target below the source water (no change reaches it) or equal to it (no number of changes does), a target at or above
/// the present (nothing to change),
/// a negative concentration, anything not a number.
pub fn share_needed(
    present: Estimate,
    source: Estimate,
    target: f64,
    unit: &str,
) -> Result<Estimate> {
    let present = check::amount("present concentration", present)?;
    let source = check::amount("source water", source)?;
    check::not_negative("target", target)?;
    let level = |v: f64| format!("{v} {unit}").trim_end().to_owned();
    if target >= present.value {
        return Err(Error::new(
            format!(
                "the target {} is not below the present {}: no change is needed to come down to it",
                level(target),
                level(present.value)
            ),
            "give a target below the present concentration",
        )
        .about("target"));
    }
    if target < source.value {
        return Err(Error::new(
            format!(
                "the source water holds {}, more than the target {}: no water change comes down to it",
                level(source.value),
                level(target)
            ),
            "give a higher target, or source water with less of the substance",
        )
        .about("target"));
    }
    if target == source.value {
        return Err(Error::new(
            format!(
                "the target {} is the level of the source water itself: each change comes nearer, and only an unlimited \
                 number of changes (or changing all of the water) would reach it",
                level(target)
            ),
            "give a target above the source water, or source water with less of the substance",
        )
        .about("target"));
    }
    let (down, span) = (present.value - target, present.value - source.value);
    Estimate::from_contributions(
        down / span,
        &[
            (target - source.value) / span / span * present.u,
            down / span / span * source.u,
        ],
    )
}

/// Places in each distribution that [`share_interval`] takes.
const PLACES: u32 = 400;

/// The 95 % interval of [`share_needed`], from 0 to 1: present and source are propagated as distributions, since the share is no
/// line in the levels, least of all near the target (JCGM 101:2008, 7.7, probabilistically symmetric; places of equal probability
/// instead of random ones). Nothing is to change where the level is at the target, and all where the source water is.
pub fn share_interval(present: Estimate, source: Estimate, target: f64) -> (f64, f64) {
    let normal = Normal::standard();
    let places = |e: Estimate| -> Vec<f64> {
        let of = |i: u32| normal.inverse_cdf((f64::from(i) + 0.5) / f64::from(PLACES));
        match e.u > 0.0 {
            true => (0..PLACES)
                .map(|i| (e.value + e.u * of(i)).max(0.0))
                .collect(),
            false => vec![e.value],
        }
    };
    let sources = places(source);
    let share = |present: f64, source: f64| match (present <= target, source >= target) {
        (true, _) => 0.0,
        (false, true) => 1.0,
        (false, false) => (present - target) / (present - source),
    };
    let mut shares: Vec<f64> = places(present)
        .into_iter()
        .flat_map(|p| sources.iter().map(move |s| share(p, *s)))
        .collect();
    shares.sort_by(f64::total_cmp);
    let last = (shares.len() - 1) as f64;
    let at = |p: f64| shares[(p * last).round() as usize];
    (at(0.025), at(0.975))
}

/// A substance to bring down.
#[derive(Debug, Clone, PartialEq)]
pub struct Goal {
    /// What errors call it, and the unit of its levels.
    pub name: String,
    pub unit: String,
    /// Concentration now, in the source water, and wanted at most.
    pub present: Estimate,
    pub source: Estimate,
    pub target: f64,
}

/// The one share that brings several substances down together.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Together {
    /// The largest of the shares needed.
    pub share: Estimate,
    /// Which goal needs it: its place among the goals, from 0.
    pub decided_by: usize,
    /// Each goal in the order given.
    pub each: Vec<Outcome>,
}

/// One goal under the common share.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outcome {
    /// The share that it needs for itself; none if it is at or below its target now.
    pub needed: Option<Estimate>,
    /// Concentration after the common change, its share set exactly.
    pub after: Estimate,
    /// Whether that is above the target: source water holds more than the target, of a substance that is below it now.
    pub raised_above_target: bool,
}

/// The largest share that any of the goals needs. Goals that are met already need none.
///
/// # Errors
/// No goals, all of them met already, or a goal that [`share_needed`] cannot reach (named).
pub fn share_for_all(goals: &[Goal]) -> Result<Together> {
    let mut needed = Vec::with_capacity(goals.len());
    for g in goals {
        let named = |e: Error| Error::new(format!("{}: {}", g.name, e.what), e.fix);
        check::amount("present concentration", g.present).map_err(named)?;
        check::not_negative("target", g.target).map_err(named)?;
        needed.push(if g.present.value <= g.target {
            None
        } else {
            Some(share_needed(g.present, g.source, g.target, &g.unit).map_err(named)?)
        });
    }
    let (decided_by, share) = needed
        .iter()
        .enumerate()
        .filter_map(|(i, n)| n.map(|n| (i, n)))
        .max_by(|a, b| a.1.value.total_cmp(&b.1.value))
        .ok_or_else(|| {
            Error::new(
                "nothing has to come down: no substance is above its target",
                "give at least one substance with a target below its present concentration",
            )
        })?;
    let each = goals
        .iter()
        .zip(needed)
        .map(|(g, needed)| {
            let after = after_change(g.present, g.source, Estimate::exact(share.value))
                .map_err(|e| Error::new(format!("{}: {}", g.name, e.what), e.fix))?;
            Ok(Outcome {
                needed,
                after,
                raised_above_target: needed.is_none() && after.value > g.target,
            })
        })
        .collect::<Result<_>>()?;
    Ok(Together {
        share,
        decided_by,
        each,
    })
}

/// Equal changes, one a day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Schedule {
    /// How many days.
    pub days: u32,
    /// The share of each day.
    pub share: Estimate,
}

/// Longer schedules are refused: what is made or used up meanwhile outweighs them.
const MOST_DAYS: f64 = 365.0;

/// Rounding allowed before one more day is counted.
const ROUNDING: f64 = 1e-9;

/// Spreads a change over the fewest days on which no more than `most_per_day` (above 0, at most 1) is changed, with equal
/// shares that together leave as much of the old water as `at_once` (above 0, at most 1) would.
///
/// # Errors
/// A share out of range; all of the water in parts that always leave some; more than 365 days.
pub fn spread(at_once: Estimate, most_per_day: f64) -> Result<Schedule> {
    let at_once = check::share("share at once", at_once)?;
    let most = check::share("share per day", Estimate::exact(most_per_day))?.value;
    if at_once.value <= most {
        return Ok(Schedule {
            days: 1,
            share: at_once,
        });
    }
    // ln(1 - share); minus infinity for all of the water.
    let (whole, one) = ((-at_once.value).ln_1p(), (-most).ln_1p());
    let days = (whole / one - ROUNDING).ceil().max(1.0);
    if days > MOST_DAYS {
        return Err(Error::new(
            format!(
                "a change of {:.1} % in parts of at most {} % a day takes more than {MOST_DAYS:.0} days",
                100.0 * at_once.value,
                // Per cent as a person writes them, without the dust of binary fractions.
                (1e6 * most).round() / 1e4
            ),
            "allow a larger share per day, or aim at a smaller change",
        )
        .about("share per day"));
    }
    let share = -(whole / days).exp_m1();
    // Of 1 - (1 - P)^(1/n) by P.
    let by_whole = (whole * (1.0 / days - 1.0)).exp() / days;
    Ok(Schedule {
        days: days as u32,
        share: Estimate::from_contributions(share, &[by_whole * at_once.u])?,
    })
}

impl Schedule {
    /// The share of each day for another share at once, over as many days.
    pub fn each(&self, at_once: f64) -> f64 {
        -((-at_once).ln_1p() / f64::from(self.days)).exp_m1()
    }

    /// Concentration after each day's change, its share set exactly.
    ///
    /// # Errors
    /// As [`after_change`].
    pub fn course(&self, present: Estimate, source: Estimate) -> Result<Vec<Estimate>> {
        (1..=self.days)
            .map(|day| after_changes(present, source, Estimate::exact(self.share.value), day))
            .collect()
    }
}
