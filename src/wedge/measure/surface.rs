//! LightSurface: the light over the piece, from the gaps that were left unmarked.

use nalgebra::{DMatrix, DVector};

use super::local::LocalLight;
use super::rectify::Flat;
use crate::wedge::spread::robust_size;
use crate::wedge::target::{LABELS_OFF_MM, TestPatch, Wedge};

/// Half of the width of the smallest labels' strokes, mm: those above a column reach so much nearer to its patches.
const HALF_STROKE_MM: f64 = 0.09;

/// As far from a patch a wide gap is still beside it, mm.
const NEAR_MM: f64 = 1.5;

/// A place that was left unmarked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// Middle, mm, y down.
    pub at: (f64, f64),
    /// Mean linear light.
    pub light: f64,
    /// How far it lies above the smooth surface, relative.
    pub excess: f64,
}

/// The light of the unmarked coating over the piece: `exp` of a polynomial in x and y, and of what lies over it locally.
#[derive(Debug, Clone, PartialEq)]
pub struct LightSurface {
    coefficients: Vec<f64>,
    order: usize,
    centre: (f64, f64),
    reach: f64,
    /// Robust standard deviation of the gaps round the surface, relative.
    pub spread: f64,
    /// The gaps it was fitted to.
    pub gaps: Vec<Gap>,
    /// Covariance of the coefficients, by what the gaps scatter; empty where they do not settle them.
    covariance: DMatrix<f64>,
    /// What the polynomial leaves, where that is more than the gaps' own error.
    local: Option<LocalLight>,
}

/// The unmarked places between neighbouring patches, cut in about square pieces. `guard` mm are left free
/// on either side of a patch's edge for blur and for the beam.
pub fn gaps(flat: &Flat, wedge: &Wedge, guard: f64) -> Vec<Gap> {
    let height = wedge.blank.height();
    let mut out = Vec::new();
    let mut add = |l: f64, t: f64, r: f64, b: f64| {
        if r - l < 0.2 || b - t < 0.2 {
            return;
        }
        let along = (r - l).max(b - t);
        let n = (along / (1.5 * (r - l).min(b - t)).max(0.8)).round().clamp(1.0, 6.0);
        let (dx, dy) = if r - l > b - t { ((r - l) / n, b - t) } else { (r - l, (b - t) / n) };
        for i in 0..n as usize {
            let (x, y) = if r - l > b - t { (l + i as f64 * dx, t) } else { (l, t + i as f64 * dy) };
            if let Some((mean, _)) = flat.mean(x, y, x + dx, y + dy)
                && mean > 0.0
            {
                out.push(Gap { at: (x + dx / 2.0, y + dy / 2.0), light: mean, excess: 0.0 });
            }
        }
    };
    let patch = |column: Option<usize>, row: Option<usize>| {
        wedge.patches.iter().find(|q| (Some(q.cell[0]), Some(q.cell[1])) == (column, row))
    };
    for p in &wedge.patches {
        let Sides { l: pl, t: pt, r: pr, b: pb } = Sides::of(p, height);
        let [column, row] = p.cell;
        let left = patch(column.checked_sub(1), Some(row)).map(|q| Sides::of(q, height).r);
        let right = patch(Some(column + 1), Some(row)).map(|q| Sides::of(q, height).l);
        let above = patch(Some(column), row.checked_sub(1)).map(|q| Sides::of(q, height).b);
        let below = patch(Some(column), Some(row + 1)).map(|q| Sides::of(q, height).t);
        for (l, r) in unmarked((left, pl), (pr, right), (guard, LABELS_OFF_MM)) {
            add(l, pt + guard, r, pb - guard);
        }
        for (t, b) in unmarked((above, pt), (pb, below), (guard, LABELS_OFF_MM - HALF_STROKE_MM)) {
            add(pl + guard, t, pr - guard, b);
        }
    }
    out
}

/// The edges of a patch, mm, y down.
struct Sides {
    l: f64,
    t: f64,
    r: f64,
    b: f64,
}

impl Sides {
    fn of(patch: &TestPatch, height: f64) -> Sides {
        let ([x, y], [w, h]) = (patch.centre, patch.size);
        let y = height - y;
        Sides { l: x - w / 2.0, t: y - h / 2.0, r: x + w / 2.0, b: y + h / 2.0 }
    }
}

