//! Error diffusion whose weights depend on the tone.
//!
//! V. Ostromoukhov, "A simple and efficient error-diffusion algorithm", SIGGRAPH 2001: weights to the
//! dot ahead, the one below and behind, and the one below, chosen by the *input* level of 256. Two tables
//! circulate; this is the one in the author's own program.

use super::lanes::{Lanes, ONE};
use super::rows::{Carry, HALO, Left, Rule, Shares};

/// Level of 256, and weights ahead, below and behind, below.
type Node = (usize, [u32; 3]);

const OSTROMOUKHOV: [Node; 15] = [
    (0, [13, 0, 5]),
    (1, [13, 0, 5]),
    (2, [21, 0, 10]),
    (3, [7, 0, 4]),
    (4, [8, 0, 5]),
    (10, [7, 3, 3]),
    (22, [3, 2, 1]),
    (36, [5, 3, 3]),
    (64, [1, 1, 0]),
    (72, [5, 7, 1]),
    (77, [4, 1, 1]),
    (85, [4, 1, 1]),
    (95, [5, 3, 2]),
    (107, [5, 3, 2]),
    (127, [4, 1, 1]),
];

/// Weights ahead and below-behind by level, as shares of the error; levels above 127 mirror those below.
fn table(nodes: &[Node]) -> [[f32; 2]; 256] {
    let mut table = [[0.0; 2]; 256];
    for pair in nodes.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let share = |node: Node, k: usize| f64::from(node.1[k]) / node.1.iter().sum::<u32>() as f64;
        for level in from.0..=to.0 {
            let t = (level - from.0) as f64 / (to.0 - from.0) as f64;
            let weights = [0, 1].map(|k| (share(from, k) + t * (share(to, k) - share(from, k))) as f32);
            table[level] = weights;
            table[255 - level] = weights;
        }
    }
    table
}

/// Shares: ahead (kept for the sides only), below and behind, below.
pub(super) struct Variable<S: Lanes> {
    /// By level: the bits of the weights ahead and below-behind. The sign of the second tells that the level
    /// is never marked.
    by_level: Vec<[i32; 2]>,
    /// The row's levels.
    levels: Vec<u8>,
    /// The same weights for each dot of the row.
    ahead: Vec<S::Mem>,
    behind: Vec<S::Mem>,
}

impl<S: Lanes> Variable<S> {
    pub fn ostromoukhov(segment: usize) -> Self {
        let bits = |w: &[f32; 2]| [w[0].to_bits() as i32, w[1].to_bits() as i32];
        let mut by_level: Vec<_> = table(&OSTROMOUKHOV).iter().map(bits).collect();
        // The author's program leaves level 0 off whatever the error; its weight behind is 0, so that the
        // sign changes no product.
        by_level[0][1] = (-0.0f32).to_bits() as i32;
        Variable {
            by_level,
            levels: vec![0; segment * S::COUNT],
            ahead: vec![S::ZERO; segment],
            behind: vec![S::ZERO; segment],
        }
    }
}

impl<S: Lanes> Rule<S> for Variable<S> {
    const SHARES: usize = 3;
    const START: f64 = 0.55;
    const FROM_START: &'static [f32] = &[0.4];

    #[inline(always)]
    fn see(&mut self, tones: &[f32], segment: usize) {
        for (level, &tone) in self.levels.iter_mut().zip(tones) {
            // A cast from float is 0 for not-a-number and for what is below 0.
            *level = (tone * 255.0 + 0.5) as u8;
        }
        for (i, (ahead, behind)) in self.ahead.iter_mut().zip(&mut self.behind).enumerate() {
            let levels = self.levels[i..].iter().step_by(segment);
            let lanes = ahead.as_mut().iter_mut().zip(behind.as_mut());
            for (&level, (ahead, behind)) in levels.zip(lanes) {
                [*ahead, *behind] = self.by_level[usize::from(level)];
            }
        }
    }

    #[inline(always)]
    fn given(&self, s: S, above: [&Left<S>; 2], i: usize, turned: bool, reverse: bool) -> S::V {
        // The row above gives below and behind itself: a row that ran left to right gives to its west.
        let from = if turned == reverse { HALO + i + 1 } else { HALO + i - 1 };
        s.add(s.load(&above[0].planes[1][from]), s.load(&above[0].planes[2][HALO + i]))
    }

    #[inline(always)]
    fn dot(&self, s: S, i: usize, value: S::V, carry: Carry<S>) -> (S::V, Carry<S>, Shares<S>) {
        let v = s.add(value, carry[0]);
        let may = s.above(s.load(&self.behind[i]), s.splat(-1));
        let on = s.and(s.above(v, s.splat(ONE / 2)), may);
        let error = s.sub(v, s.and(on, s.splat(ONE)));
        let ahead = s.scaled(error, s.load(&self.ahead[i]));
        let behind = s.scaled(error, s.load(&self.behind[i]));
        let below = s.sub(s.sub(error, ahead), behind);
        (on, [ahead, s.splat(0)], [ahead, behind, below])
    }

    fn lost(&self, from_side: usize, towards: bool, shares: [i32; 3]) -> i32 {
        match (from_side, towards) {
            (0, true) => shares[0],
            (0, false) => shares[1],
            _ => 0,
        }
    }
}
