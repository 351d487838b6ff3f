//! Ordered dither: Bayer's matrices (B. E. Bayer, "An optimum method for two-level rendition of
//! continuous-tone pictures", IEEE ICC 1973).

use super::{Options, Screen, Wants, threshold_array};
use crate::plane::{Dots, Tone};
use crate::progress::Progress;

/// The Bayer screen; the side of its matrix is `Options::matrix`.
pub const BAYER: Screen = Screen {
    name: "bayer",
    wants: Wants::Coverage,
    searches: false,
    takes: &["matrix", "dot-gain"],
    make: bayer,
};

/// The matrix of ranks 0..side²: M(2n) = [[4M, 4M+2], [4M+3, 4M+1]], row-major. `side` is a power of two.
pub fn matrix(side: usize) -> Vec<u32> {
    let mut ranks = vec![0];
    let mut n = 1;
    while n < side {
        let mut next = vec![0; 4 * n * n];
        for y in 0..2 * n {
            for x in 0..2 * n {
                let quarter = [[0, 2], [3, 1]][y / n][x / n];
                next[y * 2 * n + x] = 4 * ranks[y % n * n + x % n] + quarter;
            }
        }
        ranks = next;
        n *= 2;
    }
    ranks
}

/// Marks each dot whose tone is above (M + ½) / n²: the thresholds lie in the middle of the n² steps, so
/// the mean over all tones is kept. A side other than 2, 4, 8 or 16 is read as the next of them.
pub fn bayer(tone: &Tone, options: &Options, _progress: &dyn Progress) -> Dots {
    let side = (options.matrix.clamp(2, 16) as usize).next_power_of_two();
    let cells = (side * side) as f32;
    let thresholds: Vec<f32> = matrix(side).iter().map(|&m| (m as f32 + 0.5) / cells).collect();
    threshold_array::above(tone, &thresholds, side)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mark::Burn;
    use crate::progress::Silent;

    fn dots(tone: &Tone, side: u32) -> Dots {
        let mut options = Options::new(Burn::plain(1.5, 1.5), 0.1, 0.1);
        options.matrix = side;
        bayer(tone, &options, &Silent)
    }

    #[test]
    fn the_matrices_are_bayers() {
        // The recursion as public tables store it, sides 2, 4 and 8.
        assert_eq!(matrix(2), [0, 2, 3, 1]);
        assert_eq!(matrix(4), [0, 8, 2, 10, 12, 4, 14, 6, 3, 11, 1, 9, 15, 7, 13, 5]);
        assert_eq!(matrix(8)[..16], [0, 32, 8, 40, 2, 34, 10, 42, 48, 16, 56, 24, 50, 18, 58, 26]);
        assert_eq!(matrix(8)[56..], [63, 31, 55, 23, 61, 29, 53, 21]);
        for side in [2usize, 4, 8, 16] {
            let mut ranks = matrix(side);
            ranks.sort_unstable();
            assert!(ranks.iter().enumerate().all(|(i, &r)| r == i as u32), "side {side}");
        }
    }

    #[test]
    fn the_mean_over_all_256_levels_is_kept() {
        // Exact rationals say that (M + ½)/64 with > is unbiased over the levels 0..255, while M/64 is
        // 0.775 % too dark.
        let mut error = 0.0;
        for level in 0..256 {
            let tone = Tone::filled(64, 64, level as f32 / 255.0);
            error += dots(&tone, 8).coverage() - f64::from(level) / 255.0;
        }
        assert!((error / 256.0).abs() < 1e-9, "{}", error / 256.0);
    }

    #[test]
    fn nothing_stays_nothing_and_full_stays_full() {
        for side in [2, 4, 8, 16] {
            assert_eq!(dots(&Tone::filled(37, 19, 0.0), side).count(), 0);
            assert_eq!(dots(&Tone::filled(37, 19, 1.0), side).count(), 37 * 19);
            assert_eq!(dots(&Tone::filled(37, 19, -2.0), side).count(), 0);
            assert_eq!(dots(&Tone::filled(37, 19, f32::NAN), side).count(), 0);
        }
    }

    #[test]
    fn flat_tones_show_the_ranks_of_the_matrix() {
        for (rank, &m) in matrix(8).iter().enumerate() {
            let tone = Tone::filled(8, 8, (m as f32 + 1.0) / 64.0);
            let d = dots(&tone, 8);
            assert!(d.get(rank % 8, rank / 8));
            assert_eq!(d.count(), u64::from(m) + 1);
        }
    }
}
