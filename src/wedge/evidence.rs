//! Evidence: a reading with what its pictures and curves are drawn from.

use super::fit::ResponseFit;
use super::measure::Flat;
use super::reading::Reading;

/// A reading with what its pictures are drawn from.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The reading.
    pub reading: Reading,
    /// The photo laid flat.
    pub flat: Flat,
    /// The fitted response, for exposure wedges.
    pub fit: Option<ResponseFit>,
    /// Which way to move the range, where all patches of an exposure wedge are under- or over-burnt.
    pub missed: Option<String>,
}
