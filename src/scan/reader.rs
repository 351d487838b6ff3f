//! A reader of RS-274 words, independent of the writer: moves out of any raster program.
//!
//! After NISTIR 6556 (RS274/NGC version 3, Kramer, Proctor and Messina 2000): line format (section 3.3),
//! modal groups (3.4), words (3.5 to 3.7), order of execution within a line (3.8). What the standard does
//! not know is reported, not guessed; what no raster needs is refused by name.

use std::io::{self, BufRead};

use super::axis::Axis;
use super::block::{self, Block, Fault};
use super::limits::Limits;
use super::plain::{PLAIN, PlainLines};
use crate::texts::text;

/// One straight move, mm and mm/s; along a rotary, mm of surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Move {
    /// Start, program coordinates in mm.
    pub from: (f64, f64),
    /// End, program coordinates in mm.
    pub to: (f64, f64),
    /// A rapid (G0) rather than a move at the feed (G1).
    pub rapid: bool,
    /// The feed in force, mm/s; 0 where none was given yet (rapids only).
    pub speed: f64,
    /// The S word while the beam is on (M3 or M4), else 0.
    pub power: f64,
    /// Line of the program, 1 and up.
    pub line: u64,
}

/// What a program does, in order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Event<'a> {
    /// A move.
    Move(Move),
    /// The head rests for a while (G4).
    Dwell {
        /// How long, s.
        seconds: f64,
        /// The S word while the beam is on, else 0.
        power: f64,
        /// Line of the program.
        line: u64,
    },
    /// M3, M4 or M5: the beam is switched.
    Switch,
    /// G61, G61.1 or G64: whether the head is to stop at every joint from here on.
    Joints {
        /// Whether it is.
        exact: bool,
        /// Line of the program.
        line: u64,
    },
    /// The text of a comment.
    Comment(&'a str),
}

/// A word that the standard does not know.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct OddWord {
    /// Line of the program, 1 and up.
    pub line: u64,
    /// The word, shortened to 40 characters.
    pub word: String,
}

/// What is known at a program's end.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Ending {
    /// Lines read.
    pub lines: u64,
    /// Bytes read.
    pub bytes: u64,
    /// Block that the standard does not know: the first twenty.
    pub odd: Vec<OddWord>,
    /// How many there are.
    pub odd_count: u64,
    /// The beam was on, with power, when the program ended.
    pub power_left_on: bool,
    /// M4 was used: power scaled with speed, in controllers that know it.
    pub speed_scaled: bool,
    /// Where the head ends, mm.
    pub at: (f64, f64),
}

/// Why a program cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// A line that is not RS-274, or not a raster's.
    #[error("{}", text!("scan.read.line", line = .line, fault = .fault))]
    Line {
        /// Line of the program, 1 and up.
        line: u64,
        /// What is wrong with it.
        fault: Fault,
    },
    /// The program stops short.
    #[error("{}", text!("scan.read.cut-off", line = .line, what = .what))]
    CutOff {
        /// The last line.
        line: u64,
        /// What is missing.
        what: &'static str,
    },
    /// The file cannot be read.
    #[error("{}", text!("scan.read.unreadable", why = crate::cause::of(.0)))]
    Io(#[from] io::Error),
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Motion {
    None,
    Rapid,
    Feed,
}

/// The words of a machine's two axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AxisWords {
    /// The letters of x and y.
    letters: (u8, u8),
    /// Millimetres a unit of each.
    mm: (f64, f64),
    /// Whether a word counts degrees, which no change of the program's unit of length touches.
    degrees: (bool, bool),
    /// The axes where one of them turns a cone: what its words say is another place where the head is elsewhere.
    cone: Option<(Axis, Axis)>,
}

impl AxisWords {
    /// Those of a machine.
    pub fn of(limits: &Limits) -> AxisWords {
        let (x, y) = (&limits.x, &limits.y);
        let turns = |a: &Axis| a.turns.is_some() && a.units_per_mm != 1.0;
        AxisWords {
            letters: (x.letter, y.letter),
            mm: (1.0 / x.units_per_mm, 1.0 / y.units_per_mm),
            degrees: (turns(x), turns(y)),
            cone: limits.cone().map(|_| (*x, *y)),
        }
    }

    /// The place that words say, and how many mm a mm of theirs is, along x and y; mm of the program.
    fn unrolled(&self, said: (f64, f64)) -> ((f64, f64), (f64, f64)) {
        match &self.cone {
            None => (said, (1.0, 1.0)),
            Some((x, y)) => {
                let (a, b) = (x.unrolled(said.0, y.to_blank(said.1)), y.unrolled(said.1, x.to_blank(said.0)));
                ((a.0, b.0), (a.1, b.1))
            }
        }
    }

