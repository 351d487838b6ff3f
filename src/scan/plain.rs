//! Plain lines: an X or Y word and perhaps an S word and an F word, read eight characters at a time.
//!
//! The same numbers as the long way gives ([`super::block`]), in a fifth of the time; whatever is not
//! of this very form is left to it.

/// Characters that a plain line may take: three words of a letter, a sign and up to eight characters, a line end.
pub(super) const PLAIN: usize = 32;

/// A plain line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Plain {
    /// The coordinate, and whether it is y.
    pub coordinate: (f64, bool),
    /// The S word, 0 or more.
    pub s: Option<f64>,
    /// The F word, 0 or more.
    pub f: Option<f64>,
    /// Characters of the line with its line end.
    pub len: usize,
}

/// Reads plain lines; remembers the last S word other than S0, which is mostly the next one too, and the last two
/// F words, which mostly take turns.
#[derive(Debug, Clone, Copy)]
pub(super) struct PlainLines {
    s: Word,
    f: [Word; 2],
}

/// A number as it stands.
#[derive(Debug, Clone, Copy)]
struct Word {
    /// Its characters, the first lowest, and which bits of eight characters they are.
    text: u64,
    mask: u64,
    len: usize,
    value: f64,
}

impl Word {
    /// No text is this.
    const NONE: Word = Word { text: u64::MAX, mask: 0, len: 0, value: 0.0 };

    #[inline(always)]
    fn begins(&self, word: u64) -> bool {
        word & self.mask == self.text
    }

    /// The number that begins eight characters, with at most so many decimals.
    fn read(word: u64, most: usize) -> Option<Word> {
        let (whole, decimals, len) = digits(word).filter(|d| d.1 <= most)?;
        let mask = u64::MAX >> (8 * (8 - len));
        Some(Word { text: word & mask, mask, len, value: whole as f64 / TENS[decimals & 7] })
    }
}

impl PlainLines {
    /// Nothing is remembered yet.
    pub(super) fn new() -> Self {
        PlainLines { s: Word::NONE, f: [Word::NONE; 2] }
    }

    /// The plain line at the start of `bytes`; `None` where it is of any other kind.
    #[inline(always)]
    pub(super) fn next(&mut self, bytes: &[u8; PLAIN]) -> Option<Plain> {
        let is_y = match bytes[0] {
            b'X' => false,
            b'Y' => true,
            _ => return None,
        };
        if bytes[1] == b'-' {
            self.number::<2>(bytes).map(|p| Plain { coordinate: (-p.coordinate.0, is_y), ..p })
        } else {
            self.number::<1>(bytes).map(|p| Plain { coordinate: (p.coordinate.0, is_y), ..p })
        }
    }

    /// The coordinate's number from `START` on, and what follows it. The usual forms, three decimals behind
    /// one to three digits, have a branch each: the processor then guesses where the next line begins,
    /// instead of waiting for the digits to be counted.
    #[inline(always)]
    fn number<const START: usize>(&mut self, bytes: &[u8; PLAIN]) -> Option<Plain> {
        let word = eight(bytes, START);
        let values = word ^ ZEROS;
        let others = no_digits(values);
        if others == 0x8000_0000_8000_0000 && bytes[START + 3] == b'.' {
            let digits = (values & 0xFF_FFFF) | ((values >> 8) & 0xFFFF_FF00_0000);
            self.power(bytes, START + 7, eight_digits(digits << 16) as f64 / 1000.0)
        } else if others & 0x00FF_FFFF_FFFF_FFFF == 0x0080_0000_0080_0000 && bytes[START + 2] == b'.' {
            let digits = (values & 0xFFFF) | ((values >> 8) & 0xFF_FFFF_0000);
            self.power(bytes, START + 6, eight_digits(digits << 24) as f64 / 1000.0)
        } else {
            let (mantissa, decimals, count) = digits(word)?;
            self.power(bytes, START + count, mantissa as f64 / TENS[decimals & 7])
        }
    }

