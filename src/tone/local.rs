//! Local contrast by a guided filter: no halos, as its smooth part keeps hard edges.
//!
//! K. He, J. Sun, X. Tang, "Guided image filtering", IEEE Trans. PAMI 35 (2013), self-guided; computed on a
//! reduced plane as in K. He, J. Sun, "Fast guided filter", arXiv:1505.00996 (2015), so that the cost
//! hardly depends on the radius, and row after row, so that next to no memory is taken.

use std::collections::VecDeque;

use super::box_filter::{self, Down};
use crate::parallel;
use crate::plane::Light;

/// Variance of lightness (L*/100)² above which a place counts as an edge and keeps its tone: (6 L*)².
const EDGE: f32 = 0.0036;
/// Rows a band.
const ROWS: usize = 16;

/// Rows of the reduced plane that are worked on at once.
const ABREAST: usize = 64;

/// Makes detail within a radius of `rx` columns and `ry` rows `1 + amount` times as strong. Results are held to 0..1.
pub(super) fn strengthen(plane: &mut Light, amount: f32, rx: f64, ry: f64) {
    beside_smooth(plane, (rx, ry), EDGE, |v, smooth| smooth + (1.0 + amount) * (v - smooth));
}

/// Puts a function of each value and the smooth tone around it in its place, held to 0..1. `edge` is the variance
/// above which a place counts as an edge.
///
/// Rows are read some way ahead of those that are put in their place, so that no plane is kept beside it: a small radius
/// is not reduced at all.
pub(super) fn beside_smooth(
    plane: &mut Light,
    (rx, ry): (f64, f64),
    edge: f32,
    of: impl Fn(f32, f32) -> f32 + Sync,
) {
    let (w, h) = (plane.width(), plane.height());
    if w == 0 || h == 0 {
        return;
    }
    // Four steps of the reduced plane a radius: what He and Sun found to be indistinguishable.
    let step = |r: f64, n: usize| ((r / 4.0) as usize).clamp(1, n);
    let (bx, by) = (step(rx, w), step(ry, h));
    let radius = |r: f64, b: usize| ((r / b as f64).round() as usize).max(1);
    let (sx, sy) = (radius(rx, bx), radius(ry, by));
    let count = h.div_ceil(by);
    let pair = || [Down::new(count, sy), Down::new(count, sy)];
    let (mut moments, mut coefficients) = (pair(), pair());
    // Rows of coefficients from `first` on, and how many rows of the plane are done.
    let (mut known, mut first, mut done) = (VecDeque::<[Vec<f32>; 2]>::new(), 0, 0);
    for from in (0..count).step_by(ABREAST) {
        let rows = along_both(ABREAST.min(count - from), sx, |i| reduced(plane, (bx, by), from + i));
        let rows = down_both(&mut moments, rows);
        let rows = along_both(rows.len(), sx, |i| fitted(&rows[i], edge));
        known.extend(down_both(&mut coefficients, rows));
        // A row lies between two rows of coefficients.
        let end = first + known.len();
        let ready = (done..h).find(|&y| between(y, by, count).1 >= end).unwrap_or(h);
        let a_row = |y: usize| &known[y - first];
        parallel::bands(&mut plane.data_mut()[done * w..ready * w], w, ROWS, |top, band| {
            let (mut a, mut b) = (Vec::new(), Vec::new());
            for (dy, row) in band.chunks_mut(w).enumerate() {
                let (y0, y1, t) = between(done + top + dy, by, count);
                let ([a0, b0], [a1, b1]) = (a_row(y0), a_row(y1));
                mix(a0, a1, t, &mut a);
                mix(b0, b1, t, &mut b);
                for (x, v) in row.iter_mut().enumerate() {
                    let (x0, x1, t) = between(x, bx, a.len());
                    let gain = a[x0] + (a[x1] - a[x0]) * t;
                    let offset = b[x0] + (b[x1] - b[x0]) * t;
                    let smooth = gain * *v + offset;
                    *v = of(*v, smooth).clamp(0.0, 1.0);
                }
            }
        });
        done = ready;
        if done < h {
            let needed = between(done, by, count).0;
            known.drain(..needed - first);
            first = needed;
        }
    }
}

/// Means of the values and of their squares over the blocks of `bx` x `by` of a row of blocks.
fn reduced(plane: &Light, (bx, by): (usize, usize), y: usize) -> [Vec<f32>; 2] {
    let w = plane.width().div_ceil(bx);
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
    [sum, square]
}

