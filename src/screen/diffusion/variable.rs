//! Error diffusion whose weights depend on the tone.
//!
//! V. Ostromoukhov, "A simple and efficient error-diffusion algorithm", SIGGRAPH 2001: weights to the
//! dot ahead, the one below and behind, and the one below, chosen by the *input* level of 256. Two tables
//! circulate; this is the one in the author's own program.

use super::lanes::{BLOCK, Lanes, ONE};
use super::rows::{Carry, HALO, Left, Rule, Shares};

/// Level of 256, and weights ahead, below and behind, below.
pub(super) type Node = (usize, [u32; 3]);

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

/// What a level decides.
#[derive(Clone, Copy)]
struct Level {
    /// Bits of the weights ahead and below-behind, shares of the error.
    ahead: i32,
    behind: i32,
    /// Marked above this, in fixed point.
    threshold: i32,
    /// How much a step of noise, of 128, lifts the threshold.
    lift: i32,
}

/// Weights ahead and below-behind by level, as shares of the error; levels above 127 mirror those below.
fn table(nodes: &[Node]) -> [Level; 256] {
    let mut table = [Level { ahead: 0, behind: 0, threshold: ONE / 2, lift: 0 }; 256];
    for pair in nodes.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let share =
            |node: Node, k: usize| f64::from(node.1[k]) / node.1.iter().map(|&w| f64::from(w)).sum::<f64>();
        for level in from.0..=to.0 {
            let t = (level - from.0) as f64 / (to.0 - from.0) as f64;
            let bits = |k| ((share(from, k) + t * (share(to, k) - share(from, k))) as f32).to_bits() as i32;
            for at in [level, 255 - level] {
                (table[at].ahead, table[at].behind) = (bits(0), bits(1));
            }
        }
    }
    table
}

/// Shares: ahead (kept for the sides only), below and behind, below.
pub(super) struct Variable<S: Lanes> {
    by_level: [Level; 256],
    modulated: bool,
    /// The row's levels.
    levels: Vec<u8>,
    /// What the levels of a row decide, column by column: weights, threshold, lift.
    row: [Vec<i32>; 4],
    /// The first three lane by lane.
    ahead: Vec<S::Mem>,
    behind: Vec<S::Mem>,
    thresholds: Vec<S::Mem>,
}

impl<S: Lanes> Variable<S> {
    pub fn ostromoukhov(segment: usize) -> Self {
        let mut variable = Self::new(segment, &OSTROMOUKHOV);
        // The author's program leaves level 0 off whatever the error.
        variable.by_level[0].threshold = i32::MAX;
        variable
    }

    /// Weights from a table of nodes, the threshold at ½.
    pub fn new(segment: usize, nodes: &[Node]) -> Self {
        Variable {
            by_level: table(nodes),
            modulated: false,
            levels: vec![0; segment * S::COUNT],
            row: std::array::from_fn(|_| vec![0; segment * S::COUNT]),
            ahead: vec![S::ZERO; segment],
            behind: vec![S::ZERO; segment],
            thresholds: vec![S::ZERO; segment],
        }
    }

    /// Lifts the threshold at random by up to `strength(level)` times ½, see [`noise`](super::zhou_fang::noise).
    pub fn modulated(mut self, strength: impl Fn(usize) -> f64) -> Self {
        self.modulated = true;
        for (level, entry) in self.by_level.iter_mut().enumerate() {
            entry.lift = (strength(level) / 255.0 * f64::from(ONE)).round() as i32;
        }
        self
    }
}

impl<S: Lanes> Rule<S> for Variable<S> {
    const SHARES: usize = 3;
    const STARTUP_SPREAD: f64 = 0.55;
    const STARTUP_SHARES: &'static [f32] = &[0.4];

    #[inline(always)]
    fn see(&mut self, s: S, tones: &[f32], segment: usize, row: usize) {
        for (level, &tone) in self.levels.iter_mut().zip(tones) {
            // A cast from float is 0 for not-a-number and for what is below 0.
            *level = (tone * 255.0 + 0.5) as u8;
        }
        // Indices into slices of one length: chains of `zip` were not compiled for AVX2, four times as slow.
        let n = self.levels.len();
        let [ahead, behind, thresholds, lifts] = self.row.each_mut().map(|r| &mut r[..n]);
        for (x, &level) in self.levels.iter().enumerate() {
            let level = &self.by_level[usize::from(level)];
            ahead[x] = level.ahead;
            behind[x] = level.behind;
            thresholds[x] = level.threshold;
            lifts[x] = level.lift;
        }
        if self.modulated {
            for x in 0..n {
                thresholds[x] += super::zhou_fang::noise(x as u32, row as u32) * lifts[x];
            }
        }
        let lanes = [&mut self.ahead, &mut self.behind, &mut self.thresholds];
        for (numbers, lanes) in self.row.iter().zip(lanes) {
            for (block, lanes) in lanes.chunks_exact_mut(BLOCK).enumerate() {
                for (to, v) in lanes.iter_mut().zip(s.columns(numbers, segment, block * BLOCK)) {
                    *to = s.store(v);
                }
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
        let on = s.above(v, s.load(&self.thresholds[i]));
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
