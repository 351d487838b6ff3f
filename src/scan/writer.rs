//! The writer: lines of dots and contours as words, in a buffer of its own.

use std::borrow::Cow;
use std::io::{self, Write};

use super::axis::Speech;
use super::contour::Contour;
use super::gaps::{Crossing, Hurry};
use super::limits::Limits;
use super::lines::{Run, ScanLine};
use super::load::{Load, LoadMeter};
use super::motion;
use super::number::{Cursor, WORD, thousandths};
use super::program::on_word;
use super::raster::RasterPath;

/// Bytes that are handed on at once. A file's own buffer of this size is then passed by.
const FLUSH: usize = 256 * 1024;
/// Room for a few lines of words: a gap in a hurry and its run are ten of them.
const ROOM: usize = 12 * WORD;

/// Switches the beam off by an S word, where it is not off yet.
#[inline(always)]
fn dark(c: &mut Cursor<'_>, level: &mut u32) {
    if *level != 0 {
        c.byte(b'S');
        c.byte(b'0');
        *level = 0;
    }
}

/// The moves across a gap in a hurry: how many they are, and the F word that the next move needs.
fn hurried<'h>(
    c: &mut Cursor<'_>,
    (hurry, [fast, slow]): (&Hurry, &'h [String; 2]),
    axis: &Speech,
    (from, to): (i32, i32),
    mut level: u32,
) -> (u64, &'h [u8]) {
    let sign = if to > from { 1 } else { -1 };
    let letter = axis.letter;
    let mut moves = 1;
    if hurry.after > 0 {
        c.length(letter, axis.place(from + sign * hurry.after));
        dark(c, &mut level);
        c.byte(b'\n');
        moves += 1;
    }
    c.length(letter, axis.place(to - sign * hurry.before));
    dark(c, &mut level);
    c.bytes(fast.as_bytes());
    c.byte(b'\n');
    if hurry.before == 0 {
        return (moves, slow.as_bytes());
    }
    c.length(letter, axis.place(to));
    c.bytes(slow.as_bytes());
    c.byte(b'\n');
    (moves + 1, &[])
}

/// A place along a line, µm, as mm of the program.
fn place(path: &RasterPath, line: &ScanLine<'_>, along: i32) -> (f64, f64) {
    let mm = |um: i32| f64::from(um) / 1000.0;
    path.xy(mm(along), mm(line.across))
}

/// How a line is said.
struct LineWords<'a> {
    axis: Speech,
    /// The F words of gaps in a hurry and of marks.
    feeds: Option<Cow<'a, [String; 2]>>,
}

/// Writes words; knows what is in force, so that it says only what changes.
pub(super) struct Writer<'a, W: Write> {
    limits: &'a Limits,
    out: &'a mut W,
    buffer: Vec<u8>,
    used: usize,
    flushed: u64,
    program_lines: u64,
    /// Where the head is along and across the lines, µm; `None` before the part's first move.
    at: Option<(i32, i32)>,
    /// The S word in force.
    level: u32,
    /// The F word in force, thousandths of its unit a minute.
    feed: Option<i64>,
    meter: LoadMeter,
}

impl<'a, W: Write> Writer<'a, W> {
    /// A writer of one program.
    pub(super) fn new(limits: &'a Limits, out: &'a mut W) -> Self {
        Writer {
            limits,
            out,
            buffer: vec![0; FLUSH + ROOM],
            used: 0,
            flushed: 0,
            program_lines: 0,
            at: None,
            level: 0,
            feed: None,
            meter: LoadMeter::new(limits),
        }
    }

    /// A part begins: it takes nothing for granted of what the one before left.
    pub(super) fn part(&mut self) {
        (self.at, self.level, self.feed) = (None, 0, None);
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.write_all(&self.buffer[..self.used])?;
        self.flushed += self.used as u64;
        self.used = 0;
        Ok(())
    }

    /// Makes room for a few lines of words.
    #[inline(always)]
    fn room(&mut self) -> io::Result<()> {
        if self.used >= FLUSH { self.flush() } else { Ok(()) }
    }

    fn bytes(&self) -> u64 {
        self.flushed + self.used as u64
    }

    /// A whole line as text.
    pub(super) fn text(&mut self, line: &str) -> io::Result<()> {
        if self.used + line.len() + 1 > self.buffer.len() {
            self.flush()?;
        }
        match self.buffer.get_mut(self.used..self.used + line.len() + 1) {
            Some(place) => {
                place[..line.len()].copy_from_slice(line.as_bytes());
                place[line.len()] = b'\n';
                self.used += line.len() + 1;
            }
            None => {
                self.out.write_all(line.as_bytes())?;
                self.out.write_all(b"\n")?;
                self.flushed += line.len() as u64 + 1;
            }
        }
        self.program_lines += 1;
        Ok(())
    }

