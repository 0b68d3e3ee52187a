//! `tintwell log`, `read --log` and `batch --log` as their user sees them, on the photos of the demo week.

use std::path::{Path, PathBuf};
use std::process::Command;

use tempfile::TempDir;
use tintwell::logbook::Jpeg;

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// Exit code, standard output, standard error of a command in `dir`, in a time zone of its own.
/// What is said of a read window without `--started`.
const UNCHECKED: &str = "whether the photo was taken 5 to 10 minutes after the last reagent is not checked: say with --started when that was\n";

/// Runs the command; of the read window that the demo's chart has nothing is kept, see [`a_read_window_that_is_not_checked_is_said`].
pub(super) fn run(dir: &Path, args: &[&str]) -> (i32, String, String) {
    let (code, out, err) = raw(dir, args);
    (code, out, err.replace(UNCHECKED, ""))
}

fn raw(dir: &Path, args: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_tintwell"))
        .args(args)
        .current_dir(dir)
        .env("TZ", "America/Los_Angeles")
        .env("XDG_DATA_HOME", dir.join("data"))
        .env("HOME", dir)
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (
        output.status.code().unwrap(),
        text(output.stdout),
        text(output.stderr),
    )
}

pub(super) fn done(dir: &Path, args: &[&str]) -> (String, String) {
    let (code, out, err) = run(dir, args);
    assert_eq!(code, 0, "{args:?}: {err}");
    (out, err)
}

#[test]
fn a_read_window_that_is_not_checked_is_said() {
    let dir = TempDir::new().unwrap();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let chart = root.join("calibration/alder-creek-nitrate.json");
    let photo = root.join("fixtures/alder-creek/week/1-mon.jpg");
    let read = [
        "read",
        "--chart",
        chart.to_str().unwrap(),
        photo.to_str().unwrap(),
    ];
    assert_eq!(raw(dir.path(), &read).2, UNCHECKED);
    let started = [&read[..], &["--started", "2026-02-23T08:58"]].concat();
    assert_eq!(raw(dir.path(), &started).2, "");
}

/// A folder with a logbook of two waters, and a link to the demo week.
fn kept() -> TempDir {
    let dir = TempDir::new().unwrap();
    done(
        dir.path(),
        &[
            "log",
            "add",
            "water",
            "tidepool",
            "--volume",
            "900L",
            "--medium",
            "salt",
            "--invertebrates",
        ],
    );
    done(dir.path(), &["log", "add", "water", "quarantine tank"]);
    dir
}

fn chart() -> String {
    demo("calibration/alder-creek-nitrate.json")
        .display()
        .to_string()
}

fn photo(name: &str) -> String {
    demo("fixtures/alder-creek/week")
        .join(name)
        .display()
        .to_string()
}

fn rows(dir: &Path, water: &str) -> Vec<serde_json::Value> {
    let (out, _) = done(dir, &["log", "show", water, "--json"]);
    out.lines()
        .map(|l| serde_json::from_str(l).unwrap())
        .collect()
}

