//! The load on the link: how many bytes of the program a mm of travel takes where it is densest.

use super::limits::Limits;

/// The most that the program asks of the link.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Load {
    /// Bytes for each mm of travel in the densest stretch, less what the controller holds ahead; a gap that the
    /// head hurries across counts as the shorter way that takes as long at the scan speed. Times the speed it is the bytes a second that the link must carry. Stretches are 64 moves, 128, 256, … up to a
    /// whole line: the short ones find dense spots, the long ones what a store of a few moves cannot level.
    pub bytes_per_mm: f64,
    /// Bytes of a move in that stretch, mean.
    pub bytes_per_move: f64,
    /// Row (or column) of dots of that stretch.
    pub line: u32,
    /// Its end, mm of the program.
    pub at: (f64, f64),
    /// Speed at which it is run, mm/s.
    pub speed: f64,
}

impl Load {
    /// Bytes a second that the link must carry there.
    pub fn bytes_per_s(&self) -> f64 {
        self.bytes_per_mm * self.speed
    }

    /// The highest scan speed that a link of `bytes_per_s` can feed, mm/s; infinite where the controller's
    /// own store is enough.
    pub fn speed_that_fits(&self, bytes_per_s: f64) -> f64 {
        fed_speed(bytes_per_s, self.bytes_per_mm)
    }
}

/// Speed at which a link of `bytes_per_s` carries `bytes_per_mm`, mm/s.
pub fn fed_speed(bytes_per_s: f64, bytes_per_mm: f64) -> f64 {
    if bytes_per_mm <= 0.0 { f64::INFINITY } else { bytes_per_s / bytes_per_mm }
}

/// Runs in the shortest stretch over which the load on the link is taken: 64 moves.
pub(super) const STRETCH: u32 = 32;
/// Stretches of 1, 2, 4, … times the shortest: the longest is 131072 moves.
const STRETCHES: usize = 12;

/// Finds the densest stretch of a part while it is written.
#[derive(Debug, Default)]
pub(super) struct LoadMeter {
    /// Where each stretch under way began: bytes written before it, µm along, runs before it.
    stretches: [(u64, i32, u32, f64); STRETCHES],
    /// Runs since the chain began.
    runs: u32,
    /// By how much the way since then seems shorter because the head hurried, µm.
    saved: f64,
}

impl LoadMeter {
    /// A chain begins, `bytes` into the program and `along` µm along its line.
    pub(super) fn begin(&mut self, bytes: u64, along: i32) {
        self.stretches = [(bytes, along, 0, 0.0); STRETCHES];
        (self.runs, self.saved) = (0, 0.0);
    }

    /// The head hurries across a gap, which seems so many µm shorter at the scan speed.
    pub(super) fn hurry(&mut self, saved: f64) {
        self.saved += saved;
    }

    /// A run is written; whether stretches end with it.
    #[inline(always)]
    pub(super) fn run(&mut self) -> bool {
        self.runs += 1;
        self.runs.is_multiple_of(STRETCH)
    }

    /// Ends the stretches whose length is reached (at the end of a chain: all) and starts the next ones.
    /// The densest of them that is denser than `least` bytes a mm: its bytes a mm and its bytes a move.
    pub(super) fn end(
        &mut self,
        limits: &Limits,
        bytes: u64,
        along: i32,
        all: bool,
        least: f64,
    ) -> Option<(f64, f64)> {
        let blocks = self.runs / STRETCH;
        let mut densest = None;
        let mut most = least;
        for (i, stretch) in self.stretches.iter_mut().enumerate() {
            if !all && !blocks.is_multiple_of(1 << i) {
                break;
            }
            let now = (bytes, along, self.runs, self.saved);
            let (before, from, runs, saved) = std::mem::replace(stretch, now);
            let size = (bytes - before) as f64;
            let way = (f64::from(along.abs_diff(from)) - (self.saved - saved)) / 1000.0;
            if size <= limits.link_buffer_bytes || way <= 0.0 {
                continue;
            }
            let bytes_per_mm = (size - limits.link_buffer_bytes) / way;
            if bytes_per_mm > most {
                most = bytes_per_mm;
                // A run is two moves: the way to it and itself.
                let runs = (self.runs - runs).max(1);
                densest = Some((bytes_per_mm, size / f64::from(2 * runs)));
            }
        }
        densest
    }
}
