//! How an entry of a logbook is named: a letter for what it is and a number that is never given again.

use std::fmt;
use std::str::FromStr;

/// The short name of an entry in one file: `w1` a water, `r12` a reading, `e3` an event, `q2` equipment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Entry {
    pub(super) table: Table,
    pub(super) id: i64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) enum Table {
    Water,
    Reading,
    Event,
    Equipment,
}

impl Table {
    const ALL: [(Table, char, &'static str); 4] = [
        (Table::Water, 'w', "water"),
        (Table::Reading, 'r', "reading"),
        (Table::Event, 'e', "event"),
        (Table::Equipment, 'q', "equipment"),
    ];

    fn letter(self) -> char {
        Table::ALL[self as usize].1
    }

    pub(super) fn name(self) -> &'static str {
        Table::ALL[self as usize].2
    }
}

impl Entry {
    pub(super) fn new(table: Table, id: i64) -> Entry {
        Entry { table, id }
    }

    /// What it is: `water`, `reading`, `event` or `equipment`.
    pub fn what(self) -> &'static str {
        self.table.name()
    }
}

impl fmt::Display for Entry {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "{}{}", self.table.letter(), self.id)
    }
}

impl FromStr for Entry {
    type Err = String;

    fn from_str(text: &str) -> std::result::Result<Entry, String> {
        let mut letters = text.chars();
        let letter = letters.next();
        Table::ALL
            .iter()
            .find(|(_, l, _)| Some(*l) == letter)
            .and_then(|(table, ..)| Some(Entry::new(*table, letters.as_str().parse().ok()?)))
            .ok_or_else(|| {
                "entries are named as `tintwell log show` names them, such as r12 or e3".to_owned()
            })
    }
}
