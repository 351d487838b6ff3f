//! Plain lines: an X or Y word and perhaps an S word, read eight characters at a time.
//!
//! The same numbers as the long way gives ([`super::block`]), in a quarter of the time; whatever is not
//! of this very form is left to it.

/// Characters that a plain line may take: two words of a letter, a sign and eight characters, a line end.
pub(super) const PLAIN: usize = 24;

/// A plain line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Plain {
    /// The coordinate, and whether it is y.
    pub coordinate: (f64, bool),
    /// The S word, 0 or more.
    pub s: Option<f64>,
    /// Characters of the line with its line end.
    pub len: usize,
}

/// The plain line at the start of `bytes`; `None` where it is of any other kind.
#[inline(always)]
pub(super) fn plain_line(bytes: &[u8; PLAIN]) -> Option<Plain> {
    let is_y = match bytes[0] {
        b'X' => false,
        b'Y' => true,
        _ => return None,
    };
    let negative = bytes[1] == b'-';
    let start = 1 + usize::from(negative);
    let (mantissa, decimals, count) = digits(eight(bytes, start))?;
    let size = mantissa as f64 / TENS[decimals & 7];
    let coordinate = (if negative { -size } else { size }, is_y);
    let end = start + count;
    match bytes[end] {
        b'\n' => Some(Plain { coordinate, s: None, len: end + 1 }),
        b'S' => {
            let (whole, decimals, count) = digits(eight(bytes, end + 1))?;
            let end = end + 1 + count;
            (decimals == 0 && bytes[end] == b'\n').then_some(Plain {
                coordinate,
                s: Some(whole as f64),
                len: end + 1,
            })
        }
        _ => None,
    }
}

const TENS: [f64; 8] = [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7];

/// Eight characters as one number, the first lowest. `start` is at most 11.
#[inline(always)]
fn eight(bytes: &[u8; PLAIN], start: usize) -> u64 {
    let mut word = [0; 8];
    word.copy_from_slice(&bytes[start..start + 8]);
    u64::from_le_bytes(word)
}

/// Digits with at most one point among them, of fewer than eight characters: their value without the
/// point, how many stand behind it, and how many characters there are.
#[inline(always)]
fn digits(word: u64) -> Option<(u64, usize, usize)> {
    let values = word ^ 0x3030_3030_3030_3030;
    // The highest bit of each character that is no digit: those above nine overflow into it.
    let others =
        (((values & 0x7F7F_7F7F_7F7F_7F7F) + 0x7676_7676_7676_7676) | values) & 0x8080_8080_8080_8080;
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
    if digits == 0 {
        return None;
    }
    // The last digit goes to the highest place; then pairs, fours and eights are put together.
    let v = values << (8 * (8 - digits));
    let v = (v.wrapping_mul(10) + (v >> 8)) & 0x00FF_00FF_00FF_00FF;
    let v = (v.wrapping_mul(100) + (v >> 16)) & 0x0000_FFFF_0000_FFFF;
    Some(((v.wrapping_mul(10_000) + (v >> 32)) & 0xFFFF_FFFF, decimals, count))
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
        plain_line(&bytes)
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
            "X1S5F6\n",
            "X12345678\n",
            "X1234.567\n",
            "X1S12345678\n",
            "X1",
            "X1F5\n",
            "Z1\n",
            "X1e5\n",
            "X1\u{e9}\n",
            "(X1)\n",
        ] {
            assert_eq!(plain(text), None, "{text:?}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        #[test]
        fn what_is_read_is_what_the_long_way_reads(text in "[XY]-?[0-9]{0,4}\\.?[0-9]{0,4}(S[0-9]{0,5}\\.?[0-9]{0,2})?\n") {
            if let Some(p) = plain(&text) {
                let mut block = Block::default();
                let line = &text.as_bytes()[..text.len() - 1];
                block.parse(line, |_| {}, |_| {}).expect("the long way reads it too");
                let letter = if p.coordinate.1 { b'Y' } else { b'X' };
                prop_assert_eq!(block.get(letter).map(f64::to_bits), Some(p.coordinate.0.to_bits()));
                prop_assert_eq!(block.get(b'S'), p.s);
                prop_assert_eq!(p.len, text.len());
            }
        }
    }
}
