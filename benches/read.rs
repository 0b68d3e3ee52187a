//! Where the time of a reading goes, beside a plain decode of the same file in the same run.
//!
//! `cargo bench`. The photo is one of the shipped week, enlarged to 12 megapixels and given the grain that makes a phone's file as
//! large as it is. Machines are shared and noisy: medians over interleaved rounds, and ratios to the decode, not times.

use std::hint::black_box;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use image::codecs::jpeg::JpegEncoder;
use image::imageops::{FilterType, resize};
use rand::{Rng, SeedableRng};
use tintwell::card::design::Design;
use tintwell::card::find;
use tintwell::chart::{Chart, file};
use tintwell::light::correct::Correction;
use tintwell::light::observe;
use tintwell::look::{Where, look};
use tintwell::photo::{Limits, decode};
use tintwell::reading::{Told, read};

/// Rounds; every stage is timed once in each.
const ROUNDS: usize = 15;
const ROOT: &str = env!("CARGO_MANIFEST_DIR");

fn photo() -> Vec<u8> {
    let path = Path::new(ROOT).join("fixtures/alder-creek/week/1-mon.jpg");
    let small = image::open(path).expect("the shipped photo").to_rgb8();
    let mut large = resize(&small, 4000, 3000, FilterType::CatmullRom);
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(12);
    for p in large.pixels_mut() {
        let grain = rng.random_range(-4..=4);
        p.0 =
            p.0.map(|v| (i16::from(v) + grain + rng.random_range(-2..=2)).clamp(0, 255) as u8);
    }
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, 90)
        .encode_image(&large)
        .expect("memory takes a photo");
    bytes
}

fn chart_path() -> std::path::PathBuf {
    Path::new(ROOT).join("calibration/alder-creek-nitrate.json")
}

fn median(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

/// A named piece of work.
type Stage<'a> = (&'a str, Box<dyn FnMut() + 'a>);

fn command(arguments: &[&std::ffi::OsStr], threads: &str) {
    let status = Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .args(arguments)
        .env("RAYON_NUM_THREADS", threads)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .expect("the program runs");
    assert!(status.code().is_some_and(|c| c < 2), "{status}");
}

fn main() {
    let bytes = photo();
    let chart: Chart =
        file::parse(&std::fs::read_to_string(chart_path()).expect("the shipped chart"))
            .expect("the shipped chart");
    let by = Where::Card(Design::all());
    let seen = decode(&bytes, &Limits::default()).expect("a photo");
    let place = find::find(&seen.picture, &Design::all()).expect("a card");
    let looked = look(&seen, &by).expect("a vial");
    let folder = tempfile::TempDir::new().expect("a folder");
    let one = folder.path().join("one.jpg");
    std::fs::write(&one, &bytes).expect("a file");
    let week = folder.path().join("week");
    std::fs::create_dir(&week).expect("a folder");
    for i in 0..4u8 {
        // Bytes after the end make the same photo another file.
        std::fs::write(week.join(format!("{i}.jpg")), [&bytes[..], &[i]].concat()).expect("a file");
    }
    let chart_file = chart_path();
    let os = std::ffi::OsStr::new;
    let single = [
        os("read"),
        os("--chart"),
        chart_file.as_os_str(),
        one.as_os_str(),
    ];
    let many = [
        os("batch"),
        week.as_os_str(),
        os("--chart"),
        chart_file.as_os_str(),
    ];

    let mut stages: Vec<Stage> = vec![
        (
            "plain decode (zune-jpeg, to RGB)",
            Box::new(|| {
                let options = zune_core::options::DecoderOptions::default();
                let reader = zune_core::bytestream::ZCursor::new(&bytes[..]);
                let mut decoder = zune_jpeg::JpegDecoder::new_with_options(reader, options);
                black_box(decoder.decode().expect("a photo"));
            }),
        ),
        (
            "photo: decode, profile, facts, hash",
            Box::new(|| {
                black_box(decode(&bytes, &Limits::default()).expect("a photo"));
            }),
        ),
        (
            "card: find",
            Box::new(|| {
                drop(black_box(
                    find::find(&seen.picture, &Design::all()).expect("a card"),
                ))
            }),
        ),
        (
            "light: paper and patches",
            Box::new(|| drop(black_box(observe(&seen.picture, &place).expect("paper")))),
        ),
        (
            "light: correction",
            Box::new(|| {
                drop(black_box(Correction::choose(
                    &looked.observed,
                    &chart.patches,
                )))
            }),
        ),
        (
            "look: card, light and vial",
            Box::new(|| drop(black_box(look(&seen, &by).expect("a vial")))),
        ),
        (
            "read: all after the decode",
            Box::new(|| {
                drop(black_box(
                    read(&seen, &by, &chart, &Told::default()).expect("a reading"),
                ));
            }),
        ),
        (
            "command: read, one photo",
            Box::new(|| command(&single, "2")),
        ),
        (
            "command: batch of 4, one worker",
            Box::new(|| command(&many, "1")),
        ),
        (
            "command: batch of 4, two workers",
            Box::new(|| command(&many, "2")),
        ),
    ];
    let mut times = vec![Vec::new(); stages.len()];
    for _ in 0..ROUNDS {
        for ((_, work), times) in stages.iter_mut().zip(&mut times) {
            let start = Instant::now();
            work();
            times.push(start.elapsed().as_secs_f64());
        }
    }
    println!(
        "{:.1} megabytes, {} x {} pixels, median of {ROUNDS} rounds",
        bytes.len() as f64 / 1e6,
        seen.picture.width(),
        seen.picture.height()
    );
    let decode = median(times[0].clone());
    for ((name, _), times) in stages.iter().zip(times) {
        let time = median(times);
        println!(
            "{name:<36} {:>8.1} ms  {:>6.2} decodes",
            1e3 * time,
            time / decode
        );
    }
}
