//! Planes through point spreads, each as a sum of a few that go down and along one after the other: of the eye's 625 places
//! some 130 products are left. Only sums and products in one order, so every machine sees the same.

use std::sync::Arc;

use nalgebra::DMatrix;

use super::{PointSpread, gaussian_line};
use crate::lately::Lately;
use crate::parallel;
use crate::vector;

/// What may be missing of a point spread of sum 1, as a sum of absolute values: a full dot in the wrong place would show
/// through it 100 dB below a full mark.
const MISSING: f64 = 1e-5;
/// Rows a band.
const ROWS: usize = 16;

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

/// A point spread that is even both ways as a sum of products of a line down and a line along.
#[derive(Debug, Clone, PartialEq)]
pub struct Separable {
    /// Dots on either side.
    radius: usize,
    /// Weights down and along of each product, by the distance from the middle; of the middle half, which is met twice.
    products: Vec<[Vec<f32>; 2]>,
}

impl Separable {
    /// The least number of products that leave out no more than [`MISSING`]: the greatest singular values of the spread (C.
    /// Eckart and G. Young, Psychometrika 1, 1936).
    pub fn of(spread: &PointSpread) -> Arc<Separable> {
        static LATELY: Lately<PointSpread, Separable> = Lately::new(4);
        LATELY.get(spread.clone(), || Separable::found(spread))
    }

    fn found(spread: &PointSpread) -> Separable {
        let side = spread.radius + 1;
        let quarter = DMatrix::from_fn(side, side, |y, x| spread.at(x as isize, y as isize));
        let times = |i: usize| if i == 0 { 1.0 } else { 2.0 };
        let mut rest = quarter.clone();
        let mut products = Vec::new();
        let svd = quarter.svd(true, true);
        let (Some(down), Some(along)) = (&svd.u, &svd.v_t) else {
            return Separable { radius: spread.radius, products };
        };
        for (k, &size) in svd.singular_values.iter().enumerate() {
            let size = size.sqrt();
            let (down, along): (Vec<f64>, Vec<f64>) =
                (0..side).map(|i| (size * down[(i, k)], size * along[(k, i)])).unzip();
            let mut missing = 0.0;
            for y in 0..side {
                for x in 0..side {
                    rest[(y, x)] -= down[y] * along[x];
                    missing += times(x) * times(y) * rest[(y, x)].abs();
                }
            }
            products.push([&down, &along].map(|line| halved(line)));
            if missing <= MISSING {
                break;
            }
        }
        Separable { radius: spread.radius, products }
    }

    /// A Gaussian of `sigma` dots, cut at four sigma.
    pub fn gaussian(sigma: f64) -> Separable {
        let radius = (4.0 * sigma + 0.5) as usize;
        let line = halved(&gaussian_line(sigma, radius)[radius..]);
        Separable { radius, products: vec![[line.clone(), line]] }
    }

    /// Sum of the squares of a plane of `width` by `height` values as it is seen so, mirrored at its borders, of which `border`
    /// values are left out all round.
    pub fn squares(&self, plane: &[f32], (width, height): (usize, usize), border: usize) -> f64 {
        let (kept, rows) = (width - 2 * border, height - 2 * border);
        let sums = parallel::map(rows.div_ceil(ROWS), |i| {
            let first = i * ROWS;
            let mut band = vec![0.0f32; kept * ROWS.min(rows - first)];
            vector::widest(Rows {
                spread: self,
                plane,
                size: (width, height),
                border,
                first,
                band: &mut band,
            });
            band.iter().map(|&v| f64::from(v) * f64::from(v)).sum::<f64>()
        });
        sums.iter().sum()
    }

    /// The same plane as it is seen.
    fn seen(&self, plane: &[f32], size @ (width, height): (usize, usize), border: usize) -> Vec<f32> {
        let kept = width - 2 * border;
        let mut out = vec![0.0f32; kept * (height - 2 * border)];
        parallel::bands(&mut out, kept, ROWS, |first, band| {
            vector::widest(Rows { spread: self, plane, size, border, first, band });
        });
        out
    }

    /// Forecast and wanted tone as they are seen.
    pub fn pair(&self, mark: &[f32], wanted: &[f32], size: (usize, usize), border: usize) -> Pair {
        let (width, height) = (size.0 - 2 * border, size.1 - 2 * border);
        Pair { width, height, mark: self.seen(mark, size, border), wanted: self.seen(wanted, size, border) }
    }
}

/// A line from its middle on, the middle halved.
fn halved(line: &[f64]) -> Vec<f32> {
    line.iter().enumerate().map(|(i, &v)| if i == 0 { 0.5 * v as f32 } else { v as f32 }).collect()
}

/// A band of rows that are kept, the first of them `first`.
struct Rows<'a> {
    spread: &'a Separable,
    plane: &'a [f32],
    size: (usize, usize),
    border: usize,
    first: usize,
    band: &'a mut [f32],
}

