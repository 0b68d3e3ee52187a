//! The study: seeded scenes per set, read by the pipeline and by the plain method, summed up in one table.
//!
//! `cargo run --release --example study -- [--seed N] [--sessions N] [--shots N] [--set NAME] [--cache FOLDER]
//! [--diffuse] [--mono] [--verbose]`; the cache keeps the photos, so that a change to the pipeline is tried again in seconds.

#[path = "mod.rs"]
mod scenes;

use std::path::PathBuf;

use rand::Rng;
use rayon::prelude::*;
use scenes::dye::Series;
use scenes::{Foul, Layout, Scene, Session, plain, render};
use tintwell::card::design::Design;
use tintwell::chart::{Chart, Origin, Terms, calibrate};
use tintwell::flag::Verdict;
use tintwell::look::Where;
use tintwell::photo::{Limits, decode};
use tintwell::reading::{Answer, Told, read};

struct Options {
    seed: u64,
    sessions: u64,
    shots: u64,
    cache: Option<PathBuf>,
    set: Option<String>,
    /// Light from all sides, as under an overcast sky: what the card asks for.
    diffuse: bool,
    /// The card in black and white.
    mono: bool,
    verbose: bool,
}

fn options() -> Options {
    let mut o = Options {
        seed: 20261125,
        sessions: 1,
        shots: 4,
        cache: None,
        set: None,
        diffuse: false,
        mono: false,
        verbose: false,
    };
    let mut args = std::env::args().skip(1);
    while let Some(a) = args.next() {
        let mut value = || args.next().unwrap_or_else(|| panic!("{a} needs a value"));
        match a.as_str() {
            "--seed" => o.seed = value().parse().expect("a number"),
            "--sessions" => o.sessions = value().parse().expect("a number"),
            "--shots" => o.shots = value().parse().expect("a number"),
            "--cache" => o.cache = Some(value().into()),
            "--set" => o.set = Some(value()),
            "--diffuse" => o.diffuse = true,
            "--mono" => o.mono = true,
            "--verbose" => o.verbose = true,
            _ => panic!("unknown option {a}"),
        }
    }
    o
}

/// Scenes that must not be trusted.
const FOUL: [Foul; 14] = [
    Foul::Shadow,
    Foul::BlownOut,
    Foul::VeryDark,
    Foul::Blurred,
    Foul::Turbid,
    Foul::OtherDye,
    Foul::FlashGlare,
    Foul::MixedLight,
    Foul::OverRange,
    Foul::TwoCards,
    Foul::Bubbly,
    Foul::Layered,
    Foul::NoVial,
    Foul::LittleLiquid,
];

/// Sets of sound photos.
const SETS: [&str; 4] = ["own", "light", "camera", "uneven"];

/// A photo to be taken and read.
struct Job {
    name: String,
    set: &'static str,
    foul: Option<Foul>,
    /// True position among the chart's steps.
    place: f64,
    scene: Scene,
}

/// One photo's outcome.
struct Row {
    set: &'static str,
    foul: Option<Foul>,
    truth: f64,
    /// Position among the steps, if a value was given.
    position: Option<f64>,
    covered: bool,
    width: f64,
    verdict: Verdict,
    plain: f64,
    /// What there is to say about it.
    said: String,
}

/// A photo's bytes, and where the card lies in it; kept in the cache folder, if there is one.
fn shoot(o: &Options, name: &str, scene: &Scene, card: &Layout) -> (Vec<u8>, [[f64; 2]; 4]) {
    let mut scene = scene.clone();
    if o.diffuse {
        scene
            .light
            .sources
            .iter_mut()
            .for_each(|s| s.diffuse = 0.95);
    }
    let scene = &scene;
    let Some(folder) = &o.cache else {
        let shot = render(scene, card);
        return (shot.jpeg(), shot.truth.face);
    };
    let (photo, face) = (
        folder.join(format!("{name}.jpg")),
        folder.join(format!("{name}.json")),
    );
    if let (Ok(bytes), Ok(text)) = (std::fs::read(&photo), std::fs::read_to_string(&face)) {
        return (bytes, serde_json::from_str(&text).expect("a cached face"));
    }
    let shot = render(scene, card);
    let bytes = shot.jpeg();
    std::fs::create_dir_all(folder).expect("the cache folder");
    std::fs::write(photo, &bytes).expect("the cache");
    std::fs::write(
        face,
        serde_json::to_string(&shot.truth.face).expect("numbers"),
    )
    .expect("the cache");
    (bytes, shot.truth.face)
}

