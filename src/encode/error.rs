//! Why a picture could not be encoded.

/// Why a picture could not be encoded.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EncodeError {
    /// The format cannot hold so many columns, rows or bytes.
    #[error(
        "{columns} x {rows} pixels are more than a {format} file can hold ({limit}); make the piece smaller or its density lower"
    )]
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
    #[error("the {format} file could not be made: {why}")]
    Failed {
        /// The format's name.
        format: &'static str,
        /// What the encoder said.
        why: String,
    },
}
