//! Killed at any moment, cut off at any byte, written by two: nothing acknowledged is lost.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use tempfile::TempDir;
use tintwell::logbook::{Access, Amount, Logbook};

use super::{at, open, reading, water};

/// Where the child of [`killed_five_hundred_times_nothing_acknowledged_is_lost`] writes, and from which number on.
const CHILD: &str = "TINTWELL_TEST_CHILD";

/// Not a test by itself: the process that is killed. Adds readings one after the other, and says the number of each once it
/// is acknowledged.
#[test]
#[ignore = "run by another test as its child"]
fn writes_until_killed() {
    let told = std::env::var(CHILD).expect("started by the other test");
    let (path, from) = told.split_once('|').expect("a path and a number");
    let mut book = open(Path::new(path));
    let mut out = std::io::stdout();
    for i in from.parse::<i64>().expect("a number").. {
        book.add_reading(&reading("tidepool", i, Amount::Below { high: 1.0 }))
            .expect("a reading is added");
        writeln!(out, "acknowledged {i}").expect("the other test reads");
    }
}

fn child(book: &Path, from: i64) -> (Child, BufReader<ChildStdout>) {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args([
            "--ignored",
            "--exact",
            "power::writes_until_killed",
            "--nocapture",
        ])
        .env(CHILD, format!("{}|{from}", book.display()))
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let out = BufReader::new(child.stdout.take().unwrap());
    (child, out)
}

/// The number that a line acknowledges, if it is one and whole.
fn acknowledged(line: &str) -> Option<i64> {
    line.strip_suffix('\n')?
        .split_once("acknowledged ")?
        .1
        .parse()
        .ok()
}

/// Minutes of the readings that are there.
fn there(book: &Logbook) -> Vec<i64> {
    let zero = at(0).seconds();
    let readings = book.readings("tidepool", None).unwrap();
    readings
        .iter()
        .map(|(_, r)| (r.at.seconds() - zero) / 60)
        .collect()
}

#[test]
fn killed_five_hundred_times_nothing_acknowledged_is_lost() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("book.sqlite");
    open(&path).add_water(&water("tidepool")).unwrap();
    let mut random = ChaCha8Rng::seed_from_u64(5);
    let mut from = 0;
    for cycle in 0..500 {
        let (mut child, mut out) = child(&path, from);
        // Killed after a number of readings, and then so many microseconds later: in the middle of whatever it does.
        let enough = from + random.random_range(0..4);
        let mut told = from;
        let mut line = String::new();
        while told < enough && out.read_line(&mut line).unwrap() > 0 {
            told = acknowledged(&line).map_or(told, |i| i + 1);
            line.clear();
        }
        std::thread::sleep(std::time::Duration::from_micros(
            random.random_range(0..3000),
        ));
        child.kill().unwrap();
        child.wait().unwrap();
        while out.read_line(&mut line).unwrap() > 0 {
            told = acknowledged(&line).map_or(told, |i| i + 1);
            line.clear();
        }
        let there = there(&Logbook::open(&path, "book", Access::Read).unwrap());
        let next = there.len() as i64;
        assert_eq!(there, (0..next).collect::<Vec<_>>(), "cycle {cycle}");
        // One may have been written and not yet told.
        assert!(
            (told..=told + 1).contains(&next),
            "cycle {cycle}: {told} told, {next} there"
        );
        from = next;
    }
    assert!(from > 250, "only {from} readings were written");
    let file = rusqlite::Connection::open(&path).unwrap();
    let sound: String = file
        .query_row("PRAGMA integrity_check", [], |row| row.get(0))
        .unwrap();
    assert_eq!(sound, "ok");
}

/// Power fails while the disk writes: of the log of changes only a part arrives, ended anywhere or with wrong bytes from
/// there on. The logbook opens, and holds the first readings, none torn.
#[test]
fn a_log_of_changes_that_arrived_in_part_gives_its_first_readings() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("book.sqlite");
    let mut book = open(&path);
    book.add_water(&water("tidepool")).unwrap();
    for i in 0..12 {
        book.add_reading(&reading("tidepool", i, Amount::Below { high: 1.0 }))
            .unwrap();
    }
    let beside = |end: &str| {
        let mut name = path.clone().into_os_string();
        name.push(end);
        std::path::PathBuf::from(name)
    };
    // Copied while it is open: on closing, the log of changes would be taken into the file.
    let (file, log) = (fs::read(&path).unwrap(), fs::read(beside("-wal")).unwrap());
    drop(book);
    assert!(log.len() > 12 * 4096, "{} bytes of changes", log.len());
    let mut counts = Vec::new();
    for (cut, garbled) in (0..log.len())
        .step_by(997)
        .flat_map(|c| [(c, false), (c, true)])
    {
        let copy = dir.path().join("copy");
        fs::create_dir_all(&copy).unwrap();
        let mut part = log[..cut].to_vec();
        if garbled {
            part.resize(log.len(), 0xa5);
        }
        fs::write(copy.join("book.sqlite"), &file).unwrap();
        fs::write(copy.join("book.sqlite-wal"), &part).unwrap();
        match Logbook::open(&copy.join("book.sqlite"), "copy", Access::Create) {
            Ok(book) if book.waters().unwrap().is_empty() => counts.push(0),
            Ok(book) => {
                let there = there(&book);
                assert_eq!(
                    there,
                    (0..there.len() as i64).collect::<Vec<_>>(),
                    "cut at {cut}"
                );
                counts.push(there.len());
            }
            Err(e) => panic!("cut at {cut}: {e}"),
        }
        fs::remove_dir_all(&copy).unwrap();
    }
    assert!(counts.is_sorted(), "{counts:?}");
    assert_eq!((counts[0], counts[counts.len() - 1]), (0, 11));
}

#[test]
fn readers_go_on_while_one_writes_and_a_second_writer_is_told() {
    let dir = TempDir::new().unwrap();
    let path = dir.path().join("book.sqlite");
    let mut book = open(&path);
    book.add_water(&water("tidepool")).unwrap();
    book.add_reading(&reading("tidepool", 0, Amount::Below { high: 1.0 }))
        .unwrap();
    let other = rusqlite::Connection::open(&path).unwrap();
    other
        .execute_batch("BEGIN IMMEDIATE; DELETE FROM reading;")
        .unwrap();
    assert_eq!(
        there(&Logbook::open(&path, "book", Access::Read).unwrap()),
        [0]
    );
    let e = book
        .add_reading(&reading("tidepool", 1, Amount::Below { high: 1.0 }))
        .unwrap_err();
    assert_eq!(
        e.to_string(),
        "the logbook: another program is writing to this logbook\n  what to do: wait until it is done, and try again"
    );
    drop(other);
    book.add_reading(&reading("tidepool", 1, Amount::Below { high: 1.0 }))
        .unwrap();
    assert_eq!(there(&book), [0, 1]);
}
