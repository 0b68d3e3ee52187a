//! The rows that changes write. Each function is part of a transaction that is its caller's.

use rusqlite::types::Value;
use rusqlite::{Connection, OptionalExtension, params};

use super::changes::Fields;
use super::entry::{Entry, Table};
use super::equipment::is_copper;
use super::fault::{Fault, clear};
use super::{Amount, Equipment, Event, Jpeg, Kind, Limit, Moment, Reading, Water, amounts, word};
use crate::error::Error;
use crate::photo::sha256;

/// A name without regard to case: what waters, equipment, tests and units are compared by.
pub(crate) fn folded(name: &str) -> String {
    name.trim().to_lowercase()
}

/// Marks that turn the direction of writing (Unicode Standard Annex 9, table 2): they would make a name look like another.
fn turns(c: char) -> bool {
    matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

pub(super) fn named(name: &str) -> std::result::Result<(), Fault> {
    let fits = !name.trim().is_empty()
        && name.len() <= 200
        && !name.chars().any(|c| c.is_control() || turns(c));
    if fits {
        return Ok(());
    }
    Err(clear(
        "a name is 1 to 200 bytes of text on one line",
        "give another name",
    ))
}

pub(super) fn free(c: &Connection, table: &str, name: &str) -> std::result::Result<(), Fault> {
    let taken: bool = c.query_row(
        &format!("SELECT count(*) > 0 FROM {table} WHERE folded = ?1 AND removed IS NULL"),
        [folded(name)],
        |row| row.get(0),
    )?;
    if taken {
        return Err(clear(
            format!("the name \"{name}\" is that of another {table}"),
            "give another name",
        ));
    }
    Ok(())
}

/// Whether an entry can have this name: no other has it.
pub(super) fn free_for(c: &Connection, entry: Entry, name: &str) -> std::result::Result<(), Fault> {
    let table = entry.table.name();
    let own: String = c.query_row(
        &format!("SELECT folded FROM {table} WHERE id = ?1"),
        [entry.id],
        |row| row.get(0),
    )?;
    if own == folded(name) {
        return Ok(());
    }
    free(c, table, name)
}

pub(super) fn no_water(name: &str, names: &[&str]) -> Error {
    let what = format!("there is no water \"{name}\" in the logbook");
    if names.is_empty() {
        Error::new(
            what,
            format!("add it with `tintwell log add water \"{name}\"`"),
        )
    } else {
        Error::new(
            what,
            format!(
                "choose one of: {}; or add it with `tintwell log add water`",
                names.join(", ")
            ),
        )
    }
}

pub(super) fn water_id(c: &Connection, name: &str) -> std::result::Result<i64, Fault> {
    let id = c
        .prepare_cached("SELECT id FROM water WHERE folded = ?1 AND removed IS NULL")?
        .query_row([folded(name)], |row| row.get(0))
        .optional()?;
    if let Some(id) = id {
        return Ok(id);
    }
    let mut names = c.prepare("SELECT name FROM water WHERE removed IS NULL ORDER BY folded")?;
    let names = names
        .query_map([], |row| row.get(0))?
        .collect::<rusqlite::Result<Vec<String>>>()?;
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    Err(no_water(name, &names).into())
}

/// No number of an entry is unknown by accident.
pub(super) fn finite(numbers: &[Option<f64>]) -> std::result::Result<(), Fault> {
    if numbers.iter().flatten().all(|v| v.is_finite()) {
        return Ok(());
    }
    Err(clear(
        "a number is infinite or none",
        "give ordinary numbers",
    ))
}

pub(super) fn volume(litres: Option<f64>) -> std::result::Result<(), Fault> {
    if litres.is_some_and(|v| !(v > 0.0 && v < 1e12)) {
        return Err(clear(
            "a volume is more than nothing and less than 1e12 L",
            "give it in litres, such as 400",
        ));
    }
    Ok(())
}

/// What an entry is known by in every logbook, if it is told none: the same content gives the same.
pub(super) fn uid_of(content: &impl serde::Serialize) -> String {
    let text = serde_json::to_string(content).unwrap_or_default();
    sha256(text.as_bytes())[..16].to_owned()
}

/// Of a reading.
pub(super) fn reading_uid(r: &Reading) -> String {
    let (water, test) = (folded(&r.water), folded(&r.test));
    let (at, photo) = (r.at.seconds(), (&r.sha256, &r.chart_sha256));
    if r.sha256.is_some() {
        return uid_of(&("reading", water, test, at, r.answer, photo));
    }
    // A photo has one reading by a chart; told ones may differ in what they are told in and by.
    let told = (folded(&r.unit), r.source, &r.note);
    uid_of(&("reading", water, test, at, r.answer, told))
}

/// Of an event. Whether it is a medicine does not count: that may be found out as it is added.
pub(super) fn event_uid(e: &Event) -> String {
    let amount = (e.percent, e.amount, &e.unit);
    let thing = e.equipment.as_deref().map(folded);
    let (water, at) = (folded(&e.water), e.at.seconds());
    uid_of(&(
        "event",
        e.kind,
        water,
        at,
        amount,
        &e.substance,
        thing,
        &e.note,
    ))
}

/// Number of the entry of a table that is known by this, and whether it is removed.
pub(super) fn known(
    c: &Connection,
    table: Table,
    uid: &str,
) -> std::result::Result<Option<(i64, bool)>, Fault> {
    let table = table.name();
    let found = c
        .prepare_cached(&format!(
            "SELECT id, removed IS NOT NULL FROM {table} WHERE uid = ?1"
        ))?
        .query_row([uid], |row| Ok((row.get(0)?, row.get(1)?)))
        .optional()?;
    Ok(found)
}

/// What a new entry is to be known by: `uid` if it is not taken, else one by chance.
fn unused(c: &Connection, table: Table, uid: Option<String>) -> std::result::Result<String, Fault> {
    if let Some(uid) = uid
        && known(c, table, &uid)?.is_none()
    {
        return Ok(uid);
    }
    Ok(c.query_row("SELECT lower(hex(randomblob(8)))", [], |row| row.get(0))?)
}

/// A test and its unit as they are spelt in the log of a water already, where they are.
fn spelt(
    c: &Connection,
    water: i64,
    test: &str,
    unit: &str,
) -> std::result::Result<(String, String), Fault> {
    const THERE: &str = "SELECT 1 FROM reading WHERE water = ?1 AND test = ?2 AND unit = ?3 AND removed IS NULL LIMIT 1";
    let there = c
        .prepare_cached(THERE)?
        .exists(params![water, test, unit])?;
    if there {
        return Ok((test.to_owned(), unit.to_owned()));
    }
    let mut query = c.prepare_cached(
        "SELECT DISTINCT test, unit FROM reading WHERE water = ?1 AND removed IS NULL
         UNION ALL SELECT test, unit FROM bound WHERE water = ?1",
    )?;
    let all = query
        .query_map([water], |row| Ok((row.get(0)?, row.get(1)?)))?
        .collect::<rusqlite::Result<Vec<(String, String)>>>()?;
    let same: Vec<_> = all
        .iter()
        .filter(|(t, _)| folded(t) == folded(test))
        .collect();
    let test = same.first().map_or(test.trim(), |(t, _)| t);
    let unit = same
        .iter()
        .find(|(_, u)| folded(u) == folded(unit))
        .map_or(unit.trim(), |(_, u)| u);
    Ok((test.to_owned(), unit.to_owned()))
}

/// The same of a reading that is there, for the water that it is moved to.
pub(super) fn spelt_in(
    c: &Connection,
    water: i64,
    reading: i64,
) -> std::result::Result<(String, String), Fault> {
    let (test, unit): (String, String) = c.query_row(
        "SELECT test, unit FROM reading WHERE id = ?1",
        [reading],
        |row| Ok((row.get(0)?, row.get(1)?)),
    )?;
    spelt(c, water, &test, &unit)
}

/// A test has a name, and a unit that may be none (pH).
fn tested(test: &str, unit: &str) -> std::result::Result<(), Fault> {
    named(test)?;
    if unit.is_empty() {
        return Ok(());
    }
    named(unit)
}

pub(super) fn insert_water(
    c: &Connection,
    water: &Water,
    uid: Option<String>,
) -> std::result::Result<Entry, Fault> {
    named(&water.name)?;
    volume(water.volume_l)?;
    free(c, "water", &water.name)?;
    c.execute(
        "INSERT INTO water (name, volume_l, medium, lives, invertebrates, folded, uid) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
        params![
            water.name,
            water.volume_l,
            water.medium.map(|m| word(&m)),
            water.lives,
            water.invertebrates,
            folded(&water.name),
            unused(c, Table::Water, uid)?,
        ],
    )?;
    Ok(Entry::new(Table::Water, c.last_insert_rowid()))
}

pub(super) fn insert_equipment(
    c: &Connection,
    equipment: &Equipment,
    uid: Option<String>,
) -> std::result::Result<Entry, Fault> {
    named(&equipment.name)?;
    free(c, "equipment", &equipment.name)?;
    c.execute(
        "INSERT INTO equipment (name, note, folded, uid) VALUES (?1, ?2, ?3, ?4)",
        params![
            equipment.name,
            equipment.note,
            folded(&equipment.name),
            unused(c, Table::Equipment, uid)?,
        ],
    )?;
    Ok(Entry::new(Table::Equipment, c.last_insert_rowid()))
}

pub(super) fn insert_reading(
    c: &Connection,
    water: i64,
    reading: &Reading,
    uid: Option<String>,
) -> std::result::Result<Entry, Fault> {
    tested(&reading.test, &reading.unit)?;
    let (answer, value, low, high) = match reading.answer {
        Amount::Value { value, low, high } => ("value", Some(value), Some(low), Some(high)),
        Amount::Below { high } => ("below", None, None, Some(high)),
        Amount::Above { low } => ("above", None, Some(low), None),
    };
    finite(&[value, low, high, reading.dilution_factor])?;
    amounts::reading(reading)?;
    if let Amount::Value { value, low, high } = reading.answer
        && !(low <= value && value < high)
    {
        return Err(clear(
            format!("the value {value} does not lie in its interval {low} to {high}"),
            "give an interval around the value: no reading is exact",
        ));
    }
    let uid = uid.unwrap_or_else(|| reading_uid(reading));
    let (test, unit) = spelt(c, water, &reading.test, &reading.unit)?;
    c.prepare_cached(
        "INSERT INTO reading (water, test, unit, seconds, at, answer, value, low, high, source, verdict, photo, sha256,
                              chart_sha256, dilution_factor, note, uid)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17)",
    )?
    .execute(params![
        water,
        test,
        unit,
        reading.at.seconds(),
        reading.at.to_string(),
        answer,
        value,
        low,
        high,
        word(&reading.source),
        reading.verdict.word(),
        reading.photo,
        reading.sha256,
        reading.chart_sha256,
        reading.dilution_factor,
        reading.note,
        unused(c, Table::Reading, Some(uid))?,
    ])?;
    let id = c.last_insert_rowid();
    add_proof(c, id, reading)?;
    Ok(Entry::new(Table::Reading, id))
}