    /// Whether a plain word, X or else Y, is of y; `None` where it takes the long way.
    #[inline(always)]
    fn plain(&self, is_y: bool) -> Option<bool> {
        let letter = if is_y { b'Y' } else { b'X' };
        match self.letters {
            (x, _) if x == letter => (self.mm.0 == 1.0).then_some(false),
            (_, y) if y == letter => (self.mm.1 == 1.0).then_some(true),
            _ => None,
        }
    }
}

/// The modal state, in mm and mm/min whatever the program's units.
#[derive(Debug)]
struct State {
    motion: Motion,
    mm_per_unit: f64,
    absolute: bool,
    feed: f64,
    s: f64,
    on: bool,
    at: (f64, f64),
    /// What the words last said; elsewhere than `at` on a cone alone.
    said: (f64, f64),
}

/// Longest line the standard allows, without its line end (check value G01).
pub const LONGEST_LINE: usize = 256;

/// Hears what a program does.
pub trait Hear {
    /// The next thing that happens.
    fn hear(&mut self, event: Event<'_>);

    /// A move along one axis, y where `upright`: nine in ten of a raster's.
    #[inline(always)]
    fn straight(&mut self, m: &Move, upright: bool) {
        let _ = upright;
        self.hear(Event::Move(*m));
    }
}

impl<F: FnMut(Event<'_>)> Hear for F {
    #[inline(always)]
    fn hear(&mut self, event: Event<'_>) {
        self(event);
    }
}

/// Hands on all of `input` piece by piece. Memory is that of its buffer.
///
/// # Errors
/// Those of `take`; an input that cannot be read.
pub fn pieces(
    mut input: impl BufRead,
    mut take: impl FnMut(&[u8]) -> Result<(), ReadError>,
) -> Result<(), ReadError> {
    loop {
        let piece = match input.fill_buf() {
            Ok(piece) => piece,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => continue,
            Err(e) => return Err(e.into()),
        };
        let size = piece.len();
        if size == 0 {
            return Ok(());
        }
        take(piece)?;
        input.consume(size);
    }
}

/// Reads a program that comes piece by piece.
#[derive(Debug)]
pub struct Reader<H> {
    state: State,
    block: Block,
    words: AxisWords,
    ending: Ending,
    /// A first line of % was seen: the program ends at the second.
    percent: bool,
    blank_so_far: bool,
    ended: bool,
    closed: bool,
    plain: PlainLines,
    /// The start of a line whose end is still to come.
    rest: Vec<u8>,
    hear: H,
}

/// Where the line ends. Lines of a raster are about ten bytes: a plain loop beats a search made for long texts.
#[inline(always)]
fn line_end(bytes: &[u8]) -> Option<usize> {
    bytes.iter().position(|&b| b == b'\n')
}

impl<H: Hear> Reader<H> {
    /// A reader at the start of a program for a machine's axes.
    pub fn on(words: AxisWords, hear: H) -> Self {
        let other = [words.letters.0, words.letters.1].into_iter().find(|l| !b"XYZ".contains(l));
        Reader {
            words,
            state: State {
                motion: Motion::None,
                mm_per_unit: 1.0,
                absolute: true,
                feed: 0.0,
                s: 0.0,
                on: false,
                at: words.unrolled((0.0, 0.0)).0,
                said: (0.0, 0.0),
            },
            block: other.map_or_else(Block::default, Block::with_axis),
            ending: Ending::default(),
            percent: false,
            blank_so_far: true,
            ended: false,
            closed: false,
            plain: PlainLines::new(),
            rest: Vec::with_capacity(LONGEST_LINE + 2),
            hear,
        }
    }

