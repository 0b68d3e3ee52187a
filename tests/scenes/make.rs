//! Writes a sample of every population into a folder: `cargo run --release --example scenes -- FOLDER`.

#[path = "mod.rs"]
mod scenes;

use scenes::dye::Series;
use scenes::{Foul, Layout, Session, render};

fn main() {
    let folder = std::env::args().nth(1).unwrap_or_else(|| {
        eprintln!("usage: scenes FOLDER");
        std::process::exit(2)
    });
    std::fs::create_dir_all(&folder).expect("the folder can be made");
    let card = Layout::from_json(include_str!("../../calibration/card-side.json"));
    let save = |name: String, scene: &scenes::Scene| {
        let start = std::time::Instant::now();
        let shot = render(scene, &card);
        std::fs::write(format!("{folder}/{name}.jpg"), shot.jpeg()).expect("the photo can be written");
        eprintln!("{name}: {:.2} s", start.elapsed().as_secs_f64());
    };
    for (i, series) in Series::ALL.into_iter().enumerate() {
        let session = Session::new(i as u64 + 1, series);
        let middle = series.steps()[series.steps().len() / 2];
        let name = series.name();
        save(format!("{name}-zero"), &session.own(0.0, 100));
        save(format!("{name}-own"), &session.own(middle, 101));
        save(format!("{name}-other-light"), &session.other_light(middle, 102));
        save(format!("{name}-other-camera"), &session.other_camera(middle, 103));
        save(format!("{name}-uneven"), &session.uneven(middle, 104));
    }
    let session = Session::new(1, Series::Pink);
    for kind in Foul::ALL {
        save(format!("foul-{kind:?}").to_lowercase(), &session.foul(kind, 20.0, 200));
    }
}
