//! The scan program: RS-274 words for the lines, streamed into any `Write`.
//!
//! Words are those of NISTIR 6556 (RS274/NGC, Kramer, Proctor and Messina 2000): at most 256 characters
//! a line, no exponents, comments in parentheses that are never nested. That S sets optical power, that
//! it may change inside a G1 chain, and M4 as speed-scaled power are controller practice, in no standard.
//!
//! Modal words are written when they change; coordinates are absolute, so rounding never adds up.

use std::io::{self, Write};

use super::comments::comments;
use super::estimate::{Estimate, Estimator};
use super::limits::PowerMode;
use super::lines::{Marking, Run, ScanLine, ScanLines};
use super::number::{Cursor, WORD, thousandths};
use super::raster::{Along, RasterPath};
use crate::units::short;

/// What the program says about itself in comments, besides what it knows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Notes {
    /// Name of the job.
    pub job: String,
    /// Settings worth keeping with the program, one a comment: time, coating, power in watts, …
    pub settings: Vec<String>,
    /// What to beware of, one a comment.
    pub cautions: Vec<String>,
}

/// The most that the program asks of the link.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Load {
    /// Bytes for each mm of travel in the densest stretch, less what the controller holds ahead. Times the
    /// speed it is the bytes a second that the link must carry. Stretches are 64 moves, 128, 256, … up to a
    /// whole line: the short ones find dense spots, the long ones what a store of a few moves cannot level.
    pub bytes_per_mm: f64,
    /// Bytes of a move in that stretch, mean.
    pub bytes_per_move: f64,
    /// Row (or column) of dots of that stretch.
    pub line: u32,
    /// Its end, mm of the program.
    pub at: (f64, f64),
}

impl Load {
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

/// What was written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cost {
    /// Time, travel, extents.
    pub estimate: Estimate,
    /// Size of the program.
    pub bytes: u64,
    /// ScanLines of the program, comments included.
    pub program_lines: u64,
    /// The densest stretch.
    pub load: Load,
}

/// Writes the program of `marking` along `raster` to `out` and flushes it.
///
/// Memory: 64 KiB and one line of runs, whatever the size of the art.
///
/// # Errors
/// Those of `out`; what is already written is then not a program, and is the caller's to remove.
pub fn write(
    raster: &RasterPath,
    marking: Marking<'_>,
    notes: &Notes,
    out: &mut impl Write,
) -> io::Result<Cost> {
    let mut w = Writer::new(raster, out);
    for line in preamble(raster, marking, notes) {
        w.text(&line)?;
    }
    let mut estimator = Estimator::new(raster);
    let mut lines = ScanLines::new(raster, marking);
    while let Some(line) = lines.next_line() {
        estimator.line(&line);
        if raster.limits.power_in_motion { w.line(&line)? } else { w.switched_line(&line)? }
    }
    for line in ending(raster) {
        w.text(&line)?;
    }
    w.finish(estimator.finish())
}

/// The same as [`write()`], into nothing: how long, how large and how dense the program will be.
///
/// # Errors
/// None in practice: nothing is stored.
pub fn measure(raster: &RasterPath, marking: Marking<'_>, notes: &Notes) -> io::Result<Cost> {
    write(raster, marking, notes, &mut io::sink())
}

/// Comments, the machine's header, then all modes stated (check value G16: defaults are not relied on).
/// The header comes first, so that nothing in it can change a mode that is stated here.
fn preamble(raster: &RasterPath, marking: Marking<'_>, notes: &Notes) -> Vec<String> {
    let mut lines = Vec::new();
    let mut say = |text: String| comments(&text, &mut lines);
    let (rect, scan) = (&raster.rect, &raster.scan);
    let (columns, rows) = marking.size();
    say(format!("job: {}", notes.job));
    say(format!("blank: {}, margin {}", raster.blank.shape, raster.blank.margin));
    say(format!("true size: {} x {} mm", short(rect.width(), 4), short(rect.height(), 4)));
    say(format!(
        "grid: {columns} x {rows} dots, pitch {} x {} mm, left {} mm, top {} mm",
        // Whoever replays the program reads these: over 10 000 dots seven decimals come to half a µm.
        short(rect.grid.along.0, 7),
        short(rect.grid.across.0, 7),
        short(rect.left.0, 7),
        short(rect.top.0, 7)
    ));
    say(format!(
        "speed {} mm/s, S {} of {}, passes {}, run-up {} mm",
        short(scan.speed, 4),
        raster.level,
        raster.limits.full_scale_s,
        scan.passes,
        thousandths(raster.run_up.into())
    ));
    let lag = if raster.grows() { raster.lag } else { -raster.lag };
    if lag != 0 {
        say(format!("lag {} mm along the motion, taken up in the coordinates", thousandths(lag.into())));
    }
    if raster.trim != 0 {
        say(format!("each run is shortened by {} mm at either end", thousandths(raster.trim.into())));
    }
    for s in &notes.settings {
        say(s.clone());
    }
    for c in &notes.cautions {
        say(format!("caution: {c}"));
    }
    lines.extend(raster.limits.header.iter().cloned());
    lines.push("G21G90G94G17M5S0".into());
    if raster.limits.power_in_motion {
        lines.push(format!("{}S0", on_word(raster)));
    }
    lines
}

