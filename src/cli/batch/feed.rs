//! Where the photos of a batch come from: a folder, a folder that is being filled, or a list on standard input.

use std::collections::HashMap;
use std::fs;
use std::io::{self, BufRead, Read};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, sync_channel};
use std::thread::{sleep, spawn};
use std::time::{Duration, SystemTime};

use super::super::files::{named_as_photo, plain, shown};
use super::counted;
use crate::error::{Error, Result};
use crate::face::one::content;
use crate::photo::is_cut_off;

/// Paths as they become known. An error ends them.
pub(super) type Feed = Box<dyn Iterator<Item = Result<PathBuf>> + Send>;

/// The paths of a feed with their numbers, taken from it on a thread of its own: a folder that is watched and a list that somebody
/// types keep their taker waiting, and workers must be able to stop.
pub(super) type Supply = Receiver<(usize, Result<PathBuf>)>;

pub(super) fn supplied(photos: Feed) -> Supply {
    let (give, take) = sync_channel(READY);
    // It ends with the feed, when its paths are taken no more, or with the program.
    spawn(move || {
        for next in photos.enumerate() {
            if give.send(next).is_err() {
                return;
            }
        }
    });
    take
}

/// Paths that wait to be taken: a worker that finds one need not wait for the thread that gives them to have its turn.
const READY: usize = 4;

/// The photos of a folder in the order of their names, and how many other files were passed over.
///
/// # Errors
/// If the folder cannot be read or holds no photo.
pub(super) fn folder(folder: &Path) -> Result<(Vec<PathBuf>, usize)> {
    let (found, skipped) = look_into(folder)?;
    if found.is_empty() {
        return Err(Error::new(
            format!(
                "there is no photo in this folder ({})",
                counted(skipped, "other file")
            ),
            "give a folder with photos: .jpg, .jpeg, .png, .webp, .tif, .tiff, .heic or .heif",
        )
        .about(shown(folder)));
    }
    Ok((found, skipped))
}

fn look_into(folder: &Path) -> Result<(Vec<PathBuf>, usize)> {
    let unreadable = |e: io::Error| {
        Error::new(
            format!("the folder cannot be read: {}", plain(&e)),
            "give a folder that exists and may be read",
        )
        .about(shown(folder))
    };
    let (mut found, mut skipped) = (Vec::new(), 0);
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        let hidden = path
            .file_name()
            .is_some_and(|n| n.as_encoded_bytes().starts_with(b"."));
        if named_as_photo(&path) && !hidden {
            found.push(path);
        } else {
            skipped += 1;
        }
    }
    found.sort();
    Ok((found, skipped))
}

/// How often a watched folder is looked into. A photo that has kept its size and time from one look to the next is given, unless
/// its end is missing.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// How long ago a photo whose end is missing has to have changed to count as cut off: a phone that copies it may pause. What has not
/// changed for so long is given without being looked into.
const PAUSE: Duration = Duration::from_secs(30);

/// The photos of a folder, and without end those that come to it. A photo that changes is given again.
pub(super) fn watched(folder: &Path) -> Feed {
    type State = (u64, Option<SystemTime>);
    let folder = folder.to_owned();
    let mut given: HashMap<PathBuf, State> = HashMap::new();
    let mut growing: HashMap<PathBuf, State> = HashMap::new();
    let mut ready: Vec<PathBuf> = Vec::new();
    let mut looked = false;
    Box::new(std::iter::from_fn(move || {
        loop {
            if let Some(next) = ready.pop() {
                return Some(Ok(next));
            }
            if std::mem::replace(&mut looked, true) {
                sleep(LOOK_EVERY);
            }
            let found = match look_into(&folder) {
                Ok((found, _)) => found,
                Err(e) => return Some(Err(e)),
            };
            let mut now: HashMap<PathBuf, State> = HashMap::new();
            for path in found {
                let state = fs::metadata(&path)
                    .map(|m| (m.len(), m.modified().ok()))
                    .unwrap_or_default();
                if given.get(&path) == Some(&state) {
                    continue;
                }
                if growing.get(&path) == Some(&state) && !is_being_copied(&path, state.1) {
                    given.insert(path.clone(), state);
                    ready.push(path);
                } else {
                    now.insert(path, state);
                }
            }
            growing = now;
            ready.reverse();
        }
    }))
}

/// Whether the end of a photo is missing that was changed so lately that it may still come.
fn is_being_copied(photo: &Path, changed: Option<SystemTime>) -> bool {
    changed.is_some_and(|at| at.elapsed().is_ok_and(|ago| ago < PAUSE))
        && content(photo).is_ok_and(|bytes| is_cut_off(&bytes))
}

/// Longest path of a list, bytes: more than any system takes (4096 on Linux, 32,767 characters on Windows).
const MAX_PATH: u64 = 100_000;

/// Paths on standard input, one a line, as they come.
pub(super) fn listed() -> Feed {
    let mut input = io::BufReader::new(io::stdin());
    let mut ended = false;
    Box::new(std::iter::from_fn(move || {
        loop {
            if ended {
                return None;
            }
            let mut line = Vec::new();
            let read = input.by_ref().take(MAX_PATH).read_until(b'\n', &mut line);
            let wrong = match read {
                Ok(0) => return None,
                Ok(n) if (n as u64) < MAX_PATH => None,
                Ok(_) => Some(format!(
                    "a line of the list of photos has {MAX_PATH} bytes or more, which is no path"
                )),
                Err(e) => Some(format!("the list of photos cannot be read: {}", plain(&e))),
            };
            if let Some(what) = wrong {
                ended = true;
                return Some(Err(Error::new(what, "give one path a line").about("-")));
            }
            let line = line.strip_suffix(b"\n").unwrap_or(&line);
            let line = line.strip_suffix(b"\r").unwrap_or(line);
            if !line.trim_ascii().is_empty() {
                return Some(Ok(path_of(line)));
            }
        }
    }))
}

/// The whole list of standard input.
///
/// # Errors
/// If it cannot be read or is empty.
pub(super) fn whole_list() -> Result<Vec<PathBuf>> {
    let all = listed().collect::<Result<Vec<_>>>()?;
    if all.is_empty() {
        return Err(nothing_listed());
    }
    Ok(all)
}

/// The error for an empty list.
pub(super) fn nothing_listed() -> Error {
    Error::new(
        "the list of photos on standard input is empty",
        "give one path a line",
    )
    .about("-")
}

#[cfg(unix)]
fn path_of(bytes: &[u8]) -> PathBuf {
    use std::os::unix::ffi::OsStrExt;
    std::ffi::OsStr::from_bytes(bytes).into()
}

#[cfg(not(unix))]
fn path_of(bytes: &[u8]) -> PathBuf {
    String::from_utf8_lossy(bytes).into_owned().into()
}
