//! Planes of numbers: one value a dot, row 0 at the top of the piece as its owner sees it.

use std::marker::PhantomData;
use std::ops::Range;

pub(crate) mod sets;

/// Linear light: relative luminance Y of IEC 61966-2-1, 0 (black) to 1 (white).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LinearLight;
/// How much of a place the art covers: 0 = transparent, 1 = opaque.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cover;
/// Wanted mark fraction: 0 = leave alone, 1 = fully marked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WantedMark;
/// Exposure relative to the mean of a solid fill, 0 and up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RelativeExposure;
/// Forecast mark fraction: 0 = as the cleaned coating, 1 = a full mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ForecastMark;

/// A plane of `f32`, row-major, `width * height` values. `K` says what the numbers mean, so that
/// a stage cannot be fed the wrong one.
#[derive(Debug, Clone, PartialEq)]
pub struct Plane<K> {
    width: usize,
    height: usize,
    data: Vec<f32>,
    kind: PhantomData<K>,
}

/// A picture in linear light.
pub type Light = Plane<LinearLight>;
/// The opacity of each place of a picture (straight, never multiplied into the light).
pub type Alpha = Plane<Cover>;
/// The wanted mark fraction of each dot.
pub type Tone = Plane<WantedMark>;
/// The exposure at each sample, relative to a solid.
pub type Exposure = Plane<RelativeExposure>;
/// The forecast mark fraction at each sample.
pub type Mark = Plane<ForecastMark>;

impl<K> Plane<K> {
    /// A plane of the given size, every value `value`.
    pub fn filled(width: usize, height: usize, value: f32) -> Self {
        Plane { width, height, data: vec![value; width * height], kind: PhantomData }
    }

    /// A plane around existing values.
    ///
    /// # Panics
    /// When `data` does not hold `width * height` values: a mistake of the caller, never of the input.
    pub fn from_vec(width: usize, height: usize, data: Vec<f32>) -> Self {
        assert_eq!(data.len(), width * height, "a plane of {width} x {height} needs as many values");
        Plane { width, height, data, kind: PhantomData }
    }

    /// Columns.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows.
    pub fn height(&self) -> usize {
        self.height
    }

    /// All values, row after row.
    pub fn data(&self) -> &[f32] {
        &self.data
    }

    /// All values, row after row, to be changed.
    pub fn data_mut(&mut self) -> &mut [f32] {
        &mut self.data
    }

    /// Row `y`, 0 at the top.
    pub fn row(&self, y: usize) -> &[f32] {
        &self.data[y * self.width..(y + 1) * self.width]
    }

    /// The mean of all values, summed in f64 row by row (the same for any thread count).
    pub fn mean(&self) -> f64 {
        if self.data.is_empty() {
            return 0.0;
        }
        let sum: f64 =
            self.data.chunks(self.width.max(1)).map(|r| r.iter().map(|&v| f64::from(v)).sum::<f64>()).sum();
        sum / self.data.len() as f64
    }

    /// The part of `columns` by `rows`; both lie within the plane.
    pub fn part(&self, columns: Range<usize>, rows: Range<usize>) -> Self {
        let (width, height) = (columns.len(), rows.len());
        let mut data = Vec::with_capacity(width * height);
        rows.for_each(|y| data.extend_from_slice(&self.row(y)[columns.clone()]));
        Self::from_vec(width, height, data)
    }

    /// Rows as columns and columns as rows.
    pub fn transposed(&self) -> Self {
        let (width, height) = (self.height, self.width);
        let mut out = Self::filled(width, height, 0.0);
        if width == 0 {
            return out;
        }
        let (data, rows) = (&self.data, self.width);
        crate::parallel::bands(&mut out.data, width, 64, |first, band| {
            for (i, row) in band.chunks_exact_mut(width).enumerate() {
                row.iter_mut().enumerate().for_each(|(x, v)| *v = data[x * rows + first + i]);
            }
        });
        out
    }

    /// The same numbers under another meaning; used by the one stage that turns one into the other.
    pub fn recast<L>(self) -> Plane<L> {
        Plane { width: self.width, height: self.height, data: self.data, kind: PhantomData }
    }

    /// The values themselves.
    pub fn into_vec(self) -> Vec<f32> {
        self.data
    }
}

/// A bit-packed plane of dots: 1 = beam on. Most significant bit first, each row padded to a whole
/// byte with zeros: exactly the rows that 1-bit PNG and TIFF store.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dots {
    width: usize,
    height: usize,
    stride: usize,
    bits: Vec<u8>,
}

impl Dots {
    /// A plane of `width` x `height` dots, all off.
    pub fn off(width: usize, height: usize) -> Self {
        let stride = width.div_ceil(8);
        Dots { width, height, stride, bits: vec![0; stride * height] }
    }

