//! The load: how many bytes a second the program asks of the link where it is densest, and how many moves of the controller.
//!
//! The controller holds some of both ahead of the move that it runs. This store empties where moves are short and fills
//! where they are long, along the whole program: a turn from line to line is only part of the way, and a short one on
//! a slow link fills nothing.

use std::collections::VecDeque;

use super::limits::Limits;

/// The most that the program asks of link and controller.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Load {
    /// Bytes, which the link brings.
    pub bytes: Peak,
    /// Moves, which the controller takes in; measured where it is known how many it can.
    pub moves: Peak,
}

/// The most that is asked for in any stretch, be it of a few moves or of many lines.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Peak {
    /// What must come a second so that the head never waits for it within a line; 0 where the store alone is enough.
    pub per_s: f64,
    /// Row (or column) of dots at which that stretch ends.
    pub line: u32,
    /// Its end, mm of the program.
    pub at: (f64, f64),
}

/// Speed at which a link of `bytes_per_s` carries `bytes_per_mm`, mm/s; infinite where there is nothing to carry.
pub fn fed_speed(bytes_per_s: f64, bytes_per_mm: f64) -> f64 {
    if bytes_per_mm <= 0.0 { f64::INFINITY } else { bytes_per_s / bytes_per_mm }
}

/// Moves that the controller holds ahead of the one it runs, as far as is known of all of them: the next gap and the run
/// behind it.
pub(super) const MOVES_HELD: f64 = 2.0;

/// Finds the load of a program while it is written.
#[derive(Debug)]
pub(super) struct LoadMeter {
    /// Seconds since the program began, as far as is measured.
    clock: f64,
    /// Moves of the program so far, as far as is measured.
    count: u64,
    bytes: Meter,
    moves: Option<Meter>,
    load: Load,
}

impl LoadMeter {
    pub(super) fn new(limits: &Limits) -> LoadMeter {
        LoadMeter {
            clock: 0.0,
            count: 0,
            bytes: Meter::new(limits.link_buffer_bytes),
            moves: limits.moves_per_s.map(|_| Meter::new(MOVES_HELD)),
            load: Load::default(),
        }
    }

    /// The head rests, `bytes` into the program, until the store is full.
    pub(super) fn begin(&mut self, bytes: u64) {
        self.bytes.begin((self.clock, bytes as f64));
        if let Some(moves) = &mut self.moves {
            moves.begin((self.clock, self.count as f64));
        }
    }

    /// So many moves that end `bytes` into the program take so many seconds; `needed`: within a line, where the head must
    /// not wait for them. Whether a denser stretch than all before ends with them: then [`LoadMeter::densest`] is to be told where.
    #[inline(always)]
    pub(super) fn pass(&mut self, seconds: f64, moves: u64, bytes: u64, needed: bool) -> bool {
        self.clock += seconds;
        self.count += moves;
        let denser = self.bytes.pass((self.clock, bytes as f64), needed);
        match &mut self.moves {
            Some(of_moves) => of_moves.pass((self.clock, self.count as f64), needed) || denser,
            None => denser,
        }
    }

    /// The densest stretch ends on this line, at this place, mm of the program.
    #[cold]
    pub(super) fn densest(&mut self, line: u32, at: (f64, f64)) {
        if self.bytes.need > self.load.bytes.per_s {
            self.load.bytes = Peak { per_s: self.bytes.need, line, at };
        }
        if let Some(moves) = self.moves.as_ref().filter(|m| m.need > self.load.moves.per_s) {
            self.load.moves = Peak { per_s: moves.need, line, at };
        }
    }

    /// The load so far.
    pub(super) fn load(&self) -> Load {
        self.load
    }
}

/// A time, s, and how much has been used up by then.
type Use = (f64, f64);

/// What must come a second of a thing of which so much is held in store: the most, over all stretches, of what is used up
/// less the store for each second of it.
#[derive(Debug)]
struct Meter {
    store: f64,
    need: f64,
    /// Where a stretch may have begun that needs more yet. From each to the next ever more is used up a second, and more
    /// than the need; so what came before the first of them never counts again, and they are few.
    begun: VecDeque<Use>,
}

