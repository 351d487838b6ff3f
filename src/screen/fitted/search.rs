//! The search within one tile, its surroundings held still.
//!
//! A dot is looked into only where it promises something: what its toggle would cost is known from when it
//! was last looked at and follows the correlation since; the best swap is guessed from what the two toggles
//! cost and pull; only that one is worked out. A dot whose correlation has hardly moved is passed over.

use super::autocorrelation::{PADDED, REACH, SIDE};
use super::mark_table::{AFFECTED, AFFECTED_CELLS, Affected, each_affected};
use super::moves::{AROUND, Basis, LANES, NEVER, PARTS, ROWS, Swap};
use super::tile::{HALO, STRIDE, Tile};

/// From the first to the last place of the five rows of cells around a dot, and of the rows of lanes.
const FIVE: usize = 4 * STRIDE + 5;
const NEAR: usize = (ROWS - 1) * STRIDE + LANES;
/// Columns of the window in which the marks of a swap's first dot are lent to the second.
const WIDE: usize = 2 * (AROUND + 2) + 1;
const LENT: usize = 4 * WIDE + 5;
/// Columns of what is told of a change: [`SIDE`] and two either side, up to whole lanes.
const TOLD: usize = 32;

/// Above this guess a swap is not worked out. The guess leaves out how near dots change each other's
/// marks, which for a beam of two pitches is several times the usual gain: at a quarter of this value its
/// photos lose 0.05 dB.
const DOUBT: f32 = 0.02;
/// The least gain for which a change is made: rounding of sums of this size stays below it.
const LEAST_GAIN: f32 = 1e-6;

/// What toggling a dot does.
#[derive(Clone, Copy)]
struct Change {
    /// Marks added to the cells that feel the dot.
    added: [f32; AFFECTED_CELLS],
    /// Sums of the parts of the weights.
    parts: [f32; PARTS],
    cost: f32,
}

const NONE: Change = Change { added: [0.0; AFFECTED_CELLS], parts: [0.0; PARTS], cost: NEVER };

