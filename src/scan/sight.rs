//! Sight: what a controller that sees few moves ahead makes of a line.
//!
//! It passes a joint of two moves no faster than lets the head stop within the moves that it sees. Where those are short
//! the head is slower than the program asks, with the beam on too, and takes longer. It knows nothing of the reader's
//! course, so that a replay can prove it.

use super::gaps::{Ask, Crossing, Hurry};
use super::lines::Run;
use super::motion;
use super::raster::um;

/// Speeds within this share of the one asked for are taken for it.
const SAME: f64 = 0.01;
/// A mark that is off its speed over less is rounding, mm.
const LEAST: f64 = 0.001;

/// How far a controller sees along a line, and how fast its axis is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sight {
    /// Moves ahead of the one that it runs.
    pub ahead: u32,
    /// What the head needs to stop from the marking speed, µm.
    pub ramp: u32,
    /// Marking speed, mm/s.
    pub speed: f64,
    /// Highest speed of the axis, mm/s.
    pub top: f64,
    /// mm/s².
    pub acceleration: f64,
    /// How far behind its place in the program the beam marks, mm along the motion.
    pub lag: f64,
    /// Run-up and run-out, µm.
    pub ways: (u32, u32),
}

/// What a line loses to a short sight.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Slowed {
    /// Runs that are marked in part at another speed than their own, and would not be with all in sight.
    pub runs: u32,
    /// How much longer the marks, the gaps and the run-ups and run-outs take, s.
    pub seconds: [f64; 3],
    /// What the marks get in that time: the S word of each times its seconds.
    pub more: f64,
}

impl Sight {
    /// Of the controller that is asked about; `None` where it is not known how far it sees.
    pub(super) fn new(ask: &Ask<'_>) -> Option<Sight> {
        let (speed, acceleration) = (ask.speed, ask.axis.acceleration);
        Some(Sight {
            ahead: ask.limits.plans_ahead?,
            ramp: (motion::ramp_mm(speed, acceleration) * 1000.0).ceil() as u32,
            speed,
            top: ask.axis.top_speed,
            acceleration,
            lag: ask.lag,
            ways: (um(ask.run_up).unsigned_abs(), um(ask.run_out).unsigned_abs()),
        })
    }

    /// Whether the controller, at the start of run `i` and of the gap before it, sees for sure far enough ahead to stop
    /// from the marking speed. Every gap and the run behind it are taken for so many moves, the first and the last µm of
    /// each, as many as `coasts` says, for moves of their own; what is seen of a gap behind the last whole run is left
    /// out, so that most lines need no ride.
    #[inline(always)]
    pub(super) fn is_enough(&self, runs: &[Run], i: usize, moves: u32, (after, before): (u32, u32)) -> bool {
        let (ahead, moves, last) = (self.ahead as usize, moves as usize, runs.len() - 1);
        let way = |from: i32, to: usize| runs[to.min(last)].to.abs_diff(from);
        // The run-out behind the last run is as long as it takes.
        let run = moves * (last - i) + 2 <= ahead || way(runs[i].from, i + (ahead - 1) / moves) >= self.ramp;
        let gap = i == 0
            || moves * (last - i + 1) < ahead
            || ahead >= moves && {
                // A joint within the gap sees the same runs, from `after` further on.
                way(runs[i - 1].to, i + ahead / moves - 1) >= self.ramp + after
            };
        // Where the way before the run has a move of its own, the speed is to be held from there on.
        let coast = before == 0
            || i == 0
            || moves * (last - i) + 3 <= ahead
            || ahead >= 2 && way(runs[i].from, i + (ahead - 2) / moves) + before >= self.ramp;
        run && gap && coast
    }
}

/// What a move of a line is for.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Part {
    Mark,
    Gap,
    RunUp,
}

/// A move of a line.
#[derive(Debug, Clone, Copy)]
struct Step {
    mm: f64,
    /// Its feed, mm/s.
    speed: f64,
    part: Part,
    /// Its S word.
    level: u32,
}

