//! Local light: what a smooth surface leaves over the piece, such as the edge of a shadow, carried on from the gaps about each place.

use nalgebra::{DMatrix, DVector};

use crate::wedge::spread::robust_size;

/// How far what one gap shows holds for another, mm: patches are 8 to 12 mm apart, with gaps on all sides.
const REACH_MM: f64 = 8.0;
/// Gaps nearer than this differ by their own error only, mm.
const BESIDE_MM: f64 = 3.0;
/// What gaps leave of the surface counts as light from this many of their own errors on.
const CLEAR: f64 = 2.0;
/// Errors of a gap that are never less, natural logarithm.
const LEAST: f64 = 0.003;
/// A gap that its neighbours miss by more of its errors shows something of its own: a speck, a spot of glare.
const STRAY: f64 = 5.0;

/// The natural logarithm of the light over a smooth surface, as the best linear guess from the gaps (kriging; Rasmussen and
/// Williams, Gaussian Processes for Machine Learning, 2006, eq. 2.25, squared exponential covariance).
#[derive(Debug, Clone, PartialEq)]
pub struct LocalLight {
    places: Vec<(f64, f64)>,
    weights: Vec<f64>,
}

fn squared((ax, ay): (f64, f64), (bx, by): (f64, f64)) -> f64 {
    (ax - bx).powi(2) + (ay - by).powi(2)
}

fn alike(a: (f64, f64), b: (f64, f64)) -> f64 {
    (-squared(a, b) / (2.0 * REACH_MM * REACH_MM)).exp()
}

impl LocalLight {
    /// From what a robust smooth surface leaves of gaps at `places` (mm), natural logarithms. None where they leave no more than
    /// they differ from their neighbours by, and where it is a spot of glare, which is no light of the patches.
    pub fn of(places: &[(f64, f64)], rest: &[f64]) -> Option<LocalLight> {
        let n = places.len();
        let near = |i: usize| (0..i).filter(move |&j| squared(places[i], places[j]) < BESIDE_MM * BESIDE_MM);
        let steps: Vec<f64> = (0..n).flat_map(|i| near(i).map(move |j| rest[i] - rest[j])).collect();
        if steps.len() < 10 {
            return None;
        }
        let own = (robust_size(steps.iter().copied()) / 2f64.sqrt()).max(LEAST);
        let all = (rest.iter().map(|r| r * r).sum::<f64>() / n as f64).sqrt();
        if robust_size(rest.iter().copied()).max(0.5 * all) < CLEAR * own {
            return None;
        }
        if glares(rest) {
            return None;
        }
        let size = all.max(CLEAR * own);
        let (places, rest): (Vec<_>, Vec<_>) = {
            let missed = missed(places, rest, size, own)?;
            let kept = |i: &usize| missed[*i].abs() < STRAY;
            (0..n).filter(kept).map(|i| (places[i], rest[i])).unzip()
        };
        let weights = field(&places, size, own).cholesky()?.solve(&DVector::from_vec(rest));
        let weights = weights.iter().map(|w| w * size * size).collect();
        Some(LocalLight { places, weights })
    }

    /// The natural logarithm of the light over the surface at a place, mm.
    pub fn at(&self, place: (f64, f64)) -> f64 {
        self.places.iter().zip(&self.weights).map(|(p, w)| w * alike(*p, place)).sum()
    }
}

/// Whether what is left is a reflection: it only adds light, while the edge of a shadow leaves as much above a smooth surface as
/// below it.
fn glares(rest: &[f64]) -> bool {
    let mut sorted = rest.to_vec();
    sorted.sort_by(f64::total_cmp);
    let part = (sorted.len() / 20).max(1);
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len().max(1) as f64;
    let (low, high) = (mean(&sorted[..part]), mean(&sorted[sorted.len() - part..]));
    high > 2.0 * low.abs()
}

fn field(places: &[(f64, f64)], size: f64, own: f64) -> DMatrix<f64> {
    DMatrix::from_fn(places.len(), places.len(), |i, j| {
        size * size * alike(places[i], places[j]) + if i == j { own * own } else { 0.0 }
    })
}

/// By how many of its standard deviations each gap is missed by the guess from all others (eq. 5.12 there).
fn missed(places: &[(f64, f64)], rest: &[f64], size: f64, own: f64) -> Option<Vec<f64>> {
    let inverse = field(places, size, own).cholesky()?.inverse();
    let solved = &inverse * DVector::from_column_slice(rest);
    Some((0..rest.len()).map(|i| solved[i] / inverse[(i, i)].max(1e-12).sqrt()).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_edge_of_a_shadow_is_followed_and_a_speck_is_not() {
        let places: Vec<(f64, f64)> = (0..240)
            .map(|i| (f64::from(i % 16) * 5.0 + f64::from(i % 2) * 2.5, f64::from(i / 16) * 5.0))
            .collect();
        let edge = |x: f64| -0.2 / (1.0 + (-(x - 40.0) / 5.0).exp());
        let mut rest: Vec<f64> = places.iter().map(|p| edge(p.0)).collect();
        rest[100] += 0.5;
        let local = LocalLight::of(&places, &rest).unwrap();
        for x in [20.0, 36.0, 41.0, 55.0] {
            assert!(
                (local.at((x, 33.0)) - edge(x)).abs() < 0.01,
                "{x}: {} for {}",
                local.at((x, 33.0)),
                edge(x)
            );
        }
        let glare: Vec<f64> = places
            .iter()
            .map(|p| 0.3 * (-((p.0 - 30.0).powi(2) + (p.1 - 30.0).powi(2)) / 200.0).exp())
            .collect();
        assert_eq!(LocalLight::of(&places, &glare), None);
        let noise: Vec<f64> = (0..240).map(|i| 0.01 * (f64::from(i * 37 % 17) / 8.0 - 1.0)).collect();
        assert_eq!(LocalLight::of(&places, &noise), None);
    }
}
