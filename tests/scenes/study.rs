//! The study: seeded scenes per set, read by the pipeline and by the plain method, summed up in one table.
//!
//! `cargo run --release --example study -- [--seed N] [--sessions N] [--shots N] [--set NAME] [--verbose]`

#[path = "mod.rs"]
mod scenes;

use rand::Rng;
use scenes::dye::Series;
use scenes::{Foul, Layout, Scene, Session, Truth, plain, render};
use tintwell::card::design::Design;
use tintwell::chart::{Chart, Origin, Terms, calibrate};
use tintwell::flag::Verdict;
use tintwell::look::{Where, look};
use tintwell::photo::{Limits, decode};
use tintwell::reading::{Answer, read};

struct Options {
    seed: u64,
    sessions: u64,
    shots: u64,
    set: Option<String>,
    verbose: bool,
}

fn options() -> Options {
    let mut o = Options {
        seed: 20261125,
        sessions: 1,
        shots: 4,
        set: None,
        verbose: false,
    };
    let mut args = std::env::args().skip(1);
    while let Some(a) = args.next() {
        let mut value = || args.next().unwrap_or_else(|| panic!("{a} needs a value"));
        match a.as_str() {
            "--seed" => o.seed = value().parse().expect("a number"),
            "--sessions" => o.sessions = value().parse().expect("a number"),
            "--shots" => o.shots = value().parse().expect("a number"),
            "--set" => o.set = Some(value()),
            "--verbose" => o.verbose = true,
            _ => panic!("unknown option {a}"),
        }
    }
    o
}

/// Scenes that must not be trusted.
const FOUL: [Foul; 10] = [
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
];

/// One photo's outcome.
struct Row {
    set: String,
    truth: f64,
    /// Position among the steps, if a value was given.
    position: Option<f64>,
    covered: bool,
    width: f64,
    verdict: Verdict,
    plain: f64,
}

/// A photo's bytes and its truth.
fn shoot(scene: &Scene, card: &Layout) -> (Vec<u8>, Truth) {
    let shot = render(scene, card);
    (shot.jpeg(), shot.truth)
}

