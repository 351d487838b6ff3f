//! The search within one tile, its surroundings held still.
//!
//! A dot is looked into only where it promises something: what its toggle would cost is known from when it
//! was last looked at and follows the correlation since; the best swap is guessed from what the two toggles
//! cost and pull (see [`guess`](super::guess)); only that one is worked out, and only where it may gain. A dot whose
//! correlation has hardly moved is passed over.

use super::autocorrelation::{NARROW, REACH, TOLD};
use super::fields::FIELDS;
use super::guess::Swapped;
use super::mark_table::{AFFECTED, AFFECTED_CELLS, Affected, each_affected};
use super::moves::{AROUND, Basis, LANES, NEVER, PARTS, ROWS, Swap};
use super::tile::{ASIDE, HALO, RIM, STRIDE, Tile};

/// From the first to the last place of the five rows of cells around a dot, and of the rows of lanes.
const FIVE: usize = 4 * STRIDE + 5;
const NEAR: usize = (ROWS - 1) * STRIDE + LANES;
/// Columns of the window in which the marks of a swap's first dot are lent to the second.
const WIDE: usize = 2 * (AROUND + 2) + 1;
const LENT: usize = 4 * WIDE + 5;

/// Dots this near are looked at anew once a dot has changed. Those within four share cells with it, but the outer ones so
/// little that photos score the same (within 0.02 dB), in a tenth less time.
const ANEW: usize = 2;
/// The least gain for which a change is made: rounding of sums of this size stays below it.
const LEAST_GAIN: f32 = 1e-6;

/// What toggling a dot does.
#[derive(Clone, Copy)]
struct Change<const C: usize> {
    /// Marks added to the cells that feel the dot.
    added: [[f32; AFFECTED_CELLS]; C],
    /// Sums of the parts of the weights.
    parts: [[f32; PARTS]; C],
    cost: f32,
}

impl<const C: usize> Change<C> {
    const NONE: Self = Change { added: [[0.0; AFFECTED_CELLS]; C], parts: [[0.0; PARTS]; C], cost: NEVER };
}

