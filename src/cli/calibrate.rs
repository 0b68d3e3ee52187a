//! `tintwell calibrate`: makes a chart from photos of known standards, or from one photo of printed colours.

use std::ffi::{OsStr, OsString};
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::files::{Output, load_chart, load_photo, shown, spares};
use super::place::PlaceArgs;
use super::{Done, Stop, colour, put, say, tell};
use crate::chart::calibrate::{LEAST_STEPS, Standard, build, printed};
use crate::chart::{Chart, Medium, Origin, ReadWindow, Terms, file, resolve};
use crate::error::{Error, Result};
use crate::flag::Verdict;
use crate::place::Area;
use crate::report::text;

const EXAMPLES: &str = "\
Examples:
  tintwell calibrate --test nitrate --unit mg/L --out nitrate.json 0=n0-*.jpg 5=n5-a.jpg,n5-b.jpg 10=n10-*.jpg
  tintwell calibrate --test nitrate --unit mg/L --medium salt --read-window 5..10min --out nitrate.json 0=a.jpg 5=b.jpg 20=c.jpg
  tintwell calibrate --test nitrate --unit mg/L --out nitrate.json --photo strip.jpg --white 20,20,200,80 \\
      --step 0=40,200,60,60 --step 5=140,200,60,60 --step 20=240,200,60,60";

/// Make a chart from photos of vials of known standards
#[derive(clap::Args)]
#[command(after_help = EXAMPLES)]
pub(super) struct Args {
    /// Each standard once: its concentration and its photos (patterns such as n5-*.jpg are expanded); at least 3
    #[arg(
        value_name = "VALUE=PHOTO[,PHOTO...]",
        required_unless_present = "photo",
        conflicts_with = "photo"
    )]
    standards: Vec<OsString>,
    /// Name of the test, such as nitrate
    #[arg(long, value_parser = not_blank)]
    test: String,
    /// Unit of the concentrations, such as mg/L
    #[arg(long, value_parser = not_blank)]
    unit: String,
    /// Chart file to write
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// How the vial is prepared, in your words
    #[arg(long, value_name = "TEXT")]
    procedure: Option<String>,
    /// The water that the test is used with
    #[arg(long)]
    medium: Option<MediumArg>,
    /// When to read, counted from the last reagent
    #[arg(long, value_name = "FROM..TOmin", value_parser = read_window)]
    read_window: Option<ReadWindow>,
    /// Lot of the reagent
    #[arg(long)]
    lot: Option<String>,
    /// Date past which the reagent is not to be used, such as 2027-03-31
    #[arg(long, value_name = "DATE", value_parser = date)]
    expires: Option<String>,
    #[command(flatten)]
    place: PlaceArgs,
    /// One photo of printed colours in place of standards (ink and liquid differ to a camera: readings are doubtful)
    #[arg(long, requires = "white", requires = "step", conflicts_with_all = ["vial", "frame"])]
    photo: Option<PathBuf>,
    /// A printed colour in --photo: its concentration and its region in pixels; once for each colour
    #[arg(long, value_name = "VALUE=X,Y,W,H", value_parser = printed_step, allow_hyphen_values = true, requires = "photo")]
    step: Vec<(f64, Area)>,
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum MediumArg {
    Fresh,
    Salt,
}

pub(super) fn run(args: Args) -> Done {
    let steps = steps(&args.standards)?;
    let values: Vec<f64> = steps
        .iter()
        .map(|s| s.0)
        .chain(args.step.iter().map(|s| s.0))
        .collect();
    check_values(&values)?;
    let photos: Vec<(f64, PathBuf)> = steps
        .into_iter()
        .flat_map(|(v, paths)| paths.into_iter().map(move |p| (v, p)))
        .collect();
    let used = photos.iter().map(|p| &p.1).chain(&args.photo);
    let frame = args.place.frame.as_deref();
    let inputs = used
        .map(|photo| (photo.as_path(), "a photo"))
        .chain(frame.map(|frame| (frame, "the frame")));
    spares("the chart", &args.out, inputs)?;
    let out = Output::new(&args.out)?;
    let former = load_chart(&args.out).ok().map(|c| c.steps.len());
    let (origin, standards) = match &args.photo {
        Some(path) => (Origin::PrintedColours, from_print(path, &args)?),
        None => (Origin::Standards, from_vials(&photos, &args)?),
    };
    let chart = build(terms(args), origin, &standards)?;
    let flags = resolve::flags(&chart)?;
    write(&chart, &out)?;
    put(&text::chart(&chart, &flags, colour())?)?;
    say(&match former {
        Some(steps) => format!(
            "chart written: {}, in place of one of {steps} steps",
            out.shown()
        ),
        None => format!("chart written: {}", out.shown()),
    });
    Ok(Verdict::of(&flags).into())
}

