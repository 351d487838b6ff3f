//! The search within one tile, its surroundings held still.
//!
//! A dot is looked into only where it promises something: what its toggle would cost is known from when it
//! was last looked at and follows the correlation since; the best swap is guessed from what the two toggles
//! cost and pull (see [`guess`](super::guess)); only that one is worked out, and only where it may gain. A dot whose
//! correlation has hardly moved is passed over.

use super::fields::{self, FIELDS};
use super::guess::Swapped;
use super::mark_table::{AFFECTED, Affected, each_affected};
use super::moves::{ADDED, AROUND, Basis, LANES, NEVER, NUMBERS, ROWS, Swap};
use super::tile::{ASIDE, HALO, RIM, STRIDE, Tile};
use crate::screen::simd::{Eights, Work, eight, eights, set_eight};
use pulp::f32x8;
use std::ops::Range;

/// From the first to the last place of the five rows of cells around a dot, and of the rows of lanes.
const FIVE: usize = 4 * STRIDE + 5;
const NEAR: usize = (ROWS - 1) * STRIDE + LANES;

/// Dots this near are looked at anew once a dot has changed. Those within four share cells with it, but the outer ones so
/// little that photos score the same (within 0.02 dB), in a tenth less time.
const ANEW: usize = 2;
/// The least gain for which a change is made: rounding of sums of this size stays below it.
const LEAST_GAIN: f32 = 1e-6;

/// What toggling a dot does.
#[derive(Clone, Copy)]
struct Change<const C: usize> {
    /// Marks added to the cells that feel the dot, and noughts.
    added: [[f32; C]; ADDED],
    /// Sums of the parts of the weights.
    parts: [f32x8; C],
    cost: f32,
}

impl<const C: usize> Change<C> {
    const NONE: Self = Change {
        added: [[0.0; C]; ADDED],
        parts: [f32x8(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0); C],
        cost: NEVER,
    };
}

