//! The command line: what it says when something is wrong, what it writes when all is well, and that nothing is lost.
//!
//! Snapshots are regression: what the program said when somebody last looked, never the truth about a colour. Pictures
//! are made here, in memory, and marked by hand; reading real scenes is tested elsewhere.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use image::imageops::FilterType;
use image::{ImageFormat, Rgb, RgbImage};
use tempfile::TempDir;

/// Regions of [`picture`].
const WHITE: &str = "10,10,120,100";
const VIAL: &str = "220,60,60,160";

/// White paper with a block of colour, as sRGB codes.
fn picture(colour: [u8; 3]) -> RgbImage {
    RgbImage::from_fn(320, 240, |x, y| {
        // A pattern of one code keeps the picture from being ideal.
        let grain = ((x * 7 + y * 13) % 3) as u8;
        let inside = (220..280).contains(&x) && (60..220).contains(&y);
        let c = if inside { colour } else { [228, 226, 222] };
        Rgb(c.map(|v| v.saturating_sub(grain)))
    })
}

fn bytes(image: &RgbImage, format: ImageFormat) -> Vec<u8> {
    let mut out = std::io::Cursor::new(Vec::new());
    image.write_to(&mut out, format).unwrap();
    out.into_inner()
}

/// A folder with a session (`s0.png` to `s20.png`, two photos of each standard would be better), made-up colours from
/// pale yellow to orange.
fn session() -> TempDir {
    let dir = TempDir::new().unwrap();
    for (name, colour) in [
        ("s0", [226, 218, 170]),
        ("s5", [224, 186, 120]),
        ("s10", [220, 150, 84]),
        ("s20", [206, 104, 58]),
    ] {
        fs::write(
            dir.path().join(format!("{name}.png")),
            bytes(&picture(colour), ImageFormat::Png),
        )
        .unwrap();
    }
    dir
}

/// What came of a command: exit code, standard output and standard error.
struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn run_with(dir: &Path, args: &[&str], input: &str) -> Ran {
    let output = Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .args(args)
        .current_dir(dir)
        .env_remove("NO_COLOR")
        .env("TERM", "dumb")
        .write_stdin(input)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    Ran {
        code: output.status.code().unwrap(),
        out: text(output.stdout),
        err: text(output.stderr),
    }
}

fn run(dir: &Path, args: &[&str]) -> Ran {
    run_with(dir, args, "")
}

const CALIBRATE: [&str; 11] = [
    "calibrate",
    "--test",
    "nitrate",
    "--unit",
    "mg/L",
    "--out",
    "chart.json",
    "--white",
    WHITE,
    "--vial",
    VIAL,
];
const STANDARDS: [&str; 4] = ["0=s0.png", "5=s5.png", "10=s10.png", "20=s20.png"];

fn calibrate(dir: &Path, standards: &[&str]) -> Ran {
    run(dir, &[&CALIBRATE[..], standards].concat())
}

/// A session with its chart.
fn charted() -> TempDir {
    let dir = session();
    let ran = calibrate(dir.path(), &STANDARDS);
    assert_eq!(ran.code, 0, "{}", ran.err);
    dir
}

/// The error of a command that must fail with this code and print no data.
fn error(ran: Ran, code: i32) -> String {
    assert_eq!(ran.code, code, "{}{}", ran.out, ran.err);
    assert_eq!(ran.out, "", "an error is talk, not data");
    ran.err
}

/// Reads one file by its card.
fn read_bytes(name: &str, content: &[u8]) -> String {
    let dir = charted();
    fs::write(dir.path().join(name), content).unwrap();
    error(run(dir.path(), &["read", "--chart", "chart.json", name]), 3)
}

/// A PNG whose header promises 50,000 x 50,000 pixels: signature, IHDR with its CRC, and the start of data.
fn huge_header() -> Vec<u8> {
    let mut ihdr = b"IHDR".to_vec();
    ihdr.extend(50_000u32.to_be_bytes());
    ihdr.extend(50_000u32.to_be_bytes());
    ihdr.extend([8, 2, 0, 0, 0]);
    let chunk = |body: &[u8]| {
        let mut out = (body.len() as u32 - 4).to_be_bytes().to_vec();
        out.extend(body);
        out.extend(crc32(body).to_be_bytes());
        out
    };
    let mut png = b"\x89PNG\r\n\x1a\n".to_vec();
    png.extend(chunk(&ihdr));
    png.extend(chunk(b"IDAT\x78\x9c\x03\x00\x00\x00\x00\x01"));
    png.extend(chunk(b"IEND"));
    png
}

