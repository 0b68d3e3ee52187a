//! What was edited, removed or restored, as whoever keeps the logbook knows it: without what only the file needs.

use std::collections::HashMap;

use serde_json::{Map, Value};

use super::entry::Entry;
use super::store::Logbook;
use super::write::{folded, row};
use crate::error::Result;

/// Fields of an entry, or of limits, by name.
pub type Fields = Map<String, Value>;

/// One change.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// When it was made.
    pub at: String,
    /// What was changed, such as r12, or `limits`.
    pub entry: String,
    /// What was there; `None` if it was left out, and is taken back in.
    pub before: Option<Fields>,
    /// What was there then; `None` if it was removed, or limits were taken away.
    pub after: Option<Fields>,
}

/// Columns that only the file needs: numbers, and what is sorted and compared by.
const INTERNAL: [&str; 4] = ["id", "seconds", "folded", "uid"];

impl Logbook {
    /// What was edited, removed or restored, the earliest first.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn history(&self) -> Result<Vec<Change>> {
        let names = Names {
            waters: self.names("water")?,
            things: self.names("equipment")?,
        };
        let changes: Vec<(String, String, Fields)> = self
            .changes()?
            .into_iter()
            .map(|(at, entry, before)| {
                let before = serde_json::from_str(&before).unwrap_or_default();
                (at, entry, before)
            })
            .collect();
        let mut later: HashMap<String, Fields> = HashMap::new();
        let mut told = Vec::new();
        // From the last one back: what was there after a change is what was there before the next.
        for (at, entry, before) in changes.into_iter().rev() {
            let key = key(&entry, &before);
            let after = match later.insert(key, before.clone()) {
                Some(after) => Some(after),
                None => self.now(&entry, &before)?,
            };
            let removed = |f: &Fields| f.get("removed").is_some_and(|v| !v.is_null());
            told.push(Change {
                at,
                before: Some(before)
                    .filter(|f| !removed(f))
                    .map(|f| plain(f, &names)),
                after: after.filter(|f| !removed(f)).map(|f| plain(f, &names)),
                entry,
            });
        }
        told.reverse();
        Ok(told)
    }

    /// What is there now of what was changed.
    fn now(&self, entry: &str, before: &Fields) -> Result<Option<Fields>> {
        if let Ok(entry) = entry.parse::<Entry>() {
            return row(&self.file, entry).map_err(|e| self.failed(&e));
        }
        let text = |name: &str| before.get(name).and_then(Value::as_str).unwrap_or_default();
        let waters = self.waters()?;
        let there = waters.iter().any(|(_, w)| w.name == text("water"));
        if !there {
            return Ok(None);
        }
        let limits = self.limits(text("water"))?;
        let limit = limits
            .into_iter()
            .find(|l| folded(&l.test) == folded(text("test")));
        Ok(limit.and_then(|l| match serde_json::to_value(l) {
            Ok(Value::Object(fields)) => Some(fields),
            _ => None,
        }))
    }

    /// The names of a table's entries by number, also of those that were left out.
    fn names(&self, table: &str) -> Result<HashMap<i64, String>> {
        let names = self.all(&format!("SELECT id, name FROM {table}"), &[], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })?;
        Ok(names.into_iter().collect())
    }
}

/// What other entries refer to by its number.
struct Names {
    waters: HashMap<i64, String>,
    things: HashMap<i64, String>,
}

/// What has a history of its own: an entry, or the limits of a test in a water.
fn key(entry: &str, before: &Fields) -> String {
    if entry.parse::<Entry>().is_ok() {
        return entry.to_owned();
    }
    let part = |name: &str| folded(before.get(name).and_then(Value::as_str).unwrap_or_default());
    format!("{entry} {} {}", part("water"), part("test"))
}

/// Without internal fields, and with names for numbers.
fn plain(fields: Fields, names: &Names) -> Fields {
    fields
        .into_iter()
        .filter(|(name, _)| !INTERNAL.contains(&name.as_str()) && name != "removed")
        .map(|(name, value)| match (name.as_str(), value.as_i64()) {
            ("water", Some(id)) => (name, names.waters.get(&id).cloned().into()),
            ("equipment", Some(id)) => (name, names.things.get(&id).cloned().into()),
            ("invertebrates" | "medicine", Some(is)) => (name, (is != 0).into()),
            _ => (name, value),
        })
        .collect()
}
