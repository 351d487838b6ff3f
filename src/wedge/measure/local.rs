//! Local light: what a smooth surface leaves over the piece, such as the edge of a shadow, carried on from the gaps about each place.

use nalgebra::{DMatrix, DVector};

use crate::wedge::spread::robust_size;

/// How far what one gap shows holds for another, mm: patches are 8 to 12 mm apart, with gaps on all sides.
const REACH_MM: f64 = 8.0;
/// Gaps nearer than this differ by little but their own error, mm; those up to the second by the light between them as well.
const BESIDE_MM: f64 = 3.0;
const FURTHER_MM: f64 = 7.0;
/// What gaps leave of the surface counts as light from this many of their own errors on.
const CLEAR: f64 = 1.3;
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
    (ax - bx) * (ax - bx) + (ay - by) * (ay - by)
}

fn alike(a: (f64, f64), b: (f64, f64)) -> f64 {
    libm::exp(-squared(a, b) / (2.0 * REACH_MM * REACH_MM))
}

impl LocalLight {
    /// From what a robust smooth surface leaves of gaps at `places` (mm), natural logarithms. None where they leave no more than
    /// they differ from their neighbours by, and where it is a spot of glare, which is no light of the patches.
    pub fn of(places: &[(f64, f64)], rest: &[f64]) -> Option<LocalLight> {
        let n = places.len();
        let own = own_error(places, rest)?;
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

/// The error of a gap itself: what gaps at no distance would differ by, from those beside each other and those a little further
/// apart (the nugget of a variogram; N. Cressie, "Statistics for Spatial Data", 1993, section 2.4). Light changes smoothly, so
/// that its part of a difference grows with the distance. `None` where too few lie beside each other.
fn own_error(places: &[(f64, f64)], rest: &[f64]) -> Option<f64> {
    // Mean squared distance and half of the mean squared difference of gaps so far apart.
    let half = |from: f64, to: f64| -> Option<(f64, f64)> {
        let within = from * from..to * to;
        let pairs = (0..places.len()).flat_map(|i| (0..i).map(move |j| (i, j)));
        let (far, steps): (Vec<f64>, Vec<f64>) = pairs
            .map(|(i, j)| (squared(places[i], places[j]), rest[i] - rest[j]))
            .filter(|(d, _)| within.contains(d))
            .unzip();
        let size = robust_size(steps.iter().copied());
        (steps.len() >= 10).then(|| (far.iter().sum::<f64>() / far.len() as f64, size * size / 2.0))
    };
    let (near, all) = half(0.0, BESIDE_MM)?;
    let light =
        half(BESIDE_MM, FURTHER_MM).map_or(0.0, |(far, more)| (more - all).max(0.0) / (far - near) * near);
    Some((all - light).max(0.0).sqrt().max(LEAST))
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

    /// Even noise of standard deviation 0.01 that hangs on no neighbour, the same on every machine.
    fn noise(count: usize) -> Vec<f64> {
        let mut state = 1u64;
        let mut next = || {
            state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
            0.02 * 3f64.sqrt() * ((state >> 33) as f64 / (1u64 << 31) as f64 - 0.5)
        };
        (0..count).map(|_| next()).collect()
    }

    #[test]
    fn the_error_of_a_gap_is_told_from_the_light_between_gaps() {
        let places: Vec<(f64, f64)> =
            (0..400).map(|i| (f64::from(i % 20) * 2.5, f64::from(i / 20) * 2.5)).collect();
        let noise = noise(400);
        // Of even light, and of light in waves whose slopes reach 2.5 % from a gap to the next.
        for wave in [0.0, 0.1] {
            let light = |(x, y): (f64, f64)| wave * (x / 10.0).sin() * (y / 10.0).cos();
            let rest: Vec<f64> = places.iter().zip(&noise).map(|(p, n)| light(*p) + n).collect();
            let own = own_error(&places, &rest).unwrap();
            assert!((own / 0.01 - 1.0).abs() < 0.15, "{own} under waves of {wave}");
        }
    }

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
        let noise = noise(240);
        assert_eq!(LocalLight::of(&places, &noise), None);
    }
}