fn main() {
    let o = options();
    let card = Layout::from_json(if o.mono {
        include_str!("../../calibration/card-side-mono.json")
    } else {
        include_str!("../../calibration/card-side.json")
    });
    let by = Where::Card(Design::all());
    let sessions: Vec<(Series, u64)> = Series::ALL
        .into_iter()
        .flat_map(|s| (0..o.sessions).map(move |k| (s, o.seed.wrapping_mul(1000) + k)))
        .collect();
    let rows: Vec<Row> = sessions
        .iter()
        .flat_map(|(series, seed)| session(&o, *series, *seed, &card, &by))
        .collect();
    table(&rows);
    for kind in FOUL {
        let of: Vec<_> = rows.iter().filter(|r| r.foul == Some(kind)).collect();
        if !of.is_empty() {
            let trusted = |covered: bool| {
                let of = of.iter().filter(|r| r.verdict == Verdict::Trusted);
                of.filter(|r| r.covered == covered).count()
            };
            let (right, wrong) = (trusted(true), trusted(false));
            println!(
                "{:<12} not trusted {:>2} of {}; trusted and the interval holds the truth {}, does not {}",
                format!("{kind:?}"),
                of.len() - right - wrong,
                of.len(),
                right,
                wrong
            );
        }
    }
}

/// One session: its chart, and its photos read on it.
fn session(o: &Options, series: Series, seed: u64, card: &Layout, by: &Where) -> Vec<Row> {
    let session = Session::new(seed, series);
    let tag = format!("{}-{seed}", series.name());
    let (chart, plain_steps) = match chart(o, &session, &tag, card, by) {
        Ok(c) => c,
        Err(e) => {
            println!("{tag}: no chart: {e}");
            return Vec::new();
        }
    };
    if o.verbose {
        let c = &chart.curve;
        println!(
            "{tag}: {:?} over {:?}, left-out error {:?}",
            c.space, c.axis, c.left_out_error
        );
    }
    let steps = series.steps();
    let at = |place: f64| {
        let i = (place as usize).min(steps.len() - 2);
        steps[i] + (place - i as f64) * (steps[i + 1] - steps[i])
    };
    let mut jobs = Vec::new();
    for set in SETS {
        for n in 0..o.shots {
            let shot_seed = seed.wrapping_mul(7919) + n;
            let place = scenes::seed::stream(shot_seed, 900)
                .random_range(0.15..(steps.len() - 1) as f64 - 0.1);
            let scene = match set {
                "own" => session.own(at(place), shot_seed),
                "light" => session.other_light(at(place), shot_seed),
                "camera" => session.other_camera(at(place), shot_seed),
                _ => session.uneven(at(place), shot_seed),
            };
            jobs.push(Job {
                name: format!("{tag}-{set}-{n}"),
                set,
                foul: None,
                place,
                scene,
            });
        }
    }
    let place = (steps.len() as f64 - 1.0) * 0.6;
    for kind in FOUL {
        let scene = session.foul(kind, at(place), seed + 5);
        jobs.push(Job {
            name: format!("{tag}-{kind:?}"),
            set: "foul",
            foul: Some(kind),
            place,
            scene,
        });
    }
    jobs.retain(|j| o.set.as_ref().is_none_or(|s| s == j.set));
    let rows: Vec<Row> = jobs
        .par_iter()
        .map(|job| examine(o, job, &chart, &plain_steps, card, by))
        .collect();
    if o.verbose {
        rows.iter().for_each(|r| println!("{}", r.said));
    }
    rows
}

fn chart(
    o: &Options,
    session: &Session,
    tag: &str,
    card: &Layout,
    by: &Where,
) -> Result<(Chart, Vec<[f64; 3]>), String> {
    let jobs: Vec<(usize, f64, u64)> = session
        .dye
        .series
        .steps()
        .iter()
        .enumerate()
        .flat_map(|(i, value)| (0..2).map(move |rep| (i, *value, rep)))
        .collect();
    let seen: Vec<(usize, calibrate::Standard, [f64; 3])> = jobs
        .par_iter()
        .map(|(i, value, rep)| {
            let name = format!("{tag}-std-{i}-{rep}");
            let scene = session.own(*value, session.seed.wrapping_mul(131) + 2 * *i as u64 + rep);
            let (bytes, face) = shoot(o, &name, &scene, card);
            let photo = decode(&bytes, &Limits::default()).map_err(|e| format!("{name}: {e}"))?;
            let lab = plain::colour(&photo.picture.srgb8(), &face, card);
            let standard = calibrate::Standard::new(*value, name.clone(), &photo, by)
                .map_err(|e| format!("{name}: {e}"))?;
            Ok((*i, standard, lab))
        })
        .collect::<Result<_, String>>()?;
    let mut plain_steps = vec![[0.0; 3]; session.dye.series.steps().len()];
    for (i, _, lab) in &seen {
        for (sum, v) in plain_steps[*i].iter_mut().zip(lab) {
            *sum += v / 2.0;
        }
    }
    let standards: Vec<_> = seen.into_iter().map(|s| s.1).collect();
    let terms = Terms::of(session.dye.series.name(), "mg/L");
    let chart =
        calibrate::build(terms, Origin::Standards, &standards).map_err(|e| e.to_string())?;
    if o.verbose {
        for flag in &chart.found {
            println!("{tag}: {} {:?}: {}", flag.code, flag.severity, flag.message);
        }
    }
    Ok((chart, plain_steps))
}