/// CRC of PNG (ISO/IEC 15948, annex D).
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0u32, |crc, b| {
        (0..8).fold(crc ^ u32::from(*b), |c, _| {
            if c & 1 == 1 {
                0xEDB8_8320 ^ (c >> 1)
            } else {
                c >> 1
            }
        })
    })
}

#[test]
fn photos_that_cannot_be_read() {
    let jpeg = bytes(&picture([200, 100, 60]), ImageFormat::Jpeg);
    let grey = bytes(
        &RgbImage::from_pixel(640, 480, Rgb([128, 128, 128])),
        ImageFormat::Png,
    );
    insta::assert_snapshot!("not_a_photo", read_bytes("note.jpg", b"monday: 5 mg/L\n"));
    insta::assert_snapshot!(
        "truncated_jpeg",
        read_bytes("cut.jpg", &jpeg[..jpeg.len() / 2])
    );
    insta::assert_snapshot!("zero_bytes", read_bytes("empty.jpg", b""));
    insta::assert_snapshot!("huge_header", read_bytes("huge.png", &huge_header()));
    insta::assert_snapshot!("no_card", read_bytes("grey.png", &grey));
}

#[test]
fn files_that_are_not_files() {
    let dir = charted();
    fs::create_dir(dir.path().join("folder.jpg")).unwrap();
    let read = |name: &str| error(run(dir.path(), &["read", "--chart", "chart.json", name]), 3);
    insta::assert_snapshot!("folder_as_photo", read("folder.jpg"));
    insta::assert_snapshot!("missing_photo", read("nowhere.jpg"));
}

/// A pipe with a photo's name must not be waited for.
#[cfg(unix)]
#[test]
fn a_pipe_is_an_error_not_a_hang() {
    let dir = charted();
    let made = std::process::Command::new("mkfifo")
        .arg(dir.path().join("pipe.jpg"))
        .status()
        .unwrap();
    assert!(made.success());
    let ran = Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .args(["read", "--chart", "chart.json", "pipe.jpg"])
        .current_dir(dir.path())
        .timeout(std::time::Duration::from_secs(20))
        .output()
        .unwrap();
    assert_eq!(ran.status.code(), Some(3));
    insta::assert_snapshot!("pipe_as_photo", String::from_utf8(ran.stderr).unwrap());
}

/// A file over the limit is refused by its length; a sparse one costs nothing to make.
#[test]
fn a_huge_file_is_not_loaded() {
    let dir = charted();
    fs::File::create(dir.path().join("huge.jpg"))
        .unwrap()
        .set_len(5_000_000_000)
        .unwrap();
    insta::assert_snapshot!(
        "huge_file",
        error(
            run(dir.path(), &["read", "--chart", "chart.json", "huge.jpg"]),
            3
        )
    );
}

#[test]
fn charts_that_cannot_be_used() {
    let dir = charted();
    let good = fs::read_to_string(dir.path().join("chart.json")).unwrap();
    let with = |text: &str| {
        fs::write(dir.path().join("bad.json"), text).unwrap();
        error(
            run(dir.path(), &["read", "--chart", "bad.json", "s5.png"]),
            4,
        )
    };
    insta::assert_snapshot!("chart_cut_off", with(&good[..good.len() / 2]));
    insta::assert_snapshot!(
        "chart_of_another_version",
        with(&good.replace("\"version\": 1", "\"version\": 7"))
    );
    insta::assert_snapshot!("chart_that_is_none", with("{\"hello\": 1}"));
    insta::assert_snapshot!(
        "chart_missing",
        error(run(dir.path(), &["chart", "nowhere.json"]), 4)
    );
    let unit = run(
        dir.path(),
        &["read", "--chart", "chart.json", "--unit", "ppm", "s5.png"],
    );
    insta::assert_snapshot!("unit_mismatch", error(unit, 4));
}

