//! Why a picture could not be encoded.

use crate::texts::text;

/// Why a picture could not be encoded.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EncodeError {
    /// The format cannot hold so many columns, rows or bytes.
    #[error("{}", text!(
        "encode.too-large",
        columns = .columns,
        rows = .rows,
        format = .format,
        limit = .limit,
    ))]
    TooLarge {
        /// The format's name.
        format: &'static str,
        /// Columns.
        columns: usize,
        /// Rows.
        rows: usize,
        /// The limit in words.
        limit: &'static str,
    },
    /// The encoder reported a failure.
    #[error("{}", text!("encode.failed", format = .format, why = .why))]
    Failed {
        /// The format's name.
        format: &'static str,
        /// What the encoder said.
        why: String,
    },
}
