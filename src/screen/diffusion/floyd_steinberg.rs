//! R. W. Floyd and L. Steinberg, "An adaptive algorithm for spatial greyscale", Proc. SID 17 (1976) 75–77.
//!
//! ```text
//!       *  7
//!    3  5  1     / 16
//! ```

use super::lanes::{Lanes, ONE};
use super::rows::{Carry, HALO, Left, Rule, Shares};

/// The largest share that goes on to other dots: of an error of half a mark. Only the last dot of a row can be left
/// with more, as it alone gets more than a full error where what would leave at the side is kept.
pub(super) const MOST: i32 = ONE / 32 - 1;

/// Share 0 is a sixteenth of the error, rounded to nearest; the kernel is whole multiples of it.
pub(super) struct FloydSteinberg;

impl<S: Lanes> Rule<S> for FloydSteinberg {
    const SHARES: usize = 1;
    const STARTUP_SPREAD: f64 = 0.55;
    const STARTUP_SHARES: &'static [f32] = &[9.0 / 16.0];
    const MOST: i32 = MOST;

    fn see(&mut self, _s: S, _tones: &[f32], _segment: usize, _row: usize) {}

    #[inline(always)]
    fn given(&self, s: S, above: [&Left<S>; 2], i: usize, turned: bool, reverse: bool) -> S::V {
        let row = &above[0].planes[0];
        let (west, mid, east) =
            (s.load(&row[HALO + i - 1]), s.load(&row[HALO + i]), s.load(&row[HALO + i + 1]));
        // The dot above and one back on the way of the row above gives 1, the one ahead gives 3.
        let (one, three) = if turned == reverse { (west, east) } else { (east, west) };
        let four_mid = s.shl::<2>(mid);
        s.add(s.add(s.add(one, mid), s.add(four_mid, three)), s.add(three, three))
    }

    #[inline(always)]
    fn dot(&self, s: S, _i: usize, value: S::V, carry: Carry<S>) -> (S::V, Carry<S>, Shares<S>) {
        let v = s.add(value, carry[0]);
        // Within half a share's rounding of a half is a half: whether a value is rounded first makes no difference.
        let on = s.above(v, s.splat(ONE / 2 - 9));
        let error = s.sub(v, s.and(on, s.splat(ONE)));
        let share = s.shr::<4>(s.add(error, s.splat(8)));
        let seven = s.sub(s.shl::<3>(share), share);
        (on, [seven, s.splat(0)], [share, share, share])
    }

    fn lost(&self, from_side: usize, towards: bool, shares: [i32; 3]) -> i32 {
        match (from_side, towards) {
            (0, true) => shares[0] * 8,
            (0, false) => shares[0] * 3,
            _ => 0,
        }
    }
}
