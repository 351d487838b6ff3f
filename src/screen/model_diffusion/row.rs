//! One row of the diffusion.

use pulp::NullaryFnOnce;

use super::super::fitted::mark_table::{AFFECTED, AFFECTED_CELLS, Affected, CODES};
#[cfg(target_arch = "x86_64")]
use super::super::simd::Avx2;
use super::MOST_ERROR;
use super::error_filter::{ErrorFilter, ErrorFilters, Place};
use super::increment::{Column, Columns, Increment, Increments, RING, UNDER, at_edge};

/// Columns of cells beyond the plane either side.
pub(super) const PAD: usize = 2;

/// The rows in work, column by column; a row's place in a column is its number modulo the ring. Cells beyond the
/// plane are kept like any other but count for nothing.
pub(super) struct Rings {
    /// Codes of each cell's halves, the lower one in the upper sixteen bits; [`PAD`] columns more either side.
    pub codes: Vec<Column>,
    /// Errors handed on.
    pub errors: Vec<[f32; RING]>,
}

/// Bits of a dot in the codes of the cells around it, for each place of its row in the ring.
const BITS: [Columns; RING] = {
    let (mut bits, mut row) = ([[Column([0; RING]); 5]; RING], 0);
    while row < RING {
        let mut i = 0;
        while i < AFFECTED_CELLS {
            let Affected { dx, dy, upper, lower } = AFFECTED[i];
            bits[row][(dx + 2) as usize].0[(row as isize + dy + RING as isize) as usize % RING] =
                upper as u32 | (lower as u32) << 16;
            i += 1;
        }
        row += 1;
    }
    bits
};

/// What a row is made from.
pub(super) struct Row<'a> {
    pub halves: &'a [f32; CODES],
    pub ready: &'a Increments,
    pub filters: &'a ErrorFilters,
    pub tone: &'a [f32],
    /// Packed dots that stay off: in the row, and in the one below.
    pub barred: Option<[&'a [u8]; 2]>,
    /// Its number, and that of all rows.
    pub y: usize,
    pub height: usize,
    /// Its place in the ring.
    pub place: usize,
    /// Packed dots of the row above.
    pub above: &'a [u8],
}

impl Row<'_> {
    /// Where a dot lies.
    #[inline(always)]
    fn place(&self, x: usize) -> Place {
        let Some(barred) = self.barred else { return Place::Free };
        match barred.map(|row| row.get(x / 8).is_some_and(|b| b >> (7 - x % 8) & 1 == 1)) {
            [true, _] => Place::Barred,
            [false, true] => Place::AboveBarred,
            [false, false] => Place::Free,
        }
    }

    /// Decides all dots of the row, from the left if `forward`; packs them into `out`.
    pub fn walk(&self, forward: bool, rings: &mut Rings, out: &mut [u8]) {
        let way = Way::default();
        #[cfg(target_arch = "x86_64")]
        if let Some(simd) = super::super::simd::avx2() {
            return match forward {
                true => simd.vectorize(Walk::<_, true> { simd, row: self, way, rings, out }),
                false => simd.vectorize(Walk::<_, false> { simd, row: self, way, rings, out }),
            };
        }
        match forward {
            true => Walk::<_, true> { simd: Plain, row: self, way, rings, out }.call(),
            false => Walk::<_, false> { simd: Plain, row: self, way, rings, out }.call(),
        }
    }
}

/// What is on its way along a row.
#[derive(Clone, Copy, Default)]
struct Way {
    /// Errors for the next dots.
    ahead: [f32; 2],
    /// Errors for the five places below from two behind to two ahead, then for the three two rows below: written
    /// once all dots that share in them have been seen.
    under: [f32; UNDER],
    /// The last dots, the latest in the lowest bit.
    past: u32,
    /// Dots of the row above, the lowest bit three ahead.
    above: u32,
}

struct Walk<'a, S: HandDown, const FORWARD: bool> {
    simd: S,
    row: &'a Row<'a>,
    way: Way,
    rings: &'a mut Rings,
    out: &'a mut [u8],
}

impl<S: HandDown, const FORWARD: bool> NullaryFnOnce for Walk<'_, S, FORWARD> {
    type Output = ();

    #[inline(always)]
    fn call(mut self) {
        let w = self.row.tone.len();
        let inner = self.row.y >= 2 && self.row.y + 2 < self.row.height;
        self.way.above = (0..3).fold(0, |above, i| above << 1 | self.bit_above(i));
        let (first, last) = if inner && w > 4 { (2, w - 2) } else { (w, w) };
        for i in 0..first {
            self.edge_dot(i);
        }
        // A copy that nothing else can reach stays in registers.
        let mut way = self.way;
        for i in first..last {
            self.inner_dot(&mut way, i);
        }
        self.way = way;
        for i in last..w {
            self.edge_dot(i);
        }
    }
}

