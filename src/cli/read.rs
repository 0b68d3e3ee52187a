//! `tintwell read`: reads photos with a chart and shows each result as it comes.

use std::collections::HashSet;
use std::path::{Path, PathBuf};

use super::files::{Output, extension, load_chart, load_photo, shown, spares, with_stem};
use super::keep::{KeepArgs, Keeper, Noted, Seen, picture};
use super::log::when;
use super::one::{One, content, one};
use super::place::{PlaceArgs, save_frame};
use super::timings::TimingsArgs;
use super::{Done, Exit, Stop, colour, put, say, tell};
use crate::blank::Blank;
use crate::capture::Started;
use crate::chart::Chart;
use crate::error::Error;
use crate::estimate::dilution::Dilution;
use crate::flag::Checked;
use crate::logbook::folded;
use crate::photo::sha256;
use crate::reading::{Told, is_ph};
use crate::report::{Outcome, json, overlay, text};
use crate::same_vial::{Member, VialReading, same_vial};

const EXAMPLES: &str = "\
Examples:
  tintwell read --chart nitrate.json monday.jpg
  tintwell read --chart nitrate.json --json *.jpg > week.ndjson
  tintwell read --chart nitrate.json --overlay seen.png --explain monday.jpg
  tintwell read --chart nitrate.json --same-vial a.jpg b.jpg c.jpg
  tintwell read --chart nitrate.json --log tidepool monday.jpg
  tintwell read --chart nitrate.json --white 40,40,200,120 --vial 310,220,60,180 --save-frame stand.json a.jpg
  tintwell read --chart nitrate.json --frame stand.json b.jpg c.jpg";

/// Read photos of samples with a chart
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    /// Photos of the vial in front of the card
    #[arg(required = true, value_name = "PHOTO")]
    photos: Vec<PathBuf>,
    /// Chart file, as written by `tintwell calibrate`
    #[arg(long, value_name = "FILE")]
    chart: PathBuf,
    /// The photos show one vial: combine them into one reading, whose verdict gives the exit code
    #[arg(long)]
    same_vial: bool,
    /// The unit you expect; it is an error if the chart has another
    #[arg(long)]
    unit: Option<String>,
    /// One JSON object a photo, one line each; with --same-vial one more for the vial
    #[arg(long)]
    json: bool,
    /// Write a picture of where it looked, and of the vial beside the steps (PNG); with several photos each name gets
    /// the photo's
    #[arg(long, value_name = "FILE.png")]
    overlay: Option<PathBuf>,
    /// Show where the uncertainty comes from
    #[arg(long)]
    explain: bool,
    /// When the waiting began (the last reagent was added), local time; checked against the chart's read window
    #[arg(long, value_name = "TIME")]
    started: Option<Started>,
    /// The sample was diluted before the test: parts of sample and of water free of the substance; 1:4 multiplies by five
    #[arg(long, value_name = "PARTS:PARTS")]
    dilution: Option<Dilution>,
    /// Photo of the same water in the vial without reagent: its own colour is taken off
    #[arg(long, value_name = "PHOTO")]
    blank: Option<PathBuf>,
    #[command(flatten)]
    timings: TimingsArgs,
    #[command(flatten)]
    place: PlaceArgs,
    #[command(flatten)]
    keep: KeepArgs,
    /// When the sample was taken, for the logbook; else the time of the photo counts
    #[arg(long, value_name = "TIME", requires = "water")]
    at: Option<String>,
    /// A note for the logbook
    #[arg(long, requires = "water")]
    note: Option<String>,
    /// Keep the regions given with --white and --vial in a file
    #[arg(
        long,
        value_name = "FILE",
        requires = "white",
        requires = "vial",
        conflicts_with = "frame"
    )]
    save_frame: Option<PathBuf>,
}

