//! Local contrast by a guided filter: no halos, as its smooth part keeps hard edges.
//!
//! K. He, J. Sun, X. Tang, "Guided image filtering", IEEE Trans. PAMI 35 (2013), self-guided; computed on a
//! reduced plane as in K. He, J. Sun, "Fast guided filter", arXiv:1505.00996 (2015), so that the cost
//! hardly depends on the radius and next to no memory is taken.

use crate::parallel;
use crate::plane::Light;

/// Variance of lightness (L*/100)² above which a place counts as an edge and keeps its tone: (6 L*)².
const EDGE: f32 = 0.0036;
/// Rows a band.
const ROWS: usize = 16;

/// A small plane of coefficients.
pub(super) struct Small {
    pub w: usize,
    pub h: usize,
    pub data: Vec<f32>,
}

impl Small {
    /// The same again.
    pub fn copy(&self) -> Small {
        Small { w: self.w, h: self.h, data: self.data.clone() }
    }
}

/// Makes detail within a radius of `rx` columns and `ry` rows `1 + amount` times as strong. Results are held to 0..1.
pub(super) fn strengthen(plane: &mut Light, amount: f32, rx: f64, ry: f64) {
    beside_smooth(plane, (rx, ry), EDGE, |v, smooth| smooth + (1.0 + amount) * (v - smooth));
}

/// Puts a function of each value and the smooth tone around it in its place, held to 0..1. `edge` is the variance
/// above which a place counts as an edge.
pub(super) fn beside_smooth(
    plane: &mut Light,
    (rx, ry): (f64, f64),
    edge: f32,
    of: impl Fn(f32, f32) -> f32 + Sync,
) {
    let (w, h) = (plane.width(), plane.height());
    // Four steps of the reduced plane a radius: what He and Sun found to be indistinguishable.
    let step = |r: f64, n: usize| ((r / 4.0) as usize).clamp(1, n.max(1));
    let (bx, by) = (step(rx, w), step(ry, h));
    let radius = |r: f64, b: usize| ((r / b as f64).round() as usize).max(1);
    let (sx, sy) = (radius(rx, bx), radius(ry, by));
    let (mean, square) = reduced(plane, bx, by);
    let (mean, square) = (boxed(mean, sx, sy), boxed(square, sx, sy));
    let gain = |(m, s): (&f32, &f32)| {
        let variance = (s - m * m).max(0.0);
        variance / (variance + edge)
    };
    let a: Vec<f32> = mean.data.iter().zip(&square.data).map(gain).collect();
    let b: Vec<f32> = mean.data.iter().zip(&a).map(|(m, a)| m * (1.0 - a)).collect();
    let a = boxed(Small { data: a, ..mean }, sx, sy);
    let b = boxed(Small { data: b, ..square }, sx, sy);
    parallel::bands(plane.data_mut(), w, ROWS, |first, band| {
        let (mut row_a, mut row_b) = (vec![0.0f32; a.w], vec![0.0f32; b.w]);
        for (dy, row) in band.chunks_mut(w).enumerate() {
            let (y0, y1, ty) = between(first + dy, by, a.h);
            mix(&a, y0, y1, ty, &mut row_a);
            mix(&b, y0, y1, ty, &mut row_b);
            for (x, v) in row.iter_mut().enumerate() {
                let (x0, x1, t) = between(x, bx, a.w);
                let gain = row_a[x0] + (row_a[x1] - row_a[x0]) * t;
                let offset = row_b[x0] + (row_b[x1] - row_b[x0]) * t;
                let smooth = gain * *v + offset;
                *v = of(*v, smooth).clamp(0.0, 1.0);
            }
        }
    });
}

