//! Why a change did not come about, in words.

use rusqlite::ErrorCode;

use crate::error::Error;

/// Why a change did not come about.
pub(super) enum Fault {
    Store(rusqlite::Error),
    /// About the logbook.
    Clear(Error),
    /// About what was to be put into it.
    Given(Error),
}

impl From<rusqlite::Error> for Fault {
    fn from(e: rusqlite::Error) -> Fault {
        Fault::Store(e)
    }
}

impl From<Error> for Fault {
    fn from(e: Error) -> Fault {
        Fault::Clear(e)
    }
}

pub(super) fn clear(what: impl Into<String>, fix: &str) -> Fault {
    Fault::Clear(Error::new(what, fix))
}

/// The same fault, said of an entry that was given.
pub(super) fn of_entry(fault: Fault, entry: &str) -> Fault {
    match fault {
        Fault::Clear(e) => Fault::Given(Error::new(format!("{entry}: {}", e.what), e.fix)),
        fault => fault,
    }
}

pub(super) fn failed(e: &rusqlite::Error, shown: &str) -> Error {
    let code = e.sqlite_error_code();
    let (what, fix) = match code {
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => (
            "another program is writing to this logbook".to_owned(),
            "wait until it is done, and try again",
        ),
        Some(ErrorCode::NotADatabase | ErrorCode::DatabaseCorrupt) => (
            "this is not a logbook, or it is damaged".to_owned(),
            "give the logbook's name, or take its last copy",
        ),
        Some(ErrorCode::DiskFull) => (
            "the disk is full; nothing of this change was kept".to_owned(),
            "make room and try again",
        ),
        Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => (
            "the logbook cannot be opened for writing".to_owned(),
            "check that its folder exists and may be written to",
        ),
        _ => (
            format!("the logbook cannot be used: {e}"),
            "check the disk, or take the logbook's last copy",
        ),
    };
    Error::new(what, fix).about(shown)
}
