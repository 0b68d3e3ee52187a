//! `tintwell plan change`: how much water to change for a target.

use serde::Serialize;

use super::figure::{Figure, percent, short, short_if_known, some};
use super::level::{Now, NowArgs, SourceArgs};
use super::{Foot, LIVESTOCK, Sheet, USE, aligned, row};
use crate::cli::{Done, Stop};
use crate::report::number::plain;
use crate::water::Estimate;
use crate::water::mixing::{Schedule, share_needed, spread};
use crate::water::volume::litres;

const EXAMPLES: &str = "\
Examples:
  tintwell plan change --now 42 --plus-minus 6 --target 20
  tintwell plan change --now 42 --plus-minus 6 --target 20 --source 5 --source-plus-minus 2
  tintwell plan change --log tidepool nitrate --target 20 --volume 400L --most-a-day 20";

/// How much water to change to come down to a target
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
    /// How much water it is, in L, m3, US gal or UK gal, such as 400L; else as in the logbook. The water alone, without
    /// sand and rock
    #[arg(long, value_name = "VOLUME", value_parser = litres)]
    volume: Option<f64>,
    /// Spread it over days, with at most so much of the water changed on each
    #[arg(long, value_name = "PERCENT", value_parser = percent, allow_negative_numbers = true)]
    most_a_day: Option<f64>,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct Plan {
    unit: String,
    now: Now,
    #[serde(serialize_with = "short")]
    target: f64,
    source: Figure,
    #[serde(serialize_with = "short_if_known")]
    volume_litres: Option<f64>,
    needed: bool,
    /// All at once; `null` if nothing is to change.
    share_at_once_percent: Option<Figure>,
    /// Each of the changes.
    share_each_percent: Option<Figure>,
    changes: Vec<Change>,
}

#[derive(Serialize)]
struct Change {
    day: usize,
    #[serde(serialize_with = "short")]
    percent: f64,
    #[serde(serialize_with = "short_if_known")]
    litres: Option<f64>,
    expected: Figure,
}

pub(super) fn run(args: &Args) -> Done {
    let logged = args.now.logged()?;
    let (Some(now), unit) = args.now.level(logged.as_ref())? else {
        return Err(Stop::Usage(
            "tell the level now with --now and --plus-minus, or take it from the logbook with --log WATER TEST".into(),
        ));
    };
    let volume = match (args.volume, &logged) {
        (None, Some(logged)) => logged.litres()?,
        (told, _) => told,
    };
    let source = args.source.estimate();
    let mut plan = Plan {
        unit,
        now,
        target: args.target,
        source: args.source.figure(),
        volume_litres: volume,
        needed: false,
        share_at_once_percent: None,
        share_each_percent: None,
        changes: Vec::new(),
    };
    let present = plan.now.estimate;
    if present.value <= args.target {
        let (text, notes) = nothing_to_do(&plan, &args.source);
        return sheet(plan, notes).show(&text, args.json);
    }
    let share = share_needed(present, source, args.target)?;
    let schedule = spread(share, args.most_a_day.map_or(1.0, |most| most / 100.0))?;
    plan.needed = true;
    plan.share_at_once_percent = Some(Figure::percent(share));
    plan.share_each_percent = Some(Figure::percent(schedule.share));
    plan.changes = changes(&schedule, present, source, volume)?;
    let text = if schedule.days == 1 {
        once(&plan, &args.source)
    } else {
        split(&plan, &args.source)
    };
    let notes = notes(&plan);
    sheet(plan, notes).show(&text, args.json)
}

fn sheet(plan: Plan, notes: Vec<String>) -> Sheet<Plan> {
    Sheet {
        plan: "change",
        result: plan,
        foot: Foot::new(notes, &[LIVESTOCK, USE]),
    }
}

fn changes(
    schedule: &Schedule,
    present: Estimate,
    source: Estimate,
    volume: Option<f64>,
) -> crate::error::Result<Vec<Change>> {
    let share = schedule.share.value;
    let course = schedule.course(present, source)?;
    Ok(course
        .into_iter()
        .enumerate()
        .map(|(i, after)| Change {
            day: i + 1,
            percent: 100.0 * share,
            litres: volume.map(|v| v * share),
            expected: Figure::of(after),
        })
        .collect())
}

fn nothing_to_do(plan: &Plan, source: &SourceArgs) -> (String, Vec<String>) {
    let unit = &plan.unit;
    let mut notes = Vec::new();
    if plan.now.figure.high.is_some_and(|high| high > plan.target) {
        notes.push(
            "Its interval reaches above the target: test again before you rely on it.".to_owned(),
        );
    }
    if plan.source.value > plan.target {
        notes.push(
            "The source water is above the target: a change with it would raise the level."
                .to_owned(),
        );
    }
    let text = format!(
        "No change is needed: the water is not above the target.\n{}",
        aligned(&facts(plan, source, unit))
    );
    (text, notes)
}

fn facts(plan: &Plan, source: &SourceArgs, unit: &str) -> Vec<Vec<String>> {
    vec![
        row("now", plan.now.words(unit)),
        row("target", format!("{} {unit}", plain(plan.target))),
        row("source water", source.words(unit)),
    ]
}

/// A volume that is poured, in litres: three digits are more than a bucket bears.
fn poured(litres: f64) -> String {
    let decimals = (2 - litres.log10().floor() as i32).clamp(0, 3) as usize;
    format!("{litres:.decimals$} L")
}

/// `: 210 L of 400 L`, if the volume is known.
fn volume(plan: &Plan, change: &Change) -> String {
    match (change.litres, plan.volume_litres) {
        (Some(litres), Some(volume)) => format!(": {} of {} L", poured(litres), plain(volume)),
        _ => String::new(),
    }
}

fn once(plan: &Plan, source: &SourceArgs) -> String {
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

fn split(plan: &Plan, source: &SourceArgs) -> String {
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
    for change in &plan.changes {
        let mut cells = vec![change.day.to_string()];
        cells.extend(change.litres.map(poured));
        cells.push(change.expected.words(unit));
        table.push(cells);
    }
    format!("{text}\n{}", aligned(&table))
}

fn notes(plan: &Plan) -> Vec<String> {
    let mut notes = Vec::new();
    if plan.now.figure.low.is_some_and(|low| low <= plan.target) {
        notes.push(
            "The interval of the level now reaches down to the target: the water may be there already.".to_owned(),
        );
    }
    if plan.source.high.is_some_and(|high| high >= plan.target) {
        notes.push(
            "The source water may be above the target itself: test it better before you rely on this."
                .to_owned(),
        );
    }
    notes.push(
        "Not counted is what is made or used up meanwhile; the water is taken as well mixed. Test afterwards."
            .to_owned(),
    );
    notes
}