impl<const C: usize> Tile<'_, C> {
    /// Searches in so many passes, or fewer when none finds anything more. Where there is `heat`, a pass comes before them in
    /// which the best change of each dot is made even if it makes things worse by so much.
    pub fn search(&mut self, passes: u32, heat: f32) {
        let hot = u32::from(heat > 0.0);
        for pass in 0..hot + passes {
            let most_cost = if pass < hot { heat } else { -LEAST_GAIN };
            if eights(Pass { tile: self, pass, most_cost }) == 0 {
                break;
            }
        }
    }

    /// What each dot's toggle would cost, before any pass.
    #[inline(always)]
    fn look<S: Eights>(&mut self, simd: S) {
        let mut change = Change::NONE;
        for y in HALO..HALO + self.size.1 {
            for at in y * STRIDE + ASIDE..y * STRIDE + ASIDE + self.size.0 {
                self.toggle(simd, at, &mut change);
            }
        }
    }

    /// One pass over the tile, in which changes are made that cost less than so much; their number.
    #[inline(always)]
    fn pass<S: Eights>(&mut self, simd: S, backward: bool, most_cost: f32) -> usize {
        let mut changes = 0;
        let mut room = [Change::NONE; 2];
        for row in 0..self.size.1 {
            for column in 0..self.size.0 {
                let (x, y) =
                    if backward { (self.size.0 - 1 - column, self.size.1 - 1 - row) } else { (column, row) };
                let at = (y + HALO) * STRIDE + x + ASIDE;
                if self.toggle_sign[at] == 0.0 {
                    continue;
                }
                let moved = self.moved(at);
                if moved.abs() >= self.least_cost[at] - most_cost.max(0.0) {
                    changes += usize::from(self.visit(simd, at, moved, most_cost, &mut room));
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

    /// Makes the best change of a dot, if any costs less than `most_cost`; whether one was made. The changes are worked out
    /// in `room`.
    #[inline(always)]
    fn visit<S: Eights>(
        &mut self,
        simd: S,
        at: usize,
        moved: f32,
        most_cost: f32,
        [first, second]: &mut [Change<C>; 2],
    ) -> bool {
        let anew = self.least_cost[at] < 0.0;
        let cost = if anew { self.toggle(simd, at, first) } else { self.cost[at] + moved };
        let (guess, partner) = self.likely(simd, at, cost);
        let alone = cost + self.alone[at];
        let doubt = self.moves.doubts[usize::from(self.toggle_sign[at] < 0.0)][partner % (ROWS * LANES)];
        let doubt = doubt.max(most_cost);
        if guess > doubt && alone >= most_cost.max(0.0) {
            self.cost[at] = cost;
            self.note_correlation(at);
            self.least_cost[at] = guess.min(alone);
            return false;
        }
        if !anew {
            self.toggle(simd, at, first);
        }
        let Some(swap) = self.moves.around.get(partner) else { return false };
        let both = if guess < doubt { self.swap(simd, first, at, swap, second) } else { NEVER };
        let alone = first.cost + self.alone[at];
        self.least_cost[at] = both.min(alone).max(0.0);
        if both.min(alone) >= most_cost {
            return false;
        }
        self.make(simd, at, first);
        if both < alone {
            let other = at.wrapping_add_signed(swap.dy * STRIDE as isize + swap.dx);
            self.make(simd, other, second);
            self.toggle(simd, other, second);
        }
        self.toggle(simd, at, first);
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

    /// Works out the toggle of one dot, and keeps what it costs: returned too.
    #[inline(always)]
    fn toggle<S: Eights>(&mut self, simd: S, at: usize, change: &mut Change<C>) -> f32 {
        let (Some(cells), Some(correlation)) = (five(&self.cells, at), self.correlations(at)) else {
            return NEVER;
        };
        // The parts of a mark lie side by side: they are looked up and summed as one.
        let (mut linear, mut added_mark) = ([[0.0f32; C]; 5], [[0.0f32; C]; 5]);
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
                linear[ROW][c] += mark[c] * correlation[c][PLACE];
                added_mark[ROW][c] += mark[c];
            }
            change.added[I] = mark;
        });
        let (linear, added_mark) = (sum(&linear), sum(&added_mark));
        let mut cost = 0.0;
        for (c, parts) in change.parts.iter_mut().enumerate() {
            *parts = project(simd, &self.moves.own, &change.added, c);
            cost += 2.0 * linear[c] + product(simd, *parts, *parts);
            self.added_mark[c][at] = added_mark[c];
        }
        self.cost[at] = cost;
        self.note_correlation(at);
        change.cost = cost;
        cost
    }

    /// Works out the swap of the dot at `at`, whose toggle is known, with another: the cost of both is returned, the
    /// toggle of the other once the first is made is the `second`.
    #[inline(always)]
    fn swap<S: Eights>(
        &self,
        simd: S,
        first: &Change<C>,
        at: usize,
        swap: &Swap,
        second: &mut Change<C>,
    ) -> f32 {
        let other = at.wrapping_add_signed(swap.dy * STRIDE as isize + swap.dx);
        let (Some(cells), Some(correlation)) = (five(&self.cells, other), self.correlations(other)) else {
            return NEVER;
        };
        let mut linear = [[0.0f32; C]; 5];
        each_affected!(F, I, {
            const ROW: usize = (F.dy + 2) as usize;
            const PLACE: usize = ROW * STRIDE + (F.dx + 2) as usize;
            let (cell, flip) = (&cells[PLACE], swap.flips[I]);
            let upper = &self.halves[usize::from(cell.upper ^ flip.0)];
            let lower = &self.halves[usize::from(cell.lower ^ flip.1)];
            let lent = &first.added[usize::from(swap.shared[I]) % ADDED];
            let mut mark = [0.0f32; C];
            for c in 0..C {
                let now = upper[c] + lower[c];
                mark[c] = (now - (cell.upper_mark[c] + cell.lower_mark[c])) * cell.counts - lent[c];
                linear[ROW][c] += mark[c] * correlation[c][PLACE];
            }
            second.added[I] = mark;
        });
        let linear = sum(&linear);
        let mut cost = first.cost;
        for (c, parts) in second.parts.iter_mut().enumerate() {
            *parts = project(simd, &self.moves.own, &second.added, c);
            let both = product(simd, project(simd, &swap.far, &second.added, c), first.parts[c]);
            cost += 2.0 * (linear[c] + both) + product(simd, *parts, *parts);
        }
        cost
    }

    /// The likeliest swap of a dot, by what the two toggles would cost on their own: its guess and its
    /// number.
    #[inline(always)]
    fn likely<S: Eights>(&self, simd: S, at: usize, cost: f32) -> (f32, usize) {
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
        let (never, two) = (simd.splat_f32s(NEVER), simd.splat_f32s(2.0));
        let (against, above) = (simd.splat_f32s(against), simd.splat_u32s(!NUMBERS));
        let mut least = never;
        let first = self.added_mark[0][at];
        for (r, terms) in terms.iter().enumerate() {
            let (pull, bar) = (lane(&self.moves.pull[r]), lane(&self.moves.bar[r]));
            let number = pulp::cast(self.moves.number[r]);
            let mut guesses = eight(costs, r * STRIDE);
            for (&[added_marks, seen, correlation], added_mark) in parts.iter().zip(&self.added_mark) {
                let follow = simd
                    .mul_f32s(two, simd.sub_f32s(eight(correlation, r * STRIDE), eight(seen, r * STRIDE)));
                let slope = simd.plus(follow, pull, added_mark[at]);
                guesses = simd.add_f32s(guesses, simd.mul_f32s(eight(added_marks, r * STRIDE), slope));
            }
            let (other, correlation) = (eight(parts[0][0], r * STRIDE), eight(parts[0][2], r * STRIDE));
            let [base, own, both, others, seen_by_own, seen_by_other] = terms;
            let (base, own, both) = (lane(base), lane(own), lane(both));
            let (others, seen_by_own, seen_by_other) = (lane(others), lane(seen_by_own), lane(seen_by_other));
            let by_own = simd.plus(simd.mul_f32s(seen_by_own, correlation), own, first);
            let by_other = simd.plus(simd.mul_f32s(others, other), both, first);
            let by_other = simd.add_f32s(by_other, simd.mul_f32s(seen_by_other, correlation));
            let more = simd.plus(base, by_own, first);
            guesses = simd.add_f32s(guesses, simd.add_f32s(more, simd.mul_f32s(other, by_other)));
            // The number rides in the last bits, so that one comparison finds both.
            let bits = simd.transmute_u32s_f32s(simd.add_f32s(guesses, bar));
            let numbered = simd.transmute_f32s_u32s(simd.or_u32s(simd.and_u32s(bits, above), number));
            let guess = simd.select_f32s(simd.equal_f32s(eight(sides, r * STRIDE), against), numbered, never);
            least = simd.select_f32s(simd.less_than_f32s(guess, least), guess, least);
        }
        let least: [f32; LANES] = pulp::cast(least);
        let less = |a: f32, b: f32| if a < b { a } else { b };
        let four: [f32; 4] = std::array::from_fn(|i| less(least[i], least[i + 4]));
        let best = less(less(four[0], four[2]), less(four[1], four[3]));
        if best < 0.5 * NEVER { (best + cost, (best.to_bits() & NUMBERS) as usize) } else { (NEVER, 0) }
    }

    /// Works out all swaps of one dot.
    #[inline(always)]
    fn swaps<S: Eights>(&mut self, simd: S, at: usize) -> Vec<Swapped> {
        let [mut first, mut second] = [Change::NONE; 2];
        self.toggle(simd, at, &mut first);
        let moves = self.moves;
        let mut swaps = Vec::new();
        for number in 0..ROWS * LANES {
            let swap = &moves.around[number];
            let other = at.wrapping_add_signed(swap.dy * STRIDE as isize + swap.dx);
            let free = self.toggle_sign[at] != 0.0 && self.toggle_sign[other] == -self.toggle_sign[at];
            let (r, i) = (number / LANES, number % LANES);
            if !free || moves.bar[r][i] > 0.0 {
                continue;
            }
            let mut pulls = 0.0;
            for added in &self.added_mark {
                pulls += moves.pull[r][i] * added[at] * added[other];
            }
            swaps.push(Swapped {
                number,
                on: self.toggle_sign[at] < 0.0,
                guess: first.cost + self.cost[other] + pulls,
                cost: self.swap(simd, &first, at, swap, &mut second),
                first: self.added_mark[0][at],
                second: self.added_mark[0][other],
                correlation: self.correlation[0][other],
            });
        }
        swaps
    }

    /// Switches a dot and tells all cells that its marks weigh on.
    #[inline(always)]
    fn make<S: Eights>(&mut self, simd: S, at: usize, change: &Change<C>) {
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
        self.tell(simd, at, &change.added);
    }

    /// Tells the cells around a dot of marks that were added to those that feel it.
    #[inline(always)]
    fn tell<S: Eights>(&mut self, simd: S, at: usize, added: &[[f32; C]; ADDED]) {
        let fields = &self.moves.fields;
        // Rows further from the tile's own are never looked at.
        let looked_at = HALO - RIM..HALO + self.size.1 + RIM;
        for (c, correlation) in self.correlation.iter_mut().enumerate() {
            let mut shares = [simd.splat_f32s(0.0); FIELDS / LANES];
            for (of_cell, mark) in fields.shares.iter().zip(added) {
                let of_cell = of_cell.as_chunks::<LANES>().0;
                for i in 0..FIELDS / LANES {
                    shares[i] = simd.plus(shares[i], lane(&of_cell[i]), mark[c]);
                }
            }
            let shares: [f32; FIELDS] = pulp::cast(shares);
            let shares = shares.split_at(fields.even.min(FIELDS));
            for (y, row) in fields.rows.iter().enumerate().filter(|(_, row)| !row.fields.is_empty()) {
                let mut told = Told { correlation: &mut *correlation, looked_at: &looked_at, at, y };
                match row.lanes {
                    2 => told.tell::<S, 2>(simd, row, shares),
                    3 => told.tell::<S, 3>(simd, row, shares),
                    4 => told.tell::<S, 4>(simd, row, shares),
                    5 => told.tell::<S, 5>(simd, row, shares),
                    _ => told.tell::<S, 7>(simd, row, shares),
                }
            }
        }
    }
}

/// The rows of correlation that lie so many above and below a dot.
struct Told<'a> {
    correlation: &'a mut [f32],
    looked_at: &'a Range<usize>,
    at: usize,
    y: usize,
}