/// Adds record and picture of a reading where there are none yet; says whether any was added.
pub(super) fn add_proof(
    c: &Connection,
    id: i64,
    reading: &Reading,
) -> std::result::Result<bool, Fault> {
    let mut added = 0;
    if let Some(record) = &reading.record {
        added += c.execute(
            "INSERT OR IGNORE INTO record (reading, json) VALUES (?1, ?2)",
            params![id, record.to_string()],
        )?;
    }
    if let Some(Jpeg(jpeg)) = &reading.picture {
        added += c.execute(
            "INSERT OR IGNORE INTO picture (reading, jpeg) VALUES (?1, ?2)",
            params![id, jpeg],
        )?;
    }
    Ok(added > 0)
}

pub(super) fn insert_event(
    c: &Connection,
    event: &Event,
    uid: Option<String>,
) -> std::result::Result<Entry, Fault> {
    finite(&[event.percent, event.amount])?;
    amounts::dosed(event.amount)?;
    if event.percent.is_some_and(|p| !(p > 0.0 && p <= 100.0)) {
        return Err(clear(
            format!(
                "{} per cent of the water cannot be changed",
                event.percent.unwrap_or_default()
            ),
            "give more than 0 and at most 100",
        ));
    }
    let water = water_id(c, &event.water)?;
    let equipment: Option<i64> = match &event.equipment {
        None => None,
        Some(name) => Some(
            c.query_row(
                "SELECT id FROM equipment WHERE folded = ?1 AND removed IS NULL",
                [folded(name)],
                |row| row.get(0),
            )
            .optional()?
            .ok_or_else(|| {
                Error::new(
                    format!("there is no equipment \"{name}\" in the logbook"),
                    format!("add it with `tintwell log add equipment \"{name}\"`"),
                )
            })?,
        ),
    };
    let copper = event.substance.as_deref().is_some_and(is_copper);
    let medicine = event.medicine || (event.kind == Kind::Dose && copper);
    let uid = uid.unwrap_or_else(|| event_uid(event));
    c.execute(
        "INSERT INTO event (water, kind, seconds, at, percent, amount, unit, substance, medicine, equipment, note, uid)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
        params![
            water,
            event.kind.word(),
            event.at.seconds(),
            event.at.to_string(),
            event.percent,
            event.amount,
            event.unit,
            event.substance,
            medicine,
            equipment,
            event.note,
            unused(c, Table::Event, Some(uid))?,
        ],
    )?;
    Ok(Entry::new(Table::Event, c.last_insert_rowid()))
}

