//! `tintwell plan routine`: where a weekly water change leads in the long run.

use jiff::tz::TimeZone;

use super::figure::{amount, percent};
use super::level::{NowArgs, SourceArgs};
use super::{Foot, LIVESTOCK, Sheet, USE, aligned, row};
use crate::cli::log::now as today;
use crate::cli::{Done, Stop};
use crate::face::plan::level::{Otherwise, Source};
use crate::face::plan::routine::{self, Asked, Made, Plan, Weeks};
use crate::logbook::Moment;

const EXAMPLES: &str = "\
Examples:
  tintwell plan routine --share 25 --made 5 --made-plus-minus 1 --now 42 --plus-minus 6
  tintwell plan routine --share 25 --log tidepool nitrate --source 2 --source-plus-minus 1
  tintwell plan routine --share 25 --log tidepool nitrate --since 2026-02-01

With --log and without --made, what is made in a week is found from the trusted readings and the
water changes logged between them: the slope of the readings, with what the changes took out put
back. It begins after the last turn of their course, unless --since tells another beginning.";

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
    /// Leave out readings before this time; else those before the turn of their course that `tintwell trend` finds
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

pub(super) fn run(args: &Args) -> Done {
    let logged = args.now.logged()?;
    let (now, unit) = args.now.level(logged.as_ref(), Otherwise::Tell)?;
    let source = args.source.source();
    let made = match (args.made, &logged) {
        (Some(made), _) => Made::given(made, args.made_plus_minus),
        (None, Some(logged)) => {
            let since = args
                .since
                .as_deref()
                .map(|t| Moment::parse(t, &TimeZone::system()).map_err(Stop::Usage))
                .transpose()?;
            Made::found(
                &logged.logbook,
                logged.water,
                logged.test,
                since.as_ref(),
                source,
                &unit,
                &today(),
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
    let (plan, mut notes) = routine::plan(Asked {
        unit,
        now,
        made,
        share: args.share,
        share_plus_minus: args.share_plus_minus,
        source,
    })?;
    if plan
        .found_from
        .as_ref()
        .is_some_and(|f| f.after_event.is_some())
    {
        notes.push("Another beginning can be told with --since.".to_owned());
    }
    notes.extend(plan.now.as_ref().and_then(|n| n.age(&today())));
    let text = words(&plan, source);
    Sheet {
        plan: "routine",
        result: plan,
        foot: Foot::new(notes, &[LIVESTOCK, USE]),
    }
    .show(&text, args.json)
}

fn between(weeks: &Weeks) -> String {
    match weeks.high {
        Some(high) => format!("{} to {high}", weeks.low),
        None => format!("{} or more", weeks.low),
    }
}

fn words(plan: &Plan, source: Source) -> String {
    let unit = &plan.unit;
    let mut rows = vec![row("just after it", plan.after_change.words(unit))];
    if let Some(weeks) = &plan.weeks_until_within_10_percent {
        let text = match weeks.value {
            0 if weeks.high == Some(0) => "it is now".to_owned(),
            0 => format!("it may be now ({} weeks)", between(weeks)),
            n => format!(
                "in {n} {}{}",
                if n == 1 { "week" } else { "weeks" },
                if weeks.high == Some(weeks.low) {
                    String::new()
                } else {
                    format!(" ({})", between(weeks))
                }
            ),
        };
        rows.push(row("within 10 % of that", text));
    } else if plan.now.is_some() {
        // Of nothing there is no per cent.
        let text = if plan.made_per_week.high.is_some() {
            "not known, as it is not settled what is made"
        } else {
            "never: the level only comes nearer and nearer to 0"
        };
        rows.push(row("within 10 % of that", text.to_owned()));
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
    let head = match plan.is_settled() {
        true => "In the long run:",
        false => "Not settled yet by these readings. In the long run, as far as they tell:",
    };
    format!(
        "{head} {} just before each change.\n{}\n{}",
        plan.before_change.words(unit),
        aligned(&rows),
        aligned(&given)
    )
}
