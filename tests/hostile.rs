//! Files made to harm: whatever is in them, there is one clear error or a finite answer; never a panic, never memory or time
//! without bound. Damaged photos are in `tests/photo/damage.rs`, files that are no files in `tests/faces.rs`.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output};

use flate2::Compression;
use flate2::write::ZlibEncoder;
use rand::{Rng, SeedableRng};
use serde_json::{Value, json};
use tempfile::TempDir;
use tintwell::chart::{Chart, file, limits, resolve};
use tintwell::report::{json as report, plot, text};

const CHART: &str = include_str!("../calibration/alder-creek-nitrate.json");

/// All that can be done with a chart without a photo.
fn show(chart: &Chart) {
    let Ok(flags) = resolve::flags(chart) else {
        return;
    };
    let said = text::chart(chart, &flags, false).expect("its flags could be found");
    assert!(said.len() < 1_000_000);
    let line = report::chart(chart, &flags).expect("its flags could be found");
    serde_json::from_str::<Value>(&line).expect("JSON");
    for e in limits::along(chart, 1).expect("a curve") {
        assert!(e.low.is_finite() && e.high.is_finite(), "{e:?}");
    }
}

/// Pointers to all values inside.
fn leaves(value: &Value, at: String, out: &mut Vec<String>) {
    match value {
        Value::Object(map) => {
            for (key, v) in map {
                leaves(v, format!("{at}/{key}"), out);
            }
        }
        Value::Array(list) => {
            for (i, v) in list.iter().enumerate() {
                leaves(v, format!("{at}/{i}"), out);
            }
        }
        _ => out.push(at.clone()),
    }
    if !at.is_empty() {
        out.push(at);
    }
}

/// Each value of a chart in turn becomes something that it cannot be, or hardly.
#[test]
fn charts_with_any_value_replaced() {
    let good: Value = serde_json::from_str(CHART).unwrap();
    let mut places = Vec::new();
    leaves(&good, String::new(), &mut places);
    // Patches are many and alike: some of them.
    let mut seen = 0;
    places.retain(|p| {
        seen += 1;
        !p.starts_with("/patches/") || seen % 23 == 0
    });
    let (mut refused, mut taken) = (0, 0);
    for place in &places {
        for other in [
            json!(null),
            json!(-1),
            json!(0),
            json!(1e300),
            json!(-1e300),
            json!(5e-324),
            json!(u64::MAX),
            json!("NaN"),
            json!("\u{1b}[2J"),
            json!([]),
            json!({}),
            json!([1e9, -1e9, 1e-9]),
        ] {
            let mut bad = good.clone();
            *bad.pointer_mut(place).unwrap() = other;
            match file::parse(&bad.to_string()) {
                Err(e) => {
                    assert!(e.what.len() < 500, "{place}: {}", e.what);
                    refused += 1;
                }
                Ok(chart) => {
                    show(&chart);
                    taken += 1;
                }
            }
        }
    }
    assert!(
        refused > 500 && taken > 100,
        "{refused} refused, {taken} taken"
    );
}

/// What no session makes, though each value is in its range.
#[test]
fn charts_that_contradict_themselves_are_refused() {
    let good: serde_json::Value = serde_json::from_str(CHART).expect("the shipped chart");
    let patch = good["patches"][0].clone();
    for (place, other, says) in [
        // Symmetric, and a variance of -0.5 along one direction.
        (
            "/steps/2/covariance",
            json!([[1e-6, 0.5, 0], [0.5, 1e-6, 0], [0, 0, 1e-6]]),
            "variance below zero",
        ),
        (
            "/read_window",
            json!({"from_min": 10, "to_min": 5}),
            "read window is from 10 to 5",
        ),
        ("/vial_mm", json!(-3), "width of its vials"),
        ("/lines_lowered", json!(1e9), "card's lines"),
        ("/patches/1", patch, "twice"),
        ("/patches/1/sd", json!([-1, 0, 0]), "scatter"),
    ] {
        let mut bad = good.clone();
        *bad.pointer_mut(place).expect(place) = other;
        let refused = file::parse(&bad.to_string()).expect_err(place);
        assert!(refused.what.contains(says), "{place}: {refused}");
    }
}

