//! `tintwell plan change`: how much water to change for a target.

use super::figure::{percent, some};
use super::level::{NowArgs, SourceArgs};
use super::together::{self, Told, ToldSource};
use super::{Foot, LIVESTOCK, Sheet, USE, aligned, row};
use crate::cli::log::now as today;
use crate::cli::{Done, Stop};
use crate::face::plan::change::{self, Asked, Change, Plan, poured};
use crate::face::plan::level::{Otherwise, Source};
use crate::face::plan::together::{Asked as AskedOfAll, Goal};
use crate::report::number::plain;
use crate::water::volume::litres;

const EXAMPLES: &str = "\
Examples:
  tintwell plan change --now 42 --plus-minus 6 --target 20
  tintwell plan change --now 42 --plus-minus 6 --target 20 --source 5 --source-plus-minus 2
  tintwell plan change --log tidepool nitrate --target 20 --volume 400L --most-a-day 20
  tintwell plan change --log tidepool nitrate --target 20 --goal phosphate=0.1";

/// How much water to change to come down to a target, or to several
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    #[command(flatten)]
    now: NowArgs,
    /// Level to come down to
    #[arg(long, value_name = "VALUE", value_parser = some, allow_negative_numbers = true)]
    target: f64,
    #[command(flatten)]
    source: SourceArgs,
    /// Bring another test of the same water down too, to this level; can be given several times
    #[arg(long, value_name = "TEST=VALUE", value_parser = together::goal)]
    goal: Vec<Told>,
    /// Level of it in the water that is put in, if not 0, such as phosphate=0.02 or phosphate=0.02+-0.01
    #[arg(long, value_name = "TEST=VALUE", value_parser = together::goal_source, requires = "goal")]
    goal_source: Vec<ToldSource>,
    /// How much water it is, in L, m3, US gal or UK gal, such as 400L; else as in the logbook. The water alone, without
    /// sand and rock
    #[arg(long, value_name = "VOLUME", value_parser = litres, allow_hyphen_values = true)]
    volume: Option<f64>,
    /// Spread it over days, with at most so much of the water changed on each
    #[arg(long, value_name = "PERCENT", value_parser = percent, allow_negative_numbers = true)]
    most_a_day: Option<f64>,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &Args) -> Done {
    let logged = args.now.logged()?;
    if logged.is_none() && !args.goal.is_empty() {
        return Err(Stop::Usage(
            "--goal takes the level from the logbook: tell which water with --log WATER TEST"
                .into(),
        ));
    }
    let otherwise = if args.goal.is_empty() {
        Otherwise::Tell
    } else {
        Otherwise::Log
    };
    let (Some(now), unit) = args.now.level(logged.as_ref(), otherwise)? else {
        return Err(Stop::Usage(
            "tell the level now with --now and --plus-minus, or take it from the logbook with --log WATER TEST".into(),
        ));
    };
    let volume = match (args.volume, &logged) {
        (None, Some(logged)) => logged.litres()?,
        (told, _) => told,
    };
    let source = args.source.source();
    if let (Some(logged), false) = (&logged, args.goal.is_empty()) {
        let first = Goal {
            test: logged.test.to_owned(),
            unit,
            now,
            target: args.target,
            source,
        };
        let asked = AskedOfAll {
            goals: together::goals(first, logged, &args.goal, &args.goal_source)?,
            volume,
            most_a_day: args.most_a_day,
        };
        return together::run(asked, args.json);
    }
    let (plan, mut notes) = change::plan(Asked {
        unit,
        now,
        target: args.target,
        source,
        volume,
        most_a_day: args.most_a_day,
    })?;
    notes.extend(plan.now.age(&today()));
    let text = match plan.changes.len() {
        0 => nothing_to_do(&plan, source),
        1 => once(&plan, source),
        _ => split(&plan, source),
    };
    sheet(plan, notes).show(&text, args.json)
}

fn sheet(plan: Plan, notes: Vec<String>) -> Sheet<Plan> {
    Sheet {
        plan: "change",
        result: plan,
        foot: Foot::new(notes, &[LIVESTOCK, USE]),
    }
}

fn nothing_to_do(plan: &Plan, source: Source) -> String {
    format!(
        "No change is needed: the water is not above the target.\n{}",
        aligned(&facts(plan, source, &plan.unit))
    )
}

fn facts(plan: &Plan, source: Source, unit: &str) -> Vec<Vec<String>> {
    vec![
        row("now", plan.now.words(unit)),
        row("target", format!("{} {unit}", plain(plan.target))),
        row("source water", source.words(unit)),
    ]
}

/// `: 210 L of 400 L`, if the volume is known.
fn volume(plan: &Plan, change: &Change) -> String {
    match (change.litres, plan.volume_litres) {
        (Some(litres), Some(volume)) => format!(": {} of {} L", poured(litres), plain(volume)),
        _ => String::new(),
    }
}

fn once(plan: &Plan, source: Source) -> String {
    let unit = &plan.unit;
    let mut rows = facts(plan, source, unit);
    let mut text = String::new();
    if let (Some(share), Some(change)) = (plan.share_at_once_percent, plan.changes.first()) {
        text = format!(
            "Change {} of the water{}.\n",
            share.words("%"),
            volume(plan, change)
        );
        rows.push(row("expect afterwards", change.expected.words(unit)));
    }
    text + &aligned(&rows)
}

fn split(plan: &Plan, source: Source) -> String {
    let unit = &plan.unit;
    let mut text = String::new();
    if let (Some(each), Some(at_once)) = (plan.share_each_percent, plan.share_at_once_percent) {
        text = format!(
            "Change {} of the water a day, {} days running.\n",
            each.words("%"),
            plan.changes.len()
        );
        let mut rows = facts(plan, source, unit);
        rows.push(row(
            "the same as",
            format!("{} at once", at_once.words("%")),
        ));
        text += &aligned(&rows);
    }
    let mut table = vec![vec!["day".to_owned(), "expect afterwards".to_owned()]];
    if plan.volume_litres.is_some() {
        table[0].insert(1, "change".to_owned());
    }
    for change in plan.shown() {
        let Some(change) = change else {
            table.push(vec!["...".to_owned()]);
            continue;
        };
        let mut cells = vec![change.day.to_string()];
        cells.extend(change.litres.map(poured));
        cells.push(change.expected.words(unit));
        table.push(cells);
    }
    format!("{text}\n{}", aligned(&table))
}
