//! Unsharp masking with a Gaussian, in place and in bands.

use crate::parallel;
use crate::plane::Light;

/// Rows a band. A band needs the original rows beside it, so that those are put aside first.
const ROWS: usize = 128;

/// `v + amount · (v − blurred)` with a Gaussian of standard deviation `sx` columns and `sy` rows; edges
/// repeat the outermost value. Results are held to 0..1.
pub(super) fn unsharp(plane: &mut Light, amount: f32, sx: f64, sy: f64) {
    let (w, h) = (plane.width(), plane.height());
    let (kx, ky) = (kernel(sx), kernel(sy));
    let reach = ky.len() / 2;
    let bands = h.div_ceil(ROWS);
    // The rows that a band's neighbours will have changed when it reads them.
    let beside: Vec<[Vec<f32>; 2]> = (0..bands)
        .map(|b| {
            let (top, end) = (b * ROWS, ((b + 1) * ROWS).min(h));
            let rows = |from: usize, to: usize| plane.data()[from * w..to * w].to_vec();
            [rows(top.saturating_sub(reach), top), rows(end, (end + reach).min(h))]
        })
        .collect();
    parallel::bands(plane.data_mut(), w, ROWS, |first, band| {
        let Some([above, below]) = beside.get(first / ROWS) else { return };
        let rows: Vec<&[f32]> =
            above.chunks_exact(w).chain(band.chunks_exact(w)).chain(below.chunks_exact(w)).collect();
        let start = above.len() / w;
        let height = band.len() / w;
        // Columns first, row by row, then the finished row along itself.
        let mut blurred = vec![0.0f32; band.len()];
        let mut padded = vec![0.0f32; w + kx.len() - 1];
        for (y, out) in blurred.chunks_exact_mut(w).enumerate() {
            let half = kx.len() / 2;
            let middle = &mut padded[half..half + w];
            middle.fill(0.0);
            for (k, &weight) in ky.iter().enumerate() {
                let at = (start + y + k).saturating_sub(reach).min(rows.len() - 1);
                middle.iter_mut().zip(rows[at]).for_each(|(m, v)| *m += weight * v);
            }
            let (left, right) = (padded[half], padded[half + w - 1]);
            padded[..half].fill(left);
            padded[half + w..].fill(right);
            for (k, &weight) in kx.iter().enumerate() {
                out.iter_mut().zip(&padded[k..k + w]).for_each(|(o, v)| *o += weight * v);
            }
        }
        drop(rows);
        debug_assert_eq!(height * w, band.len());
        for (v, b) in band.iter_mut().zip(&blurred) {
            *v = (*v + amount * (*v - b)).clamp(0.0, 1.0);
        }
    });
}

/// A Gaussian of unit sum, cut at three standard deviations; odd length.
fn kernel(sigma: f64) -> Vec<f32> {
    let half = (3.0 * sigma).ceil().max(1.0) as i64;
    let weights: Vec<f64> =
        (-half..=half).map(|i| libm::exp(-0.5 * (i as f64 / sigma) * (i as f64 / sigma))).collect();
    let sum: f64 = weights.iter().sum();
    weights.iter().map(|w| (w / sum) as f32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flat_places_stay_and_edges_gain() {
        let mut p =
            Light::from_vec(300, 300, (0..90_000).map(|i| if i % 300 < 150 { 0.3 } else { 0.6 }).collect());
        unsharp(&mut p, 0.8, 1.5, 2.5);
        for y in [0, 127, 128, 150, 299] {
            let row = p.row(y);
            assert!((row[20] - 0.3).abs() < 1e-5 && (row[280] - 0.6).abs() < 1e-5);
            assert!(row[149] < 0.25 && row[150] > 0.65, "{} {}", row[149], row[150]);
        }
        assert!((p.mean() - 0.45).abs() < 1e-4);
    }

    #[test]
    fn bands_join_without_a_seam() {
        // The same rows read from another band's place give the same values.
        let value = |y: usize, x: usize| (((y * 31 + x * 17) % 101) as f32) / 101.0;
        let make = |from: usize, to: usize| {
            Light::from_vec(
                64,
                to - from,
                (from..to).flat_map(|y| (0..64).map(move |x| value(y, x))).collect(),
            )
        };
        let (mut whole, mut part) = (make(0, 400), make(60, 400));
        unsharp(&mut whole, 1.0, 1.0, 3.0);
        unsharp(&mut part, 1.0, 1.0, 3.0);
        for y in 80..400 {
            assert_eq!(whole.row(y), part.row(y - 60), "row {y}");
        }
    }
}
