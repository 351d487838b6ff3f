//! The changes that the search tries: one dot switched, or two near dots in different states exchanged.

use std::collections::BTreeMap;

use super::cells::{Cells, Felt, Half};
use super::spread::Weights;

/// Parts of a change's cost that are looked at first.
pub const PARTS: usize = 8;
/// The most cells that a change can touch: 21 of either of two dots.
pub const MOST_CELLS: usize = 42;

/// One half cell that a change touches.
#[derive(Debug, Clone, Copy)]
pub struct Touched {
    /// Where its code lies, from the dot's own place.
    pub code: isize,
    /// The bits that change in its code.
    pub mask: u16,
    /// Its cell among the cells of the change.
    pub cell: usize,
}

/// A change of dots, as seen from the first of them.
pub struct Move {
    /// Where the other dot of an exchange lies; 0 for a switch.
    pub partner: isize,
    /// Half cells touched.
    pub touched: Vec<Touched>,
    /// Cells touched, from the dot's own place.
    pub cells: Vec<isize>,
    /// Weights between any two of these cells.
    weights: Vec<f32>,
    /// Pivoted Cholesky factor of the weights, cut after [`PARTS`] columns: gives at most the true cost.
    parts: Vec<[f32; PARTS]>,
    /// How much two such dots work against each other, from the sums of their marks.
    pub pull: f32,
}

/// Dots either way within which a dot is exchanged.
const EXCHANGE: isize = 2;

/// All moves: the switch, and the exchanges with the dots around.
pub struct Moves {
    pub switch: Move,
    pub exchanges: Vec<Move>,
}

impl Moves {
    /// The moves in a plane of rows of `stride` values, with the codes of lower halves `stride²` after those
    /// of upper halves.
    pub fn new(weights: &Weights, cells: &Cells, stride: usize) -> Self {
        let one = |partner: Option<(isize, isize)>| Move::new(weights, cells, stride, partner);
        let around = (-EXCHANGE..=EXCHANGE)
            .flat_map(|y| (-EXCHANGE..=EXCHANGE).map(move |x| (x, y)))
            .filter(|&d| d != (0, 0));
        Moves { switch: one(None), exchanges: around.map(|d| one(Some(d))).collect() }
    }
}

impl Move {
    fn new(weights: &Weights, table: &Cells, stride: usize, partner: Option<(isize, isize)>) -> Self {
        let felt = Cells::felt();
        let mut masks: BTreeMap<(isize, isize, bool), u16> = BTreeMap::new();
        let shifts = std::iter::once((0, 0)).chain(partner);
        for (sx, sy) in shifts {
            for f in &felt {
                *masks.entry((f.dy + sy, f.dx + sx, f.half == Half::Lower)).or_default() ^= f.mask;
            }
        }
        let mut places: Vec<(isize, isize)> = masks.keys().map(|k| (k.0, k.1)).collect();
        places.dedup();
        let (stride, plane) = (stride as isize, (stride * stride) as isize);
        let touched = masks
            .iter()
            .map(|(&(y, x, lower), &mask)| Touched {
                code: y * stride + x + if lower { plane } else { 0 },
                mask,
                cell: places.iter().position(|&p| p == (y, x)).unwrap_or(0),
            })
            .collect();
        let between = |a: &(isize, isize), b: &(isize, isize)| weights.at(a.1 - b.1, a.0 - b.0);
        let square: Vec<f32> = places.iter().flat_map(|a| places.iter().map(|b| between(a, b))).collect();
        let parts = factor(&square, places.len());
        let (px, py) = partner.unwrap_or((0, 0));
        Move {
            partner: py * stride + px,
            touched,
            cells: places.iter().map(|p| p.0 * stride + p.1).collect(),
            weights: square,
            parts,
            pull: pull(weights, table, &felt, px, py),
        }
    }

    /// The cost of the change's own marks, exactly: the sum of weights times both marks over all pairs.
    #[inline(always)]
    pub fn own_cost(&self, added: &[f32; MOST_CELLS]) -> f32 {
        let n = self.cells.len();
        let mut cost = 0.0;
        for (row, a) in self.weights.chunks_exact(n).zip(added) {
            cost += a * row.iter().zip(added).map(|(w, b)| w * b).sum::<f32>();
        }
        cost
    }

    /// A lower bound of [`Move::own_cost`], near it and far quicker.
    #[inline(always)]
    pub fn least_cost(&self, added: &[f32; MOST_CELLS]) -> f32 {
        let mut sums = [0.0f32; PARTS];
        for (row, &a) in self.parts.iter().zip(added) {
            for (s, p) in sums.iter_mut().zip(row) {
                *s += p * a;
            }
        }
        sums.iter().map(|s| s * s).sum()
    }
}

/// The weight between the marks of two lone dots, for marks of sum 1.
fn pull(weights: &Weights, table: &Cells, felt: &[Felt], px: isize, py: isize) -> f32 {
    let marks = felt.iter().map(|f| (f.dx, f.dy, table.halves[usize::from(f.mask)] - table.halves[0]));
    let (mut sum, mut all) = (0.0, 0.0);
    for (ax, ay, a) in marks.clone() {
        all += a;
        for (bx, by, b) in marks.clone() {
            sum += a * b * weights.at(bx + px - ax, by + py - ay);
        }
    }
    if all > 0.0 { sum / (all * all) } else { 0.0 }
}

/// The first columns of a Cholesky factor with pivots: `w ≈ l lᵀ`, what is left being positive.
fn factor(square: &[f32], n: usize) -> Vec<[f32; PARTS]> {
    let mut rest: Vec<f64> = square.iter().map(|&v| f64::from(v)).collect();
    let mut parts = vec![[0.0f32; PARTS]; n];
    for part in 0..PARTS.min(n) {
        let pivot = (0..n).fold(0, |b, i| if rest[i * n + i] > rest[b * n + b] { i } else { b });
        let root = rest[pivot * n + pivot].max(1e-12).sqrt();
        let column: Vec<f64> = (0..n).map(|i| rest[i * n + pivot] / root).collect();
        for ((row, l), &c) in rest.chunks_exact_mut(n).zip(&mut parts).zip(&column) {
            if let Some(l) = l.get_mut(part) {
                *l = c as f32;
            }
            row.iter_mut().zip(&column).for_each(|(v, d)| *v -= c * d);
        }
    }
    parts
}