fn examine(
    o: &Options,
    job: &Job,
    chart: &Chart,
    plain_steps: &[[f64; 3]],
    card: &Layout,
    by: &Where,
) -> Row {
    let (bytes, face) = shoot(o, &job.name, &job.scene, card);
    let photo = decode(&bytes, &Limits::default()).expect("a photo");
    let plain = plain::position(
        plain_steps,
        plain::colour(&photo.picture.srgb8(), &face, card),
    );
    let mut row = Row {
        set: job.set,
        foul: job.foul,
        truth: job.place,
        position: None,
        covered: false,
        width: f64::NAN,
        verdict: Verdict::Unreadable,
        plain,
        said: String::new(),
    };
    match read(&photo, by, chart, &Told::default()) {
        Err(e) => row.said = format!("{}: truth {:.2}: {}", job.name, job.place, e.what),
        Ok((checked, seen)) => {
            let r = &checked.value;
            row.verdict = r.verdict;
            let (low, high) = match r.answer {
                Answer::Value { value, low, high } => {
                    row.position = Some(chart.step_position(value));
                    (chart.step_position(low), chart.step_position(high))
                }
                Answer::Below { high } => (0.0, chart.step_position(high)),
                Answer::Above { low } => (chart.step_position(low), f64::INFINITY),
                _ => (f64::NAN, f64::NAN),
            };
            row.covered = low <= job.place && job.place <= high;
            row.width = high - low;
            let codes: Vec<&str> = checked.flags.iter().map(|f| f.code.as_str()).collect();
            row.said = format!(
                "{}: truth {:.2} read {:.2} [{low:.2} {high:.2}] plain {plain:.2} dE {:.1} {:?} tone {} loo {:.2} of {:.2} {} edge {:.2} noise {:.3} {}",
                job.name,
                job.place,
                row.position.unwrap_or(f64::NAN),
                r.delta_e_chart,
                r.correction.shape,
                r.correction.tone_order,
                r.correction.loo.unwrap_or(f64::NAN),
                r.correction.loo_uncorrected.unwrap_or(f64::NAN),
                r.shares
                    .iter()
                    .map(|s| format!("{:.0}", 100.0 * s.share))
                    .collect::<Vec<_>>()
                    .join("/"),
                seen.look.edge_mm.unwrap_or(f64::NAN),
                seen.look.observed.noise,
                codes.join(" ")
            );
        }
    }
    row
}

fn table(rows: &[Row]) {
    println!(
        "{:<8} {:>5} {:>6} | {:>6} {:>6} {:>6} | {:>8} {:>6} | {:>7} {:>5} | {:>9} {:>9}",
        "set",
        "n",
        "read",
        "median",
        "rms",
        "p95",
        "coverage",
        "width",
        "trusted",
        "wrong",
        "plain med",
        "plain rms"
    );
    for set in SETS {
        let of: Vec<&Row> = rows.iter().filter(|r| r.set == set).collect();
        if of.is_empty() {
            continue;
        }
        let quantile = |v: &mut Vec<f64>, q: f64| {
            v.sort_by(f64::total_cmp);
            v.get(((v.len() as f64 - 1.0) * q).round() as usize)
                .copied()
                .unwrap_or(f64::NAN)
        };
        let mut errors: Vec<f64> = of
            .iter()
            .filter_map(|r| Some((r.position? - r.truth).abs()))
            .collect();
        let rms = (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt();
        let mut plain: Vec<f64> = of.iter().map(|r| (r.plain - r.truth).abs()).collect();
        let plain_rms = (plain.iter().map(|e| e * e).sum::<f64>() / plain.len() as f64).sqrt();
        let answered: Vec<&&Row> = of.iter().filter(|r| r.width.is_finite()).collect();
        let mut widths: Vec<f64> = answered.iter().map(|r| r.width).collect();
        let trusted = of.iter().filter(|r| r.verdict == Verdict::Trusted).count();
        let wrong = of
            .iter()
            .filter(|r| {
                r.verdict == Verdict::Trusted
                    && r.position.is_some_and(|p| (p - r.truth).abs() > 1.0)
            })
            .count();
        println!(
            "{:<8} {:>5} {:>6} | {:>6.3} {:>6.3} {:>6.3} | {:>7.1}% {:>6.2} | {:>6.1}% {:>5} | {:>9.3} {:>9.3}",
            set,
            of.len(),
            errors.len(),
            quantile(&mut errors, 0.5),
            rms,
            quantile(&mut errors, 0.95),
            100.0 * answered.iter().filter(|r| r.covered).count() as f64
                / answered.len().max(1) as f64,
            quantile(&mut widths, 0.5),
            100.0 * trusted as f64 / of.len() as f64,
            wrong,
            quantile(&mut plain, 0.5),
            plain_rms
        );
    }
}
