//! Grey: the S words that give a continuous tone by power, for coatings that take one.

use crate::mark::Burn;

/// Steps of the table: mark fractions in 255ths.
pub const STEPS: usize = 256;

/// The S words for the wanted mark fractions 0, 1/255, … 1 of a solid tone, at most `full` (the S word at
/// which `burn` was reckoned): the inverse of the response, see [`super::lines::Marking::Grey`].
///
/// The exposure of a continuous tone is proportional to power, so the relative exposure is the share of
/// `full`. Where the coating chars before it is fully marked, fractions out of reach take the power of the
/// best mark. Levels never fall with the wanted mark; fraction 0 is always 0, beam off.
pub fn levels(burn: &Burn, full: u32) -> Vec<u32> {
    // The best mark within reach: the first highest of 4096 shares.
    let samples = 4096;
    let (mut best, mut top) = (0.0, 0.0);
    for i in 1..=samples {
        let share = f64::from(i) / f64::from(samples);
        let mark = burn.mark(share);
        if mark > top {
            (best, top) = (share, mark);
        }
    }
    (0..STEPS)
        .map(|k| {
            let wanted = k as f64 / (STEPS - 1) as f64;
            if k == 0 {
                return 0;
            }
            let share = if wanted >= top {
                best
            } else {
                let (mut low, mut high) = (0.0, best);
                for _ in 0..50 {
                    let mid = 0.5 * (low + high);
                    if burn.mark(mid) < wanted { low = mid } else { high = mid }
                }
                high
            };
            (share * f64::from(full)).round() as u32
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_give_back_the_wanted_mark() {
        let burn = Burn::plain(1.5, 1.5);
        let full = 100_000;
        let l = levels(&burn, full);
        assert_eq!((l.len(), l[0]), (256, 0));
        assert!(l.windows(2).all(|w| w[0] <= w[1]) && l[255] <= full);
        for (k, &s) in l.iter().enumerate().skip(1) {
            let wanted = k as f64 / 255.0;
            let mark = burn.mark(f64::from(s) / f64::from(full));
            // Full power marks 0.987 of this model: what lies beyond is out of reach.
            assert!((mark - wanted.min(burn.mark(1.0))).abs() < 1e-3, "{k}: {mark}");
        }
    }

    #[test]
    fn a_coating_that_chars_is_never_driven_past_its_best_mark() {
        let mut burn = Burn::plain(1.5, 1.5);
        burn.response.x_char = 0.9;
        burn.response.y_char = 0.1;
        let l = levels(&burn, 1000);
        let best = (1..=1000u32)
            .max_by(|a, b| burn.mark(f64::from(*a) / 1000.0).total_cmp(&burn.mark(f64::from(*b) / 1000.0)))
            .unwrap();
        assert!(l[255].abs_diff(best) <= 1 && best < 950, "{} {best}", l[255]);
    }
}
