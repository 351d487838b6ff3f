//! The estimate of a job: time, travel and extents, line by line, without writing a word.
//!
//! One addition a run and one square root a line: whole micrometres are summed, and turned into
//! seconds once a chain.

use super::contour::Contour;
use super::gaps::Crossing;
use super::limits::Limits;
use super::lines::{ScanLine, ScanLines};
use super::motion::{self, Times};
use super::program::Program;
use super::raster::RasterPath;
use super::toolpath::Moves;
use crate::placement::Along;

/// What a program takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Where the time goes.
    pub times: Times,
    /// Lines that mark something, or stretches of them, all passes; stretches of contours.
    pub lines: u64,
    /// Stretches with the beam on, all passes.
    pub runs: u64,
    /// Runs that are marked in part too slowly, as the controller does not see far enough ahead to hold their speed.
    pub slowed: u64,
    /// The shortest that the beam is on, or off between two marks of a line, s; `None` where nothing is marked.
    pub briefest_s: Option<f64>,
    /// Length of all stretches with the beam on, mm.
    pub burning_mm: f64,
    /// The same, each mm counted by its S word.
    pub powered_mm: f64,
    /// The time of all stretches with the beam on, each second counted by its S word.
    pub powered_s: f64,
    /// Length of all moves, mm.
    pub travel_mm: f64,
    /// Left, bottom, right, top of lines with their run-ups and of contours, mm of the program; the ways
    /// from and to the program's zero are not counted. `None` where nothing is marked.
    pub extents: Option<[f64; 4]>,
    /// Left, bottom, right, top of the ends of all moves, the way back to the program's zero among them, mm
    /// of the program.
    pub reach: [f64; 4],
}

impl Estimate {
    /// Estimates a program, without writing a word.
    pub fn new(program: &Program<'_>) -> Estimate {
        let mut estimator = Estimator::new(&program.limits);
        estimator.dwell(program.dwell_s());
        for part in &program.parts {
            estimator.part();
            match &part.moves {
                Moves::Raster(path, marking) => {
                    let mut lines = ScanLines::new(path, *marking);
                    while let Some(line) = lines.next_line() {
                        estimator.line(path, &line);
                    }
                }
                Moves::Contour(contour) => estimator.contour(contour),
            }
        }
        estimator.finish()
    }
}

/// Left, bottom, right, top, µm of the program; inside out while empty.
#[derive(Debug, Clone, Copy)]
struct Bounds([i32; 4]);

impl Bounds {
    const EMPTY: Bounds = Bounds([i32::MAX, i32::MAX, i32::MIN, i32::MIN]);

    fn add(&mut self, (x, y): (i32, i32)) {
        let b = &mut self.0;
        *b = [b[0].min(x), b[1].min(y), b[2].max(x), b[3].max(y)];
    }

    fn mm(self) -> Option<[f64; 4]> {
        (self.0[0] <= self.0[2]).then(|| self.0.map(|v| f64::from(v) / 1000.0))
    }
}

/// What a chain of moves of one line comes to.
#[derive(Debug, Clone, Copy, Default)]
struct Chain {
    /// With the beam on, µm.
    burning: u64,
    /// The same, each µm counted by its S word.
    powered: u64,
    /// Blank and crossed at the scan speed, µm.
    blank: u64,
    /// Blank and hurried across, µm, and how long that takes, s.
    hurried: u64,
    hurried_s: f64,
}

/// Adds up the parts of a program in their order.
#[derive(Debug)]
pub struct Estimator<'a> {
    limits: &'a Limits,
    times: Times,
    lines: u64,
    runs: u64,
    slowed: u64,
    briefest_s: f64,
    burning_um: u64,
    powered_um: u64,
    powered_s: f64,
    travel_mm: f64,
    /// Where the head is, µm of the program along x and y; its zero at first.
    at: (i32, i32),
    /// The next line is the first of its part.
    begins: bool,
    bounds: Bounds,
}

