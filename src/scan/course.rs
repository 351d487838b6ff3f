//! The course: how fast the head is along a straight chain of moves, and where the beam is on while it is not at
//! the speed that the program asks for.
//!
//! Trapezoids of its own, which the estimate knows nothing of. The head begins and ends a chain at rest; a joint of
//! two moves is passed at the slower of both feeds at most, and at no more than lets the head stop within the
//! moves that the controller sees ahead. Speeds are kept squared: over a way `L` the square changes by `2 a L`.

use super::limits::BeamLag;

/// Speeds within this share of the one asked for are taken for it.
const SAME: f64 = 0.01;

/// A move of the chain.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    /// mm.
    length: f64,
    /// The feed, mm/s.
    speed: f64,
    lit: bool,
    /// Line of the program.
    line: u64,
}

/// What holds along a chain.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rules {
    /// Moves that the controller sees ahead of the one it runs; `None`: all.
    pub ahead: Option<u32>,
    /// Highest speed, mm/s.
    pub top: f64,
    /// mm/s².
    pub acceleration: f64,
    /// How late the beam follows the head.
    pub lag: BeamLag,
}

/// Moves under way in one direction.
#[derive(Debug, Default)]
pub(super) struct Course {
    stretches: Vec<Stretch>,
    lit: bool,
    /// Squared speed at the start and at the end of each.
    speeds: Vec<(f64, f64)>,
    /// Where each ends, mm from the chain's start.
    ends: Vec<f64>,
}

/// More moves than a bed has room for in a line; it keeps memory within bounds.
pub(super) const LONGEST: usize = 1 << 20;

/// What a chain comes to.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Passage {
    /// From rest to rest, s.
    pub seconds: f64,
    /// Highest feed of a move with the beam on, and of any move, mm/s.
    pub fastest: (f64, f64),
}

impl Course {
    /// The next move.
    #[inline(always)]
    pub(super) fn push(&mut self, length: f64, speed: f64, lit: bool, line: u64) {
        self.lit |= lit;
        self.stretches.push(Stretch { length, speed, lit, line });
    }

    /// Moves so far.
    #[inline(always)]
    pub(super) fn len(&self) -> usize {
        self.stretches.len()
    }

    /// Nothing is under way.
    pub(super) fn clear(&mut self) {
        self.stretches.clear();
        self.lit = false;
    }

    /// Runs the chain; `off` hears of each move with the beam on that the head runs at another speed than its
    /// own: its line and over how many mm.
    pub(super) fn run(&mut self, rules: &Rules, mut off: impl FnMut(u64, f64)) -> Passage {
        self.settle(rules);
        let mut passage = Passage::default();
        for (s, &(start, end)) in self.stretches.iter().zip(&self.speeds) {
            let asked = s.speed.min(rules.top);
            // Most moves are run at one speed: what a trapezoid without ramps comes to, to the bit.
            passage.seconds += if start == asked * asked && end == start {
                s.length / asked
            } else {
                Trapezoid::new(s, start, end, rules).seconds(rules.acceleration)
            };
            let (lit, any) = &mut passage.fastest;
            *any = any.max(s.speed);
            *lit = if s.lit { lit.max(s.speed) } else { *lit };
        }
        if self.lit {
            // Where the beam of the last move goes on: that of the next is seldom far from it.
            let mut near = 0;
            for i in 0..self.stretches.len() {
                let mm = if self.stretches[i].lit { self.off_speed(i, &mut near, rules) } else { 0.0 };
                // A thousandth of a millimetre is rounding.
                if mm > 0.001 {
                    off(self.stretches[i].line, mm);
                }
            }
        }
        passage
    }

