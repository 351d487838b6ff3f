//! Scan lines: dots to runs in the order in which the head meets them.
//!
//! Nothing is held but the dots themselves and one line (along y: eight columns at a time), and, where lines are
//! not marked whole, the order of their stretches.

use std::sync::Arc;

use super::gaps::Crossing;
use super::islands::Stretch;
use super::raster::{RasterPath, Ways};
use super::sight::{Ride, Slowed};
use crate::placement::Along;
use crate::plane::{Dots, Tone};

/// A stretch with the beam on. `from` and `to` are µm of the program along the line, in the order of travel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Run {
    /// Where the beam goes on.
    pub from: i32,
    /// Where it changes or goes off.
    pub to: i32,
    /// The S word, above 0.
    pub level: u32,
    /// How the gap before it is crossed; of no meaning for the first of a line.
    pub crossing: Crossing,
}

/// One line that marks something, or a stretch of one.
#[derive(Debug, Clone, Copy)]
pub struct ScanLine<'a> {
    /// Row (or column) of the dots.
    pub number: u32,
    /// Position across the lines, µm of the program.
    pub across: i32,
    /// Where the run-up starts, µm.
    pub start: i32,
    /// Where the run-out ends, µm.
    pub end: i32,
    /// What it loses where the controller does not see far enough ahead to hold the marking speed.
    pub slowed: Slowed,
    /// What is marked, in the order of travel; never empty.
    pub runs: &'a [Run],
}

/// What is marked.
#[derive(Debug, Clone, Copy)]
pub enum Marking<'a> {
    /// Dots, each at the raster path's power.
    Dots(&'a Dots),
    /// Wanted marks, each by its own power: `levels[k]` is the S word of the mark fraction
    /// `k / (levels.len() − 1)`; 0 leaves the beam off.
    Grey {
        /// The wanted mark fraction of each dot.
        tone: &'a Tone,
        /// S words for evenly spaced mark fractions, at least two.
        levels: &'a [u32],
    },
}

impl Marking<'_> {
    /// Columns and rows.
    pub fn size(&self) -> (usize, usize) {
        match self {
            Marking::Dots(d) => (d.width(), d.height()),
            Marking::Grey { tone, .. } => (tone.width(), tone.height()),
        }
    }
}

/// The S word for the wanted mark fraction `mark` by a table of [`Marking::Grey`]: the nearest entry.
pub fn level_of(levels: &[u32], mark: f32) -> u32 {
    let top = levels.len().saturating_sub(1);
    // A value that is not a number casts to 0: the beam stays off.
    let index = (mark.clamp(0.0, 1.0) * top as f32 + 0.5) as usize;
    levels.get(index.min(top)).copied().unwrap_or(0)
}

/// Iterates over the lines that mark something, pass after pass, in the order of the program.
#[derive(Debug)]
pub struct ScanLines<'a> {
    raster: &'a RasterPath,
    marking: Marking<'a>,
    /// The order of stretches; `None`: line by line.
    order: Option<Arc<Vec<Stretch>>>,
    next: u32,
    passes_left: u32,
    forward: bool,
    /// Edges where a line of dots changes, in pairs (on, off), in dots.
    edges: Vec<u32>,
    runs: Vec<Run>,
    /// Along y: eight columns as packed lines, and which of them.
    columns: Vec<u8>,
    columns_of: Option<u32>,
    /// How far link and controller are behind the head, s.
    behind: f64,
    ride: Ride,
}

impl<'a> ScanLines<'a> {
    /// The lines of `marking` along `raster`. A marking of another size than the raster path's dot rectangle is cut to it.
    ///
    /// They come in the order of the path, see [`RasterPath::ordered`].
    pub fn new(raster: &'a RasterPath, marking: Marking<'a>) -> Self {
        ScanLines::in_order(raster, marking, raster.order.clone())
    }

    /// The lines one after the other, each whole.
    pub(super) fn in_rows(raster: &'a RasterPath, marking: Marking<'a>) -> Self {
        ScanLines::in_order(raster, marking, None)
    }

    /// The stretches in their order; `None`: line by line.
    pub(super) fn in_order(
        raster: &'a RasterPath,
        marking: Marking<'a>,
        order: Option<Arc<Vec<Stretch>>>,
    ) -> Self {
        ScanLines {
            raster,
            marking,
            order,
            next: 0,
            passes_left: raster.scan.passes,
            forward: raster.scan.ways != Ways::Back,
            edges: Vec::new(),
            runs: Vec::new(),
            columns: Vec::new(),
            columns_of: None,
            behind: 0.0,
            ride: Ride::default(),
        }
    }