impl vector::Work for Rows<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Rows { spread, plane, size: (width, height), border, first, band } = self;
        let (radius, kept) = (spread.radius, width - 2 * border);
        if kept == 0 {
            return;
        }
        let row = |y: isize| &plane[mirrored(y, height) * width..][..width];
        let columns: Vec<usize> = (0..kept + 2 * radius)
            .map(|x| mirrored((x + border) as isize - radius as isize, width))
            .collect();
        let inside = border >= radius;
        let mut tall = vec![0.0f32; width];
        let mut wide = vec![0.0f32; columns.len()];
        for (y, out) in (first + border..).zip(band.chunks_exact_mut(kept)) {
            let y = y as isize;
            let beside: Vec<_> = (0..=radius as isize).map(|d| (row(y - d), row(y + d))).collect();
            for [down, along] in &spread.products {
                tall.fill(0.0);
                add_up(&mut tall, &beside, down);
                let near = if inside {
                    &tall[border - radius..][..columns.len()]
                } else {
                    wide.iter_mut().zip(&columns).for_each(|(w, &x)| *w = tall[x]);
                    &wide
                };
                let beside: Vec<_> =
                    (0..=radius).map(|d| (&near[radius - d..], &near[radius + d..])).collect();
                add_up(out, &beside, along);
            }
        }
    }
}

/// Adds to each value what lies beside it: two lines for each weight, both as long as `to` at least. One line at a time: of
/// eights side by side the compiler makes shuffles that take longer than the sums.
#[inline(always)]
fn add_up(to: &mut [f32], beside: &[(&[f32], &[f32])], weights: &[f32]) {
    let n = to.len();
    for ((a, b), &weight) in beside.iter().zip(weights) {
        let both = a[..n].iter().zip(&b[..n]);
        to.iter_mut().zip(both).for_each(|(to, (a, b))| *to += weight * (a + b));
    }
}

/// Mean square of a small plane through a point spread, `border` values left out all round. It is summed place by place: dots
/// are settled by it.
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

#[cfg(test)]
mod tests {
    use super::super::Eye;
    use super::*;

    fn plane(w: usize, h: usize) -> Vec<f32> {
        (0..w * h).map(|i| ((i * 7919 + i / w * 31) % 101) as f32 / 50.0 - 1.0).collect()
    }

    #[test]
    fn a_few_products_are_the_spread_they_stand_for() {
        for (eye, radius, most) in [(Eye::KimAllebach, 12, 6), (Eye::Nasanen, 24, 10)] {
            for pitch in [0.04, 0.0875, 0.2] {
                let spread = PointSpread::of_eye(eye, pitch, pitch, 300.0, radius);
                let few = Separable::of(&spread);
                assert!(few.products.len() <= most, "{eye:?} {pitch}: {}", few.products.len());
                let of = |line: &[f32], i: usize| f64::from(line[i]) * if i == 0 { 2.0 } else { 1.0 };
                let mut missing = 0.0;
                for y in -(radius as isize)..=radius as isize {
                    for x in -(radius as isize)..=radius as isize {
                        let (i, j) = (y.unsigned_abs(), x.unsigned_abs());
                        let sum: f64 = few.products.iter().map(|[d, a]| of(d, i) * of(a, j)).sum();
                        missing += (sum - spread.at(x, y)).abs();
                    }
                }
                // The weights are rounded to f32.
                assert!(missing < 2.0 * MISSING, "{eye:?} {pitch}: {missing}");
            }
        }
    }

    #[test]
    fn a_plane_is_seen_as_place_by_place_whatever_its_size() {
        // Narrower than the spread, no wider than its border, wider.
        for (w, h, border) in [(5, 3, 0), (40, 9, 0), (70, 61, 16), (83, 47, 2)] {
            let plane = plane(w, h);
            let spread = PointSpread::of_eye(Eye::KimAllebach, 0.0875, 0.0875, 300.0, 12);
            let sum = Separable::of(&spread).squares(&plane, (w, h), border);
            let want =
                mean_square(&plane, (w, h), &spread, border) * ((w - 2 * border) * (h - 2 * border)) as f64;
            assert!((sum / want - 1.0).abs() < 1e-4, "{w} x {h}: {sum} {want}");
        }
    }

    #[test]
    fn threads_do_not_change_a_byte() {
        let plane = plane(300, 200);
        let spread = PointSpread::of_eye(Eye::KimAllebach, 0.0875, 0.0875, 300.0, 12);
        let of = |threads| {
            parallel::with_threads(threads, || {
                let few = Separable::of(&spread);
                (few.seen(&plane, (300, 200), 16), few.squares(&plane, (300, 200), 16))
            })
        };
        let one = of(1);
        assert!([2, 3, 7].iter().all(|&threads| of(threads) == one));
    }
}