impl Step {
    /// How long it takes between speeds of those squares, s.
    fn seconds(&self, (start, end): (f64, f64), acceleration: f64) -> f64 {
        let twice = 2.0 * acceleration;
        let peak =
            f64::min(self.speed * self.speed, (start + end + twice * self.mm) / 2.0).max(start).max(end);
        let level = self.mm - (2.0 * peak - start - end) / twice;
        let cruise = if level > 0.0 { level / peak.sqrt() } else { 0.0 };
        cruise + (2.0 * peak.sqrt() - start.sqrt() - end.sqrt()) / acceleration
    }
}

/// Rides along lines, move by move.
#[derive(Debug, Default)]
pub(super) struct Ride {
    steps: Vec<Step>,
    /// Where each ends, mm from where the head set out.
    ends: Vec<f64>,
    /// The square of the speed at the end of each, (mm/s)²: with what is seen, and with all in sight.
    seen: Vec<f64>,
    free: Vec<f64>,
}

impl Ride {
    /// What the `runs` of a line lose, whose gaps are crossed as they say; the head stops before each rapid.
    pub(super) fn along(&mut self, sight: &Sight, hurry: Option<&Hurry>, runs: &[Run]) -> Slowed {
        let mut slowed = Slowed::default();
        let v = sight.speed;
        for chain in runs.chunk_by(|_, next| next.crossing != Crossing::Skipped) {
            self.steps.clear();
            self.ends.clear();
            self.step(sight.ways.0, v, Part::RunUp);
            let mut at = chain.first().map_or(0, |run| run.from);
            for run in chain {
                let gap = run.from.abs_diff(at);
                match hurry.filter(|_| run.crossing == Crossing::Hurried && gap > 0) {
                    Some(hurry) => {
                        let (after, before) = (hurry.after.unsigned_abs(), hurry.before.unsigned_abs());
                        self.step(after, v, Part::Gap);
                        self.step(gap.saturating_sub(after + before), sight.top, Part::Gap);
                        self.step(before, v, Part::Gap);
                    }
                    None => self.step(gap, v, Part::Gap),
                }
                self.step(run.from.abs_diff(run.to), v, Part::Mark);
                if let Some(mark) = self.steps.last_mut() {
                    mark.level = run.level;
                }
                at = run.to;
            }
            self.step(sight.ways.1, v, Part::RunUp);
            self.ride(sight, &mut slowed);
        }
        slowed
    }

    fn step(&mut self, um: u32, speed: f64, part: Part) {
        if um > 0 {
            let mm = f64::from(um) / 1000.0;
            self.ends.push(self.ends.last().unwrap_or(&0.0) + mm);
            self.steps.push(Step { mm, speed, part, level: 0 });
        }
    }

    /// From rest to rest.
    fn ride(&mut self, sight: &Sight, slowed: &mut Slowed) {
        let twice = 2.0 * sight.acceleration;
        joints((&self.steps, &self.ends), twice, sight.ahead as usize, &mut self.seen);
        joints((&self.steps, &self.ends), twice, usize::MAX, &mut self.free);
        if self.seen == self.free {
            return;
        }
        for (i, step) in self.steps.iter().enumerate() {
            let ends = |squares: &[f64]| (start(squares, i), squares[i]);
            let (seen, free) = (ends(&self.seen), ends(&self.free));
            if seen != free {
                let seconds = |ends| step.seconds(ends, sight.acceleration);
                let longer = seconds(seen) - seconds(free);
                slowed.seconds[step.part as usize] += longer;
                slowed.more += f64::from(step.level) * longer;
            }
            if step.part == Part::Mark {
                let is_off = |squares: &[f64]| self.off_speed(i, squares, sight) > LEAST;
                slowed.runs += u32::from(is_off(&self.seen) && !is_off(&self.free));
            }
        }
    }

