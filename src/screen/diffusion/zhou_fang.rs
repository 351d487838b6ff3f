//! B. Zhou and X. Fang, "Improving mid-tone quality of variable-coefficient error diffusion using threshold
//! modulation", ACM Transactions on Graphics 22 (SIGGRAPH 2003) 437–444.
//!
//! Weights chosen by the input level as Ostromoukhov's, and a threshold that is lifted at random by a strength
//! that depends on the level too: it breaks the regular patterns of mid-tones, 1/4, 1/3 and 1/2 first of all.
//!
//! The key levels were read in seven public copies, the authors' own program among them; they agree number by
//! number but for level 2, where three have 213113 in place of the program's 214114 (0.001 of a share). The
//! program's strengths differ from the key levels between 64 and 85, where it reaches 1 at level 80 already;
//! here they are the key levels', as in all other copies.

use super::lanes::Lanes;
use super::variable::{Node, Variable};

const KEYS: [Node; 18] = [
    (0, [13, 0, 5]),
    (1, [1_300_249, 0, 499_250]),
    (2, [214_114, 287, 99_357]),
    (3, [351_854, 0, 199_965]),
    (4, [801_100, 0, 490_999]),
    (10, [704_075, 297_466, 303_694]),
    (22, [46_613, 31_917, 21_469]),
    (32, [47_482, 30_617, 21_900]),
    (44, [43_024, 42_131, 14_826]),
    (64, [36_411, 43_219, 20_369]),
    (72, [38_477, 53_843, 7_678]),
    (77, [40_503, 51_547, 7_948]),
    (85, [35_865, 34_108, 30_026]),
    (95, [34_117, 36_899, 28_983]),
    (102, [35_464, 35_049, 29_485]),
    (107, [16_477, 18_810, 14_712]),
    (112, [33_360, 37_954, 28_685]),
    (127, [35_269, 36_066, 28_664]),
];

/// Strength of the modulation by key level.
const STRENGTHS: [(usize, f64); 9] = [
    (0, 0.0),
    (44, 0.34),
    (64, 0.50),
    (85, 1.00),
    (95, 0.17),
    (102, 0.50),
    (107, 0.70),
    (112, 0.79),
    (127, 1.00),
];

/// The rule: marked where the value is above (127.5 + strength · noise) / 255.
pub(super) fn zhou_fang<S: Lanes>(segment: usize) -> Variable<S> {
    Variable::new(segment, &KEYS).modulated(strength)
}

/// Strength at a level of 256, between the key levels in proportion; levels above 127 mirror those below.
fn strength(level: usize) -> f64 {
    let level = level.min(255 - level.min(255));
    STRENGTHS.windows(2).find(|pair| level <= pair[1].0).map_or(0.0, |pair| {
        let ((from, low), (to, high)) = (pair[0], pair[1]);
        low + (high - low) * (level - from) as f64 / (to - from) as f64
    })
}

/// The noise of a dot, 0 to 127: the publication draws random numbers in turn, which would give other
/// dots for another order of work. These are mixed bits of column and row (counted from the first row
/// that is walked), the same on any machine.
#[inline(always)]
pub(super) fn noise(x: u32, row: u32) -> i32 {
    let mut h = x.wrapping_mul(0x9E37_79B1) ^ row.wrapping_mul(0x85EB_CA77);
    h ^= h >> 15;
    h = h.wrapping_mul(0x2C1B_3C6D);
    h ^= h >> 12;
    h = h.wrapping_mul(0x297A_2D39);
    (h >> 25) as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strengths_are_those_of_the_publication() {
        // Whole per cents of the authors' program, which cuts them off.
        for (level, percent) in
            [(0, 0), (44, 34), (50, 38), (64, 50), (90, 58), (99, 35), (120, 90), (127, 100)]
        {
            assert_eq!((strength(level) * 100.0 + 1e-9) as i32, percent, "level {level}");
            assert_eq!(strength(255 - level), strength(level));
        }
    }

    #[test]
    fn the_noise_is_even_and_does_not_repeat_from_row_to_row() {
        let (mut counts, mut products) = ([0u32; 128], [0.0f64; 3]);
        let side = 512;
        for y in 0..side {
            for x in 0..side {
                let centred = |x, y| f64::from(noise(x, y)) - 63.5;
                counts[noise(x, y) as usize] += 1;
                for (product, (dx, dy)) in products.iter_mut().zip([(1, 0), (0, 1), (1, 1)]) {
                    *product += centred(x, y) * centred(x + dx, y + dy);
                }
            }
        }
        let all = f64::from(side * side);
        // 2048 a value; the spread of such a count is 45.
        assert!(counts.iter().all(|&c| (1800..2300).contains(&c)), "{counts:?}");
        // Correlation of neighbours; its spread is 0.002.
        let variance = (128.0f64.powi(2) - 1.0) / 12.0;
        assert!(products.iter().all(|p| (p / all / variance).abs() < 0.01), "{products:?}");
    }
}
