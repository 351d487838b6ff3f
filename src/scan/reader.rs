//! A reader of RS-274 words, independent of the writer: moves out of any raster program.
//!
//! After NISTIR 6556 (RS274/NGC version 3, Kramer, Proctor and Messina 2000): line format (section 3.3),
//! modal groups (3.4), words (3.5 to 3.7), order of execution within a line (3.8). What the standard does
//! not know is reported, not guessed; what no raster needs is refused by name.

use std::io::{self, BufRead};

use super::block::{self, Block, Fault};
use super::plain::{PLAIN, PlainLines};

/// One straight move, mm and mm/s.
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
    #[error("line {line}: {fault}")]
    Line {
        /// Line of the program, 1 and up.
        line: u64,
        /// What is wrong with it.
        fault: Fault,
    },
    /// The program stops short.
    #[error("the program ends after line {line} {what}: it is cut off; write it again")]
    CutOff {
        /// The last line.
        line: u64,
        /// What is missing.
        what: &'static str,
    },
    /// The file cannot be read.
    #[error("cannot read the program: {}", crate::cause::of(.0))]
    Io(#[from] io::Error),
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Motion {
    None,
    Rapid,
    Feed,
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
    /// A reader at the start of a program.
    pub fn new(hear: H) -> Self {
        Reader {
            state: State {
                motion: Motion::None,
                mm_per_unit: 1.0,
                absolute: true,
                feed: 0.0,
                s: 0.0,
                on: false,
                at: (0.0, 0.0),
            },
            block: Block::default(),
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
    /// an S word: nine in ten of a raster's. How many bytes they were. All others take the long way.
    #[inline(always)]
    fn plain_lines(&mut self, bytes: &[u8]) -> Result<usize, ReadError> {
        let s = &self.state;
        let moving = s.motion == Motion::Rapid || s.motion == Motion::Feed && s.feed > 0.0;
        if !moving || !s.absolute || s.mm_per_unit != 1.0 || self.ended || self.closed {
            return Ok(0);
        }
        let (rapid, speed, on) = (s.motion == Motion::Rapid, s.feed / 60.0, s.on);
        let (mut at, mut power, mut line, mut used) = (s.at, s.s, self.ending.lines, 0);
        let mut lines = self.plain;
        while let Some(plain) =
            bytes.get(used..).and_then(<[u8]>::first_chunk::<PLAIN>).and_then(|b| lines.next(b))
        {
            let (value, is_y) = plain.coordinate;
            if !(-1e5..=1e5).contains(&value) {
                break;
            }
            let to = if is_y { (at.0, value) } else { (value, at.1) };
            power = plain.s.unwrap_or(power);
            line += 1;
            used += plain.len;
            let light = if on { power } else { 0.0 };
            self.hear.straight(&Move { from: at, to, rapid, speed, power: light, line }, is_y);
            at = to;
        }
        (self.state.at, self.state.s, self.ending.lines, self.plain) = (at, power, line, lines);
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
            let axis = |letter: u8, now: f64| match w.get(letter) {
                None => Ok(now),
                Some(v) => {
                    let v = v * s.mm_per_unit;
                    block::within(letter, if s.absolute { v } else { now + v }, -1e5, 1e5)
                }
            };
            let to = (axis(b'X', s.at.0)?, axis(b'Y', s.at.1)?);
            let power = if s.on { s.s } else { 0.0 };
            hear.hear(Event::Move(Move { from: s.at, to, rapid, speed: s.feed / 60.0, power, line }));
            s.at = to;
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
            return Err(ReadError::CutOff { line, what: "without its closing %" });
        }
        if !self.ended && !self.closed {
            return Err(ReadError::CutOff { line, what: "without M2 or M30" });
        }
        if !self.ended {
            self.ending.power_left_on = self.state.on && self.state.s > 0.0;
        }
        self.ending.at = self.state.at;
        Ok((self.ending, self.hear))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reads a whole program.
    fn read(input: impl BufRead, hear: impl FnMut(Event<'_>)) -> Result<Ending, ReadError> {
        let mut reader = Reader::new(hear);
        pieces(input, |piece| reader.push(piece))?;
        reader.finish().map(|(ending, _)| ending)
    }

    fn moves(program: &str) -> Result<Vec<Move>, String> {
        let mut out = Vec::new();
        read(program.as_bytes(), |e| {
            if let Event::Move(m) = e {
                out.push(m);
            }
        })
        .map(|_| out)
        .map_err(|e| e.to_string())
    }

    fn fails(program: &str, said: &str) {
        let e = moves(program).unwrap_err();
        assert!(e.contains(said), "{program}: {e}");
    }

    #[test]
    fn blanks_and_case_do_not_matter() {
        // check value G08 (NISTIR 6556, section 3.3): "g0x +0. 12 34y 7" is "g0 x+0.1234 y7".
        let m = moves("g0x +0. 12 34y 7\n\n  \nm2\n").unwrap();
        assert_eq!((m.len(), m[0].to, m[0].rapid), (1, (0.1234, 7.0), true));
    }

    #[test]
    fn numbers_are_plain_decimals() {
        // check value G04 (section 3.3.2.1).
        for (n, v) in [(".5", 0.5), ("0.", 0.0), ("-.5", -0.5), ("+1", 1.0), ("007.250", 7.25), ("1", 1.0)] {
            assert_eq!(moves(&format!("G0X{n}\nM2")).unwrap()[0].to.0, v, "{n}");
        }
        for bad in ["", ".", "-", "1.2.3", "--1", "1-2", "1234567890123456789"] {
            assert!(moves(&format!("G0X{bad}\nM2")).is_err(), "{bad}");
        }
        // An exponent reads as a word E, which the standard does not have.
        let mut odd = Vec::new();
        let e = read("G0 X1e5\nM2".as_bytes(), |_| {}).map(|e| odd = e.odd);
        assert!(e.is_ok() && odd[0].word == "e5" && odd[0].line == 1);
    }

    #[test]
    fn words_act_in_the_standards_order_not_in_theirs() {
        // check value G09 (section 3.8): S and M3 act before the move on their line, M2 after it.
        let m = moves("G1 X1 F60 S5 M3\nX2 M5 S7\nM3 X3\nM2 X4").unwrap();
        let powers: Vec<f64> = m.iter().map(|m| m.power).collect();
        assert_eq!(powers, [5.0, 0.0, 7.0, 7.0]);
        assert_eq!(m[3].to.0, 4.0);
    }

    #[test]
    fn two_words_of_a_group_or_a_letter_are_refused() {
        // check values G02, G03 (sections 3.3.5, 3.4): G-7 and M-7 are different groups.
        fails("G0 G1 X1\nM2", "line 1: G1 and another word of its modal group");
        fails("G20 G21\nM2", "modal group");
        fails("M3 M5\nM2", "modal group");
        fails("G0 X1 X2\nM2", "X stands twice");
        fails("G0 X1 S1 S1\nM2", "S stands twice");
        fails("M3 M7 M8 M48 M6\nM2", "more than four M words");
        assert!(moves("G40 M3 G90 G21 G17 G94\nM2").is_ok());
    }

    #[test]
    fn line_numbers_stand_first_and_are_short() {
        // check value G05 (section 3.3.1): N is 0 to 99999 in at most five digits; it may repeat.
        assert!(
            moves(
                "N1 G0 X1
N1 X2
N 99999 X3
/N5 X4
n0 M2"
            )
            .is_ok()
        );
        for bad in ["N000009 X1", "N100000 X1", "G0 N1 X1", "N1 N2 X1", "N-1 X1", "N1.5 X1"] {
            fails(&format!("G0 X0\n{bad}\nM2"), "line 2: the N word");
        }
    }

    #[test]
    fn comments_are_in_parentheses_that_close_and_never_nest() {
        // check value G06 (section 3.3.4); a semicolon comment is not in the report.
        let mut heard = Vec::new();
        let end = read("G0 (one) X1 (two)\nX2 ; three\n$H\nM2".as_bytes(), |e| {
            if let Event::Comment(c) = e {
                heard.push(c.to_string());
            }
        })
        .unwrap();
        assert_eq!(heard, ["one", "two"]);
        let odd: Vec<_> = end.odd.iter().map(|o| (o.line, o.word.as_str())).collect();
        assert_eq!(odd, [(2, "; three"), (3, "$H")]);
        fails("(open\nM2", "not closed");
        fails("(a (b) c)\nM2", "nested");
        fails("G0 X1)\nM2", "unpaired");
    }

    #[test]
    fn a_program_has_its_end() {
        // check values G07, G12 (sections 3.1, 3.6.1).
        assert!(moves("\n%\nG0X1\n%\nthis is not read").is_ok());
        assert!(moves("%\nG0X1\nM2\nG1 X9\n%\n").is_ok_and(|m| m.len() == 1));
        assert!(moves("G0X1\nM30").is_ok());
        fails("%\nG0X1\nM2\n", "without its closing %");
        fails("G0X1\nX2", "line 2 without M2 or M30: it is cut off");
        fails("", "without M2");
        fails("G0X1\n%\nM2", "line 2: a line of %");
    }

    #[test]
    fn what_is_no_raster_is_refused_by_name() {
        for (text, said) in [
            ("G2 X1 I1", "line 1: G2: arcs are not raster moves"),
            ("G03 X1 R1", "G3: arcs are not raster moves"),
            ("G0 X1 I2", "I: arcs"),
            ("G38.2 X1", "probe"),
            ("G81 X1", "drilling"),
            ("G92 X0", "changes of the coordinates"),
            ("G93", "inverse time"),
            ("G0 A5", "A: rotary"),
            ("G0 X#1", "parameters and expressions"),
            ("G0 X[1+2]", "parameters and expressions"),
            ("#1=2", "parameters and expressions"),
        ] {
            fails(&format!("{text}\nM2"), said);
        }
    }

    #[test]
    fn faults_carry_their_line_and_word() {
        // check values G01, G10, G14 (sections 3.3, 3.6.2, 3.5.1).
        fails(&format!("G0X1\n({})\nM2", "a".repeat(255)), "line 2: the line has 257 characters");
        assert!(moves(&format!("({})\nM2", "a".repeat(254))).is_ok());
        fails(&"x".repeat(100_000), "line 1: the line has");
        fails("M3 S-1\nM2", "S-1 is negative");
        fails("G0\nM2", "without an X, Y or Z");
        fails("X1\nM2", "before any G0 or G1");
        fails("G80\nX1\nM2", "before any G0 or G1");
        fails("G1 X1\nM2", "before any F");
        fails("G4\nM2", "without a P word");
        fails("G0 X100001\nM2", "X100001 is out of range");
        fails("G1 X1 F-5\nM2", "F-5 is out of range");
        fails("hello\nM2", "H has no number after it: this is not an RS-274 program");
        fails("\u{89}PNG", "not ASCII text");
        fails("!\nM2", "'!' starts no word");
        let mut bytes = &b"G0X1\n\xFF\xD8\nM2"[..];
        assert!(read(&mut bytes, |_| {}).unwrap_err().to_string().contains("byte 0xFF is not ASCII"));
    }

    #[test]
    fn chunks_of_any_size_give_the_same_moves() {
        let program =
            "(a comment)\r\nG21 G90 M3 S0\r\nG0 X1.5 Y2\r\nG1 X10 S500 F600\r\nX20 S0\r\nM5 S0\r\nM2\r\n";
        let want = moves(program).unwrap();
        for size in 1..40 {
            let mut got = Vec::new();
            let input = std::io::BufReader::with_capacity(size, program.as_bytes());
            let end = read(input, |e| {
                if let Event::Move(m) = e {
                    got.push(m);
                }
            })
            .unwrap();
            assert_eq!((got, end.bytes, end.lines), (want.clone(), program.len() as u64, 7), "{size}");
        }
    }

    #[test]
    fn power_left_on_is_seen_before_the_end_takes_it_away() {
        // check value G12: M2 stops the spindle, so the state just before it counts.
        let left = |p: &str| read(p.as_bytes(), |_| {}).unwrap().power_left_on;
        assert!(left("M3 S5\nM2") && left("M3 S5\nG1 X1 F5 M2") && left("%\nM4 S1\n%"));
        assert!(!left("M3 S0\nM2") && !left("M3 S5\nM5 M2") && !left("S5\nM2"));
    }
}
