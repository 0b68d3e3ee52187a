//! Errors that stop one photo, chart or command: what went wrong, with what was found, what is allowed and what to do.
//!
//! Findings that do not stop a reading are not errors: they are [`crate::flag::Flag`]s.

/// One clear error. `what` says what is wrong (with the value found and what is allowed), `fix` says what to do next.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}{what}\n  what to do: {fix}", .subject.as_ref().map(|s| format!("{s}: ")).unwrap_or_default())]
pub struct Error {
    /// The file, option or field it is about.
    pub subject: Option<String>,
    /// What is wrong, with the value found.
    pub what: String,
    /// The next step for the person.
    pub fix: String,
}

impl Error {
    /// An error not yet bound to a file.
    pub fn new(what: impl Into<String>, fix: impl Into<String>) -> Self {
        Error {
            subject: None,
            what: what.into(),
            fix: fix.into(),
        }
    }

    /// The same error, naming the file, option or field it is about (an earlier name is kept).
    pub fn about(mut self, subject: impl Into<String>) -> Self {
        self.subject.get_or_insert(subject.into());
        self
    }
}

/// Result of a step that can fail with one clear [`Error`].
pub type Result<T> = std::result::Result<T, Error>;
