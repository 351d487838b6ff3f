//! Blocks: the forecast reduced to blocks of whole dots, for a picture.

use super::forecast::{Band, Forecast};

/// The forecast of blocks of `along` by `across` dots, row after row of blocks; the last of a row, and the
/// last row, may hold fewer dots.
#[derive(Debug, Clone, PartialEq)]
pub struct Blocks {
    /// Blocks a row.
    pub columns: usize,
    /// Rows of blocks.
    pub rows: usize,
    /// Dots a block along the lines.
    pub along: usize,
    /// Dots a block across the lines.
    pub across: usize,
    /// Mean look of each block, relative luminance, 0 to 1.
    pub look: Vec<f32>,
    /// Share of each block that is over-burnt, 0 to 1; empty where nothing is.
    pub charred: Vec<f32>,
    /// Greatest exposure in each block, relative to the one from which on a place counts as over-burnt;
    /// empty where the coating never chars.
    pub dose: Vec<f32>,
}

/// Sums over the rows of blocks that one band touches, the first of them number `first`.
pub(super) struct BandBlocks {
    first: usize,
    columns: usize,
    sides: (usize, usize),
    /// Whether the coating chars at all.
    chars: bool,
    mark: Vec<f32>,
    /// As far as the last row of blocks that is over-burnt; empty where none is.
    charred: Vec<f32>,
    /// Greatest relative exposures; empty where the coating never chars.
    peak: Vec<f32>,
}

impl BandBlocks {
    /// Nothing yet of the band's own rows, for blocks of `along` by `across` dots.
    pub fn new(forecast: &Forecast, band: &Band, (along, across): (usize, usize)) -> Self {
        let columns = band.width.div_ceil(along);
        let first = band.own.start / across;
        let n = columns * (band.own.end.div_ceil(across) - first);
        let chars = forecast.over_burn_from().is_finite();
        BandBlocks {
            first,
            columns,
            sides: (along, across),
            chars,
            mark: Vec::with_capacity(n),
            charred: Vec::new(),
            peak: Vec::with_capacity(if chars { n } else { 0 }),
        }
    }

    /// Takes in row `y`; its marks' sum, block by block.
    #[inline(always)]
    pub fn row(&mut self, y: usize, mark: &[f32], peak: &[f32], charred: Option<&[f32]>) -> f32 {
        match self.sides.0 {
            // The usual blocks are known when compiled: their sums are unrolled.
            1 => self.row_of::<1>(y, mark, peak, charred),
            2 => self.row_of::<2>(y, mark, peak, charred),
            3 => self.row_of::<3>(y, mark, peak, charred),
            4 => self.row_of::<4>(y, mark, peak, charred),
            5 => self.row_of::<5>(y, mark, peak, charred),
            6 => self.row_of::<6>(y, mark, peak, charred),
            _ => self.row_of::<0>(y, mark, peak, charred),
        }
    }

    #[inline(always)]
    fn row_of<const ALONG: usize>(
        &mut self,
        y: usize,
        mark: &[f32],
        peak: &[f32],
        charred: Option<&[f32]>,
    ) -> f32 {
        let along = if ALONG > 0 { ALONG } else { self.sides.0 };
        let at = (y / self.sides.1 - self.first) * self.columns;
        let cells = at..at + self.columns;
        // A row of blocks is begun when its first row arrives, and so its memory is written before it is read: the
        // system lends fresh memory that is read first a page of zeros, and to take it back stops the other threads.
        if self.mark.len() < cells.end {
            self.mark.resize(cells.end, 0.0);
            self.peak.resize(if self.chars { cells.end } else { 0 }, 0.0);
        }
        let all = add::<ALONG>(&mut self.mark[cells.clone()], mark, along);
        if let Some(charred) = charred {
            self.charred.resize(self.mark.len(), 0.0);
            add::<ALONG>(&mut self.charred[cells.clone()], charred, along);
        }
        if !self.peak.is_empty() {
            for (to, cells) in self.peak[cells].iter_mut().zip(peak.chunks(along)) {
                *to = cells.iter().fold(*to, |a, &b| if b > a { b } else { a });
            }
        }
        all
    }
}

/// Adds the sums of blocks of `along` cells; the sum of all.
#[inline(always)]
fn add<const ALONG: usize>(to: &mut [f32], row: &[f32], along: usize) -> f32 {
    let along = if ALONG > 0 { ALONG } else { along };
    let mut all = 0.0;
    let whole = row.chunks_exact(along);
    let rest = whole.remainder();
    let mut to = to.iter_mut();
    // The whole blocks end first: asking them first leaves the place of the last, cut block.
    for (cells, to) in whole.zip(to.by_ref()) {
        let sum: f32 = cells.iter().sum();
        *to += sum;
        all += sum;
    }
    if let Some(to) = to.next() {
        let sum: f32 = rest.iter().sum();
        *to += sum;
        all += sum;
    }
    all
}

/// Joins a band's row of blocks to what the bands before it have in it, from place `at` on, and adds the rows that only
/// this band touches.
fn join(all: &mut Vec<f32>, at: usize, band: &[f32], of: impl Fn(f32, f32) -> f32) {
    let shared = (all.len().saturating_sub(at)).min(band.len());
    let (with, alone) = band.split_at(shared);
    all.iter_mut().skip(at).zip(with).for_each(|(to, &from)| *to = of(*to, from));
    all.extend_from_slice(alone);
}

/// Puts the bands' sums together, in order from the top, for a plane of `width` by `height` dots.
pub(super) fn together(
    forecast: &Forecast,
    (width, height): (usize, usize),
    (along, across): (usize, usize),
    bands: Vec<BandBlocks>,
) -> Blocks {
    let (columns, rows) = (width.div_ceil(along), height.div_ceil(across));
    let room = || Vec::with_capacity(columns * rows);
    let (mut look, mut charred, mut dose) = (room(), Vec::new(), room());
    let burn = forecast.burn();
    let over_burn_from = forecast.over_burn_from();
    for band in bands {
        let at = band.first * columns;
        join(&mut look, at, &band.mark, |to, from| to + from);
        join(&mut dose, at, &band.peak, |to, from| if from > to { from } else { to });
        if !band.charred.is_empty() {
            charred.resize(columns * rows, 0.0f32);
            charred[at..].iter_mut().zip(&band.charred).for_each(|(to, from)| *to += from);
        }
    }
    let unmarked = burn.response.y_unmarked as f32;
    let span = (burn.response.y_marked - burn.response.y_unmarked) as f32;
    for r in 0..rows {
        let high = across.min(height - r * across);
        for c in 0..columns {
            let cells = (high * along.min(width - c * along)) as f32;
            let i = r * columns + c;
            look[i] = (unmarked + look[i] / cells * span).clamp(0.0, 1.0);
            if let Some(charred) = charred.get_mut(i) {
                *charred /= cells;
            }
        }
    }
    dose.iter_mut().for_each(|d| *d /= over_burn_from);
    Blocks { columns, rows, along, across, look, charred, dose }
}