fn on_word(raster: &RasterPath) -> &'static str {
    match raster.limits.power_mode {
        PowerMode::Constant => "M3",
        PowerMode::SpeedScaled => "M4",
    }
}

/// Beam off, back to the program's zero, the machine's footer, beam off again, end.
fn ending(raster: &RasterPath) -> Vec<String> {
    let mut lines = vec!["M5S0".to_string(), "G0X0Y0".into()];
    if !raster.limits.footer.is_empty() {
        lines.extend(raster.limits.footer.iter().cloned());
        lines.push("M5S0".into());
    }
    lines.push("M2".into());
    lines
}

/// Size of the buffer. Larger ones were not faster; smaller ones cost more calls.
const BUFFER: usize = 64 * 1024;
/// Runs in the shortest stretch over which the load on the link is taken: 64 moves.
const STRETCH: u32 = 32;
/// Stretches of 1, 2, 4, … times the shortest: the longest is 131072 moves.
const STRETCHES: usize = 12;

struct Writer<'a, W: Write> {
    raster: &'a RasterPath,
    out: &'a mut W,
    buffer: Vec<u8>,
    used: usize,
    flushed: u64,
    program_lines: u64,
    /// Letters of the axes along and across the lines.
    letters: (u8, u8),
    /// Where the head is, µm; `None` before the first move.
    at: Option<(i32, i32)>,
    /// The S word in force.
    level: u32,
    feed_said: bool,
    load: Load,
    /// Where each stretch under way began: bytes written before it, µm along, runs before it.
    stretches: [(u64, i32, u32); STRETCHES],
    /// Runs since the chain began.
    runs: u32,
}

impl<'a, W: Write> Writer<'a, W> {
    fn new(raster: &'a RasterPath, out: &'a mut W) -> Self {
        Writer {
            raster,
            out,
            buffer: vec![0; BUFFER],
            used: 0,
            flushed: 0,
            program_lines: 0,
            letters: if raster.scan.along == Along::X { (b'X', b'Y') } else { (b'Y', b'X') },
            at: None,
            level: 0,
            feed_said: false,
            load: Load::default(),
            stretches: [(0, 0, 0); STRETCHES],
            runs: 0,
        }
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
        if self.used + 8 * WORD > BUFFER { self.flush() } else { Ok(()) }
    }

    fn bytes(&self) -> u64 {
        self.flushed + self.used as u64
    }

    /// A whole line as text.
    fn text(&mut self, line: &str) -> io::Result<()> {
        self.flush()?;
        self.out.write_all(line.as_bytes())?;
        self.out.write_all(b"\n")?;
        self.flushed += line.len() as u64 + 1;
        self.program_lines += 1;
        Ok(())
    }

    /// A rapid with the beam off; nothing where the head is already there.
    fn rapid(&mut self, along: i32, across: i32) -> io::Result<()> {
        self.room()?;
        let at = self.at.replace((along, across));
        let (moves_along, moves_across) = (at.is_none_or(|a| a.0 != along), at.is_none_or(|a| a.1 != across));
        if !moves_along && !moves_across {
            return Ok(());
        }
        let mut c = Cursor::new(&mut self.buffer[self.used..]);
        c.byte(b'G');
        c.byte(b'0');
        if moves_along {
            c.length(self.letters.0, along);
        }
        if moves_across {
            c.length(self.letters.1, across);
        }
        if self.level != 0 && self.raster.limits.power_in_motion {
            c.byte(b'S');
            c.byte(b'0');
            self.level = 0;
        }
        c.byte(b'\n');
        self.used += c.len();
        self.program_lines += 1;
        Ok(())
    }

