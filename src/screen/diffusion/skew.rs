//! Floyd and Steinberg's error diffusion left to right, sixteen rows at once.
//!
//! Each lane walks a row of its own, two columns behind the lane above it: what a dot gets from the row
//! above is then known, and nothing is guessed, so flat tones are as fast as any picture. A row that runs
//! the other way cannot follow so, which is why serpentine rows are cut into segments instead
//! (see [`rows`](super::rows)). Both give the same bytes.
//!
//! Sixteen rows are a group. Groups follow each other like the lanes: the next may walk a column as soon as
//! the one above is a few words of dots ahead, so several threads share the plane without changing a byte.
//!
//! A step is sixteen dots: two vectors of eight, one for the even lanes and one for the odd, so that what the odd
//! lanes get from above is just what the even ones left. Numbers are 32 bits and wrap. A share is kept with
//! [`REST`] added, which makes its sixteenfold sum half a mark more, and a tone is kept less a full mark; so a
//! value's sign tells whether it is below a half, and its lower 28 bits are the error that is left, half a mark
//! added, whether the dot is on or off: there is nothing to compare and nothing to choose. Tones are turned into
//! columns a word at a time, so that the walk itself keeps all it needs in registers.

use std::sync::Mutex;
use std::sync::atomic::{AtomicI32, AtomicUsize, Ordering};

use std::arch::x86_64::{__m256, __m256i, _MM_HINT_T0};

use super::super::simd::Avx2;
use super::floyd_steinberg::MOST;
use super::lanes::ONE;
use crate::parallel;
use crate::plane::{Dots, Tone};
use crate::progress::Progress;

/// Rows walked at once.
const LANES: usize = 16;
/// Dots of a word; what the row above has done is told in words.
const WORD: usize = 32;
/// Steps between two looks at what the row above has done, away from the sides.
const STRETCH: usize = 4 * WORD;
/// Columns that are asked for ahead of their use: sixteen rows are more streams than a processor foresees.
const AHEAD: usize = 6 * WORD;
/// Rows between two questions whether to go on.
const STEP: usize = 64;
/// How a share of nothing is kept.
const REST: i32 = ONE / 32;

/// What the walk needs to know besides the tones.
pub(super) struct Walk<'a> {
    pub simd: Avx2,
    pub tone: &'a Tone,
    /// Rows walked before the first, which mirror it: a whole number of groups.
    pub lead: usize,
    /// What is added to the first of all rows, column by column; may be empty.
    pub begin: Vec<i32>,
    /// Whether what would leave at the sides is given to the dots below instead of dropped.
    pub keep_sides: bool,
}

/// Error shares of the last row of a group, by column, with room for the lag of its lane.
struct Shared {
    shares: Vec<AtomicI32>,
    /// Words that are done, counted over all groups that ever wrote here.
    done: AtomicUsize,
}

impl Walk<'_> {
    /// The dots. Bits beyond the last column are off.
    pub fn dots(&self, progress: &dyn Progress) -> Dots {
        let (width, height) = (self.tone.width(), self.tone.height());
        let mut dots = Dots::off(width, height);
        if width == 0 || height == 0 {
            return dots;
        }
        let stride = dots.stride();
        let workers = parallel::threads().max(1);
        // At most `workers` groups are under way and none ends before the one above it, so one row more
        // than that is never overwritten before it has been read.
        let columns = (self.words() + 1) * WORD + STRETCH;
        let ring: Vec<Shared> = (0..=workers)
            .map(|_| Shared {
                shares: (0..columns).map(|_| AtomicI32::new(REST)).collect(),
                done: AtomicUsize::new(0),
            })
            .collect();
        // Groups are claimed from the top down, so the one that a group waits for is always under way.
        let bands = dots.bits_mut().chunks_mut(stride * LANES);
        let queue = Mutex::new((0..self.lead / LANES).map(|_| None).chain(bands.map(Some)).enumerate());
        let claim = || {
            let mut queue = queue.lock().ok()?;
            let (group, band) = queue.next()?;
            let y = (group * LANES).checked_sub(self.lead);
            if y.is_some_and(|y| y % STEP == 0 && !progress.step(STEP.min(height - y) as u64)) {
                // Nobody goes on from here.
                queue.by_ref().for_each(drop);
                return None;
            }
            Some((group, band))
        };
        parallel::map(workers, |_| {
            while let Some((group, band)) = claim() {
                if let Some(group) = Group::new(self, &ring, group, band.unwrap_or_default()) {
                    self.simd.vectorize(group);
                }
            }
        });
        dots
    }

    /// Words until the last lane has left the row and its last dot is written.
    fn words(&self) -> usize {
        self.tone.width().div_ceil(WORD) + 1
    }

    /// The row of tones that row `n` of the walk is made from. Lanes below the plane walk its last row once
    /// more; nothing comes of it.
    fn tones(&self, n: usize) -> &[f32] {
        let height = self.tone.height();
        let y = if n < self.lead { (self.lead - 1 - n) % height } else { (n - self.lead).min(height - 1) };
        self.tone.row(y)
    }
}

