//! The rows that error diffusion works on.
//!
//! A row is cut into as many equal segments as there are lanes, each lane walks one segment, and all walk
//! at once. What a segment starts with is the error its neighbour ends with, which is not yet known: it is
//! first taken as it was three rows of the same direction ago, which is right in flat tones whose pattern
//! repeats so. When all have arrived, each starts again with the true value and walks until it meets
//! its own earlier track, exactly; from there on the track is right as it stands. Two tracks of the same row
//! close in on each other by 7/16 a step (Floyd–Steinberg) and in most pictures are one after 20 to 40 dots. So a
//! row costs a little more than one walk, either direction of travel is as fast as the other, and the dots
//! are those of the plain walk from one end to the other, always: nothing is taken as met that has not met.

use super::lanes::{BLOCK, Lanes};

/// What a dot leaves behind for its neighbours: up to three shares of its error. Which, the rule knows.
pub(super) type Shares<S> = [<S as Lanes>::V; 3];

/// What a dot hands on along its row.
pub(super) type Carry<S> = [<S as Lanes>::V; 2];

/// Zeros before and after a segment's shares: the widest kernel reaches two dots aside.
pub(super) const HALO: usize = 2;

/// Rows of one direction after which flat patterns come again. Two tracks of such a pattern that are out of
/// step never meet, and every segment waits for the one before it: passes a row over 1024 columns of a flat 1/3
/// are 13.0 from a guess of none, 9.6 from one row ago, 12.6 from two, 2.0 from three, 9.6 from four; the mean
/// over all 254 greys falls from 1.28 to 1.18.
const PERIOD: usize = 3;

/// The shares left behind by one row, lane by lane.
pub(super) struct Left<S: Lanes> {
    /// One plane for each share, `HALO + segment + HALO` long.
    pub planes: [Vec<S::Mem>; 3],
}

impl<S: Lanes> Left<S> {
    pub fn none(segment: usize) -> Self {
        Left { planes: std::array::from_fn(|_| vec![S::ZERO; segment + 2 * HALO]) }
    }

    /// The share at column `x`.
    pub fn at(&self, plane: usize, x: usize, segment: usize) -> i32 {
        self.planes[plane][HALO + x % segment].as_ref()[x / segment]
    }
}

/// How a method spreads its error.
pub(super) trait Rule<S: Lanes> {
    /// Shares that are kept.
    const SHARES: usize;
    /// The settled error's constant c, see [`startup`](super::startup).
    const STARTUP_SPREAD: f64;
    /// What part of the errors above the first row it and the next get.
    const STARTUP_SHARES: &'static [f32];
    /// The largest share that the last dot of a row may leave.
    const MOST: i32 = i32::MAX;

    /// Gets ready for a row: what depends on its tones and its number, counted from the first row walked.
    fn see(&mut self, s: S, tones: &[f32], segment: usize, row: usize);

    /// What the rows above give to step `i`: `above[0]` is the row above, `above[1]` the one over it.
    /// `turned` tells that the row above ran the other way; `reverse` that this row runs right to left.
    fn given(&self, s: S, above: [&Left<S>; 2], i: usize, turned: bool, reverse: bool) -> S::V;

    /// One dot: from its value without its own row's errors and what the row hands on to
    /// (all bits set where on, what it hands on, its shares).
    fn dot(&self, s: S, i: usize, value: S::V, carry: Carry<S>) -> (S::V, Carry<S>, Shares<S>);

    /// What the dot `from_side` dots from a side loses beyond it, where the row travels `towards` that
    /// side or away from it.
    fn lost(&self, from_side: usize, towards: bool, shares: [i32; 3]) -> i32;
}