    /// The words that open a chain: `G1`, and the feed where it was never said.
    fn open_chain(&mut self, along: i32, level: u32) -> io::Result<()> {
        self.room()?;
        let mut c = Cursor::new(&mut self.buffer[self.used..]);
        c.byte(b'G');
        c.byte(b'1');
        c.length(self.letters.0, along);
        if level != self.level {
            c.byte(b'S');
            c.whole(level);
            self.level = level;
        }
        self.used += c.len();
        if !self.feed_said {
            self.feed_said = true;
            for b in format!("F{}", thousandths(self.raster.feed)).bytes() {
                self.buffer[self.used] = b;
                self.used += 1;
            }
        }
        self.buffer[self.used] = b'\n';
        self.used += 1;
        self.program_lines += 1;
        self.set_along(along);
        Ok(())
    }

    fn set_along(&mut self, along: i32) {
        if let Some(at) = &mut self.at {
            at.0 = along;
        }
    }

    /// A line where power changes in motion: chains of G1 moves, each opened by its run-up and closed by
    /// its run-out, with rapids over long blank stretches.
    fn line(&mut self, line: &ScanLine<'_>) -> io::Result<()> {
        let raster = self.raster;
        self.begin_stretches(line.start);
        let way = if line.end > line.start { raster.run_up } else { -raster.run_up };
        let skip = raster.skip.unwrap_or(i32::MAX).unsigned_abs();
        self.rapid(line.start, line.across)?;
        let mut chain = line.runs;
        while let Some(first) = chain.first() {
            // Up to the first gap that is worth a skip.
            let len = chain.windows(2).position(|w| w[0].to.abs_diff(w[1].from) >= skip);
            let (now, later) = chain.split_at(len.map_or(chain.len(), |n| n + 1));
            if way != 0 {
                self.open_chain(first.from, 0)?;
                self.chain(now, first.from, line)?;
            } else {
                self.open_chain(first.to, first.level)?;
                self.chain(&now[1..], first.to, line)?;
            }
            self.end_stretches(line, true);
            let last = now[now.len() - 1].to;
            if way != 0 {
                self.room()?;
                let mut c = Cursor::new(&mut self.buffer[self.used..]);
                c.length(self.letters.0, last + way);
                c.byte(b'S');
                c.byte(b'0');
                c.byte(b'\n');
                self.used += c.len();
                self.program_lines += 1;
                self.level = 0;
            }
            self.set_along(last + way);
            if let Some(next) = later.first() {
                self.rapid(next.from - way, line.across)?;
                self.begin_stretches(next.from - way);
            }
            chain = later;
        }
        Ok(())
    }

    /// Runs and the blank stretches between them, all in one chain; the innermost loop.
    #[inline(always)]
    fn chain(&mut self, runs: &[Run], from: i32, line: &ScanLine<'_>) -> io::Result<()> {
        let letter = self.letters.0;
        let (mut at, mut level) = (from, self.level);
        for run in runs {
            self.room()?;
            let mut c = Cursor::new(&mut self.buffer[self.used..]);
            if run.from != at {
                c.length(letter, run.from);
                if level != 0 {
                    c.byte(b'S');
                    c.byte(b'0');
                    level = 0;
                }
                c.byte(b'\n');
                self.program_lines += 1;
            }
            c.length(letter, run.to);
            if run.level != level {
                c.byte(b'S');
                c.whole(run.level);
                level = run.level;
            }
            c.byte(b'\n');
            at = run.to;
            self.used += c.len();
            self.program_lines += 1;
            self.runs += 1;
            if self.runs.is_multiple_of(STRETCH) {
                self.set_along(at);
                self.end_stretches(line, false);
            }
        }
        self.level = level;
        self.set_along(at);
        Ok(())
    }

    fn begin_stretches(&mut self, along: i32) {
        self.stretches = [(self.bytes(), along, 0); STRETCHES];
        self.runs = 0;
    }