impl Tile<'_> {
    /// Searches in so many passes, or fewer when none finds anything more.
    pub fn search(&mut self, passes: u32) {
        for pass in 0..passes {
            if pulp::Arch::new().dispatch(Pass { tile: self, pass }) == 0 {
                break;
            }
        }
    }

    /// What each dot's toggle would cost, before any pass.
    #[inline(always)]
    fn look(&mut self) {
        for y in HALO..HALO + self.size.1 {
            for at in y * STRIDE + HALO..y * STRIDE + HALO + self.size.0 {
                self.toggle(at);
            }
        }
    }

    /// One pass over the tile; the number of changes made.
    #[inline(always)]
    fn pass(&mut self, backward: bool) -> usize {
        let mut changes = 0;
        for row in 0..self.size.1 {
            for column in 0..self.size.0 {
                let (x, y) =
                    if backward { (self.size.0 - 1 - column, self.size.1 - 1 - row) } else { (column, row) };
                let at = (y + HALO) * STRIDE + x + HALO;
                let moved = 2.0 * self.added_mark[at] * (self.correlation[at] - self.correlation_then[at]);
                if moved.abs() >= self.least_cost[at] {
                    changes += usize::from(self.visit(at));
                }
            }
        }
        changes
    }

    /// Makes the best change of a dot, if any gains; whether one was made.
    #[inline(always)]
    fn visit(&mut self, at: usize) -> bool {
        if self.least_cost[at] < 0.0 {
            self.toggle(at);
        }
        let cost =
            self.cost[at] + 2.0 * self.added_mark[at] * (self.correlation[at] - self.correlation_then[at]);
        let (guess, partner) = self.likely(at, cost);
        let least = guess.min(cost + self.alone[at]);
        if least > DOUBT {
            self.cost[at] = cost;
            self.correlation_then[at] = self.correlation[at];
            self.least_cost[at] = least;
            return false;
        }
        let first = self.toggle(at);
        let Some(swap) = self.moves.around.get(partner) else { return false };
        let (both, second) = if guess < DOUBT { self.swap(&first, at, swap) } else { (NEVER, NONE) };
        let alone = first.cost + self.alone[at];
        self.least_cost[at] = both.min(alone).max(0.0);
        if both.min(alone) >= -LEAST_GAIN {
            return false;
        }
        self.make(at, &first.added);
        if both < alone {
            let other = at.wrapping_add_signed(swap.dy * STRIDE as isize + swap.dx);
            self.make(other, &second.added);
            self.toggle(other);
        }
        self.toggle(at);
        true
    }

    /// Works out the toggle of one dot, and keeps what it costs.
    #[inline(always)]
    fn toggle(&mut self, at: usize) -> Change {
        let (Some(cells), Some(correlation)) = (five(&self.cells, at), five(&self.correlation, at)) else {
            return NONE;
        };
        let mut added = [0.0f32; AFFECTED_CELLS];
        let (mut linear, mut added_mark) = ([0.0f32; 5], [0.0f32; 5]);
        each_affected!(F, I, {
            const ROW: usize = (F.dy + 2) as usize;
            const PLACE: usize = ROW * STRIDE + (F.dx + 2) as usize;
            let cell = &cells[PLACE];
            let mut mark = 0.0;
            if F.upper != 0 {
                mark += self.halves[usize::from(cell.upper ^ F.upper)] - cell.upper_mark;
            }
            if F.lower != 0 {
                mark += self.halves[usize::from(cell.lower ^ F.lower)] - cell.lower_mark;
            }
            mark *= cell.counts;
            added[I] = mark;
            linear[ROW] += mark * correlation[PLACE];
            added_mark[ROW] += mark;
        });
        let parts = project(&self.moves.own, &added);
        let (linear, added_mark) = (sum(&linear), sum(&added_mark));
        let cost = 2.0 * linear + product(&parts, &parts);
        self.cost[at] = cost;
        self.added_mark[at] = added_mark;
        self.correlation_then[at] = self.correlation[at];
        Change { added, parts, cost }
    }

    /// Works out the swap of the dot at `at`, whose toggle is known, with another: the cost of both, and
    /// the toggle of the other once the first is made.
    #[inline(always)]
    fn swap(&self, first: &Change, at: usize, swap: &Swap) -> (f32, Change) {
        let mut window = [0.0f32; WIDE * WIDE];
        each_affected!(F, I, {
            const MIDDLE: isize = WIDE as isize / 2;
            const PLACE: usize = ((F.dy + MIDDLE) * WIDE as isize + F.dx + MIDDLE) as usize;
            window[PLACE] = first.added[I];
        });
        let corner = (swap.dy + AROUND as isize) * WIDE as isize + swap.dx + AROUND as isize;
        let other = at.wrapping_add_signed(swap.dy * STRIDE as isize + swap.dx);
        let lent = window.get(corner as usize..).and_then(|w| w.first_chunk::<LENT>());
        let (Some(cells), Some(correlation), Some(lent)) =
            (five(&self.cells, other), five(&self.correlation, other), lent)
        else {
            return (NEVER, NONE);
        };
        let mut added = [0.0f32; AFFECTED_CELLS];
        let mut linear = [0.0f32; 5];
        each_affected!(F, I, {
            const ROW: usize = (F.dy + 2) as usize;
            const COLUMN: usize = (F.dx + 2) as usize;
            const PLACE: usize = ROW * STRIDE + COLUMN;
            let (cell, flip) = (&cells[PLACE], swap.flips[I]);
            let now =
                self.halves[usize::from(cell.upper ^ flip.0)] + self.halves[usize::from(cell.lower ^ flip.1)];
            let mark = (now - (cell.upper_mark + cell.lower_mark)) * cell.counts - lent[ROW * WIDE + COLUMN];
            added[I] = mark;
            linear[ROW] += mark * correlation[PLACE];
        });
        let parts = project(&self.moves.own, &added);
        let both = product(&project(&swap.far, &added), &first.parts);
        let cost = first.cost + 2.0 * (sum(&linear) + both) + product(&parts, &parts);
        (cost, Change { added, parts, cost })
    }

    /// The likeliest swap of a dot, by what the two toggles would cost on their own: its guess and its
    /// number.
    #[inline(always)]
    fn likely(&self, at: usize, cost: f32) -> (f32, usize) {
        let planes =
            [&self.cost, &self.added_mark, &self.correlation_then, &self.correlation, &self.toggle_sign];
        let [Some(costs), Some(added_marks), Some(seen), Some(correlation), Some(sides)] =
            planes.map(|p| near(p, at))
        else {
            return (NEVER, 0);
        };
        let (against, added_mark) = (-self.toggle_sign[at], self.added_mark[at]);
        let mut least = [NEVER; LANES];
        for r in 0..ROWS {
            let rows = [costs, added_marks, seen, correlation, sides]
                .map(|p| p[r * STRIDE..].first_chunk::<LANES>());
            let [Some(costs), Some(added_marks), Some(seen), Some(correlation), Some(sides)] = rows else {
                break;
            };
            let (pull, bar, number) = (&self.moves.pull[r], &self.moves.bar[r], &self.moves.number[r]);
            for i in 0..LANES {
                let follow = 2.0 * (correlation[i] - seen[i]);
                let guess = costs[i] + added_marks[i] * (pull[i] * added_mark + follow) + bar[i];
                // The number rides in the last bits, so that one comparison finds both.
                let guess = f32::from_bits(guess.to_bits() & !63 | number[i]);
                let guess = if sides[i] == against { guess } else { NEVER };
                least[i] = if guess < least[i] { guess } else { least[i] };
            }
        }
        let less = |a: f32, b: f32| if a < b { a } else { b };
        let four: [f32; 4] = std::array::from_fn(|i| less(least[i], least[i + 4]));
        let best = less(less(four[0], four[2]), less(four[1], four[3]));
        if best < 0.5 * NEVER { (best + cost, (best.to_bits() & 63) as usize) } else { (NEVER, 0) }
    }

    /// Switches a dot and tells all cells that its marks weigh on.
    #[inline(always)]
    fn make(&mut self, at: usize, added: &[f32; AFFECTED_CELLS]) {
        self.toggle_sign[at] = -self.toggle_sign[at];
        let mut rows = [[0.0f32; 5]; 5];
        for (f, &mark) in AFFECTED.iter().zip(added) {
            let cell = &mut self.cells[at.wrapping_add_signed(f.dy * STRIDE as isize + f.dx)];
            cell.upper ^= f.upper;
            cell.lower ^= f.lower;
            cell.upper_mark = self.halves[usize::from(cell.upper)];
            cell.lower_mark = self.halves[usize::from(cell.lower)];
            rows[(f.dy + 2) as usize][(f.dx + 2) as usize] = mark;
        }
        // Dots within four share a cell with this one.
        for y in 0..9 {
            self.least_cost[at + y * STRIDE - 4 * STRIDE - 4..][..9].fill(-1.0);
        }
        // A row of the correlation takes in the marks of all cells that reach it before it is written.
        let corner = at - (REACH + 2) * STRIDE - REACH - 2;
        for y in 0..SIDE + 4 {
            let Some(row) = self.correlation[corner + y * STRIDE..].first_chunk_mut::<TOLD>() else {
                continue;
            };
            let mut sums = *row;
            for (r, marks) in rows.iter().enumerate() {
                let Some(weights) = y.checked_sub(r).and_then(|w| self.weights.rows.get(w)) else { continue };
                for (c, &mark) in marks.iter().enumerate() {
                    let Some(weights) = weights[PADDED - c..].first_chunk::<TOLD>() else { continue };
                    sums.iter_mut().zip(weights).for_each(|(s, w)| *s += mark * w);
                }
            }
            *row = sums;
        }
    }
}