#[test]
fn a_reading_is_logged_once_with_all_that_is_known_of_it() {
    let dir = kept();
    let args = |at: &'static str| {
        let mut args = vec![
            "read".to_owned(),
            "--json".into(),
            "--chart".into(),
            chart(),
        ];
        args.extend([
            "--log".into(),
            "TIDEPOOL".into(),
            "--note".into(),
            "before feeding".into(),
        ]);
        args.extend(
            ["--at".to_owned(), at.to_owned()]
                .into_iter()
                .filter(|_| !at.is_empty()),
        );
        args.push(photo("1-mon.jpg"));
        args
    };
    let read = |at| {
        let args = args(at);
        done(
            dir.path(),
            &args.iter().map(String::as_str).collect::<Vec<_>>(),
        )
    };
    let (out, err) = read("");
    assert_eq!(err, "logged for tidepool as r1\n");
    let said: serde_json::Value = serde_json::from_str(&out).unwrap();
    let rows = rows(dir.path(), "tidepool");
    let row = &rows[0];
    for same in [
        "value",
        "low",
        "high",
        "test",
        "unit",
        "sha256",
        "chart_sha256",
        "verdict",
        "photo",
        "dilution_factor",
    ] {
        // Six digits are told, all are kept.
        match (said[same].as_f64(), row[same].as_f64()) {
            (Some(a), Some(b)) => assert!((a - b).abs() <= 1e-5 * b.abs(), "{same}"),
            _ => assert_eq!(row[same], said[same], "{same}"),
        }
    }
    assert_eq!(row["at"], said["taken_at"]);
    assert_eq!(
        (&row["source"], &row["note"]),
        (&"photo".into(), &"before feeding".into())
    );
    let (_, err) = read("2026-01-01");
    assert!(
        err.starts_with("logged for tidepool before, as r1"),
        "{err}"
    );
    assert_eq!(self::rows(dir.path(), "tidepool").len(), 1);
    done(dir.path(), &["log", "remove", "r1"]);
    let (_, err) = read("2026-01-01");
    assert_eq!(err, "logged for tidepool as r2\n");
    assert_eq!(
        self::rows(dir.path(), "tidepool")[0]["at"],
        "2026-01-01T12:00:00-08:00"
    );
    done(dir.path(), &["log", "export", "all.json"]);
    let all = std::fs::read_to_string(dir.path().join("all.json")).unwrap();
    let all: serde_json::Value = serde_json::from_str(&all).unwrap();
    assert_eq!(all["readings"][0]["record"]["lab"], said["lab"]);
    assert_eq!(all["readings"][0]["record"]["flags"], said["flags"]);
    let picture: Jpeg = serde_json::from_value(all["readings"][0]["picture"].clone()).unwrap();
    let picture = image::load_from_memory(&picture.0).unwrap();
    assert_eq!(picture.width().max(picture.height()), 480);
}

#[test]
fn photos_of_one_vial_are_one_reading() {
    let dir = kept();
    let (chart, a, b) = (chart(), photo("1-mon.jpg"), photo("2-tue.jpg"));
    let vial = |a: &str, b: &str| {
        let (_, _, err) = run(
            dir.path(),
            &[
                "read",
                "--chart",
                &chart,
                "--same-vial",
                "--log",
                "tidepool",
                a,
                b,
            ],
        );
        err
    };
    let one = |a: &str| {
        run(
            dir.path(),
            &["read", "--chart", &chart, "--log", "tidepool", a],
        )
        .2
    };
    assert_eq!(vial(&a, &b), "logged for tidepool as r1\n");
    assert!(vial(&b, &a).starts_with("logged for tidepool before, as r1"));
    let rows = || rows(dir.path(), "tidepool");
    assert_eq!(rows().len(), 1);
    assert_eq!(rows()[0]["at"], "2026-02-23T09:05:12-08:00");
    // One of its photos alone adds nothing; more of them stand for it, as they do for one alone.
    assert!(one(&a).starts_with("logged for tidepool before, as r1"));
    assert_eq!(done(dir.path(), &["log", "remove", "r1"]).0, "");
    assert_eq!(one(&a), "logged for tidepool as r2\n");
    assert_eq!(
        vial(&a, &b),
        "logged for tidepool as r3, in place of r2 of the same vial\n"
    );
    assert_eq!(rows().len(), 1);
}

