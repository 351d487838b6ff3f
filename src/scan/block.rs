//! The words of one RS-274 line: letters, numbers, modal groups, comments.

use crate::texts::text;

/// What is wrong with a line.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Fault {
    /// Longer than the standard allows.
    #[error("{}", text!("scan.line.long", length = .0))]
    TooLong(usize),
    /// A byte that is not ASCII text.
    #[error("{}", text!("scan.line.no-text", byte = format_args!("{:02X}", .0)))]
    NotText(u8),
    /// A character that starts no word.
    #[error("{}", text!("scan.line.no-word", sign = .0))]
    NotAWord(char),
    /// A letter without a number.
    #[error("{}", text!("scan.line.no-number", letter = .0))]
    NoNumber(char),
    /// Not a plain decimal number.
    #[error("{}", text!("scan.line.bad-number", letter = .0))]
    BadNumber(char),
    /// A line number of more than five digits, or not at the start.
    #[error("{}", text!("scan.line.number"))]
    LineNumber,
    /// A letter that stands twice.
    #[error("{}", text!("scan.line.twice", letter = .0))]
    Twice(char),
    /// Two words of one modal group.
    #[error("{}", text!("scan.line.twice-in-group", word = .0))]
    TwiceInGroup(String),
    /// More than four M words.
    #[error("{}", text!("scan.line.m-words"))]
    TooManyM,
    /// A comment without its end.
    #[error("{}", text!("scan.line.open-comment"))]
    OpenComment,
    /// A comment inside a comment, or a lone closing parenthesis.
    #[error("{}", text!("scan.line.parentheses"))]
    Parentheses,
    /// A word that no raster uses.
    #[error("{}", text!("scan.line.no-raster", word = .0, moves = .1))]
    NotRaster(String, &'static str),
    /// Parameters or expressions.
    #[error("{}", text!("scan.line.expression", sign = .0))]
    Expression(char),
    /// S below zero.
    #[error("{}", text!("scan.line.negative", power = .0))]
    NegativeS(f64),
    /// Out of any machine's range.
    #[error("{}", text!("scan.line.range", letter = .0, number = .1))]
    Range(char, f64),
    /// G0 or G1 without an axis.
    #[error("{}", text!("scan.line.no-axis"))]
    NoAxis,
    /// Axis words before any G0 or G1.
    #[error("{}", text!("scan.line.no-motion"))]
    NoMotion,
    /// G1 before any feed.
    #[error("{}", text!("scan.line.no-feed"))]
    NoFeed,
    /// G4 without P.
    #[error("{}", text!("scan.line.dwell"))]
    DwellWithoutP,
    /// A line of % within a program that did not start with one.
    #[error("{}", text!("scan.line.percent"))]
    Percent,
}

/// Modal group 1: motion.
pub const MOTION: usize = 1;
/// Modal group 3: distance mode.
pub const DISTANCE: usize = 3;
/// Modal group 13: how joints are passed.
pub const JOINTS: usize = 13;
/// Modal group 6: units.
pub const UNITS: usize = 6;
/// M words, modal group 4: stopping.
pub const STOPPING: usize = 4;
/// M words, modal group 6: the tool.
pub const TOOL: usize = 6;
/// M words, modal group 7: the spindle, here the beam.
pub const SPINDLE: usize = 7;

/// The letters of the standard (section 3.3.2, table 3), as bits from A.
const LETTERS: u32 = bits(b"ABCDFGHIJKLMNPQRSTXYZ");
const AXES: u32 = bits(b"XYZ");
const XYS: u32 = bits(b"XYS");
/// Letters for which a raster has no use: each is refused by name.
const ROTARY: u32 = bits(b"ABC");
const ARC: u32 = bits(b"IJKR");

const fn bits(letters: &[u8]) -> u32 {
    let (mut set, mut i) = (0, 0);
    while i < letters.len() {
        set |= 1 << (letters[i] - b'A');
        i += 1;
    }
    set
}

/// Powers of ten that a number of at most 18 digits is divided by.
const TENS: [f64; 19] =
    [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18];

/// The words of a line. G codes are kept as tenths (G38.2 is 382), by modal group.
#[derive(Debug, Default)]
pub struct Block {
    seen: u32,
    values: [f64; 26],
    g_seen: u32,
    g: [u16; 16],
    m_seen: u32,
    m: [u16; 16],
    m_count: u32,
    dwell: bool,
    /// Axis letters that are known besides X, Y and Z, as bits from A.
    more: u32,
}

impl Block {
    /// The words of a line on a machine with an axis of another letter, such as a rotary's.
    pub fn with_axis(letter: u8) -> Block {
        Block { more: bits(&[letter]) & ROTARY, ..Block::default() }
    }

    /// The value of a letter (upper case, not G or M), where it stands on the line.
    #[inline(always)]
    pub fn get(&self, letter: u8) -> Option<f64> {
        let i = usize::from(letter - b'A') % 26;
        (self.seen >> i & 1 == 1).then(|| self.values[i])
    }

