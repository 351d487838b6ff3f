//! Sixteen rows side by side, and what passes between them and those above and below.

use std::arch::x86_64::_MM_HINT_T0;
use std::sync::atomic::{AtomicUsize, Ordering};

use super::super::super::simd::Avx2;
use super::super::lanes::transposed;
use super::step::{State, edge_step, fixed, lane, last, negative, step};
use super::{LANES, REST, STRETCH, Shared, WORD, Walk};

/// Columns that are asked for ahead of their use: sixteen rows are more streams than a processor foresees.
const AHEAD: usize = 6 * WORD;

/// Sixteen rows and what is known of those above.
pub(super) struct Group<'a> {
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
    pub fn new(walk: &'a Walk<'a>, ring: &'a [Shared], group: usize, band: &'a mut [u8]) -> Self {
        let at = |group: usize| (&ring[group % ring.len()], group / ring.len() * walk.words());
        let mut out: [(&mut [[u8; 4]], &mut [u8]); LANES] = Default::default();
        for (out, row) in out.iter_mut().zip(band.chunks_exact_mut(walk.tone.width().div_ceil(8))) {
            *out = row.as_chunks_mut();
        }
        Group {
            s: walk.simd,
            walk,
            rows: std::array::from_fn(|k| walk.tones(group * LANES + k)),
            out,
            first: group == 0,
            above: group.checked_sub(1).map(at),
            own: at(group),
            signs: [[0xFF; STRETCH + WORD]; 2],
            past: [[0xFF; WORD]; 2],
            given: [REST; STRETCH],
            kept: [[0; 4]; STRETCH],
            values: [[0; LANES]; WORD],
        }
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
                let c = transposed(self.s, r);
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
