//! Reading the project's TOML files: which file, which line, which key, what is wrong.

use std::path::Path;

use serde::de::DeserializeOwned;

use super::error::FileError;
use super::{mistyped, swapped};
use crate::art::is_picture;
use crate::texts::{self, text};

/// A value out of range: the key's last name and a sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Absurd {
    /// The key, without its table.
    pub key: &'static str,
    /// What is wrong, with the range.
    pub why: String,
}

/// `Err` unless `ok`.
///
/// # Errors
/// The key and the reason, unless `ok`.
pub fn unless(ok: bool, key: &'static str, why: impl Into<String>) -> Result<(), Absurd> {
    if ok { Ok(()) } else { Err(Absurd { key, why: why.into() }) }
}

/// What a kind of file is called: `machine file`.
pub(super) fn kind(what: &'static str) -> &'static str {
    texts::known(&format!("job.file-kind.{}", what.replace(' ', "-"))).unwrap_or(what)
}

/// The longest TOML file that is read, bytes.
const MOST_BYTES: u64 = 8 << 20;

/// Reads the text of a small file.
///
/// # Errors
/// A file that cannot be read, is no text or a picture, or is longer than 8 MB.
pub fn read_text(what: &'static str, path: &Path) -> Result<String, FileError> {
    let fail = |cause| FileError::Unreadable { what, path: path.to_path_buf(), cause };
    let size = std::fs::metadata(path).map_err(fail)?.len();
    if size > MOST_BYTES {
        return Err(FileError::Wrong {
            what,
            path: path.to_path_buf(),
            line: 1,
            cause: text!("job.file.too-long", size = size >> 20, kind = kind(what)),
        });
    }
    let bytes = std::fs::read(path).map_err(fail)?;
    if is_picture(&bytes) {
        return Err(swapped::other(what, path, swapped::PICTURE));
    }
    std::io::read_to_string(bytes.as_slice()).map_err(fail)
}

/// Reads a value from TOML text; `path` is only named in messages.
///
/// # Errors
/// Text that is no TOML, lacks a key, has one that is not known, or a value that is not of its kind; with its line.
pub fn parse<T: DeserializeOwned>(what: &'static str, path: &Path, text: &str) -> Result<T, FileError> {
    toml::from_str(text).map_err(|e| {
        if let Some(other) = toml::from_str(text).ok().and_then(|t| swapped::refuse(what, path, &t).err()) {
            return other;
        }
        let at = e.span().map_or(0, |s| s.start.min(text.len()));
        let line = text.as_bytes()[..at].iter().filter(|&&b| b == b'\n').count() + 1;
        let message = e.message().replace('\n', " ");
        let cause = e.span().and_then(|s| mistyped::said(what, text, (s.start, s.end), &message));
        FileError::Wrong { what, path: path.to_path_buf(), line, cause: cause.unwrap_or(message) }
    })
}

/// Names the file and line of a value out of range.
pub fn absurd(what: &'static str, path: &Path, text: &str, wrong: Absurd) -> FileError {
    // A key with its value, or the table of that name.
    let is_there = |l: &str| {
        let table = l.trim().trim_matches(['[', ']']) == wrong.key && l.trim().starts_with('[');
        table || l.trim_start().strip_prefix(wrong.key).is_some_and(|r| r.trim_start().starts_with('='))
    };
    let line = text.lines().position(is_there).map(|i| i + 1);
    FileError::Absurd { what, path: path.to_path_buf(), line, cause: format!("{} {}", wrong.key, wrong.why) }
}