#[test]
fn a_batch_logs_what_can_be_read_and_goes_on_where_it_was() {
    let dir = kept();
    let week = demo("fixtures/alder-creek/week").display().to_string();
    let chart = chart();
    let batch = |more: &[&str]| {
        let args = [
            &["batch", &week, "--chart", &chart, "--out", "all.csv"],
            more,
        ]
        .concat();
        let (code, _, err) = run(dir.path(), &args);
        assert_eq!(code, 3, "{err}");
        err
    };
    batch(&[]);
    let results = std::fs::read(dir.path().join("all.csv")).unwrap();
    // Read before, and still to be logged.
    let err = batch(&["--log", "tidepool"]);
    assert!(err.ends_with("logged for tidepool: 6 new\n"), "{err}");
    assert!(err.contains("7 of them read before"), "{err}");
    assert_eq!(std::fs::read(dir.path().join("all.csv")).unwrap(), results);
    assert_eq!(rows(dir.path(), "tidepool").len(), 6);
    let err = batch(&["--log", "tidepool"]);
    assert!(err.ends_with("logged for tidepool: 0 new\n"), "{err}");
    std::fs::remove_file(dir.path().join("all.csv")).unwrap();
    let err = batch(&["--log", "tidepool"]);
    assert!(
        err.ends_with(
            "logged for tidepool: 0 new, 6 logged before, 1 without a reading, not logged\n"
        ),
        "{err}"
    );
    assert_eq!(rows(dir.path(), "tidepool").len(), 6);
    // What somebody took out of the log, or moved to another water, does not come back with the folder.
    for args in [
        &["log", "add", "water", "pond", "--medium", "fresh"][..],
        &["log", "remove", "r1"],
        &["log", "edit", "r2", "--water", "pond"],
    ] {
        assert_eq!(run(dir.path(), args).0, 0, "{args:?}");
    }
    let err = batch(&["--log", "tidepool"]);
    assert!(err.ends_with("logged for tidepool: 0 new\n"), "{err}");
    std::fs::remove_file(dir.path().join("all.csv")).unwrap();
    let err = batch(&["--log", "tidepool"]);
    assert!(
        err.ends_with(
            "logged for tidepool: 0 new, 4 logged before, 1 without a reading, not logged, 2 removed or moved before, not logged again\n"
        ),
        "{err}"
    );
    assert_eq!(rows(dir.path(), "tidepool").len(), 4);
}

/// Standards of sea water say little of fresh water.
#[test]
fn a_chart_of_another_kind_of_water_is_doubted() {
    let dir = kept();
    let chart = chart();
    let photo = demo("fixtures/alder-creek/week/1-mon.jpg")
        .display()
        .to_string();
    let add = ["log", "add", "water", "pond", "--medium", "fresh"];
    assert_eq!(run(dir.path(), &add).0, 0);
    let read = |water| {
        let args = ["read", "--chart", &chart, "--log", water, "--json", &photo];
        let (code, out, err) = run(dir.path(), &args);
        assert!(err.contains("logged for"), "{err}");
        (code, out.contains("\"other-water\""))
    };
    assert_eq!(read("tidepool"), (0, false));
    assert_eq!(read("pond"), (1, true));
}

/// A photo without a time is read, but not logged by a guess.
#[test]
fn a_time_is_never_guessed() {
    let dir = kept();
    let bare = dir.path().join("bare.jpg");
    let mut jpeg = std::fs::read(photo("1-mon.jpg")).unwrap();
    // The segment of EXIF (APP1) goes; ISO/IEC 10918-1, B.1.1.4: its length stands in two bytes.
    let exif = jpeg.windows(2).position(|m| m == [0xff, 0xe1]).unwrap();
    let length = usize::from(u16::from_be_bytes([jpeg[exif + 2], jpeg[exif + 3]]));
    jpeg.drain(exif..exif + 2 + length);
    std::fs::write(&bare, jpeg).unwrap();
    let chart = chart();
    let read = |more: &[&str]| {
        run(
            dir.path(),
            &[
                &["read", "--chart", &chart, "--log", "tidepool", "bare.jpg"],
                more,
            ]
            .concat(),
        )
    };
    let (code, out, err) = read(&[]);
    assert_eq!(code, 4, "{err}");
    assert!(
        out.contains("mg/L"),
        "the reading is shown all the same: {out}"
    );
    assert_eq!(
        err,
        "error: bare.jpg is not logged: the photo does not tell when it was taken\n  \
         what to do: read it by itself with --log and --at TIME\n"
    );
    assert!(rows(dir.path(), "tidepool").is_empty());
    let (code, _, err) = read(&["--at", "2026-03-01T09:00"]);
    assert_eq!((code, err.as_str()), (0, "logged for tidepool as r1\n"));
}

