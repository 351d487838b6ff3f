//! Two planes at once through point spreads: forecast and wanted tone as the real and the imaginary part
//! of one transform, since every point spread is real and even.

use std::sync::Arc;

use rustfft::{Fft, FftPlanner, num_complex::Complex32};

use super::{PointSpread, gaussian_line};
use crate::lately::Lately;
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

/// Planes of one size, two at a time, through the point spread of one or two eyes; mirrored at their borders, of which so
/// many dots are left out.
pub struct Eyesight {
    width: usize,
    height: usize,
    border: usize,
    /// Dots added all round: only what is kept needs its surroundings, and the border serves as part of them.
    pad: usize,
    /// Width and height of the transforms.
    size: (usize, usize),
    ahead: [Arc<dyn Fft<f32>>; 2],
    back: [Arc<dyn Fft<f32>>; 2],
    /// Both point spreads are even, so their transforms are real and share one as its real and imaginary part.
    transfer: Arc<Vec<Complex32>>,
}

/// Transfers of the last few eyes on planes of up to [`KEPT`] values: the pieces of a tray are of few sizes.
static LATELY: Lately<Looked, Vec<Complex32>> = Lately::new(2);

/// As many as a likeness is judged by, with some to spare; those of a whole bed are not kept.
const KEPT: usize = 1 << 20;

/// Width and height of a transform, and its eyes.
type Looked = ((usize, usize), [Option<PointSpread>; 2]);

impl Eyesight {
    /// Looks at planes of `width` by `height` dots.
    pub fn new((width, height): (usize, usize), eyes: [Option<&PointSpread>; 2], border: usize) -> Eyesight {
        let reach = eyes.iter().flatten().map(|e| e.radius).max().unwrap_or(0);
        let pad = reach.saturating_sub(border);
        let size @ (fw, fh) = (fast_length(width + 2 * pad), fast_length(height + 2 * pad));
        let mut planner = FftPlanner::new();
        let ahead = [planner.plan_fft_forward(fw), planner.plan_fft_forward(fh)];
        let back = [planner.plan_fft_inverse(fw), planner.plan_fft_inverse(fh)];
        let transfer = || {
            let mut k = vec![Complex32::default(); fw * fh];
            let r = reach as isize;
            let wrap = |d: isize, n: usize| d.rem_euclid(n as isize) as usize;
            for dy in -r..=r {
                for dx in -r..=r {
                    let [re, im] = eyes.map(|eye| eye.map_or(0.0, |e| e.at(dx, dy) as f32));
                    // A plane narrower than the spread folds it.
                    k[wrap(dy, fh) * fw + wrap(dx, fw)] += Complex32::new(re, im);
                }
            }
            transformed(k, size, &ahead)
        };
        let transfer = if fw * fh <= KEPT {
            LATELY.get((size, eyes.map(|eye| eye.cloned())), transfer)
        } else {
            Arc::new(transfer())
        };
        Eyesight { width, height, border, pad, size, ahead, back, transfer }
    }

    /// The transform of two planes as the real and the imaginary part of one.
    fn spectrum(&self, re: &[f32], im: &[f32]) -> Vec<Complex32> {
        let (w, h, pad, fw) = (self.width, self.height, self.pad as isize, self.size.0);
        let mut z = vec![Complex32::default(); fw * self.size.1];
        let column: Vec<usize> = (0..fw).map(|x| mirrored(x as isize - pad, w)).collect();
        parallel::bands(&mut z, fw, 16, |first, band| {
            for (i, row) in band.chunks_exact_mut(fw).enumerate() {
                let y = mirrored((first + i) as isize - pad, h) * w;
                for (o, &x) in row.iter_mut().zip(&column) {
                    *o = Complex32::new(re[y + x], im[y + x]);
                }
            }
        });
        transformed(z, self.size, &self.ahead)
    }

    /// Width and height of what is kept.
    fn kept(&self) -> (usize, usize) {
        (self.width - 2 * self.border, self.height - 2 * self.border)
    }