#[test]
fn standards_that_make_no_chart() {
    let dir = session();
    let fails = |standards: &[&str], code: i32| error(calibrate(dir.path(), standards), code);
    insta::assert_snapshot!(
        "duplicate_steps",
        fails(&["0=s0.png", "5=s5.png", "5=s10.png", "20=s20.png"], 4)
    );
    insta::assert_snapshot!("two_steps", fails(&["0=s0.png", "5=s5.png"], 4));
    insta::assert_snapshot!(
        "one_photo_for_two_steps",
        fails(&["0=s0.png", "5=s5.png", "20=./s5.png"], 4)
    );
    insta::assert_snapshot!(
        "pattern_without_files",
        fails(&["0=s0.png", "5=t*.png", "20=s20.png"], 4)
    );
    insta::assert_snapshot!(
        "step_without_value",
        fails(&["s0.png", "5=s5.png", "20=s20.png"], 2)
    );
    insta::assert_snapshot!(
        "step_with_decimal_comma",
        fails(&["0,5=s0.png", "5=s5.png", "20=s20.png"], 2)
    );
    assert!(!dir.path().join("chart.json").exists());
}

#[test]
fn a_failed_calibration_keeps_the_chart_that_was_there() {
    let dir = charted();
    let before = fs::read(dir.path().join("chart.json")).unwrap();
    fs::write(dir.path().join("cut.png"), b"").unwrap();
    insta::assert_snapshot!(
        "bad_standard",
        error(
            calibrate(dir.path(), &["0=s0.png", "5=cut.png", "20=s20.png"]),
            4
        )
    );
    assert_eq!(fs::read(dir.path().join("chart.json")).unwrap(), before);
    let left: Vec<_> = fs::read_dir(dir.path())
        .unwrap()
        .map(|e| e.unwrap().file_name())
        .collect();
    assert!(
        !left.iter().any(|n| n.to_string_lossy().starts_with('.')),
        "no temporary file stays: {left:?}"
    );
}

#[test]
fn regions_that_do_not_fit() {
    let dir = charted();
    let read = |white: &str, code: i32| {
        error(
            run(
                dir.path(),
                &[
                    "read",
                    "--chart",
                    "chart.json",
                    "--white",
                    white,
                    "--vial",
                    VIAL,
                    "s5.png",
                ],
            ),
            code,
        )
    };
    insta::assert_snapshot!("white_outside", read("300,10,120,100", 3));
    insta::assert_snapshot!("white_no_region", read("10,10,120", 2));
    let alone = run(
        dir.path(),
        &["read", "--chart", "chart.json", "--white", WHITE, "s5.png"],
    );
    insta::assert_snapshot!("white_alone", error(alone, 2));
    fs::write(
        dir.path().join("frame.json"),
        "{\"format\":\"tintwell-frame\",\"version\":1}",
    )
    .unwrap();
    let frame = run(
        dir.path(),
        &[
            "read",
            "--chart",
            "chart.json",
            "--frame",
            "frame.json",
            "s5.png",
        ],
    );
    insta::assert_snapshot!("frame_broken", error(frame, 4));
}

#[test]
fn outputs_that_cannot_be_written() {
    let dir = charted();
    fs::create_dir(dir.path().join("taken.csv")).unwrap();
    let calibrate = run(
        dir.path(),
        &[
            &[
                "calibrate",
                "--test",
                "a",
                "--unit",
                "b",
                "--out",
                "no/such/chart.json",
            ],
            &STANDARDS[..],
        ]
        .concat(),
    );
    insta::assert_snapshot!("calibrate_unwritable", error(calibrate, 4));
    let place = ["--chart", "chart.json", "--white", WHITE, "--vial", VIAL];
    let batch = run(
        dir.path(),
        &[&["batch", ".", "--out", "taken.csv"], &place[..]].concat(),
    );
    insta::assert_snapshot!("batch_unwritable", error(batch, 4));
    let over_photo = run(
        dir.path(),
        &[&["read", "s5.png", "--overlay", "s5.png"], &place[..]].concat(),
    );
    insta::assert_snapshot!("overlay_over_photo", error(over_photo, 4));
    let over_photo = run(
        dir.path(),
        &[
            "calibrate",
            "--test",
            "a",
            "--unit",
            "b",
            "--out",
            "s0.png",
            "0=s0.png",
            "5=s5.png",
            "9=s10.png",
        ],
    );
    insta::assert_snapshot!("chart_over_photo", error(over_photo, 4));
}

