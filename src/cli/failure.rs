//! Why a command ended early.

use crate::cause;

/// A sentence for the person and an exit code.
#[derive(Debug)]
pub struct Failure {
    /// What, where, what to do.
    pub sentence: String,
    /// The exit code.
    pub code: u8,
}

impl Failure {
    /// An input that cannot be used.
    pub fn input(sentence: impl Into<String>) -> Self {
        Failure { sentence: cause::numberless(&sentence.into()).into_owned(), code: 1 }
    }
}

impl<E: std::error::Error> From<E> for Failure {
    fn from(e: E) -> Self {
        Failure::input(e.to_string())
    }
}