pub(super) fn run(args: &Args) -> Done {
    if args.same_vial && args.photos.len() < 2 {
        return Err(Stop::Usage(
            "--same-vial combines photos of one vial: give at least two, taken anew each time"
                .into(),
        ));
    }
    if args.at.is_some() && args.photos.len() > 1 && !args.same_vial {
        return Err(Stop::Usage(
            "--at is the time of one sample: give one photo, or the photos of one vial with --same-vial".into(),
        ));
    }
    let _timings = args.timings.start();
    let mut keeper = args.keep.open()?;
    let noted = Noted {
        at: args.at.as_deref().map(|at| when(Some(at))).transpose()?,
        note: args.note.clone().unwrap_or_default(),
    };
    let by = args.place.by()?;
    let chart = load_chart(&args.chart)?;
    unit_agrees(args.unit.as_deref(), &chart, args)?;
    if args.dilution.is_some() && is_ph(&chart.terms.unit) {
        return Err(Error::new(
            "a pH cannot be multiplied back: diluting changes it in no simple proportion",
            "leave --dilution away, and test the sample undiluted",
        )
        .about(shown(&args.chart))
        .into());
    }
    match (args.started.is_some(), chart.terms.read_window) {
        (true, None) => say(
            "--started is held against nothing: the chart has no read window (tintwell calibrate --read-window)",
        ),
        (false, Some(window)) => say(&format!(
            "whether the photo was taken {} to {} minutes after the last reagent is not checked: say with --started when that was",
            window.from_min, window.to_min
        )),
        _ => {}
    }
    let overlays = overlays(args)?;
    if let (Some(path), Some(white), Some(vial)) =
        (&args.save_frame, args.place.white, args.place.vial)
    {
        spares("the frame", path, inputs(args))?;
        let seen = load_photo(&args.photos[0])?.picture;
        save_frame(path, white, vial, [seen.width(), seen.height()])?;
    }
    let blank = args
        .blank
        .as_deref()
        .map(|path| {
            let photo = load_photo(path)?;
            another_photo(path, &args.photos)?;
            Blank::new(&photo, &by, &chart)
                .map_err(|e| e.about(format!("{} (the blank)", shown(path))))
        })
        .transpose()?;
    let told = Told {
        started: args.started,
        dilution: args.dilution,
        blank,
        medium: keeper.as_ref().and_then(Keeper::medium),
    };
    let colour = colour();
    let table = args.same_vial.then(|| {
        let names: Vec<String> = args.photos.iter().map(|p| shown(p)).collect();
        text::Table::new(names.iter().map(String::as_str), false)
    });
    let (mut outcomes, mut pictures) = (Vec::new(), Vec::new());
    let mut worst = Exit::Trusted;
    for (i, path) in args.photos.iter().enumerate() {
        let One { outcome, seen } = one(
            &shown(path),
            content(path),
            &by,
            Ok(&chart),
            &told,
            overlays.is_some() || keeper.is_some(),
        );
        let picture = keeper.as_ref().and_then(|_| picture(seen.as_ref()));
        worst = worst.max(outcome.verdict().into());
        let gap = if i > 0 { "\n" } else { "" };
        if let Err(e) = &outcome.result {
            tell(e);
        }
        let text = match (&outcome.result, &table) {
            _ if args.json => json::line(&outcome) + "\n",
            (_, Some(table)) => {
                let header = if i == 0 {
                    table.header()
                } else {
                    String::new()
                };
                header + &table.row(&outcome)
            }
            (Ok(r), None) => {
                gap.to_owned()
                    + &text::reading(
                        &outcome.photo,
                        outcome.taken_at.as_deref(),
                        r,
                        &chart,
                        colour,
                        args.explain,
                    )
            }
            (Err(_), None) => String::new(),
        };
        match put(&text) {
            // Nobody reads on; what is to be logged or drawn still is.
            Err(Stop::Closed) if keeper.is_none() && overlays.is_none() => return Ok(worst),
            Err(Stop::Closed) => {}
            other => other?,
        }
        if let (Some(outputs), Some((photo, seen)), Ok(r)) = (&overlays, seen, &outcome.result) {
            let png = overlay::draw(&photo.picture, &outcome.photo, &seen, r, &chart)?;
            outputs[i].1.write(&png)?;
            say(&format!("where it looked: {}", shown(&outputs[i].0)));
        } else if let Some(outputs) = &overlays {
            say(&format!(
                "no overlay was written, since there is no reading: {}",
                shown(&outputs[i].0)
            ));
        }
        match &mut keeper {
            Some(keeper) if !args.same_vial => {
                worst = worst.max(log(keeper, Seen::photo(&outcome, picture), &noted));
            }
            _ => pictures.push(picture),
        }
        outcomes.push(outcome);
    }
    if args.same_vial {
        let (reading, mut exit) = together(&outcomes, &chart, args)?;
        if let Some(keeper) = &mut keeper {
            let seen = Seen::vial(&reading, &outcomes, pictures);
            exit = exit.max(log(keeper, seen, &noted));
        }
        return Ok(exit);
    }
    Ok(worst)
}

