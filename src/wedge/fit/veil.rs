//! Veil: light that lies over the piece and was never on it, told by patches of known exposure.
//!
//! A reflection adds `V` to the light of every place, a lamp multiplies it. Gaps alone do not tell the two apart: beside a gap
//! of the light `G`, a patch of luminance `y` on a coating of luminance `y0` shows `(1 − v) y/y0 + v` of `G`, with `v = V/G` the
//! veil's share of the gap's light. Under a light that is taken for a lamp's, light patches come out too dark by `v`, wherever
//! they lie; exposures say how light each should be.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

use super::model::Point;
use crate::colour::{lstar, luminance};
use crate::wedge::spread::square;

/// How far a veil reaches before it is another, as a share of the piece's longer side (own judgement: a lamp's reflection on
/// dark glass is a fifth to a half of a coaster wide).
const REACH: f64 = 0.3;
/// Shapes that a veil is made of.
const SHAPES: usize = 12;
/// Times the light's bumps that stand for one standard deviation of a veil: a veil of a tenth may be the whole of a bump.
const BUMP: f64 = 10.0;
/// Veils that are tried, as shares of the gaps' light at one standard deviation.
const SIZES: std::ops::RangeInclusive<i32> = -18..=0;
/// How much likelier a veil must make the patches than none, natural logarithm (a factor of 150).
const SURE: f64 = 5.0;

/// The shapes of a veil over `places` (mm): the principal components of a smooth random field of standard deviation one, a row for
/// each place (Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006: squared exponential covariance); and, last,
/// the `bumps` of the light there, for what lies locally over smooth light may be a reflection.
pub fn shapes(places: &[(f64, f64)], bumps: &[f64], side: f64) -> Vec<Vec<f64>> {
    let n = places.len();
    let reach = REACH * side;
    let alike = |a: (f64, f64), b: (f64, f64)| {
        libm::exp(-(square(a.0 - b.0) + square(a.1 - b.1)) / (2.0 * reach * reach))
    };
    let field = DMatrix::from_fn(n, n, |i, j| alike(places[i], places[j]));
    let SymmetricEigen { eigenvectors, eigenvalues } = field.symmetric_eigen();
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|a, b| eigenvalues[*b].total_cmp(&eigenvalues[*a]));
    order.truncate(SHAPES);
    let value = |i: usize, k: usize| eigenvectors[(i, k)] * eigenvalues[k].max(0.0).sqrt();
    let bump = |i: usize| bumps.get(i).map_or(0.0, |b| BUMP * b);
    (0..n).map(|i| order.iter().map(|&k| value(i, k)).chain([bump(i)]).collect()).collect()
}

/// A veil that was found: how much there is of each of its shapes, and the ways in which that may be off.
#[derive(Debug, Clone, PartialEq)]
pub struct Veil {
    /// Size of each shape.
    pub sizes: Vec<f64>,
    /// Sizes of the shapes at one standard deviation, a row for each way.
    pub ways: Vec<Vec<f64>>,
}

impl Veil {
    /// The veil over places whose shapes are these: share of the gaps' light, and its ways there.
    pub fn over(&self, shapes: &[f64]) -> (f64, Vec<f64>) {
        let dot = |v: &[f64]| v.iter().zip(shapes).map(|(a, b)| a * b).sum::<f64>();
        (dot(&self.sizes), self.ways.iter().map(|w| dot(w)).collect())
    }
}

/// How much a point's L* grows for a veil of all of the gap's light that is taken off it.
pub fn slope(lightness: f64, y_unmarked: f64) -> f64 {
    let y = luminance(lightness);
    let step = 1e-3 * y.max(1e-4);
    (lstar(y + step) - lstar(y - step)) / (2.0 * step) * (y - y_unmarked)
}

