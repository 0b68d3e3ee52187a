//! Where a weekly routine ends up: something is made at a steady rate, and each week a share of the water is changed.
//!
//! Rate, share and source water stay the same; what is made comes evenly. Never says whether the level is good, nor what
//! share to change. Arithmetic: balance of mass over one week, a geometric series over many.

use serde::Serialize;

use super::{Estimate, check};
use crate::error::{Error, Result};

/// One week after another of the same.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Routine {
    /// What the concentration rises by in a week without a change, 0 or more.
    pub rise: Estimate,
    /// Share of the water changed once a week, above 0, at most 1.
    pub share: Estimate,
    /// Concentration in the source water, 0 or more.
    pub source: Estimate,
}

/// The level at which a week's rise and a week's change cancel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Steady {
    /// Just before a change: the highest of the week.
    pub before: Estimate,
    /// Just after it: the lowest.
    pub after: Estimate,
}

/// How long until the routine is near its steady state.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Weeks {
    /// Full weeks; 0 if it is there now by its value (see [`Routine::weeks_between`]).
    pub weeks: u32,
    /// The same before rounding up, with its uncertainty; first order is rough where `weeks` is small.
    pub unrounded: Estimate,
}

/// More weeks than this are refused: no rate stays the same for a hundred years.
const MOST_WEEKS: f64 = 5200.0;

/// Rounding allowed before one more week is counted.
const ROUNDING: f64 = 1e-9;

impl Routine {
    fn checked(&self) -> Result<Self> {
        Ok(Routine {
            rise: check::amount("rise per week", self.rise)?,
            share: check::share("share per week", self.share)?,
            source: check::amount("source water", self.source)?,
        })
    }

    /// The steady state: source water plus rise by share before a change, one rise less after it.
    ///
    /// # Errors
    /// A negative rise or source, a share out of range, anything not a number.
    pub fn steady(&self) -> Result<Steady> {
        let Routine {
            rise,
            share,
            source,
        } = self.checked()?;
        let p = share.value;
        let by_share = rise.value / p / p * share.u;
        Ok(Steady {
            before: Estimate::from_contributions(
                source.value + rise.value / p,
                &[source.u, rise.u / p, by_share],
            )?,
            after: Estimate::from_contributions(
                source.value + rise.value * (1.0 - p) / p,
                &[source.u, (1.0 - p) / p * rise.u, by_share],
            )?,
        })
    }

    /// Weeks until readings just before a change stay within `percent` (above 0) of the steady state before a change.
    /// `now` is the concentration just before a change. Each week leaves one minus the share of the distance.
    ///
    /// # Errors
    /// As [`Routine::steady`]; a steady state of zero, of which no per cent can be taken; more than 5200 weeks.
    pub fn weeks_until_within(&self, percent: f64, now: Estimate) -> Result<Weeks> {
        let Routine {
            rise,
            share,
            source,
        } = self.checked()?;
        let near = check::positive("per cent", percent)? / 100.0;
        let now = check::amount("present concentration", now)?;
        let (p, level) = (share.value, self.steady()?.before.value);
        if level <= 0.0 {
            return Err(Error::new(
                "the steady state is zero, and no per cent of zero can be reached",
                "give a rise per week or source water above zero",
            ));
        }
        let distance = (now.value - level).abs();
        let close = near * level;
        if distance <= close * (1.0 + ROUNDING) {
            return Ok(Weeks {
                weeks: 0,
                unrounded: Estimate::exact(0.0),
            });
        }
        if p == 1.0 {
            // All of the water: one week forgets whatever was there.
            return Ok(Weeks {
                weeks: 1,
                unrounded: Estimate::exact(1.0),
            });
        }
        let shrink = (-p).ln_1p();
        let weeks = (close / distance).ln() / shrink;
        if weeks > MOST_WEEKS {
            return Err(Error::new(
                format!("with a share of {p} a week that takes more than {MOST_WEEKS:.0} weeks"),
                "give a larger share per week or a wider per cent",
            ));
        }
        let sign = (now.value - level).signum();
        let by_level = (1.0 / level + sign / distance) / shrink;
        let by_share = weeks / shrink / (1.0 - p) - by_level * rise.value / p / p;
        let unrounded = Estimate::from_contributions(
            weeks,
            &[
                sign / distance / shrink * now.u,
                by_level * source.u,
                by_level / p * rise.u,
                by_share * share.u,
            ],
        )?;
        Ok(Weeks {
            weeks: (weeks - ROUNDING).ceil() as u32,
            unrounded,
        })
    }

    /// The range of [`Routine::weeks_until_within`] when each input lies `k` standard uncertainties lower and higher: unlike a
    /// derivative it holds for a level that counts as there now, but may not be. No upper end if it may never come so near.
    /// The inputs count as independent: their deviations add as squares, on each side for itself (JCGM 100:2008, 5.1.3,
    /// note 2, with both sides of each input).
    ///
    /// # Errors
    /// As [`Routine::weeks_until_within`].
    pub fn weeks_between(&self, percent: f64, now: Estimate, k: f64) -> Result<(u32, Option<u32>)> {
        let weeks = self.weeks_until_within(percent, now)?;
        let near = percent / 100.0;
        // Weeks (infinite if never) and the distance with its sign.
        let reckon = |[now, source, rise, share]: [f64; 4]| {
            let level = source + rise / share;
            let distance = now - level;
            let weeks = if distance.abs() <= near * level * (1.0 + ROUNDING) {
                0.0
            } else if share >= 1.0 {
                1.0
            } else {
                (near * level / distance.abs()).ln() / (-share).ln_1p()
            };
            (weeks, distance)
        };
        let inputs = [now, self.source, self.rise, self.share];
        let values = inputs.map(|e| e.value);
        let (middle, _) = reckon(values);
        let (mut down, mut up) = (0.0_f64, 0.0_f64);
        for (i, input) in inputs.iter().enumerate().filter(|(_, e)| e.u > 0.0) {
            let end = |by: f64| {
                let mut at = values;
                at[i] = (input.value + by * input.u).max(0.0);
                at[3] = at[3].min(1.0);
                // Without any change it goes nowhere.
                if at[3] > 0.0 {
                    reckon(at)
                } else {
                    (f64::INFINITY, f64::NEG_INFINITY)
                }
            };
            let ((a, from), (b, to)) = (end(-k), end(k));
            // Between ends on both sides of the steady state it is there.
            let least = if from * to <= 0.0 { 0.0 } else { a.min(b) };
            down = down.hypot((middle - least).max(0.0));
            up = up.hypot((a.max(b) - middle).max(0.0));
        }
        let whole = |v: f64| (v - ROUNDING).max(0.0).ceil() as u32;
        let most = middle + up;
        Ok((
            whole(middle - down).min(weeks.weeks),
            (most <= MOST_WEEKS).then(|| whole(most).max(weeks.weeks)),
        ))
    }
}