impl<S: HandDown, const FORWARD: bool> Walk<'_, S, FORWARD> {
    /// The column of the `i`th dot of the row.
    #[inline(always)]
    fn column(&self, i: usize) -> usize {
        if FORWARD { i } else { self.row.tone.len() - 1 - i }
    }

    /// The `i`th dot of the row above.
    #[inline(always)]
    fn bit_above(&self, i: usize) -> u32 {
        if i >= self.row.tone.len() {
            return 0;
        }
        let x = self.column(i);
        self.row.above.get(x / 8).map_or(0, |b| u32::from(b >> (7 - x % 8) & 1))
    }

    /// A dot all of whose cells lie on the plane.
    #[inline(always)]
    fn inner_dot(&mut self, way: &mut Way, i: usize) {
        way.above = way.above << 1 | self.bit_above(i + 3);
        let (x, place) = (self.column(i), self.row.place);
        let (Some(codes), Some(errors), Some(&wanted)) = (
            self.rings.codes.get_mut(x..).and_then(<[_]>::first_chunk_mut),
            self.rings.errors.get_mut(x - 2..).and_then(<[_]>::first_chunk_mut::<5>),
            self.row.tone.get(x),
        ) else {
            return;
        };
        let (above, past) = (way.above, way.past);
        let increment = self.row.ready.increment::<FORWARD>(self.row.halves, codes, place, above, past);
        let tone = tone(wanted);
        let lies = self.row.place(x);
        let filter = self.row.filters.at(lies, tone);
        let decision = decide(tone + errors[2][place % RING] + way.ahead[0], &increment, lies);
        let [down, two_down] = settle(self.simd, way, decision, filter, &increment);
        put(codes, place, decision);
        let (behind, two_behind) = if FORWARD { (0, 1) } else { (4, 3) };
        errors[behind][(place + 1) % RING] += down;
        errors[two_behind][(place + 2) % RING] += two_down;
        self.store(x, way.past);
    }

    /// A dot at a side or in the outermost rows.
    fn edge_dot(&mut self, i: usize) {
        self.way.above = self.way.above << 1 | self.bit_above(i + 3);
        let (x, place, w) = (self.column(i), self.row.place, self.row.tone.len());
        let Some(codes) = self.rings.codes.get_mut(x..).and_then(<[_]>::first_chunk_mut) else { return };
        let inside = |dx: isize, dy: isize| {
            x.checked_add_signed(dx).is_some_and(|x| x < w)
                && self.row.y.checked_add_signed(dy).is_some_and(|y| y < self.row.height)
        };
        let increment = at_edge::<FORWARD>(self.row.halves, codes, place, inside);
        let handed = self.rings.errors[x][place % RING];
        let tone = tone(self.row.tone[x]);
        let lies = self.row.place(x);
        let filter = self.row.filters.at(lies, tone);
        let decision = decide(tone + handed + self.way.ahead[0], &increment, lies);
        let [down, two_down] = settle(self.simd, &mut self.way, decision, filter, &increment);
        put(codes, place, decision);
        self.hand(i, -2, 1, down);
        self.hand(i, -1, 2, two_down);
        if i + 1 == w {
            // The rest that is still on its way.
            let Way { under, ahead, .. } = self.way;
            for (on, &error) in (-1..).zip(&under[..4]) {
                self.hand(i, on, 1, error);
            }
            for (on, &error) in (0..).zip(&under[5..7]) {
                self.hand(i, on, 2, error);
            }
            self.hand(i, 0, 1, ahead.iter().sum());
        }
        self.store(x, self.way.past);
    }

    /// Hands an error to a place `on` dots onward from the `i`th and so many rows below; what would leave at the
    /// sides goes to the outermost columns.
    fn hand(&mut self, i: usize, on: isize, below: usize, error: f32) {
        let x = self.column(i.saturating_add_signed(on).min(self.row.tone.len() - 1));
        self.rings.errors[x][(self.row.place + below) % RING] += error;
    }

    /// Writes the last dots where they fill a byte.
    #[inline(always)]
    fn store(&mut self, x: usize, past: u32) {
        let byte = if FORWARD {
            if x % 8 != 7 && x + 1 != self.row.tone.len() {
                return;
            }
            (past << (7 - x % 8)) as u8
        } else {
            if !x.is_multiple_of(8) {
                return;
            }
            (past as u8).reverse_bits()
        };
        if let Some(out) = self.out.get_mut(x / 8) {
            *out = byte;
        }
    }
}

/// A tone within 0 and 1; what is not a number is none.
#[inline(always)]
fn tone(tone: f32) -> f32 {
    let tone = if tone > 0.0 { tone } else { 0.0 };
    if tone < 1.0 { tone } else { 1.0 }
}

/// Whether a dot is on, and the error that is left.
#[derive(Clone, Copy)]
struct Decision {
    /// All bits where it is on, none where not.
    mask: u32,
    error: f32,
}