impl Told<'_> {
    /// Tells them of a change, by the shares of the fields that are the same above and below and of those that change sign.
    #[inline(always)]
    fn tell<S: Eights, const N: usize>(&mut self, simd: S, row: &fields::FieldRow, shares: (&[f32], &[f32])) {
        let (above, below) = (self.at / STRIDE - self.y, self.at / STRIDE + self.y);
        if !self.looked_at.contains(&above) && !self.looked_at.contains(&below) {
            return;
        }
        let first = self.at % STRIDE - LANES * N / 2;
        let (mut even, mut odd) = ([simd.splat_f32s(0.0); N], [simd.splat_f32s(0.0); N]);
        let (of_even, of_odd) = row.fields.as_chunks::<N>().0.split_at(row.even);
        for (field, &share) in of_even.iter().zip(shares.0) {
            for i in 0..N {
                even[i] = simd.plus(even[i], lane(&field[i]), share);
            }
        }
        for (field, &share) in of_odd.iter().zip(shares.1) {
            for i in 0..N {
                odd[i] = simd.plus(odd[i], lane(&field[i]), share);
            }
        }
        if self.looked_at.contains(&below) {
            for i in 0..N {
                let at = below * STRIDE + first + LANES * i;
                let sum = simd.add_f32s(eight(self.correlation, at), simd.add_f32s(even[i], odd[i]));
                set_eight(self.correlation, at, sum);
            }
        }
        if self.y > 0 && self.looked_at.contains(&above) {
            for i in 0..N {
                let at = above * STRIDE + first + LANES * i;
                let sum = simd.add_f32s(eight(self.correlation, at), simd.sub_f32s(even[i], odd[i]));
                set_eight(self.correlation, at, sum);
            }
        }
    }
}