/// The bounds that a test of a water has.
pub(super) fn limit_of(
    c: &Connection,
    water: i64,
    test: &str,
) -> std::result::Result<Option<Limit>, Fault> {
    let mut query = c.prepare("SELECT w.name, b.test, b.unit, b.low, b.high FROM bound b JOIN water w ON w.id = b.water WHERE w.id = ?1")?;
    let limits = query
        .query_map([water], |row| {
            Ok(Limit {
                water: row.get(0)?,
                test: row.get(1)?,
                unit: row.get(2)?,
                low: row.get(3)?,
                high: row.get(4)?,
            })
        })?
        .collect::<rusqlite::Result<Vec<_>>>()?;
    Ok(limits.into_iter().find(|l| folded(&l.test) == folded(test)))
}

/// Sets bounds, and gives those that were there; they are kept among the changes with the time `now`. Bounds in another unit are
/// not replaced: who writes another unit may not know of them.
pub(super) fn write_limit(
    c: &Connection,
    limit: &Limit,
    now: &Moment,
) -> std::result::Result<Option<Limit>, Fault> {
    let water = water_id(c, &limit.water)?;
    let before = limit_of(c, water, &limit.test)?;
    if let Some(before) = &before {
        if folded(&before.unit) != folded(&limit.unit) {
            return Err(Error::new(
                format!(
                    "the limits of {} in \"{}\" are in \"{}\", not in \"{}\"",
                    before.test,
                    before.water,
                    before.unit,
                    limit.unit.trim()
                ),
                format!(
                    "give the unit \"{}\"; to have them in another, take those away first: \"{}\" without a bound",
                    before.unit, before.unit
                ),
            )
            .into());
        }
        let text = serde_json::to_string(before).unwrap_or_default();
        c.execute(
            "INSERT INTO change (at, entry, before) VALUES (?1, 'limits', ?2)",
            params![now.to_string(), text],
        )?;
        c.execute(
            "DELETE FROM bound WHERE water = ?1 AND test = ?2",
            params![water, before.test],
        )?;
    }
    insert_limit(c, limit)?;
    Ok(before)
}