    /// The speed at each joint.
    fn settle(&mut self, rules: &Rules) {
        let (moves, twice) = (&self.stretches, 2.0 * rules.acceleration);
        self.ends.clear();
        self.ends.extend(moves.iter().scan(0.0, |way, s| {
            *way += s.length;
            Some(*way)
        }));
        self.speeds.clear();
        self.speeds.resize(moves.len(), (0.0, 0.0));
        // Backwards: slow enough to brake for all that follows, as far as it is seen.
        let mut next = 0.0;
        for i in (0..moves.len().saturating_sub(1)).rev() {
            let joint = moves[i].speed.min(moves[i + 1].speed).min(rules.top);
            next = (joint * joint).min(next + twice * moves[i + 1].length);
            let seen = rules.ahead.and_then(|ahead| self.ends.get(i + ahead as usize));
            let limit = seen.map_or(f64::INFINITY, |end| twice * (end - self.ends[i]));
            self.speeds[i].1 = next.min(limit);
        }
        // Forwards: no faster than the head can get.
        let mut speed = 0.0;
        for (s, (start, end)) in moves.iter().zip(&mut self.speeds) {
            *start = speed;
            speed = end.min(speed + twice * s.length);
            *end = speed;
        }
    }

    /// Over how many mm the beam of move `i` is on at another speed than the move's own: a late beam goes on
    /// and off further along. `near` is a move to look from, and then the one where the beam goes on.
    fn off_speed(&self, i: usize, near: &mut usize, rules: &Rules) -> f64 {
        let (stretches, speeds, ends) = (&self.stretches[..], &self.speeds[..], &self.ends[..]);
        let asked = stretches[i].speed.min(rules.top);
        let lag = rules.lag.shift(stretches[i].speed);
        let begin = ends[i] - stretches[i].length;
        let (from, to) = (begin + lag, ends[i] + lag);
        let level = (asked * asked, asked * asked);
        if lag == 0.0 && speeds[i] == level {
            return 0.0;
        }
        let whole = ends.last().copied().unwrap_or(0.0);
        // Beyond the chain the head is at rest.
        let mut off = (-from).max(0.0) + (to - whole).max(0.0);
        let mut at = *near;
        while at > 0 && ends[at - 1] > from {
            at -= 1;
        }
        while ends.get(at).is_some_and(|&end| end <= from) {
            at += 1;
        }
        *near = at;
        while at < stretches.len() && ends[at] - stretches[at].length < to {
            let s = &stretches[at];
            if speeds[at] != level || s.speed.min(rules.top) != asked {
                let (start, end) = speeds[at];
                let begin = ends[at] - s.length;
                let within = (from.max(begin) - begin, to.min(ends[at]) - begin);
                let trapezoid = Trapezoid::new(s, start, end, rules);
                off += trapezoid.off_speed(asked, within, rules.acceleration);
            }
            at += 1;
        }
        off
    }
}

/// A move that speeds up, goes on and slows down; squared speeds, mm.
#[derive(Debug, Clone, Copy)]
struct Trapezoid {
    start: f64,
    peak: f64,
    end: f64,
    up: f64,
    level: f64,
    down: f64,
}

impl Trapezoid {
    #[inline(always)]
    fn new(s: &Stretch, start: f64, end: f64, rules: &Rules) -> Trapezoid {
        let (twice, speed) = (2.0 * rules.acceleration, s.speed.min(rules.top));
        let peak = (speed * speed).min(0.5 * (start + end + twice * s.length)).max(start).max(end);
        let (up, down) = ((peak - start) / twice, (peak - end) / twice);
        Trapezoid { start, peak, end, up, level: (s.length - up - down).max(0.0), down }
    }

    #[inline(always)]
    fn seconds(&self, acceleration: f64) -> f64 {
        let peak = self.peak.sqrt();
        let level = if self.level > 0.0 { self.level / peak } else { 0.0 };
        if self.start == self.peak && self.end == self.peak {
            return level;
        }
        level + (2.0 * peak - self.start.sqrt() - self.end.sqrt()) / acceleration
    }

