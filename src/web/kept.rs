//! What pages show of photos that are not in the logbook yet: kept in memory under names that cannot be guessed, for a while,
//! and no more of it than fits. Nothing here is written anywhere; what is gone is taken anew.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, OnceLock};
use std::time::Duration;

use axum::http::StatusCode;
use jiff::Timestamp;

use super::pages::route::Walk;
use super::pairing::random;
use super::refusal::Refusal;
use super::state::Listed;
use crate::error::Result;
use crate::logbook::Jpeg;
use crate::report::Outcome;

/// Most things kept: a few tests at once, with their repeats.
const MOST: usize = 32;
/// Most memory for all of them, bytes. The newest is kept whatever its size: an upload has a limit of its own.
const MOST_BYTES: usize = 128 << 20;
/// How long one is kept: long enough to finish a test and note it.
const STAYS: Duration = Duration::from_secs(2 * 60 * 60);

/// A thing that is kept.
pub(super) enum Thing {
    /// A vial that was read.
    Vial(Vial),
    /// A photo on which white and liquid are to be touched.
    Unmarked(Unmarked),
}

/// What came of the photos of a vial.
pub(super) struct Vial {
    pub(super) chart: Arc<Listed>,
    /// How the test was come to.
    pub(super) walk: Walk,
    /// Its photos, at least one, in the order in which they came.
    pub(super) shots: Vec<Arc<Shot>>,
}

/// What came of a photo.
pub(super) struct Shot {
    pub(super) outcome: Outcome,
    /// Where the program looked, small, as it is logged.
    pub(super) small: Option<Jpeg>,
    /// The same large, beside the steps of the chart; PNG.
    pub(super) overlay: Option<Vec<u8>>,
    /// The name under which the photo itself is kept, where white and liquid can be touched.
    pub(super) unmarked: Option<String>,
}

/// A photo on which white and liquid are to be touched.
pub(super) struct Unmarked {
    pub(super) walk: Walk,
    /// Name of the photo, fit for showing.
    pub(super) name: String,
    pub(super) bytes: Vec<u8>,
    pub(super) upright: OnceLock<Result<Upright>>,
}

/// A photo as it is shown.
#[derive(Clone)]
pub(super) struct Upright {
    /// Reduced.
    pub(super) jpeg: Arc<Vec<u8>>,
    /// Of the photo itself, pixels.
    pub(super) width: u32,
    pub(super) height: u32,
}

impl Thing {
    fn bytes(&self) -> usize {
        match self {
            Thing::Unmarked(photo) => photo.bytes.len(),
            Thing::Vial(vial) => {
                let of = |s: &Arc<Shot>| {
                    s.small.as_ref().map_or(0, |j| j.0.len())
                        + s.overlay.as_ref().map_or(0, Vec::len)
                };
                vial.shots.iter().map(of).sum()
            }
        }
    }
}

/// All that is kept, the oldest first.
#[derive(Default)]
pub(super) struct Kept(Mutex<VecDeque<Item>>);

struct Item {
    name: String,
    since: Timestamp,
    thing: Arc<Thing>,
}

impl Kept {
    /// Keeps a thing and gives its name; the oldest make room.
    ///
    /// # Errors
    /// If the system gives no random numbers.
    pub(super) fn put(&self, thing: Thing, now: Timestamp) -> Result<String> {
        let name: String = random::<16>()?.iter().map(|b| format!("{b:02x}")).collect();
        let mut items = self.items();
        items.push_back(Item {
            name: name.clone(),
            since: now,
            thing: Arc::new(thing),
        });
        let bytes = |items: &VecDeque<Item>| items.iter().map(|i| i.thing.bytes()).sum::<usize>();
        while items.len() > 1 && (items.len() > MOST || bytes(&items) > MOST_BYTES) {
            items.pop_front();
        }
        Ok(name)
    }

    /// The thing of a name.
    fn get(&self, name: &str, now: Timestamp) -> Option<Arc<Thing>> {
        let mut items = self.items();
        items.retain(|i| now.duration_since(i.since).unsigned_abs() < STAYS);
        let item = items.iter().find(|i| i.name == name);
        item.map(|i| i.thing.clone())
    }

    /// A vial that was read.
    pub(super) fn vial(
        &self,
        name: &str,
        now: Timestamp,
    ) -> std::result::Result<Of<Vial>, Refusal> {
        Of::new(self.get(name, now), |thing| match thing {
            Thing::Vial(vial) => Some(vial),
            Thing::Unmarked(_) => None,
        })
    }

    /// A photo to be marked.
    pub(super) fn unmarked(
        &self,
        name: &str,
        now: Timestamp,
    ) -> std::result::Result<Of<Unmarked>, Refusal> {
        Of::new(self.get(name, now), |thing| match thing {
            Thing::Unmarked(photo) => Some(photo),
            Thing::Vial(_) => None,
        })
    }

    fn items(&self) -> MutexGuard<'_, VecDeque<Item>> {
        // Whole at any moment.
        self.0.lock().unwrap_or_else(|e| e.into_inner())
    }
}

/// A kept thing known to be of a kind.
pub(super) struct Of<T> {
    thing: Arc<Thing>,
    as_kind: fn(&Thing) -> Option<&T>,
}

impl<T> Of<T> {
    fn new(
        thing: Option<Arc<Thing>>,
        as_kind: fn(&Thing) -> Option<&T>,
    ) -> std::result::Result<Of<T>, Refusal> {
        match thing {
            Some(thing) if as_kind(&thing).is_some() => Ok(Of { thing, as_kind }),
            _ => Err(gone()),
        }
    }

    /// The thing itself.
    pub(super) fn get(&self) -> std::result::Result<&T, Refusal> {
        (self.as_kind)(&self.thing).ok_or_else(gone)
    }
}

fn gone() -> Refusal {
    Refusal::new(
        StatusCode::NOT_FOUND,
        "this photo is no longer kept",
        "take the photo again",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn photo(bytes: usize) -> Thing {
        Thing::Unmarked(Unmarked {
            walk: Walk::default(),
            name: "a".into(),
            bytes: vec![0; bytes],
            upright: OnceLock::new(),
        })
    }

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_second(1_790_000_000 + seconds).unwrap()
    }

    #[test]
    fn the_oldest_make_room_and_time_passes() {
        let kept = Kept::default();
        let names: Vec<String> = (0..=MOST)
            .map(|_| kept.put(photo(1), at(0)).unwrap())
            .collect();
        let there = |name: &str, now| kept.unmarked(name, now).is_ok();
        assert!(!there(&names[0], at(0)) && there(&names[1], at(0)));
        assert!(kept.vial(&names[1], at(0)).is_err());
        let stays = STAYS.as_secs() as i64;
        assert!(there(&names[1], at(stays - 1)) && !there(&names[1], at(stays)));
        let small = kept.put(photo(1), at(0)).unwrap();
        let large = kept.put(photo(MOST_BYTES), at(0)).unwrap();
        assert!(!there(&small, at(0)) && there(&large, at(0)));
        assert!(!there("", at(0)));
    }
}
