//! Makes the shipped photos of the invented nature centre Alder Creek: a calibration session and a week of nitrate tests
//! at its tidepool display. Everything is simulated and drawn from the seeds below.
//!
//! `cargo run --release --example fixtures` writes `fixtures/alder-creek` anew;
//! `cargo run --release --example fixtures -- reduce IN.png OUT.png` makes a picture small enough for a page.

#[path = "mod.rs"]
mod scenes;

use std::fmt::Write;
use std::fs;
use std::path::Path;

use rayon::prelude::*;
use scenes::dye::Series;
use scenes::{Foul, Layout, Scene, Session, render};

/// Seed of phone, light, print, vial and reagent: the first there is, not one looked for.
const SESSION: u64 = 1;
/// Seed of the first photo; each further photo takes the next number.
const FIRST_SHOT: u64 = 1;

/// How a photo of the week is taken.
enum Day {
    Own,
    OtherLight,
    Uneven,
    Foul(Foul),
}

/// File, time taken, true nitrate in mg/L, what is particular.
///
/// The story: nitrate creeps up by two or three mg/L a day, on Friday evening half the water is changed for water with
/// little nitrate, and it creeps up again.
const WEEK: [(&str, &str, f64, Day, &str); 7] = [
    (
        "1-mon",
        "2026:02:23 09:05:12",
        16.0,
        Day::Own,
        "as the session",
    ),
    (
        "2-tue",
        "2026:02:24 09:11:40",
        18.5,
        Day::Own,
        "as the session",
    ),
    (
        "3-wed",
        "2026:02:25 17:42:03",
        21.5,
        Day::OtherLight,
        "other light, phone held freely",
    ),
    (
        "4-thu",
        "2026:02:26 08:58:27",
        24.0,
        Day::Own,
        "as the session",
    ),
    (
        "5-fri",
        "2026:02:27 19:20:55",
        27.0,
        Day::Own,
        "as the session",
    ),
    (
        "6-sat",
        "2026:02:28 09:30:18",
        14.5,
        Day::Uneven,
        "uneven light, after the water change",
    ),
    (
        "7-sun",
        "2026:03:01 09:02:49",
        16.0,
        Day::Foul(Foul::NoVial),
        "no vial before the card",
    ),
];

/// A photo to be taken.
struct Photo {
    /// Path under the folder.
    name: String,
    /// mg/L, if there is liquid.
    truth: Option<f64>,
    what: &'static str,
    scene: Scene,
}

fn photos() -> Vec<Photo> {
    let session = Session::new(SESSION, Series::Pink);
    let mut shots = FIRST_SHOT..;
    let mut next = || shots.next().expect("numbers do not end");
    let mut photos = Vec::new();
    for (i, value) in session.dye.series.steps().iter().enumerate() {
        for (k, copy) in ["a", "b"].into_iter().enumerate() {
            let mut scene = session.own(*value, next());
            // The Saturday before, a vial every four minutes.
            scene.capture.taken_at = format!("2026:02:21 10:{:02}:{:02}", 4 * i, 10 + 35 * k);
            photos.push(Photo {
                name: format!("standards/nitrate-{value:02}-{copy}.jpg"),
                truth: Some(*value),
                what: "standard",
                scene,
            });
        }
    }
    for (name, time, value, day, what) in WEEK {
        let seed = next();
        let mut scene = match day {
            Day::Own => session.own(value, seed),
            Day::OtherLight => session.other_light(value, seed),
            Day::Uneven => session.uneven(value, seed),
            Day::Foul(kind) => session.foul(kind, value, seed),
        };
        scene.capture.taken_at = time.into();
        photos.push(Photo {
            name: format!("week/{name}.jpg"),
            truth: scene.liquid.as_ref().map(|l| l.concentration),
            what,
            scene,
        });
    }
    photos
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    match args.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        [] => make(&Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/alder-creek")),
        ["reduce", from, to] => reduce(from, to),
        _ => Err("usage: fixtures [reduce IN.png OUT.png]".into()),
    }
}

fn make(folder: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let card = Layout::from_json(include_str!("../../calibration/card-side.json"));
    for part in ["standards", "week"] {
        fs::create_dir_all(folder.join(part))?;
    }
    let photos = photos();
    photos.par_iter().try_for_each(|photo| {
        fs::write(folder.join(&photo.name), render(&photo.scene, &card).jpeg())
    })?;
    let mut truth = String::from("photo,nitrate_mg_per_l,scene\n");
    for photo in &photos {
        let value = photo.truth.map(|c| c.to_string()).unwrap_or_default();
        writeln!(truth, "{},{value},\"{}\"", photo.name, photo.what)?;
    }
    fs::write(folder.join("truth.csv"), truth)?;
    Ok(())
}

/// Width of a picture on a page, pixels.
const PAGE: u32 = 1000;

fn reduce(from: &str, to: &str) -> Result<(), Box<dyn std::error::Error>> {
    let full = image::open(from)?.into_rgb8();
    let height = (u64::from(full.height()) * u64::from(PAGE) / u64::from(full.width())) as u32;
    let small = image::imageops::resize(&full, PAGE, height, image::imageops::FilterType::Lanczos3);
    small.save(to)?;
    Ok(())
}