/// Looks for a veil in what a fitted `curve` (L*) leaves of the points. `errors` are theirs in force, `slopes` those of the
/// curve by each fitted parameter, a column each: what the parameters could have taken up is left out on both sides
/// (restricted maximum likelihood, Patterson and Thompson 1971). Only points that `count` are looked at: fine patterns lie
/// together on the sheet, and what a camera does to them would pass for a veil there. None where the patches do not ask for one.
pub fn veil(
    points: &[Point],
    errors: &[f64],
    curve: &[f64],
    slopes: &DMatrix<f64>,
    y_unmarked: f64,
    shapes: &[Vec<f64>],
    count: &dyn Fn(&Point) -> bool,
) -> Option<Veil> {
    let used: Vec<usize> = (0..points.len()).filter(|&i| points[i].sheet == 0 && count(&points[i])).collect();
    let (n, k) = (used.len(), shapes.first().map_or(0, Vec::len));
    let told: Vec<usize> =
        (0..slopes.ncols()).filter(|&j| used.iter().any(|&i| slopes[(i, j)].abs() > 1e-6)).collect();
    if n < told.len() + 10 || n < k || k == 0 {
        return None;
    }
    let rest = DVector::from_fn(n, |r, _| (curve[used[r]] - points[used[r]].lightness) / errors[used[r]]);
    let shown = DMatrix::from_fn(n, k, |r, j| {
        let i = used[r];
        let of = |s: &f64| s * slope(points[i].lightness, y_unmarked) / errors[i];
        shapes.get(i).and_then(|s| s.get(j)).map_or(0.0, of)
    });
    let taken = DMatrix::from_fn(n, told.len(), |r, c| slopes[(used[r], told[c])] / errors[used[r]]).qr().q();
    let rest = &rest - &taken * (taken.transpose() * &rest);
    let shown = &shown - &taken * (taken.transpose() * &shown);
    let svd = shown.svd(true, true);
    let (u, v_t) = (svd.u?, svd.v_t?);
    let along: Vec<f64> = (0..k).map(|i| u.column(i).dot(&rest)).collect();
    let power: Vec<f64> = svd.singular_values.iter().map(|s| s * s).collect();
    let left = (rest.norm_squared() - along.iter().map(|q| q * q).sum::<f64>()).max(0.0);
    let freedom = (n - told.len()).saturating_sub(k).max(1) as f64;
    let likelihood = |noise: f64, size: f64| {
        let of = |(q, p): (&f64, &f64)| {
            let spread = noise + size * p;
            libm::log(spread) + q * q / spread
        };
        -0.5 * (along.iter().zip(&power).map(of).sum::<f64>() + freedom * libm::log(noise) + left / noise)
    };
    // Squares: of the points' noise in units of their errors, and of the veil's size.
    let noises: Vec<f64> = (-16..=8).map(|i| libm::pow(2.0, 0.25 * f64::from(i))).collect();
    let best_of =
        |size: f64| noises.iter().map(|&q| (likelihood(q, size), q)).max_by(|a, b| a.0.total_cmp(&b.0));
    let none = best_of(0.0)?.0;
    let (sure, noise, size) = SIZES
        .filter_map(|i| {
            let size = square(0.5 * libm::pow(2.0, 0.5 * f64::from(i)));
            best_of(size).map(|(l, q)| (l, q, size))
        })
        .max_by(|a, b| a.0.total_cmp(&b.0))?;
    if sure < none + SURE {
        return None;
    }
    let back = |weights: &dyn Fn(usize) -> f64| -> Vec<f64> {
        (0..k).map(|j| (0..k).map(|i| v_t[(i, j)] * weights(i)).sum()).collect()
    };
    let sizes = back(&|i| size * power[i].sqrt() * along[i] / (noise + size * power[i]));
    let ways = (0..k).map(|w| {
        let spread = (size * noise / (noise + size * power[w])).sqrt();
        back(&|i| if i == w { spread } else { 0.0 })
    });
    Some(Veil { sizes, ways: ways.collect() })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Patches on a grid of 8 by 7, dark and light by turns, seen through a veil whose share of the gap's light is `veil`.
    fn seen(veil: impl Fn(f64, f64) -> f64) -> (Vec<(f64, f64)>, Vec<f64>, Vec<Point>) {
        let places: Vec<(f64, f64)> =
            (0..56).map(|i| (10.0 + 10.0 * f64::from(i % 8), 15.0 + 10.0 * f64::from(i / 8))).collect();
        let look = |i: usize| [0.05, 0.2, 0.4, 0.6, 0.65][i * 7 % 5];
        let noise = |i: usize| 0.1 * ((i * 37 % 17) as f64 / 8.0 - 1.0);
        let curve: Vec<f64> = (0..56).map(|i| lstar(look(i))).collect();
        let points = places.iter().enumerate().map(|(i, p)| {
            let y = look(i) - veil(p.0, p.1) * (look(i) - 0.03);
            Point {
                dose: 1.0,
                speed: 10.0,
                lightness: lstar(y) + noise(i),
                error: 0.1,
                fill: 0,
                sheet: 0,
                place: [0.0, 0.0],
                passes: 1.0,
                charred: false,
            }
        });
        let points = points.collect();
        (places, curve, points)
    }

    #[test]
    fn a_veil_over_one_corner_is_found_and_none_is_not() {
        let blob = |x: f64, y: f64| 0.12 * (-((x - 20.0).powi(2) + (y - 20.0).powi(2)) / 1800.0).exp();
        let (places, curve, points) = seen(blob);
        let shapes = shapes(&places, &[], 100.0);
        let level = DMatrix::from_element(56, 1, 1.0);
        let errors = [0.1; 56];
        let every = |_: &Point| true;
        let found = veil(&points, &errors, &curve, &level, 0.03, &shapes, &every).unwrap();
        let over: Vec<f64> = shapes.iter().map(|s| found.over(s).0).collect();
        let least = over.iter().copied().fold(f64::INFINITY, f64::min);
        for (p, v) in places.iter().zip(&over) {
            // To a sixth of the veil in one step; a second step on corrected patches takes off what is left.
            assert!((v - least - blob(p.0, p.1)).abs() < 0.02, "{p:?}: {} for {}", v - least, blob(p.0, p.1));
        }
        let (_, curve, points) = seen(|_, _| 0.0);
        assert_eq!(veil(&points, &errors, &curve, &level, 0.03, &shapes, &every), None);
    }
}
