//! Why a file, a name or a job cannot be used.

use std::path::{Path, PathBuf};

use super::file::kind;
use crate::blank::ShapeError;
use crate::placement::PlaceError;
use crate::said::Said;
use crate::texts::{self, text};

/// Why a TOML file cannot be used. Lines are counted from 1.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// The file cannot be read at all.
    #[error("{}", text!(
        "job.file.unreadable",
        kind = kind(what),
        path = path.display(),
        why = crate::cause::of(cause),
        next = super::near::or_check(path, cause),
    ))]
    Unreadable {
        /// What kind of file it should be.
        what: &'static str,
        /// Where.
        path: PathBuf,
        /// The system's reason.
        cause: std::io::Error,
    },
    /// Text that is not as the kind of file wants it.
    #[error("{}", in_line(what, path, Some(*line), cause))]
    Wrong {
        /// What kind of file it should be.
        what: &'static str,
        /// Where.
        path: PathBuf,
        /// Line of the trouble, from 1.
        line: usize,
        /// What is wrong, in one sentence.
        cause: String,
    },
    /// A value out of its range.
    #[error("{}", in_line(what, path, *line, cause))]
    Absurd {
        /// What kind of file it should be.
        what: &'static str,
        /// Where.
        path: PathBuf,
        /// Line where the key stands, from 1, where it could be found.
        line: Option<usize>,
        /// Which key, and what is wrong with it.
        cause: String,
    },
    /// A file of another kind: which, and where it belongs.
    #[error("{0}")]
    Other(#[source] Said),
}

/// What is wrong in a file, and in which line where that is known.
fn in_line(what: &'static str, path: &Path, line: Option<usize>, why: &str) -> String {
    let (kind, path) = (kind(what), path.display());
    match line {
        Some(line) => text!("job.file.wrong", kind, path, line, why),
        None => text!("job.file.wrong-somewhere", kind, path, why),
    }
}

/// Why a machine, coating or blank cannot be had.
#[derive(Debug, thiserror::Error)]
pub enum KitError {
    /// No entry and no file of that name.
    #[error("{}", texts::filled(
        &format!("job.no-such.{sort}"),
        &[("name", name), ("near", near), ("known", known)],
    ))]
    Unknown {
        /// What was looked for.
        sort: &'static str,
        /// The name as given.
        name: String,
        /// An entry of nearly that name, as [`did_you_mean`](super::near::did_you_mean) says it; or nothing.
        near: String,
        /// All names of that sort.
        known: String,
    },
    /// The file is there but cannot be used.
    #[error(transparent)]
    File(#[from] FileError),
    /// A blank's shape cannot be read.
    #[error(transparent)]
    Shape(#[from] ShapeError),
}

/// Why a job cannot be carried out.
#[derive(Debug, thiserror::Error)]
pub enum PlanError {
    /// A machine, coating or blank cannot be had.
    #[error(transparent)]
    Kit(#[from] KitError),
    /// A file cannot be used.
    #[error(transparent)]
    File(#[from] FileError),
    /// The art cannot go on the blank.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// A name that stands for nothing: of a screen, of a finding to accept.
    #[error("{}", texts::filled(
        &format!("job.none.{what}"),
        &[("name", name), ("near", near), ("known", known)],
    ))]
    Unknown {
        /// What was looked for: `screen` or `finding`.
        what: &'static str,
        /// The name as given.
        name: String,
        /// A name that is nearly the same, as [`did_you_mean`](super::near::did_you_mean) says it; or nothing.
        near: String,
        /// All names that would do.
        known: String,
    },
    /// A number out of its range, or two that contradict each other.
    #[error("{0}")]
    Absurd(#[source] Said),
}

impl PlanError {
    /// A sentence that says which number makes no sense, and what would.
    pub(super) fn absurd(what: impl Into<Said>) -> Self {
        PlanError::Absurd(what.into())
    }

    /// A name that is none of `known`.
    pub(super) fn unknown(what: &'static str, name: &str, known: &[&'static str]) -> Self {
        let near = super::near::did_you_mean(name, known);
        PlanError::Unknown { what, name: name.to_string(), near, known: known.join(", ") }
    }
}
