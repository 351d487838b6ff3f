//! The beam: an elliptical Gaussian, swept one pitch along the line while a dot is on.

use libm::erf;

use crate::units::Mm;

/// 1/e² diameters of the beam on the work, along and across the scan. Both above zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beam {
    /// 1/e² diameter along the scan line, mm.
    pub along: Mm,
    /// 1/e² diameter across the scan lines, mm.
    pub across: Mm,
}

/// Weights of the dots around a sample, for `over` sample positions (phases) inside a dot's cell.
///
/// `along[phase * taps + j]` is the exposure that the dot `j - radius` columns away gives to a
/// sample at phase `phase` (position `(phase + ½)/over − ½` pitches from the dot's centre); the same
/// for `across`. The exposure of a sample is the sum over dots of `across * along`; the mean exposure
/// of a solid fill is 1 (for a coarse pitch it ripples around 1 from phase to phase).
#[derive(Debug, Clone, PartialEq)]
pub struct Taps {
    /// Sample positions a dot, each way.
    pub over: usize,
    /// Dots on either side that are taken in.
    pub radius: usize,
    /// Weights along the scan, `over * (2 radius + 1)`.
    pub along: Vec<f32>,
    /// Weights across the scan, `over * (2 radius + 1)`.
    pub across: Vec<f32>,
}

impl Taps {
    /// Taps for a beam whose 1/e² diameters are `along` and `across` pitches (of the pitch along and
    /// across the lines respectively), with `over` phases and dots up to `radius` away.
    ///
    /// Along: the Gaussian of standard deviation `diameter / 4`, integrated over the one-pitch travel
    /// of a dot (difference of two error functions). Across: its density at the line's distance.
    pub fn new(along: f64, across: f64, over: usize, radius: usize) -> Self {
        let taps = 2 * radius + 1;
        let (sx, sy) = (along / 4.0, across / 4.0);
        let mut a = Vec::with_capacity(over * taps);
        let mut c = Vec::with_capacity(over * taps);
        for phase in 0..over {
            let x = (phase as f64 + 0.5) / over as f64 - 0.5;
            for j in 0..taps {
                let d = x - (j as f64 - radius as f64);
                let s = sx * std::f64::consts::SQRT_2;
                a.push((0.5 * (erf((d + 0.5) / s) - erf((d - 0.5) / s))) as f32);
                c.push(
                    ((-d * d / (2.0 * sy * sy)).exp() / ((2.0 * std::f64::consts::PI).sqrt() * sy)) as f32,
                );
            }
        }
        Taps { over, radius, along: a, across: c }
    }

    /// The least radius, in dots, beyond which a beam of `diameter` pitches gives less than about
    /// 1e-5 of a solid's exposure: 2.2 1/e² radii and the half pitch of the sweep and of the cell.
    pub fn radius_for(diameter: f64) -> usize {
        ((1.1 * diameter + 0.5).ceil() as usize).clamp(1, 64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_solid_has_the_mean_exposure_one() {
        for d in [1.0, 1.436, 2.0, 3.0] {
            let r = Taps::radius_for(d);
            let t = Taps::new(d, d, 8, r);
            let n = 2 * r + 1;
            let mean = |w: &[f32]| w.chunks(n).map(|p| p.iter().sum::<f32>()).sum::<f32>() / 8.0;
            assert!((mean(&t.along) - 1.0).abs() < 1e-4, "{d}: {}", mean(&t.along));
            assert!((mean(&t.across) - 1.0).abs() < 1e-4, "{d}: {}", mean(&t.across));
        }
    }
}