    /// The S and F words and the line's end, as far as they are there, from `end` on.
    #[inline(always)]
    fn power(&mut self, bytes: &[u8; PLAIN], end: usize, size: f64) -> Option<Plain> {
        let plain = |s, len| Some(Plain { coordinate: (size, false), s, f: None, len });
        match bytes[end] {
            b'\n' => plain(None, end + 1),
            b'S' => {
                let word = eight(bytes, end + 1);
                let (s, next) = if word & 0xFF == u64::from(b'0') && !is_digit(bytes[end + 2]) {
                    (0.0, end + 2)
                } else {
                    if !self.s.begins(word) || is_digit(bytes[end + 1 + self.s.len]) {
                        self.s = Word::read(word, 0)?;
                    }
                    (self.s.value, end + 1 + self.s.len)
                };
                match bytes[next] {
                    b'\n' => plain(Some(s), next + 1),
                    b'F' => self.feed(bytes, next + 1, Plain { s: Some(s), ..plain(None, 0)? }),
                    _ => None,
                }
            }
            b'F' => self.feed(bytes, end + 1, plain(None, 0)?),
            _ => None,
        }
    }

    /// The F word's number at `start`, which ends with the line.
    #[inline(always)]
    fn feed(&mut self, bytes: &[u8; PLAIN], start: usize, plain: Plain) -> Option<Plain> {
        let word = eight(bytes, start);
        let whole = |f: &Word| f.begins(word) && bytes[start + f.len] == b'\n';
        let f = match self.f {
            [f, _] if whole(&f) => f,
            [_, f] if whole(&f) => f,
            [last, _] => {
                let f = Word::read(word, 7)?;
                self.f = [f, last];
                f
            }
        };
        let end = start + f.len;
        (bytes[end] == b'\n').then_some(Plain { f: Some(f.value), len: end + 1, ..plain })
    }
}

/// Whether a number goes on with a character.
#[inline(always)]
fn is_digit(byte: u8) -> bool {
    byte.is_ascii_digit() || byte == b'.'
}

const ZEROS: u64 = 0x3030_3030_3030_3030;
const TENS: [f64; 8] = [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7];

/// Eight characters as one number, the first lowest. `start` is at most 24.
#[inline(always)]
fn eight(bytes: &[u8; PLAIN], start: usize) -> u64 {
    let mut word = [0; 8];
    word.copy_from_slice(&bytes[start..start + 8]);
    u64::from_le_bytes(word)
}

/// The highest bit of each character that is no digit; characters less that of `0`. Those above nine
/// overflow into it.
#[inline(always)]
fn no_digits(values: u64) -> u64 {
    (((values & 0x7F7F_7F7F_7F7F_7F7F) + 0x7676_7676_7676_7676) | values) & 0x8080_8080_8080_8080
}

/// The value of eight digits, the first lowest: pairs, fours and eights are put together.
#[inline(always)]
fn eight_digits(values: u64) -> u64 {
    let v = (values.wrapping_mul(10) + (values >> 8)) & 0x00FF_00FF_00FF_00FF;
    let v = (v.wrapping_mul(100) + (v >> 16)) & 0x0000_FFFF_0000_FFFF;
    (v.wrapping_mul(10_000) + (v >> 32)) & 0xFFFF_FFFF
}