#[test]
fn charts_of_any_bytes() {
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(7);
    for _ in 0..400 {
        let mut bytes = CHART.as_bytes().to_vec();
        for _ in 0..rng.random_range(1..6) {
            let at = rng.random_range(0..bytes.len());
            match rng.random_range(0..3) {
                0 => bytes[at] = rng.random_range(32..127),
                1 => drop(bytes.drain(at..(at + rng.random_range(1..200)).min(bytes.len()))),
                _ => bytes.insert(at, b"0123456789-+.eE[]{}\","[rng.random_range(0..20)]),
            }
        }
        if let Ok(text) = String::from_utf8(bytes)
            && let Ok(chart) = file::parse(&text)
        {
            show(&chart);
        }
    }
    // Deeper than any stack.
    assert!(file::parse(&"[".repeat(1_000_000)).is_err());
    assert!(file::parse(&"{\"a\":".repeat(1_000_000)).is_err());
    if let Ok(chart) = file::parse(CHART) {
        plot::chart(&chart, plot::Format::Svg).expect("a plot");
    }
}

/// Runs the program where memory ends at 2 GB and time at a minute.
fn confined(dir: &Path, arguments: &str) -> Output {
    let line = format!(
        "ulimit -v 2000000; ulimit -t 60; exec {} {arguments}",
        env!("CARGO_BIN_EXE_tintwell")
    );
    Command::new("sh")
        .args(["-c", &line])
        .current_dir(dir)
        .output()
        .unwrap()
}

/// One error that names the file, and nothing that looks like a fault of the program.
fn one_error(output: &Output, name: &str) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        matches!(output.status.code(), Some(3 | 4)),
        "{name}: {:?} {said}",
        output.status
    );
    assert!(said.contains(name), "{said}");
    assert!(said.matches("error:").count() == 1, "{said}");
    assert!(
        !said.contains("the program failed") && !said.contains("panicked"),
        "{said}"
    );
}

fn zlib(content: impl Iterator<Item = Vec<u8>>) -> Vec<u8> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::fast());
    for part in content {
        encoder.write_all(&part).unwrap();
    }
    encoder.finish().unwrap()
}

fn png(width: u32, height: u32, chunks: &[(&[u8; 4], Vec<u8>)]) -> Vec<u8> {
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    let header = [
        &width.to_be_bytes()[..],
        &height.to_be_bytes(),
        &[8, 2, 0, 0, 0],
    ]
    .concat();
    let all = [(b"IHDR", header)];
    for (kind, body) in all
        .iter()
        .map(|(k, b)| (*k, b))
        .chain(chunks.iter().map(|(k, b)| (*k, b)))
    {
        out.extend((body.len() as u32).to_be_bytes());
        let mut crc = flate2::Crc::new();
        crc.update(kind);
        crc.update(body);
        out.extend(*kind);
        out.extend(body);
        out.extend(crc.sum().to_be_bytes());
    }
    out
}

/// A few kilobytes that unpack into gigabytes: as picture, as colour profile, as text.
#[cfg(unix)]
#[test]
fn bombs_do_not_go_off() {
    let dir = TempDir::new().unwrap();
    fs::write(dir.path().join("chart.json"), CHART).unwrap();
    let zeros = |megabytes: usize| (0..megabytes).map(|_| vec![0u8; 1_000_000]);
    let rows = zlib(zeros(300));
    let profile = [b"x\0\0".to_vec(), zlib(zeros(2000))].concat();
    let text = [b"Comment\0\0".to_vec(), zlib(zeros(2000))].concat();
    let row = 3 * 64 + 1;
    let small = || zlib(std::iter::once(vec![0u8; 64 * row]));
    for (name, bytes) in [
        // 10,000 x 10,000 pixels are allowed; these have a third of the rows that they promise.
        (
            "rows.png",
            png(10_000, 10_000, &[(b"IDAT", rows), (b"IEND", vec![])]),
        ),
        (
            "profile.png",
            png(
                64,
                64,
                &[(b"iCCP", profile), (b"IDAT", small()), (b"IEND", vec![])],
            ),
        ),
        (
            "text.png",
            png(
                64,
                64,
                &[(b"zTXt", text), (b"IDAT", small()), (b"IEND", vec![])],
            ),
        ),
    ] {
        assert!(bytes.len() < 20_000_000, "{name} has {} bytes", bytes.len());
        fs::write(dir.path().join(name), bytes).unwrap();
        one_error(
            &confined(dir.path(), &format!("read --chart chart.json {name}")),
            name,
        );
    }
}

