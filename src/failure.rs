//! The error type: one line that says what is wrong, where, and what to do; and the one table of exit statuses.

use std::fmt::Display;
use std::path::Path;

/// How a command ended. The numbers are the whole exit-status table of the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[repr(u8)]
pub enum Status {
    /// Done.
    Done = 0,
    /// No usable reading: the take is rejected.
    NoReading = 1,
    /// The request or a file could not be used.
    Unusable = 2,
    /// Measured well, but a pickup, rig or lot is outside its limits.
    OutsideLimits = 3,
}

impl From<Status> for std::process::ExitCode {
    fn from(s: Status) -> Self {
        std::process::ExitCode::from(s as u8)
    }
}

/// A request or file that could not be used (status 2).
///
/// `what` names the thing and what is wrong with it; `hint` says what to do. Both are joined into one line.
#[derive(Debug, Clone, thiserror::Error, PartialEq, Eq)]
#[error("{what}; {hint}")]
pub struct Failure {
    pub what: String,
    pub hint: String,
}

impl Failure {
    pub fn new(what: impl Into<String>, hint: impl Into<String>) -> Self {
        // One line, whatever an underlying error or a damaged file had to say; blanks inside a path stay as they are.
        let flat = |s: String| {
            let pieces = s.split(char::is_control).map(str::trim).filter(|p| !p.is_empty());
            pieces.collect::<Vec<_>>().join(" ")
        };
        Failure {
            what: flat(what.into()),
            hint: flat(hint.into()),
        }
    }

    /// The same, and where: an option, a part, a key, a file.
    pub fn at(self, place: impl Display) -> Self {
        Failure::new(format!("{place}: {}", self.what), self.hint)
    }

    /// A text that is no TOML, or not the TOML expected: `what` follows the place and the line.
    pub fn toml(place: &str, text: &str, what: &str, err: &toml::de::Error, hint: &str) -> Self {
        let line = err
            .span()
            .and_then(|s| text.get(..s.start))
            .map_or(String::new(), |before| {
                format!(" line {}", before.matches('\n').count() + 1)
            });
        Failure::new(format!("{place}{line}{what}: {}", err.message()), hint)
    }

    /// A failure of the file system, with the path and a hint that fits the kind of error.
    pub fn io(doing: &str, path: &Path, err: &std::io::Error) -> Self {
        use std::io::ErrorKind as K;
        let hint = match err.kind() {
            K::NotFound => "check the path",
            K::PermissionDenied => "check who may read and write there",
            K::AlreadyExists => "choose another place: nothing is overwritten",
            K::StorageFull => "free some space and try again",
            K::IsADirectory => "give a file, not a folder",
            K::NotADirectory => "give a folder, not a file",
            _ => "check the path and the disk",
        };
        Failure::new(format!("cannot {doing} {}: {}", path.display(), io_words(err)), hint)
    }
}

/// Whether a document is of the kind that is read; else what is wrong with it.
pub fn of_kind(schema: &str, read: &str) -> std::result::Result<(), String> {
    if schema == read {
        return Ok(());
    }
    Err(format!("is of the kind {schema:?}, this version reads {read:?}"))
}

/// The system's message without its "(os error N)".
fn io_words(err: &std::io::Error) -> String {
    let s = err.to_string();
    match s.find(" (os error") {
        Some(i) => s[..i].to_lowercase(),
        None => s,
    }
}

pub type Result<T> = std::result::Result<T, Failure>;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_line_without_control_characters() {
        let f = Failure::new("two  blanks/take.wav:\n   line\r\n\ttwo \u{1b}[2J\n", " try\0again ");
        assert_eq!(f.to_string(), "two  blanks/take.wav: line two [2J; try again");
    }
}