#[test]
fn folders_without_photos() {
    let dir = charted();
    fs::create_dir(dir.path().join("bare")).unwrap();
    fs::write(dir.path().join("bare/notes.txt"), "none yet").unwrap();
    insta::assert_snapshot!(
        "empty_folder",
        error(
            run(dir.path(), &["batch", "bare", "--chart", "chart.json"]),
            4
        )
    );
    insta::assert_snapshot!(
        "missing_folder",
        error(
            run(dir.path(), &["batch", "gone", "--chart", "chart.json"]),
            4
        )
    );
    insta::assert_snapshot!(
        "empty_list",
        error(
            run_with(dir.path(), &["batch", "-", "--chart", "chart.json"], "\n"),
            4
        )
    );
}

/// A week with one photo that cannot be read and one file that is none.
fn week() -> TempDir {
    let dir = charted();
    let week = dir.path().join("week");
    fs::create_dir(&week).unwrap();
    for (name, colour) in [
        ("mon", [222, 170, 102]),
        ("tue", [214, 126, 70]),
        ("thu", [225, 200, 142]),
    ] {
        fs::write(
            week.join(format!("{name}.png")),
            bytes(&picture(colour), ImageFormat::Png),
        )
        .unwrap();
    }
    fs::write(week.join("sun.jpg"), b"").unwrap();
    fs::write(week.join("notes.txt"), "sunny").unwrap();
    dir
}