impl<const C: usize> Tile<'_, C> {
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
            for at in y * STRIDE + ASIDE..y * STRIDE + ASIDE + self.size.0 {
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
                let at = (y + HALO) * STRIDE + x + ASIDE;
                if self.toggle_sign[at] == 0.0 {
                    continue;
                }
                let moved = self.moved(at);
                if moved.abs() >= self.least_cost[at] {
                    changes += usize::from(self.visit(at));
                }
            }
        }
        changes
    }

    /// By how much the cost of a dot's toggle has moved since it was last looked at.
    #[inline(always)]
    fn moved(&self, at: usize) -> f32 {
        let mut moved = 0.0;
        for c in 0..C {
            moved += 2.0 * self.added_mark[c][at] * (self.correlation[c][at] - self.correlation_then[c][at]);
        }
        moved
    }

    /// Makes the best change of a dot, if any gains; whether one was made.
    #[inline(always)]
    fn visit(&mut self, at: usize) -> bool {
        let looked_at = (self.least_cost[at] < 0.0).then(|| self.toggle(at));
        let cost = looked_at.as_ref().map_or_else(|| self.cost[at] + self.moved(at), |first| first.cost);
        let (guess, partner) = self.likely(at, cost);
        let alone = cost + self.alone[at];
        if guess > self.moves.doubt && alone >= 0.0 {
            self.cost[at] = cost;
            self.note_correlation(at);
            self.least_cost[at] = guess.min(alone);
            return false;
        }
        let first = looked_at.unwrap_or_else(|| self.toggle(at));
        let Some(swap) = self.moves.around.get(partner) else { return false };
        let (both, second) =
            if guess < self.moves.doubt { self.swap(&first, at, swap) } else { (NEVER, Change::NONE) };
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

    /// Keeps the correlation at a dot, as it is looked at.
    #[inline(always)]
    fn note_correlation(&mut self, at: usize) {
        for c in 0..C {
            self.correlation_then[c][at] = self.correlation[c][at];
        }
    }

    /// The five rows around a place of each part's correlation.
    #[inline(always)]
    fn correlations(&self, at: usize) -> Option<[&[f32; FIVE]; C]> {
        let mut rows = [&[0.0; FIVE]; C];
        for (rows, plane) in rows.iter_mut().zip(&self.correlation) {
            *rows = five(plane, at)?;
        }
        Some(rows)
    }

    /// Works out the toggle of one dot, and keeps what it costs.
    #[inline(always)]
    fn toggle(&mut self, at: usize) -> Change<C> {
        let (Some(cells), Some(correlation)) = (five(&self.cells, at), self.correlations(at)) else {
            return Change::NONE;
        };
        let mut added = [[0.0f32; AFFECTED_CELLS]; C];
        let (mut linear, mut added_mark) = ([[0.0f32; 5]; C], [[0.0f32; 5]; C]);
        each_affected!(F, I, {
            const ROW: usize = (F.dy + 2) as usize;
            const PLACE: usize = ROW * STRIDE + (F.dx + 2) as usize;
            let cell = &cells[PLACE];
            let mut mark = [0.0f32; C];
            if F.upper != 0 {
                let now = &self.halves[usize::from(cell.upper ^ F.upper)];
                for c in 0..C {
                    mark[c] += now[c] - cell.upper_mark[c];
                }
            }
            if F.lower != 0 {
                let now = &self.halves[usize::from(cell.lower ^ F.lower)];
                for c in 0..C {
                    mark[c] += now[c] - cell.lower_mark[c];
                }
            }
            for c in 0..C {
                mark[c] *= cell.counts;
                added[c][I] = mark[c];
                linear[c][ROW] += mark[c] * correlation[c][PLACE];
                added_mark[c][ROW] += mark[c];
            }
        });
        let mut parts = [[0.0f32; PARTS]; C];
        let mut cost = 0.0;
        for c in 0..C {
            parts[c] = project(&self.moves.own, &added[c]);
            cost += 2.0 * sum(&linear[c]) + product(&parts[c], &parts[c]);
        }
        for (plane, added) in self.added_mark.iter_mut().zip(&added_mark) {
            plane[at] = sum(added);
        }
        self.cost[at] = cost;
        self.note_correlation(at);
        Change { added, parts, cost }
    }

    /// Works out the swap of the dot at `at`, whose toggle is known, with another: the cost of both, and
    /// the toggle of the other once the first is made.
    #[inline(always)]
    fn swap(&self, first: &Change<C>, at: usize, swap: &Swap) -> (f32, Change<C>) {
        let mut windows = [[0.0f32; WIDE * WIDE]; C];
        each_affected!(F, I, {
            const MIDDLE: isize = WIDE as isize / 2;
            const PLACE: usize = ((F.dy + MIDDLE) * WIDE as isize + F.dx + MIDDLE) as usize;
            for (window, added) in windows.iter_mut().zip(&first.added) {
                window[PLACE] = added[I];
            }
        });
        let corner = ((swap.dy + AROUND as isize) * WIDE as isize + swap.dx + AROUND as isize) as usize;
        let other = at.wrapping_add_signed(swap.dy * STRIDE as isize + swap.dx);
        let (Some(cells), Some(correlation)) = (five(&self.cells, other), self.correlations(other)) else {
            return (NEVER, Change::NONE);
        };
        let mut lent = [&[0.0f32; LENT]; C];
        for (lent, window) in lent.iter_mut().zip(&windows) {
            let Some(window) = window.get(corner..).and_then(|w| w.first_chunk::<LENT>()) else {
                return (NEVER, Change::NONE);
            };
            *lent = window;
        }
        let mut added = [[0.0f32; AFFECTED_CELLS]; C];
        let mut linear = [[0.0f32; 5]; C];
        each_affected!(F, I, {
            const ROW: usize = (F.dy + 2) as usize;
            const COLUMN: usize = (F.dx + 2) as usize;
            const PLACE: usize = ROW * STRIDE + COLUMN;
            let (cell, flip) = (&cells[PLACE], swap.flips[I]);
            let upper = &self.halves[usize::from(cell.upper ^ flip.0)];
            let lower = &self.halves[usize::from(cell.lower ^ flip.1)];
            for c in 0..C {
                let now = upper[c] + lower[c];
                let mark = (now - (cell.upper_mark[c] + cell.lower_mark[c])) * cell.counts
                    - lent[c][ROW * WIDE + COLUMN];
                added[c][I] = mark;
                linear[c][ROW] += mark * correlation[c][PLACE];
            }
        });
        let mut parts = [[0.0f32; PARTS]; C];
        let mut cost = first.cost;
        for c in 0..C {
            parts[c] = project(&self.moves.own, &added[c]);
            let both = product(&project(&swap.far, &added[c]), &first.parts[c]);
            cost += 2.0 * (sum(&linear[c]) + both) + product(&parts[c], &parts[c]);
        }
        (cost, Change { added, parts, cost })
    }

    /// The likeliest swap of a dot, by what the two toggles would cost on their own: its guess and its
    /// number.
    #[inline(always)]
    fn likely(&self, at: usize, cost: f32) -> (f32, usize) {
        let (Some(costs), Some(sides)) = (near(&self.cost, at), near(&self.toggle_sign, at)) else {
            return (NEVER, 0);
        };
        let mut parts = [[&[0.0f32; NEAR]; 3]; C];
        for (c, part) in parts.iter_mut().enumerate() {
            let planes = [&self.added_mark[c], &self.correlation_then[c], &self.correlation[c]];
            let [Some(added_marks), Some(seen), Some(correlation)] = planes.map(|p| near(p, at)) else {
                return (NEVER, 0);
            };
            *part = [added_marks, seen, correlation];
        }
        let against = -self.toggle_sign[at];
        let terms = &self.moves.terms[usize::from(against > 0.0)];
        let mut least = [NEVER; LANES];
        let first = self.added_mark[0][at];
        for r in 0..ROWS {
            let lanes = |p: &[f32; NEAR]| -> [f32; LANES] { std::array::from_fn(|i| p[r * STRIDE + i]) };
            let (costs, sides) = (lanes(costs), lanes(sides));
            let (pull, bar, number) = (&self.moves.pull[r], &self.moves.bar[r], &self.moves.number[r]);
            let mut guesses = costs;
            for (part, added_mark) in parts.iter().zip(&self.added_mark) {
                let [added_marks, seen, correlation] = part.map(lanes);
                let added_mark = added_mark[at];
                for i in 0..LANES {
                    let follow = 2.0 * (correlation[i] - seen[i]);
                    guesses[i] += added_marks[i] * (pull[i] * added_mark + follow);
                }
            }
            let [added_marks, _, correlation] = parts[0].map(lanes);
            let [base, own, both, others, seen_by_own, seen_by_other] = &terms[r];
            for i in 0..LANES {
                let other = added_marks[i];
                let by_own = own[i] * first + seen_by_own[i] * correlation[i];
                let by_other = both[i] * first + others[i] * other + seen_by_other[i] * correlation[i];
                guesses[i] += base[i] + first * by_own + other * by_other;
            }
            for i in 0..LANES {
                let guess = guesses[i] + bar[i];
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

    /// Works out all swaps of one dot.
    #[inline(always)]
    fn swaps(&mut self, at: usize) -> Vec<Swapped> {
        let (first, moves) = (self.toggle(at), self.moves);
        let mut swaps = Vec::new();
        for number in 0..ROWS * LANES {
            let (r, i) = (number / LANES, number % LANES);
            let swap = &moves.around[number];
            let other = at.wrapping_add_signed(swap.dy * STRIDE as isize + swap.dx);
            let free = self.toggle_sign[at] != 0.0 && self.toggle_sign[other] == -self.toggle_sign[at];
            if !free || moves.bar[r][i] > 0.0 {
                continue;
            }
            let pulls = self.added_mark.iter().map(|added| moves.pull[r][i] * added[at] * added[other]);
            swaps.push(Swapped {
                number,
                on: self.toggle_sign[at] < 0.0,
                guess: first.cost + self.cost[other] + pulls.sum::<f32>(),
                cost: self.swap(&first, at, swap).0,
                first: self.added_mark[0][at],
                second: self.added_mark[0][other],
                correlation: self.correlation[0][other],
            });
        }
        swaps
    }

    /// Switches a dot and tells all cells that its marks weigh on.
    #[inline(always)]
    fn make(&mut self, at: usize, added: &[[f32; AFFECTED_CELLS]; C]) {
        self.toggle_sign[at] = -self.toggle_sign[at];
        for f in &AFFECTED {
            let cell = &mut self.cells[at.wrapping_add_signed(f.dy * STRIDE as isize + f.dx)];
            cell.upper ^= f.upper;
            cell.lower ^= f.lower;
            cell.upper_mark = self.halves[usize::from(cell.upper)];
            cell.lower_mark = self.halves[usize::from(cell.lower)];
        }
        for y in 0..2 * ANEW + 1 {
            self.least_cost[at + y * STRIDE - ANEW * STRIDE - ANEW..][..2 * ANEW + 1].fill(-1.0);
        }
        if self.weights.reach == REACH {
            self.tell::<NARROW>(at, added);
        } else {
            self.tell::<TOLD>(at, added);
        }
    }

    /// Tells the cells around a dot of marks that were added to those that feel it.
    #[inline(always)]
    fn tell<const TOLD: usize>(&mut self, at: usize, added: &[[f32; AFFECTED_CELLS]; C]) {
        let fields = &self.moves.fields;
        let row = at / STRIDE;
        // Rows further from the tile's own are never looked at.
        let looked_at = HALO - RIM..HALO + self.size.1 + RIM;
        let first = at % STRIDE - self.weights.reach - 2;
        for (correlation, added) in self.correlation.iter_mut().zip(added) {
            let mut shares = [0.0f32; FIELDS];
            for (of_cell, mark) in fields.shares.iter().zip(added) {
                shares.iter_mut().zip(of_cell).for_each(|(s, share)| *s += mark * share);
            }
            for (y, of_row) in fields.rows.chunks_exact(fields.all * TOLD).enumerate() {
                let (above, below) = (row - y, row + y);
                if !looked_at.contains(&above) && !looked_at.contains(&below) {
                    continue;
                }
                let (mut even, mut odd) = ([0.0f32; TOLD], [0.0f32; TOLD]);
                let (of_even, of_odd) = of_row.as_chunks::<TOLD>().0.split_at(fields.even);
                for (field, share) in of_even.iter().zip(&shares) {
                    even.iter_mut().zip(field).for_each(|(s, f)| *s += share * f);
                }
                for (field, share) in of_odd.iter().zip(&shares[fields.even..]) {
                    odd.iter_mut().zip(field).for_each(|(s, f)| *s += share * f);
                }
                if looked_at.contains(&below)
                    && let Some(row) = correlation[below * STRIDE + first..].first_chunk_mut::<TOLD>()
                {
                    for i in 0..TOLD {
                        row[i] += even[i] + odd[i];
                    }
                }
                if y > 0
                    && looked_at.contains(&above)
                    && let Some(row) = correlation[above * STRIDE + first..].first_chunk_mut::<TOLD>()
                {
                    for i in 0..TOLD {
                        row[i] += even[i] - odd[i];
                    }
                }
            }
        }
    }
}

/// One pass, on the vector path of the machine.
struct Pass<'t, 'a, const C: usize> {
    tile: &'t mut Tile<'a, C>,
    pass: u32,
}

impl<const C: usize> pulp::NullaryFnOnce for Pass<'_, '_, C> {
    type Output = usize;

    #[inline(always)]
    fn call(self) -> usize {
        if self.pass == 0 {
            self.tile.look();
        }
        self.tile.pass(self.pass % 2 == 1)
    }
}

/// Works out all swaps of one dot in so many.
pub struct Sampled<'t, 'a, const C: usize> {
    pub tile: &'t mut Tile<'a, C>,
    pub one_in: usize,
}

impl<const C: usize> pulp::NullaryFnOnce for Sampled<'_, '_, C> {
    type Output = Vec<Vec<Swapped>>;

    #[inline(always)]
    fn call(self) -> Vec<Vec<Swapped>> {
        let Sampled { tile, one_in } = self;
        tile.look();
        let (width, height) = tile.size;
        let at = |i: usize| (i / width + HALO) * STRIDE + i % width + ASIDE;
        (0..width * height).step_by(one_in.max(1)).map(|i| tile.swaps(at(i))).collect()
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
