//! Why outputs could not be written. Each says what, where, and what to do.

use std::io;
use std::path::PathBuf;

use crate::texts::text;

/// Why the outputs could not be written.
#[derive(Debug, thiserror::Error)]
pub enum OutputError {
    /// The path names no folder or file (it is empty, `/` or ends in `..` of nothing).
    #[error("{}", text!("encode.output.no-name", place = .0.display()))]
    NoName(PathBuf),
    /// A file is in the way of a folder.
    #[error("{}", text!("encode.output.is-a-file", place = .0.display()))]
    IsAFile(PathBuf),
    /// The folder holds something and `replace` was not asked for.
    #[error("{}", text!("encode.output.not-empty", folder = .0.display()))]
    NotEmpty(PathBuf),
    /// The archive is there and `replace` was not asked for.
    #[error("{}", text!("encode.output.exists", file = .0.display()))]
    Exists(PathBuf),
    /// A file that was read would be replaced.
    #[error("{}", text!("encode.output.input", file = .0.display()))]
    Input(PathBuf),
    /// The folder belongs to something else that has files of the same names.
    #[error("{}", text!("encode.output.strange", folder = .folder.display(), what = .what, file = .file))]
    Strange {
        /// The folder.
        folder: PathBuf,
        /// What it holds, with an article.
        what: &'static str,
        /// The first file that would be replaced.
        file: &'static str,
    },
    /// A folder has the name of a file that would be written.
    #[error("{}", text!("encode.output.folder-in-the-way", folder = .0.display()))]
    FolderInTheWay(PathBuf),
    /// A file name that is not one of those that may be written.
    #[error("{}", text!("encode.output.unknown-name", file = .0))]
    UnknownName(String),
    /// The folder cannot be written to.
    #[error("{}", text!("encode.output.unwritable", folder = .folder.display(), why = place(.cause)))]
    Unwritable {
        /// The folder.
        folder: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
    /// A file could not be written to its end.
    #[error("{}", text!(
        "encode.output.write",
        file = .file,
        folder = .folder.display(),
        why = place(.cause),
    ))]
    Write {
        /// The folder.
        folder: PathBuf,
        /// The file.
        file: String,
        /// What the system said.
        cause: io::Error,
    },
    /// The finished files could not take their place.
    #[error("{}", text!("encode.output.place", folder = .folder.display(), why = place(.cause)))]
    Place {
        /// The wanted folder or file.
        folder: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
}

/// Why a place refused to be written to.
fn place(cause: &io::Error) -> String {
    match cause.kind() {
        io::ErrorKind::NotFound => text!("encode.output.no-such-place").to_string(),
        _ => crate::cause::of(cause),
    }
}
