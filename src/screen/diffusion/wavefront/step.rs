//! One step of sixteen lanes.
//!
//! A step is sixteen dots: two vectors of eight, one for the even lanes and one for the odd, so that what the odd
//! lanes get from above is just what the even ones left. Numbers are 32 bits and wrap. A share is kept with
//! [`REST`] added, which makes its sixteenfold sum half a mark more, and a tone is kept less a full mark; so a
//! value's sign tells whether it is below a half, and its lower 28 bits are the error that is left, half a mark
//! added, whether the dot is on or off: there is nothing to compare and nothing to choose. Tones are turned into
//! columns a word at a time, so that the walk itself keeps all it needs in registers.

use std::arch::x86_64::{__m256, __m256i};

use super::super::super::simd::Avx2;
use super::super::floyd_steinberg::MOST;
use super::super::lanes::ONE;
use super::{LANES, REST, Walk};

/// A pair of vectors: the even lanes, the odd lanes.
pub(super) type Pair = [__m256i; 2];

/// The lane at place `i` of a pair's numbers.
pub(super) const fn lane(i: usize) -> usize {
    i % 8 * 2 + i / 8
}

/// What a lane knows from its last steps.
pub(super) struct State {
    pub share: Pair,
    /// The row above's share at the column of the next step.
    pub mid: Pair,
    /// That and its western neighbour, summed.
    pub two: Pair,
}

/// As [`fixed`](super::super::lanes::fixed), less a full mark, plus 8.
#[inline(always)]
pub(super) fn fixed(s: Avx2, tone: __m256) -> __m256i {
    // The second operand is what comes out where the first is not a number.
    let low = s.avx._mm256_max_ps(tone, s.avx._mm256_setzero_ps());
    let one = s.avx._mm256_set1_ps(1.0);
    let up = s.avx._mm256_add_ps(s.avx._mm256_min_ps(low, one), one);
    s.avx2._mm256_add_epi32(s.avx2._mm256_slli_epi32::<5>(pulp::cast(up)), s.avx._mm256_set1_epi32(8))
}

/// The row above's shares one column ahead of each lane: what the lane above left last, and `given` for lane 0.
#[inline(always)]
fn from_above(s: Avx2, share: Pair, given: i32) -> Pair {
    let moved = s.avx2._mm256_permutevar8x32_epi32(share[1], pulp::cast([7i32, 0, 1, 2, 3, 4, 5, 6]));
    let given = s.avx._mm256_castsi128_si256(s.sse2._mm_cvtsi32_si128(given));
    [s.avx2._mm256_blend_epi32::<1>(moved, given), share[0]]
}

/// The shares of lanes 9, 11, 13 and 15: a single store, of which only the last is used.
#[inline(always)]
pub(super) fn last(s: Avx2, share: Pair) -> [i32; 4] {
    pulp::cast(s.avx2._mm256_extracti128_si256::<1>(share[1]))
}

/// One step of all lanes. Returns the values, negative where the dot is off.
#[inline(always)]
pub(super) fn step(s: Avx2, value: &[i32; LANES], given: i32, state: &mut State) -> Pair {
    let a = s.avx2;
    let east = from_above(s, state.share, given);
    let mut v: Pair = pulp::cast(*value);
    for i in 0..2 {
        let (share, mid, east) = (state.share[i], state.mid[i], east[i]);
        // 1 west + 5 mid + 3 east + 7 share, with fewest sums: (west + mid) + 4 (mid + east + 2 share) - east - share.
        let two = a._mm256_add_epi32(mid, east);
        let four = a._mm256_slli_epi32::<2>(a._mm256_add_epi32(two, a._mm256_add_epi32(share, share)));
        let early =
            a._mm256_sub_epi32(a._mm256_add_epi32(v[i], state.two[i]), a._mm256_add_epi32(share, east));
        v[i] = a._mm256_add_epi32(early, four);
        state.share[i] = a._mm256_srli_epi32::<8>(a._mm256_slli_epi32::<4>(v[i]));
        state.two[i] = two;
        state.mid[i] = east;
    }
    v
}

/// The signs of a pair, a byte each.
#[inline(always)]
pub(super) fn negative(s: Avx2, v: Pair) -> [u8; 2] {
    let signs = |v| s.avx._mm256_movemask_ps(pulp::cast(v)) as u8;
    [signs(v[0]), signs(v[1])]
}

/// The same where lanes may be outside the plane or at a side.
#[inline(always)]
pub(super) fn edge_step(
    s: Avx2,
    walk: &Walk,
    at: usize,
    value: &[i32; LANES],
    given: i32,
    state: &mut State,
) -> [u8; 2] {
    let a = s.avx2;
    let width = walk.tone.width();
    // The lane at its first column, west of which there is nothing, and the one at its last.
    let place = |at: usize| (at.is_multiple_of(2) && at / 2 < LANES).then_some(at % 4 / 2 * 8 + at / 4);
    let first = place(at);
    let last = at.checked_sub(width - 1).and_then(place);
    let mut value = *value;
    if walk.keep_sides {
        for (lane, part) in [(first, 3), (last, 8)] {
            if let Some(i) = lane {
                let mid: [i32; LANES] = pulp::cast(state.mid);
                value[i] = value[i].wrapping_add(part * (mid[i] - REST));
            }
        }
    }
    let v = step(s, &value, given, state);
    if let Some(i) = last {
        // Here alone more than half a mark may be left: the value is what it was, less half a mark.
        let (values, mut shares): ([i32; LANES], [i32; LANES]) = (pulp::cast(v), pulp::cast(state.share));
        let error = if values[i] < 0 { values[i] + ONE / 2 } else { values[i] - ONE / 2 };
        shares[i] = (error >> 4).clamp(-MOST - 1, MOST) + REST;
        state.share = pulp::cast(shares);
    }
    let mut off = v;
    for (half, off) in off.iter_mut().enumerate() {
        let lags: [i32; 8] = std::array::from_fn(|i| 2 * lane(8 * half + i) as i32);
        let x = a._mm256_sub_epi32(s.avx._mm256_set1_epi32(at as i32), pulp::cast(lags));
        let from = a._mm256_cmpgt_epi32(x, s.avx._mm256_set1_epi32(-1));
        let inside = a._mm256_and_si256(from, a._mm256_cmpgt_epi32(s.avx._mm256_set1_epi32(width as i32), x));
        state.share[half] = a._mm256_blendv_epi8(s.avx._mm256_set1_epi32(REST), state.share[half], inside);
        *off = a._mm256_or_si256(*off, a._mm256_xor_si256(inside, s.avx._mm256_set1_epi32(-1)));
    }
    negative(s, off)
}