fn main() {
    let o = options();
    let card = Layout::from_json(include_str!("../../calibration/card-side.json"));
    let by = Where::Card(Design::all());
    let mut rows: Vec<Row> = Vec::new();
    let mut foul: Vec<(Foul, bool, String)> = Vec::new();
    for series in Series::ALL {
        for k in 0..o.sessions {
            let session_seed = o.seed.wrapping_mul(1000) + k;
            let session = Session::new(session_seed, series);
            let tag = format!("{}-{session_seed}", series.name());
            let (chart, plain_steps) = match chart(&session, &tag, &card, &by) {
                Ok(c) => c,
                Err(e) => {
                    println!("{tag}: no chart: {e}");
                    continue;
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
            for set in ["own", "light", "camera", "uneven"] {
                if o.set.as_ref().is_some_and(|s| s != set) {
                    continue;
                }
                for n in 0..o.shots {
                    let seed = session_seed.wrapping_mul(7919) + n;
                    let mut rng = scenes::seed::stream(seed, 900);
                    let place = rng.random_range(0.15..(steps.len() - 1) as f64 - 0.1);
                    let i = place as usize;
                    let c = steps[i] + (place - i as f64) * (steps[i + 1] - steps[i]);
                    let scene = match set {
                        "own" => session.own(c, seed),
                        "light" => session.other_light(c, seed),
                        "camera" => session.other_camera(c, seed),
                        _ => session.uneven(c, seed),
                    };
                    let name = format!("{tag}-{set}-{n}");
                    let (bytes, truth) = shoot(&scene, &card);
                    rows.push(examine(
                        &o,
                        set,
                        &name,
                        &bytes,
                        &truth,
                        place,
                        &chart,
                        &plain_steps,
                        &card,
                        &by,
                    ));
                }
            }
            for kind in FOUL {
                if o.set.as_ref().is_some_and(|s| s != "foul") {
                    continue;
                }
                let place = (steps.len() as f64 - 1.0) * 0.6;
                let i = place as usize;
                let c = steps[i] + (place - i as f64) * (steps[i + 1] - steps[i]);
                let scene = session.foul(kind, c, session_seed + 5);
                let name = format!("{tag}-{kind:?}");
                let (bytes, _) = shoot(&scene, &card);
                let (caught, note) = match decode(&bytes, &Limits::default())
                    .and_then(|p| read(&p, &by, &chart))
                {
                    Err(e) => (true, e.what),
                    Ok((r, _)) => {
                        let codes: Vec<&str> = r.flags.iter().map(|f| f.code.as_str()).collect();
                        let off = match r.value.answer {
                            Answer::Value { value, .. } => {
                                format!("{:+.2} steps", chart.step_position(value) - place)
                            }
                            ref other => format!("{other:?}"),
                        };
                        (
                            r.value.verdict != Verdict::Trusted,
                            format!("{off} {}", codes.join(" ")),
                        )
                    }
                };
                if o.verbose {
                    println!(
                        "{name}: {} {note}",
                        if caught { "caught" } else { "MISSED" }
                    );
                }
                foul.push((kind, caught, note));
            }
        }
    }
    table(&rows);
    for kind in FOUL {
        let of: Vec<_> = foul.iter().filter(|f| f.0 == kind).collect();
        if !of.is_empty() {
            println!(
                "{:<16} not trusted {} of {}",
                format!("{kind:?}"),
                of.iter().filter(|f| f.1).count(),
                of.len()
            );
        }
    }
}

fn chart(
    session: &Session,
    tag: &str,
    card: &Layout,
    by: &Where,
) -> Result<(Chart, Vec<[f64; 3]>), String> {
    let mut standards = Vec::new();
    let mut plain_steps = Vec::new();
    for (i, value) in session.dye.series.steps().iter().enumerate() {
        let mut plain = [0.0; 3];
        for rep in 0..2 {
            let name = format!("{tag}-std-{i}-{rep}");
            let (bytes, truth) = shoot(
                &session.own(
                    *value,
                    session.seed.wrapping_mul(131) + (2 * i + rep) as u64,
                ),
                card,
            );
            let photo = decode(&bytes, &Limits::default()).map_err(|e| format!("{name}: {e}"))?;
            let lab = scenes::plain::colour(&photo.picture.srgb8(), &truth, card);
            for c in 0..3 {
                plain[c] += lab[c] / 2.0;
            }
            let look = look(&photo, by).map_err(|e| format!("{name}: {e}"))?;
            standards.push(calibrate::Standard {
                value: *value,
                name,
                look,
            });
        }
        plain_steps.push(plain);
    }
    let terms = Terms {
        test: session.dye.series.name().into(),
        unit: "mg/L".into(),
        medium: None,
        procedure: None,
        read_window: None,
        lot: None,
        expires: None,
    };
    let chart =
        calibrate::build(terms, Origin::Standards, &standards).map_err(|e| e.to_string())?;
    Ok((chart.value, plain_steps))
}

#[allow(clippy::too_many_arguments)]
fn examine(
    o: &Options,
    set: &str,
    name: &str,
    bytes: &[u8],
    truth: &Truth,
    place: f64,
    chart: &Chart,
    plain_steps: &[[f64; 3]],
    card: &Layout,
    by: &Where,
) -> Row {
    let photo = decode(bytes, &Limits::default()).expect("a photo");
    let plain = plain::position(
        plain_steps,
        plain::colour(&photo.picture.srgb8(), truth, card),
    );
    let mut row = Row {
        set: set.into(),
        truth: place,
        position: None,
        covered: false,
        width: f64::NAN,
        verdict: Verdict::Unreadable,
        plain,
    };
    match read(&photo, by, chart) {
        Err(e) => {
            if o.verbose {
                println!("{name}: truth {place:.2}: {}", e.what);
            }
        }
        Ok((checked, _)) => {
            let r = &checked.value;
            row.verdict = r.verdict;
            let last = (chart.steps.len() - 1) as f64;
            let (low, high) = match r.answer {
                Answer::Value { value, low, high } => {
                    row.position = Some(chart.step_position(value));
                    (chart.step_position(low), chart.step_position(high))
                }
                Answer::Below { high } => (0.0, chart.step_position(high)),
                Answer::Above { .. } => (last, f64::INFINITY),
                _ => (f64::NAN, f64::NAN),
            };
            row.covered = low <= place && place <= high;
            row.width = high - low;
            if o.verbose {
                let codes: Vec<&str> = checked.flags.iter().map(|f| f.code.as_str()).collect();
                println!(
                    "{name}: truth {place:.2} read {:.2} [{low:.2} {high:.2}] plain {plain:.2} dE {:.1} {:?} tone {} loo {:.2} of {:.2} {}",
                    row.position.unwrap_or(f64::NAN),
                    r.delta_e_chart,
                    r.correction.shape,
                    r.correction.tone_order,
                    r.correction.loo.unwrap_or(f64::NAN),
                    r.correction.loo_uncorrected.unwrap_or(f64::NAN),
                    codes.join(" ")
                );
                if !row.covered {
                    for s in &r.shares {
                        println!("    {:<32} {:>4.0} %", s.reason, 100.0 * s.share);
                    }
                }
            }
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
    for set in ["own", "light", "camera", "uneven"] {
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
