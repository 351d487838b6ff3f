//! Glyphs: single-line letters for labels, drawn as strokes of known width and laid down as dots.
//!
//! Own design on a grid of 4 by 6 units, y downwards. A label must still be legible after the beam
//! has widened every stroke, so the counters (the holes of 0, 6, 8, A …) are at least two units wide.

/// Width of a glyph in units of the design grid.
const WIDTH: f64 = 4.0;
/// Height of a glyph in units of the design grid.
const HEIGHT: f64 = 6.0;
/// From one glyph to the next, in units of the design grid.
const ADVANCE: f64 = 5.6;

/// The strokes of a character: polylines separated by `/`, points as two digits `xy`.
/// Small letters are drawn as capitals, apart from m and s of the unit mm/s.
fn strokes(c: char) -> &'static str {
    match c {
        '0' => "10 30 41 45 36 16 05 01 10",
        '1' => "11 20 26 / 16 36",
        '2' => "01 10 30 41 42 06 46",
        '3' => "00 40 22 32 43 45 36 16 05",
        '4' => "36 30 04 44",
        '5' => "40 00 03 12 32 43 45 36 16 05",
        '6' => "31 20 10 01 05 16 36 45 44 33 13 04",
        '7' => "00 40 16",
        '8' => "10 30 41 42 33 13 02 01 10 / 13 04 05 16 36 45 44 33",
        '9' => "15 26 36 45 41 30 10 01 02 13 33 42",
        '.' => "16 26",
        '-' => "03 43",
        '+' => "03 43 / 21 25",
        '/' => "06 40",
        ':' => "22 23 / 25 26",
        '%' => "06 40 / 00 01 11 10 00 / 35 36 46 45 35",
        '=' => "02 42 / 04 44",
        '>' => "01 43 05",
        '<' => "41 03 45",
        'm' => "06 02 / 03 12 23 26 / 23 32 43 46",
        's' => "42 12 03 14 34 45 36 06",
        'A' | 'a' => "06 02 20 42 46 / 04 44",
        'B' | 'b' => "00 30 41 42 33 03 / 33 44 45 36 06 00",
        'C' | 'c' => "41 30 10 01 05 16 36 45",
        'D' | 'd' => "00 20 42 44 26 06 00",
        'E' | 'e' => "40 00 06 46 / 03 33",
        'F' | 'f' => "40 00 06 / 03 33",
        'G' | 'g' => "41 30 10 01 05 16 36 45 43 23",
        'H' | 'h' => "00 06 / 40 46 / 03 43",
        'I' | 'i' => "10 30 / 20 26 / 16 36",
        'J' | 'j' => "20 40 45 36 16 05",
        'K' | 'k' => "00 06 / 40 03 46",
        'L' | 'l' => "00 06 46",
        'M' => "06 00 23 40 46",
        'N' | 'n' => "06 00 46 40",
        'O' | 'o' => "10 30 41 45 36 16 05 01 10",
        'P' | 'p' => "06 00 30 41 42 33 03",
        'Q' | 'q' => "10 30 41 45 36 16 05 01 10 / 24 46",
        'R' | 'r' => "06 00 30 41 42 33 03 / 23 46",
        'S' => "41 30 10 01 02 13 33 44 45 36 16 05",
        'T' | 't' => "00 40 / 20 26",
        'U' | 'u' => "00 05 16 36 45 40",
        'V' | 'v' => "00 26 40",
        'W' | 'w' => "00 16 22 36 40",
        'X' | 'x' => "00 46 / 40 06",
        'Y' | 'y' => "00 23 40 / 23 26",
        'Z' | 'z' => "00 40 06 46",
        _ => "",
    }
}

/// A line of text as straight strokes in mm, y downwards.
#[derive(Debug, Clone, PartialEq)]
pub struct Strokes {
    /// Strokes `(x1, y1, x2, y2)`, mm.
    pub strokes: Vec<[f64; 4]>,
    /// Half the stroke's width, mm.
    pub half_width: f64,
}

/// Width in mm of a line of text whose glyphs are `height` mm high.
pub fn width(text: &str, height: f64) -> f64 {
    let n = text.chars().count() as f64;
    if n == 0.0 { 0.0 } else { ((n - 1.0) * ADVANCE + WIDTH) * height / HEIGHT }
}

/// Sets a line of text with its upper left corner at `(left, top)` mm; strokes a seventh of the height wide.
pub fn set(text: &str, left: f64, top: f64, height: f64) -> Strokes {
    let unit = height / HEIGHT;
    let mut out = Vec::new();
    for (i, c) in text.chars().enumerate() {
        let x0 = left + i as f64 * ADVANCE * unit;
        for line in strokes(c).split('/') {
            let points: Vec<(f64, f64)> = line
                .split_whitespace()
                .filter_map(|p| {
                    let mut digits = p.chars().filter_map(|d| d.to_digit(10));
                    Some((f64::from(digits.next()?), f64::from(digits.next()?)))
                })
                .collect();
            for pair in points.windows(2) {
                if let [(ax, ay), (bx, by)] = *pair {
                    out.push([x0 + ax * unit, top + ay * unit, x0 + bx * unit, top + by * unit]);
                }
            }
        }
    }
    Strokes { strokes: out, half_width: height / 14.0 }
}

impl Strokes {
    /// Whether the point lies on a stroke.
    pub fn covers(&self, x: f64, y: f64) -> bool {
        self.strokes.iter().any(|&[ax, ay, bx, by]| {
            let (dx, dy) = (bx - ax, by - ay);
            let len2 = dx * dx + dy * dy;
            let t = if len2 > 0.0 { (((x - ax) * dx + (y - ay) * dy) / len2).clamp(0.0, 1.0) } else { 0.0 };
            libm::hypot(x - ax - t * dx, y - ay - t * dy) <= self.half_width
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_character_of_a_label_has_strokes_of_its_own() {
        let all = "0123456789.-+/:%=><msABCDEFGHIJKLMNPQRSTUVWXYZ";
        let mut seen = std::collections::HashSet::new();
        for c in all.chars() {
            assert!(!strokes(c).is_empty(), "{c}");
            assert!(seen.insert(strokes(c)), "{c} looks like another");
        }
        assert!(set(" ", 0.0, 0.0, 2.0).strokes.is_empty());
    }

    #[test]
    fn text_stays_within_its_width_and_height() {
        let text = "12.5mm/s 80%";
        let l = set(text, 3.0, 5.0, 2.0);
        let w = width(text, 2.0);
        for s in &l.strokes {
            assert!(s[0] >= 3.0 && s[2] >= 3.0 && s[0] <= 3.0 + w + 1e-9 && s[2] <= 3.0 + w + 1e-9);
            assert!(s[1] >= 5.0 && s[3] <= 7.0 + 1e-9);
        }
        assert!(l.covers(l.strokes[0][0], l.strokes[0][1]) && !l.covers(0.0, 0.0));
    }
}