/// Writes bounds where there are none.
pub(super) fn insert_limit(c: &Connection, limit: &Limit) -> std::result::Result<(), Fault> {
    tested(&limit.test, &limit.unit)?;
    finite(&[limit.low, limit.high])?;
    amounts::limit(limit)?;
    let water = water_id(c, &limit.water)?;
    if let (Some(low), Some(high)) = (limit.low, limit.high)
        && low > high
    {
        return Err(clear(
            format!("the lower bound {low} is above the upper bound {high}"),
            "give the smaller as the lower bound",
        ));
    }
    let (test, unit) = spelt(c, water, &limit.test, &limit.unit)?;
    if limit.low.is_some() || limit.high.is_some() {
        c.execute(
            "INSERT INTO bound (water, test, unit, low, high) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![water, test, unit, limit.low, limit.high],
        )?;
    }
    Ok(())
}

/// What an event of its kind cannot be without.
pub(super) fn lacking(event: &Event) -> Option<&'static str> {
    match event.kind {
        Kind::WaterChange if event.percent.is_none() => Some("percent"),
        Kind::Dose if event.substance.is_none() => Some("substance"),
        Kind::EquipmentIn | Kind::EquipmentOut if event.equipment.is_none() => Some("equipment"),
        Kind::Other if event.note.is_empty() => Some("note"),
        _ => None,
    }
}