impl<'a> Estimator<'a> {
    /// An empty estimate; the head is at the program's zero.
    pub fn new(limits: &'a Limits) -> Self {
        Estimator {
            limits,
            times: Times::default(),
            lines: 0,
            runs: 0,
            slowed: 0,
            briefest_s: f64::INFINITY,
            burning_um: 0,
            powered_um: 0,
            powered_s: 0.0,
            travel_mm: 0.0,
            at: (0, 0),
            begins: true,
            bounds: Bounds::EMPTY,
        }
    }

    /// The next line or contour begins a part.
    pub fn part(&mut self) {
        self.begins = true;
    }

    /// The head rests for so many seconds, with the beam off.
    pub fn dwell(&mut self, seconds: f64) {
        self.times.dwell_s += seconds;
    }

    /// Moves by a rapid; how long it takes.
    fn rapid(&mut self, to: (i32, i32)) -> f64 {
        let d = |a: i32, b: i32| (f64::from(a) - f64::from(b)) / 1000.0;
        let (dx, dy) = (d(to.0, self.at.0), d(to.1, self.at.1));
        self.at = to;
        self.travel_mm += libm::hypot(dx, dy);
        self.limits.rapid_seconds(dx, dy)
    }

    /// The rapid to where a line or contour begins.
    fn approach(&mut self, to: (i32, i32)) {
        let seconds = self.rapid(to);
        if std::mem::take(&mut self.begins) {
            self.times.approach_s += seconds;
        } else {
            self.times.turn_s += seconds;
        }
    }

    /// Adds a chain from `start` to `end` (µm along).
    fn chain(&mut self, path: &RasterPath, (start, end): (i32, i32), chain: Chain) {
        let Chain { burning, powered, blank, hurried, hurried_s } = chain;
        let (v, a) = (path.scan.speed, path.axis().acceleration);
        let way = f64::from(start.abs_diff(end)) / 1000.0;
        let mm = |um: u64| um as f64 / 1000.0;
        // A gap that is hurried across begins and ends at the scan speed, as if it were not there.
        let all = motion::rest_to_rest(way - mm(hurried), v, a);
        let (burn, cross) = if path.run_up == 0 && !path.limits.power_in_motion {
            // The head starts and stops with the beam on: all of the time burns.
            (all, 0.0)
        } else {
            ((mm(burning) / v).min(all), mm(blank) / v)
        };
        self.times.burning_s += burn;
        self.powered_um += powered;
        // Where power changes at rest only, a chain has one power.
        self.powered_s += burn * powered as f64 / burning.max(1) as f64;
        self.times.crossing_s += cross.min(all - burn) + hurried_s;
        self.times.run_up_s += (all - burn - cross).max(0.0);
        self.burning_um += burning;
        self.travel_mm += way;
        self.at = match path.scan.along {
            Along::X => (end, self.at.1),
            Along::Y => (self.at.0, end),
        };
    }