    /// Over how many mm the beam of step `i` is on at another speed than the step's own; beyond the ends the head is at rest.
    fn off_speed(&self, i: usize, squares: &[f64], sight: &Sight) -> f64 {
        let Step { mm, speed, .. } = self.steps[i];
        let (from, to) = (self.ends[i] - mm + sight.lag, self.ends[i] + sight.lag);
        let first = if sight.lag == 0.0 { i } else { self.ends.partition_point(|&end| end <= from) };
        let mut same = 0.0;
        for (k, step) in self.steps.iter().enumerate().skip(first) {
            let begin = self.ends[k] - step.mm;
            if begin >= to {
                break;
            }
            let within = (from.max(begin) - begin, to.min(self.ends[k]) - begin);
            let ends = (start(squares, k), squares[k]);
            same += same_speed(step, ends, speed, within, 2.0 * sight.acceleration);
        }
        mm - same
    }
}

/// The square of the speed with which step `k` begins.
fn start(squares: &[f64], k: usize) -> f64 {
    if k == 0 { 0.0 } else { squares[k - 1] }
}

/// The square of the speed at the end of each step, where `ahead` steps beyond it are seen.
fn joints((steps, ends): (&[Step], &[f64]), twice: f64, ahead: usize, squares: &mut Vec<f64>) {
    squares.clear();
    squares.resize(steps.len(), 0.0);
    // What the head can brake from for all that follows.
    let mut brakes = 0.0;
    for i in (1..steps.len()).rev() {
        let slower = steps[i - 1].speed.min(steps[i].speed);
        brakes = f64::min(brakes + twice * steps[i].mm, slower * slower);
        let seen = ends.get((i - 1).saturating_add(ahead)).map(|end| twice * (end - ends[i - 1]));
        squares[i - 1] = seen.map_or(brakes, |seen| brakes.min(seen));
    }
    let mut square = 0.0;
    for (step, end) in steps.iter().zip(squares) {
        square = f64::min(square + twice * step.mm, *end);
        *end = square;
    }
}

/// Over how many mm of the part `within` a step, whose `ends` have the squares of those speeds, the head has the speed
/// `asked`. The square rises and falls by `twice` the acceleration a mm, so that it is above one in a single stretch.
fn same_speed(step: &Step, ends: (f64, f64), asked: f64, within: (f64, f64), twice: f64) -> f64 {
    let above = |speed: f64| {
        if speed > step.speed {
            return 0.0;
        }
        let square = speed * speed;
        let from = within.0.max((square - ends.0) / twice);
        let to = within.1.min(step.mm - (square - ends.1) / twice);
        (to - from).max(0.0)
    };
    above(asked * (1.0 - SAME)) - above(asked * (1.0 + SAME))
}

#[cfg(test)]
mod tests {
    use crate::blank::Blank;
    use crate::placement::{Along, DotRect, Grid};
    use crate::plane::Dots;
    use crate::progress::Silent;
    use crate::scan::estimate::Estimate;
    use crate::scan::limits::{BeamLag, Limits};
    use crate::scan::lines::Marking;
    use crate::scan::program::Program;
    use crate::scan::raster::{RasterPath, Scan};
    use crate::scan::replay::{Replay, ReplayOptions, replay};
    use crate::units::Mm;

    /// Short marks and gaps of all lengths, and a line of single dots.
    fn marks() -> Dots {
        let mut d = Dots::off(240, 24);
        (0..240 * 24).filter(|i| (i * i + 7 * i) % 23 < 9).for_each(|i| d.set(i % 240, i / 240, true));
        (0..240).for_each(|x| d.set(x, 5, x % 2 == 0));
        d
    }

