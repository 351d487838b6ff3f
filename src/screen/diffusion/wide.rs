//! Error diffusion over twelve neighbours in three rows.
//!
//! J. F. Jarvis, C. N. Judice and W. H. Ninke, "A survey of techniques for the display of continuous tone
//! pictures on bilevel displays", Computer Graphics and Image Processing 5 (1976) 13–40:
//! ```text
//!          *  7  5
//!    3  5  7  5  3
//!    1  3  5  3  1     / 48
//! ```
//! P. Stucki, "MECCA: a multiple-error correcting computation algorithm for bilevel image hard copy
//! reproduction", IBM Research Report RZ1060 (1981):
//! ```text
//!          *  8  4
//!    2  4  8  4  2
//!    1  2  4  2  1     / 42
//! ```

use super::lanes::{Lanes, ONE};
use super::rows::{Carry, HALO, Left, Rule, Shares};

/// Share 0 is the error over the kernel's divisor, towards zero; the kernel is whole multiples of it.
/// Share 1 is what rounding leaves over; it goes to the dot below, so that no tone is lost.
pub(super) struct Wide {
    /// Bits of the `f32` 1 / divisor.
    part: i32,
    /// Weights one, two and three places from the dot: see [`weights`](Wide::weights).
    stucki: bool,
}

impl Wide {
    pub fn jarvis_judice_ninke() -> Self {
        Wide { part: (1.0f32 / 48.0).to_bits() as i32, stucki: false }
    }

    pub fn stucki() -> Self {
        Wide { part: (1.0f32 / 42.0).to_bits() as i32, stucki: true }
    }

    /// The weights by distance, nearest first: of `[7, 5, 3, 1]` or `[8, 4, 2, 1]`.
    fn weights(&self) -> [i32; 4] {
        if self.stucki { [8, 4, 2, 1] } else { [7, 5, 3, 1] }
    }

    /// The sum of three values with the weights from place `n` on: nearest, next, farthest.
    #[inline(always)]
    fn sum<S: Lanes>(&self, s: S, second_row: bool, v: [S::V; 3]) -> S::V {
        let [near, next, far] = v;
        if self.stucki {
            // 4 near + 2 next + far, doubled in the first row.
            let sum = s.add(s.add(s.shl::<2>(near), s.add(next, next)), far);
            if second_row { sum } else { s.add(sum, sum) }
        } else {
            // 7, 5, 3 or 5, 3, 1: 5 or 3 times all, and twice the difference of nearest and farthest.
            let all = s.add(s.add(near, next), far);
            let lean = s.sub(near, far);
            let times = if second_row { s.add(all, all) } else { s.shl::<2>(all) };
            s.add(s.add(times, all), s.add(lean, lean))
        }
    }
}

impl<S: Lanes> Rule<S> for Wide {
    const SHARES: usize = 2;
    const STARTUP_SPREAD: f64 = 0.34;
    const STARTUP_SHARES: &'static [f32] = &[0.73, 0.26];

    fn see(&mut self, _s: S, _tones: &[f32], _segment: usize, _row: usize) {}

    #[inline(always)]
    fn given(&self, s: S, above: [&Left<S>; 2], i: usize, _turned: bool, _reverse: bool) -> S::V {
        let first = near_to_far(s, above[0], i);
        let second = near_to_far(s, above[1], i);
        let rest = s.load(&above[0].planes[1][HALO + i]);
        s.add(s.add(self.sum(s, false, first), self.sum(s, true, second)), rest)
    }

    #[inline(always)]
    fn dot(&self, s: S, _i: usize, value: S::V, carry: Carry<S>) -> (S::V, Carry<S>, Shares<S>) {
        let [last, before] = carry;
        let ahead = if self.stucki {
            s.add(s.shl::<3>(last), s.shl::<2>(before))
        } else {
            let sum = s.add(last, before);
            s.add(s.add(s.shl::<2>(sum), sum), s.add(last, last))
        };
        let v = s.add(value, ahead);
        let on = s.above(v, s.splat(ONE / 2 - 1));
        let error = s.sub(v, s.and(on, s.splat(ONE)));
        let share = s.scaled(error, s.splat(self.part));
        // 48 = 32 + 16, 42 = 32 + 8 + 2.
        let most = s.shl::<5>(share);
        let spread = if self.stucki {
            s.add(most, s.add(s.shl::<3>(share), s.add(share, share)))
        } else {
            s.add(most, s.shl::<4>(share))
        };
        (on, [share, last], [share, s.sub(error, spread), share])
    }

    fn lost(&self, from_side: usize, towards: bool, shares: [i32; 3]) -> i32 {
        let [a, b, c, d] = self.weights();
        let weight = match (from_side, towards) {
            (0, true) => (a + b) + (b + c) + (c + d),
            (1, true) => b + c + d,
            (0, false) => (b + c) + (c + d),
            (1, false) => c + d,
            _ => 0,
        };
        shares[0] * weight
    }
}

/// The shares at column `i`, the sum of those beside it, and the sum of those two away.
#[inline(always)]
fn near_to_far<S: Lanes>(s: S, left: &Left<S>, i: usize) -> [S::V; 3] {
    let row = &left.planes[0][i..i + 2 * HALO + 1];
    [s.load(&row[2]), s.add(s.load(&row[1]), s.load(&row[3])), s.add(s.load(&row[0]), s.load(&row[4]))]
}
