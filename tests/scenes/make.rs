//! Writes a sample of each population of scenes into a folder, with what is true of them on standard output.
//!
//! `cargo run --release --example scenes -- FOLDER [SESSION_SEED] [CARD.json]`

use std::time::Instant;

#[path = "mod.rs"]
mod scenes;

use scenes::population::Kind;
use scenes::{Layout, Series, Session, render};

fn main() -> std::io::Result<()> {
    let mut args = std::env::args().skip(1);
    let folder = std::path::PathBuf::from(args.next().unwrap_or_else(|| {
        eprintln!("usage: scenes FOLDER [SESSION_SEED] [CARD.json]");
        std::process::exit(2)
    }));
    let seed: u64 = args.next().and_then(|s| s.parse().ok()).unwrap_or(1);
    let card = args
        .next()
        .unwrap_or_else(|| "calibration/card-side.json".into());
    let card = Layout::from_json(&std::fs::read_to_string(card)?);
    std::fs::create_dir_all(&folder)?;
    println!("file,concentration,seconds");
    for (i, series) in Series::ALL.into_iter().enumerate() {
        let session = Session::new(seed + i as u64, series);
        for (k, c) in series.steps().iter().enumerate() {
            write(
                &folder,
                &format!("chart-{}-{k}", series.name()),
                &session.scene(100 + k as u64, *c),
                &card,
            )?;
        }
        for (k, kind) in Kind::ALL
            .into_iter()
            .enumerate()
            .filter(|(k, _)| k % Series::ALL.len() == i)
        {
            let steps = series.steps();
            let c = steps[1 + k % (steps.len() - 1)];
            write(
                &folder,
                &format!("{kind:?}-{}", series.name()),
                &session.scene_of(kind, 200 + k as u64, c),
                &card,
            )?;
        }
    }
    Ok(())
}

fn write(
    folder: &std::path::Path,
    name: &str,
    scene: &scenes::Scene,
    card: &Layout,
) -> std::io::Result<()> {
    let start = Instant::now();
    let shot = render(scene, card);
    let seconds = start.elapsed().as_secs_f64();
    std::fs::write(
        folder.join(format!("{name}.jpg")),
        shot.jpeg(scene.phone.quality),
    )?;
    println!("{name}.jpg,{:?},{seconds:.2}", shot.truth.concentration);
    Ok(())
}
