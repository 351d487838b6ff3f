//! Floyd and Steinberg's error diffusion left to right, sixteen rows at once.
//!
//! Each lane walks a row of its own, two columns behind the lane above it: what a dot gets from the row
//! above is then known, and nothing is guessed, so flat tones are as fast as any picture. A row that runs
//! the other way cannot follow so, which is why serpentine rows are cut into segments instead
//! (see [`rows`](super::rows)). Both give the same bytes.
//!
//! Sixteen rows are a group. Groups follow each other like the lanes: the next may walk a column as soon as
//! the one above is a chunk ahead, so several threads share the plane without changing a byte.
//!
//! A step is sixteen dots: two vectors of eight, each some 22 instructions, with a chain of ten cycles from one
//! step to the next (lane to lane 4, sums 3, threshold and share 3). Tones are turned into columns a chunk at a
//! time, so that the walk itself keeps all it needs in registers. Of the time, the walk is a half and the turning
//! a quarter where the tones come from the cache.

use std::sync::Mutex;
use std::sync::atomic::{AtomicI32, AtomicUsize, Ordering};

use std::arch::x86_64::{__m256, __m256i, _MM_HINT_T1};

use super::super::simd::Avx2;
use super::lanes::ONE;
use crate::parallel;
use crate::plane::{Dots, Tone};
use crate::progress::Progress;

/// Rows walked at once.
const LANES: usize = 16;
/// Steps between two looks at what the row above has done; also the dots of a word.
const CHUNK: usize = 32;
/// Columns that are asked for ahead of their use: sixteen rows are more streams than a processor foresees.
const AHEAD: usize = 6 * CHUNK;
/// Rows between two questions whether to go on.
const STEP: usize = 64;

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
    /// Chunks that are done, counted over all groups that ever wrote here.
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
        let chunks = self.chunks();
        let ring: Vec<Shared> = (0..=workers)
            .map(|_| Shared {
                shares: (0..(chunks + 2) * CHUNK).map(|_| AtomicI32::new(0)).collect(),
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
                self.simd.vectorize(Group { walk: self, ring: &ring, group, band: band.unwrap_or_default() });
            }
        });
        dots
    }

    /// Chunks until the last lane has left the row and its last word is written.
    fn chunks(&self) -> usize {
        self.tone.width().div_ceil(CHUNK) + 1
    }

    /// The row of tones that row `n` of the walk is made from.
    fn tones(&self, n: usize) -> Option<&[f32]> {
        let height = self.tone.height();
        let y = if n < self.lead { (self.lead - 1 - n) % height } else { n - self.lead };
        (y < height).then(|| self.tone.row(y))
    }
}

/// A pair of vectors, lanes 0 to 7 and 8 to 15.
type Pair = [__m256i; 2];

struct Group<'a> {
    walk: &'a Walk<'a>,
    ring: &'a [Shared],
    group: usize,
    band: &'a mut [u8],
}

/// What a lane knows from its last steps.
struct State {
    share: Pair,
    /// The row above's shares at the column of the last step and one further back: those of the next step's
    /// own column and of the one west of it.
    mid: Pair,
    west: Pair,
    /// Dots of this chunk, the first in the highest bit.
    bits: Pair,
}

