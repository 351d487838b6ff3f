//! Why a command ended early.

use crate::cause;
use crate::said::Said;

/// A sentence for the person and an exit code.
#[derive(Debug)]
pub struct Failure {
    /// What, where, what to do.
    pub sentence: Said,
    /// The exit code.
    pub code: u8,
}

impl Failure {
    /// An input that cannot be used.
    pub fn input(sentence: impl Into<Said>) -> Self {
        let sentence = sentence.into().each(|s| cause::numberless(s).into_owned());
        Failure { sentence, code: 1 }
    }
}

impl<E: std::error::Error + 'static> From<E> for Failure {
    fn from(e: E) -> Self {
        Failure::input(Said::of_error(&e))
    }
}