/// One pass, on the vector path of the machine.
struct Pass<'t, 'a> {
    tile: &'t mut Tile<'a>,
    pass: u32,
}

impl pulp::NullaryFnOnce for Pass<'_, '_> {
    type Output = usize;

    #[inline(always)]
    fn call(self) -> usize {
        if self.pass == 0 {
            self.tile.look();
        }
        self.tile.pass(self.pass % 2 == 1)
    }
}

/// The five rows of cells around a place.
#[inline(always)]
fn five<T>(plane: &[T], at: usize) -> Option<&[T; FIVE]> {
    plane.get(at - 2 * STRIDE - 2..)?.first_chunk()
}

/// The rows of lanes around a place.
#[inline(always)]
fn near(plane: &[f32], at: usize) -> Option<&[f32; NEAR]> {
    plane.get(at - AROUND * STRIDE - AROUND..)?.first_chunk()
}

/// Sums of the parts, weighted by marks; in three chains, which the processor adds up side by side.
#[inline(always)]
fn project(basis: &Basis, added: &[f32; AFFECTED_CELLS]) -> [f32; PARTS] {
    let mut sums = [[0.0f32; PARTS]; 3];
    for i in 0..AFFECTED_CELLS / 3 {
        for (k, sums) in sums.iter_mut().enumerate() {
            let (mark, row) = (added[3 * i + k], &basis[3 * i + k]);
            sums.iter_mut().zip(row).for_each(|(s, p)| *s += p * mark);
        }
    }
    std::array::from_fn(|i| sums[0][i] + sums[1][i] + sums[2][i])
}

#[inline(always)]
fn product(a: &[f32; PARTS], b: &[f32; PARTS]) -> f32 {
    let p: [f32; PARTS] = std::array::from_fn(|i| a[i] * b[i]);
    let four: [f32; 4] = std::array::from_fn(|i| p[i] + p[i + 4]);
    (four[0] + four[2]) + (four[1] + four[3])
}

#[inline(always)]
fn sum(v: &[f32; 5]) -> f32 {
    (v[0] + v[1]) + (v[2] + v[3]) + v[4]
}
