//! `tintwell plan routine`: where a weekly water change leads in the long run.

use jiff::tz::TimeZone;
use serde::Serialize;

use super::figure::{self, Figure, amount, percent};
use super::level::{Logged, Now, NowArgs, SourceArgs};
use super::{Foot, LIVESTOCK, Sheet, USE, aligned, row};
use crate::cli::{Done, Stop};
use crate::course::point;
use crate::error::Error;
use crate::flag::Verdict;
use crate::logbook::{Kind, Moment};
use crate::report::text::clean;
use crate::trend::Point;
use crate::water::Estimate;
use crate::water::production::{Change, production};
use crate::water::routine::Routine;

const EXAMPLES: &str = "\
Examples:
  tintwell plan routine --share 25 --made 5 --made-plus-minus 1 --now 42 --plus-minus 6
  tintwell plan routine --share 25 --log tidepool nitrate --source 2 --source-plus-minus 1
  tintwell plan routine --share 25 --log tidepool nitrate --since 2026-02-01

With --log and without --made, what is made in a week is found from the trusted readings and the
water changes logged between them: the slope of the readings, with what the changes took out put
back.";

/// Where a weekly water change leads in the long run
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    /// How much of the water is changed each week
    #[arg(long, value_name = "PERCENT", value_parser = percent, allow_negative_numbers = true)]
    share: f64,
    /// How far off that may be, in per cent of the water: half of its 95 % interval
    #[arg(long, value_name = "HALF", value_parser = amount, allow_negative_numbers = true)]
    share_plus_minus: Option<f64>,
    /// How much the level rises in a week without a change
    #[arg(long, value_name = "VALUE", value_parser = amount, allow_negative_numbers = true, requires = "made_plus_minus")]
    made: Option<f64>,
    /// How far off that may be: half of its 95 % interval
    #[arg(long, value_name = "HALF", value_parser = amount, allow_negative_numbers = true, requires = "made")]
    made_plus_minus: Option<f64>,
    /// Leave out readings before this time
    #[arg(long, value_name = "TIME", requires = "log", conflicts_with = "made")]
    since: Option<String>,
    #[command(flatten)]
    now: NowArgs,
    #[command(flatten)]
    source: SourceArgs,
    /// One JSON object
    #[arg(long)]
    json: bool,
}

/// How near to the long run counts as there, per cent of it.
const NEAR_PERCENT: f64 = 10.0;

#[derive(Serialize)]
struct Plan {
    unit: String,
    before_change: Figure,
    after_change: Figure,
    made_per_week: Figure,
    /// What the production was found from; `null` if it was told.
    found_from: Option<Found>,
    share_per_week_percent: Figure,
    source: Figure,
    now: Option<Now>,
    /// `null` if it is not known where it starts, or there is no production.
    weeks_until_within_10_percent: Option<Weeks>,
}

#[derive(Serialize)]
struct Weeks {
    value: u32,
    low: u32,
    high: u32,
}

#[derive(Serialize)]
struct Found {
    readings: usize,
    water_changes: usize,
    from: String,
    to: String,
}

pub(super) fn run(args: &Args) -> Done {
    let logged = args.now.logged()?;
    let (now, unit) = args.now.level(logged.as_ref())?;
    let mut notes = Vec::new();
    let (rise, made, found_from) = match (args.made, &logged) {
        (Some(made), _) => (
            figure::estimate(made, args.made_plus_minus),
            Figure::given(made, args.made_plus_minus),
            None,
        ),
        (None, Some(logged)) => {
            let since = args
                .since
                .as_deref()
                .map(|t| Moment::parse(t, &TimeZone::system()).map_err(Stop::Usage))
                .transpose()?;
            found(
                logged,
                since.as_ref(),
                args.source.estimate(),
                &unit,
                &mut notes,
            )?
        }
        (None, None) => {
            return Err(Stop::Usage(
                "tell what is made in a week with --made and --made-plus-minus, or find it from the logbook with --log \
                 WATER TEST"
                    .into(),
            ));
        }
    };
    let per_cent = |v: f64| v / 100.0;
    let share = figure::estimate(per_cent(args.share), args.share_plus_minus.map(per_cent));
    let routine = Routine {
        rise,
        share,
        source: args.source.estimate(),
    };
    let steady = routine.steady()?;
    let weeks = match &now {
        Some(now) if steady.before.value > 0.0 => {
            let weeks = routine.weeks_until_within(NEAR_PERCENT, now.estimate)?;
            let spread = figure::K * weeks.unrounded.u;
            let whole = |v: f64| v.max(0.0).ceil() as u32;
            Some(Weeks {
                value: weeks.weeks,
                low: whole(weeks.unrounded.value - spread).min(weeks.weeks),
                high: whole(weeks.unrounded.value + spread).max(weeks.weeks),
            })
        }
        _ => None,
    };
    notes.push(
        "Holds while feeding, stock, share and source water stay as they are. The level now counts as just before a change."
            .to_owned(),
    );
    let plan = Plan {
        unit,
        before_change: Figure::of(steady.before),
        after_change: Figure::of(steady.after),
        made_per_week: made,
        found_from,
        share_per_week_percent: Figure::given(args.share, args.share_plus_minus),
        source: args.source.figure(),
        now,
        weeks_until_within_10_percent: weeks,
    };
    let text = words(&plan, &args.source);
    Sheet {
        plan: "routine",
        result: plan,
        foot: Foot::new(notes, &[LIVESTOCK, USE]),
    }
    .show(&text, args.json)
}

