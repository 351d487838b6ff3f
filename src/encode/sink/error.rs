//! Why outputs could not be written. Each says what, where, and what to do.

use std::io;
use std::path::PathBuf;

/// Why the outputs could not be written.
#[derive(Debug, thiserror::Error)]
pub enum OutputError {
    /// The path names no folder or file (it is empty, `/` or ends in `..` of nothing).
    #[error("outputs cannot be written to '{}'; name a new folder", .0.display())]
    NoName(PathBuf),
    /// A file is in the way of a folder.
    #[error("'{}' is a file, not a folder; name another folder", .0.display())]
    IsAFile(PathBuf),
    /// The folder holds something and `replace` was not asked for.
    #[error(
        "the folder '{}' is not empty; name another folder, or say --replace, which replaces only the files that this command writes",
        .0.display()
    )]
    NotEmpty(PathBuf),
    /// The archive is there and `replace` was not asked for.
    #[error("'{}' is there already; name another file, or replace it with --replace", .0.display())]
    Exists(PathBuf),
    /// A file that was read would be replaced.
    #[error("'{}' is read by this run and would be replaced; name another folder", .0.display())]
    Input(PathBuf),
    /// The folder belongs to something else that has files of the same names.
    #[error(
        "the folder '{}' holds {what}, and its '{file}' would be replaced; name another folder",
        .folder.display()
    )]
    Strange {
        /// The folder.
        folder: PathBuf,
        /// What it holds, with an article.
        what: &'static str,
        /// The first file that would be replaced.
        file: &'static str,
    },
    /// A folder has the name of a file that would be written.
    #[error("'{}' is a folder, but a file of that name is to be written; move it away or name another folder", .0.display())]
    FolderInTheWay(PathBuf),
    /// A file name that is not one of those that may be written.
    #[error("'{0}' is not the name of an output file")]
    UnknownName(String),
    /// The folder cannot be written to.
    #[error("nothing can be written in '{}' ({}); choose a folder you may write to", .folder.display(), place(.cause))]
    Unwritable {
        /// The folder.
        folder: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
    /// A file could not be written to its end.
    #[error("'{file}' could not be written in '{}' ({}); nothing was kept, free some space or choose another folder", .folder.display(), place(.cause))]
    Write {
        /// The folder.
        folder: PathBuf,
        /// The file.
        file: String,
        /// What the system said.
        cause: io::Error,
    },
    /// The finished files could not take their place.
    #[error("the finished files could not be put into '{}' ({}); nothing was changed", .folder.display(), place(.cause))]
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
        io::ErrorKind::NotFound => "there is no such place".to_string(),
        _ => crate::cause::of(cause),
    }
}
