//! Adding to a logbook what a file holds that is not there yet: all of the file, or nothing.
//!
//! Entries are known again by their `uid`; one without is given that of its content, which an entry that was logged with the same
//! content was given too. What is there is passed over, also where it was edited or removed since; bounds are never set back.
//! Record and picture that a reading lacks are added. Waters and equipment are known again by their name as well.

use std::collections::HashMap;

use rusqlite::Connection;

use super::entry::Table;
use super::equipment;
use super::exchange::{Kept, Whole};
use super::fault::{Fault, clear, of_entry};
use super::write::{
    add_proof, event_uid, folded, insert_equipment, insert_event, insert_limit, insert_reading,
    insert_water, keep, known, lacking, limit_of, reading_uid, row, water_id,
};
use super::{Entry, Equipment, Event, Logbook, Moment, Water};
use crate::error::Result;

/// What an import did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Imported {
    pub waters: usize,
    pub equipment: usize,
    pub readings: usize,
    pub events: usize,
    pub limits: usize,
    /// Readings that were there, and were given record or picture.
    pub completed: usize,
    /// Limits that were there with other bounds, and were kept.
    pub limits_kept: usize,
    /// Waters, equipment, readings and events that were removed here, and stay so.
    pub removed: usize,
    /// Readings and events that were there.
    pub there: usize,
    /// Waters that were there and in which, by the file, invertebrates live, which the logbook did not know. It does now: what copper
    /// would kill is not to be forgotten.
    pub invertebrates: Vec<String>,
    /// Of which new events there is a warning, and what it says.
    pub warned: Vec<(Entry, String)>,
}

impl Imported {
    /// Counts an entry that is known, and may be removed.
    fn pass_over(&mut self, removed: bool) {
        match removed {
            true => self.removed += 1,
            false => self.there += 1,
        }
    }
}

impl Whole {
    /// Adds all of it that is not there yet; what is changed by that is kept with the time `now`.
    ///
    /// # Errors
    /// If the logbook cannot be written, or an entry cannot be one; the error gives its line in a table, or its time.
    pub fn import(self, logbook: &mut Logbook, now: &Moment) -> Result<Imported> {
        let (mut done, new) = logbook.change(|c| self.add(c, now))?;
        for (entry, event) in new {
            let warning = equipment::warning(logbook, &event, Some(entry))?;
            done.warned.extend(warning.map(|w| (entry, w)));
        }
        Ok(done)
    }

    fn add(
        self,
        c: &Connection,
        now: &Moment,
    ) -> std::result::Result<(Imported, Vec<(Entry, Event)>), Fault> {
        let mut done = Imported {
            invertebrates: learn_of_invertebrates(c, &self.waters, now)?,
            ..Imported::default()
        };
        let mut new = Vec::new();
        let mut waters: Names<Water> = Names::of(c, self.waters)?;
        let mut things: Names<Equipment> = Names::of(c, self.equipment)?;
        for Kept {
            uid,
            mut value,
            line,
        } in self.readings
        {
            let label = label(line, &value.test, &value.at);
            value.answer = value.answer.cut(&value.unit);
            let uid = uid.unwrap_or_else(|| reading_uid(&value));
            if let Some((id, removed)) = known(c, Table::Reading, &uid)? {
                done.pass_over(removed);
                if !removed && add_proof(c, id, &value)? {
                    done.completed += 1;
                }
                continue;
            }
            let insert = || {
                value.water = waters.there(c, &value.water)?;
                insert_reading(c, water_id(c, &value.water)?, &value, Some(uid))
            };
            insert().map_err(|f| of_entry(f, &label))?;
            done.readings += 1;
        }
        for Kept {
            uid,
            mut value,
            line,
        } in self.events
        {
            let label = label(line, &value.kind.word(), &value.at);
            let uid = uid.unwrap_or_else(|| event_uid(&value));
            if let Some((_, removed)) = known(c, Table::Event, &uid)? {
                done.pass_over(removed);
                continue;
            }
            let insert = || {
                if let Some(what) = lacking(&value) {
                    return Err(clear(
                        format!("{} without {what}", value.kind.word()),
                        "say it in the file",
                    ));
                }
                value.water = waters.there(c, &value.water)?;
                if let Some(name) = &value.equipment {
                    value.equipment = Some(things.there(c, name)?);
                }
                insert_event(c, &value, Some(uid))
            };
            let entry = insert().map_err(|f| of_entry(f, &label))?;
            done.events += 1;
            new.push((entry, value));
        }
        for mut limit in self.limits {
            let label = format!("limits of {} in \"{}\"", limit.test, limit.water);
            let mut insert = || {
                limit.water = waters.there(c, &limit.water)?;
                match limit_of(c, water_id(c, &limit.water)?, &limit.test)? {
                    None => {
                        insert_limit(c, &limit)?;
                        done.limits += 1;
                    }
                    Some(there) if (there.low, there.high) != (limit.low, limit.high) => {
                        done.limits_kept += 1;
                    }
                    Some(_) => {}
                }
                Ok(())
            };
            insert().map_err(|f: Fault| of_entry(f, &label))?;
        }
        done.waters = waters.added;
        done.equipment = things.added;
        done.removed += waters.left_removed() + things.left_removed();
        Ok((done, new))
    }
}