    /// A rapid with the beam off; nothing where the head is already there.
    fn rapid(&mut self, path: &RasterPath, along: i32, across: i32) -> io::Result<()> {
        self.room()?;
        let at = self.at.replace((along, across));
        let moves_across = at.is_none_or(|a| a.1 != across);
        // From line to line of a cone the same place round it is another turn.
        let moves_along = at.is_none_or(|a| a.0 != along) || moves_across && path.limits.cone().is_some();
        if !moves_along && !moves_across {
            return Ok(());
        }
        let (axis, other) = path.speeches(along, across);
        let mut c = Cursor::new(&mut self.buffer[self.used..]);
        c.byte(b'G');
        c.byte(b'0');
        if moves_along {
            c.length(axis.letter, axis.place(along));
        }
        if moves_across {
            c.length(other.letter, other.place(across));
        }
        if self.level != 0 && self.limits.power_in_motion {
            c.byte(b'S');
            c.byte(b'0');
            self.level = 0;
        }
        c.byte(b'\n');
        self.used += c.len();
        self.program_lines += 1;
        match at {
            Some(from) => {
                let way = |a: i32, b: i32| (f64::from(a) - f64::from(b)) / 1000.0;
                let (dx, dy) = path.xy(way(along, from.0), way(across, from.1));
                // At rest with the beam off the head may wait.
                self.meter.pass(path.limits.rapid_seconds(dx, dy), 1, self.bytes(), false);
            }
            None => self.meter.begin(self.bytes()),
        }
        Ok(())
    }

    /// The words that open a chain: `G1`, and the feed where it is not yet in force.
    fn open_chain(&mut self, path: &RasterPath, axis: &Speech, along: i32, level: u32) -> io::Result<()> {
        self.room()?;
        let mut c = Cursor::new(&mut self.buffer[self.used..]);
        c.byte(b'G');
        c.byte(b'1');
        c.length(axis.letter, axis.place(along));
        if level != self.level {
            c.byte(b'S');
            c.whole(level);
            self.level = level;
        }
        let feed = axis.feed(path.feed);
        if self.feed.replace(feed) != Some(feed) {
            c.bytes(format!("F{}", thousandths(feed)).as_bytes());
        }
        c.byte(b'\n');
        self.used += c.len();
        self.program_lines += 1;
        self.set_along(along);
        Ok(())
    }

    fn set_along(&mut self, along: i32) {
        if let Some(at) = &mut self.at {
            at.0 = along;
        }
    }

    /// A line of dots.
    pub(super) fn line(&mut self, path: &RasterPath, line: &ScanLine<'_>) -> io::Result<()> {
        if path.limits.power_in_motion {
            self.moving_line(path, line)
        } else {
            self.switched_line(path, line)
        }
    }

    /// A line where power changes in motion: chains of G1 moves, each opened by its run-up and closed by
    /// its run-out, with rapids over long blank stretches.
    fn moving_line(&mut self, path: &RasterPath, line: &ScanLine<'_>) -> io::Result<()> {
        let axis = path.speeches(line.start, line.across).0;
        let words = LineWords { axis, feeds: path.gaps.hurry.as_ref().map(|hurry| hurry.feeds_of(&axis)) };
        let sign = if line.end > line.start { 1 } else { -1 };
        let (run_up, run_out) = (sign * path.run_up, sign * path.run_out);
        let (v, a) = (path.scan.speed, path.axis().acceleration);
        let ramp = |um: i32| motion::from_rest(f64::from(um) / 1000.0, v, a);
        self.rapid(path, line.start, line.across)?;
        let mut chain = line.runs;
        while let Some(first) = chain.first() {
            // Up to the first gap that is skipped.
            let len = chain[1..].iter().position(|run| run.crossing == Crossing::Skipped);
            let (now, later) = chain.split_at(len.map_or(chain.len(), |n| n + 1));
            if run_up != 0 {
                self.open_chain(path, &axis, first.from, 0)?;
                self.meter.pass(ramp(path.run_up), 1, self.bytes(), false);
                self.chain(path, now, first.from, line, &words)?;
            } else {
                self.open_chain(path, &axis, first.to, first.level)?;
                let way = f64::from(first.from.abs_diff(first.to)) / 1000.0;
                self.meter.pass(way / v, 1, self.bytes(), false);
                self.chain(path, &now[1..], first.to, line, &words)?;
            }
            let last = now[now.len() - 1].to;
            if run_out != 0 {
                self.room()?;
                let mut c = Cursor::new(&mut self.buffer[self.used..]);
                c.length(axis.letter, axis.place(last + run_out));
                c.byte(b'S');
                c.byte(b'0');
                c.byte(b'\n');
                self.used += c.len();
                self.program_lines += 1;
                self.level = 0;
            }
            self.set_along(last + run_out);
            if run_out != 0 {
                // Where it comes late the head stops before it, with the beam on.
                self.pass(path, line, ramp(path.run_out));
            }
            if let Some(next) = later.first() {
                self.rapid(path, next.from - run_up, line.across)?;
            }
            chain = later;
        }
        Ok(())
    }

