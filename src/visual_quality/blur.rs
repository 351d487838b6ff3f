//! Two planes at once through point spreads: forecast and wanted tone as the real and the imaginary part
//! of one transform, since every point spread is real and even.

use rustfft::{Fft, FftPlanner, num_complex::Complex32};

use super::{PointSpread, gaussian_line};
use crate::parallel;

/// Forecast and wanted tone after the same blur, their border left out.
pub struct Pair {
    pub width: usize,
    pub height: usize,
    pub mark: Vec<f32>,
    pub wanted: Vec<f32>,
}

/// The index into `n` values of position `i`, mirrored about the first and the last value as often as needed.
fn mirrored(i: isize, n: usize) -> usize {
    if n < 2 {
        return 0;
    }
    let period = 2 * (n as isize - 1);
    let i = i.rem_euclid(period);
    i.min(period - i) as usize
}

/// The least length at least `n` whose prime factors are 2, 3 and 5: transforms of it are fast.
fn fast_length(n: usize) -> usize {
    let smooth = |mut v: usize| {
        for p in [2, 3, 5] {
            while v.is_multiple_of(p) {
                v /= p;
            }
        }
        v == 1
    };
    (n.max(1)..).find(|&v| smooth(v)).unwrap_or(n)
}

fn rows(plane: &mut [Complex32], len: usize, fft: &dyn Fft<f32>) {
    parallel::bands(plane, len, 16, |_, band| {
        let mut scratch = vec![Complex32::default(); fft.get_inplace_scratch_len()];
        fft.process_with_scratch(band, &mut scratch);
    });
}

/// `to[x][y] = from[y][x]`; `from` has rows of `width` values, and blocks of 16 rows stay in the cache.
fn transpose(from: &[Complex32], width: usize, height: usize) -> Vec<Complex32> {
    let mut to = vec![Complex32::default(); from.len()];
    parallel::bands(&mut to, height, 16, |first, band| {
        for y0 in (0..height).step_by(16) {
            for (x, out) in band.chunks_exact_mut(height).enumerate() {
                for (y, o) in out[y0..(y0 + 16).min(height)].iter_mut().enumerate() {
                    *o = from[(y0 + y) * width + first + x];
                }
            }
        }
    });
    to
}

/// Blurs both planes by each point spread.
pub fn through(
    mark: &[f32],
    wanted: &[f32],
    w: usize,
    h: usize,
    eyes: &[PointSpread; 2],
    border: usize,
) -> [Pair; 2] {
    let reach = eyes[0].radius.max(eyes[1].radius);
    // Only what is kept needs its surroundings: the border serves as part of them.
    let pad = reach.saturating_sub(border);
    let (fw, fh) = (fast_length(w + 2 * pad), fast_length(h + 2 * pad));
    let mut planner = FftPlanner::new();
    let ahead = (planner.plan_fft_forward(fw), planner.plan_fft_forward(fh));
    let back = (planner.plan_fft_inverse(fw), planner.plan_fft_inverse(fh));

    let mut z = vec![Complex32::default(); fw * fh];
    let column: Vec<usize> = (0..fw).map(|x| mirrored(x as isize - pad as isize, w)).collect();
    parallel::bands(&mut z, fw, 16, |first, band| {
        for (i, row) in band.chunks_exact_mut(fw).enumerate() {
            let y = mirrored((first + i) as isize - pad as isize, h) * w;
            for (o, &x) in row.iter_mut().zip(&column) {
                *o = Complex32::new(mark[y + x], wanted[y + x]);
            }
        }
    });
    rows(&mut z, fw, &*ahead.0);
    let mut spectrum = transpose(&z, fw, fh);
    rows(&mut spectrum, fh, &*ahead.1);

    // Both point spreads are even, so their transforms are real and share one transform as well.
    let mut k = vec![Complex32::default(); fw * fh];
    let r = reach as isize;
    let wrap = |d: isize, n: usize| d.rem_euclid(n as isize) as usize;
    for dy in -r..=r {
        for dx in -r..=r {
            let v = Complex32::new(eyes[0].at(dx, dy) as f32, eyes[1].at(dx, dy) as f32);
            // A plane narrower than the spread folds it.
            k[wrap(dy, fh) * fw + wrap(dx, fw)] += v;
        }
    }
    rows(&mut k, fw, &*ahead.0);
    let mut transfer = transpose(&k, fw, fh);
    rows(&mut transfer, fh, &*ahead.1);

    let scale = 1.0 / (fw * fh) as f32;
    let (kw, kh) = (w - 2 * border, h - 2 * border);
    let seen = |second: bool| {
        let mut s = spectrum.clone();
        parallel::bands(&mut s, fh, 16, |first, band| {
            for (v, t) in band.iter_mut().zip(&transfer[first * fh..]) {
                *v *= scale * if second { t.im } else { t.re };
            }
        });
        rows(&mut s, fh, &*back.1);
        let mut z = transpose(&s, fh, fw);
        rows(&mut z, fw, &*back.0);
        let kept = z.chunks_exact(fw).skip(pad + border).take(kh).flat_map(|r| &r[pad + border..][..kw]);
        let (mark, wanted) = kept.map(|v| (v.re, v.im)).unzip();
        Pair { width: kw, height: kh, mark, wanted }
    };
    [seen(false), seen(true)]
}

/// Blurs both planes by a Gaussian of `sigma` dots, cut at four sigma, planes mirrored at their borders.
pub fn gaussian(mark: &[f32], wanted: &[f32], w: usize, h: usize, sigma: f64, border: usize) -> Pair {
    let radius = (4.0 * sigma + 0.5) as usize;
    let line: Vec<f32> = gaussian_line(sigma, radius).into_iter().map(|v| v as f32).collect();
    let (kw, kh) = (w - 2 * border, h - 2 * border);
    let column: Vec<usize> =
        (0..kw + 2 * radius).map(|x| mirrored((x + border) as isize - radius as isize, w)).collect();
    let one = |plane: &[f32]| {
        let mut out = vec![0.0f32; kw * kh];
        parallel::bands(&mut out, kw, 16, |first, band| {
            let mut tall = vec![0.0f32; w];
            for (i, row) in band.chunks_exact_mut(kw).enumerate() {
                tall.fill(0.0);
                for (j, &t) in line.iter().enumerate() {
                    let y = mirrored((first + i + border + j) as isize - radius as isize, h) * w;
                    tall.iter_mut().zip(&plane[y..y + w]).for_each(|(a, v)| *a += t * v);
                }
                let wide: Vec<f32> = column.iter().map(|&x| tall[x]).collect();
                for (j, &t) in line.iter().enumerate() {
                    row.iter_mut().zip(&wide[j..]).for_each(|(a, v)| *a += t * v);
                }
            }
        });
        out
    };
    Pair { width: kw, height: kh, mark: one(mark), wanted: one(wanted) }
}
