//! A course as one JSON object.

use serde_json::{Value, json};

use super::ahead::date;
use crate::course::Course;
use crate::report::number::six;
use crate::trend::Effect;

/// The course as one JSON object. Unknown is `null`. Slope, scatter and robust slope are those of the present course: since
/// `since_event` if that made a difference, else of all readings.
pub fn json(course: &Course) -> Value {
    let effect =
        |e: &Effect| json!({"value": six(e.value), "low": six(e.low), "high": six(e.high)});
    let (below, above) = course.bounds();
    let line = course.present();
    json!({
        "water": course.water.name,
        "test": course.test,
        "unit": course.unit,
        "from": course.readings.first().map(|(_, r)| r.at.to_string()),
        "to": course.readings.last().map(|(_, r)| r.at.to_string()),
        "readings": course.readings.len(),
        "doubtful": course.doubtful(),
        "below": below,
        "above": above,
        "level": crate::trend::LEVEL,
        "since_event": course.turn().map(|t| t.entry.to_string()),
        "slope_per_week": line.map(|l| json!({
            "value": six(l.slope_per_week),
            "low": six(l.slope_interval.0),
            "high": six(l.slope_interval.1),
        })),
        "chance_falling": line.map(|l| six(l.chance_falling())),
        "scatter": line.map(|l| six(l.tau)),
        "robust_slope_per_week": course.present_robust().map(|r| json!({
            "value": six(r.slope_per_week),
            "low": r.low.map(six),
            "high": r.high.map(six),
        })),
        "event": course.around.as_ref().map(|a| json!({
            "entry": a.entry.to_string(),
            "kind": a.event.kind,
            "model": a.split.as_ref().ok().map(|s| s.model),
            "other_ways": a.split.is_ok() && a.other_ways,
            "at": a.event.at.to_string(),
            "before": a.split.as_ref().ok().map(|s| effect(&s.before)),
            "after": a.split.as_ref().ok().map(|s| effect(&s.after)),
            "step": a.split.as_ref().ok().map(|s| effect(&s.step)),
            "chance_fell": a.split.as_ref().ok().map(|s| six(s.chance_fell)),
            "slope_before_per_week": a.split.as_ref().ok().and_then(|s| s.slope_before).map(|e| effect(&e)),
            "slope_after_per_week": a.split.as_ref().ok().and_then(|s| s.slope_after).map(|e| effect(&e)),
            "slope_change_per_week": a.split.as_ref().ok().and_then(|s| s.slope_change).map(|e| effect(&e)),
            "settled": a.is_settled(),
            "readings_to_settle": a.further,
            "error": a.split.as_ref().err().map(|e| &e.what),
        })),
        "limit": course.limit.as_ref().map(|l| json!({"low": l.low, "high": l.high})),
        "crossings": course.crossings.iter().map(|(bound, c)| json!({
            "limit": bound,
            "earliest": date(c.earliest, course),
            "central": c.central.map(|d| date(d, course)),
            "latest": c.latest.map(|d| date(d, course)),
        })).collect::<Vec<_>>(),
        "error": course.line.as_ref().err().map(|e| &e.what),
        "notes": course.notes,
    })
}