fn write(chart: &Chart, out: &Output) -> Result<()> {
    let json = file::write(chart);
    // What cannot be read back must not take the place of a good chart.
    file::parse(&json)?;
    out.write(json.as_bytes())
}

fn terms(args: Args) -> Terms {
    Terms {
        test: args.test,
        unit: args.unit,
        medium: args.medium.map(|m| match m {
            MediumArg::Fresh => Medium::Fresh,
            MediumArg::Salt => Medium::Salt,
        }),
        procedure: args.procedure,
        read_window: args.read_window,
        lot: args.lot,
        expires: args.expires,
    }
}

fn from_print(path: &Path, args: &Args) -> std::result::Result<Vec<Standard>, Stop> {
    let Some(white) = args.place.white else {
        return Err(Stop::Usage(
            "--photo needs --white: the white paper beside the printed colours".into(),
        ));
    };
    Ok(printed(&load_photo(path)?, white, &args.step).map_err(|e| e.about(shown(path)))?)
}

fn from_vials(photos: &[(f64, PathBuf)], args: &Args) -> std::result::Result<Vec<Standard>, Stop> {
    let by = args.place.by()?;
    let looked: Vec<Result<(Standard, String)>> = photos
        .par_iter()
        .map(|(value, path)| {
            let photo = load_photo(path)?;
            let standard = Standard::new(*value, shown(path), &photo, &by)
                .map_err(|e| e.about(shown(path)))?;
            Ok((standard, photo.sha256))
        })
        .collect();
    let mut standards: Vec<(Standard, String)> = Vec::new();
    let mut failed = false;
    for result in looked {
        match result {
            Ok(standard) => standards.push(standard),
            Err(e) => {
                tell(&e);
                failed = true;
            }
        }
    }
    if failed {
        say("no chart was written: every photo of the standards has to be readable");
        return Err(Stop::Told);
    }
    for (i, (standard, hash)) in standards.iter().enumerate() {
        if let Some((other, _)) = standards[..i].iter().find(|(_, h)| h == hash) {
            return Err(Error::new(
                format!(
                    "this photo is the same as {}, given for {} {}",
                    other.name, other.value, args.unit
                ),
                "give each photo once, under its own standard",
            )
            .about(standard.name.clone())
            .into());
        }
    }
    Ok(standards.into_iter().map(|s| s.0).collect())
}

fn check_values(values: &[f64]) -> Result<()> {
    for (i, v) in values.iter().enumerate() {
        if values[..i].contains(v) {
            return Err(Error::new(
                format!("the standard {v} is given twice"),
                format!("give each standard once, with all its photos: {v}=a.jpg,b.jpg"),
            ));
        }
    }
    if values.len() < LEAST_STEPS {
        return Err(Error::new(
            format!(
                "{} standards are too few for a chart: at least {LEAST_STEPS} are needed",
                values.len()
            ),
            "photograph more standards; five or six that span the range make a good chart",
        ));
    }
    Ok(())
}

/// Reads `0=a.jpg,b.jpg 5=c-*.jpg`: the value and the photos of each standard.
fn steps(given: &[OsString]) -> std::result::Result<Vec<(f64, Vec<PathBuf>)>, Stop> {
    given
        .iter()
        .map(|text| {
            let (value, names) = split_once(text, b'=').ok_or_else(|| {
                Stop::Usage(format!(
                    "\"{}\" is not a standard: write VALUE=PHOTO, such as 5=n5.jpg",
                    text.to_string_lossy()
                ))
            })?;
            let value = concentration(&value.to_string_lossy()).map_err(Stop::Usage)?;
            if names.is_empty() {
                return Err(Stop::Usage(format!(
                    "no photo is given for the standard {value}: write {value}=a.jpg,b.jpg"
                )));
            }
            Ok((value, photos(&names)?))
        })
        .collect()
}

