//! Contents: what a layout has to find room for.

/// What is to be laid out.
#[derive(Debug, Clone, PartialEq)]
pub struct Contents {
    /// Text at the left of each row, top to bottom.
    pub row_labels: Vec<String>,
    /// Text above each column, left to right.
    pub column_labels: Vec<String>,
    /// A line under the patches.
    pub footer: String,
    /// Rows and columns of patches.
    pub rows: usize,
    /// See `rows`.
    pub columns: usize,
    /// The most that a patch measures, width and height, mm: a larger one only takes longer.
    pub most: (f64, f64),
}
