//! What a logbook is asked: waters, readings, events, limits, equipment, and what was there before.

use std::collections::{HashMap, HashSet};

use rusqlite::{Row, ToSql, params_from_iter};

use super::entry::{Entry, Table};
use super::store::Logbook;
use super::write::{folded, no_water};
use super::{Amount, Equipment, Event, Jpeg, Limit, Moment, Reading, Water, of_word};
use crate::error::Result;

/// The columns of a reading.
const READING: &str = "r.id, r.test, r.unit, r.at, r.answer, r.value, r.low, r.high, r.source, r.verdict, r.photo, r.sha256, \
                       r.chart_sha256, r.dilution_factor, r.note";

/// An event with its water and its equipment.
const EVENT: &str = "SELECT e.id, e.kind, e.at, e.percent, e.amount, e.unit, e.substance, e.medicine, q.name, e.note, w.name, w.id
                     FROM event e JOIN water w ON w.id = e.water LEFT JOIN equipment q ON q.id = e.equipment";

impl Logbook {
    /// All waters, in the order of their names.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn waters(&self) -> Result<Vec<(Entry, Water)>> {
        self.all(
            "SELECT id, name, volume_l, medium, lives, invertebrates FROM water
             WHERE removed IS NULL ORDER BY folded",
            &[],
            |row| {
                Ok((
                    Entry::new(Table::Water, row.get(0)?),
                    Water {
                        name: row.get(1)?,
                        volume_l: row.get(2)?,
                        medium: row.get::<_, Option<String>>(3)?.and_then(|m| of_word(&m)),
                        lives: row.get(4)?,
                        invertebrates: row.get(5)?,
                    },
                ))
            },
        )
    }

    /// Whether nothing was ever kept in it.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn is_empty(&self) -> Result<bool> {
        let kept = self.all(
            "SELECT 1 FROM water UNION ALL SELECT 1 FROM equipment LIMIT 1",
            &[],
            |_| Ok(()),
        )?;
        Ok(kept.is_empty())
    }

    /// One water by its name.
    ///
    /// # Errors
    /// If there is none of that name; the error names those that there are.
    pub fn water(&self, name: &str) -> Result<Water> {
        let waters = self.waters()?;
        let found = waters.iter().find(|(_, w)| folded(&w.name) == folded(name));
        found.map(|(_, w)| w.clone()).ok_or_else(|| {
            let names: Vec<&str> = waters.iter().map(|(_, w)| w.name.as_str()).collect();
            no_water(name, &names).about(self.shown.clone())
        })
    }

    /// The readings of a water in the order of their times, of one test (in whatever case) or of all. Without records and pictures.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn readings(&self, water: &str, test: Option<&str>) -> Result<Vec<(Entry, Reading)>> {
        let water = self.water(water)?.name;
        let test = test.map(|t| self.spelt(&water, t)).transpose()?;
        // A condition that may be none would keep the index from being used.
        let condition = if test.is_some() {
            "AND r.test = ?2"
        } else {
            ""
        };
        let sql = format!(
            "SELECT {READING}, NULL, NULL FROM reading r
             WHERE r.water = (SELECT id FROM water WHERE name = ?1 AND removed IS NULL) {condition} AND r.removed IS NULL
             ORDER BY r.seconds, r.id"
        );
        let mut values = vec![&water as &dyn ToSql];
        values.extend(test.as_ref().map(|t| t as &dyn ToSql));
        self.all(&sql, &values, |row| reading(row, &water))
    }

    /// The same with records and pictures.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn whole_readings(&self, water: &str) -> Result<Vec<(Entry, Reading)>> {
        let water = self.water(water)?.name;
        let sql = format!(
            "SELECT {READING}, record.json, picture.jpeg FROM reading r
             LEFT JOIN record ON record.reading = r.id LEFT JOIN picture ON picture.reading = r.id
             WHERE r.water = (SELECT id FROM water WHERE name = ?1 AND removed IS NULL) AND r.removed IS NULL
             ORDER BY r.seconds, r.id"
        );
        self.all(&sql, &[&water as &dyn ToSql], |row| reading(row, &water))
    }

    /// A test as it is spelt in the log of a water; as it is, if there is none.
    fn spelt(&self, water: &str, test: &str) -> Result<String> {
        let there = self.all(
            "SELECT 1 FROM reading WHERE water = (SELECT id FROM water WHERE name = ?1 AND removed IS NULL)
             AND test = ?2 AND removed IS NULL LIMIT 1",
            &[&water as &dyn ToSql, &test],
            |_| Ok(()),
        )?;
        if !there.is_empty() {
            return Ok(test.to_owned());
        }
        let tests = self.tests(water)?;
        let found = tests.into_iter().find(|t| folded(t) == folded(test));
        Ok(found.unwrap_or_else(|| test.to_owned()))
    }

    /// The newest reading of each test of a water, in the order of the tests' names. Without records and pictures.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn lasts(&self, water: &str) -> Result<Vec<(Entry, Reading)>> {
        let water = self.water(water)?.name;
        let sql = format!(
            "SELECT {READING}, NULL, NULL FROM reading r
             WHERE r.water = (SELECT id FROM water WHERE name = ?1 AND removed IS NULL) AND r.test = ?2 AND r.removed IS NULL
             ORDER BY r.seconds DESC, r.id DESC LIMIT 1"
        );
        let mut lasts = Vec::new();
        for test in self.tests(&water)? {
            lasts.extend(self.all(&sql, &[&water as &dyn ToSql, &test], |row| {
                reading(row, &water)
            })?);
        }
        Ok(lasts)
    }

    /// Where the program looked for a reading.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn picture(&self, reading: Entry) -> Result<Option<Jpeg>> {
        let pictures = self.all(
            "SELECT jpeg FROM picture WHERE reading = ?1",
            &[&reading.id as &dyn ToSql],
            |row| row.get(0).map(Jpeg),
        )?;
        Ok(pictures.into_iter().next())
    }

    /// Whether there is a picture of where the program looked.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn has_picture(&self, reading: Entry) -> Result<bool> {
        let found = self.all(
            "SELECT 1 FROM picture WHERE reading = ?1",
            &[&reading.id as &dyn ToSql],
            |_| Ok(()),
        )?;
        Ok(!found.is_empty())
    }

    /// The record that the program gave for a reading.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn record(&self, reading: Entry) -> Result<Option<serde_json::Value>> {
        let records = self.all(
            "SELECT json FROM record WHERE reading = ?1",
            &[&reading.id as &dyn ToSql],
            |row| row.get::<_, String>(0),
        )?;
        Ok(records.first().and_then(|r| serde_json::from_str(r).ok()))
    }

    /// The tests of which a water has readings, by name.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn tests(&self, water: &str) -> Result<Vec<String>> {
        let water = self.water(water)?.name;
        self.all(
            "SELECT DISTINCT test FROM reading
             WHERE water = (SELECT id FROM water WHERE name = ?1 AND removed IS NULL) AND removed IS NULL ORDER BY test",
            &[&water as &dyn ToSql],
            |row| row.get(0),
        )
    }

    /// The photos whose readings a water has: SHA-256 of the photo, and of the chart that it was read with.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn photos(&self, water: &str) -> Result<HashSet<(String, Option<String>)>> {
        let water = self.water(water)?.name;
        let photos = self.all(
            "SELECT sha256, chart_sha256 FROM reading
             WHERE water = (SELECT id FROM water WHERE name = ?1 AND removed IS NULL) AND removed IS NULL
               AND sha256 IS NOT NULL",
            &[&water as &dyn ToSql],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        Ok(photos.into_iter().collect())
    }

    /// What the records of a water's readings of a test say of their uncertainty: reasons with their share of the variance, 0 to 1.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn budgets(&self, water: &str, test: &str) -> Result<HashMap<Entry, Vec<(String, f64)>>> {
        #[derive(serde::Deserialize)]
        struct Part {
            reason: String,
            share: f64,
        }
        let water = self.water(water)?.name;
        let test = self.spelt(&water, test)?;
        let all = self.all(
            "SELECT r.id, json_extract(record.json, '$.budget') FROM reading r JOIN record ON record.reading = r.id
             WHERE r.water = (SELECT id FROM water WHERE name = ?1 AND removed IS NULL) AND r.test = ?2 AND r.removed IS NULL",
            &[&water as &dyn ToSql, &test],
            |row| {
                let budget: Option<String> = row.get(1)?;
                let parts: Option<Vec<Part>> =
                    budget.and_then(|text| serde_json::from_str(&text).ok());
                Ok((Entry::new(Table::Reading, row.get(0)?), parts))
            },
        )?;
        let told = |parts: Vec<Part>| parts.into_iter().map(|p| (p.reason, p.share)).collect();
        let of = |(entry, parts): (Entry, Option<Vec<Part>>)| Some((entry, told(parts?)));
        Ok(all.into_iter().filter_map(of).collect())
    }

    /// Readings of the same test and chart in a water that have a photo in common with a reading of one vial, told within a day of it:
    /// with the SHA-256 of all of their photos.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn of_same_vial(
        &self,
        reading: &Reading,
        photos: &[String],
    ) -> Result<Vec<(Entry, Vec<String>)>> {
        const DAY: i64 = 86_400;
        let water = self.water(&reading.water)?.name;
        let test = self.spelt(&water, &reading.test)?;
        let (from, to) = (reading.at.seconds() - DAY, reading.at.seconds() + DAY);
        // Only a reading of several photos has a comma between their names; its record is not read otherwise.
        let all = self.all(
            "SELECT r.id, r.sha256, CASE WHEN r.photo LIKE '%, %' THEN json_extract(record.json, '$.photo_sha256') END
             FROM reading r LEFT JOIN record ON record.reading = r.id
             WHERE r.water = (SELECT id FROM water WHERE name = ?1 AND removed IS NULL) AND r.test = ?2 AND r.removed IS NULL
               AND r.seconds BETWEEN ?3 AND ?4 AND r.chart_sha256 IS ?5 AND r.sha256 IS NOT NULL",
            &[&water as &dyn ToSql, &test, &from, &to, &reading.chart_sha256],
            |row| {
                let (photo, several): (String, Option<String>) = (row.get(1)?, row.get(2)?);
                let several = several.and_then(|list| serde_json::from_str(&list).ok());
                Ok((
                    Entry::new(Table::Reading, row.get(0)?),
                    several.unwrap_or_else(|| vec![photo]),
                ))
            },
        )?;
        let shares = |of: &Vec<String>| of.iter().any(|photo| photos.contains(photo));
        Ok(all.into_iter().filter(|(_, of)| shares(of)).collect())
    }

    /// The photos whose readings a water had and has no more, since they were removed or moved to another; as in
    /// [`Logbook::photos`].
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn photos_left_out(&self, water: &str) -> Result<HashSet<(String, Option<String>)>> {
        let there = self.photos(water)?;
        let water = self.water(water)?.name;
        let had = self.all(
            "WITH own AS (SELECT id FROM water WHERE name = ?1 AND removed IS NULL)
             SELECT sha256, chart_sha256 FROM reading WHERE water = (SELECT id FROM own)
             UNION SELECT json_extract(before, '$.sha256'), json_extract(before, '$.chart_sha256') FROM change
             WHERE entry LIKE 'r%' AND json_extract(before, '$.water') = (SELECT id FROM own)",
            &[&water as &dyn ToSql],
            |row| Ok((row.get::<_, Option<String>>(0)?, row.get(1)?)),
        )?;
        let had = had
            .into_iter()
            .filter_map(|(photo, chart)| Some((photo?, chart)));
        Ok(had.filter(|photo| !there.contains(photo)).collect())
    }

    /// The events of a water in the order of their times.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn events(&self, water: &str) -> Result<Vec<(Entry, Event)>> {
        let water = self.water(water)?.name;
        self.all(
            &format!("{EVENT} WHERE w.name = ?1 AND w.removed IS NULL AND e.removed IS NULL ORDER BY e.seconds, e.id"),
            &[&water as &dyn ToSql],
            event,
        )
    }

    /// One event.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn event(&self, entry: Entry) -> Result<Option<Event>> {
        if entry.table != Table::Event {
            return Ok(None);
        }
        let events = self.all(
            &format!("{EVENT} WHERE e.id = ?1 AND e.removed IS NULL"),
            &[&entry.id as &dyn ToSql],
            event,
        )?;
        Ok(events.into_iter().next().map(|(_, e)| e))
    }

    /// Where equipment of a name went, and all medicines dosed, in the order of time, with the number of the water: of all
    /// waters and equipment, also those that were left out since.
    pub(super) fn past(&self, equipment: &str) -> Result<Vec<(i64, Entry, Event)>> {
        self.all(
            &format!("{EVENT} WHERE e.removed IS NULL AND (e.medicine OR q.folded = ?1) ORDER BY e.seconds, e.id"),
            &[&folded(equipment) as &dyn ToSql],
            |row| {
                let (entry, event) = event(row)?;
                Ok((row.get(11)?, entry, event))
            },
        )
    }

    /// The numbers of the entries of a table that are not removed, and what they are known by in every logbook.
    pub(super) fn uids(&self, table: Table) -> Result<HashMap<i64, String>> {
        let table = table.name();
        let uids = self.all(
            &format!("SELECT id, uid FROM {table} WHERE removed IS NULL"),
            &[],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        Ok(uids.into_iter().collect())
    }

    /// The bounds of a water.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn limits(&self, water: &str) -> Result<Vec<Limit>> {
        let water = self.water(water)?.name;
        self.all(
            "SELECT test, unit, low, high FROM bound
             WHERE water = (SELECT id FROM water WHERE name = ?1 AND removed IS NULL) ORDER BY test",
            &[&water as &dyn ToSql],
            |row| {
                Ok(Limit {
                    water: water.clone(),
                    test: row.get(0)?,
                    unit: row.get(1)?,
                    low: row.get(2)?,
                    high: row.get(3)?,
                })
            },
        )
    }

    /// All equipment, in the order of the names.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn equipment(&self) -> Result<Vec<(Entry, Equipment)>> {
        self.all(
            "SELECT id, name, note FROM equipment WHERE removed IS NULL ORDER BY folded",
            &[],
            |row| {
                Ok((
                    Entry::new(Table::Equipment, row.get(0)?),
                    Equipment {
                        name: row.get(1)?,
                        note: row.get(2)?,
                    },
                ))
            },
        )
    }

    /// What was there before edits and removals: when it was changed, the entry's name, and its fields as JSON.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn changes(&self) -> Result<Vec<(String, String, String)>> {
        self.all(
            "SELECT at, entry, before FROM change ORDER BY id",
            &[],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )
    }

    pub(super) fn all<T>(
        &self,
        sql: &str,
        values: &[&dyn ToSql],
        of: impl Fn(&Row) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>> {
        let rows = || {
            let mut query = self.file.prepare_cached(sql)?;
            query
                .query_map(params_from_iter(values), |row| of(row))?
                .collect::<rusqlite::Result<Vec<T>>>()
        };
        rows().map_err(|e| self.failed(&e))
    }
}

