//! Value: a patch on the scale of lightness, with the parts of its uncertainty.

use super::patches::PatchLight;
use crate::colour::lstar;
use crate::wedge::spread::deviation;

/// How far a patch's mean is off besides its grain and the light, L* (measured on rendered photos: 0.03 to 0.05).
pub const REPEATS: f64 = 0.05;

/// How far a patch's L* is off by what the camera does to tones, where its curve is nearly the standard one (an S-curve of 2 %
/// moves dark patches by 0.4 L* against light ones). One of 15 % moves the middle by 3 L*, and nothing in a photo tells it.
pub const TONES: f64 = 0.25;

/// A patch on the scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PatchValue {
    /// Luminance.
    pub y: f64,
    /// Its standard uncertainty.
    pub y_error: f64,
    /// The part of `y_error` that is the patch's own grain.
    y_grain: f64,
    /// The part of `y_error` that faint glare may leave.
    y_veil: f64,
    /// Lightness L*.
    pub l: f64,
    /// Its standard uncertainty, L*.
    pub l_error: f64,
    /// Standard deviation of L* from aperture to aperture.
    pub grain: f64,
}

impl PatchValue {
    /// Uncertainty of the patch's mean from its own grain, L*.
    pub fn l_grain(&self) -> f64 {
        lstar(self.y + self.y_grain) - self.l
    }

    /// Its lightness if the light over it is `exp(light)` times what it was taken for.
    pub fn under(&self, light: f64) -> f64 {
        lstar(self.y * libm::exp(-light))
    }

    /// Uncertainty for the fit, L*: its grain, what glare may leave, [`REPEATS`], and with `light` that of the
    /// light over it. What shifts all patches alike is no part of it.
    pub fn l_fit(&self, light: bool) -> f64 {
        let y = if light { self.y_error } else { libm::hypot(self.y_grain, self.y_veil) };
        libm::hypot(lstar(self.y + y) - self.l, REPEATS)
    }

    /// A patch without grain under a light that is known.
    #[cfg(test)]
    pub fn sure(y: f64) -> PatchValue {
        PatchValue { y, y_error: 1e-4, y_grain: 1e-4, y_veil: 0.0, l: lstar(y), l_error: TONES, grain: 0.0 }
    }

    /// The value of a patch, where `y_gap` is the luminance of the bare coating.
    pub fn of(m: &PatchLight, y_gap: f64) -> PatchValue {
        let y = m.ratio * y_gap;
        let ls: Vec<f64> = m.cells.iter().map(|c| lstar(c * y_gap)).collect();
        let grain = deviation(&ls);
        // Neighbouring apertures share the coating's mottle: a quarter of them count as independent.
        let own = match m.pattern {
            Some(share) => share * y,
            None => deviation(&m.cells) * y_gap / (m.cells.len() as f64 / 4.0).max(1.0).sqrt(),
        };
        // The glare over a patch need not be that of the gaps beside it: half of it is error.
        let y_veil = 0.5 * m.veil * y_gap;
        let broad = m.unsure * (y - y_gap).abs();
        let y_error = own.hypot(y * m.light_error).hypot(y_veil).hypot(broad).max(1e-5);
        let l = lstar(y);
        PatchValue {
            y,
            y_error,
            y_grain: own,
            y_veil,
            l,
            l_error: (lstar(y + y_error) - l).hypot(TONES),
            grain,
        }
    }
}