/// The unmarked stretches along one axis that belong to a patch from `from` to `to`, mm, with the edges of its neighbours that
/// face it: up to the neighbour after it, and beyond the patch where it is an outermost one, for a surface that is carried on
/// from the inner gaps swings freely there. Beyond it the coating was left alone for half of the gap on its other side, and
/// labels keep off a little more.
fn unmarked(
    (before, from): (Option<f64>, f64),
    (to, after): (f64, Option<f64>),
    (guard, labels_off): (f64, f64),
) -> Vec<(f64, f64)> {
    let beyond = |gap: f64| (guard + NEAR_MM).min(gap / 2.0 + labels_off - guard);
    match (before, after) {
        (Some(_), Some(after)) => beside(to + guard, after - guard),
        (None, Some(after)) => {
            let mut all = beside(to + guard, after - guard);
            all.push((from - beyond(after - to), from - guard));
            all
        }
        (Some(before), None) => vec![(to + guard, to + beyond(from - before))],
        (None, None) => Vec::new(),
    }
}

/// The stretch between two patches, or of a wide one what lies near each: a reflection on a patch shows beside it and not
/// half way to the next.
fn beside(from: f64, to: f64) -> Vec<(f64, f64)> {
    if to - from > 2.0 * NEAR_MM {
        vec![(from, from + NEAR_MM), (to - NEAR_MM, to)]
    } else {
        vec![(from, to)]
    }
}

fn powers(order: usize, u: f64, v: f64) -> Vec<f64> {
    let mut out = Vec::with_capacity((order + 1) * (order + 2) / 2);
    for total in 0..=order {
        for j in 0..=total {
            out.push(libm::pow(u, (total - j) as f64) * libm::pow(v, j as f64));
        }
    }
    out
}

/// The median of absolute deviations, as a standard deviation; at least what 8 bits can show.
fn median_size(rest: &[f64]) -> f64 {
    robust_size(rest.iter().copied()).max(1e-4)
}

/// One step of the robust fit: a polynomial of some order and what it leaves.
struct Layer {
    order: usize,
    coefficients: Vec<f64>,
    spread: f64,
    rest: Vec<f64>,
}

impl Layer {
    /// Tukey's weights of the gaps; those that are too light lose theirs sooner, for glare only adds light.
    fn weights(&self) -> Vec<f64> {
        let weight = |r: &f64| {
            let constant = if *r > 0.0 { 3.5 } else { 4.685 };
            let z = r / (constant * self.spread.max(0.002));
            let nearer = 1.0 - z * z;
            if z.abs() < 1.0 { nearer * nearer } else { 0.0 }
        };
        self.rest.iter().map(weight).collect()
    }

    /// Covariance of the coefficients, `s² (AᵀWA)⁻¹`; empty where it does not exist.
    fn covariance(&self, rows: &[Vec<f64>]) -> DMatrix<f64> {
        let weights = self.weights();
        let a = DMatrix::from_fn(rows.len(), self.coefficients.len(), |i, j| rows[i][j] * weights[i].sqrt());
        let spread = self.spread * self.spread;
        (a.transpose() * a).try_inverse().map_or_else(|| DMatrix::zeros(0, 0), |m| m * spread)
    }

    fn again(&self, order: usize, rows: &[Vec<f64>], logs: &[f64]) -> Option<Layer> {
        let weights = self.weights();
        let columns = (order + 1) * (order + 2) / 2;
        let a = DMatrix::from_fn(rows.len(), columns, |i, j| rows[i][j] * f64::sqrt(weights[i]));
        let v = DVector::from_fn(rows.len(), |i, _| logs[i] * f64::sqrt(weights[i]));
        let solved = a.svd(true, true).solve(&v, 1e-9).ok()?;
        let coefficients: Vec<f64> = solved.iter().copied().collect();
        let rest: Vec<f64> = rows
            .iter()
            .zip(logs)
            .map(|(p, l)| l - p.iter().zip(&coefficients).map(|(a, b)| a * b).sum::<f64>())
            .collect();
        Some(Layer { order, spread: median_size(&rest), coefficients, rest })
    }
}