/// Room for one row at work, nothing of it allocated again.
pub(super) struct Row<S: Lanes> {
    width: usize,
    /// Columns of a segment.
    pub segment: usize,
    /// The tones, padded with zeros to whole segments.
    pub tones: Vec<f32>,
    /// Tone and what the rows above give.
    values: Vec<S::Mem>,
    /// Dots, one byte a lane and block.
    bytes: Vec<S::Mem>,
    /// The carry at the end of each block.
    ends: Vec<[S::Mem; 2]>,
    /// What the segments of the last rows of either direction began with, the oldest first.
    guesses: [[[S::Mem; 2]; PERIOD]; 2],
}

impl<S: Lanes> Row<S> {
    pub fn new(width: usize) -> Self {
        let segment = width.div_ceil(S::COUNT).next_multiple_of(BLOCK);
        Row {
            width,
            segment,
            tones: vec![0.0; segment * S::COUNT],
            values: vec![S::ZERO; segment],
            bytes: vec![S::ZERO; segment / BLOCK],
            ends: vec![[S::ZERO; 2]; segment / BLOCK],
            guesses: [[[S::ZERO; 2]; PERIOD]; 2],
        }
    }

    /// Takes the tones of a row in.
    pub fn see(&mut self, tones: &[f32]) {
        self.tones[..self.width].copy_from_slice(tones);
    }

    /// Adds a share of the errors that the columns begin with.
    pub fn add(&mut self, errors: &[i32], share: f32) {
        for (x, &error) in errors.iter().enumerate() {
            self.values[x % self.segment].as_mut()[x / self.segment] += (error as f32 * share) as i32;
        }
    }

    /// Gives what the dots at the sides of the row above lost beyond them to the dots below those.
    pub fn keep_lost<R: Rule<S>>(&mut self, rule: &R, above: &Left<S>, from_right: bool) {
        for from_side in 0..HALO.min(self.width) {
            for (x, towards) in [(from_side, from_right), (self.width - 1 - from_side, !from_right)] {
                let shares = [0, 1, 2].map(|k| above.at(k, x, self.segment));
                let lost = rule.lost(from_side, towards, shares);
                self.values[x % self.segment].as_mut()[x / self.segment] += lost;
            }
        }
    }

    /// Sums tones and what the rows above give; beyond the row's end there is nothing.
    #[inline(always)]
    pub fn prepare<R: Rule<S>>(&mut self, s: S, rule: &R, above: [&Left<S>; 2], turned: bool, reverse: bool) {
        for (block, values) in self.values.chunks_exact_mut(BLOCK).enumerate() {
            let tones = s.fetch(&self.tones, self.segment, block * BLOCK);
            for (j, value) in values.iter_mut().enumerate() {
                *value = s.store(s.add(tones[j], rule.given(s, above, block * BLOCK + j, turned, reverse)));
            }
        }
        for x in self.width..(self.width + HALO).min(self.segment * S::COUNT) {
            self.values[x % self.segment].as_mut()[x / self.segment] = 0;
        }
    }

    /// Walks the row until every lane has started from what its neighbour ends with.
    #[inline(always)]
    pub fn walk<R: Rule<S>>(&mut self, s: S, rule: &R, left: &mut Left<S>, reverse: bool) {
        if reverse {
            self.walk_to::<R, true>(s, rule, left);
        } else {
            self.walk_to::<R, false>(s, rule, left);
        }
    }

    #[inline(always)]
    fn walk_to<R: Rule<S>, const REVERSE: bool>(&mut self, s: S, rule: &R, left: &mut Left<S>) {
        let guess = self.guesses[usize::from(REVERSE)][0];
        self.guesses[usize::from(REVERSE)].rotate_left(1);
        self.pass::<R, REVERSE, false>(s, rule, left, guess);
        // Each pass makes at least one more lane final, so this ends.
        for _ in 1..S::COUNT {
            let Some(last) = (if REVERSE { self.ends.first() } else { self.ends.last() }) else { return };
            let from = [handed_on::<S, REVERSE>(&last[0]), handed_on::<S, REVERSE>(&last[1])];
            self.guesses[usize::from(REVERSE)][PERIOD - 1] = from;
            if self.pass::<R, REVERSE, true>(s, rule, left, from) {
                return;
            }
        }
    }