    /// Both planes as an eye sees them, the first or the second.
    fn seen(&self, spectrum: &[Complex32], second: bool) -> (Vec<f32>, Vec<f32>) {
        let z = self.through(spectrum, second);
        self.rows_kept(&z).flatten().map(|v| (v.re, v.im)).unzip()
    }

    /// The same as one plane of complex numbers, with all that is not kept.
    fn through(&self, spectrum: &[Complex32], second: bool) -> Vec<Complex32> {
        let (fw, fh) = self.size;
        let scale = 1.0 / (fw * fh) as f32;
        let mut s = spectrum.to_vec();
        parallel::bands(&mut s, fh, 16, |first, band| {
            for (v, t) in band.iter_mut().zip(&self.transfer[first * fh..]) {
                *v *= scale * if second { t.im } else { t.re };
            }
        });
        rows(&mut s, fh, &*self.back[1]);
        let mut z = transpose(&s, fh, fw);
        rows(&mut z, fw, &*self.back[0]);
        z
    }

    /// The rows of what is kept.
    fn rows_kept<'a>(&self, z: &'a [Complex32]) -> impl Iterator<Item = &'a [Complex32]> + use<'a> {
        let ((kw, kh), from) = (self.kept(), self.pad + self.border);
        z.chunks_exact(self.size.0).skip(from).take(kh).map(move |row| &row[from..][..kw])
    }

    /// Sums of the squares of two planes as the first eye sees them, over what is kept.
    pub fn squares(&self, one: &[f32], other: &[f32]) -> [f64; 2] {
        let z = self.through(&self.spectrum(one, other), false);
        let square = |v: f32| f64::from(v) * f64::from(v);
        self.rows_kept(&z)
            .flatten()
            .fold([0.0; 2], |[one, other], v| [one + square(v.re), other + square(v.im)])
    }
}

/// The transform of a plane that is `size` wide and high, column by column.
fn transformed(
    mut z: Vec<Complex32>,
    (fw, fh): (usize, usize),
    ahead: &[Arc<dyn Fft<f32>>; 2],
) -> Vec<Complex32> {
    rows(&mut z, fw, &*ahead[0]);
    let mut spectrum = transpose(&z, fw, fh);
    rows(&mut spectrum, fh, &*ahead[1]);
    spectrum
}

/// Mean square of a small plane through a point spread, `border` values left out all round. It is summed place by place: dots
/// are settled by it, and the last bits of a transform hang on the processor.
pub fn mean_square(plane: &[f32], (w, h): (usize, usize), spread: &PointSpread, border: usize) -> f64 {
    let r = spread.radius as isize;
    let columns: Vec<usize> =
        (border as isize - r..(w - border) as isize + r).map(|x| mirrored(x, w)).collect();
    let (kw, mut sum) = (w - 2 * border, 0.0f64);
    let mut wide = vec![0.0f32; columns.len()];
    for y in border..h - border {
        let mut seen = vec![0.0f32; kw];
        for dy in -r..=r {
            let row = mirrored(y as isize + dy, h) * w;
            wide.iter_mut().zip(&columns).for_each(|(v, &x)| *v = plane[row + x]);
            for dx in -r..=r {
                let weight = spread.at(dx, dy) as f32;
                seen.iter_mut().zip(&wide[(dx + r) as usize..]).for_each(|(s, v)| *s += weight * v);
            }
        }
        sum += seen.iter().map(|&v| f64::from(v) * f64::from(v)).sum::<f64>();
    }
    sum / (kw * (h - 2 * border)).max(1) as f64
}

/// Blurs both planes by each point spread.
pub fn through(
    mark: &[f32],
    wanted: &[f32],
    w: usize,
    h: usize,
    eyes: [&PointSpread; 2],
    border: usize,
) -> [Pair; 2] {
    let eyes = Eyesight::new((w, h), eyes.map(Some), border);
    let spectrum = eyes.spectrum(mark, wanted);
    let (width, height) = eyes.kept();
    [false, true].map(|second| {
        let (mark, wanted) = eyes.seen(&spectrum, second);
        Pair { width, height, mark, wanted }
    })
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