/// An entry as the file has it, also one that was removed, by the names of the columns.
pub(super) fn row(c: &Connection, entry: Entry) -> rusqlite::Result<Option<Fields>> {
    let table = entry.table.name();
    let mut query = c.prepare(&format!("SELECT * FROM {table} WHERE id = ?1"))?;
    let columns: Vec<String> = query.column_names().map(str::to_owned).collect();
    query
        .query_row([entry.id], |row| {
            let mut fields = serde_json::Map::new();
            for (i, column) in columns.iter().enumerate() {
                let value = match row.get(i)? {
                    Value::Null | Value::Blob(_) => serde_json::Value::Null,
                    Value::Integer(v) => v.into(),
                    Value::Real(v) => v.into(),
                    Value::Text(v) => v.into(),
                };
                fields.insert(column.clone(), value);
            }
            Ok(fields)
        })
        .optional()
}

/// Keeps an entry as it is now among the changes.
pub(super) fn keep(c: &Connection, entry: Entry, now: &Moment) -> std::result::Result<(), Fault> {
    let there = row(c, entry)?.filter(|fields| fields["removed"].is_null());
    let before = there.ok_or_else(|| not_there(entry, "see `tintwell log show`"))?;
    keep_fields(c, entry, before, now)
}

/// The fault for an entry that is not in the file.
pub(super) fn not_there(entry: Entry, fix: &str) -> Fault {
    clear(
        format!("there is no {} {entry} in the logbook", entry.what()),
        fix,
    )
}

/// Keeps what an entry was among the changes.
pub(super) fn keep_fields(
    c: &Connection,
    entry: Entry,
    before: Fields,
    now: &Moment,
) -> std::result::Result<(), Fault> {
    c.execute(
        "INSERT INTO change (at, entry, before) VALUES (?1, ?2, ?3)",
        params![
            now.to_string(),
            entry.to_string(),
            serde_json::Value::Object(before).to_string()
        ],
    )?;
    Ok(())
}

/// The reading of a photo in a water by a chart, if it is logged.
pub(super) fn same_photo(
    c: &Connection,
    water: i64,
    sha256: &str,
    chart_sha256: Option<&str>,
) -> std::result::Result<Option<Entry>, Fault> {
    let known = c
        .query_row(
            "SELECT id FROM reading WHERE sha256 = ?1 AND water = ?2 AND chart_sha256 IS ?3
             AND removed IS NULL",
            params![sha256, water, chart_sha256],
            |row| row.get(0),
        )
        .optional()?;
    Ok(known.map(|id| Entry::new(Table::Reading, id)))
}
