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
    /// The row of an order's table that it names.
    pub row: Option<usize>,
}

impl Failure {
    /// An input that cannot be used.
    pub fn input(sentence: impl Into<Said>) -> Self {
        let sentence = sentence.into().each(|s| cause::numberless(s).into_owned());
        Failure { sentence, code: 1, row: None }
    }

    /// The same about a row of an order's table.
    pub fn of_row(self, row: usize) -> Self {
        Failure { row: Some(row), ..self }
    }
}

impl<E: std::error::Error + 'static> From<E> for Failure {
    fn from(e: E) -> Self {
        Failure::input(Said::of_error(&e))
    }
}