    /// What is said of a program, and what a replay finds in it.
    fn both(limits: &Limits, scan: Scan, dots: &Dots) -> (Estimate, Replay) {
        let blank = Blank { shape: "rect:50x40mm".parse().unwrap(), margin: Mm(1.0) };
        let grid = Grid { along: Mm(0.05), across: Mm(0.05) };
        let rect =
            DotRect { left: Mm(10.0), top: Mm(10.0), columns: dots.width(), rows: dots.height(), grid };
        let marking = Marking::Dots(dots);
        let path = RasterPath::new(limits, scan, rect, blank).unwrap().ordered(marking);
        let program = Program::of_raster(path, marking, Vec::new());
        let mut out = Vec::new();
        let said = program.write(&mut out, &Silent).unwrap().estimate;
        (said, replay(&out[..], &ReplayOptions::of(&program)).unwrap().report)
    }

    fn seeing(ahead: u32) -> Limits {
        Limits { plans_ahead: Some(ahead), link_bytes_per_s: None, ..Limits::default() }
    }

    #[test]
    fn a_replay_finds_as_many_marks_at_another_speed_and_takes_as_long() {
        let dots = marks();
        let late = |limits: Limits, mm| Limits { lag: BeamLag::Mm(mm), ..limits };
        let mut slow = Vec::new();
        for ahead in (1..=6).chain([15, 1000]) {
            let settled = Limits { gap_settle: 0.03, ..seeing(ahead) };
            for limits in [seeing(ahead), settled, late(seeing(ahead), 0.02), late(seeing(ahead), -0.02)] {
                for along in [Along::X, Along::Y] {
                    for speed in [12.5, 30.0] {
                        let scan = Scan { along, ..Scan::new(speed, 0.9) };
                        let (said, found) = both(&limits, scan, &dots);
                        let what = (ahead, limits.lag, limits.gap_settle, along, speed);
                        assert_eq!(said.slowed, found.beam_on_off_speed.count, "{what:?}");
                        let (time, ridden) = (said.times.total(), found.seconds);
                        assert!((time / ridden - 1.0).abs() < 1e-4, "{what:?}: {time} {ridden}");
                    }
                }
            }
            slow.push(both(&seeing(ahead), Scan::new(12.5, 0.9), &dots).0.slowed);
        }
        assert!(slow.is_sorted_by(|a, b| a >= b) && slow[0] > 500 && slow[7] == 0, "{slow:?}");
    }

    #[test]
    fn single_dots_are_slowed_where_so_many_of_them_are_shorter_than_the_way_to_stop() {
        // From 12.5 mm/s the head needs 0.15625 mm, three dots of 0.05 mm and an eighth; at 0.15 mm it is 2 % slower.
        let mut d = Dots::off(200, 4);
        (0..800).filter(|i| i % 2 == 0).for_each(|i| d.set(i % 200, i / 200, true));
        let slowed = |ahead| both(&seeing(ahead), Scan::new(12.5, 0.9), &d).0.slowed;
        assert_eq!([4, 5, 6].map(slowed), [0, 0, 0]);
        assert!([1, 2, 3].map(slowed).iter().all(|&n| n >= 4 * 95), "{:?}", [1, 2, 3].map(slowed));
    }

    #[test]
    fn an_edge_without_a_run_up_is_no_short_sight() {
        let scan = Scan { run_up: Some(0.0), ..Scan::new(12.5, 0.9) };
        let (said, found) = both(&seeing(15), scan, &marks());
        assert!(said.slowed == 0 && found.beam_on_off_speed.count > 0);
        let (said, found) = both(&seeing(1), scan, &marks());
        assert!(said.slowed > 500);
        assert!((said.times.total() / found.seconds - 1.0).abs() < 1e-4, "{said:?} {}", found.seconds);
    }

    #[test]
    fn the_time_that_is_lost_is_found_in_marks_gaps_and_run_ups() {
        let scan = Scan { hurry: false, ..Scan::new(12.5, 0.9) };
        let [far, near] = [1000, 1].map(|ahead| both(&seeing(ahead), scan, &marks()).0.times);
        assert!(near.burning_s > 1.01 * far.burning_s && near.crossing_s > 1.01 * far.crossing_s);
        assert!(near.run_up_s >= far.run_up_s && near.turn_s == far.turn_s, "{near:?} {far:?}");
    }
}