    /// One walk of all lanes. With `MEET` it ends, true, where all lanes are on their earlier track.
    #[inline(always)]
    fn pass<R: Rule<S>, const REVERSE: bool, const MEET: bool>(
        &mut self,
        s: S,
        rule: &R,
        left: &mut Left<S>,
        from: [S::Mem; 2],
    ) -> bool {
        let blocks = self.bytes.len();
        let mut carry: Carry<S> = [s.load(&from[0]), s.load(&from[1])];
        let top = s.splat(0x80);
        for n in 0..blocks {
            let block = if REVERSE { blocks - 1 - n } else { n };
            let mut byte = s.splat(0);
            for j in 0..BLOCK {
                let i = block * BLOCK + if REVERSE { BLOCK - 1 - j } else { j };
                let (on, next, shares) = rule.dot(s, i, s.load(&self.values[i]), carry);
                carry = next;
                let [first, second, third] = &mut left.planes;
                first[HALO + i] = s.store(shares[0]);
                if R::SHARES > 1 {
                    second[HALO + i] = s.store(shares[1]);
                }
                if R::SHARES > 2 {
                    third[HALO + i] = s.store(shares[2]);
                }
                byte = if REVERSE {
                    s.add(s.shr::<1>(byte), s.and(on, top))
                } else {
                    s.sub(s.add(byte, byte), on)
                };
            }
            self.bytes[block] = s.store(byte);
            let before = self.ends[block];
            self.ends[block] = [s.store(carry[0]), s.store(carry[1])];
            if MEET && s.same(carry[0], s.load(&before[0])) && s.same(carry[1], s.load(&before[1])) {
                return true;
            }
        }
        false
    }

    /// Holds what the last dot of the row leaves within the rule's bounds.
    pub fn limit<R: Rule<S>>(&self, left: &mut Left<S>, reverse: bool) {
        let x = if reverse { 0 } else { self.width - 1 };
        let share = &mut left.planes[0][HALO + x % self.segment].as_mut()[x / self.segment];
        *share = (*share).clamp(-R::MOST - 1, R::MOST);
    }

    /// Writes the packed dots of the row.
    #[inline(always)]
    pub fn pack(&self, row: &mut [u8]) {
        let blocks = self.bytes.len();
        for lane in 0..S::COUNT {
            let Some(part) = row.get_mut(lane * blocks..) else { return };
            for (byte, mem) in part.iter_mut().zip(&self.bytes) {
                *byte = mem.as_ref()[lane] as u8;
            }
        }
    }

    /// Clears the shares beyond the row's end and hands the shares at the segments' ends to the
    /// neighbours' margins.
    #[inline(always)]
    pub fn join<R: Rule<S>>(&self, left: &mut Left<S>) {
        let segment = self.segment;
        for plane in left.planes.iter_mut().take(R::SHARES) {
            for x in self.width..segment * S::COUNT {
                plane[HALO + x % segment].as_mut()[x / segment] = 0;
            }
            for h in 1..=HALO {
                let (ends, starts) = (plane[HALO + segment - h], plane[HALO + h - 1]);
                plane[HALO - h] = handed_on::<S, false>(&ends);
                plane[HALO + segment - 1 + h] = handed_on::<S, true>(&starts);
            }
        }
    }
}

/// Each lane's value given to the next lane on the way, none to the first.
#[inline(always)]
fn handed_on<S: Lanes, const REVERSE: bool>(mem: &S::Mem) -> S::Mem {
    let mut to = S::ZERO;
    let (given, taken) = (mem.as_ref(), to.as_mut());
    let n = S::COUNT;
    if REVERSE {
        taken[..n - 1].copy_from_slice(&given[1..]);
    } else {
        taken[1..].copy_from_slice(&given[..n - 1]);
    }
    to
}