/// Means of the values and of their squares over blocks of `bx` x `by`.
fn reduced(plane: &Light, bx: usize, by: usize) -> (Small, Small) {
    let (w, h) = (plane.width().div_ceil(bx), plane.height().div_ceil(by));
    let rows = parallel::map(h, |y| {
        let (mut sum, mut square) = (vec![0.0f32; w], vec![0.0f32; w]);
        let end = ((y + 1) * by).min(plane.height());
        for source in y * by..end {
            for (i, block) in plane.row(source).chunks(bx).enumerate() {
                sum[i] += block.iter().sum::<f32>();
                square[i] += block.iter().map(|v| v * v).sum::<f32>();
            }
        }
        for i in 0..w {
            let n = ((end - y * by) * (((i + 1) * bx).min(plane.width()) - i * bx)) as f32;
            sum[i] /= n;
            square[i] /= n;
        }
        (sum, square)
    });
    let (sums, squares): (Vec<_>, Vec<_>) = rows.into_iter().unzip();
    (Small { w, h, data: sums.concat() }, Small { w, h, data: squares.concat() })
}

/// Mean over a window of `rx` and `ry` to either side, cut at the edges.
pub(super) fn boxed(p: Small, rx: usize, ry: usize) -> Small {
    let mut out = p.data.clone();
    for (from, to) in p.data.chunks(p.w).zip(out.chunks_mut(p.w)) {
        running(|i| from[i], p.w, rx, |i, v| to[i] = v);
    }
    let rows = out.clone();
    for x in 0..p.w {
        running(|y| rows[y * p.w + x], p.h, ry, |y, v| out[y * p.w + x] = v);
    }
    Small { data: out, ..p }
}

/// Running means in f64, so that nothing drifts.
fn running(value: impl Fn(usize) -> f32, n: usize, r: usize, mut put: impl FnMut(usize, f32)) {
    let mut sum: f64 = (0..r.min(n)).map(|i| f64::from(value(i))).sum();
    for i in 0..n {
        if i + r < n {
            sum += f64::from(value(i + r));
        }
        if i > r {
            sum -= f64::from(value(i - r - 1));
        }
        let count = (i + r + 1).min(n) - i.saturating_sub(r);
        put(i, (sum / count as f64) as f32);
    }
}

/// The blocks whose centres lie beside place `i`, and how far from the first to the second.
fn between(i: usize, block: usize, n: usize) -> (usize, usize, f32) {
    let at = ((i as f32 + 0.5) / block as f32 - 0.5).clamp(0.0, (n - 1) as f32);
    let low = at as usize;
    (low, (low + 1).min(n - 1), at - low as f32)
}

fn mix(p: &Small, y0: usize, y1: usize, t: f32, out: &mut [f32]) {
    let (a, b) = (&p.data[y0 * p.w..(y0 + 1) * p.w], &p.data[y1 * p.w..(y1 + 1) * p.w]);
    out.iter_mut().zip(a.iter().zip(b)).for_each(|(o, (a, b))| *o = a + (b - a) * t);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fine_texture_gains_and_a_hard_edge_gets_no_halo() {
        let texture = |x: usize, y: usize| if (x / 2 + y / 2).is_multiple_of(2) { 0.02f32 } else { -0.02 };
        let value = |x: usize, y: usize| if x < 200 { 0.2 + texture(x, y) } else { 0.8 };
        let data = (0..400 * 400).map(|i| value(i % 400, i / 400)).collect();
        let mut p = Light::from_vec(400, 400, data);
        strengthen(&mut p, 1.0, 24.0, 24.0);
        // Texture of ±0.02 becomes nearly ±0.04, two radii and more away from the edge.
        let row = p.row(200);
        let swing = row[40..140].iter().fold(0.0f32, |m, v| m.max((v - 0.2).abs()));
        assert!((0.034..0.042).contains(&swing), "{swing}");
        // Beside an edge of 60 L* plain unsharp masking of this gain would shift the flat side by up to 0.3; here it is a seventh of that.
        let halo = row[200..].iter().fold(0.0f32, |m, v| m.max((v - 0.8).abs()));
        assert!(halo < 0.045, "{halo}");
    }

    #[test]
    fn a_flat_plane_stays_flat_at_any_size() {
        for (w, h) in [(1, 1), (3, 1), (1, 7), (33, 65)] {
            let mut p = Light::filled(w, h, 0.37);
            strengthen(&mut p, 2.0, 9.0, 5.0);
            assert!(p.data().iter().all(|v| (v - 0.37).abs() < 1e-6));
        }
    }
}