impl LightSurface {
    /// Fits the surface by iteratively reweighted least squares with Tukey's biweight (tuning constant
    /// 4.685, Huber and Ronchetti, Robust Statistics, 2nd edition), so that glare on some gaps does not
    /// bend it. The order rises step by step, each starting from what the one before kept: a cubic that may
    /// bend at once follows the glare. Cubic from 40 gaps on, quadratic from 14, a slope from 6, else level;
    /// never cubic where more than one gap in 25 was left out, for it would swing freely there.
    /// `None` without gaps.
    pub fn fit(mut gaps: Vec<Gap>, most: usize) -> Option<Self> {
        let n = gaps.len();
        let order = match n {
            0 => return None,
            1..=5 => 0,
            6..=13 => 1,
            14..=39 => 2,
            _ => 3,
        }
        .min(most);
        let (mut l, mut t, mut r, mut b) = (f64::MAX, f64::MAX, f64::MIN, f64::MIN);
        for g in &gaps {
            (l, t, r, b) = (l.min(g.at.0), t.min(g.at.1), r.max(g.at.0), b.max(g.at.1));
        }
        let centre = ((l + r) / 2.0, (t + b) / 2.0);
        let reach = ((r - l).max(b - t) / 2.0).max(1.0);
        let logs: Vec<f64> = gaps.iter().map(|g| libm::log(g.light.max(1e-6))).collect();
        let mut sorted = logs.clone();
        sorted.sort_by(f64::total_cmp);
        let middle = sorted.get(n / 2).copied()?;
        let rest: Vec<f64> = logs.iter().map(|l| l - middle).collect();
        let mut layer = Layer { order: 0, coefficients: vec![middle], spread: median_size(&rest), rest };
        for step in 1..=order {
            let out = layer.weights().iter().filter(|w| **w == 0.0).count();
            if step == 3 && 25 * out > n {
                break;
            }
            let rows: Vec<Vec<f64>> = gaps
                .iter()
                .map(|g| powers(step, (g.at.0 - centre.0) / reach, (g.at.1 - centre.1) / reach))
                .collect();
            for _ in 0..8 {
                layer = layer.again(step, &rows, &logs)?;
            }
        }
        gaps.iter_mut().zip(&layer.rest).for_each(|(g, r)| g.excess = libm::exp(*r) - 1.0);
        let rows: Vec<Vec<f64>> = gaps
            .iter()
            .map(|g| powers(layer.order, (g.at.0 - centre.0) / reach, (g.at.1 - centre.1) / reach))
            .collect();
        let covariance = layer.covariance(&rows);
        let Layer { order, coefficients, spread, .. } = layer;
        Some(LightSurface { coefficients, order, centre, reach, spread, gaps, covariance, local: None })
    }

    /// The same with what the polynomial leaves of the gaps carried on from gap to gap, where it leaves more than they
    /// differ from their neighbours by.
    pub fn with_local(mut self) -> Self {
        let places: Vec<(f64, f64)> = self.gaps.iter().map(|g| g.at).collect();
        let rest: Vec<f64> = self.gaps.iter().map(|g| libm::log((1.0 + g.excess).max(1e-6))).collect();
        if let Some(local) = LocalLight::of(&places, &rest) {
            let left: Vec<f64> = places.iter().zip(&rest).map(|(p, r)| r - local.at(*p)).collect();
            self.gaps.iter_mut().zip(&left).for_each(|(g, l)| g.excess = libm::exp(*l) - 1.0);
            self.spread = median_size(&left);
            self.local = Some(local);
        }
        self
    }

    /// How much more light there is at a place (mm, y down) than the smooth surface has, as a share of it.
    pub fn bump(&self, x: f64, y: f64) -> f64 {
        self.local.as_ref().map_or(0.0, |l| libm::exp(l.at((x, y))) - 1.0)
    }