    /// The G code of a modal group, in tenths.
    pub fn g(&self, group: usize) -> Option<u16> {
        (self.g_seen >> group & 1 == 1).then(|| self.g[group])
    }

    /// The M code of a modal group.
    pub fn m(&self, group: usize) -> Option<u16> {
        (self.m_seen >> group & 1 == 1).then(|| self.m[group])
    }

    /// Whether G4 stands on the line.
    pub fn dwell(&self) -> bool {
        self.dwell
    }

    /// Whether an axis word stands on the line.
    #[inline(always)]
    pub fn has_axis(&self) -> bool {
        self.seen & (AXES | self.more) != 0
    }

    /// Whether the line holds X, Y and S words only.
    #[inline(always)]
    pub fn only_xs(&self) -> bool {
        self.seen & !XYS == 0 && self.g_seen == 0 && self.m_seen == 0 && !self.dwell
    }

    /// Parses a line. `comment` hears the text of comments, `odd` the words that the standard does not know.
    ///
    /// # Errors
    /// The first fault.
    #[inline(always)]
    pub fn parse(
        &mut self,
        line: &[u8],
        mut comment: impl FnMut(&str),
        mut odd: impl FnMut(&[u8]),
    ) -> Result<(), Fault> {
        (self.seen, self.g_seen, self.m_seen, self.m_count, self.dwell) = (0, 0, 0, 0, false);
        let mut i = 0;
        let mut first = true;
        while let Some(&b) = line.get(i) {
            let letter = b & !0x20;
            if !letter.is_ascii_uppercase() || b >= 0x80 {
                i = match b {
                    b' ' | b'\t' => i + 1,
                    b'(' => comment_end(line, i, &mut comment)?,
                    // Block delete is only a switch of the controller; it is taken as off.
                    b'/' if first => {
                        first = false;
                        i + 1
                    }
                    _ => other(line, i, &mut odd)?,
                };
                continue;
            }
            let (value, next) = number(line, i + 1, letter)?;
            let bit = 1u32 << (letter - b'A');
            match letter {
                b'G' => self.g_word(value, &line[i..next], &mut odd)?,
                b'M' => self.m_word(value, &line[i..next], &mut odd)?,
                b'N' => {
                    check_line_number(&line[i + 1..next], self.seen | self.g_seen | self.m_seen)?;
                    self.seen |= bit;
                }
                _ if LETTERS & bit == 0 => odd(&line[i..next]),
                _ => {
                    if self.seen & bit != 0 {
                        return Err(Fault::Twice(char::from(letter)));
                    }
                    self.seen |= bit;
                    self.values[usize::from(letter - b'A')] = value;
                }
            }
            first = false;
            i = next;
        }
        if self.seen & (ROTARY | ARC) & !self.more != 0 {
            let (set, what) = if self.seen & ROTARY & !self.more != 0 {
                (ROTARY, text!("scan.moves.rotary"))
            } else {
                (ARC, text!("scan.moves.arcs"))
            };
            let i = (self.seen & set).trailing_zeros() as u8;
            return Err(Fault::NotRaster(char::from(b'A' + i).to_string(), what));
        }
        Ok(())
    }

    fn g_word(&mut self, value: f64, word: &[u8], odd: &mut impl FnMut(&[u8])) -> Result<(), Fault> {
        let Some(code) = tenths(value) else {
            odd(word);
            return Ok(());
        };
        let name = || format!("G{value}");
        let group = match code {
            0 | 10 | 800 => MOTION,
            20 | 30 => return Err(Fault::NotRaster(name(), text!("scan.moves.arcs"))),
            382 => return Err(Fault::NotRaster(name(), text!("scan.moves.probe"))),
            810 | 820 | 830 | 840 | 850 | 860 | 870 | 880 | 890 => {
                return Err(Fault::NotRaster(name(), text!("scan.moves.drilling")));
            }
            40 => {
                if self.dwell {
                    return Err(Fault::TwiceInGroup(name()));
                }
                self.dwell = true;
                return Ok(());
            }
            100 | 280 | 300 | 530 | 920 | 921 | 922 | 923 => {
                return Err(Fault::NotRaster(name(), text!("scan.moves.coordinates")));
            }
            170 | 180 | 190 => 2,
            900 | 910 => DISTANCE,
            930 => return Err(Fault::NotRaster(name(), text!("scan.moves.inverse-time"))),
            940 => 5,
            200 | 210 => UNITS,
            400 => 7,
            410 | 420 => return Err(Fault::NotRaster(name(), text!("scan.moves.cutter"))),
            430 => return Err(Fault::NotRaster(name(), text!("scan.moves.tool"))),
            490 => 8,
            980 | 990 => 10,
            540 | 550 | 560 | 570 | 580 | 590 | 591 | 592 | 593 => 12,
            610 | 611 | 640 => JOINTS,
            _ => {
                odd(word);
                return Ok(());
            }
        };
        if self.g_seen >> group & 1 == 1 {
            return Err(Fault::TwiceInGroup(name()));
        }
        self.g_seen |= 1 << group;
        self.g[group] = code;
        Ok(())
    }

