//! Teeth of an edge: single dots that stand out from it or are left out of it, and what they cost.

use crate::mark::Burn;

/// What a tooth costs at a beam of so many pitches and less, and so many and more, in squares of a solid's mark a half by a
/// half dot. Narrow beams show each dot, wide ones hardly any. A search for the eye of
/// a photo makes 12 to 18 teeth in 100 dots of edge; these costs leave 5 at one pitch and 11 at a pitch and a half, where more would
/// put edges further off.
const NARROW: (f64, f32) = (1.0, 0.15);
const WIDE: (f64, f32) = (1.5, 0.01);

/// Dots whose states decide which teeth a dot's toggle makes or mends: those within two steps.
const DIAMOND: [(isize, isize); 13] = [
    (0, -2),
    (-1, -1),
    (0, -1),
    (1, -1),
    (-2, 0),
    (-1, 0),
    (0, 0),
    (1, 0),
    (2, 0),
    (-1, 1),
    (0, 1),
    (1, 1),
    (0, 2),
];

/// What toggling a dot costs in teeth.
pub struct Teeth {
    /// By the states of [`DIAMOND`].
    toggles: Vec<f32>,
    /// Distances of its dots in a plane of `stride`, set by the plane's owner.
    places: [isize; DIAMOND.len()],
}

impl Teeth {
    /// The costs for a burn, for planes with so many dots a row.
    pub fn new(burn: &Burn, stride: usize) -> Self {
        let beam = burn.along.min(burn.across);
        let wide = ((beam - NARROW.0) / (WIDE.0 - NARROW.0)).clamp(0.0, 1.0) as f32;
        let cost = NARROW.1 + (WIDE.1 - NARROW.1) * wide;
        let toggle = |code: usize| {
            let count = |code: usize| -> i32 {
                [(0, 0), (0, -1), (0, 1), (-1, 0), (1, 0)].iter().map(|&at| i32::from(tooth(code, at))).sum()
            };
            cost * (count(code ^ 1 << 6) - count(code)) as f32
        };
        Teeth {
            toggles: (0..1 << DIAMOND.len()).map(toggle).collect(),
            places: DIAMOND.map(|(dx, dy)| dy * stride as isize + dx),
        }
    }

    /// What toggling the dot at `at` of a plane of 0 and 1 costs, in squares of a solid's mark; below 0 where it mends
    /// more than it makes.
    #[inline(always)]
    pub fn toggled(&self, dots: &[u8], at: usize) -> f32 {
        let bits = self.places.iter().enumerate();
        let code = bits.fold(0, |code, (i, &d)| code | usize::from(dots[at.wrapping_add_signed(d)]) << i);
        self.toggles[code]
    }
}

/// Whether the dot at `(x, y)` of a diamond, itself at most a step from the middle, is a tooth: alone in its row or its
/// column, with one neighbour like it in the other, or none.
fn tooth(code: usize, (x, y): (isize, isize)) -> bool {
    let state = |dx: isize, dy: isize| {
        DIAMOND.iter().position(|&d| d == (x + dx, y + dy)).is_some_and(|i| code >> i & 1 == 1)
    };
    let like = |dx, dy| usize::from(state(dx, dy) == state(0, 0));
    let (row, column) = (like(-1, 0) + like(1, 0), like(0, -1) + like(0, 1));
    row.min(column) == 0 && row.max(column) < 2
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tooth_costs_and_filling_a_notch_pays() {
        let stride = 12;
        let teeth = Teeth::new(&Burn::plain(1.0, 1.0), stride);
        // Ink above row 6.
        let mut dots: Vec<u8> = (0..stride * 12).map(|i| u8::from(i / stride < 6)).collect();
        let at = 6 * stride + 5;
        let stands_out = teeth.toggled(&dots, at);
        assert!(stands_out > 0.0);
        dots[at] = 1;
        assert_eq!(teeth.toggled(&dots, at), -stands_out);
        // Beside a tooth one more makes it broader, which is none.
        assert!(teeth.toggled(&dots, at + 1) < 0.0);
        assert!(teeth.toggled(&dots, at + 2) > 0.0, "the beginning of a comb");
        assert_eq!(teeth.toggled(&dots, 3 * stride + 5), stands_out, "a hole inside");
    }

    #[test]
    fn narrow_beams_mind_teeth_more() {
        let lone = |beam: f64| Teeth::new(&Burn::plain(beam, beam), 8).toggled(&[0; 64], 36);
        assert!(lone(1.0) > lone(1.2) && lone(1.2) > lone(1.5) && lone(1.5) == lone(2.0));
    }
}
