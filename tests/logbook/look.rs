//! Looking at a logbook needs no right to write, and leaves it as it is; small things that a command says.

use std::fs;

use tempfile::TempDir;
use tintwell::logbook::{Access, Logbook};

use super::command::{done, run};
use super::{filled, water};

#[test]
fn who_looks_cannot_change() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("a.sqlite");
    drop(filled(&path));
    let before = fs::read(&path).unwrap();
    let mut book = Logbook::open(&path, "a", Access::Read).unwrap();
    assert_eq!(book.waters().unwrap().len(), 2);
    assert!(book.add_water(&water("pond")).is_err());
    drop(book);
    assert_eq!(fs::read(&path).unwrap(), before);
}

#[test]
fn an_empty_file_is_told_and_left_empty() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("empty.file");
    fs::write(&path, "").unwrap();
    let (code, _, err) = run(dir.path(), &["log", "show", "--logbook", "empty.file"]);
    assert_eq!(code, 4);
    assert!(err.contains("this file is empty"), "{err}");
    assert_eq!(fs::read(&path).unwrap().len(), 0);
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
}

/// The user `nobody` where the tests run as one who may do all.
#[cfg(unix)]
#[test]
fn a_logbook_that_may_not_be_written_is_shown() {
    use std::os::unix::fs::{MetadataExt, PermissionsExt};
    use std::os::unix::process::CommandExt;
    use std::process::Command;
    let dir = TempDir::new().unwrap();
    let mode = |path: &std::path::Path, mode| {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    };
    let program = dir.path().join("tintwell");
    fs::copy(env!("CARGO_BIN_EXE_tintwell"), &program).unwrap();
    mode(&program, 0o755);
    let folder = dir.path().join("100 % ?");
    fs::create_dir(&folder).unwrap();
    let path = folder.join("a.sqlite");
    drop(filled(&path));
    assert_eq!(
        fs::read_dir(&folder).unwrap().count(),
        1,
        "all is in the file"
    );
    mode(&path, 0o444);
    mode(&folder, 0o555);
    mode(dir.path(), 0o755);
    let show = || {
        let mut command = Command::new(&program);
        command.args(["log", "show", "--logbook"]).arg(&path);
        if fs::metadata(dir.path()).unwrap().uid() == 0 {
            command.uid(65_534);
        }
        let output = command.current_dir("/").output().unwrap();
        let text = |bytes| String::from_utf8(bytes).unwrap();
        (text(output.stdout), text(output.stderr))
    };
    let (out, err) = show();
    assert!(out.contains("tidepool"), "{out}{err}");
    // Changes beside the file that cannot be taken in: better nothing than an old state.
    mode(&folder, 0o755);
    fs::write(folder.join("a.sqlite-wal"), "changes").unwrap();
    mode(&folder, 0o555);
    let (out, err) = show();
    assert_eq!(out, "", "{err}");
    mode(&folder, 0o755);
}

#[test]
fn small_things_are_said() {
    let dir = TempDir::new().unwrap();
    let log = |args: &[&str]| done(dir.path(), &[&["log"], args].concat());
    log(&["add", "water", "tank"]);
    let (_, err) = log(&[
        "limits", "tank", "NITRATE", "mg/L", "--high", "5", "--low", "1",
    ]);
    assert!(
        err.ends_with("note: no reading of NITRATE in tank is logged yet\n"),
        "{err}"
    );
    log(&[
        "add",
        "reading",
        "tank",
        "temperature",
        "-1.5",
        "°C",
        "--plus-minus",
        "0.5",
    ]);
    let (shown, _) = log(&["show", "tank", "--test", "NO3"]);
    assert_eq!(
        shown,
        "no reading of NO3 is logged; there are readings of temperature\n"
    );
    let (json, _) = log(&["show", "tank", "--json"]);
    let limits: serde_json::Value = serde_json::from_str(json.lines().last().unwrap()).unwrap();
    assert_eq!(
        (&limits["entry"], &limits["low"]),
        (&"limits".into(), &(1.0).into())
    );
    let (_, err) = log(&["event", "tank", "feeding", "--at", "2999-01-01T12:00Z"]);
    assert!(
        err.starts_with("note: 2999-01-01T12:00:00+00:00 is still to come\n"),
        "{err}"
    );
    let (_, err) = log(&["limits", "tank", "Nitrate", "mg/L", "--high", "6"]);
    assert!(
        err.starts_with("Nitrate in tank is not to rise over 6 mg/L"),
        "{err}"
    );
    let (changes, _) = log(&["show", "--changes"]);
    assert!(
        changes.contains("limits of tank: NITRATE between 1 and 5 mg/L -> Nitrate not over 6 mg/L"),
        "{changes}"
    );
}
