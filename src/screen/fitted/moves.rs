//! The changes that the search tries: one dot toggled, or two near dots in different states swapped.
//!
//! What a change costs on its own is the sum of the weights between all pairs of marks that it adds. The
//! weights are smooth over the few cells that a dot touches, so they split into [`PARTS`] products (a Cholesky
//! factor with pivots, cut short): the cost is the square of a vector of so many sums, and the cost of two
//! changes at once the product of their vectors.

use super::autocorrelation::Autocorrelation;
use super::fields::Fields;
use super::mark_table::{AFFECTED, AFFECTED_CELLS, MarkTable};

/// Parts that the weights between near cells are split into. With 16 the dots of four photos score the same
/// within 0.01 dB, and the search takes a fifth longer.
pub const PARTS: usize = 8;
/// Dots either way within which a dot is swapped. Three dots bring no measurable gain.
pub const AROUND: usize = 2;
/// Rows of dots around a dot, and the lanes in which the dots of such a row are looked at.
pub const ROWS: usize = 2 * AROUND + 1;
pub const LANES: usize = 8;
/// Larger than any cost: what a dot that cannot be swapped is given.
pub const NEVER: f32 = 1e30;

/// The bits of a guess that hold the number of its swap.
pub const NUMBERS: u32 = 63;
const _: () = assert!(ROWS * LANES <= NUMBERS as usize + 1);
/// Marks that a toggle adds, one for each cell that feels the dot, and noughts up to whole lanes.
pub const ADDED: usize = 24;

/// Parts of the weights at each cell that feels a dot.
pub type Basis = [[f32; PARTS]; AFFECTED_CELLS];

/// Where the second dot of a swap lies, and how it is seen from the first.
pub struct Swap {
    pub dx: isize,
    pub dy: isize,
    /// Bits that change in the codes of the upper and lower halves of the cells around the second dot.
    pub flips: [(u16, u16); AFFECTED_CELLS],
    /// Which of the first dot's marks lies on each of those cells; a nought where none does.
    pub shared: [u8; AFFECTED_CELLS],
    /// The parts at the cells around the second dot, in the frame of the first.
    pub far: Basis,
}

/// All that the search knows of its moves before it has seen any dots.
pub struct SearchMoves {
    /// Parts at the cells around a dot.
    pub own: Basis,
    /// The dots around, in rows of [`LANES`]; those beyond the middle five are never chosen.
    pub around: Vec<Swap>,
    /// For each of them, twice the weight between two lone dots there, for marks of sum 1.
    pub pull: [[f32; LANES]; ROWS],
    /// Added to a guess: [`NEVER`] for the dot itself and for lanes beyond the middle five, otherwise 0.
    pub bar: [[f32; LANES]; ROWS],
    /// Their numbers in `around`.
    pub number: [[u32; LANES]; ROWS],
    /// What a guess is put right by, for a dot that is off and one that is on, see [`guess`](super::guess).
    pub terms: [[[[f32; LANES]; TERMS]; ROWS]; 2],
    /// Above this guess a swap is not worked out, by its number, for a dot that is off and one that is on.
    pub doubts: [[f32; ROWS * LANES]; 2],
    /// What a changed dot weighs on the cells around it.
    pub fields: Fields,
}

/// Terms that put a guess right.
pub const TERMS: usize = 6;

impl SearchMoves {
    pub fn new(weights: &Autocorrelation, table: &MarkTable) -> Self {
        let parts = Parts::new(weights);
        let mut moves = SearchMoves {
            own: AFFECTED.map(|f| parts.at(f.dx, f.dy)),
            around: Vec::with_capacity(ROWS * LANES),
            pull: [[0.0; LANES]; ROWS],
            bar: [[NEVER; LANES]; ROWS],
            number: std::array::from_fn(|r| std::array::from_fn(|i| (r * LANES + i) as u32)),
            terms: [[[[0.0; LANES]; TERMS]; ROWS]; 2],
            doubts: [[0.5 * NEVER; ROWS * LANES]; 2],
            fields: Fields::new(weights),
        };
        for r in 0..ROWS {
            for i in 0..LANES {
                let (dx, dy) = (i as isize - AROUND as isize, r as isize - AROUND as isize);
                let flips = AFFECTED.map(|f| {
                    let first = AFFECTED.iter().find(|g| (g.dx, g.dy) == (f.dx + dx, f.dy + dy));
                    let (upper, lower) = first.map_or((0, 0), |g| (g.upper, g.lower));
                    (f.upper ^ upper, f.lower ^ lower)
                });
                let far = AFFECTED.map(|f| parts.at(f.dx + dx, f.dy + dy));
                let shared = AFFECTED.map(|f| {
                    let first = AFFECTED.iter().position(|g| (g.dx, g.dy) == (f.dx + dx, f.dy + dy));
                    first.unwrap_or(AFFECTED_CELLS) as u8
                });
                moves.around.push(Swap { dx, dy, flips, shared, far });
                if i < ROWS && (dx, dy) != (0, 0) {
                    moves.pull[r][i] = 2.0 * pull(weights, table, dx, dy);
                    moves.bar[r][i] = 0.0;
                }
            }
        }
        moves
    }
}

