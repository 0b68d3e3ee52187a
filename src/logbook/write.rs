//! The rows that changes write. Each function is part of a transaction that is its caller's.

use rusqlite::types::Value;
use rusqlite::{Connection, OptionalExtension, params};

use super::entry::{Entry, Table};
use super::fault::{Fault, clear};
use super::{Amount, Equipment, Event, Jpeg, Limit, Moment, Reading, Water, word};
use crate::error::Error;

pub(super) fn named(name: &str) -> std::result::Result<(), Fault> {
    let fits = !name.trim().is_empty() && name.len() <= 200 && !name.chars().any(char::is_control);
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
        &format!(
            "SELECT count(*) > 0 FROM {table} WHERE name = ?1 COLLATE NOCASE AND removed IS NULL"
        ),
        [name],
        |row| row.get(0),
    )?;
    if taken {
        return Err(clear(
            format!("there is a {table} of the name \"{name}\" already"),
            "give another name",
        ));
    }
    Ok(())
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
        .query_row(
            "SELECT id FROM water WHERE name = ?1 COLLATE NOCASE AND removed IS NULL",
            [name],
            |row| row.get(0),
        )
        .optional()?;
    if let Some(id) = id {
        return Ok(id);
    }
    let mut names = c.prepare("SELECT name FROM water WHERE removed IS NULL ORDER BY name")?;
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

pub(super) fn insert_water(c: &Connection, water: &Water) -> std::result::Result<Entry, Fault> {
    finite(&[water.volume_l])?;
    c.execute(
        "INSERT INTO water (name, volume_l, medium, lives, invertebrates) VALUES (?1, ?2, ?3, ?4, ?5)",
        params![
            water.name,
            water.volume_l,
            water.medium.map(|m| word(&m)),
            water.lives,
            water.invertebrates
        ],
    )?;
    Ok(Entry::new(Table::Water, c.last_insert_rowid()))
}

pub(super) fn insert_equipment(
    c: &Connection,
    equipment: &Equipment,
) -> std::result::Result<Entry, Fault> {
    c.execute(
        "INSERT INTO equipment (name, note) VALUES (?1, ?2)",
        params![equipment.name, equipment.note],
    )?;
    Ok(Entry::new(Table::Equipment, c.last_insert_rowid()))
}

pub(super) fn insert_reading(
    c: &Connection,
    water: i64,
    reading: &Reading,
) -> std::result::Result<Entry, Fault> {
    let (answer, value, low, high) = match reading.answer {
        Amount::Value { value, low, high } => ("value", Some(value), Some(low), Some(high)),
        Amount::Below { high } => ("below", None, None, Some(high)),
        Amount::Above { low } => ("above", None, Some(low), None),
    };
    finite(&[value, low, high, reading.dilution_factor])?;
    if let Amount::Value { value, low, high } = reading.answer
        && !(low <= value && value < high)
    {
        return Err(clear(
            format!("the value {value} does not lie in its interval {low} to {high}"),
            "give an interval around the value: no reading is exact",
        ));
    }
    c.prepare_cached(
        "INSERT INTO reading (water, test, unit, seconds, at, answer, value, low, high, source, verdict, photo, sha256,
                              chart_sha256, dilution_factor, note)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16)",
    )?
    .execute(params![
        water,
        reading.test,
        reading.unit,
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
    ])?;
    let id = c.last_insert_rowid();
    if let Some(record) = &reading.record {
        c.execute(
            "INSERT INTO record (reading, json) VALUES (?1, ?2)",
            params![id, record.to_string()],
        )?;
    }
    if let Some(Jpeg(jpeg)) = &reading.picture {
        c.execute(
            "INSERT INTO picture (reading, jpeg) VALUES (?1, ?2)",
            params![id, jpeg],
        )?;
    }
    Ok(Entry::new(Table::Reading, id))
}

pub(super) fn insert_event(c: &Connection, event: &Event) -> std::result::Result<Entry, Fault> {
    finite(&[event.percent, event.amount])?;
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
                "SELECT id FROM equipment WHERE name = ?1 COLLATE NOCASE AND removed IS NULL",
                [name],
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
    c.execute(
        "INSERT INTO event (water, kind, seconds, at, percent, amount, unit, substance, medicine, equipment, note)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        params![
            water,
            event.kind.word(),
            event.at.seconds(),
            event.at.to_string(),
            event.percent,
            event.amount,
            event.unit,
            event.substance,
            event.medicine,
            equipment,
            event.note,
        ],
    )?;
    Ok(Entry::new(Table::Event, c.last_insert_rowid()))
}

pub(super) fn write_limit(c: &Connection, limit: &Limit) -> std::result::Result<(), Fault> {
    finite(&[limit.low, limit.high])?;
    let water = water_id(c, &limit.water)?;
    if let (Some(low), Some(high)) = (limit.low, limit.high)
        && low > high
    {
        return Err(clear(
            format!("the lower bound {low} is above the upper bound {high}"),
            "give the lower one first",
        ));
    }
    c.execute(
        "DELETE FROM bound WHERE water = ?1 AND test = ?2",
        params![water, limit.test],
    )?;
    if limit.low.is_some() || limit.high.is_some() {
        c.execute(
            "INSERT INTO bound (water, test, unit, low, high) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![water, limit.test, limit.unit, limit.low, limit.high],
        )?;
    }
    Ok(())
}

/// Keeps an entry as it is now among the changes.
pub(super) fn keep(c: &Connection, entry: Entry, now: &Moment) -> std::result::Result<(), Fault> {
    let table = entry.table.name();
    let mut query = c.prepare(&format!(
        "SELECT * FROM {table} WHERE id = ?1 AND removed IS NULL"
    ))?;
    let columns: Vec<String> = query.column_names().map(str::to_owned).collect();
    let before = query
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
            Ok(serde_json::Value::Object(fields).to_string())
        })
        .optional()?;
    let Some(before) = before else {
        return Err(clear(
            format!("there is no {} {entry} in the logbook", entry.what()),
            "see `tintwell log show`",
        ));
    };
    c.execute(
        "INSERT INTO change (at, entry, before) VALUES (?1, ?2, ?3)",
        params![now.to_string(), entry.to_string(), before],
    )?;
    Ok(())
}