#[test]
fn equipment_that_met_copper_is_not_put_to_invertebrates_unawares() {
    let dir = kept();
    let log = |args: &[&str]| done(dir.path(), &[&["log"], args].concat());
    log(&["add", "equipment", "sponge filter"]);
    log(&["add", "equipment", "net"]);
    let q = "quarantine tank";
    log(&[
        "event",
        q,
        "equipment-in",
        "--equipment",
        "Sponge Filter",
        "--at",
        "2026-02-01",
    ]);
    log(&[
        "event",
        q,
        "dose",
        "--substance",
        "Copper sulfate",
        "--at",
        "2026-02-03",
    ]);
    log(&[
        "event",
        q,
        "equipment-out",
        "--equipment",
        "sponge filter",
        "--at",
        "2026-03-01",
    ]);
    // The net came after, and copper may still be there.
    log(&[
        "event",
        q,
        "equipment-in",
        "--equipment",
        "net",
        "--at",
        "2026-03-02",
    ]);
    log(&[
        "event",
        q,
        "equipment-out",
        "--equipment",
        "net",
        "--at",
        "2026-03-02",
    ]);
    let events = || rows(dir.path(), "tidepool").len();
    for thing in ["sponge filter", "net"] {
        let args = [
            "log",
            "event",
            "tidepool",
            "equipment-in",
            "--equipment",
            thing,
        ];
        let (code, _, err) = run(dir.path(), &args);
        assert_eq!(code, 4);
        assert!(err.contains("Copper sulfate (2026-02-03"), "{err}");
        assert_eq!(events(), 0);
    }
    let (code, _, err) = run(
        dir.path(),
        &["log", "event", "tidepool", "dose", "--substance", "CuSO4"],
    );
    assert_eq!((code, events()), (4, 0), "{err}");
    let (_, err) = log(&[
        "event",
        "tidepool",
        "equipment-in",
        "--equipment",
        "net",
        "--anyway",
    ]);
    assert!(err.starts_with("warning: \"net\" was in"), "{err}");
    let (shown, _) = log(&["show"]);
    assert!(
        shown.contains("in quarantine tank from 2026-02-01 to 2026-03-01\n"),
        "{shown}"
    );
    // What never met a medicine, and a water without invertebrates, raise nothing.
    log(&["add", "equipment", "new pump"]);
    let (_, err) = log(&[
        "event",
        "tidepool",
        "equipment-in",
        "--equipment",
        "new pump",
    ]);
    assert!(!err.contains("warning"), "{err}");
    let (_, err) = log(&["event", q, "equipment-in", "--equipment", "sponge filter"]);
    assert!(!err.contains("warning"), "{err}");
}

#[test]
fn errors_say_what_to_do() {
    let dir = kept();
    let chart = chart();
    let photo = photo("1-mon.jpg");
    let all: String = [
        &["log", "show", "pond"][..],
        &["log", "add", "water", "Tidepool"],
        &["log", "add", "water", " "],
        &["log", "add", "reading", "tidepool", "nitrate", "20", "mg/L"],
        &[
            "log",
            "add",
            "reading",
            "tidepool",
            "nitrate",
            "20",
            "mg/L",
            "--plus-minus",
            "0",
        ],
        &["log", "event", "tidepool", "water-change"],
        &[
            "log",
            "event",
            "tidepool",
            "water-change",
            "--percent",
            "120",
        ],
        &[
            "log",
            "event",
            "tidepool",
            "equipment-in",
            "--equipment",
            "pump",
        ],
        &["log", "event", "tidepool", "feeding", "--at", "soon"],
        &[
            "log", "limits", "tidepool", "nitrate", "mg/L", "--low", "9", "--high", "3",
        ],
        &["log", "remove", "r77"],
        &["log", "remove", "x7"],
        &["log", "edit", "w1"],
        &["log", "export", "book.xls"],
        &["log", "import", "missing.csv"],
        &["log", "show", "--logbook", "elsewhere.sqlite"],
        &["read", "--chart", &chart, "--log", "pond", &photo],
        &["read", "--chart", &chart, "--logbook", "b.sqlite", &photo],
        &["read", "--chart", &chart, "--note", "x", &photo],
        &[
            "read",
            "--chart",
            &chart,
            "--log",
            "tidepool",
            "--at",
            "2026-01-01",
            &photo,
            &photo,
        ],
    ]
    .iter()
    .map(|args| {
        let (code, out, err) = run(dir.path(), args);
        assert_eq!(out, "");
        let shown: Vec<&str> = args.iter().map(|a| a.rsplit('/').next().unwrap()).collect();
        let first: String = err.lines().take(3).map(|l| format!("  {l}\n")).collect();
        let first = first.replace(&dir.path().display().to_string(), "FOLDER");
        format!("{} -> {code}\n{first}", shown.join(" "))
    })
    .collect();
    insta::assert_snapshot!(all);
}