impl Meter {
    fn new(store: f64) -> Meter {
        Meter { store, need: 0.0, begun: VecDeque::new() }
    }

    fn begin(&mut self, now: Use) {
        self.begun.clear();
        self.begun.push_back(now);
    }

    /// Goes on to `now`; whether more is needed than before, where a stretch that ends here is one.
    #[inline(always)]
    fn pass(&mut self, now: Use, ends: bool) -> bool {
        match self.begun.front_mut() {
            // Mostly what comes is enough, and the store is full again.
            Some(first) if now.1 - first.1 <= self.need * (now.0 - first.0) => {
                *first = now;
                self.begun.truncate(1);
                false
            }
            _ => self.empties(now, ends),
        }
    }

    /// The store is not full.
    fn empties(&mut self, now: Use, ends: bool) -> bool {
        let before = self.need;
        let missing = |from: &Use| now.1 - from.1 - self.store;
        while let Some(first) = self.begun.front().filter(|_| ends) {
            if missing(first) > self.need * (now.0 - first.0) && now.0 > first.0 {
                self.need = missing(first) / (now.0 - first.0);
            }
            match self.begun.get(1) {
                Some(next) if missing(next) >= self.need * (now.0 - next.0) && self.need > before => {}
                _ => break,
            }
            self.begun.pop_front();
        }
        // From the last but one to the last no more was used up a second than from there on: the last is no beginning.
        while let Some(at) = self.begun.len().checked_sub(2) {
            let (a, b) = (self.begun[at], self.begun[at + 1]);
            if (b.1 - a.1) * (now.0 - b.0) < (now.1 - b.1) * (b.0 - a.0) {
                break;
            }
            self.begun.pop_back();
        }
        self.begun.push_back(now);
        while self.begun.len() > 1
            && self.begun[1].1 - self.begun[0].1 <= self.need * (self.begun[1].0 - self.begun[0].0)
        {
            self.begun.pop_front();
        }
        self.need > before
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_need_is_that_of_the_worst_of_all_stretches() {
        let mut seed = 7u64;
        let mut chance = |most: u64| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 33) % most
        };
        for store in [0.0, 16.0, 128.0, 2000.0] {
            for _ in 0..20 {
                let mut meter = Meter::new(store);
                let mut all: Vec<(Use, bool)> = vec![((0.0, 0.0), false)];
                meter.begin((0.0, 0.0));
                let (mut now, mut want) = ((0.0, 0.0), 0.0f64);
                for _ in 0..150 {
                    // Short moves and long ones, in turns.
                    let long = chance(40) == 0;
                    now.0 += 0.001 * (1 + chance(if long { 400 } else { 12 })) as f64;
                    now.1 += (8 + chance(12)) as f64;
                    let ends = chance(5) > 0;
                    for (from, _) in all.iter().filter(|_| ends) {
                        want = want.max((now.1 - from.1 - store) / (now.0 - from.0));
                    }
                    all.push((now, ends));
                    let before = meter.need;
                    assert_eq!(meter.pass(now, ends), meter.need > before);
                    assert!(
                        (meter.need - want).abs() < 1e-9 * (1.0 + want),
                        "{store}: {} {want}",
                        meter.need
                    );
                }
            }
        }
    }

    #[test]
    fn a_store_that_short_turns_do_not_fill_runs_dry_after_a_few_lines() {
        // A line of 60 bytes takes 0.04 s, with its turn: 1500 bytes a second, however many fit into the store.
        let mut meter = Meter::new(128.0);
        meter.begin((0.0, 0.0));
        let mut now = (0.0, 0.0);
        for _ in 0..1000 {
            for (seconds, bytes, ends) in [(0.015, 30.0, false), (0.025, 30.0, true)] {
                now = (now.0 + seconds, now.1 + bytes);
                meter.pass(now, ends);
            }
        }
        assert!(meter.need > 1490.0 && meter.need < 1500.0, "{}", meter.need);
    }
}
