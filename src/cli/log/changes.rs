//! `tintwell log show --changes`: what was edited, removed or restored, in words.

use serde_json::Value;

use crate::logbook::changes::{Change, Fields};
use crate::logbook::{Event, Limit, Logbook, Reading};
use crate::report::number::plain;
use crate::report::text::clean;
use crate::report::trend::{happened, said};

/// All changes, one a line.
pub(super) fn told(logbook: &Logbook, json: bool) -> crate::error::Result<String> {
    let mut text = String::new();
    for change in logbook.history()? {
        let Change {
            at,
            entry,
            before,
            after,
        } = &change;
        if json {
            let change = serde_json::json!({
                "changed_at": at,
                "entry": entry,
                "removed": after.is_none(),
                "restored": before.is_none(),
                "before": before,
                "after": after,
            });
            text += &format!("{change}\n");
        } else {
            let short = at.get(..16).unwrap_or(at).replace('T', " ");
            text += &format!("{short}  {entry:<6} {}\n", words(&change));
        }
    }
    if text.is_empty() && !json {
        text = "nothing was edited, removed or restored\n".into();
    }
    Ok(text)
}

fn words(change: &Change) -> String {
    let (before, after) = match (&change.before, &change.after) {
        (Some(before), Some(after)) => (before, after),
        (Some(before), None) if limit(before).is_some() => {
            return format!("taken away: {}", whole(before));
        }
        (Some(before), None) => return format!("removed: {}", whole(before)),
        (None, Some(after)) => return format!("restored: {}", whole(after)),
        (None, None) => return "left as it was".into(),
    };
    if let (Some(old), Some(new)) = (limit(before), limit(after)) {
        return format!(
            "of {}: {} -> {}",
            clean(&old.water),
            super::show::bounds(&old),
            super::show::bounds(&new)
        );
    }
    let names = before.keys().chain(after.keys());
    let mut changed: Vec<String> = Vec::new();
    for name in names {
        let (old, new) = (before.get(name), after.get(name));
        let told = format!("{}: {} -> {}", field(name), value(old), value(new));
        if old != new && !changed.contains(&told) {
            changed.push(told);
        }
    }
    if changed.is_empty() {
        return "left as it was".into();
    }
    changed.join("; ")
}

/// Limits, if it is such.
fn limit(fields: &Fields) -> Option<Limit> {
    let is_limit = !fields.contains_key("at") && fields.contains_key("test");
    is_limit.then(|| of(fields)).flatten()
}

/// The name of a field as the options of `log edit` have it.
fn field(name: &str) -> &str {
    match name {
        "volume_l" => "volume in L",
        "at" => "time",
        "lives" => "what lives there",
        name => name,
    }
}

fn value(told: Option<&Value>) -> String {
    match told {
        None | Some(Value::Null) => "none".into(),
        Some(Value::String(text)) => format!("\"{}\"", clean(text)),
        Some(Value::Bool(is)) => if *is { "yes" } else { "no" }.into(),
        Some(Value::Number(n)) => n.as_f64().map_or_else(|| n.to_string(), plain),
        Some(other) => clean(&other.to_string()),
    }
}

/// What something was that is there no more.
fn whole(fields: &Fields) -> String {
    if let Some(limit) = limit(fields) {
        return format!(
            "of {}: {}",
            clean(&limit.water),
            super::show::bounds(&limit)
        );
    }
    if let Some(r) = of::<Reading>(fields) {
        return format!(
            "{} of {}, {}: {}",
            clean(&r.test),
            clean(&r.water),
            r.at.short(),
            said(&r)
        );
    }
    if let Some(e) = of::<Event>(fields) {
        return format!("{} of {}, {}", happened(&e), clean(&e.water), e.at.short());
    }
    value(fields.get("name"))
}

/// Fields as the record that they are of.
fn of<T: for<'de> serde::Deserialize<'de>>(fields: &Fields) -> Option<T> {
    serde_json::from_value(Value::Object(fields.clone())).ok()
}