    /// Adds a line of dots.
    pub fn line(&mut self, path: &RasterPath, line: &ScanLine<'_>) {
        self.approach(path.xy(line.start, line.across));
        self.lines += 1;
        self.runs += line.runs.len() as u64;
        self.slowed += u64::from(line.slowed.runs);
        let [marks, gaps, run_ups] = line.slowed.seconds;
        self.times.burning_s += marks;
        self.powered_s += line.slowed.more;
        self.times.crossing_s += gaps;
        self.times.run_up_s += run_ups;
        let sign = if line.end > line.start { 1 } else { -1 };
        let (run_up, run_out) = (sign * path.run_up, sign * path.run_out);
        let (mut start, mut at) = (line.start, line.start + run_up);
        let mut chain = Chain::default();
        // The mark under way, and the shortest mark or gap so far, µm; where only its power changes a mark goes on,
        // if that can be in motion.
        let (mut lit, mut shortest) = (0, u32::MAX);
        for run in line.runs {
            let gap = run.from.abs_diff(at);
            let rests = gap > 0 || !path.limits.power_in_motion;
            if rests && lit > 0 {
                shortest = shortest.min(lit);
                lit = 0;
            }
            lit += run.to.abs_diff(run.from);
            match (run.crossing, &path.gaps.hurry) {
                // Where the line begins there is none.
                _ if gap == 0 => {
                    if !path.limits.power_in_motion {
                        self.chain(path, (start, at), std::mem::take(&mut chain));
                        start = at;
                    }
                }
                (Crossing::Skipped, _) => {
                    self.chain(path, (start, at + run_out), chain);
                    let seconds = self.rapid(path.xy(run.from - run_up, line.across));
                    self.times.skip_s += seconds;
                    (start, chain) = (run.from - run_up, Chain::default());
                }
                (Crossing::Hurried, Some(hurry)) => {
                    let seconds = hurry.seconds(f64::from(gap));
                    chain.hurried += u64::from(gap);
                    chain.hurried_s += seconds;
                    self.briefest_s = self.briefest_s.min(seconds);
                }
                _ => {
                    chain.blank += u64::from(gap);
                    shortest = shortest.min(gap);
                }
            }
            let length = u64::from(run.to.abs_diff(run.from));
            chain.burning += length;
            chain.powered += length * u64::from(run.level);
            at = run.to;
        }
        let (mm, v) = (f64::from(shortest.min(lit)) / 1000.0, path.scan.speed);
        let seconds = if path.limits.power_in_motion {
            mm / v
        } else {
            motion::rest_to_rest(mm, v, path.axis().acceleration)
        };
        self.briefest_s = self.briefest_s.min(seconds);
        self.chain(path, (start, line.end), chain);
        self.bounds.add(path.xy(line.start, line.across));
        self.bounds.add(path.xy(line.end, line.across));
    }

    /// Adds a contour: the head stops at each of its points.
    pub fn contour(&mut self, contour: &Contour) {
        let Some(&first) = contour.points.first() else { return };
        self.approach(first);
        self.bounds.add(first);
        let speed = contour.feed as f64 / 60_000.0;
        for &to in &contour.points[1..] {
            let d = |a: i32, b: i32| (f64::from(a) - f64::from(b)) / 1000.0;
            let (dx, dy) = (d(to.0, self.at.0), d(to.1, self.at.1));
            let way = libm::hypot(dx, dy);
            let seconds = motion::rest_to_rest(way, speed, self.limits.pace(dx, dy).acceleration);
            if contour.level > 0 {
                self.times.burning_s += seconds;
                let length = (way * 1000.0).round() as u64;
                self.burning_um += length;
                self.powered_um += length * u64::from(contour.level);
                self.powered_s += seconds * f64::from(contour.level);
                self.runs += 1;
            } else {
                self.times.crossing_s += seconds;
            }
            self.lines += 1;
            self.travel_mm += way;
            self.at = to;
            self.bounds.add(to);
        }
    }