/// Gain and offset of the straight line through the values of each window, from their mean and mean square.
fn fitted([mean, square]: &[Vec<f32>; 2], edge: f32) -> [Vec<f32>; 2] {
    let gain = |(m, s): (&f32, &f32)| {
        let variance = (s - m * m).max(0.0);
        variance / (variance + edge)
    };
    let a: Vec<f32> = mean.iter().zip(square).map(gain).collect();
    let b = mean.iter().zip(&a).map(|(m, a)| m * (1.0 - a)).collect();
    [a, b]
}

/// `count` pairs of rows, and their means along them.
fn along_both(count: usize, radius: usize, of: impl Fn(usize) -> [Vec<f32>; 2] + Sync) -> Vec<[Vec<f32>; 2]> {
    let few = box_filter::ABREAST;
    let rows = parallel::map(count.div_ceil(few), |i| {
        let mut rows: Vec<_> = (i * few..((i + 1) * few).min(count)).map(&of).collect();
        let mut all: Vec<_> = rows.iter_mut().flatten().map(Vec::as_mut_slice).collect();
        box_filter::along(&mut all, radius);
        rows
    });
    rows.into_iter().flatten().collect()
}

/// The pairs of rows that are known of the means down the columns, once `rows` are taken in.
fn down_both([first, second]: &mut [Down; 2], rows: Vec<[Vec<f32>; 2]>) -> Vec<[Vec<f32>; 2]> {
    let (firsts, seconds): (Vec<_>, Vec<_>) = rows.into_iter().map(|[a, b]| (a, b)).unzip();
    let means = |down: &mut Down, rows: Vec<Vec<f32>>| {
        let mut known = Vec::with_capacity(rows.len());
        rows.into_iter().for_each(|row| down.take(row, &mut |mean| known.push(mean)));
        known
    };
    let (firsts, seconds) = parallel::both(|| means(first, firsts), || means(second, seconds));
    firsts.into_iter().zip(seconds).map(|(a, b)| [a, b]).collect()
}

/// The blocks whose centres lie beside place `i`, and how far from the first to the second.
fn between(i: usize, block: usize, n: usize) -> (usize, usize, f32) {
    let at = ((i as f32 + 0.5) / block as f32 - 0.5).clamp(0.0, (n - 1) as f32);
    let low = at as usize;
    (low, (low + 1).min(n - 1), at - low as f32)
}

fn mix(one: &[f32], next: &[f32], t: f32, out: &mut Vec<f32>) {
    out.clear();
    out.extend(one.iter().zip(next).map(|(a, b)| a + (b - a) * t));
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

    #[test]
    fn row_after_row_it_is_what_whole_planes_give() {
        let value = |i: usize| ((i * 7919 % 1013) as f32 / 1013.0).powi(2);
        for (w, h, rx, ry) in
            [(1, 1, 3.0, 3.0), (70, 300, 4.0, 4.0), (90, 201, 40.0, 9.0), (41, 65, 2.0, 70.0)]
        {
            let mut plane = Light::from_vec(w, h, (0..w * h).map(value).collect());
            let step = |r: f64, n: usize| ((r / 4.0) as usize).clamp(1, n);
            let (bx, by) = (step(rx, w), step(ry, h));
            let (sx, sy) = (((rx / bx as f64).round()) as usize, ((ry / by as f64).round()) as usize);
            let (columns, rows) = (w.div_ceil(bx), h.div_ceil(by));
            let whole = |of: &dyn Fn(usize) -> [Vec<f32>; 2]| {
                let rows: Vec<[Vec<f32>; 2]> = (0..rows).map(of).collect();
                [0, 1].map(|k| {
                    let mut all: Vec<f32> = rows.iter().flat_map(|pair| pair[k].clone()).collect();
                    box_filter::means(&mut all, columns, sx, sy);
                    all
                })
            };
            let [mean, square] = whole(&|y| reduced(&plane, (bx, by), y));
            let row = |all: &[f32], y: usize| all[y * columns..][..columns].to_vec();
            let [a, b] = whole(&|y| fitted(&[row(&mean, y), row(&square, y)], 0.01));
            let expected: Vec<f32> = (0..w * h)
                .map(|i| {
                    let ((x0, x1, tx), (y0, y1, ty)) =
                        (between(i % w, bx, columns), between(i / w, by, rows));
                    let at = |p: &[f32]| {
                        let down =
                            |x: usize| p[y0 * columns + x] + (p[y1 * columns + x] - p[y0 * columns + x]) * ty;
                        down(x0) + (down(x1) - down(x0)) * tx
                    };
                    let v = value(i);
                    (2.0 * v - (at(&a) * v + at(&b))).clamp(0.0, 1.0)
                })
                .collect();
            beside_smooth(&mut plane, (rx, ry), 0.01, |v, smooth| 2.0 * v - smooth);
            assert_eq!(plane.data(), expected, "{w} {h} {rx} {ry}");
        }
    }
}
