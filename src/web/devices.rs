//! The devices that were let in, in a small file beside the logbook.
//!
//! Of a device's secret only the SHA-256 is kept: who reads the file cannot pose as a device. The file is read for every request,
//! so that a device dropped on the command line is refused from then on; a lock keeps two writers apart.

use std::fs::File;
use std::path::{Path, PathBuf};

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use subtle::ConstantTimeEq;

use super::pairing::random;
use crate::error::{Error, Result};
use crate::face::files::{self, Output, plain, shown};
use crate::photo::sha256;
use crate::report::text::clean;

/// How long a device stays paired: a year.
pub const STAYS: SignedDuration = SignedDuration::from_hours(365 * 24);
/// Most devices, so that the file stays small.
const MOST: usize = 100;
/// Longest name, characters.
const LONGEST: usize = 40;

/// How a device shows itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// A browser, by its cookie.
    Browser,
    /// A program, by a token.
    Token,
}

/// A device that was let in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Device {
    /// Its name, unique.
    pub name: String,
    pub kind: Kind,
    /// When it was let in.
    pub since: Timestamp,
    token_sha256: String,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Stored {
    format: String,
    version: u32,
    devices: Vec<Device>,
}

const FORMAT: &str = "tintwell-devices";
const VERSION: u32 = 1;

/// The file of devices.
#[derive(Debug, Clone)]
pub struct Devices {
    path: PathBuf,
}

impl Devices {
    /// Beside a logbook: `logbook-devices.json`.
    pub fn beside(logbook: &Path) -> Devices {
        let mut name = logbook.file_stem().unwrap_or_default().to_owned();
        name.push("-devices.json");
        Devices {
            path: logbook.with_file_name(name),
        }
    }

    /// All devices; none if there is no file.
    ///
    /// # Errors
    /// If the file cannot be read or is none of devices.
    pub fn all(&self) -> Result<Vec<Device>> {
        if !self.path.exists() {
            return Ok(Vec::new());
        }
        let wrong = |what: String| {
            Error::new(what, "delete the file and pair the devices anew").about(shown(&self.path))
        };
        let stored: Stored = serde_json::from_str(&files::text(&self.path)?)
            .map_err(|e| wrong(format!("this is not the file of paired devices: {e}")))?;
        if stored.format != FORMAT || stored.version != VERSION {
            return Err(wrong(format!(
                "this is \"{}\" version {}, wanted is \"{FORMAT}\" version {VERSION}",
                clean(&stored.format),
                stored.version
            )));
        }
        Ok(stored.devices)
    }

    /// Lets a device in and gives its secret: 256 random bits.
    ///
    /// # Errors
    /// If the name is none or taken, there are too many, or the file cannot be written.
    pub fn add(&self, name: &str, kind: Kind, now: Timestamp) -> Result<String> {
        let name = name.trim();
        if name.is_empty() || name.chars().count() > LONGEST || name.chars().any(char::is_control) {
            return Err(Error::new(
                format!("a device has a name of 1 to {LONGEST} letters"),
                "give it another name",
            ));
        }
        let token = random::<32>()?.map(|b| format!("{b:02x}")).concat();
        self.change(|devices| {
            if devices.iter().any(|d| d.name == name) {
                return Err(Error::new(
                    format!("there is a device of the name {name} already"),
                    "give it another name, or drop that one first",
                ));
            }
            if devices.len() >= MOST {
                return Err(Error::new(
                    format!("there are {MOST} devices already"),
                    "drop those that are not used any more",
                ));
            }
            devices.push(Device {
                name: name.to_owned(),
                kind,
                since: now,
                token_sha256: sha256(token.as_bytes()),
            });
            Ok(())
        })?;
        Ok(token)
    }

    /// Refuses a device from now on.
    ///
    /// # Errors
    /// If there is none of this name, or the file cannot be written.
    pub fn drop(&self, name: &str) -> Result<()> {
        self.change(|devices| {
            let before = devices.len();
            devices.retain(|d| d.name != name);
            if devices.len() == before {
                return Err(Error::new(
                    format!("there is no device of the name {}", clean(name)),
                    "see the names with `tintwell serve --devices`",
                ));
            }
            Ok(())
        })
    }

    /// The device that a secret belongs to.
    ///
    /// # Errors
    /// As [`Devices::all`].
    pub fn find(&self, token: &str, kind: Kind, now: Timestamp) -> Result<Option<Device>> {
        let told = sha256(token.as_bytes());
        Ok(self.all()?.into_iter().find(|d| {
            let same = bool::from(d.token_sha256.as_bytes().ct_eq(told.as_bytes()));
            let stays = d.kind == Kind::Token || now.duration_since(d.since) < STAYS;
            same && d.kind == kind && stays
        }))
    }

    fn change(&self, work: impl FnOnce(&mut Vec<Device>) -> Result<()>) -> Result<()> {
        // The file itself is replaced by each change, so that the lock is another one; it ends with its handle.
        let path = self.path.with_extension("lock");
        let lock = File::create(&path).and_then(|f| f.lock().map(|()| f));
        let _lock = lock.map_err(|e| {
            Error::new(
                format!("the file cannot be written: {}", plain(&e)),
                "check that its folder exists and takes files",
            )
            .about(shown(&path))
        })?;
        let mut devices = self.all()?;
        work(&mut devices)?;
        let stored = Stored {
            format: FORMAT.into(),
            version: VERSION,
            devices,
        };
        // Strings and times cannot fail to serialise.
        let json = serde_json::to_string_pretty(&stored).unwrap_or_default() + "\n";
        Output::new(&self.path)?.write(json.as_bytes())
    }
}
