//! Writes a sample of each population of scenes into a folder, with what is true of them on standard output.
//!
//! `cargo run --release --example scenes -- FOLDER [SESSION_SEED] [CARD.json]`

#[path = "mod.rs"]
mod scenes;

use std::path::Path;
use std::time::Instant;

use scenes::{Foul, Layout, Scene, Series, Session, render};

fn main() -> std::io::Result<()> {
    let mut args = std::env::args().skip(1);
    let Some(folder) = args.next() else {
        eprintln!("usage: scenes FOLDER [SESSION_SEED] [CARD.json]");
        std::process::exit(2)
    };
    let folder = Path::new(&folder);
    let seed: u64 = args.next().and_then(|s| s.parse().ok()).unwrap_or(1);
    let card = args
        .next()
        .unwrap_or_else(|| "calibration/card-side.json".into());
    let card = Layout::from_json(&std::fs::read_to_string(card)?);
    std::fs::create_dir_all(folder)?;
    println!("file,concentration,seconds");
    let write = |name: String, scene: &Scene| -> std::io::Result<()> {
        let start = Instant::now();
        let shot = render(scene, &card);
        let seconds = start.elapsed().as_secs_f64();
        std::fs::write(folder.join(format!("{name}.jpg")), shot.jpeg())?;
        let c = shot
            .truth
            .concentration
            .map_or(String::new(), |c| c.to_string());
        println!("{name}.jpg,{c},{seconds:.2}");
        Ok(())
    };
    for (i, series) in Series::ALL.into_iter().enumerate() {
        let session = Session::new(seed + i as u64, series);
        let (name, steps) = (series.name(), series.steps());
        for (k, c) in steps.iter().enumerate() {
            write(format!("{name}-step-{k}"), &session.own(*c, 100 + k as u64))?;
        }
        let middle = steps[steps.len() / 2];
        write(
            format!("{name}-other-light"),
            &session.other_light(middle, 202),
        )?;
        write(
            format!("{name}-other-camera"),
            &session.other_camera(middle, 203),
        )?;
        write(format!("{name}-uneven"), &session.uneven(middle, 204))?;
        write(format!("{name}-tilted"), &session.tilted(middle, 205))?;
        for kind in Foul::ALL.into_iter().skip(i).step_by(Series::ALL.len()) {
            write(
                format!("foul-{kind:?}-{name}").to_lowercase(),
                &session.foul(kind, middle, 300),
            )?;
        }
    }
    Ok(())
}
