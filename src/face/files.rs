//! Files: read with limits that hold before anything is loaded, written so that a failure loses nothing.

use std::ffi::OsStr;
use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use crate::chart::{self, Chart};
use crate::error::{Error, Result};
use crate::photo::{self, Limits, Photo};
use crate::report::text::clean;

/// Largest chart, frame or rule file, bytes: a chart of 200 steps and 500 patches is under half a megabyte.
const MAX_TEXT: u64 = 4_000_000;

/// A path fit for showing.
pub(crate) fn shown(path: &Path) -> String {
    clean(&path.to_string_lossy())
}

/// The bytes of a regular file of at most `max` bytes. Its length is looked at before it is opened, so that neither a
/// huge file is loaded nor a pipe waited for.
pub(crate) fn bytes(path: &Path, max: u64) -> Result<Vec<u8>> {
    let about = |e: Error| e.about(shown(path));
    let unreadable = |e: std::io::Error| {
        let fix = match e.kind() {
            std::io::ErrorKind::NotFound => "check the name and the folder",
            _ => "check that it may be read",
        };
        about(Error::new(
            format!("the file cannot be read: {}", plain(&e)),
            fix,
        ))
    };
    let meta = fs::metadata(path).map_err(unreadable)?;
    if !meta.is_file() {
        let what = if meta.is_dir() {
            "this is a folder, not a file"
        } else {
            "this is not a regular file"
        };
        return Err(about(Error::new(what, "give the name of a file")));
    }
    let too_large = |n: u64| {
        about(Error::new(
            format!("the file has {n} bytes, allowed are {max}"),
            "check that it is the right file",
        ))
    };
    if meta.len() > max {
        return Err(too_large(meta.len()));
    }
    let mut bytes = Vec::new();
    // One byte more than allowed tells a file that has grown meanwhile.
    File::open(path)
        .and_then(|f| f.take(max + 1).read_to_end(&mut bytes))
        .map_err(unreadable)?;
    if bytes.len() as u64 > max {
        return Err(too_large(bytes.len() as u64));
    }
    Ok(bytes)
}

/// An operating system's message without its code number, which differs between systems.
pub(crate) fn plain(e: &std::io::Error) -> String {
    let text = e.to_string();
    text.split(" (os error")
        .next()
        .unwrap_or(&text)
        .to_lowercase()
}

/// A text file of at most a few megabytes.
pub(crate) fn text(path: &Path) -> Result<String> {
    String::from_utf8(bytes(path, MAX_TEXT)?).map_err(|_| {
        Error::new(
            "the file is not text (UTF-8)",
            "check that it is the right file",
        )
        .about(shown(path))
    })
}

/// A decoded photo.
pub(crate) fn load_photo(path: &Path) -> Result<Photo> {
    let limits = Limits::default();
    let bytes = bytes(path, limits.max_bytes)?;
    photo::decode(&bytes, &limits).map_err(|e| e.about(shown(path)))
}

/// A chart.
pub(crate) fn load_chart(path: &Path) -> Result<Chart> {
    chart::file::parse(&text(path)?).map_err(|e| e.about(shown(path)))
}

/// The extension in lower case.
pub(crate) fn extension(path: &Path) -> String {
    path.extension()
        .map(|e| e.to_string_lossy().to_lowercase())
        .unwrap_or_default()
}

/// Whether a file name has the extension of a photo format that is read here, or that a phone saves: where HEIC is not built in,
/// each such photo is told rather than passed over.
pub(crate) fn named_as_photo(path: &Path) -> bool {
    [
        "jpg", "jpeg", "jpe", "jfif", "png", "webp", "tif", "tiff", "heic", "heif",
    ]
    .contains(&extension(path).as_str())
}

/// Whether both names lead to the same existing file.
pub(crate) fn same(a: &Path, b: &Path) -> bool {
    matches!((fs::canonicalize(a), fs::canonicalize(b)), (Ok(a), Ok(b)) if a == b)
}

/// Checks that an output takes the place of nothing that is read; each input with what it is.
///
/// # Errors
/// If it does.
pub(crate) fn spares<'a>(
    what: &str,
    target: &Path,
    inputs: impl IntoIterator<Item = (&'a Path, &'static str)>,
) -> Result<()> {
    match inputs.into_iter().find(|(path, _)| same(path, target)) {
        None => Ok(()),
        Some((_, input)) => Err(Error::new(
            format!("{what} would take the place of {input}"),
            "give it another name",
        )
        .about(shown(target))),
    }
}

/// Checks that nothing but a regular file stands where an output shall go: opening a pipe would wait for ever.
pub(crate) fn takes_output(path: &Path) -> Result<()> {
    let what = match fs::metadata(path) {
        Ok(meta) if meta.is_dir() => "this is a folder",
        Ok(meta) if !meta.is_file() => "this is not a regular file",
        _ => return Ok(()),
    };
    Err(Error::new(
        format!("the output cannot be written: {what}"),
        "give the name of a file",
    ))
}

/// A place for an output, checked before the work begins: its folder takes files, and nothing but a regular file
/// stands there.
pub(crate) struct Output {
    shown: String,
    target: PathBuf,
    folder: PathBuf,
}

impl Output {
    pub(crate) fn new(path: &Path) -> Result<Output> {
        let output = Output {
            shown: shown(path),
            // A link is followed, so that the file that it leads to is written.
            target: fs::canonicalize(path).unwrap_or_else(|_| path.to_owned()),
            folder: folder_of(path),
        };
        takes_output(&output.target).map_err(|e| e.about(output.shown.clone()))?;
        output.temporary().map_err(|e| output.unwritable(&e))?;
        Ok(output)
    }