    /// Ends the stretches whose length is reached (at the end of a chain: all) and starts the next ones.
    fn end_stretches(&mut self, line: &ScanLine<'_>, all: bool) {
        let (bytes, along) = (self.bytes(), self.at.map_or(0, |a| a.0));
        let ahead = self.raster.limits.link_buffer_bytes;
        let blocks = self.runs / STRETCH;
        for (i, stretch) in self.stretches.iter_mut().enumerate() {
            if !all && !blocks.is_multiple_of(1 << i) {
                break;
            }
            let (before, from, runs) = std::mem::replace(stretch, (bytes, along, self.runs));
            let size = (bytes - before) as f64;
            let way = f64::from(along.abs_diff(from)) / 1000.0;
            if size <= ahead || way <= 0.0 {
                continue;
            }
            let bytes_per_mm = (size - ahead) / way;
            if bytes_per_mm > self.load.bytes_per_mm {
                // A run is two moves: the way to it and itself.
                let runs = (self.runs - runs).max(1);
                self.load = Load {
                    bytes_per_mm,
                    bytes_per_move: size / f64::from(2 * runs),
                    line: line.number,
                    at: self.raster.xy(along, line.across),
                };
            }
        }
    }

    /// A line where power changes at rest only: a rapid to each run, the beam on, the run, the beam off.
    fn switched_line(&mut self, line: &ScanLine<'_>) -> io::Result<()> {
        let on = on_word(self.raster);
        self.begin_stretches(line.start);
        for run in line.runs {
            self.rapid(run.from, line.across)?;
            self.text(&format!("{on}S{}", run.level))?;
            self.level = run.level;
            self.open_chain(run.to, run.level)?;
            self.text("M5")?;
            self.runs += 1;
            if self.runs.is_multiple_of(STRETCH) {
                self.end_stretches(line, false);
            }
        }
        self.end_stretches(line, true);
        Ok(())
    }

