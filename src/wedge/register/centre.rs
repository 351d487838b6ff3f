//! Register: the centre of a finder mark to a fraction of a pixel, and how blurred it is.

use nalgebra::{Matrix6, Vector6};

use super::camera::Camera;
use super::photo::sample;
use crate::plane::Light;
use crate::wedge::target::{CENTRE, FinderMark, RING};

/// A mark as it was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Registered {
    /// Centre in photo pixels.
    pub at: (f64, f64),
    /// Standard deviation of the blur at its edges (lens, focus and beam together), mm.
    pub blur_mm: f64,
    /// Share of the variance that the mark's shape explains, 0..1.
    pub likeness: f64,
    /// Light of the mark less the light round it, in the photo's linear light.
    pub contrast: f64,
}

/// The mark's ideal look at `r` mm from its centre (1 marked, 0 not), its edges blurred with `sigma`, and
/// its slope.
fn profile(mark: &FinderMark, r: f64, sigma: f64) -> (f64, f64) {
    let radius = mark.diameter.0 / 2.0;
    let s = sigma * std::f64::consts::SQRT_2;
    let step = |edge: f64| {
        let z = (r - edge) / s;
        (0.5 * libm::erfc(z), -libm::exp(-z * z) / (s * std::f64::consts::PI.sqrt()))
    };
    let (outer, ring, dot) = (step(radius), step(RING * radius), step(CENTRE * radius));
    if mark.odd {
        (outer.0 - dot.0, outer.1 - dot.1)
    } else {
        (outer.0 - ring.0 + dot.0, outer.1 - ring.1 + dot.1)
    }
}

/// Fits the mark's shape, a level, a slope of light and a contrast to the photo round the place that `camera`
/// (mm, y down, to pixels) gives; moves the centre by Gauss-Newton. `None` where the photo ends or the
/// fit walks away by more than a mark's radius.
pub fn register(light: &Light, camera: &Camera, mark: &FinderMark, height: f64) -> Option<Registered> {
    let (mx, my) = (mark.centre[0], height - mark.centre[1]);
    let radius = mark.diameter.0 / 2.0;
    let n = 48usize;
    let reach = 1.3 * radius;
    let step = 2.0 * reach / n as f64;
    let mut samples = Vec::with_capacity(n * n);
    for j in 0..n {
        for i in 0..n {
            let (x, y) = ((i as f64 + 0.5) * step - reach, (j as f64 + 0.5) * step - reach);
            let (px, py) = camera.project((mx + x, my + y))?;
            // The square root evens out the noise between light and dark.
            samples.push((x, y, f64::from(sample(light, px, py)?.max(0.0).sqrt())));
        }
    }
    let mean = samples.iter().map(|s| s.2).sum::<f64>() / samples.len() as f64;
    let total: f64 = samples.iter().map(|s| (s.2 - mean) * (s.2 - mean)).sum();
    let mut best: Option<(f64, (f64, f64), f64, f64)> = None;
    for k in 0..9 {
        let sigma = 0.02 * radius * libm::pow(1.5, f64::from(k));
        let Some((rest, d, gain)) = locate(&samples, mark, sigma, radius) else { continue };
        if best.as_ref().is_none_or(|b| rest < b.0) {
            best = Some((rest, d, sigma, gain));
        }
    }
    let (rest, (dx, dy), sigma, gain) = best?;
    let at = camera.project((mx + dx, my + dy))?;
    Some(Registered {
        at,
        blur_mm: sigma,
        likeness: if total > 0.0 { 1.0 - rest / total } else { 0.0 },
        contrast: gain * (2.0 * mean),
    })
}

type Located = (f64, (f64, f64), f64);

fn locate(samples: &[(f64, f64, f64)], mark: &FinderMark, sigma: f64, radius: f64) -> Option<Located> {
    let (mut dx, mut dy) = (0.0, 0.0);
    let mut out = None;
    for _ in 0..6 {
        let mut a = Matrix6::zeros();
        let mut b = Vector6::zeros();
        let mut squares = 0.0;
        for &(x, y, v) in samples {
            let (rx, ry) = (x - dx, y - dy);
            let r = libm::hypot(rx, ry).max(1e-9);
            let (t, slope) = profile(mark, r, sigma);
            let g = Vector6::new(1.0, x, y, t, -slope * rx / r, -slope * ry / r);
            a += g * g.transpose();
            b += g * v;
            squares += v * v;
        }
        let p = a.try_inverse()? * b;
        let rest = squares - p.dot(&b);
        let gain = p[3];
        if gain.abs() < 1e-9 {
            return None;
        }
        let (sx, sy) = (p[4] / gain, p[5] / gain);
        let limit = 0.3 * radius;
        dx += sx.clamp(-limit, limit);
        dy += sy.clamp(-limit, limit);
        if libm::hypot(dx, dy) > radius {
            return None;
        }
        out = Some((rest, (dx, dy), gain));
        if libm::hypot(sx, sy) < 1e-4 * radius {
            break;
        }
    }
    out
}