    /// The name as given, fit for showing.
    pub(crate) fn shown(&self) -> &str {
        &self.shown
    }

    fn temporary(&self) -> std::io::Result<tempfile::NamedTempFile> {
        let folder = self
            .target
            .parent()
            .filter(|_| self.target.exists())
            .unwrap_or(&self.folder);
        let mut builder = tempfile::Builder::new();
        builder.prefix(".tintwell-");
        // Readable as any new file; a temporary file is otherwise its owner's alone.
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        builder.tempfile_in(folder)
    }

    fn unwritable(&self, e: &std::io::Error) -> Error {
        let fix = match e.kind() {
            std::io::ErrorKind::StorageFull => "make room on the disk",
            _ => "give a name in a folder that exists and takes files",
        };
        Error::new(format!("the output cannot be written: {}", plain(e)), fix)
            .about(self.shown.clone())
    }

    /// Writes the whole output beside its place, then moves it there: a reader sees the old file or the new one.
    ///
    /// # Errors
    /// If it cannot be written, or a file of another kind is there.
    pub(crate) fn write(&self, bytes: &[u8]) -> Result<()> {
        let (there, new) = (kind_of_file(&self.target), kind(bytes));
        if let Some(there) = there.filter(|there| *there != new) {
            return Err(Error::new(
                format!("{new} would take the place of {there}"),
                "give it another name, or move what is there away first",
            )
            .about(self.shown.clone()));
        }
        let write = || {
            self.whole(bytes)?
                .persist(&self.target)
                .map_err(|e| e.error)
        };
        write().map(drop).map_err(|e| self.unwritable(&e))
    }

    /// The same where nothing is yet; false, if something is.
    pub(crate) fn write_new(&self, bytes: &[u8]) -> Result<bool> {
        let write = || {
            let file = self.whole(bytes)?;
            match file.persist_noclobber(&self.target) {
                Ok(_) => Ok(true),
                Err(e) if e.error.kind() == std::io::ErrorKind::AlreadyExists => Ok(false),
                Err(e) => Err(e.error),
            }
        };
        write().map_err(|e| self.unwritable(&e))
    }

    /// A temporary file that holds all of it, safe on the disk.
    fn whole(&self, bytes: &[u8]) -> std::io::Result<tempfile::NamedTempFile> {
        let mut file = self.temporary()?;
        file.write_all(bytes)?;
        file.as_file().sync_all()?;
        Ok(file)
    }
}

/// Bytes that tell the kind of a file: the first of ours name it there.
const TELLING: u64 = 256;

/// The kind of a file; `None` if there is none, it is empty, or it cannot be read.
fn kind_of_file(path: &Path) -> Option<&'static str> {
    let mut begins = Vec::new();
    File::open(path)
        .ok()?
        .take(TELLING)
        .read_to_end(&mut begins)
        .ok()?;
    (!begins.is_empty()).then(|| kind(&begins))
}

/// What a file is by its first bytes, in words.
fn kind(bytes: &[u8]) -> &'static str {
    let begins = &bytes[..bytes.len().min(TELLING as usize)];
    let text = String::from_utf8_lossy(begins);
    let text = text.trim_start_matches(['\u{feff}', ' ', '\n', '\r', '\t']);
    let json = || {
        let ours = [
            ("\"tintwell-chart\"", "a chart"),
            ("\"tintwell-logbook\"", "a copy of a logbook"),
            ("\"tintwell-frame\"", "a frame"),
            ("\"tintwell-devices\"", "a list of devices"),
        ];
        let named = ours.iter().find(|(format, _)| text.contains(format));
        named.map_or("another JSON file", |(_, words)| *words)
    };
    match begins {
        b if b.starts_with(b"SQLite format 3\0") => "a logbook",
        b if b.starts_with(b"\x89PNG") => "a PNG picture",
        b if b.starts_with(b"%PDF") => "a PDF",
        b if b.contains(&0) || b.starts_with(&[0xff, 0xd8]) => "a photo or another binary file",
        _ if text.starts_with('{') => json(),
        _ if text.starts_with('<') => "a page or drawing",
        _ => "a text file",
    }
}

fn folder_of(path: &Path) -> PathBuf {
    match path.parent() {
        Some(p) if p != Path::new("") => p.to_owned(),
        _ => PathBuf::from("."),
    }
}

/// `name-stem.png` beside `name.png`.
pub(crate) fn with_stem(path: &Path, stem: &OsStr) -> PathBuf {
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push("-");
    name.push(stem);
    if let Some(extension) = path.extension() {
        name.push(".");
        name.push(extension);
    }
    path.with_file_name(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_output_takes_the_place_of_its_own_kind_alone() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("out");
        let chart = br#"{"format": "tintwell-chart", "version": 1}"#;
        let page = b"<!doctype html>";
        let write = |bytes: &[u8]| Output::new(&path).unwrap().write(bytes);
        for there in [
            &b"SQLite format 3\0..."[..],
            &[0xff, 0xd8, 0xff, 0xe0],
            page,
            b"water,test",
            br#"{"id": 1}"#,
        ] {
            fs::write(&path, there).unwrap();
            let error = write(chart).unwrap_err().to_string();
            assert!(error.contains("a chart would take the place of"), "{error}");
            assert_eq!(fs::read(&path).unwrap(), there);
        }
        for there in [&b""[..], chart] {
            fs::write(&path, there).unwrap();
            write(chart).unwrap();
            assert_eq!(fs::read(&path).unwrap(), chart);
        }
    }
}