    /// Runs and the blank stretches between them, all in one chain; the innermost loop.
    #[inline(always)]
    fn chain(
        &mut self,
        path: &RasterPath,
        runs: &[Run],
        from: i32,
        line: &ScanLine<'_>,
        words: &LineWords<'_>,
    ) -> io::Result<()> {
        let axis = &words.axis;
        let (mut at, mut level) = (from, self.level);
        let a_um = 0.001 / path.scan.speed;
        for run in runs {
            self.room()?;
            let (mut seconds, mut moves) = (a_um * f64::from(run.to.abs_diff(run.from)), 1);
            let mut c = Cursor::new(&mut self.buffer[self.used..]);
            let mut slower: &[u8] = &[];
            if run.from != at {
                match (&path.gaps.hurry, &words.feeds) {
                    (Some(hurry), Some(feeds)) if run.crossing == Crossing::Hurried => {
                        let (of_gap, left) = hurried(&mut c, (hurry, feeds), axis, (at, run.from), level);
                        (level, slower) = (0, left);
                        moves += of_gap;
                        seconds += hurry.seconds(f64::from(run.from.abs_diff(at)));
                    }
                    _ => {
                        c.length(axis.letter, axis.place(run.from));
                        dark(&mut c, &mut level);
                        c.byte(b'\n');
                        moves += 1;
                        seconds += a_um * f64::from(run.from.abs_diff(at));
                    }
                }
            }
            c.length(axis.letter, axis.place(run.to));
            if run.level != level {
                c.byte(b'S');
                c.whole(run.level);
                level = run.level;
            }
            c.bytes(slower);
            c.byte(b'\n');
            at = run.to;
            self.used += c.len();
            self.program_lines += moves;
            if self.meter.pass(seconds, moves, self.flushed + self.used as u64, true) {
                self.meter.densest(line.number, place(path, line, at));
            }
        }
        self.level = level;
        self.set_along(at);
        Ok(())
    }

    /// The head has made a move within a line that takes so many seconds, and must not wait for the words of it.
    fn pass(&mut self, path: &RasterPath, line: &ScanLine<'_>, seconds: f64) {
        if self.meter.pass(seconds, 1, self.bytes(), true) {
            self.meter.densest(line.number, place(path, line, self.at.map_or(0, |at| at.0)));
        }
    }

    /// A line where power changes at rest only: a rapid to each run, the beam on, the run, the beam off.
    fn switched_line(&mut self, path: &RasterPath, line: &ScanLine<'_>) -> io::Result<()> {
        let on = on_word(self.limits);
        let axis = path.speeches(line.start, line.across).0;
        let (v, a) = (path.scan.speed, path.axis().acceleration);
        for run in line.runs {
            self.rapid(path, run.from, line.across)?;
            self.text(&format!("{on}S{}", run.level))?;
            self.level = run.level;
            self.open_chain(path, &axis, run.to, run.level)?;
            let way = f64::from(run.from.abs_diff(run.to)) / 1000.0;
            self.pass(path, line, motion::rest_to_rest(way, v, a));
            self.text("M5")?;
        }
        Ok(())
    }

    /// A contour: to its first point with the beam off, then along it, with the beam at its power.
    pub(super) fn contour(&mut self, contour: &Contour) -> io::Result<()> {
        let word = |axis: Speech, um: i32| {
            format!("{}{}", char::from(axis.letter), thousandths(axis.place(um).into()))
        };
        let Some(&first) = contour.points.first() else { return Ok(()) };
        let (x, y) = self.limits.speeches(first);
        self.text(&format!("G0{}{}", word(x, first.0), word(y, first.1)))?;
        if contour.level > 0 {
            self.text(&format!("{}S{}", on_word(self.limits), contour.level))?;
        }
        let (mut opening, mut said) = ("G1", None);
        for pair in contour.points.windows(2) {
            let (from, to) = (pair[0], pair[1]);
            let (was, (x, y)) = (self.limits.speeches(from), self.limits.speeches(to));
            // What turns a cone turns on as the head goes up it, and need not where it goes to the side.
            let (turns, climbs) =
                (was.0.place(from.0) != x.place(to.0), was.1.place(from.1) != y.place(to.1));
            let along_x = if turns { word(x, to.0) } else { String::new() };
            let along_y = if climbs { word(y, to.1) } else { String::new() };
            // A rotary alone has its own units a minute; together with the head, the way of the head counts.
            let axis = if climbs { &y } else { &x };
            let feed = axis.feed(contour.feed);
            let f = match said.replace(feed) {
                Some(before) if before == feed => String::new(),
                _ => format!("F{}", thousandths(feed)),
            };
            self.text(&format!("{}{f}{along_x}{along_y}", std::mem::take(&mut opening)))?;
        }
        Ok(())
    }

    /// Hands on what is left: the program's bytes, its lines and its densest stretch.
    pub(super) fn finish(mut self) -> io::Result<(u64, u64, Load)> {
        self.flush()?;
        self.out.flush()?;
        Ok((self.flushed, self.program_lines, self.meter.load()))
    }
}
