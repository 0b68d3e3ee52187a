//! `tintwell serve` as a process, with a logbook of its own.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

use tempfile::TempDir;

use super::driver::Driver;

pub struct Served {
    child: Child,
    /// The address that pairs a device.
    pub pairing: String,
    _folder: TempDir,
}

/// A file of the demo.
pub fn fixture(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/alder-creek");
    folder.join(name).display().to_string()
}

/// The chart with a procedure that has a short timer.
fn with_timer(chart: &str) -> String {
    let mut chart: serde_json::Value = serde_json::from_str(chart).expect("a chart");
    chart["procedure"] = "5 drops of reagent\nshake for 8 s".into();
    chart["read_window"] = serde_json::Value::Null;
    chart.to_string()
}

impl Served {
    pub fn start() -> Served {
        let folder = TempDir::new().expect("a folder");
        let logbook = folder.path().join("book.sqlite");
        let tintwell = || {
            let mut command = Command::new(env!("CARGO_BIN_EXE_tintwell"));
            command
                .env("HOME", folder.path())
                .env("XDG_DATA_HOME", folder.path())
                .stdin(Stdio::null());
            command
        };
        for words in [
            &[
                "log",
                "add",
                "water",
                "tidepool",
                "--volume",
                "900L",
                "--medium",
                "salt",
                "--lives",
                "anemones, hermit crabs",
                "--invertebrates",
            ][..],
            &["log", "import", &fixture("twelve-weeks.csv")][..],
        ] {
            let ran = tintwell()
                .args(words)
                .arg("--logbook")
                .arg(&logbook)
                .output()
                .expect("it runs");
            assert!(
                ran.status.success(),
                "{}",
                String::from_utf8_lossy(&ran.stderr)
            );
        }
        let chart =
            Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration/alder-creek-nitrate.json");
        let timed = folder.path().join("timed.json");
        fs::write(
            &timed,
            with_timer(&fs::read_to_string(&chart).expect("a chart")),
        )
        .expect("it is written");
        let mut child = tintwell()
            .args(["serve", "--port", "0", "--chart"])
            .args([&chart, &timed])
            .arg("--logbook")
            .arg(&logbook)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("serve starts");
        let mut lines = BufReader::new(child.stdout.take().expect("its output")).lines();
        let pairing = lines.next().expect("an address").expect("text");
        // Goes on reading, as a terminal does.
        std::thread::spawn(move || lines.for_each(drop));
        Served {
            child,
            pairing,
            _folder: folder,
        }
    }

    /// An address of the service.
    pub fn at(&self, path: &str) -> String {
        let base = self.pairing.split("/pair").next().unwrap_or_default();
        format!("{base}{path}")
    }

    /// Goes to a water by its name, and gives its address.
    pub fn water(&self, browser: &Driver, name: &str) -> String {
        browser.go(&self.at("/waters"));
        browser.press(name);
        browser.find("#limits");
        browser.url()
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