/// Rule files, frames and links that lead round in circles.
#[cfg(unix)]
#[test]
fn small_files_made_to_harm() {
    let dir = TempDir::new().unwrap();
    let path = |name: &str| dir.path().join(name);
    fs::write(path("chart.json"), CHART).unwrap();
    for (name, content) in [
        ("deep.json", "[".repeat(200_000)),
        (
            "pattern.json",
            "[{\"match\": \"[\", \"chart\": \"chart.json\"}]".into(),
        ),
        (
            "self.json",
            "[{\"match\": \"*\", \"chart\": \"self.json\"}]".into(),
        ),
        (
            "device.json",
            "[{\"match\": \"*\", \"chart\": \"/dev/zero\"}]".into(),
        ),
    ] {
        fs::write(path(name), content).unwrap();
        let output = confined(dir.path(), &format!("batch . --charts {name}"));
        let named = if name == "device.json" {
            "/dev/zero"
        } else {
            name
        };
        one_error(&output, named);
    }
    for (name, content) in [
        (
            "huge.frame",
            "{\"white\": [1e300, 0, 1e300, 5], \"vial\": [0, 0, 1, 1]}".to_owned(),
        ),
        ("deep.frame", "{\"white\":".repeat(100_000)),
    ] {
        fs::write(path(name), content).unwrap();
        fs::write(path("photo.png"), png(64, 64, &[])).unwrap();
        let output = confined(
            dir.path(),
            &format!("read --chart chart.json --frame {name} photo.png"),
        );
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(
            matches!(output.status.code(), Some(3 | 4)),
            "{name}: {said}"
        );
        assert!(!said.contains("panicked"), "{said}");
    }
    std::os::unix::fs::symlink("loop.jpg", path("loop.jpg")).unwrap();
    std::os::unix::fs::symlink("/dev/zero", path("zero.jpg")).unwrap();
    std::os::unix::fs::symlink("nowhere", path("dangling.jpg")).unwrap();
    for name in ["loop.jpg", "zero.jpg", "dangling.jpg"] {
        one_error(
            &confined(dir.path(), &format!("read --chart chart.json {name}")),
            name,
        );
    }
    let long = format!("{}.jpg", "x".repeat(4000));
    one_error(
        &confined(dir.path(), &format!("read --chart chart.json {long}")),
        "xxx",
    );
}

/// Killed at any moment, a calibration leaves the chart that was there, or the whole new one.
#[test]
fn a_killed_calibration_leaves_a_whole_chart() {
    let dir = TempDir::new().unwrap();
    let chart = dir.path().join("chart.json");
    let standards = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/alder-creek/standards");
    let calibrate = || {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tintwell"));
        command
            .args(["calibrate", "--test", "nitrate", "--unit", "mg/L", "--out"])
            .arg(&chart)
            .stdout(std::process::Stdio::null())
            .stderr(std::process::Stdio::null());
        for value in ["00", "05", "20", "80"] {
            let photo = standards.join(format!("nitrate-{value}-a.jpg"));
            command.arg(format!("{value}={}", photo.display()));
        }
        command
    };
    let start = std::time::Instant::now();
    assert!(calibrate().status().unwrap().success());
    let whole = start.elapsed();
    let new = fs::read(&chart).unwrap();
    let (mut kept, mut replaced) = (0, 0);
    // The last rounds come about the end of the work, when the file is written.
    for share in [0.0, 0.3, 0.6, 0.9, 0.95, 1.0, 1.05, 1.1, 3.0] {
        fs::write(&chart, CHART).unwrap();
        let mut child = calibrate().spawn().unwrap();
        std::thread::sleep(whole.mul_f64(share));
        child.kill().unwrap();
        child.wait().unwrap();
        let there = fs::read(&chart).unwrap();
        if there == CHART.as_bytes() {
            kept += 1;
        } else {
            assert!(there == new, "neither the old chart nor the new one");
            replaced += 1;
        }
    }
    assert!(kept > 0 && replaced > 0, "{kept} kept, {replaced} replaced");
}
