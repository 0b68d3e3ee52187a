//! A batch at length: stopped and gone on with, fed from a pipe, watching a folder. On the photos of the shipped demo; what
//! they read as is tested elsewhere.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use tempfile::TempDir;

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn batch(dir: &Path, source: &str, out: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tintwell"));
    command
        .current_dir(dir)
        .args(["batch", source, "--out", out, "--chart"])
        .arg(demo("calibration/alder-creek-nitrate.json"))
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// A folder `week` with the photos of the demo week.
fn week() -> TempDir {
    let dir = TempDir::new().unwrap();
    fs::create_dir(dir.path().join("week")).unwrap();
    for photo in fs::read_dir(demo("fixtures/alder-creek/week")).unwrap() {
        let photo = photo.unwrap().path();
        fs::copy(
            &photo,
            dir.path().join("week").join(photo.file_name().unwrap()),
        )
        .unwrap();
    }
    dir
}

fn said(command: &mut Command) -> (i32, String) {
    let output = command.output().unwrap();
    let text = String::from_utf8(output.stderr).unwrap();
    (output.status.code().unwrap(), text)
}

/// Killed at any moment, the results hold whole lines only, and the same command brings them to what an undisturbed batch
/// writes.
#[test]
fn a_killed_batch_is_gone_on_with() {
    let dir = week();
    let (code, _) = said(&mut batch(dir.path(), "week", "whole.csv"));
    assert_eq!(code, 3, "one photo of the week cannot be read");
    let whole = fs::read_to_string(dir.path().join("whole.csv")).unwrap();
    assert_eq!(whole.lines().count(), 8);
    let out = dir.path().join("parts.csv");
    for round in 0u64..6 {
        let mut child = batch(dir.path(), "week", "parts.csv").spawn().unwrap();
        std::thread::sleep(Duration::from_millis(90 * round));
        child.kill().unwrap();
        child.wait().unwrap();
        let so_far = fs::read_to_string(&out).unwrap_or_default();
        assert!(whole.starts_with(&so_far), "{so_far}");
    }
    let (code, _) = said(&mut batch(dir.path(), "week", "parts.csv"));
    assert_eq!(code, 3);
    assert_eq!(fs::read_to_string(&out).unwrap(), whole);
}

/// What a stop tore is cut off; what was read is not read again; a photo that is new comes last.
#[test]
fn results_are_gone_on_with() {
    let dir = week();
    for out in ["r.csv", "r.ndjson"] {
        let new = dir.path().join("week/9-new.jpg");
        let _ = fs::remove_file(&new);
        said(&mut batch(dir.path(), "week", out));
        let path = dir.path().join(out);
        let whole = fs::read(&path).unwrap();
        // In the middle of the last line.
        fs::write(&path, &whole[..whole.len() - 40]).unwrap();
        let (_, said_then) = said(&mut batch(dir.path(), "week", out));
        assert!(said_then.contains("6 of them read before"), "{said_then}");
        assert_eq!(fs::read(&path).unwrap(), whole, "{out}");

        fs::copy(first_standard(), &new).unwrap();
        let (_, said_then) = said(&mut batch(dir.path(), "week", out));
        assert!(
            said_then.contains("8 photos") && said_then.contains("7 of them"),
            "{said_then}"
        );
        let more = fs::read(&path).unwrap();
        assert!(more.starts_with(&whole) && more.len() > whole.len());
    }
}

fn first_standard() -> PathBuf {
    let folder = fs::read_dir(demo("fixtures/alder-creek/standards")).unwrap();
    folder.map(|f| f.unwrap().path()).min().unwrap()
}

/// Only results of this program are gone on with.
#[test]
fn a_file_of_something_else_is_left_alone() {
    let dir = week();
    for (name, content) in [
        ("diary.csv", "day,mood\n1,good\n"),
        ("diary.ndjson", "{\"day\": 1}\n"),
    ] {
        let path = dir.path().join(name);
        fs::write(&path, content).unwrap();
        let (code, said) = said(&mut batch(dir.path(), "week", name));
        assert_eq!(code, 4);
        assert!(
            said.contains(name) && said.contains("another name"),
            "{said}"
        );
        assert_eq!(fs::read_to_string(&path).unwrap(), content);
    }
}

/// Paths go in and results come out one by one, so that a pipe can be spread over machines.
#[test]
fn a_pipe_is_read_as_it_comes() {
    let dir = week();
    let mut child = batch(dir.path(), "-", "-")
        .stdin(Stdio::piped())
        .spawn()
        .unwrap();
    let mut to = child.stdin.take().unwrap();
    let mut from = BufReader::new(child.stdout.take().unwrap()).lines();
    for name in ["week/2-tue.jpg", "week/nothing.jpg", "week/1-mon.jpg"] {
        writeln!(to, "{name}").unwrap();
        to.flush().unwrap();
        // The list has not ended yet: this would wait for ever if all of it were read first.
        let line: serde_json::Value = serde_json::from_str(&from.next().unwrap().unwrap()).unwrap();
        assert_eq!(line["photo"], name);
        assert_eq!(line["error"].is_null(), name != "week/nothing.jpg");
    }
    drop(to);
    assert!(from.next().is_none());
    assert_eq!(child.wait().unwrap().code(), Some(3));
}

/// Ten thousand names that lead nowhere: every one is answered, in order.
#[test]
fn a_long_list_is_answered_in_order() {
    let dir = TempDir::new().unwrap();
    let mut child = batch(dir.path(), "-", "many.ndjson")
        .stdin(Stdio::piped())
        .spawn()
        .unwrap();
    let mut to = child.stdin.take().unwrap();
    for i in 0..10_000 {
        writeln!(to, "{i}.jpg").unwrap();
    }
    drop(to);
    assert_eq!(child.wait().unwrap().code(), Some(3));
    let lines = fs::read_to_string(dir.path().join("many.ndjson")).unwrap();
    assert_eq!(lines.lines().count(), 10_000);
    for (i, line) in lines.lines().enumerate() {
        assert!(
            line.starts_with(&format!("{{\"photo\":\"{i}.jpg\",")),
            "{line}"
        );
    }
}

fn killed(mut child: Child) {
    child.kill().unwrap();
    child.wait().unwrap();
}

/// A photo that is still being written is waited for.
#[test]
fn a_watched_folder_is_read_as_it_fills() {
    let dir = TempDir::new().unwrap();
    fs::create_dir(dir.path().join("synced")).unwrap();
    let photo = fs::read(demo("fixtures/alder-creek/week/2-tue.jpg")).unwrap();
    let child = batch(dir.path(), "synced", "all.ndjson")
        .arg("--watch")
        .spawn()
        .unwrap();
    let mut growing = fs::File::create(dir.path().join("synced/a.jpg")).unwrap();
    for part in photo.chunks(photo.len() / 4 + 1) {
        growing.write_all(part).unwrap();
        growing.sync_all().unwrap();
        std::thread::sleep(Duration::from_millis(600));
    }
    let out = dir.path().join("all.ndjson");
    let start = Instant::now();
    let line = loop {
        let text = fs::read_to_string(&out).unwrap_or_default();
        if text.ends_with('\n') {
            break text;
        }
        assert!(start.elapsed() < Duration::from_secs(60), "no result came");
        std::thread::sleep(Duration::from_millis(100));
    };
    killed(child);
    let line: serde_json::Value = serde_json::from_str(&line).expect("one line");
    assert_eq!(
        line["photo"],
        Path::new("synced").join("a.jpg").to_str().unwrap()
    );
    assert!(line["error"].is_null(), "{line}");
}