    /// The sum, with the way back to the program's zero.
    pub fn finish(mut self) -> Estimate {
        self.times.approach_s += self.rapid((0, 0));
        let extents = self.bounds.mm();
        self.bounds.add((0, 0));
        Estimate {
            times: self.times,
            lines: self.lines,
            runs: self.runs,
            slowed: self.slowed,
            briefest_s: Some(self.briefest_s).filter(|s| s.is_finite()),
            burning_mm: self.burning_um as f64 / 1000.0,
            powered_mm: self.powered_um as f64 / 1000.0,
            powered_s: self.powered_s,
            travel_mm: self.travel_mm,
            extents,
            reach: self.bounds.mm().unwrap_or_default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Blank;
    use crate::placement::{DotRect, Grid};
    use crate::plane::{Dots, Tone};
    use crate::progress::Silent;
    use crate::scan::lines::Marking;
    use crate::scan::raster::Scan;
    use crate::scan::replay::{ReplayOptions, replay};
    use crate::units::Mm;

    /// A solid of `columns` x `rows` dots in the middle of a 90 mm square.
    fn solid(columns: usize, rows: usize, pitch: f64, scan: Scan, settle: f64) -> Estimate {
        let blank = Blank { shape: "rect:90x90mm".parse().unwrap(), margin: Mm(2.0) };
        let grid = Grid { along: Mm(pitch), across: Mm(pitch) };
        let rect = DotRect { left: Mm(2.5), top: Mm(2.5), columns, rows, grid };
        let limits = Limits { settle, ..Limits::default() };
        let raster = RasterPath::new(&limits, scan, rect, blank).unwrap();
        let bits = vec![0xFF; columns.div_ceil(8) * rows];
        let dots = Dots::from_packed(columns, rows, bits);
        Estimate::new(&Program::of_raster(raster, Marking::Dots(&dots), Vec::new()))
    }

    #[test]
    fn a_job_of_the_trade_takes_as_long_as_the_check_values_say() {
        // check values M03, M05 (computed): N (85/v + 2v/a) + (N−1) 2 √(p/a) = 6992.7 s for 1017 lines of
        // 85 mm; area/(v p) is 6917.8 s. Our lines are 1017 whole dots, 84.973 mm, so N times
        // 0.02697 mm / 12.5 mm/s = 2.195 s is to be added before comparing.
        let s = solid(1017, 1017, 25.4 / 304.0, Scan::new(12.5, 0.9), 0.0);
        let job = s.times.total() - s.times.approach_s;
        let short = 1017.0 * (85.0 - 1017.0 * 25.4 / 304.0) / 12.5;
        // 0.05 s: run-up and line spacing are rounded to whole µm, 1017 times.
        assert!((job + short - 6992.717501634249).abs() < 0.05, "{job} {short}");
        let naive: f64 = 85.0 * 85.0 / (12.5 * 25.4 / 304.0);
        assert!((naive - 6917.795275590552).abs() < 1e-6 && job > naive);
        assert!((s.burning_mm - 1017.0 * 84.973).abs() < 0.6, "{}", s.burning_mm);
        assert_eq!((s.lines, s.runs), (1017, 1017));
    }

    #[test]
    fn the_parts_of_the_time_add_up_for_any_run_up() {
        for run_up in [0.0, 0.05, 0.15, 2.0] {
            let scan = Scan { run_up: Some(run_up), ..Scan::new(12.5, 0.9) };
            let t = solid(100, 10, 0.1, scan, 0.5).times;
            let chain = motion::rest_to_rest(10.0 + 2.0 * run_up, 12.5, 500.0);
            let line = (t.burning_s + t.crossing_s + t.run_up_s) / 10.0;
            assert!((line - chain).abs() < 1e-9, "{run_up}: {line} {chain}");
        }
    }

    #[test]
    fn where_power_changes_at_rest_every_change_of_it_is_a_stop() {
        let tone = Tone::from_vec(40, 6, (0..240).map(|i| (i % 7) as f32 / 6.0).collect());
        let marking = Marking::Grey { tone: &tone, levels: &[0, 300, 600, 900] };
        let blank = Blank { shape: "rect:90x90mm".parse().unwrap(), margin: Mm(2.0) };
        let grid = Grid { along: Mm(0.1), across: Mm(0.1) };
        let rect = DotRect { left: Mm(2.5), top: Mm(2.5), columns: 40, rows: 6, grid };
        let both = |power_in_motion| {
            let limits = Limits { power_in_motion, ..Limits::default() };
            let raster = RasterPath::new(&limits, Scan::new(12.5, 0.9), rect, blank).unwrap();
            let program = Program::of_raster(raster, marking, Vec::new());
            let mut out = Vec::new();
            let said = program.write(&mut out, &Silent).unwrap().estimate;
            (said, replay(&out[..], &ReplayOptions::of(&program)).unwrap().report.seconds)
        };
        for power_in_motion in [false, true] {
            let (said, seconds) = both(power_in_motion);
            assert!((said.times.total() / seconds - 1.0).abs() < 1e-4, "{said:?} {seconds}");
        }
        let (said, _) = both(false);
        // 0.1 mm and more from rest to rest: 0.028 s and more a run.
        assert!(said.times.burning_s > 0.028 * said.runs as f64, "{said:?}");
    }
}