    /// Lines or stretches of a pass, marked or not.
    pub fn count(&self) -> u64 {
        self.order.as_ref().map_or(u64::from(self.raster.lines), |order| order.len() as u64)
    }

    /// The runs of a line by rising dot, where no lag is taken up.
    pub(super) fn find(&mut self, number: u32) -> &[Run] {
        self.find_runs(number);
        &self.runs
    }

    /// The next line or stretch that marks something; `None` at the end of the last pass.
    pub fn next_line(&mut self) -> Option<ScanLine<'_>> {
        let raster = self.raster;
        loop {
            if self.passes_left == 0 {
                return None;
            }
            if u64::from(self.next) >= self.count() {
                self.next = 0;
                self.passes_left -= 1;
                continue;
            }
            let stretch = self.order.as_ref().map(|order| order[self.next as usize]);
            let number = stretch.map_or(self.next, |s| s.line);
            self.next += 1;
            self.find_runs(number);
            if let Some(s) = stretch {
                self.runs.truncate(s.end as usize);
                self.runs.drain(..(s.first as usize).min(self.runs.len()));
                self.forward = s.forward;
            }
            if self.runs.is_empty() {
                continue;
            }
            let rising = self.forward == raster.grows();
            let lag = if self.forward { -raster.lag } else { raster.lag };
            if !self.forward {
                self.runs.reverse();
                for run in &mut self.runs {
                    (run.from, run.to) = (run.to, run.from);
                }
            }
            if lag != 0 {
                for run in &mut self.runs {
                    run.from += lag;
                    run.to += lag;
                }
            }
            if raster.scan.ways == Ways::Both {
                self.forward = !self.forward;
            }
            let blind = raster.gaps.settle(&mut self.runs, &mut self.behind);
            let slowed = raster.gaps.sight.as_ref().filter(|_| blind).map_or_else(Slowed::default, |sight| {
                self.ride.along(sight, raster.gaps.hurry.as_ref(), &self.runs)
            });
            let sign = if rising { 1 } else { -1 };
            let (first, last) = (self.runs[0], self.runs[self.runs.len() - 1]);
            return Some(ScanLine {
                number,
                across: raster.across(number),
                start: first.from - sign * raster.run_up,
                end: last.to + sign * raster.run_out,
                slowed,
                runs: &self.runs,
            });
        }
    }

    /// Fills `runs` with those of line `number`, by rising dot.
    fn find_runs(&mut self, number: u32) {
        self.runs.clear();
        match self.marking {
            Marking::Dots(dots) => {
                self.edges.clear();
                match self.raster.scan.along {
                    Along::X => {
                        if (number as usize) < dots.height() {
                            edges(dots.row(number as usize), &mut self.edges);
                        }
                    }
                    Along::Y => {
                        let stride = dots.height().div_ceil(8);
                        if self.columns_of != Some(number / 8) {
                            turn(dots, (number / 8) as usize, &mut self.columns);
                            self.columns_of = Some(number / 8);
                        }
                        let at = (number % 8) as usize * stride;
                        if let Some(line) = self.columns.get(at..at + stride) {
                            edges(line, &mut self.edges);
                        }
                    }
                }
                self.place_runs();
            }
            Marking::Grey { tone, levels } => self.grey_runs(number, tone, levels),
        }
    }

    /// Turns edges in dots into runs in µm.
    fn place_runs(&mut self) {
        let raster = self.raster;
        let (ruler, end) = (raster.along, raster.dots);
        let trim = if raster.grows() { raster.trim } else { -raster.trim };
        let level = raster.level;
        self.runs.extend(self.edges.as_chunks::<2>().0.iter().filter(|e| e[0] < end).map(|&[on, off]| Run {
            from: ruler.at(on) + trim,
            to: ruler.at(off.min(end)) - trim,
            level,
            crossing: Crossing::Paced,
        }));
    }

    fn grey_runs(&mut self, number: u32, tone: &Tone, levels: &[u32]) {
        let raster = self.raster;
        let along_x = raster.scan.along == Along::X;
        let (count, lines) =
            if along_x { (tone.width(), tone.height()) } else { (tone.height(), tone.width()) };
        if number as usize >= lines {
            return;
        }
        let (data, width, n) = (tone.data(), tone.width(), number as usize);
        let value = |i: usize| if along_x { data[n * width + i] } else { data[i * width + n] };
        // A stretch is shortened where the beam goes on and off, not where its power changes.
        let trim = if raster.grows() { raster.trim } else { -raster.trim };
        let (mut from, mut level) = (0, 0u32);
        let count = count.min(raster.dots as usize) as u32;
        for i in 0..=count {
            let here = if i < count { level_of(levels, value(i as usize)) } else { 0 };
            if here == level {
                continue;
            }
            let edge = raster.along.at(i);
            if level > 0 {
                let to = if here > 0 { edge } else { edge - trim };
                self.runs.push(Run { from, to, level, crossing: Crossing::Paced });
            }
            from = if level > 0 { edge } else { edge + trim };
            level = here;
        }
    }
}

