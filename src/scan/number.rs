//! Numbers of the scan program: whole micrometres printed as millimetres, shortest without loss.
//!
//! A table of the 1000 fractions and one of the integers to 9999 replaces divisions digit by digit:
//! a coordinate is two look-ups and two short copies.

/// A number's text of up to 7 bytes and its length, in one word that is copied whole.
type Piece = [u8; 8];

const fn fractions() -> [Piece; 1000] {
    let mut table = [[0u8; 8]; 1000];
    let mut i = 0;
    while i < 1000 {
        let digits = [b'.', b'0' + (i / 100) as u8, b'0' + (i / 10 % 10) as u8, b'0' + (i % 10) as u8];
        let len = if i == 0 {
            0
        } else if i % 100 == 0 {
            2
        } else if i % 10 == 0 {
            3
        } else {
            4
        };
        table[i] = [digits[0], digits[1], digits[2], digits[3], 0, 0, 0, len];
        i += 1;
    }
    table
}

const fn integers() -> [Piece; 10_000] {
    let mut table = [[0u8; 8]; 10_000];
    let mut i = 0;
    while i < 10_000 {
        let d = [
            b'0' + (i / 1000) as u8,
            b'0' + (i / 100 % 10) as u8,
            b'0' + (i / 10 % 10) as u8,
            b'0' + (i % 10) as u8,
        ];
        table[i] = if i >= 1000 {
            [d[0], d[1], d[2], d[3], 0, 0, 0, 4]
        } else if i >= 100 {
            [d[1], d[2], d[3], 0, 0, 0, 0, 3]
        } else if i >= 10 {
            [d[2], d[3], 0, 0, 0, 0, 0, 2]
        } else {
            [d[3], 0, 0, 0, 0, 0, 0, 1]
        };
        i += 1;
    }
    table
}

static FRACTIONS: [Piece; 1000] = fractions();
static INTEGERS: [Piece; 10_000] = integers();

/// Room that one word (letter, sign, number) may take, with what the copies overshoot.
pub const WORD: usize = 32;

/// Writes pieces of text into a slice that has room for them; copies eight bytes at a time, so up to
/// seven bytes beyond the text are overwritten.
#[derive(Debug)]
pub struct Cursor<'a> {
    bytes: &'a mut [u8],
    at: usize,
}

impl<'a> Cursor<'a> {
    /// A cursor at the start of `bytes`.
    pub fn new(bytes: &'a mut [u8]) -> Self {
        Cursor { bytes, at: 0 }
    }

    /// Bytes written.
    pub fn len(&self) -> usize {
        self.at
    }

    /// One byte. Text that does not fit is dropped; callers keep [`WORD`] bytes a word.
    #[inline(always)]
    pub fn byte(&mut self, b: u8) {
        if let Some(p) = self.bytes.get_mut(self.at) {
            *p = b;
            self.at += 1;
        }
    }

    /// Text as it stands.
    #[inline(always)]
    pub fn bytes(&mut self, text: &[u8]) {
        text.iter().for_each(|&b| self.byte(b));
    }

    #[inline(always)]
    fn piece(&mut self, piece: &Piece) {
        if let Some(p) = self.bytes.get_mut(self.at..self.at + 8) {
            p.copy_from_slice(piece);
            self.at += usize::from(piece[7]);
        }
    }

    /// A whole number.
    #[inline(always)]
    pub fn whole(&mut self, n: u32) {
        if n < 10_000 {
            self.piece(&INTEGERS[n as usize]);
        } else {
            self.large(n);
        }
    }

    #[cold]
    fn large(&mut self, n: u32) {
        for b in n.to_string().bytes() {
            self.byte(b);
        }
    }

    /// A letter and a length given in whole micrometres, as millimetres (`X-12.34`).
    #[inline(always)]
    pub fn length(&mut self, letter: u8, um: i32) {
        self.byte(letter);
        if um < 0 {
            self.byte(b'-');
        }
        let size = um.unsigned_abs();
        self.whole(size / 1000);
        self.piece(&FRACTIONS[(size % 1000) as usize]);
    }
}

/// A number of at most three decimals as text, shortest without loss: for headers and single words.
pub fn thousandths(value: i64) -> String {
    let size = value.unsigned_abs();
    let piece = FRACTIONS[(size % 1000) as usize];
    let fraction: String = piece[..usize::from(piece[7])].iter().map(|&b| char::from(b)).collect();
    format!("{}{}{}", if value < 0 { "-" } else { "" }, size / 1000, fraction)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(um: i32) -> String {
        let mut room = [0u8; 64];
        let mut c = Cursor::new(&mut room);
        c.length(b'X', um);
        let n = c.len();
        String::from_utf8(room[..n].to_vec()).unwrap()
    }

    #[test]
    fn lengths_are_short_and_exact() {
        for (um, want) in [
            (0, "X0"),
            (1, "X0.001"),
            (-1, "X-0.001"),
            (500, "X0.5"),
            (12_340, "X12.34"),
            (9_999_999, "X9999.999"),
            (-12_345_678, "X-12345.678"),
        ] {
            assert_eq!(text(um), want);
            assert_eq!(format!("X{}", thousandths(i64::from(um))), want);
        }
    }

    #[test]
    fn every_length_is_read_back_by_the_standard_library() {
        for um in (-50_000..50_000).chain([1_234_567, i32::MAX, i32::MIN]) {
            let mm: f64 = text(um)[1..].parse().unwrap();
            assert_eq!((mm * 1000.0).round() as i64, i64::from(um));
            assert!(!text(um).contains('e'));
        }
    }
}