/// Digits with at most one point among them, of fewer than eight characters: their value without the
/// point, how many stand behind it, and how many characters there are.
fn digits(word: u64) -> Option<(u64, usize, usize)> {
    let values = word ^ ZEROS;
    let others = no_digits(values);
    let first = (others.trailing_zeros() / 8) as usize;
    if first == 8 {
        return None;
    }
    let point = (word >> (8 * first)) & 0xFF == u64::from(b'.');
    let (count, digits, decimals, values) = if point {
        let next = ((others & (others - 1)).trailing_zeros() / 8) as usize;
        if next == 8 {
            return None;
        }
        // The digits behind the point move up to those before it.
        let before = values & ((1 << (8 * first)) - 1);
        let behind = if first == 7 { 0 } else { values >> (8 * (first + 1)) };
        (next, next - 1, next - first - 1, before | (behind << (8 * first)))
    } else {
        (first, first, 0, values)
    };
    // The last digit goes to the highest place.
    (digits > 0).then(|| (eight_digits(values << (8 * (8 - digits))), decimals, count))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scan::block::Block;
    use proptest::prelude::*;

    fn plain(text: &str) -> Option<Plain> {
        let mut bytes = [b'?'; PLAIN];
        let n = text.len().min(PLAIN);
        bytes[..n].copy_from_slice(&text.as_bytes()[..n]);
        let mut lines = PlainLines::new();
        let first = lines.next(&bytes);
        // The same again, now that its S word is remembered.
        assert_eq!(lines.next(&bytes), first);
        first
    }

    #[test]
    fn coordinates_and_powers_are_read() {
        let p = plain("X213.843S900\n").unwrap();
        assert_eq!((p.coordinate, p.s, p.len), ((213.843, false), Some(900.0), 13));
        let p = plain("Y-0.5\nG0").unwrap();
        assert_eq!((p.coordinate, p.s, p.len), ((-0.5, true), None, 6));
        assert_eq!(plain("X7.\n").unwrap().coordinate.0, 7.0);
        assert_eq!(plain("X.25S0\n").unwrap().coordinate.0, 0.25);
        assert_eq!(plain("X1234567S1234567\n").unwrap().s, Some(1_234_567.0));
        let p = plain("X10.5S900F750\n").unwrap();
        assert_eq!((p.coordinate.0, p.s, p.f, p.len), (10.5, Some(900.0), Some(750.0), 14));
        let p = plain("Y-10.4F6000.25\n").unwrap();
        assert_eq!((p.coordinate, p.s, p.f, p.len), ((-10.4, true), None, Some(6000.25), 15));
        let p = plain("X1234567S1234567F1234567\n").unwrap();
        assert_eq!((p.f, p.len), (Some(1_234_567.0), 25));
    }

    #[test]
    fn feeds_that_take_turns_are_not_taken_for_each_other() {
        let mut lines = PlainLines::new();
        for f in [750.0, 6000.0, 750.0, 75.0, 6000.5, 7500.0, 6000.0, 75.0, 750.0] {
            let mut bytes = [b'?'; PLAIN];
            let text = format!("X1S0F{f}\n");
            bytes[..text.len()].copy_from_slice(text.as_bytes());
            assert_eq!(lines.next(&bytes).and_then(|p| p.f), Some(f));
        }
    }

    #[test]
    fn everything_else_takes_the_long_way() {
        for text in [
            "G0X1\n",
            "X\n",
            "X.\n",
            "X-\n",
            "X1.2.3\n",
            "X--1\n",
            "X+1\n",
            "X 1\n",
            "x1\n",
            "X1 \n",
            "X1\r\n",
            "X1Y2\n",
            "X1S-5\n",
            "X1S5.5\n",
            "X1S\n",
            "X1F5S6\n",
            "X1S5F\n",
            "X1S5F6F7\n",
            "X12345678\n",
            "X1234.567\n",
            "X1S12345678\n",
            "X1",
            "X1F-5\n",
            "Z1\n",
            "X1e5\n",
            "X1\u{e9}\n",
            "(X1)\n",
        ] {
            assert_eq!(plain(text), None, "{text:?}");
        }
    }

    #[test]
    fn a_remembered_power_is_not_taken_for_another() {
        let read = |lines: &mut PlainLines, text: &str| {
            let mut bytes = [b'?'; PLAIN];
            bytes[..text.len()].copy_from_slice(text.as_bytes());
            lines.next(&bytes).and_then(|p| p.s)
        };
        let mut lines = PlainLines::new();
        for (text, s) in
            [("X1S90\n", 90.0), ("X1S900\n", 900.0), ("X1S9\n", 9.0), ("X1S90\n", 90.0), ("X1S0\n", 0.0)]
        {
            assert_eq!(read(&mut lines, text), Some(s), "{text}");
        }
        assert_eq!(read(&mut lines, "X1S90.5\n"), None);
        assert_eq!(read(&mut lines, "X1S90F5\n"), Some(90.0));
        assert_eq!(read(&mut lines, "X1S901\n"), Some(901.0));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        #[test]
        fn what_is_read_is_what_the_long_way_reads(text in "[XY]-?[0-9]{0,4}\\.?[0-9]{0,4}(S[0-9]{0,5}\\.?[0-9]{0,2})?(F[0-9]{0,5}\\.?[0-9]{0,2})?\n") {
            if let Some(p) = plain(&text) {
                let mut block = Block::default();
                let line = &text.as_bytes()[..text.len() - 1];
                block.parse(line, |_| {}, |_| {}).expect("the long way reads it too");
                let letter = if p.coordinate.1 { b'Y' } else { b'X' };
                prop_assert_eq!(block.get(letter).map(f64::to_bits), Some(p.coordinate.0.to_bits()));
                prop_assert_eq!(block.get(b'S'), p.s);
                prop_assert_eq!(block.get(b'F').map(f64::to_bits), p.f.map(f64::to_bits));
                prop_assert_eq!(p.len, text.len());
            }
        }
    }
}
