//! Rectify: the photo laid flat, in mm.

use crate::art::Photo;
use crate::parallel;
use crate::plane::Light;
use crate::wedge::register::Camera;
use crate::wedge::register::photo::sample;

/// The photo seen straight from above, one sample every `1 / per_mm` mm, from the blank's upper left corner.
#[derive(Debug, Clone, PartialEq)]
pub struct Flat {
    /// Linear light; NaN outside the photo.
    pub light: Light,
    /// Samples a mm.
    pub per_mm: f64,
}

/// Lays the photo flat at about its own resolution, between 8 and 30 samples a mm.
pub fn rectify(photo: &Photo, camera: &Camera, width: f64, height: f64) -> Flat {
    let middle = camera.scale((width / 2.0, height / 2.0)).unwrap_or(8.0);
    // At most 3000 samples a side: a large blank far away holds no more detail than that.
    let per_mm = middle.clamp(8.0, 30.0).min(3000.0 / width.max(height));
    let (w, h) = ((width * per_mm).ceil().max(1.0) as usize, (height * per_mm).ceil().max(1.0) as usize);
    let mut light = Light::filled(w, h, f32::NAN);
    parallel::bands(light.data_mut(), w, 32, |first, band| {
        for (i, row) in band.chunks_mut(w).enumerate() {
            let y = ((first + i) as f64 + 0.5) / per_mm;
            for (x, v) in row.iter_mut().enumerate() {
                if let Some(p) = camera.project(((x as f64 + 0.5) / per_mm, y))
                    && let Some(s) = sample(&photo.light, p.0, p.1)
                {
                    *v = s;
                }
            }
        }
    });
    Flat { light, per_mm }
}

impl Flat {
    /// Index range of the samples whose centres lie in `from..to` mm.
    fn range(&self, from: f64, to: f64, len: usize) -> std::ops::Range<usize> {
        let a = (from * self.per_mm - 0.5).ceil().max(0.0) as usize;
        let b = (to * self.per_mm - 0.5).ceil().max(0.0) as usize;
        a.min(len)..b.min(len)
    }

    /// Mean and standard deviation of the light in a rectangle (mm, y down); `None` when it holds fewer than
    /// four samples or reaches out of the photo.
    pub fn mean(&self, left: f64, top: f64, right: f64, bottom: f64) -> Option<(f64, f64)> {
        let (xs, ys) =
            (self.range(left, right, self.light.width()), self.range(top, bottom, self.light.height()));
        let (mut n, mut sum, mut squares) = (0.0, 0.0, 0.0);
        for y in ys {
            for &v in self.light.row(y).get(xs.clone())? {
                let v = f64::from(v);
                n += 1.0;
                sum += v;
                squares += v * v;
            }
        }
        if n < 4.0 || !sum.is_finite() {
            return None;
        }
        let mean = sum / n;
        Some((mean, (squares / n - mean * mean).max(0.0).sqrt()))
    }

    /// Place (mm) and mean light of each column of samples in a rectangle; columns that reach out of the photo
    /// are left out. The places are the samples' own: a fine line is not moved by rounding to them.
    pub fn columns(&self, left: f64, top: f64, right: f64, bottom: f64) -> Vec<(f64, f64)> {
        let (xs, ys) =
            (self.range(left, right, self.light.width()), self.range(top, bottom, self.light.height()));
        let rows = ys.len().max(1) as f64;
        xs.map(|x| {
            let sum: f64 =
                ys.clone().map(|y| f64::from(self.light.row(y).get(x).copied().unwrap_or(f32::NAN))).sum();
            ((x as f64 + 0.5) / self.per_mm, sum / rows)
        })
        .filter(|c| c.1.is_finite())
        .collect()
    }

    /// Mean light in a rectangle, weighted with a raised cosine each way (Hann's window): lines and dots
    /// that do not fill the rectangle a whole number of times do not shift it.
    pub fn soft_mean(&self, left: f64, top: f64, right: f64, bottom: f64) -> Option<f64> {
        let (xs, ys) =
            (self.range(left, right, self.light.width()), self.range(top, bottom, self.light.height()));
        let hann = |i: usize, from: f64, to: f64| {
            let t = ((i as f64 + 0.5) / self.per_mm - from) / (to - from);
            let sine = libm::sin(std::f64::consts::PI * t.clamp(0.0, 1.0));
            sine * sine
        };
        let across: Vec<f64> = xs.clone().map(|x| hann(x, left, right)).collect();
        let (mut sum, mut weights) = (0.0, 0.0);
        for y in ys {
            let w = hann(y, top, bottom);
            for (v, u) in self.light.row(y).get(xs.clone())?.iter().zip(&across) {
                sum += w * u * f64::from(*v);
                weights += w * u;
            }
        }
        (weights > 0.0 && sum.is_finite()).then(|| sum / weights)
    }
}