#[test]
fn a_chart_is_shown() {
    let dir = session();
    let made = calibrate(dir.path(), &STANDARDS);
    insta::assert_snapshot!("calibrated", made.out + &made.err);
    let shown = run(dir.path(), &["chart", "chart.json", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&shown.out).unwrap();
    assert_eq!(json["steps"].as_array().map(Vec::len), Some(4));
    assert_eq!((shown.out.lines().count(), shown.code), (1, 0));
}

#[test]
fn a_chart_is_drawn() {
    let dir = charted();
    for name in ["curve.png", "curve.svg"] {
        let ran = run(dir.path(), &["chart", "chart.json", "--plot", name]);
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert_eq!(ran.err, format!("plot written: {name}\n"));
    }
    let png = image::open(dir.path().join("curve.png")).unwrap().to_rgb8();
    // The steps' own colours are in the picture, each as a disc.
    let near = |want: [u8; 3]| {
        let close = |p: &&Rgb<u8>| p.0.iter().zip(want).all(|(a, b)| a.abs_diff(b) < 12);
        png.pixels().filter(close).count()
    };
    let chart = run(dir.path(), &["chart", "chart.json", "--json"]).out;
    let chart: serde_json::Value = serde_json::from_str(&chart).unwrap();
    for step in chart["steps"].as_array().unwrap() {
        let colour: [u8; 3] = serde_json::from_value(step["srgb"].clone()).unwrap();
        assert!(near(colour) > 100, "{colour:?}");
    }
    let limit = |key: &str| chart[key].as_f64().unwrap();
    assert!(limit("critical_value") < limit("detection_limit"));
    let svg = fs::read_to_string(dir.path().join("curve.svg")).unwrap();
    assert!(svg.starts_with("<svg ") && !svg.contains("<text"));
    let wrong = run(dir.path(), &["chart", "chart.json", "--plot", "curve.pdf"]);
    insta::assert_snapshot!("plot_of_no_format", error(wrong, 2));
    // A chart may have any name; the plot must not take its place.
    let before = fs::read(dir.path().join("chart.json")).unwrap();
    fs::write(dir.path().join("odd.svg"), &before).unwrap();
    let over = run(dir.path(), &["chart", "odd.svg", "--plot", "odd.svg"]);
    insta::assert_snapshot!("plot_over_the_chart", error(over, 2));
    assert_eq!(fs::read(dir.path().join("odd.svg")).unwrap(), before);
}

#[test]
fn printed_colours_make_a_doubtful_chart() {
    let dir = TempDir::new().unwrap();
    let strip = RgbImage::from_fn(400, 200, |x, y| match (x / 100, y < 80) {
        (_, true) => Rgb([226, 226, 224]),
        (0, _) => Rgb([224, 214, 160]),
        (1, _) => Rgb([222, 180, 110]),
        (2, _) => Rgb([218, 140, 80]),
        _ => Rgb([200, 96, 56]),
    });
    strip.save(dir.path().join("strip.png")).unwrap();
    let base = [
        "calibrate",
        "--test",
        "nitrate",
        "--unit",
        "mg/L",
        "--out",
        "chart.json",
        "--photo",
        "strip.png",
        "--white",
        "10,10,300,60",
    ];
    let steps = [
        "--step",
        "0=20,100,60,60",
        "--step",
        "5=120,100,60,60",
        "--step",
        "10=220,100,60,60",
    ];
    let made = run(dir.path(), &[&base[..], &steps].concat());
    assert_eq!(made.code, 1, "{}", made.err);
    insta::assert_snapshot!("printed_colours", made.out + &made.err);
    let outside = run(
        dir.path(),
        &[&base[..], &steps, &["--step", "20=380,100,60,60"]].concat(),
    );
    insta::assert_snapshot!("printed_step_outside", error(outside, 4));
}

#[test]
fn a_reading_in_words_and_in_json() {
    let dir = week();
    let place = ["--chart", "chart.json", "--white", WHITE, "--vial", VIAL];
    let text = run(
        dir.path(),
        &[&["read", "week/mon.png", "--explain"], &place[..]].concat(),
    );
    assert_eq!(
        text.code, 1,
        "balanced on white alone is doubtful: {}",
        text.err
    );
    insta::assert_snapshot!("reading_in_words", text.out);
    assert_eq!(text.err, "");

    let json = run(
        dir.path(),
        &[
            &["read", "week/mon.png", "week/sun.jpg", "--json"],
            &place[..],
        ]
        .concat(),
    );
    assert_eq!(json.code, 3, "exits with the worst");
    let lines: Vec<serde_json::Value> = json
        .out
        .lines()
        .map(|l| serde_json::from_str(l).unwrap())
        .collect();
    assert_eq!(lines.len(), 2);
    for line in &lines {
        for key in [
            "photo",
            "taken_at",
            "test",
            "unit",
            "value",
            "low",
            "high",
            "level",
            "confidence",
            "verdict",
            "flags",
            "lab",
            "delta_e_chart",
            "delta_e_step",
            "nearest_step",
            "error",
        ] {
            assert!(line.get(key).is_some(), "{key} is missing in {line}");
        }
    }
    assert!(lines[0]["low"].as_f64() < lines[0]["value"].as_f64() && lines[0]["error"].is_null());
    assert!(lines[1]["value"].is_null() && lines[1]["lab"].is_null());
    assert_eq!(
        (&lines[1]["verdict"], &lines[1]["error"]),
        (&"unreadable".into(), &"the file is empty (0 bytes)".into())
    );
}

/// Two photos that agree, two that do not, and what is not enough.
#[test]
fn a_blank_is_taken_off_and_said() {
    let dir = charted();
    let write = |name: &str, colour| {
        let bytes = bytes(&picture(colour), ImageFormat::Png);
        fs::write(dir.path().join(name), bytes).unwrap();
    };
    // Water that takes a little blue away, alone and with what makes the colour of s5.
    write("water.png", [227, 224, 214]);
    write("sample.png", [223, 185, 115]);
    let read = |more: &[&str]| {
        let place = ["--chart", "chart.json", "--white", WHITE, "--vial", VIAL];
        run(
            dir.path(),
            &[&["read", "sample.png"], &place[..], more].concat(),
        )
    };
    let json = |more: &[&str]| -> serde_json::Value {
        serde_json::from_str(&read(&[more, &["--json"]].concat()).out).unwrap()
    };
    let (with, without) = (json(&["--blank", "water.png"]), json(&[]));
    let tint: [f64; 3] = serde_json::from_value(with["blank_tint"].clone()).unwrap();
    assert!(tint[2] < -0.05 && tint[0] == 0.0, "{tint:?}");
    assert!(without["blank_tint"].is_null());
    assert!(
        with["lab"][2].as_f64() < without["lab"][2].as_f64(),
        "less yellow"
    );
    let words = read(&["--blank", "water.png", "--explain"]);
    assert!(
        words.out.contains("the water itself takes away"),
        "{}",
        words.out
    );
    assert!(
        words.out.contains("colour of the water (blank)"),
        "{}",
        words.out
    );
    insta::assert_snapshot!("blank_missing", error(read(&["--blank", "nowhere.png"]), 4));
    fs::copy(dir.path().join("sample.png"), dir.path().join("again.png")).unwrap();
    insta::assert_snapshot!("blank_again", error(read(&["--blank", "again.png"]), 4));
}

#[test]
fn photos_of_one_vial_are_one_reading() {
    let dir = week();
    let near = picture([221, 168, 100]);
    fs::write(
        dir.path().join("week/mon2.png"),
        bytes(&near, ImageFormat::Png),
    )
    .unwrap();
    let read = |photos: &[&str], more: &[&str]| {
        let place = ["--chart", "chart.json", "--white", WHITE, "--vial", VIAL];
        let ran = run(
            dir.path(),
            &[&["read", "--same-vial"], photos, more, &place[..]].concat(),
        );
        (ran.code, ran.out + &ran.err)
    };
    let (code, agree) = read(&["week/mon.png", "week/mon2.png"], &["--explain"]);
    assert_eq!(code, 1, "balanced on white alone is doubtful");
    insta::assert_snapshot!("vial_agrees", agree);
    let (code, differ) = read(&["week/mon.png", "week/tue.png", "week/sun.jpg"], &[]);
    assert_eq!(
        code, 1,
        "the answer's verdict decides, not the worst photo's"
    );
    insta::assert_snapshot!("vial_disagrees", differ);
    let (code, kinds) = read(&["s0.png", "week/tue.png"], &[]);
    assert_eq!(code, 1);
    insta::assert_snapshot!("vial_answers_differently", kinds);
    let (code, none) = read(&["week/sun.jpg", "nowhere.jpg"], &[]);
    assert_eq!(code, 3);
    insta::assert_snapshot!("vial_unreadable", none);
    let (code, one) = read(&["week/mon.png"], &[]);
    assert_eq!(code, 2);
    insta::assert_snapshot!("vial_of_one_photo", one);
}

#[test]
fn a_vial_is_one_line_more_in_json() {
    let dir = week();
    let place = ["--chart", "chart.json", "--white", WHITE, "--vial", VIAL];
    let files = ["week/mon.png", "s5.png", "week/sun.jpg"];
    let ran = run(
        dir.path(),
        &[&["read", "--same-vial", "--json"], &files[..], &place[..]].concat(),
    );
    assert_eq!(ran.code, 1, "{}", ran.err);
    let lines: Vec<serde_json::Value> = ran
        .out
        .lines()
        .map(|l| serde_json::from_str(l).unwrap())
        .collect();
    assert_eq!(lines.len(), 4);
    for (line, file) in lines.iter().zip(files) {
        assert_eq!(line["photo"], file);
        assert!(line.get("photos").is_none());
    }
    let vial = &lines[3];
    assert_eq!(vial["photos"], 3);
    assert_eq!(vial["used"], serde_json::json!(["week/mon.png", "s5.png"]));
    assert!(vial["photo"].is_null() && vial["error"].is_null());
    assert_eq!(
        (&vial["answer"], &vial["unit"]),
        (&"value".into(), &"mg/L".into())
    );
    let number = |line: &serde_json::Value, key: &str| line[key].as_f64().unwrap();
    let (one, other) = (number(&lines[0], "value"), number(&lines[1], "value"));
    let value = number(vial, "value");
    assert!(value < one.max(other) && value > one.min(other), "{vial}");
    assert_eq!(vial["q_freedom"], 1);
    let shares: f64 = vial["budget"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| number(s, "share"))
        .sum();
    assert!((shares - 1.0).abs() < 1e-9);

    // The list of what is a photo's own names reasons that readings have.
    let reasons: Vec<&str> = lines[0]["budget"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s["reason"].as_str().unwrap())
        .collect();
    for own in tintwell::same_vial::OWN {
        assert!(reasons.contains(&own), "{own} is not among {reasons:?}");
    }
}

#[test]
fn a_frame_stands_for_the_regions() {
    let dir = week();
    let by_hand = run(
        dir.path(),
        &[
            "read",
            "--chart",
            "chart.json",
            "--json",
            "--white",
            WHITE,
            "--vial",
            VIAL,
            "--save-frame",
            "stand.json",
            "s5.png",
        ],
    );
    let by_frame = run(
        dir.path(),
        &[
            "read",
            "--chart",
            "chart.json",
            "--json",
            "--frame",
            "stand.json",
            "s5.png",
        ],
    );
    assert_eq!(by_hand.code, 1, "{}", by_hand.err);
    assert_eq!(by_hand.out, by_frame.out);

    // Of a photo of another size the regions are somewhere else.
    let twice = image::open(dir.path().join("s5.png")).unwrap();
    let twice = twice.resize(2 * twice.width(), 2 * twice.height(), FilterType::Nearest);
    twice.save(dir.path().join("twice.png")).unwrap();
    let frame = ["--chart", "chart.json", "--frame", "stand.json"];
    let other = run(dir.path(), &[&["read", "twice.png"], &frame[..]].concat());
    insta::assert_snapshot!("frame_of_another_size", error(other, 3));
}

/// White paper and liquid mistaken for one another: no liquid is so bright, and no number is told.
#[test]
fn a_liquid_brighter_than_paper_has_no_reading() {
    let dir = week();
    let swapped = ["--chart", "chart.json", "--white", VIAL, "--vial", WHITE];
    let ran = run(dir.path(), &[&["read", "s5.png"], &swapped[..]].concat());
    insta::assert_snapshot!("white_and_vial_swapped", error(ran, 3));
}

/// No output takes the place of what is read.
#[test]
fn outputs_spare_what_is_read() {
    let dir = week();
    fs::copy(dir.path().join("s5.png"), dir.path().join("blank.png")).unwrap();
    let place = ["--chart", "chart.json", "--white", WHITE, "--vial", VIAL];
    for (options, kept, input) in [
        (vec!["--save-frame", "s5.png"], "s5.png", "a photo"),
        (
            vec!["--save-frame", "chart.json"],
            "chart.json",
            "the chart",
        ),
        (
            vec!["--blank", "blank.png", "--overlay", "blank.png"],
            "blank.png",
            "the blank's photo",
        ),
    ] {
        let before = fs::read(dir.path().join(kept)).unwrap();
        let ran = run(
            dir.path(),
            &[&["read", "s5.png"], &place[..], &options[..]].concat(),
        );
        assert_eq!(ran.code, 4, "{options:?}: {}", ran.err);
        let says = format!("would take the place of {input}");
        assert!(ran.err.contains(&says), "{options:?}: {}", ran.err);
        assert!(fs::read(dir.path().join(kept)).unwrap() == before, "{kept}");
    }
}

#[test]
fn overlays_are_pictures() {
    let dir = week();
    let place = ["--chart", "chart.json", "--white", WHITE, "--vial", VIAL];
    let ran = run(
        dir.path(),
        &[
            &["read", "s5.png", "week/tue.png", "--overlay", "seen.png"],
            &place[..],
        ]
        .concat(),
    );
    assert_eq!(ran.code, 1, "{}", ran.err);
    for name in ["seen-s5.png", "seen-tue.png"] {
        let seen = image::open(dir.path().join(name)).unwrap().into_rgb8();
        // The photo stands at the top left, unchanged where nothing is drawn.
        assert_eq!(
            seen.get_pixel(180, 200),
            picture([0, 0, 0]).get_pixel(180, 200),
            "{name}"
        );
        assert!(seen.width() > 320);
    }
}

#[test]
fn a_week_is_read_in_order_and_nothing_stops_it() {
    let dir = week();
    let place = ["--chart", "chart.json", "--white", WHITE, "--vial", VIAL];
    let table = run(dir.path(), &[&["batch", "week"], &place[..]].concat());
    assert_eq!(table.code, 3);
    insta::assert_snapshot!("week_table", table.out + &table.err);

    let csv = run(
        dir.path(),
        &[&["batch", "week", "--out", "week.csv"], &place[..]].concat(),
    );
    assert_eq!((csv.code, csv.out.as_str()), (3, ""));
    let text = fs::read_to_string(dir.path().join("week.csv")).unwrap();
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let photos: Vec<&str> = rows.iter().map(|r| r.get(0).unwrap()).collect();
    assert_eq!(
        photos,
        [
            "week/mon.png",
            "week/sun.jpg",
            "week/thu.png",
            "week/tue.png"
        ]
    );
    assert_eq!(rows[1].get(19), Some("the file is empty (0 bytes)"));

    let list = "week/tue.png\nweek/mon.png\r\n\n";
    let ndjson = run_with(
        dir.path(),
        &[&["batch", "-", "--out", "week.ndjson"], &place[..]].concat(),
        list,
    );
    assert_eq!(ndjson.code, 1, "{}", ndjson.err);
    let text = fs::read_to_string(dir.path().join("week.ndjson")).unwrap();
    let photos: Vec<String> = text
        .lines()
        .map(|l| {
            serde_json::from_str::<serde_json::Value>(l).unwrap()["photo"]
                .as_str()
                .unwrap()
                .to_owned()
        })
        .collect();
    assert_eq!(
        photos,
        ["week/tue.png", "week/mon.png"],
        "a list keeps its order"
    );
}

#[test]
fn rules_choose_charts() {
    let dir = week();
    fs::write(
        dir.path().join("charts.json"),
        r#"[{"match": "m*", "chart": "chart.json"}]"#,
    )
    .unwrap();
    let place = ["--white", WHITE, "--vial", VIAL];
    let ran = run(
        dir.path(),
        &[&["batch", "week", "--charts", "charts.json"], &place[..]].concat(),
    );
    assert_eq!(ran.code, 3);
    insta::assert_snapshot!("week_by_rules", ran.out + &ran.err);
    fs::write(
        dir.path().join("charts.json"),
        r#"[{"match": "m*", "table": "chart.json"}]"#,
    )
    .unwrap();
    insta::assert_snapshot!(
        "rules_broken",
        error(
            run(dir.path(), &["batch", "week", "--charts", "charts.json"]),
            4
        )
    );
}

/// Names that are not UTF-8 are read and shown with a mark.
#[cfg(target_os = "linux")]
#[test]
fn names_need_not_be_utf8() {
    use std::os::unix::ffi::OsStrExt;
    let dir = charted();
    let odd = std::ffi::OsStr::from_bytes(b"m\xffn.png");
    fs::copy(dir.path().join("s5.png"), dir.path().join(odd)).unwrap();
    let ran = Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .args([
            "read",
            "--chart",
            "chart.json",
            "--json",
            "--white",
            WHITE,
            "--vial",
            VIAL,
        ])
        .arg(odd)
        .current_dir(dir.path())
        .output()
        .unwrap();
    assert_eq!(ran.status.code(), Some(1));
    assert!(
        String::from_utf8(ran.stdout)
            .unwrap()
            .contains("m\u{fffd}n.png")
    );
}

#[test]
fn a_card_is_drawn() {
    let dir = TempDir::new().unwrap();
    let starts = |name: &str, with: &[u8]| {
        let bytes = fs::read(dir.path().join(name)).unwrap();
        assert!(bytes.starts_with(with), "{name}");
    };
    for (name, with) in [
        ("card.pdf", &b"%PDF"[..]),
        ("card.svg", b"<svg"),
        ("card.png", b"\x89PNG"),
    ] {
        let ran = run(dir.path(), &["card", "--out", name, "--paper", "letter"]);
        assert_eq!((ran.code, ran.out.as_str()), (0, ""), "{}", ran.err);
        starts(name, with);
    }
    let ran = run(
        dir.path(),
        &["card", "--layout", "card.json", "--mono", "--view", "above"],
    );
    assert_eq!(ran.code, 0, "{}", ran.err);
    let json: serde_json::Value =
        serde_json::from_slice(&fs::read(dir.path().join("card.json")).unwrap()).unwrap();
    assert_eq!(json["view"], "above");
    insta::assert_snapshot!(
        "card_without_output",
        error(run(dir.path(), &["card", "--mono"]), 2)
    );
    insta::assert_snapshot!(
        "card_as_document",
        error(run(dir.path(), &["card", "--out", "card.doc"]), 2)
    );
}

#[test]
fn help_names_the_exit_codes() {
    let ran = run(Path::new("."), &["--help"]);
    assert_eq!(ran.code, 0);
    insta::assert_snapshot!("help", ran.out);
}