fn event(row: &Row) -> rusqlite::Result<(Entry, Event)> {
    Ok((
        Entry::new(Table::Event, row.get(0)?),
        Event {
            water: row.get(10)?,
            kind: plain(row, 1)?,
            at: moment(row, 2)?,
            percent: row.get(3)?,
            amount: row.get(4)?,
            unit: row.get(5)?,
            substance: row.get(6)?,
            medicine: row.get(7)?,
            equipment: row.get(8)?,
            note: row.get(9)?,
        },
    ))
}

fn reading(row: &Row, water: &str) -> rusqlite::Result<(Entry, Reading)> {
    let answer: String = row.get(4)?;
    let (value, low, high): (Option<f64>, Option<f64>, Option<f64>) =
        (row.get(5)?, row.get(6)?, row.get(7)?);
    let answer = match (answer.as_str(), value, low, high) {
        ("value", Some(value), Some(low), Some(high)) => Amount::Value { value, low, high },
        ("below", _, _, Some(high)) => Amount::Below { high },
        ("above", _, Some(low), _) => Amount::Above { low },
        _ => return Err(unreadable(4)),
    };
    let record: Option<String> = row.get(15)?;
    Ok((
        Entry::new(Table::Reading, row.get(0)?),
        Reading {
            water: water.to_owned(),
            test: row.get(1)?,
            unit: row.get(2)?,
            at: moment(row, 3)?,
            answer,
            source: plain(row, 8)?,
            verdict: plain(row, 9)?,
            photo: row.get(10)?,
            sha256: row.get(11)?,
            chart_sha256: row.get(12)?,
            dilution_factor: row.get(13)?,
            note: row.get(14)?,
            record: record.and_then(|r| serde_json::from_str(&r).ok()),
            picture: row.get::<_, Option<Vec<u8>>>(16)?.map(Jpeg),
        },
    ))
}

fn unreadable(column: usize) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(
        column,
        rusqlite::types::Type::Text,
        "no value of this column".into(),
    )
}

fn plain<T: for<'de> serde::Deserialize<'de>>(row: &Row, column: usize) -> rusqlite::Result<T> {
    let word: String = row.get(column)?;
    of_word(&word).ok_or_else(|| unreadable(column))
}

fn moment(row: &Row, column: usize) -> rusqlite::Result<Moment> {
    let text: String = row.get(column)?;
    text.parse().map_err(|_| unreadable(column))
}
