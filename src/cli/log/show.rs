//! `tintwell log show`: what is in the logbook.

use super::{LogbookArgs, changes};
use crate::cli::{Done, Exit, put};
use crate::logbook::equipment::{Met, Stay, met, stays};
use crate::logbook::{Access, Equipment, Limit, Logbook, Source};
use crate::report::number::plain;
use crate::report::text::clean;
use crate::report::trend::{happened, said};

/// Show the waters, or all that is known of one
#[derive(clap::Args)]
pub(super) struct Args {
    /// Name of the water; without it all waters are listed
    water: Option<String>,
    /// Readings of this test only
    #[arg(long, requires = "water")]
    test: Option<String>,
    /// What was there before entries were edited, removed or restored
    #[arg(long, conflicts_with_all = ["water", "test"])]
    changes: bool,
    /// One JSON object an entry, one line each; limits and where equipment was as well
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    logbook: LogbookArgs,
}

pub(super) fn run(args: &Args) -> Done {
    let logbook = args.logbook.open(Access::Read)?;
    let text = match &args.water {
        _ if args.changes => changes::told(&logbook, args.json)?,
        None if args.json => waters_json(&logbook)?,
        None => waters(&logbook)?,
        Some(water) if args.json => water_json(&logbook, water, args.test.as_deref())?,
        Some(water) => one(&logbook, water, args.test.as_deref())?,
    };
    put(&text)?;
    Ok(Exit::Trusted)
}

/// Equipment, where it was, and the medicines that it met.
#[derive(serde::Serialize)]
struct Whereabouts {
    #[serde(flatten)]
    thing: Equipment,
    stays: Vec<Stay>,
    met: Vec<Met>,
}

fn waters_json(logbook: &Logbook) -> crate::error::Result<String> {
    let mut text = String::new();
    for (entry, water) in logbook.waters()? {
        text += &line(entry.to_string(), &water);
    }
    for (entry, thing) in logbook.equipment()? {
        let (stays, met) = (stays(logbook, &thing.name)?, met(logbook, &thing.name)?);
        text += &line(entry.to_string(), &Whereabouts { thing, stays, met });
    }
    Ok(text)
}

fn water_json(logbook: &Logbook, water: &str, test: Option<&str>) -> crate::error::Result<String> {
    let mut text = String::new();
    for (entry, reading) in logbook.readings(water, test)? {
        text += &line(entry.to_string(), &reading);
    }
    if test.is_none() {
        for (entry, event) in logbook.events(water)? {
            text += &line(entry.to_string(), &event);
        }
    }
    for limit in limits(logbook, water, test)? {
        text += &line("limits".into(), &limit);
    }
    Ok(text)
}

/// An entry as one line of JSON, its name first.
fn line(entry: String, value: &impl serde::Serialize) -> String {
    let mut object = serde_json::json!({ "entry": entry });
    if let (Some(object), Ok(serde_json::Value::Object(fields))) =
        (object.as_object_mut(), serde_json::to_value(value))
    {
        object.extend(fields);
    }
    format!("{object}\n")
}

fn waters(logbook: &Logbook) -> crate::error::Result<String> {
    let mut text = String::new();
    for (entry, water) in logbook.waters()? {
        let mut facts = Vec::new();
        facts.extend(water.volume_l.map(|v| format!("{} L", plain(v))));
        facts.extend(water.medium.map(|m| m.word().to_owned()));
        if !water.lives.is_empty() {
            facts.push(clean(&water.lives));
        }
        if water.invertebrates {
            facts.push("invertebrates live there".into());
        }
        text += &format!("{entry:<5} {}  {}\n", clean(&water.name), facts.join(", "));
        for (_, last) in logbook.lasts(&water.name)? {
            text += &format!(
                "      {}: {}, {}\n",
                clean(&last.test),
                said(&last),
                last.at.short()
            );
        }
    }
    for (entry, thing) in logbook.equipment()? {
        text += &format!(
            "{entry:<5} {}  {}\n",
            clean(&thing.name),
            clean(&thing.note)
        );
        for stay in stays(logbook, &thing.name)? {
            let from = stay.from.as_ref().map(|at| format!(" from {}", at.date()));
            let to = stay.to.as_ref().map(|at| format!(" to {}", at.date()));
            text += &format!(
                "      in {}{}{}\n",
                clean(&stay.water),
                from.unwrap_or_default(),
                to.unwrap_or_else(|| ", there still".into())
            );
        }
        for m in met(logbook, &thing.name)? {
            text += &format!(
                "      was in {} with {}, {}\n",
                clean(&m.water),
                clean(&m.substance),
                m.at.short()
            );
        }
    }
    if text.is_empty() {
        text = "the logbook is empty: begin with `tintwell log add water NAME`\n".into();
    }
    Ok(text)
}

fn one(logbook: &Logbook, water: &str, test: Option<&str>) -> crate::error::Result<String> {
    let mut rows: Vec<(i64, String)> = Vec::new();
    for (entry, r) in logbook.readings(water, test)? {
        let source = match r.source {
            Source::Photo => r.photo.as_deref().unwrap_or("photo"),
            Source::Eye => "by eye",
            Source::Other => "other",
        };
        let mut row = format!(
            "{:<16}  {entry:<6} {}: {}  {}  {}",
            r.at.short(),
            clean(&r.test),
            said(&r),
            r.verdict.word(),
            clean(source)
        );
        if !r.note.is_empty() {
            row += &format!("  ({})", clean(&r.note));
        }
        rows.push((r.at.seconds(), row));
    }
    if test.is_none() {
        for (entry, e) in logbook.events(water)? {
            let row = format!("{:<16}  {entry:<6} {}", e.at.short(), happened(&e));
            rows.push((e.at.seconds(), row));
        }
    }
    rows.sort_by_key(|r| r.0);
    let mut text: String = rows.into_iter().map(|(_, row)| row + "\n").collect();
    for limit in limits(logbook, water, test)? {
        text += &format!("limits            {}\n", bounds(&limit));
    }
    if let (true, Some(test)) = (text.is_empty(), test) {
        let tests: Vec<String> = logbook.tests(water)?.iter().map(|t| clean(t)).collect();
        text = format!("no reading of {} is logged", clean(test));
        if !tests.is_empty() {
            text += &format!("; there are readings of {}", tests.join(", "));
        }
        text += "\n";
    }
    if text.is_empty() {
        text = "nothing is logged yet\n".into();
    }
    Ok(text)
}

/// The limits of a water, of one test or of all.
fn limits(logbook: &Logbook, water: &str, test: Option<&str>) -> crate::error::Result<Vec<Limit>> {
    let mut limits = logbook.limits(water)?;
    limits.retain(|l| test.is_none_or(|t| t.to_lowercase() == l.test.to_lowercase()));
    Ok(limits)
}

pub(super) fn bounds(limit: &Limit) -> String {
    let (test, unit) = (clean(&limit.test), clean(&limit.unit));
    match (limit.low, limit.high) {
        (Some(low), Some(high)) => {
            format!("{test} between {} and {} {unit}", plain(low), plain(high))
        }
        (Some(low), None) => format!("{test} not under {} {unit}", plain(low)),
        (None, Some(high)) => format!("{test} not over {} {unit}", plain(high)),
        (None, None) => test,
    }
}
