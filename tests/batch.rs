//! A batch at length: stopped and gone on with, fed from a pipe, watching a folder. On the photos of the shipped demo; what
//! they read as is tested elsewhere.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
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

/// A batch that reads its list from a pipe, and the pipe.
fn fed(command: &mut Command) -> (Child, ChildStdin) {
    let mut child = command.stdin(Stdio::piped()).spawn().unwrap();
    let to = child.stdin.take().unwrap();
    (child, to)
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

/// However often a batch is repeated, what could not be read is told once, until it is another file.
#[test]
fn what_cannot_be_read_is_told_once() {
    let dir = TempDir::new().unwrap();
    let path = |name: &str| dir.path().join("week").join(name);
    fs::create_dir(dir.path().join("week")).unwrap();
    let whole = fs::read(first_standard()).unwrap();
    fs::write(path("cut.jpg"), &whole[..whole.len() / 2]).unwrap();
    fs::write(path("empty.jpg"), b"").unwrap();
    fs::write(path("text.jpg"), b"no photo").unwrap();
    fs::create_dir(path("folder.jpg")).unwrap();
    #[cfg(unix)]
    std::os::unix::fs::symlink("nowhere", path("gone.jpg")).unwrap();
    let photos = if cfg!(unix) { 5 } else { 4 };
    for out in ["r.csv", "r.ndjson"] {
        fs::write(path("cut.jpg"), &whole[..whole.len() / 2]).unwrap();
        said(&mut batch(dir.path(), "week", out));
        let first = fs::read_to_string(dir.path().join(out)).unwrap();
        assert_eq!(
            first.lines().count(),
            photos + usize::from(out == "r.csv"),
            "{first}"
        );
        let (code, said_then) = said(&mut batch(dir.path(), "week", out));
        assert_eq!(code, 3);
        assert!(
            said_then.contains(&format!("{photos} of them read before")),
            "{said_then}"
        );
        assert_eq!(fs::read_to_string(dir.path().join(out)).unwrap(), first);
        // It arrives in full.
        fs::write(path("cut.jpg"), &whole).unwrap();
        said(&mut batch(dir.path(), "week", out));
        let then = fs::read_to_string(dir.path().join(out)).unwrap();
        let more = then.strip_prefix(&first).expect("nothing lost");
        assert_eq!(more.lines().count(), 1, "{more}");
        assert!(more.contains("cut.jpg"), "{more}");
    }
}

/// Results with other regions are other results.
#[test]
fn other_regions_are_read_anew() {
    let dir = week();
    let with = |white: &str| {
        let mut command = batch(dir.path(), "week", "r.csv");
        command.args(["--white", white, "--vial", "500,500,20,20"]);
        said(&mut command);
        let rows = fs::read_to_string(dir.path().join("r.csv")).unwrap();
        rows.lines().count() - 1
    };
    assert_eq!(with("20,20,100,100"), 7);
    assert_eq!(with("20,20,100,100"), 7);
    assert_eq!(with("20,20,100,101"), 14);
    assert_eq!(with("20,20,100,100"), 14);
}

/// A second batch does not write into the results of one that runs.
#[test]
fn results_have_one_writer() {
    let dir = week();
    let (mut first, to) = fed(&mut batch(dir.path(), "-", "r.csv"));
    let out = dir.path().join("r.csv");
    let start = Instant::now();
    while fs::read_to_string(&out).unwrap_or_default().is_empty() {
        assert!(
            start.elapsed() < Duration::from_secs(60),
            "it did not begin"
        );
        std::thread::sleep(Duration::from_millis(20));
    }
    let before = fs::read(&out).unwrap();
    let (code, text) = said(&mut batch(dir.path(), "week", "r.csv"));
    assert_eq!(code, 4);
    assert!(
        text.contains("r.csv") && text.contains("another batch"),
        "{text}"
    );
    assert_eq!(fs::read(&out).unwrap(), before);
    drop(to);
    first.wait().unwrap();
    // Free again.
    let (code, _) = said(&mut batch(dir.path(), "week", "r.csv"));
    assert_eq!(code, 3);
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
    let (mut child, mut to) = fed(&mut batch(dir.path(), "-", "-"));
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
    let (mut child, mut to) = fed(&mut batch(dir.path(), "-", "many.ndjson"));
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

/// A line without end is no path: it is refused, and what came before it is kept.
#[test]
fn a_line_without_end_is_refused() {
    let dir = week();
    let (child, mut to) = fed(&mut batch(dir.path(), "-", "r.ndjson"));
    writeln!(to, "week/2-tue.jpg").unwrap();
    let endless = vec![b'x'; 1 << 20];
    // It stops listening long before this.
    let heard = (0..1000).take_while(|_| to.write_all(&endless).is_ok());
    assert!(heard.count() < 1000);
    drop(to);
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(4));
    let text = String::from_utf8(output.stderr).unwrap();
    assert!(text.contains("no path"), "{text}");
    let lines = fs::read_to_string(dir.path().join("r.ndjson")).unwrap();
    assert_eq!(lines.lines().count(), 1);
}

/// Nothing reads the other end of the pipe: opening it would wait for ever.
#[cfg(unix)]
#[test]
fn a_pipe_is_no_file_of_results() {
    let dir = week();
    let made = Command::new("mkfifo")
        .arg(dir.path().join("pipe.csv"))
        .status()
        .unwrap();
    assert!(made.success());
    fs::create_dir(dir.path().join("folder.csv")).unwrap();
    for name in ["pipe.csv", "folder.csv"] {
        let (code, text) = said(&mut batch(dir.path(), "week", name));
        assert_eq!(code, 4);
        assert!(
            text.contains(name) && text.contains("cannot be written"),
            "{text}"
        );
    }
}

/// Most memory that a process has held, bytes.
#[cfg(target_os = "linux")]
fn most_memory(pid: u32) -> u64 {
    let status = fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
    let line = status.lines().find(|l| l.starts_with("VmHWM:")).unwrap();
    let kilobytes: u64 = line.split_whitespace().nth(1).unwrap().parse().unwrap();
    1024 * kilobytes
}

/// However many photos have gone by, no more memory is held: all that grows between the tenth and the hundredth photo is less
/// than what two workers may hold at once, two decoded photos each; the first ten may not have seen both at their peak.
#[cfg(target_os = "linux")]
#[test]
fn memory_is_flat() {
    let dir = week();
    let (mut child, mut to) = fed(batch(dir.path(), "-", "-").env("RAYON_NUM_THREADS", "2"));
    let mut from = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut send = |photos: usize| {
        for _ in 0..photos {
            writeln!(to, "week/2-tue.jpg").unwrap();
        }
        to.flush().unwrap();
        for _ in 0..photos {
            from.next().unwrap().unwrap();
        }
        most_memory(child.id())
    };
    let (early, late) = (send(10), send(90));
    let (width, height) = image::image_dimensions(dir.path().join("week/2-tue.jpg")).unwrap();
    let photo = 3 * u64::from(width) * u64::from(height);
    assert!(
        late - early < 4 * photo,
        "{early} bytes after 10 photos, {late} after 100"
    );
    // Two workers, and at most two decoded photos each, beside the program itself.
    assert!(late < 4 * photo + 60_000_000, "{late}");
    killed(child);
}

fn killed(mut child: Child) {
    child.kill().unwrap();
    child.wait().unwrap();
}

/// Who reads the results may leave: the workers do not wait for photos that nobody would take.
#[cfg(unix)]
#[test]
fn a_watching_batch_ends_when_nobody_takes_its_results() {
    let dir = TempDir::new().unwrap();
    fs::create_dir(dir.path().join("synced")).unwrap();
    let copy = |name: &str| {
        let to = dir.path().join("synced").join(name);
        fs::copy(demo("fixtures/alder-creek/week/2-tue.jpg"), to).unwrap();
    };
    copy("a.jpg");
    let mut child = batch(dir.path(), "synced", "-")
        .arg("--watch")
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut first = String::new();
    let mut results = BufReader::new(child.stdout.take().unwrap());
    results.read_line(&mut first).unwrap();
    assert!(first.contains("a.jpg"), "{first}");
    drop(results);
    copy("b.jpg");
    let start = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if start.elapsed() > Duration::from_secs(60) {
            killed(child);
            panic!("it still runs");
        }
        std::thread::sleep(Duration::from_millis(100));
    }
}

/// A photo that is still being written is waited for, also where its copying pauses.
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
        std::thread::sleep(Duration::from_millis(3000));
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