/// Logs a reading and tells what became of it.
fn log(keeper: &mut Keeper, seen: Seen, told: &Noted) -> Exit {
    match keeper.log(seen, told) {
        Ok(added) => {
            say(&keeper.said(added));
            Exit::Trusted
        }
        Err(e) => {
            tell(&e);
            Exit::Failed
        }
    }
}

/// The photos as one reading, whose verdict decides alone: a photo that failed is told, and the others may do.
fn together(
    outcomes: &[Outcome],
    chart: &Chart,
    args: &Args,
) -> Result<(Checked<VialReading>, Exit), Stop> {
    let members: Vec<Member> = outcomes
        .iter()
        .map(|o| Member {
            photo: &o.photo,
            sha256: o.sha256.as_deref(),
            result: &o.result,
        })
        .collect();
    let reading = same_vial(&members, chart);
    let text = if args.json {
        json::vial_line(&reading, outcomes) + "\n"
    } else {
        format!("\n{}", text::vial(&reading, colour(), args.explain))
    };
    match put(&text) {
        Err(Stop::Closed) => {}
        other => other?,
    }
    let exit = reading.value.verdict.into();
    Ok((reading, exit))
}

/// A blank is a photo of its own: the same file would be taken off itself.
fn another_photo(blank: &Path, photos: &[PathBuf]) -> crate::error::Result<()> {
    let hash = |path: &Path| content(path).ok().map(|bytes| sha256(&bytes));
    let own = hash(blank);
    match photos.iter().find(|p| hash(p) == own) {
        None => Ok(()),
        Some(same) => Err(Error::new(
            format!("the blank is the same photo as the sample {}", shown(same)),
            "photograph the vial with the water alone, before the reagent goes in",
        )
        .about(shown(blank))),
    }
}

fn unit_agrees(wanted: Option<&str>, chart: &Chart, args: &Args) -> Result<(), Stop> {
    match wanted {
        Some(unit) if folded(unit) != folded(&chart.terms.unit) => Err(Error::new(
            format!(
                "the chart is in {}, but --unit asks for {}",
                text::clean(&chart.terms.unit),
                text::clean(unit)
            ),
            "leave --unit away, or use a chart in that unit; units are not converted",
        )
        .about(shown(&args.chart))
        .into()),
        _ => Ok(()),
    }
}

/// The files that are read, each with what it is.
fn inputs(args: &Args) -> impl Iterator<Item = (&Path, &'static str)> {
    let photos = args.photos.iter().map(|p| (p.as_path(), "a photo"));
    let named = |file: &'static str| move |path| (path, file);
    photos
        .chain([(args.chart.as_path(), "the chart")])
        .chain(args.blank.as_deref().map(named("the blank's photo")))
        .chain(args.place.frame.as_deref().map(named("the frame")))
}

/// Where each photo's overlay goes, checked before the first photo is read.
fn overlays(args: &Args) -> Result<Option<Vec<(PathBuf, Output)>>, Stop> {
    let Some(path) = &args.overlay else {
        return Ok(None);
    };
    if extension(path) != "png" {
        return Err(Stop::Usage(
            "--overlay writes a PNG: give a name that ends in .png".into(),
        ));
    }
    let mut taken = HashSet::new();
    let outputs = args.photos.iter().map(|photo| {
        let target = if args.photos.len() == 1 {
            path.clone()
        } else {
            with_stem(path, photo.file_stem().unwrap_or_default())
        };
        if !taken.insert(target.clone()) {
            return Err(Error::new(
                "two photos of the same name would write one overlay",
                "read them one at a time, or rename one",
            )
            .about(shown(&target)));
        }
        spares("the overlay", &target, inputs(args))?;
        let output = Output::new(&target)?;
        Ok((target, output))
    });
    Ok(Some(outputs.collect::<crate::error::Result<_>>()?))
}
