//! Charts that are being made on a phone: standards photographed one after another.
//!
//! A session lives in memory, one for each device, within bounds of number, bytes and time; its photos are forgotten once they were
//! looked at. What is shown meanwhile is the chart as `tintwell calibrate` would make it of what there is so far.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard};

use jiff::{SignedDuration, Timestamp};

use super::refusal::Refusal;
use crate::chart::calibrate::{LEAST_STEPS, Standard, build};
use crate::chart::resolve::{TOLD_APART, flags, pairs};
use crate::chart::{Chart, Origin, Terms};
use crate::colour::{Lab, Relative};
use crate::error::{Error, Result};
use crate::flag::Flag;
use crate::light::correct::Correction;

/// How long a session is kept after its last photo. A colour takes up to a quarter of an hour to develop, and somebody may be
/// called away in between.
pub(super) const STAYS: SignedDuration = SignedDuration::from_hours(2);
/// Sessions at a time: a household makes one.
const MOST_SESSIONS: usize = 4;
/// Standards of a chart.
const MOST_VALUES: usize = 16;
/// Photos of a session: three of each standard.
const MOST_PHOTOS: usize = 3 * MOST_VALUES;
/// What all sessions may hold together, bytes; a photo that was looked at takes two or three megabytes.
const MOST_BYTES: usize = 256 << 20;
/// A cell of a bay, bytes: nine numbers and a mark.
const CELL_BYTES: usize = 80;
/// Beside the bay: patches and paper.
const LOOK_BYTES: usize = 64 << 10;

/// All sessions.
#[derive(Default)]
pub(super) struct Sessions(Mutex<HashMap<String, Arc<Mutex<Session>>>>);

/// A chart that is being made.
pub(super) struct Session {
    pub(super) terms: Terms,
    /// The standards that are to be photographed, ascending.
    pub(super) values: Vec<f64>,
    photos: Vec<Taken>,
    standards: Vec<Standard>,
    next: u32,
    /// Why the last photo cannot be used, with its name.
    trouble: Option<(String, Error)>,
    pub(super) ends: Timestamp,
}

/// A photo, beside its [`Standard`].
struct Taken {
    /// Its number in the session, never given again.
    number: u32,
    sha256: String,
    bytes: usize,
}

/// How far a session has come.
pub(super) struct Progress {
    pub(super) terms: Terms,
    pub(super) steps: Vec<Step>,
    /// The first standard without a photo.
    pub(super) next: Option<f64>,
    pub(super) ends: Timestamp,
    /// Why the last photo cannot be used, with its name.
    pub(super) trouble: Option<(String, Error)>,
    /// Findings about the chart so far; an error if no chart can be made of these photos.
    pub(super) found: Option<Result<Vec<Flag>>>,
}

impl Progress {
    /// Whether a chart can be made now.
    pub(super) fn is_ready(&self) -> bool {
        matches!(self.found, Some(Ok(_)))
    }

    /// How many standards still need a photo before a chart can be made.
    pub(super) fn lacking(&self) -> usize {
        let there = self.steps.iter().filter(|s| !s.photos.is_empty()).count();
        LEAST_STEPS.saturating_sub(there)
    }
}

/// A standard.
pub(super) struct Step {
    pub(super) value: f64,
    /// Number and name of each photo.
    pub(super) photos: Vec<(u32, String)>,
    pub(super) colour: Option<Relative>,
    /// Whether one photo tells it from the next standard that was photographed; `None` if that is not known yet.
    pub(super) next: Option<Next>,
}

/// A standard beside the one above it.
pub(super) struct Next {
    pub(super) value: f64,
    pub(super) told_apart: bool,
    /// CIEDE2000.
    pub(super) difference: f64,
}

impl Step {
    pub(super) fn lab(&self) -> Option<Lab> {
        self.colour.map(Relative::to_lab)
    }
}

impl Sessions {
    fn all(&self) -> MutexGuard<'_, HashMap<String, Arc<Mutex<Session>>>> {
        // Whoever panicked while holding it has left whole sessions.
        self.0.lock().unwrap_or_else(|e| e.into_inner())
    }

    /// Begins a session in place of the one that the device has.
    ///
    /// # Errors
    /// If the standards are too few, too many or given twice, or there are too many sessions.
    pub(super) fn begin(
        &self,
        device: &str,
        terms: Terms,
        mut values: Vec<f64>,
        now: Timestamp,
    ) -> Result<()> {
        values.sort_by(f64::total_cmp);
        if let Some(twice) = values.windows(2).find(|w| w[0] == w[1]) {
            return Err(Error::new(
                format!("the standard {} is given twice", twice[0]),
                "give each standard once",
            ));
        }
        if values.len() < LEAST_STEPS || values.len() > MOST_VALUES {
            return Err(Error::new(
                format!(
                    "a chart has {LEAST_STEPS} to {MOST_VALUES} standards, these are {}",
                    values.len()
                ),
                "give five or six standards that span the range",
            ));
        }
        let mut all = self.all();
        all.retain(|_, s| lock(s).ends > now);
        if all.len() >= MOST_SESSIONS && !all.contains_key(device) {
            return Err(Error::new(
                "charts are being made on other devices",
                "finish or give up one of them first",
            ));
        }
        let session = Session {
            terms,
            values,
            photos: Vec::new(),
            standards: Vec::new(),
            next: 1,
            trouble: None,
            ends: now + STAYS,
        };
        all.insert(device.to_owned(), Arc::new(Mutex::new(session)));
        Ok(())
    }

    /// The session of a device, if it has one that has not ended.
    pub(super) fn of(&self, device: &str, now: Timestamp) -> Option<Arc<Mutex<Session>>> {
        let mut all = self.all();
        all.retain(|_, s| lock(s).ends > now);
        all.get(device).cloned()
    }

    /// Forgets the session of a device.
    pub(super) fn end(&self, device: &str) {
        self.all().remove(device);
    }

    /// Bytes of all sessions.
    fn bytes(&self) -> usize {
        self.all().values().map(|s| lock(s).bytes()).sum()
    }

    /// Whether another photo may be added to the session of a device.
    ///
    /// # Errors
    /// If the bounds are reached.
    pub(super) fn has_room(
        &self,
        device: &str,
        now: Timestamp,
    ) -> std::result::Result<(), Refusal> {
        let Some(session) = self.of(device, now) else {
            return Err(none());
        };
        let photos = lock(&session).photos.len();
        if photos >= MOST_PHOTOS || self.bytes() >= MOST_BYTES {
            return Err(Refusal::wrong(
                format!("the session holds {photos} photos: no more are taken"),
                "finish the chart, or take photos away that are not needed",
            ));
        }
        Ok(())
    }
}

