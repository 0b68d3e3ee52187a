//! `tintwell plan change --goal`: one change that brings several substances down.

use super::figure::{amount, some};
use super::level::Logged;
use super::{Foot, LIVESTOCK, Sheet, USE, aligned, row};
use crate::cli::log::now as today;
use crate::cli::{Done, Stop};
use crate::face::plan::change::poured;
use crate::face::plan::level::Source;
use crate::face::plan::together::{self, Asked, Goal, Outcome, Plan};
use crate::report::number::plain;
use crate::report::text::clean;

/// A test and a level, as in `phosphate=0.1`.
#[derive(Debug, Clone)]
pub(super) struct Told {
    test: String,
    level: f64,
}

/// The same with how far off it may be, as in `phosphate=0.1+-0.05`.
#[derive(Debug, Clone)]
pub(super) struct ToldSource {
    test: String,
    source: Source,
}

fn parts(text: &str) -> Result<(String, &str), String> {
    // The name of a test may hold the sign, a number not.
    match text.rsplit_once('=') {
        Some((test, level)) if !test.trim().is_empty() => Ok((test.trim().to_owned(), level)),
        _ => Err("write the test and its level as TEST=VALUE".to_owned()),
    }
}

pub(super) fn goal(text: &str) -> Result<Told, String> {
    let (test, level) = parts(text)?;
    let level = some(level)?;
    Ok(Told { test, level })
}

pub(super) fn goal_source(text: &str) -> Result<ToldSource, String> {
    let (test, level) = parts(text)?;
    let (level, half) = match level.split_once("+-") {
        Some((level, half)) => (level, Some(amount(half)?)),
        None => (level, None),
    };
    let source = Source {
        value: amount(level)?,
        plus_minus: half,
    };
    Ok(ToldSource { test, source })
}

/// Joins the further goals to the first one.
pub(super) fn goals(
    first: Goal,
    logged: &Logged,
    further: &[Told],
    sources: &[ToldSource],
) -> Result<Vec<Goal>, Stop> {
    let mut goals = vec![first];
    for told in further {
        if goals.iter().any(|g| g.test == told.test) {
            return Err(Stop::Usage(format!(
                "{} has two targets: give it one",
                clean(&told.test)
            )));
        }
        let (now, unit) = logged.level_of(&told.test)?;
        let source = sources.iter().find(|s| s.test == told.test);
        goals.push(Goal {
            test: told.test.clone(),
            unit,
            now,
            target: told.level,
            source: source.map_or(
                Source {
                    value: 0.0,
                    plus_minus: None,
                },
                |s| s.source,
            ),
        });
    }
    let strange = |s: &&ToldSource| !further.iter().any(|g| g.test == s.test);
    match sources.iter().find(strange) {
        Some(s) => Err(Stop::Usage(format!(
            "--goal-source tells of {}, for which there is no --goal",
            clean(&s.test)
        ))),
        None => Ok(goals),
    }
}

pub(super) fn run(asked: Asked, json: bool) -> Done {
    let sources: Vec<Source> = asked.goals.iter().map(|g| g.source).collect();
    let (plan, mut notes) = together::plan(asked)?;
    let today = today();
    notes.extend(plan.goals.iter().filter_map(|g| g.now.age(&today)));
    let text = words(&plan, &sources);
    Sheet {
        plan: "change",
        result: plan,
        foot: Foot::new(notes, &[LIVESTOCK, USE]),
    }
    .show(&text, json)
}

fn words(plan: &Plan, sources: &[Source]) -> String {
    let mut text = String::new();
    if let (Some(each), Some(at_once), Some(by)) = (
        plan.share_each_percent,
        plan.share_at_once_percent,
        &plan.decided_by,
    ) {
        let litres = match (plan.litres_each, plan.volume_litres) {
            (Some(litres), Some(volume)) => format!(": {} of {} L", poured(litres), plain(volume)),
            _ => String::new(),
        };
        text += &if plan.days == 1 {
            format!("Change {} of the water{litres}.\n", each.words("%"))
        } else {
            format!(
                "Change {} of the water a day{litres}, {} days running.\nThe same as {} at once.\n",
                each.words("%"),
                plan.days,
                at_once.words("%")
            )
        };
        text += &format!("Most is needed for {}.\n", clean(by));
    } else {
        text += "No change is needed: nothing is above its target.\n";
    }
    for (goal, source) in plan.goals.iter().zip(sources) {
        text += &format!(
            "\n{}\n{}",
            clean(&goal.test),
            aligned(&rows(goal, *source, plan.needed))
        );
    }
    text
}

fn rows(goal: &Outcome, source: Source, needed: bool) -> Vec<Vec<String>> {
    let unit = &goal.unit;
    let mut rows = vec![
        row("now", goal.now.words(unit)),
        row("target", format!("{} {unit}", plain(goal.target))),
        row("source water", source.words(unit)),
    ];
    if needed {
        let alone = match goal.needs_percent {
            Some(share) => share.words("%"),
            None => "nothing".to_owned(),
        };
        rows.push(row("needs by itself", alone));
        rows.push(row("expect afterwards", goal.expected.words(unit)));
    }
    rows
}
