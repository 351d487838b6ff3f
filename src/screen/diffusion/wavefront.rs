//! Floyd and Steinberg's error diffusion left to right, sixteen rows at once.
//!
//! Each lane walks a row of its own, two columns behind the lane above it: what a dot gets from the row
//! above is then known, and nothing is guessed, so flat tones are as fast as any picture. A row that runs
//! the other way cannot follow so, which is why serpentine rows are cut into segments instead
//! (see [`rows`](super::rows)). Both give the same bytes.
//!
//! Sixteen rows are a group. Groups follow each other like the lanes: the next may walk a column as soon as
//! the one above is a few words of dots ahead, so several threads share the plane without changing a byte.

mod group;
mod step;

use std::sync::Mutex;
use std::sync::atomic::{AtomicI32, AtomicUsize};

use super::super::simd::Avx2;
use super::lanes::ONE;
use crate::parallel;
use crate::plane::{Dots, Tone};
use crate::progress::Progress;
use group::Group;

/// Rows walked at once.
const LANES: usize = 16;
/// Dots of a word; what the row above has done is told in words.
const WORD: usize = 32;
/// Steps between two looks at what the row above has done, away from the sides.
const STRETCH: usize = 4 * WORD;
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
                self.simd.vectorize(Group::new(self, &ring, group, band.unwrap_or_default()));
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
