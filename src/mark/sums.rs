//! Sums: what a burn comes to over all dots.

use super::forecast::{Band, Forecast, Solid};
use super::patch::{CellPatch, CellPatches};
use crate::plane::Dots;

/// What a report says of a forecast. Areas in dot cells; times the cell's mm² they are mm².
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Totals {
    /// Mean mark fraction over the plane, 0 to 1.
    pub mean_mark: f64,
    /// Cells that are at least half marked.
    pub marked: u64,
    /// Over-burnt area, cells: where char is 5 % and more.
    pub charred: f64,
}

/// What a burn comes to. Areas in dot cells; times the cell's mm² they are mm².
#[derive(Debug, Clone, PartialEq)]
pub struct Sums {
    /// Cells in the plane.
    pub cells: u64,
    /// Dots that are on.
    pub dots: u64,
    /// Mean mark, marked and over-burnt area.
    pub totals: Totals,
    /// Worked area, cells: the sum of all mark fractions; where char takes the mark away again, that
    /// area still counts (it has been worked on).
    pub worked: f64,
    /// The largest patch of over-burnt cells that share edges.
    pub largest: Option<CellPatch>,
    /// Greatest relative exposure anywhere.
    pub peak: f32,
    /// Column and row of its cell.
    pub peak_at: (usize, usize),
    /// Cells deep inside solids: every dot that reaches them is on.
    pub solid_cells: u64,
    /// One of them.
    pub solid_at: Option<(usize, usize)>,
    /// What becomes of those.
    pub solid: Solid,
}

/// What one band comes to.
#[derive(Default)]
pub(super) struct BandSums {
    mean: f64,
    marked: u64,
    charred: f64,
    worked: f64,
    peak: f32,
    peak_at: (usize, usize),
    solid_cells: u64,
    solid_at: Option<(usize, usize)>,
    patches: CellPatches,
}

impl BandSums {
    /// Takes in row `y` of the band. `blockwise` is the sum of its marks where they are summed by blocks.
    #[inline(always)]
    pub fn row(&mut self, dots: &Dots, forecast: &Forecast, band: &Band, y: usize, blockwise: Option<f32>) {
        let mark = band.marks(y);
        let sum = total(mark);
        self.mean += blockwise.map_or(sum, f64::from);
        self.worked += sum;
        self.marked += mark.iter().map(|&m| u32::from(m >= 0.5)).sum::<u32>() as u64;
        let top = band.top(y);
        if top > self.peak {
            self.peak = top;
            self.peak_at = (band.peaks(y).iter().position(|&p| p == top).unwrap_or(0), y);
        }
        if top >= forecast.over_burn_from() {
            let charred = band.charred(y);
            self.charred += total(charred);
            // What is charred through is not lost from the worked area: it counts by its share at least.
            self.worked += mark.iter().zip(charred).map(|(&m, &c)| f64::from((c - m).max(0.0))).sum::<f64>();
            self.patches.row(y, charred, band.peaks(y));
        } else {
            self.patches.row(y, &[], &[]);
        }
        solid_cells(dots, forecast.reach(), y, self);
    }
}

/// Puts the bands' sums together, in order from the top.
pub(super) fn together(forecast: &Forecast, dots: &Dots, bands: Vec<BandSums>) -> Sums {
    let cells = (dots.width() * dots.height()) as u64;
    let mut all = BandSums::default();
    for band in bands {
        all.mean += band.mean;
        all.marked += band.marked;
        all.charred += band.charred;
        all.worked += band.worked;
        all.solid_cells += band.solid_cells;
        all.solid_at = all.solid_at.or(band.solid_at);
        if band.peak > all.peak {
            (all.peak, all.peak_at) = (band.peak, band.peak_at);
        }
        all.patches.append(band.patches);
    }
    let mean_mark = all.mean / (cells as f64).max(1.0);
    Sums {
        cells,
        dots: dots.count(),
        totals: Totals { mean_mark, marked: all.marked, charred: all.charred },
        worked: all.worked,
        largest: all.patches.finish(),
        peak: all.peak,
        peak_at: all.peak_at,
        solid_cells: all.solid_cells,
        solid_at: all.solid_at,
        solid: forecast.solid(),
    }
}

/// The sum of a row, in eight running sums so that it vectorises; the order does not depend on threads.
#[inline(always)]
fn total(row: &[f32]) -> f64 {
    row.chunks(512)
        .map(|chunk| {
            let mut sums = [0.0f32; 8];
            let (eights, rest) = chunk.as_chunks::<8>();
            for eight in eights {
                sums.iter_mut().zip(eight).for_each(|(s, v)| *s += v);
            }
            sums.iter().chain(rest).map(|&v| f64::from(v)).sum::<f64>()
        })
        .sum()
}

/// Counts the cells of row `y` whose whole neighbourhood is on, a byte of dots at a time: bytes whose
/// reach in bytes is all on. Cells less than a byte further in than they need be are not counted.
fn solid_cells(dots: &Dots, (along, across): (usize, usize), y: usize, sums: &mut BandSums) {
    if y < across || y + across >= dots.height() {
        return;
    }
    let reach = along.div_ceil(8);
    let full = |x: usize, y: usize| dots.row(y).get(x).is_some_and(|&b| b == 0xFF);
    let mut run = 0;
    for x in 0..dots.stride() {
        if !full(x, y) || !(y - across..=y + across).all(|line| full(x, line)) {
            run = 0;
            continue;
        }
        run += 1;
        if run > 2 * reach {
            sums.solid_cells += 8;
            sums.solid_at = sums.solid_at.or(Some(((x - reach) * 8 + 4, y)));
        }
    }
}