/// There is no session, or it has ended.
pub(super) fn none() -> Refusal {
    Refusal::wrong(
        format!(
            "no chart is being made on this device: a session ends {} hours after its last photo",
            STAYS.as_hours()
        ),
        "begin anew at /calibrate",
    )
}

/// Locks a session.
pub(super) fn lock(session: &Mutex<Session>) -> MutexGuard<'_, Session> {
    // A photo is in it whole or not at all.
    session.lock().unwrap_or_else(|e| e.into_inner())
}

impl Session {
    fn bytes(&self) -> usize {
        self.photos.iter().map(|p| p.bytes).sum()
    }

    /// Takes a photo that was looked at.
    ///
    /// # Errors
    /// If its value is none of the session's, or it is there already.
    pub(super) fn add(&mut self, standard: Standard, sha256: String, now: Timestamp) -> Result<()> {
        if !self.values.contains(&standard.value) {
            return Err(Error::new(
                format!("{} is none of the standards of this chart", standard.value),
                "choose one of the list",
            ));
        }
        if let Some(i) = self.photos.iter().position(|p| p.sha256 == sha256) {
            return Err(Error::new(
                format!(
                    "this photo was given already, for {} {}",
                    self.standards[i].value, self.terms.unit
                ),
                "take a photo of each standard; between two of the same one, take the vial away and put it back",
            ));
        }
        let cells = standard.look.bay.nx * standard.look.bay.ny;
        self.photos.push(Taken {
            number: self.next,
            sha256,
            bytes: cells * CELL_BYTES + LOOK_BYTES,
        });
        self.standards.push(standard);
        self.next += 1;
        self.ends = now + STAYS;
        Ok(())
    }

    /// Tells from now on why the last photo cannot be used; nothing, if it can.
    pub(super) fn tell(&mut self, trouble: Option<(String, Error)>) {
        self.trouble = trouble;
    }

    /// Forgets a photo.
    pub(super) fn take_away(&mut self, number: u32) {
        if let Some(i) = self.photos.iter().position(|p| p.number == number) {
            self.photos.remove(i);
            self.standards.remove(i);
        }
    }

    /// The chart of what there is.
    ///
    /// # Errors
    /// As [`build`].
    pub(super) fn chart(&self) -> Result<Chart> {
        build(self.terms.clone(), Origin::Standards, &self.standards)
    }

    /// How far it has come.
    pub(super) fn progress(&self) -> Progress {
        let mut steps: Vec<Step> = self.values.iter().map(|v| self.step(*v)).collect();
        let there = steps.iter().filter(|s| !s.photos.is_empty()).count();
        let chart = (there >= LEAST_STEPS).then(|| self.chart());
        let found = chart.map(|chart| {
            let chart = chart?;
            for made in &chart.steps {
                if let Some(step) = steps.iter_mut().find(|s| s.value == made.value) {
                    step.colour = Some(made.relative());
                }
            }
            for pair in pairs(&chart)? {
                if let Some(step) = steps.iter_mut().find(|s| s.value == pair.lower) {
                    step.next = Some(Next {
                        value: pair.upper,
                        told_apart: pair.sigmas >= TOLD_APART,
                        difference: pair.delta_e,
                    });
                }
            }
            flags(&chart)
        });
        Progress {
            terms: self.terms.clone(),
            next: steps.iter().find(|s| s.photos.is_empty()).map(|s| s.value),
            steps,
            trouble: self.trouble.clone(),
            ends: self.ends,
            found,
        }
    }

    /// A standard by itself: the colour of its first photo.
    fn step(&self, value: f64) -> Step {
        let own = || {
            let both = self.standards.iter().zip(&self.photos);
            both.filter(move |(s, _)| s.value == value)
        };
        let colour = own().next().and_then(|(s, _)| {
            let plain = Correction::none(s.look.observed.to_working);
            let sampled = s.look.colour(&plain).ok()?;
            Some(Relative(sampled.ln.map(f64::exp).into()))
        });
        Step {
            value,
            photos: own().map(|(s, p)| (p.number, s.name.clone())).collect(),
            colour,
            next: None,
        }
    }
}