/// The photos of one standard. A name that exists is taken as it is, even with a comma or a bracket in it.
fn photos(names: &OsStr) -> Result<Vec<PathBuf>> {
    if Path::new(names).exists() {
        return Ok(vec![names.into()]);
    }
    let mut found = Vec::new();
    let mut rest = Some(names.to_owned());
    while let Some(text) = rest {
        let (name, more) = match split_once(&text, b',') {
            Some((name, more)) => (name, Some(more)),
            None => (text, None),
        };
        rest = more;
        found.extend(expanded(&name)?);
    }
    Ok(found)
}

/// The files that a name or pattern stands for, in the order of their names.
fn expanded(name: &OsStr) -> Result<Vec<PathBuf>> {
    let pattern = name
        .to_str()
        .filter(|n| n.contains(['*', '?', '[']) && !Path::new(n).exists());
    let Some(pattern) = pattern else {
        return Ok(vec![name.into()]);
    };
    let about = |e: Error| e.about(text::clean(pattern));
    let paths = glob::glob(pattern).map_err(|e| {
        about(Error::new(
            format!("the pattern is not understood: {}", e.msg),
            "write it as n5-*.jpg",
        ))
    })?;
    let found: Vec<PathBuf> = paths.filter_map(std::result::Result::ok).collect();
    if found.is_empty() {
        return Err(about(Error::new(
            "no file fits this pattern",
            "check the name and the folder",
        )));
    }
    Ok(found)
}

/// Splits a name at the first `mark`; names need not be UTF-8.
#[cfg(unix)]
fn split_once(text: &OsStr, mark: u8) -> Option<(OsString, OsString)> {
    use std::os::unix::ffi::OsStrExt;
    let bytes = text.as_bytes();
    let at = bytes.iter().position(|b| *b == mark)?;
    Some((
        OsStr::from_bytes(&bytes[..at]).into(),
        OsStr::from_bytes(&bytes[at + 1..]).into(),
    ))
}

#[cfg(not(unix))]
fn split_once(text: &OsStr, mark: u8) -> Option<(OsString, OsString)> {
    let (a, b) = text.to_str()?.split_once(char::from(mark))?;
    Some((a.into(), b.into()))
}

fn concentration(text: &str) -> std::result::Result<f64, String> {
    match text.trim().parse::<f64>() {
        // Minus zero would be shown with its sign.
        Ok(v) if v.is_finite() && (0.0..=1e9).contains(&v) => Ok(v.abs()),
        _ => Err(format!(
            "\"{}\" is not a concentration: give a number from 0 to 1e9, with a point for decimals",
            text::clean(text)
        )),
    }
}

fn printed_step(text: &str) -> std::result::Result<(f64, Area), String> {
    let (value, area) = text
        .split_once('=')
        .ok_or("write VALUE=X,Y,W,H, such as 5=140,200,60,60")?;
    Ok((concentration(value)?, area.parse()?))
}

fn not_blank(text: &str) -> std::result::Result<String, String> {
    let text = text.trim();
    if text.is_empty() {
        Err("it must not be empty".into())
    } else {
        Ok(text.to_owned())
    }
}

fn read_window(text: &str) -> std::result::Result<ReadWindow, String> {
    let parsed = || {
        let (from, to) = text.trim().strip_suffix("min")?.split_once("..")?;
        let window = ReadWindow {
            from_min: from.trim().parse().ok()?,
            to_min: to.trim().parse().ok()?,
        };
        window.is_one().then_some(window)
    };
    parsed().ok_or_else(|| "write minutes from..to, such as 5..10min (up to 1440)".into())
}

fn date(text: &str) -> std::result::Result<String, String> {
    text.parse::<jiff::civil::Date>()
        .map(|d| d.to_string())
        .map_err(|_| "write the date as 2027-03-31".into())
}