impl Decision {
    #[inline(always)]
    fn if_on(self, v: f32) -> f32 {
        f32::from_bits(v.to_bits() & self.mask)
    }
}

/// Decides a dot of which so much mark is wanted, off where it is barred.
#[inline(always)]
fn decide(wanted: f32, increment: &Increment, lies: Place) -> Decision {
    // On where half of what it adds is less. No branch: half of them would be guessed wrong.
    let allowed = u32::from(lies == Place::Barred).wrapping_sub(1);
    let mask = ((increment.sum() - 2.0 * wanted).to_bits() as i32 >> 31) as u32 & allowed;
    let error = wanted - f32::from_bits(increment.past.to_bits() & mask);
    Decision { mask, error: error.clamp(-MOST_ERROR, MOST_ERROR) }
}

/// Books what a dot adds and hands its error on; returns the errors that nothing more is added to in this row:
/// for the place two behind in the row below, and for the one behind two rows below.
#[inline(always)]
fn settle(
    simd: impl HandDown,
    way: &mut Way,
    decision: Decision,
    filter: &ErrorFilter,
    increment: &Increment,
) -> [f32; 2] {
    let Decision { mask, error } = decision;
    way.past = way.past << 1 | mask & 1;
    way.ahead = [
        filter.ahead[0] * error + way.ahead[1] - decision.if_on(increment.next[0]),
        filter.ahead[1] * error - decision.if_on(increment.next[1]),
    ];
    let down;
    (way.under, down) = simd.hand_down(way.under, &filter.under, decision, increment.under);
    down
}

/// Puts a dot into the codes of the cells around it.
#[inline(always)]
fn put(codes: &mut Columns, place: usize, decision: Decision) {
    for (codes, bits) in codes.iter_mut().zip(&BITS[place % RING]) {
        codes.0.iter_mut().zip(bits.0).for_each(|(code, bit)| *code |= bit & decision.mask);
    }
}

/// Numbers for the places below, in the order of the walk.
type Under = [f32; UNDER];

/// How what is on its way to the rows below is added to and moves on.
trait HandDown: Copy {
    /// Adds the shares of a dot's error and takes off what it books; returns what stays under way, a place on, and
    /// what leaves for the row below and for the one two below.
    fn hand_down(self, way: Under, shares: &Under, dot: Decision, booked: Under) -> (Under, [f32; 2]);
}

/// On any machine.
#[derive(Clone, Copy)]
struct Plain;

impl HandDown for Plain {
    #[inline(always)]
    fn hand_down(self, way: Under, shares: &Under, dot: Decision, booked: Under) -> (Under, [f32; 2]) {
        let all: Under = std::array::from_fn(|i| way[i] + shares[i] * dot.error - dot.if_on(booked[i]));
        ([all[1], all[2], all[3], all[4], 0.0, all[6], all[7], 0.0], [all[0], all[5]])
    }
}

#[cfg(target_arch = "x86_64")]
impl HandDown for Avx2 {
    #[inline(always)]
    fn hand_down(self, way: Under, shares: &Under, dot: Decision, booked: Under) -> (Under, [f32; 2]) {
        let a = self.avx;
        let mask = pulp::cast(a._mm256_set1_epi32(dot.mask as i32));
        let share = a._mm256_mul_ps(pulp::cast(*shares), a._mm256_set1_ps(dot.error));
        let sum = a._mm256_add_ps(pulp::cast(way), share);
        let all = a._mm256_sub_ps(sum, a._mm256_and_ps(pulp::cast(booked), mask));
        let moved = self.avx2._mm256_permutevar8x32_ps(all, pulp::cast([1i32, 2, 3, 4, 0, 6, 7, 5]));
        let next = a._mm256_blend_ps::<0b1001_0000>(moved, a._mm256_setzero_ps());
        let all: Under = pulp::cast(all);
        (pulp::cast(next), [all[0], all[5]])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[cfg(target_arch = "x86_64")]
    fn both_paths_hand_down_the_same_bits() {
        let Some(simd) = super::super::super::simd::avx2() else { return };
        let values = |n: u32| -> [f32; UNDER] {
            std::array::from_fn(|i| ((n + i as u32).wrapping_mul(2_654_435_761) >> 8) as f32 / 1e7 - 0.8)
        };
        for n in 0..1000 {
            let decision = Decision { mask: 0u32.wrapping_sub(n % 2), error: values(3 * n)[5] };
            let (plain, fast) = (
                Plain.hand_down(values(n), &values(5 * n), decision, values(7 * n)),
                simd.hand_down(values(n), &values(5 * n), decision, values(7 * n)),
            );
            let bits = |v: ([f32; UNDER], [f32; 2])| (v.0.map(f32::to_bits), v.1.map(f32::to_bits));
            assert_eq!(bits(plain), bits(fast));
        }
    }
}