    fn finish(mut self, estimate: Estimate) -> io::Result<Cost> {
        self.flush()?;
        self.out.flush()?;
        Ok(Cost { estimate, bytes: self.flushed, program_lines: self.program_lines, load: self.load })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Blank;
    use crate::placement::{DotRect, Grid};
    use crate::plane::Dots;
    use crate::scan::limits::Limits;
    use crate::scan::raster::Scan;
    use crate::units::Mm;

    fn program(limits: &Limits, scan: Scan, dots: &Dots, notes: &Notes) -> (String, Cost) {
        let blank = Blank { shape: "rect:50x40mm".parse().unwrap(), margin: Mm(1.0) };
        let grid = Grid { along: Mm(0.1), across: Mm(0.2) };
        let rect =
            DotRect { left: Mm(10.0), top: Mm(10.0), columns: dots.width(), rows: dots.height(), grid };
        let raster = RasterPath::new(limits, scan, rect, blank).unwrap();
        let mut out = Vec::new();
        let written = write(&raster, Marking::Dots(dots), notes, &mut out).unwrap();
        assert_eq!(written.bytes, out.len() as u64);
        let text = String::from_utf8(out).unwrap();
        assert_eq!(written.program_lines, text.lines().count() as u64);
        (text, written)
    }

    fn moves(text: &str) -> String {
        text.lines().filter(|l| !l.starts_with('(')).collect::<Vec<_>>().join(" ")
    }

    fn two_lines() -> Dots {
        let mut d = Dots::off(5, 2);
        for (x, y) in [(0, 0), (1, 0), (4, 0), (2, 1)] {
            d.set(x, y, true);
        }
        d
    }

    #[test]
    fn a_small_program_holds_exactly_the_words_it_needs() {
        let scan = Scan { run_up: Some(1.0), ..Scan::new(10.0, 0.8) };
        let (text, _) = program(&Limits::default(), scan, &two_lines(), &Notes::default());
        assert_eq!(
            moves(&text),
            "G21G90G94G17M5S0 M3S0 G0X9Y29.9 G1X10F600 X10.2S800 X10.4S0 X10.5S800 X11.5S0 \
             G0X11.3Y29.7 G1X10.3 X10.2S800 X9.2S0 M5S0 G0X0Y0 M2"
        );
    }

    #[test]
    fn without_a_run_up_the_beam_is_off_before_the_rapid() {
        let scan = Scan { run_up: Some(0.0), ..Scan::new(10.0, 0.8) };
        let (text, _) = program(&Limits::default(), scan, &two_lines(), &Notes::default());
        assert!(moves(&text).contains("G1X10.2S800F600 X10.4S0 X10.5S800 G0X10.3Y29.7S0 G1X10.2S800 M5S0"));
    }

    #[test]
    fn where_power_cannot_change_in_motion_the_beam_is_switched_at_rest() {
        let limits = Limits {
            power_in_motion: false,
            power_mode: PowerMode::SpeedScaled,
            header: vec!["G54".into()],
            footer: vec!["M9".into()],
            ..Limits::default()
        };
        let (text, _) = program(&limits, Scan::new(10.0, 0.8), &two_lines(), &Notes::default());
        assert_eq!(
            moves(&text),
            "G54 G21G90G94G17M5S0 G0X10Y29.9 M4S800 G1X10.2F600 M5 G0X10.4 M4S800 G1X10.5 M5 \
             G0X10.3Y29.7 M4S800 G1X10.2 M5 M5S0 G0X0Y0 M9 M5S0 M2"
        );
    }

    #[test]
    fn long_blank_stretches_are_skipped_by_a_rapid() {
        let mut d = Dots::off(300, 1);
        d.set(0, 0, true);
        d.set(299, 0, true);
        let (text, w) = program(&Limits::default(), Scan::new(10.0, 1.0), &d, &Notes::default());
        assert!(moves(&text).contains("X10.1S1000 X10.7S0 G0X39.3 G1X39.9 X40S1000 X40.6S0"), "{text}");
        let scan = Scan { skip_blanks: false, ..Scan::new(10.0, 1.0) };
        let (slow, ws) = program(&Limits::default(), scan, &d, &Notes::default());
        assert!(moves(&slow).contains("X10.1S1000 X39.9S0 X40S1000"));
        assert!(w.estimate.times.total() < ws.estimate.times.total() - 1.0);
    }

    #[test]
    fn the_speed_that_a_link_feeds_agrees_with_the_check_values() {
        // check values M06, M07 (computed): 11520 bytes/s, lines of 10, 12, 16, 32 bytes a dot at 304 dpi.
        let pitch = 25.4 / 304.0;
        for (bytes, want) in [
            (10.0, 96.25263157894736),
            (12.0, 80.21052631578947),
            (16.0, 60.1578947368421),
            (32.0, 30.07894736842105),
        ] {
            assert!((fed_speed(11520.0, bytes / pitch) - want).abs() < 1e-9);
        }
        assert!((11520.0 / (12.5 / pitch) - 77.00210526315789).abs() < 1e-9);
    }

    #[test]
    fn the_load_is_that_of_the_densest_stretch() {
        // A line of single dots beside a line of one long run: the first decides.
        let mut d = Dots::off(400, 2);
        (0..400).for_each(|x| d.set(x, 1, true));
        (200..400).step_by(2).for_each(|x| d.set(x, 0, true));
        let limits = Limits { link_buffer_bytes: 0.0, ..Limits::default() };
        let (_, w) = program(&limits, Scan::new(10.0, 1.0), &d, &Notes::default());
        assert_eq!(w.load.line, 0);
        // "X30.1S1000" and "X30.2S0" with their line ends: 19 bytes for two dots of 0.1 mm.
        assert!((w.load.bytes_per_mm - 95.0).abs() < 5.0, "{:?}", w.load);
    }

    #[test]
    fn a_full_disk_is_reported_not_swallowed() {
        struct Full(usize);
        impl Write for Full {
            fn write(&mut self, b: &[u8]) -> io::Result<usize> {
                self.0 = self.0.checked_sub(b.len()).ok_or(io::ErrorKind::StorageFull)?;
                Ok(b.len())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let blank = Blank { shape: "rect:50x40mm".parse().unwrap(), margin: Mm(1.0) };
        let grid = Grid { along: Mm(0.1), across: Mm(0.2) };
        let rect = DotRect { left: Mm(10.0), top: Mm(10.0), columns: 5, rows: 2, grid };
        let raster = RasterPath::new(&Limits::default(), Scan::new(10.0, 1.0), rect, blank).unwrap();
        let e = write(&raster, Marking::Dots(&two_lines()), &Notes::default(), &mut Full(300)).unwrap_err();
        assert_eq!(e.kind(), io::ErrorKind::StorageFull);
    }
}
