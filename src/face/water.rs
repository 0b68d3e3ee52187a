//! The page about a water, put together from the logbook.

use std::collections::HashMap;

use crate::course::{Course, Wanted};
use crate::error::{Error, Result};
use crate::logbook::{Entry, Jpeg, Logbook, Moment};
use crate::report::page::{self, Report};

/// Pictures of the newest readings that the page holds, 50 kilobytes each: more would keep a phone from opening it.
const PICTURES: usize = 60;

/// The page about a water, from `since` on.
///
/// # Errors
/// If the logbook cannot be read, there is no such water, or a plot cannot be drawn.
pub(crate) fn page(
    logbook: &Logbook,
    water: &str,
    since: Option<Moment>,
    made: &Moment,
) -> Result<String> {
    let water = logbook.water(water)?;
    let wanted = Wanted {
        since,
        now: Some(made.clone()),
        ..Wanted::default()
    };
    let from = wanted.since.as_ref().map_or(i64::MIN, Moment::seconds);
    let mut courses = Course::all(logbook, &water.name, &wanted)?;
    for (entry, reading) in courses.iter_mut().flat_map(|c| &mut c.readings) {
        reading.record = logbook.record(*entry)?;
    }
    let mut newest: Vec<(i64, Entry)> = courses
        .iter()
        .flat_map(|c| c.readings.iter().map(|(entry, r)| (r.at.seconds(), *entry)))
        .collect();
    newest.sort_by_key(|(at, _)| std::cmp::Reverse(*at));
    let mut pictures: HashMap<Entry, Jpeg> = HashMap::new();
    let mut left_out = 0;
    for (_, entry) in newest {
        if pictures.len() < PICTURES {
            pictures.extend(logbook.picture(entry)?.map(|p| (entry, p)));
        } else if logbook.has_picture(entry)? {
            left_out += 1;
        }
    }
    let events: Vec<_> = logbook
        .events(&water.name)?
        .into_iter()
        .filter(|(_, e)| e.at.seconds() >= from)
        .collect();
    if let (Some(since), true, true) = (&wanted.since, courses.is_empty(), events.is_empty()) {
        return Err(Error::new(
            format!("nothing is logged from {} on", since.short()),
            "give an earlier --since; see `tintwell log show`",
        )
        .about(water.name));
    }
    page::of_water(&Report {
        water: &water,
        courses: &courses,
        events: &events,
        pictures: &pictures,
        left_out,
        made,
    })
}
