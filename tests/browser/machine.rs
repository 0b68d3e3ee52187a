//! What the browser tests need of the machine: Chromium with its driver, and, if it can be had, axe-core.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Where pictures and what was fetched are kept between runs.
pub fn folder() -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/browser");
    fs::create_dir_all(&folder).expect("a folder for pictures");
    folder
}

/// Runs a command to its end, or ends it after so many seconds. Whether it went well.
fn finished(command: &mut Command, seconds: u64) -> bool {
    command
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let Ok(mut child) = command.spawn() else {
        return false;
    };
    let end = Instant::now() + Duration::from_secs(seconds);
    loop {
        match child.try_wait() {
            Ok(Some(status)) => return status.success(),
            Ok(None) if Instant::now() < end => std::thread::sleep(Duration::from_millis(100)),
            _ => {
                let _ = child.kill();
                let _ = child.wait();
                return false;
            }
        }
    }
}

/// A program by one of its names, on the path or at a usual place.
fn program(names: &[&str]) -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let usual = [
        "/usr/bin",
        "/usr/lib/chromium",
        "/usr/local/bin",
        "/snap/bin",
    ]
    .map(PathBuf::from);
    let folders: Vec<PathBuf> = std::env::split_paths(&path).chain(usual).collect();
    names
        .iter()
        .flat_map(|name| folders.iter().map(move |folder| folder.join(name)))
        .find(|file| file.is_file())
}

/// Chromium and its driver.
pub struct Browser {
    pub chromium: PathBuf,
    pub driver: PathBuf,
}

fn there() -> Option<Browser> {
    Some(Browser {
        chromium: program(&["chromium", "chromium-browser", "google-chrome"])?,
        driver: program(&["chromedriver", "chromium.chromedriver"])?,
    })
}

#[cfg(unix)]
fn is_root() -> bool {
    use std::os::unix::fs::MetadataExt;
    // Who owns this process owns its folder there.
    fs::metadata("/proc/self").is_ok_and(|m| m.uid() == 0)
}

#[cfg(not(unix))]
fn is_root() -> bool {
    false
}

/// The browser of this machine; where there is none it is installed once, if this may be done here.
pub fn browser() -> Option<Browser> {
    if let Some(browser) = there() {
        return Some(browser);
    }
    let tried = folder().join("tried-to-install");
    let apt = program(&["apt-get"]).filter(|_| is_root() && !tried.exists())?;
    let _ = fs::write(&tried, "");
    let get = |words: &[&str], seconds| {
        let mut command = Command::new(&apt);
        finished(
            command.args(words).env("DEBIAN_FRONTEND", "noninteractive"),
            seconds,
        )
    };
    get(&["update"], 120);
    get(&["install", "-y", "chromium", "chromium-driver"], 400);
    there()
}

/// axe-core's program text, if it is there or npm gets it.
pub fn axe() -> Option<String> {
    let file = folder().join("axe.min.js");
    if !file.exists() {
        let npm = program(&["npm"])?;
        let packed = finished(
            Command::new(npm)
                .args(["pack", "axe-core", "--silent"])
                .current_dir(folder()),
            60,
        );
        let archive = fs::read_dir(folder())
            .ok()?
            .filter_map(|f| f.ok())
            .find(|f| {
                let name = f.file_name().to_string_lossy().into_owned();
                name.starts_with("axe-core-") && name.ends_with(".tgz")
            })?;
        let unpacked = packed
            && finished(
                Command::new("tar")
                    .arg("xzf")
                    .arg(archive.path())
                    .args(["--strip-components=1", "package/axe.min.js"])
                    .current_dir(folder()),
                20,
            );
        if !unpacked {
            return None;
        }
    }
    fs::read_to_string(file).ok()
}