/// Appends the columns at which a packed line changes, in pairs (first on, first off).
///
/// 64 dots at a time: a bit of `w ^ (w >> 1)` is set where a dot differs from the one before it, so the
/// work is for each change, not for each dot.
fn edges(line: &[u8], out: &mut Vec<u32>) {
    let (mut carry, mut base) = (0u64, 0u32);
    let (words, rest) = line.as_chunks::<8>();
    let mut tail = [0u8; 8];
    tail[..rest.len()].copy_from_slice(rest);
    for bytes in words.iter().chain((!rest.is_empty()).then_some(&tail)) {
        let w = u64::from_be_bytes(*bytes);
        let mut changes = w ^ (w >> 1) ^ (carry << 63);
        carry = w & 1;
        while changes != 0 {
            let at = changes.leading_zeros();
            out.push(base + at);
            changes ^= 1 << (63 - at);
        }
        base += 64;
    }
    if out.len() % 2 == 1 {
        out.push(base);
    }
}

/// Packs columns `8 group ..` of `dots` as lines of `ceil(height / 8)` bytes, one after the other.
fn turn(dots: &Dots, group: usize, out: &mut Vec<u8>) {
    let stride = dots.height().div_ceil(8);
    out.clear();
    out.resize(8 * stride, 0);
    if group >= dots.stride() {
        return;
    }
    for (y, row) in dots.bits().chunks_exact(dots.stride()).enumerate() {
        let byte = row[group];
        if byte != 0 {
            for (c, line) in out.chunks_exact_mut(stride).enumerate() {
                line[y / 8] |= (byte >> (7 - c) & 1) << (7 - y % 8);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Blank;
    use crate::placement::{DotRect, Grid};
    use crate::scan::limits::{BeamLag, Limits};
    use crate::scan::raster::Scan;
    use crate::units::Mm;

    fn dots(rows: &[&str]) -> Dots {
        let mut d = Dots::off(rows[0].len(), rows.len());
        for (y, row) in rows.iter().enumerate() {
            for (x, c) in row.chars().enumerate() {
                d.set(x, y, c == '#');
            }
        }
        d
    }

    fn raster(d: &Dots, limits: &Limits, scan: Scan) -> RasterPath {
        let blank = Blank { shape: "rect:50x40mm".parse().unwrap(), margin: Mm(1.0) };
        let grid = Grid { along: Mm(0.1), across: Mm(0.2) };
        let rect = DotRect { left: Mm(10.0), top: Mm(10.0), columns: d.width(), rows: d.height(), grid };
        RasterPath::new(limits, scan, rect, blank).unwrap()
    }

    /// Number, across, start, end, runs.
    type Seen = (u32, i32, i32, i32, Vec<(i32, i32)>);

    fn all(c: &RasterPath, d: &Dots) -> Vec<Seen> {
        let mut lines = ScanLines::new(c, Marking::Dots(d));
        let mut out = Vec::new();
        while let Some(l) = lines.next_line() {
            out.push((l.number, l.across, l.start, l.end, l.runs.iter().map(|r| (r.from, r.to)).collect()));
        }
        out
    }

    fn short() -> Scan {
        Scan { run_up: Some(1.0), ..Scan::new(10.0, 1.0) }
    }

    #[test]
    fn lines_run_there_and_back_and_leave_out_blank_rows() {
        let d = dots(&["##..#", ".....", ".##.."]);
        let c = raster(&d, &Limits::default(), short());
        let want = vec![
            (0, 29_900, 9_000, 11_500, vec![(10_000, 10_200), (10_400, 10_500)]),
            (2, 29_500, 11_300, 9_100, vec![(10_300, 10_100)]),
        ];
        assert_eq!(all(&c, &d), want);
    }

    #[test]
    fn one_way_lines_all_run_forward_and_passes_repeat_the_whole_art() {
        let d = dots(&["##", "#."]);
        let c = raster(&d, &Limits::default(), Scan { ways: Ways::One, passes: 2, ..short() });
        let got: Vec<_> = all(&c, &d).iter().map(|l| (l.0, l.4[0])).collect();
        let (a, b) = ((0, (10_000, 10_200)), (1, (10_000, 10_100)));
        assert_eq!(got, [a, b, a, b]);
    }

    #[test]
    fn along_y_columns_become_lines() {
        let d = dots(&["#..", "#.#", "..#"]);
        let c = raster(&d, &Limits::default(), Scan { along: Along::Y, ..short() });
        let want = vec![
            (0, 10_050, 31_000, 28_600, vec![(30_000, 29_600)]),
            (2, 10_250, 28_400, 30_800, vec![(29_400, 29_800)]),
        ];
        assert_eq!(all(&c, &d), want);
    }

    #[test]
    fn the_lag_is_taken_up_against_the_motion_of_each_line() {
        // check value M08 (computed): tau 1 ms at 100 mm/s shifts by 0.1 mm along the motion.
        let d = dots(&["#", "#"]);
        for x_left in [false, true] {
            let mut limits = Limits { lag: BeamLag::Seconds(0.001), ..Limits::default() };
            limits.x.backwards = x_left;
            let c = raster(&d, &limits, Scan { speed: 100.0, ..short() });
            for line in all(&c, &d) {
                let (from, to) = line.4[0];
                let (low, motion) = (from.min(to), (to - from).signum());
                let plain = if x_left { -10_100 } else { 10_000 };
                assert_eq!(low + motion * 100, plain, "{x_left} {line:?}");
            }
        }
    }

    #[test]
    fn trimmed_runs_are_shorter_at_both_ends() {
        let d = dots(&["##"]);
        let c = raster(&d, &Limits::default(), Scan { trim: 0.03, ..short() });
        assert_eq!(all(&c, &d)[0].4, [(10_030, 10_170)]);
    }

    #[test]
    fn grey_runs_join_equal_levels_and_leave_the_beam_off_at_level_0() {
        let tone = Tone::from_vec(5, 1, vec![0.0, 1.0, 1.0, 0.5, f32::NAN]);
        let c = raster(&Dots::off(5, 1), &Limits::default(), short());
        let mut lines = ScanLines::new(&c, Marking::Grey { tone: &tone, levels: &[0, 400, 900] });
        let line = lines.next_line().unwrap();
        let runs: Vec<_> = line.runs.iter().map(|r| (r.from, r.to, r.level)).collect();
        assert_eq!(runs, [(10_100, 10_300, 900), (10_300, 10_400, 400)]);
        assert!(lines.next_line().is_none());
        // Shortened at the ends of the stretch, not where its power changes.
        let c = raster(&Dots::off(5, 1), &Limits::default(), Scan { trim: 0.03, ..short() });
        let mut lines = ScanLines::new(&c, Marking::Grey { tone: &tone, levels: &[0, 400, 900] });
        let runs: Vec<_> = lines.next_line().unwrap().runs.iter().map(|r| (r.from, r.to, r.level)).collect();
        assert_eq!(runs, [(10_130, 10_300, 900), (10_300, 10_370, 400)]);
    }

    #[test]
    fn edges_are_found_at_every_place_of_every_width() {
        for width in [1usize, 7, 8, 9, 63, 64, 65, 130] {
            for start in 0..width {
                for end in start + 1..=width {
                    let mut d = Dots::off(width, 1);
                    (start..end).for_each(|x| d.set(x, 0, true));
                    let mut out = Vec::new();
                    edges(d.row(0), &mut out);
                    // A run that fills the last byte ends at the padding, which the raster path cuts off.
                    assert_eq!(out[0] as usize, start);
                    assert!(out[1] as usize == end && out.len() == 2, "{width} {start} {end} {out:?}");
                }
            }
        }
    }
}