fn words(plan: &Plan, source: &SourceArgs) -> String {
    let unit = &plan.unit;
    let mut rows = vec![row("just after it", plan.after_change.words(unit))];
    if let Some(weeks) = &plan.weeks_until_within_10_percent {
        let text = match weeks.value {
            0 => "it is now".to_owned(),
            n => format!(
                "in {n} {}{}",
                if n == 1 { "week" } else { "weeks" },
                if weeks.low == weeks.high {
                    String::new()
                } else {
                    format!(" ({} to {})", weeks.low, weeks.high)
                }
            ),
        };
        rows.push(row("within 10 % of that", text));
    } else if plan.now.is_some() {
        // Of nothing there is no per cent.
        rows.push(row(
            "within 10 % of that",
            "never: the level only comes nearer and nearer to 0".to_owned(),
        ));
    }
    let mut given = vec![
        row("made in a week", plan.made_per_week.words(unit)),
        row("changed each week", plan.share_per_week_percent.words("%")),
        row("source water", source.words(unit)),
    ];
    if let Some(now) = &plan.now {
        given.push(row("now", now.words(unit)));
    }
    if let Some(f) = &plan.found_from {
        let what = format!(
            "{} to {}, readings: {}, water changes: {}",
            f.from, f.to, f.readings, f.water_changes
        );
        given.insert(1, row("found from", what));
    }
    let wide = rows
        .iter()
        .chain(&given)
        .map(|r| r[0].chars().count())
        .max()
        .unwrap_or(0);
    for r in rows.iter_mut().chain(&mut given) {
        r[0] = format!("{:<wide$}", r[0]);
    }
    format!(
        "In the long run: {} just before each change.\n{}\n{}",
        plan.before_change.words(unit),
        aligned(&rows),
        aligned(&given)
    )
}

/// The production by the logbook.
fn found(
    logged: &Logged,
    since: Option<&Moment>,
    source: Estimate,
    unit: &str,
    notes: &mut Vec<String>,
) -> Result<(Estimate, Figure, Option<Found>), Error> {
    let about = format!("{} in {}", clean(logged.test), clean(logged.water));
    let named = |e: Error| e.about(about.clone());
    let all = logged.logbook.readings(logged.water, Some(logged.test))?;
    let (used, left): (Vec<_>, Vec<_>) = all
        .into_iter()
        .filter(|(_, r)| since.is_none_or(|s| r.at.seconds() >= s.seconds()))
        .partition(|(_, r)| r.verdict == Verdict::Trusted);
    if let Some((entry, other)) = used.iter().find(|(_, r)| clean(&r.unit) != unit) {
        return Err(named(Error::new(
            format!(
                "reading {entry} is in {}, the newest one in {unit}",
                clean(&other.unit)
            ),
            "leave it out with --since, or log readings of another unit as another test",
        )));
    }
    if !left.is_empty() {
        notes.push(format!(
            "Left out, as they are not trusted: {} {}.",
            left.len(),
            if left.len() == 1 {
                "reading"
            } else {
                "readings"
            }
        ));
    }
    let points: Vec<Point> = used.iter().map(|(_, r)| point(r)).collect();
    let ends = used.first().zip(used.last());
    let within = |at: &Moment| {
        ends.is_some_and(|((_, a), (_, b))| {
            (a.at.seconds()..b.at.seconds()).contains(&at.seconds())
        })
    };
    let mut changes = Vec::new();
    let mut others = 0;
    for (entry, event) in logged.logbook.events(logged.water)? {
        if !within(&event.at) {
            continue;
        }
        match event.kind {
            Kind::WaterChange => {
                let percent = event.percent.ok_or_else(|| {
                    named(Error::new(
                        format!("the water change {entry} does not say how much was changed"),
                        "remove it and log it anew with --percent, or begin after it with --since",
                    ))
                })?;
                changes.push(Change {
                    day: event.at.days(),
                    share: percent / 100.0,
                });
            }
            Kind::EquipmentIn | Kind::EquipmentOut => {}
            _ => others += 1,
        }
    }
    let p = production(&points, &changes, source).map_err(named)?;
    let made = Figure::between(p.per_week, p.low, p.high);
    if p.per_week < 0.0 {
        return Err(named(Error::new(
            format!(
                "by the readings {} are made in a week: the level falls by more than the water changes take out",
                made.words(unit)
            ),
            "tell what is made with --made and --made-plus-minus, or begin later with --since",
        )));
    }
    if p.changes == 0 {
        notes.push("No water change is logged between the readings: if there was one, log it, or too little is found.".to_owned());
    }
    if p.low <= 0.0 {
        notes.push(
            "The readings do not settle whether anything is made at all: more of them would."
                .to_owned(),
        );
    }
    if others > 0 {
        notes.push(format!(
            "Events of another kind between the readings: {others}. What they brought or took counts as made or used up."
        ));
    }
    notes.push(
        "Logged shares of water changes count as exact. Few readings make a wide interval (Student's t).".to_owned(),
    );
    let found = ends.map(|((_, a), (_, b))| Found {
        readings: used.len(),
        water_changes: p.changes,
        from: date(&a.at),
        to: date(&b.at),
    });
    let made = Figure::between(p.per_week, p.low.max(0.0), p.high);
    Ok((p.estimate(), made, found))
}

fn date(at: &Moment) -> String {
    at.short().chars().take_while(|c| *c != ' ').collect()
}