    /// A plane around packed rows; padding bits are cleared.
    ///
    /// # Panics
    /// When `bits` does not hold `height` rows of `ceil(width / 8)` bytes: a mistake of the caller.
    pub fn from_packed(width: usize, height: usize, mut bits: Vec<u8>) -> Self {
        let stride = width.div_ceil(8);
        assert_eq!(bits.len(), stride * height, "packed rows do not match {width} x {height}");
        if !width.is_multiple_of(8) {
            let keep = 0xFFu8 << (8 - width % 8);
            for row in bits.chunks_exact_mut(stride) {
                row[stride - 1] &= keep;
            }
        }
        Dots { width, height, stride, bits }
    }

    /// Columns.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows.
    pub fn height(&self) -> usize {
        self.height
    }

    /// Bytes a row.
    pub fn stride(&self) -> usize {
        self.stride
    }

    /// All packed rows.
    pub fn bits(&self) -> &[u8] {
        &self.bits
    }

    /// All packed rows, to be changed. Padding bits must stay zero.
    pub fn bits_mut(&mut self) -> &mut [u8] {
        &mut self.bits
    }

    /// The packed bytes of row `y`.
    pub fn row(&self, y: usize) -> &[u8] {
        &self.bits[y * self.stride..(y + 1) * self.stride]
    }

    /// The packed bytes of row `y`, to be changed. Padding bits must stay zero.
    pub fn row_mut(&mut self, y: usize) -> &mut [u8] {
        &mut self.bits[y * self.stride..(y + 1) * self.stride]
    }

    /// Whether the beam is on at column `x` of row `y`.
    pub fn get(&self, x: usize, y: usize) -> bool {
        debug_assert!(x < self.width);
        self.bits[y * self.stride + x / 8] >> (7 - x % 8) & 1 == 1
    }

    /// How many dots of row `y` are on in those columns.
    pub fn count_in(&self, columns: Range<usize>, y: usize) -> u32 {
        let row = self.row(y);
        let (first, last) = (columns.start / 8, columns.end / 8);
        let before = |byte: usize, n: usize| row.get(byte).map_or(0, |b| (b & !(0xFF >> n)).count_ones());
        let whole: u32 = row[first..last].iter().map(|b| b.count_ones()).sum();
        whole + before(last, columns.end % 8) - before(first, columns.start % 8)
    }

    /// Sets one dot.
    pub fn set(&mut self, x: usize, y: usize, on: bool) {
        debug_assert!(x < self.width);
        let mask = 0x80u8 >> (x % 8);
        let byte = &mut self.bits[y * self.stride + x / 8];
        if on { *byte |= mask } else { *byte &= !mask }
    }

    /// Lays dots over these, from column `x` and row `y` on; they begin at a whole byte and end at one or with the plane.
    ///
    /// # Panics
    /// When they reach beyond the plane: a mistake of the caller.
    pub fn lay(&mut self, part: &Dots, x: usize, y: usize) {
        let end = x + part.width;
        debug_assert!(
            x.is_multiple_of(8) && (end.is_multiple_of(8) && end < self.width || end == self.width)
        );
        let first = x / 8;
        for (i, row) in part.bits.chunks_exact(part.stride.max(1)).enumerate() {
            let out = &mut self.row_mut(y + i)[first..first + row.len()];
            out.copy_from_slice(row);
        }
    }

    /// How many dots are on.
    pub fn count(&self) -> u64 {
        self.bits.iter().map(|b| u64::from(b.count_ones())).sum()
    }

    /// The share of dots that are on, 0 to 1.
    pub fn coverage(&self) -> f64 {
        let all = self.width as f64 * self.height as f64;
        if all == 0.0 { 0.0 } else { self.count() as f64 / all }
    }

    /// The part of `columns` by `rows`; both lie within the plane. One that begins at a whole byte is the quickest to take.
    pub fn part(&self, columns: Range<usize>, rows: Range<usize>) -> Self {
        let (width, height, first) = (columns.len(), rows.len(), columns.start / 8);
        let (bytes, by) = (width.div_ceil(8), columns.start % 8);
        if by == 0 {
            let bits = rows.flat_map(|y| self.row(y)[first..][..bytes].iter().copied()).collect();
            return Dots::from_packed(width, height, bits);
        }
        let mut bits = Vec::with_capacity(bytes * height);
        for y in rows {
            let row = &self.row(y)[first..];
            let next = |i: usize| row.get(i + 1).map_or(0, |b| b >> (8 - by));
            bits.extend(row.iter().take(bytes).enumerate().map(|(i, b)| b << by | next(i)));
        }
        Dots::from_packed(width, height, bits)
    }