    /// Reads the next piece, of any length.
    ///
    /// # Errors
    /// The first line that is not RS-274 or no raster's, with its number.
    pub fn push(&mut self, bytes: &[u8]) -> Result<(), ReadError> {
        self.ending.bytes += bytes.len() as u64;
        let mut left = bytes;
        if !self.rest.is_empty() {
            // The line that straddles two pieces is put together apart.
            let end = line_end(left);
            let take = end.unwrap_or(left.len()).min(LONGEST_LINE + 2);
            let mut line = std::mem::take(&mut self.rest);
            line.extend_from_slice(&left[..take]);
            match end {
                Some(n) => {
                    self.line(&line)?;
                    line.clear();
                    left = &left[n + 1..];
                }
                None => left = &[],
            }
            self.rest = line;
        }
        loop {
            left = &left[self.plain_lines(left)?..];
            let Some(n) = line_end(left) else { break };
            self.line(&left[..n])?;
            left = &left[n + 1..];
        }
        if !left.is_empty() {
            self.rest.extend_from_slice(&left[..left.len().min(LONGEST_LINE + 2)]);
        }
        // A line without an end is refused at once, not gathered.
        if self.rest.len() > LONGEST_LINE + 1 {
            let line = std::mem::take(&mut self.rest);
            self.line(&line)?;
        }
        Ok(())
    }

    /// Executes the lines at the start of `bytes` that are of the plainest kind, an X or Y word and perhaps
    /// an S word and an F word: nine in ten of a raster's. How many bytes they were. All others take the long way.
    #[inline(always)]
    fn plain_lines(&mut self, bytes: &[u8]) -> Result<usize, ReadError> {
        let s = &self.state;
        let moving = s.motion == Motion::Rapid || s.motion == Motion::Feed && s.feed > 0.0;
        let straight = s.absolute && s.mm_per_unit == 1.0 && self.words.cone.is_none();
        if !moving || !straight || self.ended || self.closed {
            return Ok(0);
        }
        let (rapid, on) = (s.motion == Motion::Rapid, s.on);
        let (mut at, mut power, mut line, mut used) = (s.at, s.s, self.ending.lines, 0);
        let (mut feed, mut speed) = (s.feed, s.feed / 60.0);
        let (mut lines, words) = (self.plain, self.words);
        while let Some(plain) =
            bytes.get(used..).and_then(<[u8]>::first_chunk::<PLAIN>).and_then(|b| lines.next(b))
        {
            let (value, is_y) = plain.coordinate;
            let Some(is_y) = words.plain(is_y) else { break };
            if !(-1e5..=1e5).contains(&value) {
                break;
            }
            if let Some(f) = plain.f {
                if !(f > 0.0 && f <= 1e7) {
                    break;
                }
                (feed, speed) = (f, f / 60.0);
            }
            let to = if is_y { (at.0, value) } else { (value, at.1) };
            power = plain.s.unwrap_or(power);
            line += 1;
            used += plain.len;
            let light = if on { power } else { 0.0 };
            self.hear.straight(&Move { from: at, to, rapid, speed, power: light, line }, is_y);
            at = to;
        }
        (self.state.at, self.state.said, self.state.s, self.state.feed) = (at, at, power, feed);
        (self.ending.lines, self.plain) = (line, lines);
        Ok(used)
    }

    #[inline(always)]
    fn line(&mut self, line: &[u8]) -> Result<(), ReadError> {
        self.ending.lines += 1;
        let number = self.ending.lines;
        let at = |fault| ReadError::Line { line: number, fault };
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        if line.len() > LONGEST_LINE {
            return Err(at(Fault::TooLong(line.len())));
        }
        if self.ended || self.closed || line.first().is_none_or(|&b| b == b'%' || b <= b' ') {
            // Seldom: blank lines, %, and all that follows the end.
            let text = line.trim_ascii();
            if text.is_empty() || self.closed {
                return Ok(());
            }
            if text == b"%" {
                return self.percent_line().map_err(at);
            }
            if self.ended {
                return Ok(());
            }
        }
        self.blank_so_far = false;
        let (ending, words, hear) = (&mut self.ending, &mut self.block, &mut self.hear);
        words
            .parse(
                line,
                |comment| hear.hear(Event::Comment(comment)),
                |word| {
                    ending.odd_count += 1;
                    if ending.odd.len() < 20 {
                        let word = String::from_utf8_lossy(word).chars().take(40).collect();
                        ending.odd.push(OddWord { line: number, word });
                    }
                },
            )
            .map_err(at)?;
        self.execute().map_err(at)
    }

    fn percent_line(&mut self) -> Result<(), Fault> {
        if self.blank_so_far {
            self.percent = true;
        } else if self.percent {
            self.closed = true;
        } else {
            return Err(Fault::Percent);
        }
        self.blank_so_far = false;
        Ok(())
    }

