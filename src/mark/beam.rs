//! The beam: an elliptical Gaussian, swept one pitch along the line while a dot is on.

use super::exposure::{stamped, swept};
use crate::units::{JoulesPerMm2, Mm, MmPerS, Watts};

/// 1/e² diameters of the beam on the work, along and across the scan. Both above zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beam {
    /// 1/e² diameter along the scan line, mm.
    pub along: Mm,
    /// 1/e² diameter across the scan lines, mm.
    pub across: Mm,
}

impl Beam {
    /// Irradiance in the middle of the beam, W/mm²: `2P/(π wx wy)` with w the 1/e² radius.
    pub fn peak_irradiance(&self, power: Watts) -> f64 {
        2.0 * power.0 / (std::f64::consts::PI * self.along.0 / 2.0 * self.across.0 / 2.0)
    }

    /// Dose on the middle of a single line: `√(2/π) P/(v w)` with w the 1/e² radius across the line.
    pub fn line_peak(&self, power: Watts, speed: MmPerS) -> JoulesPerMm2 {
        let w = self.across.0 / 2.0;
        JoulesPerMm2((2.0 / std::f64::consts::PI).sqrt() * power.0 / (speed.0 * w))
    }
}

/// How the light of a dot falls off along one axis of a plane of dots, for a 1/e² beam diameter in pitches
/// of that axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Profile {
    /// Along the lines: the Gaussian of standard deviation `diameter / 4`, integrated over the one-pitch travel
    /// of a dot (difference of two error functions).
    Swept(f64),
    /// Across them: its density at the line's distance.
    Stamped(f64),
}

impl Profile {
    /// Exposure at distance `d` (pitches) from a dot, relative to a solid's mean.
    pub fn at(self, d: f64) -> f64 {
        match self {
            Profile::Swept(diameter) => swept(diameter, d),
            Profile::Stamped(diameter) => stamped(diameter, d),
        }
    }

    /// The 1/e² beam diameter, pitches.
    pub fn diameter(self) -> f64 {
        match self {
            Profile::Swept(diameter) | Profile::Stamped(diameter) => diameter,
        }
    }

    /// The same of a beam that is at least `least` pitches wide.
    pub(super) fn at_least(self, least: f64) -> Profile {
        match self {
            Profile::Swept(diameter) => Profile::Swept(diameter.max(least)),
            Profile::Stamped(diameter) => Profile::Stamped(diameter.max(least)),
        }
    }
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
    /// Weights along the rows, `over * (2 radius + 1)`.
    pub along: Vec<f32>,
    /// Weights down the columns, `over * (2 radius + 1)`.
    pub across: Vec<f32>,
}

impl Taps {
    /// Taps for a beam whose 1/e² diameters are `along` and `across` pitches (of the pitch along and
    /// across the lines respectively), with `over` phases and dots up to `radius` away. Lines are rows.
    pub fn new(along: f64, across: f64, over: usize, radius: usize) -> Self {
        Taps::of((Profile::Swept(along), Profile::Stamped(across)), over, radius)
    }

    /// Taps for how light falls off along the rows and down the columns, see [`super::Burn::profiles`].
    pub fn of((x, y): (Profile, Profile), over: usize, radius: usize) -> Self {
        let taps = 2 * radius + 1;
        let weights = |profile: Profile| -> Vec<f32> {
            (0..over)
                .flat_map(|phase| (0..taps).map(move |j| (phase, j)))
                .map(|(phase, j)| {
                    let at = (phase as f64 + 0.5) / over as f64 - 0.5;
                    profile.at(at - (j as f64 - radius as f64)) as f32
                })
                .collect()
        };
        Taps { over, radius, along: weights(x), across: weights(y) }
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
    fn irradiance_and_line_dose_agree_with_the_check_values() {
        // check values B03, B04, B14 (computed: closed form and brute force agree).
        let (p, v) = (Watts(4.5), MmPerS(12.5));
        let round = Beam { along: Mm(0.1), across: Mm(0.1) };
        assert!((round.peak_irradiance(p) - 1145.9155902616465).abs() < 1e-6);
        assert!((round.line_peak(p, v).0 - 5.744768837780631).abs() < 1e-9);
        let flat = Beam { along: Mm(0.08), across: Mm(0.15) };
        assert!((flat.peak_irradiance(p) - 954.9296585513721).abs() < 1e-6);
        assert!((flat.line_peak(p, v).0 - 3.8298458918537537).abs() < 1e-9);
        let turned = Beam { along: Mm(0.15), across: Mm(0.08) };
        assert!((turned.line_peak(p, v).0 - 7.1809610472257885).abs() < 1e-9);
    }

    #[test]
    fn a_line_of_dots_has_the_dose_of_a_line() {
        // The taps of one line, in units of a solid's dose P/(v pitch), against the closed form.
        let (pitch, w) = (0.0836, 0.05);
        let taps = Taps::new(2.0 * w / pitch, 2.0 * w / pitch, 1, 4);
        let e = f64::from(taps.across[4] * taps.along.iter().sum::<f32>());
        let beam = Beam { along: Mm(2.0 * w), across: Mm(2.0 * w) };
        let want = beam.line_peak(Watts(4.5), MmPerS(12.5)).0;
        assert!((e * 4.5 / (12.5 * pitch) - want).abs() < 1e-4 * want);
    }

    #[test]
    fn a_switched_edge_is_as_wide_as_the_check_values_say() {
        // check value B13 (computed): 10-90 % over 1.281551565545214 radii, 16-84 % over one.
        // Dots from column 0 on along the line: the exposure is the sum of the swept weights.
        let w = 20.0;
        let edge =
            |x: f64| (0..400).map(|c| super::super::exposure::swept(2.0 * w, x - f64::from(c))).sum::<f64>();
        let place = |level: f64| {
            let (mut low, mut high) = (-60.0, 60.0);
            for _ in 0..60 {
                let middle = 0.5 * (low + high);
                if edge(middle) < level { low = middle } else { high = middle }
            }
            low
        };
        assert!(((place(0.9) - place(0.1)) / w - 1.281551565545214).abs() < 1e-6);
        assert!(((place(0.8) - place(0.2)) / w - 0.8416212335729149).abs() < 1e-6);
    }

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
