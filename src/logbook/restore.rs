//! Taking back in what was left out.

use rusqlite::{Connection, params};

use super::Moment;
use super::changes::Fields;
use super::entry::{Entry, Table};
use super::fault::{Fault, clear};
use super::write::{free, keep_fields, not_there, row, same_photo, spelt_in};

/// Takes an entry that was left out back in, if nothing has taken its place; that it was out is kept among the changes.
pub(super) fn restore(
    c: &Connection,
    entry: Entry,
    now: &Moment,
) -> std::result::Result<(), Fault> {
    const SEE: &str = "see `tintwell log show --changes`";
    let before = row(c, entry)?.ok_or_else(|| not_there(entry, SEE))?;
    if before["removed"].is_null() {
        let what = format!("{} {entry} was not removed: it is there", entry.what());
        return Err(clear(what, "see `tintwell log show`"));
    }
    match entry.table {
        Table::Water | Table::Equipment => {
            free(
                c,
                entry.table.name(),
                before["name"].as_str().unwrap_or_default(),
            )?;
        }
        Table::Reading | Table::Event => water_is_there(c, entry, &before)?,
    }
    if entry.table == Table::Reading
        && let Some(sha256) = before["sha256"].as_str()
    {
        let (water, chart) = (before["water"].as_i64(), before["chart_sha256"].as_str());
        if let Some(other) = same_photo(c, water.unwrap_or_default(), sha256, chart)? {
            return Err(clear(
                format!("the photo of reading {entry} was logged anew: it is reading {other}"),
                &format!("keep that one, or remove {other} first"),
            ));
        }
    }
    if entry.table == Table::Reading {
        // As they came to be spelt meanwhile.
        let (test, unit) = spelt_in(c, before["water"].as_i64().unwrap_or_default(), entry.id)?;
        c.execute(
            "UPDATE reading SET test = ?1, unit = ?2 WHERE id = ?3",
            params![test, unit, entry.id],
        )?;
    }
    keep_fields(c, entry, before, now)?;
    let table = entry.table.name();
    c.execute(
        &format!("UPDATE {table} SET removed = NULL WHERE id = ?1"),
        [entry.id],
    )?;
    Ok(())
}

/// An entry comes back with its water, not without it.
fn water_is_there(c: &Connection, entry: Entry, fields: &Fields) -> std::result::Result<(), Fault> {
    let water = Entry::new(Table::Water, fields["water"].as_i64().unwrap_or_default());
    match row(c, water)? {
        Some(w) if !w["removed"].is_null() => Err(clear(
            format!(
                "the water of {} {entry}, {water}, was removed too",
                entry.what()
            ),
            &format!("take it back first: `tintwell log restore {water}`"),
        )),
        _ => Ok(()),
    }
}