    /// Executes the words of one line in the standard's order (section 3.8, check value G09), which is
    /// not the order in which they stand.
    #[inline(always)]
    fn execute(&mut self) -> Result<(), Fault> {
        let (w, s, hear) = (&self.block, &mut self.state, &mut self.hear);
        let line = self.ending.lines;
        if w.only_xs() {
            // Nine lines of ten in a raster: an axis word and perhaps S, nothing modal.
            if let Some(v) = w.get(b'S') {
                if v < 0.0 {
                    return Err(Fault::NegativeS(v));
                }
                s.s = v;
            }
        } else {
            if let Some(f) = w.get(b'F') {
                s.feed = block::within(b'F', f * s.mm_per_unit, 0.0, 1e7)?;
            }
            if let Some(v) = w.get(b'S') {
                if v < 0.0 {
                    return Err(Fault::NegativeS(v));
                }
                s.s = v;
            }
            if let Some(m) = w.m(block::SPINDLE) {
                s.on = m != 5;
                self.ending.speed_scaled |= m == 4;
                hear.hear(Event::Switch);
            }
            if w.dwell() {
                let seconds = block::within(b'P', w.get(b'P').ok_or(Fault::DwellWithoutP)?, 0.0, 1e6)?;
                hear.hear(Event::Dwell { seconds, power: if s.on { s.s } else { 0.0 }, line });
            }
            if let Some(mode) = w.g(block::JOINTS) {
                // Controllers differ on G61: to some it is G61.1, and the worse of both is reckoned with.
                hear.hear(Event::Joints { exact: mode != 640, line });
            }
            match w.g(block::UNITS) {
                Some(200) => s.mm_per_unit = crate::units::MM_PER_INCH,
                Some(_) => s.mm_per_unit = 1.0,
                None => {}
            }
            match w.g(block::DISTANCE) {
                Some(900) => s.absolute = true,
                Some(_) => s.absolute = false,
                None => {}
            }
            match w.g(block::MOTION) {
                Some(0) => s.motion = Motion::Rapid,
                Some(10) => s.motion = Motion::Feed,
                Some(_) => s.motion = Motion::None,
                None => {}
            }
            if w.g(block::MOTION).is_some_and(|g| g <= 10) && !w.has_axis() {
                return Err(Fault::NoAxis);
            }
        }
        if w.has_axis() {
            if s.motion == Motion::None {
                return Err(Fault::NoMotion);
            }
            let rapid = s.motion == Motion::Rapid;
            if !rapid && s.feed <= 0.0 {
                return Err(Fault::NoFeed);
            }
            let words = &self.words;
            let axis = |letter: u8, now: f64, mm: f64, degrees: bool| match w.get(letter) {
                None => Ok(now),
                Some(v) => {
                    let v = v * mm * if degrees { 1.0 } else { s.mm_per_unit };
                    block::within(letter, if s.absolute { v } else { now + v }, -1e5, 1e5)
                }
            };
            let said = (
                axis(words.letters.0, s.said.0, words.mm.0, words.degrees.0)?,
                axis(words.letters.1, s.said.1, words.mm.1, words.degrees.1)?,
            );
            let (to, stretch) = words.unrolled(said);
            let power = if s.on { s.s } else { 0.0 };
            // The feed of a rotary alone counts its own units (NISTIR 6556, section 2.1.2.5).
            let mm = match (said.0 != s.said.0, said.1 != s.said.1) {
                (true, false) => words.mm.0 * stretch.0,
                (false, true) => words.mm.1 * stretch.1,
                _ => 1.0,
            };
            hear.hear(Event::Move(Move { from: s.at, to, rapid, speed: s.feed / 60.0 * mm, power, line }));
            (s.at, s.said) = (to, said);
        }
        if w.m(block::STOPPING).is_some_and(|m| m == 2 || m == 30) {
            self.ended = true;
            self.ending.power_left_on = s.on && s.s > 0.0;
        }
        Ok(())
    }

    /// The program has come to its end: what is known of it, and who heard it.
    ///
    /// # Errors
    /// A last line that is not RS-274; a program without an end.
    pub fn finish(mut self) -> Result<(Ending, H), ReadError> {
        if !self.rest.is_empty() {
            let line = std::mem::take(&mut self.rest);
            self.line(&line)?;
        }
        let line = self.ending.lines;
        if self.percent && !self.closed {
            return Err(ReadError::CutOff { line, what: text!("scan.read.cut-off.percent") });
        }
        if !self.ended && !self.closed {
            return Err(ReadError::CutOff { line, what: text!("scan.read.cut-off.end") });
        }
        if !self.ended {
            self.ending.power_left_on = self.state.on && self.state.s > 0.0;
        }
        self.ending.at = self.state.at;
        Ok((self.ending, self.hear))
    }
}

#[cfg(test)]
mod tests;