    /// Rows as columns and columns as rows.
    pub fn transposed(&self) -> Self {
        let mut out = Dots::off(self.height, self.width);
        for (y, row) in self.bits.chunks_exact(self.stride.max(1)).enumerate() {
            let (byte, bit) = (y / 8, 0x80u8 >> (y % 8));
            for (i, &eight) in row.iter().enumerate() {
                let mut left = eight;
                while left != 0 {
                    let k = left.leading_zeros() as usize;
                    out.bits[(8 * i + k) * out.stride + byte] |= bit;
                    left &= !(0x80u8 >> k);
                }
            }
        }
        out
    }

    /// Clears every dot of row `y` outside columns `keep`.
    pub fn keep_only(&mut self, y: usize, keep: std::ops::Range<usize>) {
        let (start, end) = (keep.start.min(self.width), keep.end.min(self.width));
        let row = self.row_mut(y);
        if start >= end {
            row.fill(0);
            return;
        }
        row[..start / 8].fill(0);
        row[start / 8] &= 0xFF >> (start % 8);
        let last = end.div_ceil(8);
        row[last..].fill(0);
        if end % 8 != 0 {
            row[last - 1] &= 0xFFu8 << (8 - end % 8);
        }
    }
}

/// The middle one of the values, of two the upper; `None` where there are none.
pub(crate) fn median(values: impl IntoIterator<Item = f32>) -> Option<f32> {
    let mut all: Vec<f32> = values.into_iter().collect();
    let middle = all.len() / 2;
    (!all.is_empty()).then(|| *all.select_nth_unstable_by(middle, f32::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_of_values_is_the_upper_one_of_two() {
        assert_eq!(median([3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median([4.0, 1.0, 3.0, 2.0]), Some(3.0));
        assert_eq!(median([]), None);
    }

    #[test]
    fn bits_are_packed_most_significant_first() {
        let mut d = Dots::off(10, 2);
        d.set(0, 0, true);
        d.set(9, 1, true);
        assert_eq!(d.bits(), [0x80, 0x00, 0x00, 0x40]);
        assert_eq!(d.count(), 2);
        assert!(d.get(9, 1) && !d.get(8, 1));
    }

    #[test]
    fn dots_of_some_columns_are_counted() {
        let mut d = Dots::off(27, 2);
        (0..27).filter(|x| x * x % 5 < 2).for_each(|x| d.set(x, 1, true));
        for first in 0..=27 {
            for end in first..=27 {
                let want = (first..end).filter(|&x| d.get(x, 1)).count();
                assert_eq!(d.count_in(first..end, 1), want as u32, "{first} to {end}");
            }
        }
    }

    #[test]
    fn a_part_may_begin_at_any_column() {
        let mut d = Dots::off(27, 3);
        (0..81).filter(|i| i * i % 7 < 3).for_each(|i| d.set(i % 27, i / 27, true));
        for first in 0..27 {
            for end in first + 1..=27 {
                let part = d.part(first..end, 1..3);
                assert_eq!((part.width(), part.height()), (end - first, 2));
                for (x, y) in (0..2).flat_map(|y| (0..end - first).map(move |x| (x, y))) {
                    assert_eq!(part.get(x, y), d.get(first + x, y + 1), "{first}..{end} at {x}, {y}");
                }
            }
        }
    }

    #[test]
    fn transposing_changes_rows_and_columns() {
        let mut d = Dots::off(27, 13);
        (0..27 * 13).filter(|i| i * i % 7 < 3).for_each(|i| d.set(i % 27, i / 27, true));
        let t = d.transposed();
        assert_eq!((t.width(), t.height(), t.count()), (13, 27, d.count()));
        assert!((0..27 * 13).all(|i| d.get(i % 27, i / 27) == t.get(i / 27, i % 27)));
        assert_eq!(t.transposed(), d);
        let tone = Tone::from_vec(3, 2, vec![0.0, 0.1, 0.2, 0.3, 0.4, 0.5]);
        assert_eq!(tone.transposed().data(), [0.0, 0.3, 0.1, 0.4, 0.2, 0.5]);
        assert_eq!(tone.transposed().transposed(), tone);
    }

    #[test]
    fn padding_bits_are_cleared() {
        let d = Dots::from_packed(3, 1, vec![0xFF]);
        assert_eq!(d.bits(), [0xE0]);
        assert_eq!(d.coverage(), 1.0);
    }

    #[test]
    fn keep_only_clears_exactly_the_rest() {
        for width in [1usize, 7, 8, 9, 17, 24] {
            for start in 0..=width {
                for end in 0..=width {
                    let full = vec![0xFF; width.div_ceil(8)];
                    let mut d = Dots::from_packed(width, 1, full);
                    d.keep_only(0, start..end);
                    for x in 0..width {
                        assert_eq!(d.get(x, 0), x >= start && x < end, "{width} {start}..{end} at {x}");
                    }
                }
            }
        }
    }
}