    /// Over how many mm of the part `within` (mm from its start) the speed is not `asked`.
    fn off_speed(&self, asked: f64, within: (f64, f64), acceleration: f64) -> f64 {
        let [low, high] = [asked * (1.0 - SAME), asked * (1.0 + SAME)].map(|v| v * v);
        let twice = 2.0 * acceleration;
        let parts = [
            (0.0, self.up, self.start, twice),
            (self.up, self.level, self.peak, 0.0),
            (self.up + self.level, self.down, self.peak, -twice),
        ];
        let mut off = 0.0;
        for (begin, length, square, slope) in parts {
            let (from, to) = (within.0.max(begin), within.1.min(begin + length));
            if to <= from {
                continue;
            }
            let at = |x: f64| square + slope * (x - begin);
            let (a, b) = (at(from).min(at(to)), at(from).max(at(to)));
            let same = if slope == 0.0 {
                if (low..=high).contains(&square) { to - from } else { 0.0 }
            } else {
                (b.min(high) - a.max(low)).max(0.0) / twice
            };
            off += (to - from - same).max(0.0);
        }
        off
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(moves: &[(f64, f64, bool)], ahead: Option<u32>, lag: f64) -> (f64, Vec<(u64, f64)>) {
        let mut course = Course::default();
        for (i, &(length, speed, lit)) in moves.iter().enumerate() {
            course.push(length, speed, lit, i as u64);
        }
        let rules = Rules { ahead, top: 100.0, acceleration: 500.0, lag: BeamLag::Mm(lag) };
        let mut off = Vec::new();
        let passage = course.run(&rules, |line, mm| off.push((line, mm)));
        (passage.seconds, off)
    }

    /// Run-up, mark, gap in a hurry, mark, run-out at 12.5 mm/s, which takes 0.15625 mm to reach.
    const LINE: [(f64, f64, bool); 5] =
        [(0.2, 12.5, false), (1.0, 12.5, true), (3.0, 100.0, false), (0.5, 12.5, true), (0.2, 12.5, false)];

    #[test]
    fn a_gap_in_a_hurry_leaves_its_marks_alone() {
        let (seconds, off) = run(&LINE, None, 0.0);
        // The gap gets to √(12.5² + 500·3) mm/s.
        let want = 2.0 * 12.5 / 500.0 + (1.9 - 0.3125) / 12.5 + 2.0 * (1656.25f64.sqrt() - 12.5) / 500.0;
        assert!((seconds - want).abs() < 1e-9, "{seconds} {want}");
        assert_eq!(off, []);
    }

    #[test]
    fn a_late_beam_is_still_on_where_the_head_hurries() {
        let (_, off) = run(&LINE, None, 0.02);
        // From 12.5 to 12.625 mm/s takes 0.003 mm; the rest of the lag is faster. The same where the head stops.
        let first = 0.02 - (12.625f64.powi(2) - 12.5f64.powi(2)) / 1000.0;
        assert_eq!(off.len(), 1, "the run-out has 0.04 mm to spare: {off:?}");
        assert!(off[0].0 == 1 && (off[0].1 - first).abs() < 1e-9, "{off:?} {first}");
    }

    #[test]
    fn marks_without_a_run_up_and_marks_that_are_not_seen_ahead_are_found() {
        let (seconds, off) = run(&[(10.0, 12.5, true)], None, 0.0);
        assert!((seconds - (10.0 / 12.5 + 12.5 / 500.0)).abs() < 1e-9);
        let ramps = 2.0 * (12.5 * 0.99f64).powi(2) / 1000.0;
        assert!((off[0].1 - ramps).abs() < 1e-9, "{off:?}");
        // Runs and gaps of 0.05 mm: two of them are too short to stop from 12.5 mm/s, four are not.
        let mut line = vec![(0.2, 12.5, false)];
        line.extend((0..40).map(|i| (0.05, 12.5, i % 2 == 0)));
        line.push((0.2, 12.5, false));
        let (fast, off) = run(&line, Some(4), 0.0);
        assert_eq!(off, []);
        let (slow, off) = run(&line, Some(2), 0.0);
        assert!(off.len() >= 18 && slow > fast + 1e-3, "{off:?}");
        assert!((fast - ((0.4 + 2.0) / 12.5 + 12.5 / 500.0)).abs() < 1e-9);
    }
}