/// A pair of vectors: the even lanes, the odd lanes.
type Pair = [__m256i; 2];

/// The lane at place `i` of a pair's numbers.
const fn lane(i: usize) -> usize {
    i % 8 * 2 + i / 8
}

/// What a lane knows from its last steps.
struct State {
    share: Pair,
    /// The row above's share at the column of the next step.
    mid: Pair,
    /// That and its western neighbour, summed.
    two: Pair,
}

/// Sixteen rows and what is known of those above.
struct Group<'a> {
    s: Avx2,
    walk: &'a Walk<'a>,
    rows: [&'a [f32]; LANES],
    /// Whole words of each row, and what is left.
    out: [(&'a mut [[u8; 4]], &'a mut [u8]); LANES],
    /// Whether this is the first of all groups.
    first: bool,
    /// The group above's shares, and the words counted there before it began; then those of this group.
    above: Option<(&'a Shared, usize)>,
    own: (&'a Shared, usize),
    /// Signs of the steps, even and odd lanes apart, the last step first: those of a stretch and of the word before.
    signs: [[u8; STRETCH + WORD]; 2],
    /// Those of the last word.
    past: [[u8; WORD]; 2],
    /// What lane 0 is given from above at each step, and what lane 15 leaves, in the last place.
    given: [i32; STRETCH],
    kept: [[i32; 4]; STRETCH],
    /// Tones of a word, column by column.
    values: [[i32; LANES]; WORD],
}

impl<'a> Group<'a> {
    fn new(walk: &'a Walk<'a>, ring: &'a [Shared], group: usize, band: &'a mut [u8]) -> Option<Self> {
        let at = |group: usize| {
            ring.get(group % ring.len()).map(|shared| (shared, group / ring.len() * walk.words()))
        };
        let mut out: [(&mut [[u8; 4]], &mut [u8]); LANES] = Default::default();
        for (out, row) in out.iter_mut().zip(band.chunks_exact_mut(walk.tone.width().div_ceil(8))) {
            *out = row.as_chunks_mut();
        }
        Some(Group {
            s: walk.simd,
            walk,
            rows: std::array::from_fn(|k| walk.tones(group * LANES + k)),
            out,
            first: group == 0,
            above: group.checked_sub(1).and_then(at),
            own: at(group)?,
            signs: [[0xFF; STRETCH + WORD]; 2],
            past: [[0xFF; WORD]; 2],
            given: [REST; STRETCH],
            kept: [[0; 4]; STRETCH],
            values: [[0; LANES]; WORD],
        })
    }

    /// Takes what the row above has left for the steps from `at`.
    #[inline(always)]
    fn take(&mut self, at: usize, steps: usize) {
        let Some((above, before)) = self.above else { return };
        wait(&above.done, before + ((at + steps) / WORD + 1).min(self.walk.words()));
        // One column ahead of lane 0, stored with a lag of 31 columns.
        let from = above.shares.get(at + WORD..).unwrap_or_default();
        self.given[..steps].iter_mut().zip(from).for_each(|(g, share)| *g = share.load(Ordering::Relaxed));
    }

    /// A word's tones as columns, in fixed point, less a full mark, plus the 8 that rounds the share.
    #[inline(always)]
    fn stage(&mut self, parts: &[&[f32; WORD]; LANES], at: usize) {
        for (half, parts) in parts.as_chunks::<8>().0.iter().enumerate() {
            for (block, values) in self.values.as_chunks_mut::<8>().0.iter_mut().enumerate() {
                let mut r = [&[0.0; 8]; 8];
                for (r, part) in r.iter_mut().zip(parts) {
                    *r = &part.as_chunks::<8>().0[block % (WORD / 8)];
                }
                let c = super::lanes::transposed(self.s, r);
                for (column, c) in values.iter_mut().zip(c) {
                    column.as_chunks_mut::<8>().0[half % 2] = pulp::cast(fixed(self.s, c));
                }
            }
        }
        if self.first && !self.walk.begin.is_empty() {
            let begin = self.walk.begin.get(at..).unwrap_or_default();
            self.values.iter_mut().zip(begin).for_each(|(v, b)| v[0] += b);
        }
    }

    /// A whole stretch or word of steps, `STEPS` of them, with all lanes inside the plane and none at a side.
    #[inline(always)]
    fn inner<const STEPS: usize>(&mut self, state: &mut State, at: usize) {
        let s = self.s;
        let mut parts = [&[0.0; STEPS]; LANES];
        for (i, part) in parts.iter_mut().enumerate() {
            let from = at.checked_sub(2 * lane(i)).and_then(|x| self.rows[lane(i)].get(x..));
            *part = from.and_then(<[f32]>::first_chunk).unwrap_or(part);
        }
        self.take(at, STEPS);
        // The lines of all rows that are wanted later, one a step.
        let ahead: [*const i8; WORD] = std::array::from_fn(|i| {
            self.rows[i % LANES].as_ptr().wrapping_add(at + AHEAD + i / LANES * (WORD / 2)).cast()
        });
        for word in 0..STEPS / WORD {
            let mut tones = [&[0.0; WORD]; LANES];
            for (tones, part) in tones.iter_mut().zip(&parts) {
                *tones = &part.as_chunks().0[word];
            }
            self.stage(&tones, at + WORD * word);
            let [even, odd] = &mut self.signs;
            let signs = STEPS - WORD * (word + 1)..STEPS - WORD * word;
            let even = even[signs.clone()].as_chunks_mut::<4>().0.iter_mut();
            let signs = even.zip(odd[signs].as_chunks_mut::<4>().0).rev();
            // Four steps written out: what is east becomes middle without moves. Each asks for one line of
            // tones: asked for all at once they fill the processor's queue and hold up the walk.
            let (given, kept) = (&self.given[word * WORD..][..WORD], &mut self.kept[word * WORD..][..WORD]);
            let steps = self.values.as_chunks::<4>().0.iter().zip(given.as_chunks::<4>().0);
            let steps = steps.zip(kept.as_chunks_mut::<4>().0).zip(ahead.as_chunks::<4>().0);
            for ((((values, given), kept), ahead), (even, odd)) in steps.zip(signs) {
                for j in 0..4 {
                    s.sse._mm_prefetch::<_MM_HINT_T0>(ahead[j].wrapping_add(4 * WORD * word));
                    kept[j] = last(s, state.share);
                    let v = step(s, &values[j], given[j], state);
                    [even[3 - j], odd[3 - j]] = negative(s, v);
                }
            }
        }
        self.leave::<STEPS>(at);
    }

    /// A word of steps where lanes may be outside the plane or at a side.
    #[inline(always)]
    fn edge(&mut self, state: &mut State, at: usize) {
        let s = self.s;
        self.take(at, WORD);
        self.stage(&padded_parts(&self.rows, at).each_ref(), at);
        if let Some((above, _)) = self.above.filter(|_| at == 0)
            && let Some(first) = above.shares.get(WORD - 1)
        {
            let mut lanes = [REST; 8];
            lanes[0] = first.load(Ordering::Relaxed);
            state.mid[0] = pulp::cast(lanes);
            state.two[0] = s.avx2._mm256_add_epi32(state.mid[0], s.avx._mm256_set1_epi32(REST));
        }
        for i in 0..WORD {
            self.kept[i] = last(s, state.share);
            let signs = edge_step(s, self.walk, at + i, &self.values[i], self.given[i], state);
            self.signs.iter_mut().zip(signs).for_each(|(to, sign)| to[WORD - 1 - i] = sign);
        }
        self.leave::<WORD>(at);
    }

    /// Leaves the shares of so many steps to the group below and writes the words that are whole now.
    #[inline(always)]
    fn leave<const STEPS: usize>(&mut self, at: usize) {
        let (own, before) = self.own;
        for (to, lanes) in own.shares.get(at..).unwrap_or_default().iter().zip(&self.kept[..STEPS]) {
            to.store(lanes[3], Ordering::Relaxed);
        }
        own.done.store(before + (at + STEPS) / WORD, Ordering::Release);
        for (signs, past) in self.signs.iter_mut().zip(&mut self.past) {
            signs[STEPS..STEPS + WORD].copy_from_slice(past);
            past.copy_from_slice(&signs[..WORD]);
        }
        if let Some(at) = at.checked_sub(WORD) {
            for (k, (whole, rest)) in self.out.iter_mut().enumerate() {
                let signs = &self.signs[k % 2];
                let whole = whole.get_mut(at / WORD..).unwrap_or_default();
                let shift = self.s.avx._mm256_set1_epi32(7 - k as i32 / 2);
                for word in 0..STEPS / WORD {
                    // Lane k's dots begin 2k columns early.
                    let from = signs.get(STEPS - WORD * word - 2 * k..).unwrap_or_default();
                    let Some(signs) = from.first_chunk::<WORD>() else { continue };
                    let signs = self.s.avx2._mm256_sllv_epi32(pulp::cast(*signs), shift);
                    let dots = (!self.s.avx2._mm256_movemask_epi8(signs)).to_be_bytes();
                    match whole.get_mut(word) {
                        Some(four) => *four = dots,
                        None => rest.iter_mut().zip(dots).for_each(|(to, byte)| *to = byte),
                    }
                }
            }
        }
    }
}

impl pulp::NullaryFnOnce for Group<'_> {
    type Output = ();

    #[inline(always)]
    fn call(mut self) {
        let width = self.walk.tone.width();
        let rest = [self.s.avx._mm256_set1_epi32(REST); 2];
        let twice = [self.s.avx._mm256_set1_epi32(2 * REST); 2];
        let mut state = State { share: rest, mid: rest, two: twice };
        let mut at = 0;
        while at < self.walk.words() * WORD {
            if at > 0 && at + STRETCH < width {
                self.inner::<STRETCH>(&mut state, at);
                at += STRETCH;
            } else if at > 0 && at + WORD < width {
                self.inner::<WORD>(&mut state, at);
                at += WORD;
            } else {
                self.edge(&mut state, at);
                at += WORD;
            }
        }
    }
}

/// Waits until the group above has come so far.
fn wait(done: &AtomicUsize, far: usize) {
    let mut tries = 0u32;
    while done.load(Ordering::Acquire) < far {
        tries += 1;
        if tries.is_multiple_of(64) {
            std::thread::yield_now();
        } else {
            std::hint::spin_loop();
        }
    }
}

/// The tones of a word, lane k's two columns further back for each k; beyond the sides there is none.
#[inline(never)]
fn padded_parts(rows: &[&[f32]; LANES], at: usize) -> [[f32; WORD]; LANES] {
    let mut parts = [[0.0; WORD]; LANES];
    for (i, part) in parts.iter_mut().enumerate() {
        let lag = 2 * lane(i);
        let part = part.get_mut(lag.saturating_sub(at)..).unwrap_or_default();
        let row = rows[lane(i)].get(at.saturating_sub(lag)..).unwrap_or_default();
        part.iter_mut().zip(row).for_each(|(to, tone)| *to = *tone);
    }
    parts
}

/// As [`fixed`](super::lanes::fixed), less a full mark, plus 8.
#[inline(always)]
fn fixed(s: Avx2, tone: __m256) -> __m256i {
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
fn last(s: Avx2, share: Pair) -> [i32; 4] {
    pulp::cast(s.avx2._mm256_extracti128_si256::<1>(share[1]))
}

/// One step of all lanes. Returns the values, negative where the dot is off.
#[inline(always)]
fn step(s: Avx2, value: &[i32; LANES], given: i32, state: &mut State) -> Pair {
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
fn negative(s: Avx2, v: Pair) -> [u8; 2] {
    let signs = |v| s.avx._mm256_movemask_ps(pulp::cast(v)) as u8;
    [signs(v[0]), signs(v[1])]
}

/// The same where lanes may be outside the plane or at a side.
#[inline(always)]
fn edge_step(
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