/// One pass, on the vector path of the machine.
pub struct Pass<'t, 'a, const C: usize> {
    pub tile: &'t mut Tile<'a, C>,
    /// Its number; odd ones go backward.
    pub pass: u32,
    /// Changes are made that cost less than this.
    pub most_cost: f32,
}

impl<const C: usize> Work for Pass<'_, '_, C> {
    type Output = usize;

    #[inline(always)]
    fn run<S: Eights>(self, simd: S) -> usize {
        if self.pass == 0 {
            self.tile.look(simd);
        }
        self.tile.pass(simd, self.pass % 2 == 1, self.most_cost)
    }
}

/// Works out all swaps of one dot in so many.
pub struct Sampled<'t, 'a, const C: usize> {
    pub tile: &'t mut Tile<'a, C>,
    pub one_in: usize,
}

impl<const C: usize> Work for Sampled<'_, '_, C> {
    type Output = Vec<Vec<Swapped>>;

    #[inline(always)]
    fn run<S: Eights>(self, simd: S) -> Vec<Vec<Swapped>> {
        let Sampled { tile, one_in } = self;
        tile.look(simd);
        let (width, height) = tile.size;
        // Loops, not closures: those would be compiled without the vectors.
        let mut all = Vec::new();
        for i in (0..width * height).step_by(one_in.max(1)) {
            all.push(tile.swaps(simd, (i / width + HALO) * STRIDE + i % width + ASIDE));
        }
        all
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

/// Eight numbers side by side.
#[inline(always)]
fn lane(numbers: &[f32; LANES]) -> f32x8 {
    pulp::cast(*numbers)
}

/// Sums of the parts, weighted by the `c`th part of marks; in three chains, which the processor adds up side by side.
#[inline(always)]
fn project<S: Eights, const C: usize>(simd: S, basis: &Basis, added: &[[f32; C]; ADDED], c: usize) -> f32x8 {
    let mut sums = [simd.splat_f32s(0.0); 3];
    for i in 0..basis.len() / 3 {
        for k in 0..3 {
            sums[k] = simd.plus(sums[k], lane(&basis[3 * i + k]), added[3 * i + k][c]);
        }
    }
    simd.add_f32s(simd.add_f32s(sums[0], sums[1]), sums[2])
}

#[inline(always)]
fn product<S: Eights>(simd: S, a: f32x8, b: f32x8) -> f32 {
    let p: [f32; LANES] = pulp::cast(simd.mul_f32s(a, b));
    let four: [f32; 4] = std::array::from_fn(|i| p[i] + p[i + 4]);
    (four[0] + four[2]) + (four[1] + four[3])
}

/// The sums of five rows, for each part of a mark.
#[inline(always)]
fn sum<const C: usize>(v: &[[f32; C]; 5]) -> [f32; C] {
    std::array::from_fn(|c| (v[0][c] + v[1][c]) + (v[2][c] + v[3][c]) + v[4][c])
}
