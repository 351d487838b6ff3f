//! The response as a table: mark fraction by relative exposure, read in a few instructions.

use std::sync::Arc;

use super::response::Burn;
use crate::lately::Lately;
use crate::parallel;

/// Entries an octave of exposure: a power of two, taken from the top bits of the mantissa.
const OCTAVE_BITS: u32 = 11;
/// Entries an octave.
const OCTAVE: usize = 1 << OCTAVE_BITS;
/// Entries: sixteen octaves.
const ENTRIES: usize = 16 << OCTAVE_BITS;
const SHIFT: u32 = 23 - OCTAVE_BITS;
/// As many as a 16-bit index can name: whatever the index, an entry is there, and nothing is checked.
const NAMED: usize = 1 << 16;

/// Mark fraction by relative exposure, tabled at 2048 values an octave.
///
/// Exposure is read by its float bits, so the step is a fixed share of the exposure whatever the
/// power: no more than 1/2048. An entry holds the value at the middle of its step; the error of one
/// sample is at most `k/4 / 4096` for a rise of steepness k (0.0004 at 6.25) of either sign, so that
/// a mean over samples errs by far less. Exposures under 1/32768 of a solid's greatest count as none.
#[derive(Debug, Clone)]
pub struct ExposureTable {
    table: Box<[f32; NAMED]>,
    low: f32,
    base: u32,
}

impl ExposureTable {
    /// [`ExposureTable::new`], made once for the last few burns.
    pub fn of(burn: &Burn, most: f32) -> Arc<Self> {
        LATELY.get((*burn, most), || ExposureTable::new(burn, most))
    }

    /// The table for relative exposures up to `most`.
    pub fn new(burn: &Burn, most: f32) -> Self {
        // The octave that holds `most`, and fifteen below it.
        let top = most.clamp(1e-30, 1e30).to_bits() >> 23;
        let low = f32::from_bits((top - 15) << 23);
        let base = (top - 15) << (23 - SHIFT);
        let mut table = vec![0.0f32; NAMED].into_boxed_slice();
        let last = (most.to_bits() >> SHIFT).saturating_sub(base) as usize;
        // Downwards from the greatest exposure, until nothing is marked any more. Octaves at once, for the powers of all
        // take longer than a hundred thousand dots.
        let end = last.min(ENTRIES - 1) + 1;
        let octaves = parallel::map(end.div_ceil(OCTAVE), |octave| {
            let from = octave * OCTAVE;
            let mut entries = vec![0.0f32; OCTAVE.min(end - from)];
            let mut ended = false;
            for (i, entry) in entries.iter_mut().enumerate().rev() {
                let i = (from + i) as u32;
                let low = f32::from_bits((base + i) << SHIFT);
                let high = f32::from_bits((base + i + 1) << SHIFT);
                let middle = 0.5 * (f64::from(low) + f64::from(high));
                *entry = if i == 0 { 0.0 } else { burn.mark(middle) as f32 };
                ended = burn.response.rise_at(middle * burn.x_solid) < 1e-8;
                if ended {
                    break;
                }
            }
            (entries, ended)
        });
        for (to, (entries, ended)) in table[..end].chunks_mut(OCTAVE).zip(&octaves).rev() {
            to.copy_from_slice(entries);
            if *ended {
                break;
            }
        }
        // Rounding may put a sample a hair over the greatest exposure.
        let greatest = table[end - 1];
        table[end - 1..].fill(greatest);
        let table = table.try_into().unwrap_or_else(|_| Box::new([0.0; NAMED]));
        ExposureTable { table, low, base }
    }

    /// Where in the table the relative exposure `e`, not negative, is found.
    #[inline(always)]
    pub(super) fn index(&self, e: f32) -> u32 {
        let e = if e > self.low { e } else { self.low };
        (e.to_bits() >> SHIFT).wrapping_sub(self.base)
    }

    /// The entry at an index that [`ExposureTable::index`] gave.
    #[inline(always)]
    pub(super) fn entry(&self, index: u32) -> f32 {
        self.table[index as usize % NAMED]
    }

    /// Mark fraction at the relative exposure `e`, not negative.
    pub fn mark(&self, e: f32) -> f32 {
        self.entry(self.index(e))
    }
}

/// Room for the five machines of one that is not known for sure, by a few counts of samples.
static LATELY: Lately<(Burn, f32), ExposureTable> = Lately::new(16);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::response::tests::poster_paint;

    #[test]
    fn the_table_is_as_near_as_it_says() {
        for burn in [Burn::plain(1.5, 1.5), poster_paint(4.5, 304.0), poster_paint(30.0, 304.0)] {
            let table = ExposureTable::new(&burn, 1.6);
            let bound = burn.response.rise.max(burn.response.char_rise) / 4.0 / 4096.0 * 1.05;
            let (mut worst, mut sum) = (0.0f64, 0.0f64);
            for i in 0..100_000 {
                let e = 1.6 * (i as f64 + 0.37) / 100_000.0;
                let err = f64::from(table.mark(e as f32)) - burn.mark(e);
                worst = worst.max(err.abs());
                sum += err;
            }
            assert!(worst < bound, "{worst} {bound}");
            assert!((sum / 100_000.0).abs() < 2e-6, "{}", sum / 100_000.0);
            assert_eq!(table.mark(0.0), 0.0);
        }
    }
}
