//! Camera: from the wedge's plane (mm) to the photo (pixels): a perspective, then the lens's radial distortion.

use super::homography::Homography;

/// A lens's radial distortion: a pixel of the pinhole lies at `1 + k1 r²` times its distance from the photo's
/// middle, with r in half diagonals (Brown 1966, first term). Below 0 a barrel, above a cushion.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    centre: (f64, f64),
    half: f64,
    /// The coefficient; phones leave about ±0.03.
    pub k1: f64,
}

impl Lens {
    /// A lens whose middle is that of a photo of `width` by `height` pixels.
    pub fn new(width: usize, height: usize, k1: f64) -> Self {
        let (w, h) = (width as f64, height as f64);
        Lens { centre: ((w - 1.0) / 2.0, (h - 1.0) / 2.0), half: (libm::hypot(w, h) / 2.0).max(1.0), k1 }
    }

    /// Where the lens puts a pixel of the pinhole.
    pub fn bend(&self, p: (f64, f64)) -> (f64, f64) {
        let (u, v) = ((p.0 - self.centre.0) / self.half, (p.1 - self.centre.1) / self.half);
        let f = self.half * (1.0 + self.k1 * (u * u + v * v));
        (self.centre.0 + u * f, self.centre.1 + v * f)
    }

    /// Where the pinhole would have put a pixel of the photo, by fixed-point iteration (the error falls by
    /// `2 k1 r²`, a fifth or less, each time).
    pub fn straighten(&self, p: (f64, f64)) -> (f64, f64) {
        let (u, v) = ((p.0 - self.centre.0) / self.half, (p.1 - self.centre.1) / self.half);
        let (mut a, mut b) = (u, v);
        if self.k1 != 0.0 {
            for _ in 0..10 {
                let f = 1.0 + self.k1 * (a * a + b * b);
                (a, b) = (u / f, v / f);
            }
        }
        (self.centre.0 + a * self.half, self.centre.1 + b * self.half)
    }
}

/// How the wedge is seen: mm (x to the right, y down, from the blank's upper left corner) to photo pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Camera {
    /// The perspective, to the pixels of a pinhole.
    pub plane: Homography,
    /// The lens.
    pub lens: Lens,
}

impl Camera {
    /// Fits the perspective under a given lens to places (mm) and where they are seen (pixels). `None` where
    /// they do not settle it.
    pub fn fit(from: &[(f64, f64)], seen: &[(f64, f64)], lens: Lens) -> Option<Self> {
        let to: Vec<(f64, f64)> = seen.iter().map(|&p| lens.straighten(p)).collect();
        Some(Camera { plane: Homography::fit(from, &to)?, lens })
    }

    /// The photo's pixel that shows a place; `None` at infinity.
    pub fn project(&self, p: (f64, f64)) -> Option<(f64, f64)> {
        Some(self.lens.bend(self.plane.map(p)?))
    }

    /// The place that a pixel shows.
    pub fn back_project(&self, p: (f64, f64)) -> Option<(f64, f64)> {
        self.plane.inverse()?.map(self.lens.straighten(p))
    }

    /// Pixels a mm at a place: the root of the area's growth.
    pub fn scale(&self, p: (f64, f64)) -> Option<f64> {
        let d = 1e-3;
        let (o, x, y) = (self.project(p)?, self.project((p.0 + d, p.1))?, self.project((p.0, p.1 + d))?);
        let det = (x.0 - o.0) * (y.1 - o.1) - (x.1 - o.1) * (y.0 - o.0);
        Some(det.abs().sqrt() / d)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn straightening_undoes_bending() {
        for k1 in [-0.06, -0.03, 0.0, 0.03, 0.06] {
            let lens = Lens::new(4000, 3000, k1);
            for p in [(0.0, 0.0), (100.0, 2900.0), (1999.5, 1499.5), (3100.0, 700.0)] {
                let q = lens.straighten(lens.bend(p));
                assert!((q.0 - p.0).hypot(q.1 - p.1) < 0.01, "{k1} {p:?} {q:?}");
            }
        }
        // A corner of a barrel of 3 % comes 3 % nearer to the middle.
        let corner = Lens::new(4001, 3001, -0.03).bend((0.0, 0.0));
        assert!((corner.0 - 0.03 * 2000.0).abs() < 0.1 && (corner.1 - 0.03 * 1500.0).abs() < 0.1);
    }
}