impl pulp::NullaryFnOnce for Group<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Group { walk, ring, group, band } = self;
        let s = walk.simd;
        let chunks = walk.chunks();
        let width = walk.tone.width();
        let stride = width.div_ceil(8);
        let zero = [s.avx._mm256_setzero_si256(); 2];
        let none: &[f32] = &[];
        let rows: [&[f32]; LANES] = std::array::from_fn(|k| walk.tones(group * LANES + k).unwrap_or(none));
        let above = group.checked_sub(1).and_then(|g| ring.get(g % ring.len()).map(|r| (r, g)));
        let Some(own) = ring.get(group % ring.len()) else { return };
        let before = group / ring.len() * chunks;

        // The lines of all rows that are wanted later, one a step.
        let ahead: [*const i8; CHUNK] = std::array::from_fn(|i| {
            rows[i % LANES].as_ptr().wrapping_add(AHEAD + i / LANES * (CHUNK / 2)).cast()
        });
        let mut state = State { share: zero, mid: zero, west: zero, bits: zero };
        let mut last_bits = zero;
        let mut values = [[0i32; LANES]; CHUNK];
        let mut given = [0i32; CHUNK];
        let mut kept = [[0i32; 4]; CHUNK];
        for chunk in 0..chunks {
            let at = chunk * CHUNK;
            if let Some((above, g)) = above {
                wait(&above.done, g / ring.len() * chunks + (chunk + 2).min(chunks));
                // The row above one column ahead of lane 0, stored with a lag of 31 columns.
                let from = above.shares.get(at + CHUNK..).unwrap_or_default();
                given.iter_mut().zip(from).for_each(|(g, share)| *g = share.load(Ordering::Relaxed));
                if let Some(first) = above.shares.get(CHUNK - 1).filter(|_| chunk == 0) {
                    let mut lanes = [0; 8];
                    lanes[0] = first.load(Ordering::Relaxed);
                    state.mid[0] = pulp::cast(lanes);
                }
            }
            let inside = at >= 2 * LANES && at + CHUNK < width;
            for half in 0..2 {
                stage(s, &rows, at, half, &mut values);
            }
            if group == 0 && !walk.begin.is_empty() {
                let begin = walk.begin.get(at..).unwrap_or_default();
                values.iter_mut().zip(begin).for_each(|(v, b)| v[0] += b);
            }
            state.bits = zero;
            if inside {
                // Four steps written out: what is east becomes middle and west without moves. Each asks for one
                // line of tones: asked for all at once they fill the processor's queue and hold up the walk.
                let steps = values.as_chunks::<4>().0.iter().zip(given.as_chunks::<4>().0);
                let steps = steps.zip(kept.as_chunks_mut::<4>().0).zip(ahead.as_chunks::<4>().0);
                for (((values, given), kept), ahead) in steps {
                    for j in 0..4 {
                        s.sse._mm_prefetch::<_MM_HINT_T1>(ahead[j].wrapping_add(4 * at));
                        kept[j] = step(s, &values[j], given[j], &mut state);
                    }
                }
            } else {
                for (i, value) in values.iter().enumerate() {
                    kept[i] = edge_step(s, walk.keep_sides, at + i, width, value, given[i], &mut state);
                }
            }
            for (to, lanes) in own.shares.iter().skip(at).zip(&kept) {
                to.store(lanes[3], Ordering::Relaxed);
            }
            own.done.store(before + chunk + 1, Ordering::Release);
            if chunk > 0 && !band.is_empty() {
                let words = words(s, last_bits, state.bits);
                for (row, word) in band.chunks_exact_mut(stride).zip(words) {
                    let bytes = row.get_mut((chunk - 1) * 4..).unwrap_or_default();
                    match bytes.first_chunk_mut::<4>() {
                        Some(four) => *four = word.to_be_bytes(),
                        None => bytes.iter_mut().zip(word.to_be_bytes()).for_each(|(to, byte)| *to = byte),
                    }
                }
            }
            last_bits = state.bits;
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

/// Eight rows' tones of a chunk as columns, lane k's two columns further back for each k. In fixed point,
/// less a full mark, plus the 8 that rounds the share.
#[inline(always)]
fn stage(s: Avx2, rows: &[&[f32]; LANES], at: usize, half: usize, values: &mut [[i32; LANES]; CHUNK]) {
    let mut parts = [&[0.0; CHUNK]; 8];
    let mut padded = [[0.0f32; CHUNK]; 8];
    for (k, (part, padded)) in parts.iter_mut().zip(&mut padded).enumerate() {
        let lane = half * 8 + k;
        let whole = at.checked_sub(2 * lane).and_then(|x| rows[lane].get(x..)).and_then(<[f32]>::first_chunk);
        *part = whole.unwrap_or_else(|| {
            // Beyond the sides there is no tone.
            for (i, p) in padded.iter_mut().enumerate() {
                *p = (at + i).checked_sub(2 * lane).and_then(|x| rows[lane].get(x)).copied().unwrap_or(0.0);
            }
            padded
        });
    }
    for (block, columns) in values.as_chunks_mut::<8>().0.iter_mut().enumerate() {
        let mut r = [s.avx._mm256_setzero_ps(); 8];
        for (r, part) in r.iter_mut().zip(parts) {
            let (eights, _) = part.as_chunks::<8>();
            *r = pulp::cast(eights[block % (CHUNK / 8)]);
        }
        let c = super::lanes::transposed(s, r);
        for (column, c) in columns.iter_mut().zip(c) {
            let (halves, _) = column.as_chunks_mut::<8>();
            halves[half % 2] = pulp::cast(fixed(s, c));
        }
    }
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

/// The row above's shares one column ahead of each lane: the lane above's last, and `given` for lane 0.
#[inline(always)]
fn from_above(s: Avx2, share: Pair, given: i32) -> Pair {
    let given = s.avx._mm256_set1_epi32(given);
    let low = s.avx2._mm256_permute2x128_si256::<0x03>(share[0], given);
    let high = s.avx2._mm256_permute2x128_si256::<0x03>(share[1], share[0]);
    [s.avx2._mm256_alignr_epi8::<12>(share[0], low), s.avx2._mm256_alignr_epi8::<12>(share[1], high)]
}

/// The shares of lanes 12 to 15: a single store, of which only the last is used.
#[inline(always)]
fn last(s: Avx2, share: Pair) -> [i32; 4] {
    pulp::cast(s.avx2._mm256_extracti128_si256::<1>(share[1]))
}

/// One step with all lanes inside the plane and none at a side. Returns what the last lane left before it.
#[inline(always)]
fn step(s: Avx2, value: &[i32; LANES], given: i32, state: &mut State) -> [i32; 4] {
    let a = s.avx2;
    let east = from_above(s, state.share, given);
    let kept = last(s, state.share);
    let value: Pair = pulp::cast(*value);
    for i in 0..2 {
        let (share, mid, west, east) = (state.share[i], state.mid[i], state.west[i], east[i]);
        let own = a._mm256_sub_epi32(a._mm256_add_epi32(value[i], west), share);
        let five = a._mm256_add_epi32(mid, a._mm256_slli_epi32::<2>(mid));
        let base = a._mm256_add_epi32(own, five);
        let ahead = a._mm256_add_epi32(base, a._mm256_slli_epi32::<3>(share));
        let three = a._mm256_add_epi32(a._mm256_add_epi32(east, east), east);
        decide(s, a._mm256_add_epi32(ahead, three), i, state);
        state.west[i] = mid;
        state.mid[i] = east;
    }
    kept
}

/// Dot and share of a value that is less a full mark and plus 8.
#[inline(always)]
fn decide(s: Avx2, v: __m256i, i: usize, state: &mut State) {
    let a = s.avx2;
    let on = a._mm256_cmpgt_epi32(v, s.avx._mm256_set1_epi32(7 - ONE / 2));
    // The shift goes on beside the comparison: a full mark is a whole number of shares.
    let rest = a._mm256_andnot_si256(on, s.avx._mm256_set1_epi32(ONE / 16));
    state.share[i] = a._mm256_add_epi32(a._mm256_srai_epi32::<4>(v), rest);
    state.bits[i] = a._mm256_sub_epi32(a._mm256_add_epi32(state.bits[i], state.bits[i]), on);
}

/// The same where lanes may be outside the plane or at a side.
#[inline(always)]
fn edge_step(
    s: Avx2,
    keep_sides: bool,
    at: usize,
    width: usize,
    value: &[i32; LANES],
    given: i32,
    state: &mut State,
) -> [i32; 4] {
    let a = s.avx2;
    // At its first column nothing lies west; at its last, nothing east.
    let mid: [[i32; 8]; 2] = pulp::cast(state.mid);
    let mut value = *value;
    let mut inside = [0i32; LANES];
    for (lane, (value, inside)) in value.iter_mut().zip(&mut inside).enumerate() {
        let Some(x) = at.checked_sub(2 * lane).filter(|&x| x < width) else { continue };
        *inside = -1;
        let mid = mid[lane / 8][lane % 8];
        if keep_sides && x == 0 {
            *value = value.wrapping_add(3 * mid);
        }
        if keep_sides && x + 1 == width {
            *value = value.wrapping_add(8 * mid);
        }
    }
    let inside: Pair = pulp::cast(inside);
    let bits = state.bits;
    let kept = step(s, &value, given, state);
    for i in 0..2 {
        state.share[i] = a._mm256_and_si256(state.share[i], inside[i]);
        let twice = a._mm256_add_epi32(bits[i], bits[i]);
        let on = a._mm256_and_si256(a._mm256_sub_epi32(state.bits[i], twice), inside[i]);
        state.bits[i] = a._mm256_add_epi32(twice, on);
    }
    kept
}

/// The words of the chunk before, lane by lane: lane k's bits begin 2k columns early.
#[inline(always)]
fn words(s: Avx2, before: Pair, now: Pair) -> [u32; LANES] {
    let lags: [i32; LANES] = std::array::from_fn(|k| 2 * k as i32);
    let rests: [i32; LANES] = std::array::from_fn(|k| 32 - 2 * k as i32);
    let (lags, rests): (Pair, Pair) = (pulp::cast(lags), pulp::cast(rests));
    let mut words = before;
    for i in 0..2 {
        let first = s.avx2._mm256_sllv_epi32(before[i], lags[i]);
        words[i] = s.avx2._mm256_or_si256(first, s.avx2._mm256_srlv_epi32(now[i], rests[i]));
    }
    pulp::cast(words)
}