/// The weight between the marks of two lone dots, for marks of sum 1.
fn pull(weights: &Autocorrelation, table: &MarkTable, px: isize, py: isize) -> f32 {
    let lone = |code: u16| table.halves[usize::from(code)] - table.halves[0];
    let marks = AFFECTED.map(|f| (f.dx, f.dy, lone(f.upper) + lone(f.lower)));
    let (mut sum, mut all) = (0.0, 0.0);
    for (ax, ay, a) in marks {
        all += a;
        for (bx, by, b) in marks {
            sum += a * b * weights.at(bx + px - ax, by + py - ay);
        }
    }
    if all > 0.0 { sum / (all * all) } else { 0.0 }
}

/// Cells either side of a dot that the parts are known for: those around any dot that it is swapped with.
const REACH: isize = AROUND as isize + 2;
const SIDE: usize = 2 * REACH as usize + 1;
/// Standard deviation, in dots, of the heed that is paid to cells: marks are largest in the middle.
const HEED: f64 = 1.2;

/// The weights as a sum of products: `w(a, b) ≈ Σ parts(a)·parts(b)`, for `a` near the dot.
struct Parts {
    parts: Vec<[f64; PARTS]>,
}

impl Parts {
    fn new(weights: &Autocorrelation) -> Self {
        let index = |x: isize, y: isize| (y + REACH) as usize * SIDE + (x + REACH) as usize;
        let place = |i: usize| ((i % SIDE) as isize - REACH, (i / SIDE) as isize - REACH);
        let heed = |f: usize| {
            let squares = (AFFECTED[f].dx.pow(2) + AFFECTED[f].dy.pow(2)) as f64;
            libm::exp(-squares / (2.0 * HEED * HEED))
        };
        let mut parts = vec![[0.0f64; PARTS]; SIDE * SIDE];
        let mut left = [f64::from(weights.at(0, 0)); AFFECTED_CELLS];
        for k in 0..PARTS {
            let worst = |b: usize, i: usize| if left[i] * heed(i) > left[b] * heed(b) { i } else { b };
            let pivot = (0..AFFECTED_CELLS).fold(0, worst);
            let (px, py) = (AFFECTED[pivot].dx, AFFECTED[pivot].dy);
            let (root, base) = (left[pivot].max(1e-12).sqrt(), parts[index(px, py)]);
            for (i, part) in parts.iter_mut().enumerate() {
                let (x, y) = place(i);
                let known: f64 = part.iter().zip(&base).take(k).map(|(a, b)| a * b).sum();
                part[k] = (f64::from(weights.at(x - px, y - py)) - known) / root;
            }
            for (l, f) in left.iter_mut().zip(&AFFECTED) {
                let part = parts[index(f.dx, f.dy)][k];
                *l = (*l - part * part).max(0.0);
            }
        }
        Parts { parts }
    }

    /// The parts at a cell; none for cells too far away.
    fn at(&self, x: isize, y: isize) -> [f32; PARTS] {
        if x.abs().max(y.abs()) > REACH {
            return [0.0; PARTS];
        }
        self.parts[(y + REACH) as usize * SIDE + (x + REACH) as usize].map(|v| v as f32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::Burn;

    /// The sum over all pairs, as written down by Analoui and Allebach.
    fn whole(weights: &Autocorrelation, marks: &[(isize, isize, f32)]) -> f32 {
        let pairs = marks.iter().flat_map(|a| marks.iter().map(move |b| (a, b)));
        pairs.map(|(a, b)| a.2 * b.2 * weights.at(a.0 - b.0, a.1 - b.1)).sum()
    }

    #[test]
    fn parts_give_the_cost_of_lone_dots_and_of_exchanges() {
        let pitch = 25.4 / 300.0;
        let weights = Autocorrelation::new(pitch, pitch, 300.0);
        for beam in [1.0, 1.5, 2.0] {
            let table = MarkTable::new(&Burn::plain(beam, beam));
            let moves = SearchMoves::new(&weights, &table);
            let lone = |code: u16| table.halves[usize::from(code)] - table.halves[0];
            let added = AFFECTED.map(|f| lone(f.upper) + lone(f.lower));
            let sums = |basis: &Basis| -> [f32; PARTS] {
                std::array::from_fn(|k| basis.iter().zip(&added).map(|(p, a)| p[k] * a).sum())
            };
            let product =
                |a: &[f32; PARTS], b: &[f32; PARTS]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f32>();
            let own = sums(&moves.own);
            let marks: Vec<_> = AFFECTED.iter().zip(added).map(|(f, a)| (f.dx, f.dy, a)).collect();
            let exact = whole(&weights, &marks);
            let ours = product(&own, &own);
            assert!((ours / exact - 1.0).abs() < 0.01, "beam {beam}: a dot costs {exact}, by parts {ours}");
            for e in moves.around.iter().filter(|e| e.dx.abs().max(e.dy.abs()) <= AROUND as isize) {
                let cross: f32 = marks
                    .iter()
                    .flat_map(|a| marks.iter().map(move |b| (a, b)))
                    .map(|(a, b)| a.2 * b.2 * weights.at(b.0 + e.dx - a.0, b.1 + e.dy - a.1))
                    .sum();
                let ours = product(&own, &sums(&e.far));
                assert!(
                    (ours - cross).abs() < 0.01 * exact,
                    "beam {beam} at {}, {}: {cross}, {ours}",
                    e.dx,
                    e.dy
                );
            }
        }
    }
}