    /// What the gaps leave open of the light at `places` (mm, y down): the principal ways in which the surface may
    /// be off there, each as natural logarithms at one standard deviation, the largest first. A place for each row.
    pub fn modes(&self, places: &[(f64, f64)]) -> Vec<Vec<f64>> {
        let none = || vec![Vec::new(); places.len()];
        let Some(first) = places.first() else { return Vec::new() };
        let columns = self.row(*first).len();
        if self.covariance.nrows() != columns {
            return none();
        }
        let rows: Vec<Vec<f64>> = places.iter().map(|p| self.row(*p)).collect();
        let a = DMatrix::from_fn(places.len(), columns, |i, j| rows[i][j]);
        let Some(root) = self.covariance.clone().cholesky() else { return none() };
        // The singular vectors of A L, where L Lᵀ is the covariance: those of the error A c at the places.
        let svd = (a * root.l()).svd(true, false);
        let Some(u) = svd.u else { return none() };
        let modes = svd.singular_values.len();
        (0..places.len()).map(|i| (0..modes).map(|k| u[(i, k)] * svd.singular_values[k]).collect()).collect()
    }

    fn row(&self, (x, y): (f64, f64)) -> Vec<f64> {
        powers(self.order, (x - self.centre.0) / self.reach, (y - self.centre.1) / self.reach)
    }

    /// Linear light of the unmarked coating at a place (mm, y down).
    pub fn at(&self, x: f64, y: f64) -> f64 {
        let p = self.row((x, y));
        let local = self.local.as_ref().map_or(0.0, |l| l.at((x, y)));
        libm::exp(p.iter().zip(&self.coefficients).map(|(a, b)| a * b).sum::<f64>() + local)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lit(f: impl Fn(f64, f64) -> f64) -> Vec<Gap> {
        (0..81)
            .map(|i| {
                let at = (f64::from(i % 9) * 10.0, f64::from(i / 9) * 10.0);
                Gap { at, light: f(at.0, at.1), excess: 0.0 }
            })
            .collect()
    }

    #[test]
    fn smooth_light_is_followed_and_glare_on_a_few_gaps_is_not() {
        let smooth = |x: f64, y: f64| 0.1 * (1.0 + 0.3 * (x / 80.0) - 0.2 * (y / 80.0).powi(2));
        let s = LightSurface::fit(lit(smooth), 3).unwrap();
        assert!((s.at(35.0, 42.0) / smooth(35.0, 42.0) - 1.0).abs() < 2e-3);
        let glare =
            |x: f64, y: f64| smooth(x, y) + 0.2 * (-((x - 20.0).powi(2) + (y - 30.0).powi(2)) / 50.0).exp();
        let s = LightSurface::fit(lit(glare), 3).unwrap();
        assert!((s.at(60.0, 60.0) / smooth(60.0, 60.0) - 1.0).abs() < 5e-3);
        assert!((s.at(20.0, 30.0) / smooth(20.0, 30.0) - 1.0).abs() < 3e-2);
        let worst = s.gaps.iter().max_by(|a, b| a.excess.total_cmp(&b.excess)).unwrap();
        assert_eq!(worst.at, (20.0, 30.0));
        assert!(worst.excess > 1.0);
    }

    #[test]
    fn without_gaps_there_is_no_surface() {
        assert!(LightSurface::fit(Vec::new(), 3).is_none());
    }

    #[test]
    fn the_modes_are_as_large_as_the_surfaces_own_error() {
        // Gaps with 1 % of noise of a fixed sequence, level light: the surface is off by what the modes say.
        let noise =
            |x: f64, y: f64| 0.01 * ((12.9898 * x + 78.233 * y).sin() * 43758.5453).rem_euclid(1.0) * 3.46;
        let s = LightSurface::fit(lit(|x, y| 0.1 * (noise(x, y) - 0.0173).exp()), 3).unwrap();
        let places: Vec<(f64, f64)> =
            (0..49).map(|i| (10.0 * f64::from(i % 7) + 10.0, 10.0 * f64::from(i / 7) + 10.0)).collect();
        let modes = s.modes(&places);
        let said: f64 = modes.iter().flatten().map(|m| m * m).sum::<f64>() / 49.0;
        let real: f64 = places.iter().map(|p| (s.at(p.0, p.1) / 0.1).ln().powi(2)).sum::<f64>() / 49.0;
        assert!((real / said).ln().abs() < 4f64.ln(), "{} for {}", real.sqrt(), said.sqrt());
    }
}