/// Notes that invertebrates live in waters that are there, where the file says so and the logbook does not. Gives their names.
fn learn_of_invertebrates(
    c: &Connection,
    waters: &[Kept<Water>],
    now: &Moment,
) -> std::result::Result<Vec<String>, Fault> {
    let mut told = Vec::new();
    for kept in waters.iter().filter(|k| k.value.invertebrates) {
        let by_uid = match &kept.uid {
            Some(uid) => known(c, Table::Water, uid)?.filter(|(_, removed)| !removed),
            None => None,
        };
        let id = match by_uid {
            Some((id, _)) => Some(id),
            None => live(c, Table::Water, &folded(&kept.value.name))?
                .map(|name| water_id(c, &name))
                .transpose()?,
        };
        let Some(id) = id else { continue };
        let entry = Entry::new(Table::Water, id);
        let there = row(c, entry)?.unwrap_or_default();
        if there
            .get("invertebrates")
            .and_then(serde_json::Value::as_i64)
            == Some(0)
        {
            keep(c, entry, now)?;
            c.execute("UPDATE water SET invertebrates = 1 WHERE id = ?1", [id])?;
            told.extend(there["name"].as_str().map(str::to_owned));
        }
    }
    Ok(told)
}

/// How an entry of a file is told.
fn label(line: Option<u64>, what: &str, at: &Moment) -> String {
    line.map_or_else(|| format!("{what} at {at}"), |line| format!("line {line}"))
}

/// What has a name that entries refer to.
trait Thing: Sized {
    const TABLE: Table;
    /// One that entries name and the file does not list; `None` if it cannot be made up.
    fn unlisted(name: &str) -> Option<Self>;
    fn name(&self) -> &str;
    fn insert(&self, c: &Connection, uid: Option<String>) -> std::result::Result<Entry, Fault>;
}

impl Thing for Water {
    const TABLE: Table = Table::Water;

    fn unlisted(_: &str) -> Option<Water> {
        None
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn insert(&self, c: &Connection, uid: Option<String>) -> std::result::Result<Entry, Fault> {
        insert_water(c, self, uid)
    }
}

impl Thing for Equipment {
    const TABLE: Table = Table::Equipment;

    /// Equipment that was removed is not exported, and the events that name it are.
    fn unlisted(name: &str) -> Option<Equipment> {
        Some(Equipment {
            name: name.to_owned(),
            note: String::new(),
        })
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn insert(&self, c: &Connection, uid: Option<String>) -> std::result::Result<Entry, Fault> {
        insert_equipment(c, self, uid)
    }
}

/// What the names of a file are called in the logbook.
struct Names<T> {
    there: HashMap<String, String>,
    /// Added only if a new entry refers to them: those of a table, and those that were removed.
    pending: HashMap<String, Kept<T>>,
    added: usize,
}

impl<T: Thing> Names<T> {
    fn of(c: &Connection, all: Vec<Kept<T>>) -> std::result::Result<Names<T>, Fault> {
        let mut names = Names {
            there: HashMap::new(),
            pending: HashMap::new(),
            added: 0,
        };
        for kept in all {
            let key = folded(kept.value.name());
            let known = match &kept.uid {
                Some(uid) => known(c, T::TABLE, uid)?,
                None => None,
            };
            let live = match known {
                Some((id, false)) => name_of(c, T::TABLE, id)?,
                _ => live(c, T::TABLE, &key)?,
            };
            if let Some(name) = live {
                names.there.insert(key, name);
            } else if kept.line.is_some() || known.is_some() {
                names.pending.insert(key, kept);
            } else {
                names.insert(c, kept)?;
            }
        }
        Ok(names)
    }

    /// How many of them were removed from the logbook and were not added again, since no new entry refers to them.
    fn left_removed(&self) -> usize {
        // What a table lists waits for its first entry; of other files, what was removed.
        self.pending.values().filter(|k| k.line.is_none()).count()
    }

    fn insert(&mut self, c: &Connection, kept: Kept<T>) -> std::result::Result<String, Fault> {
        let name = kept.value.name().to_owned();
        let label = kept.line.map_or_else(
            || format!("{} \"{name}\"", T::TABLE.name()),
            |line| format!("line {line}"),
        );
        kept.value
            .insert(c, kept.uid)
            .map_err(|f| of_entry(f, &label))?;
        self.added += 1;
        self.there.insert(folded(&name), name.clone());
        Ok(name)
    }

    /// What a name of the file is called in the logbook, where it is added if it is not there.
    fn there(&mut self, c: &Connection, name: &str) -> std::result::Result<String, Fault> {
        let key = folded(name);
        if let Some(there) = self.there.get(&key) {
            return Ok(there.clone());
        }
        if let Some(there) = live(c, T::TABLE, &key)? {
            return Ok(there);
        }
        let kept = self
            .pending
            .remove(&key)
            .or_else(|| T::unlisted(name).map(Kept::new));
        match kept {
            Some(kept) => self.insert(c, kept),
            // Whoever looks for it tells that it is not there.
            None => Ok(name.to_owned()),
        }
    }
}

fn live(c: &Connection, table: Table, key: &str) -> std::result::Result<Option<String>, Fault> {
    one(
        c,
        &format!(
            "SELECT name FROM {} WHERE folded = ?1 AND removed IS NULL",
            table.name()
        ),
        &key,
    )
}

fn name_of(c: &Connection, table: Table, id: i64) -> std::result::Result<Option<String>, Fault> {
    one(
        c,
        &format!("SELECT name FROM {} WHERE id = ?1", table.name()),
        &id,
    )
}

fn one(
    c: &Connection,
    sql: &str,
    value: &dyn rusqlite::ToSql,
) -> std::result::Result<Option<String>, Fault> {
    use rusqlite::OptionalExtension;
    Ok(c.prepare_cached(sql)?
        .query_row([value], |row| row.get(0))
        .optional()?)
}