    fn m_word(&mut self, value: f64, word: &[u8], odd: &mut impl FnMut(&[u8])) -> Result<(), Fault> {
        self.m_count += 1;
        if self.m_count > 4 {
            return Err(Fault::TooManyM);
        }
        let code = tenths(value).filter(|t| t % 10 == 0).map(|t| t / 10);
        let group = match code {
            Some(0 | 1 | 2 | 30 | 60) => STOPPING,
            Some(3..=5) => SPINDLE,
            Some(6) => TOOL,
            // Mist and flood may stand together; each counts as a group of its own here.
            Some(7) => 10,
            Some(8 | 9) => 8,
            Some(48 | 49) => 9,
            _ => {
                odd(word);
                return Ok(());
            }
        };
        if self.m_seen >> group & 1 == 1 {
            return Err(Fault::TwiceInGroup(format!("M{value}")));
        }
        self.m_seen |= 1 << group;
        self.m[group] = code.unwrap_or(0);
        Ok(())
    }
}

/// A code in tenths, where it is within 0.0001 of one (section 3.3.2.1: G and M numbers).
fn tenths(value: f64) -> Option<u16> {
    let t = (value * 10.0).round();
    ((value * 10.0 - t).abs() < 0.001 && (0.0..10_000.0).contains(&t)).then_some(t as u16)
}

/// `value` where it is within `low..=high`.
///
/// # Errors
/// A value that is out of the range.
pub fn within(letter: u8, value: f64, low: f64, high: f64) -> Result<f64, Fault> {
    if value >= low && value <= high { Ok(value) } else { Err(Fault::Range(char::from(letter), value)) }
}

/// Reads the number at `i`: sign, digits, at most one point, at least one digit; blanks within it are
/// ignored (check values G04, G08). Returns it and where it ends.
#[inline(always)]
fn number(line: &[u8], mut i: usize, letter: u8) -> Result<(f64, usize), Fault> {
    let (mut mantissa, mut digits, mut decimals) = (0u64, 0u32, 0usize);
    let (mut point, mut negative, mut signed) = (false, false, false);
    while let Some(&b) = line.get(i) {
        let d = b.wrapping_sub(b'0');
        if d < 10 {
            digits += 1;
            if digits > 18 {
                return Err(Fault::BadNumber(char::from(letter)));
            }
            mantissa = mantissa * 10 + u64::from(d);
            decimals += usize::from(point);
        } else if b == b'.' {
            if point {
                return Err(Fault::BadNumber(char::from(letter)));
            }
            point = true;
        } else if b == b' ' || b == b'\t' {
        } else if (b == b'-' || b == b'+') && !signed && digits == 0 && !point {
            (signed, negative) = (true, b == b'-');
        } else if matches!(b, b'#' | b'[' | b'=' | b'*') {
            return Err(Fault::Expression(char::from(b)));
        } else {
            break;
        }
        i += 1;
    }
    if digits == 0 {
        let nothing = !point && !signed;
        let letter = char::from(letter);
        return Err(if nothing { Fault::NoNumber(letter) } else { Fault::BadNumber(letter) });
    }
    let size = mantissa as f64 / TENS[decimals.min(18)];
    Ok((if negative { -size } else { size }, i))
}

/// One to five digits, first on the line (check value G05).
fn check_line_number(digits: &[u8], seen: u32) -> Result<(), Fault> {
    let plain = digits.trim_ascii();
    let fits = (1..=5).contains(&plain.len()) && plain.iter().all(u8::is_ascii_digit);
    if fits && seen == 0 { Ok(()) } else { Err(Fault::LineNumber) }
}

#[cold]
fn comment_end(line: &[u8], start: usize, comment: &mut impl FnMut(&str)) -> Result<usize, Fault> {
    let rest = &line[start + 1..];
    let end = rest.iter().position(|&b| b == b')').ok_or(Fault::OpenComment)?;
    let text = &rest[..end];
    if text.contains(&b'(') {
        return Err(Fault::Parentheses);
    }
    match std::str::from_utf8(text) {
        Ok(t) if t.is_ascii() => comment(t),
        _ => return Err(Fault::NotText(text.iter().copied().find(|b| *b >= 0x80).unwrap_or(0))),
    }
    Ok(start + end + 2)
}

/// Characters that start no word. A semicolon comment and a line of a controller's own commands are not in
/// the standard (check value G06): they are reported and left out.
#[cold]
fn other(line: &[u8], i: usize, odd: &mut impl FnMut(&[u8])) -> Result<usize, Fault> {
    match line[i] {
        b';' => {
            odd(&line[i..]);
            Ok(line.len())
        }
        b'$' if line[..i].iter().all(|b| b.is_ascii_whitespace()) => {
            odd(line);
            Ok(line.len())
        }
        b')' => Err(Fault::Parentheses),
        b @ (b'#' | b'[' | b']' | b'=' | b'*') => Err(Fault::Expression(char::from(b))),
        b if !(0x20..0x7F).contains(&b) && b != b'\t' => Err(Fault::NotText(b)),
        b => Err(Fault::NotAWord(char::from(b))),
    }
}
