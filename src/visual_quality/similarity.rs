//! Structural similarity: Z. Wang, A. C. Bovik, H. R. Sheikh and E. P. Simoncelli, "Image quality assessment:
//! from error visibility to structural similarity", IEEE Transactions on Image Processing 13 (2004).

use super::blur::Pair;
use super::gaussian_line;
use crate::parallel;

/// Values on a side of the window.
pub const WINDOW: usize = 11;
const SIGMA: f64 = 1.5;

/// Mean structural similarity over all windows that lie wholly inside; sums in f64, since the variances
/// are small differences of large numbers. A plane smaller than the window is one window: its means,
/// unweighted.
pub fn ssim(pair: &Pair, range: f64) -> f64 {
    let (w, h) = (pair.width, pair.height);
    let (c1, c2) = ((0.01 * range) * (0.01 * range), (0.03 * range) * (0.03 * range));
    let index = |[ma, mb, squares, product]: [f64; 4]| {
        let (cross, own) = (ma * mb, ma * ma + mb * mb);
        (2.0 * cross + c1) * (2.0 * (product - cross) + c2) / ((own + c1) * (squares - own + c2))
    };
    let terms = |a: f32, b: f32| {
        let (a, b) = (f64::from(a), f64::from(b));
        [a, b, a * a + b * b, a * b]
    };
    if w < WINDOW || h < WINDOW {
        let n = (w * h).max(1) as f64;
        let mut sum = [0.0; 4];
        for (&a, &b) in pair.mark.iter().zip(&pair.wanted) {
            sum.iter_mut().zip(terms(a, b)).for_each(|(s, t)| *s += t / n);
        }
        return index(sum);
    }
    let line = gaussian_line(SIGMA, WINDOW / 2);
    let (ow, oh) = (w + 1 - WINDOW, h + 1 - WINDOW);
    const ROWS: usize = 16;
    let sums = parallel::map(oh.div_ceil(ROWS), |band| {
        let mut tall = vec![[0.0f64; 4]; w];
        let mut total = 0.0;
        for y in band * ROWS..((band + 1) * ROWS).min(oh) {
            tall.fill([0.0; 4]);
            for (j, &g) in line.iter().enumerate() {
                let at = (y + j) * w..(y + j + 1) * w;
                let both = pair.mark[at.clone()].iter().zip(&pair.wanted[at]);
                for (t, (&a, &b)) in tall.iter_mut().zip(both) {
                    t.iter_mut().zip(terms(a, b)).for_each(|(t, v)| *t += g * v);
                }
            }
            for window in tall.windows(WINDOW) {
                let mut sum = [0.0; 4];
                for (&g, t) in line.iter().zip(window) {
                    sum.iter_mut().zip(t).for_each(|(s, v)| *s += g * v);
                }
                total += index(sum);
            }
        }
        total
    });
    sums.iter().sum::<f64>() / (ow * oh) as f64
}
