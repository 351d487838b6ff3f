//! What a dose does to the coating: rise, char, look; and the setting that makes the dose.

use super::beam::{Beam, Profile};
use crate::colour::lstar;
use crate::placement::Along;
use crate::units::{JoulesPerMm2, Mm, MmPerS, Watts};

/// Char fraction from which on a place counts as over-burnt (design, section 4).
pub const OVER_BURN: f64 = 0.05;

/// A solid counts as fully marked when it looks within so many L* of a full mark: what a practitioner
/// no longer tells apart, and the margin by which the best patch of a wedge is picked.
const FULL_WITHIN_LSTAR: f64 = 2.0;

/// How a coating answers to exposure. Looks are relative luminances Y (0..1) of the piece after cleaning.
///
/// Rise `r(X) = 1/(1 + (x_half/X)^k)`, char `q(X) = 1/(1 + (x_char/X)^m)`; look of a point
/// `Y = y_unmarked + r (y_marked − y_unmarked)`, then towards `y_char` by q (design, section 4).
/// In code they are [`Response::rise_at`] and [`Response::char_at`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Response {
    /// Look of the bare place after cleaning, 0..1.
    pub y_unmarked: f64,
    /// Look of a full mark, 0..1; differs from `y_unmarked`.
    pub y_marked: f64,
    /// Look of a charred place, 0..1.
    pub y_char: f64,
    /// Effective exposure at half the rise, J/mm².
    pub x_half: f64,
    /// Steepness of the rise, above 0.
    pub rise: f64,
    /// Effective exposure at half the char, J/mm²; infinite where a coating never chars.
    pub x_char: f64,
    /// Steepness of the char, above 0.
    pub char_rise: f64,
    /// Schwarzschild exponent s: 1 = only the dose counts, ½ = limit of one-dimensional heat conduction.
    pub schwarzschild: f64,
    /// Reference speed v₀ of the reciprocity law.
    pub v0: MmPerS,
}

impl Response {
    /// Mark rise at the effective exposure `x` (J/mm²), 0..1.
    pub fn rise_at(&self, x: f64) -> f64 {
        if x <= 0.0 { 0.0 } else { 1.0 / (1.0 + libm::pow(self.x_half / x, self.rise)) }
    }

    /// Char at the effective exposure `x` (J/mm²), 0..1.
    pub fn char_at(&self, x: f64) -> f64 {
        if x <= 0.0 || self.x_char.is_infinite() {
            0.0
        } else {
            1.0 / (1.0 + libm::pow(self.x_char / x, self.char_rise))
        }
    }

    /// The effective exposure (J/mm²) at which char reaches `char`, above 0 and under 1.
    pub fn exposure_at_char(&self, char: f64) -> f64 {
        self.x_char * libm::pow(1.0 / char - 1.0, -1.0 / self.char_rise)
    }

    /// The rise at the effective exposure `x`, where it falls short of a full mark by more than 2 L*.
    pub fn shortfall(&self, x: f64) -> Option<f64> {
        let reached = self.rise_at(x);
        let look = self.y_unmarked + reached * (self.y_marked - self.y_unmarked);
        ((lstar(look) - lstar(self.y_marked)).abs() > FULL_WITHIN_LSTAR).then_some(reached)
    }

    /// Whether no exposure marks a solid fully and does not char it: then each setting is pale or charred.
    pub fn chars_before_full(&self) -> bool {
        let chars = self.exposure_at_char(OVER_BURN);
        chars.is_finite() && self.shortfall(chars).is_some()
    }

    /// Look of a point at the effective exposure `x`, relative luminance.
    pub fn look(&self, x: f64) -> f64 {
        let y = self.y_unmarked + self.rise_at(x) * (self.y_marked - self.y_unmarked);
        y + self.char_at(x) * (self.y_char - y)
    }

    /// Mark fraction `a = (Y − y_unmarked)/(y_marked − y_unmarked)` (Murray–Davies) at exposure `x`.
    pub fn mark(&self, x: f64) -> f64 {
        (self.look(x) - self.y_unmarked) / (self.y_marked - self.y_unmarked)
    }
}

/// What the machine is set to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// Optical power while a dot is on (the laser's rated power times the power setting).
    pub power: Watts,
    /// Scan speed while marking.
    pub speed: MmPerS,
    /// Times each line is marked.
    pub passes: u32,
    /// Distance between dots along a line, mm.
    pub pitch_along: Mm,
    /// Distance between lines, mm.
    pub pitch_across: Mm,
    /// The axis that lines run along.
    pub lines: Along,
}

impl Setting {
    /// Mean dose of a solid fill, `D = P · passes / (v · pitch)` with the line pitch.
    pub fn solid_dose(&self) -> JoulesPerMm2 {
        JoulesPerMm2(self.power.0 * f64::from(self.passes) / (self.speed.0 * self.pitch_across.0))
    }
}

/// All that the forecast needs, as plain numbers: the beam in pitches and the effective exposure of a solid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Burn {
    /// 1/e² beam diameter along the scan, in pitches along.
    pub along: f64,
    /// 1/e² beam diameter across the scan, in line pitches.
    pub across: f64,
    /// The axis that lines run along: rows of dots or columns.
    pub lines: Along,
    /// Effective exposure X of a solid's mean (relative exposure e = 1), J/mm².
    pub x_solid: f64,
    /// The coating's response.
    pub response: Response,
}

impl Burn {
    /// Puts beam, setting and response together: `X = D · (v/v₀)^(1−s)` at relative exposure 1.
    pub fn new(beam: Beam, setting: Setting, response: Response) -> Self {
        let reciprocity = libm::pow(setting.speed.0 / response.v0.0, 1.0 - response.schwarzschild);
        Burn {
            along: beam.along.0 / setting.pitch_along.0,
            across: beam.across.0 / setting.pitch_across.0,
            lines: setting.lines,
            x_solid: setting.solid_dose().0 * reciprocity,
            response,
        }
    }

    /// The model of a bare mark: fraction `1/(1 + (½/e)^6.25)` of relative exposure e, no char, looks
    /// from 0 to 1, for a beam of `along` by `across` pitches. Screens are compared under it.
    pub fn plain(along: f64, across: f64) -> Self {
        let response = Response {
            y_unmarked: 0.0,
            y_marked: 1.0,
            y_char: 0.0,
            x_half: 0.5,
            rise: 6.25,
            x_char: f64::INFINITY,
            char_rise: 8.0,
            schwarzschild: 1.0,
            v0: MmPerS(12.5),
        };
        Burn { along, across, lines: Along::X, x_solid: 1.0, response }
    }

    /// How the light of a dot falls off along the rows (x) and down the columns (y) of a plane of dots.
    pub fn profiles(&self) -> (Profile, Profile) {
        self.lines.swap((Profile::Swept(self.along), Profile::Stamped(self.across)))
    }

    /// Mark fraction at the relative exposure `e`.
    pub fn mark(&self, e: f64) -> f64 {
        self.response.mark(e * self.x_solid)
    }

    /// Char fraction at the relative exposure `e`.
    pub fn char(&self, e: f64) -> f64 {
        self.response.char_at(e * self.x_solid)
    }

    /// The relative exposure from which on a place counts as over-burnt: char of [`OVER_BURN`].
    /// Infinite where the coating never chars.
    pub fn over_burn_from(&self) -> f64 {
        self.response.exposure_at_char(OVER_BURN) / self.x_solid
    }

    /// The look, relative luminance, of a mean mark fraction (Murray–Davies turned round; the look of
    /// a dot's cell is linear in its mean mark fraction).
    pub fn look_of(&self, mark: f64) -> f64 {
        self.response.y_unmarked + mark * (self.response.y_marked - self.response.y_unmarked)
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    fn trade() -> Setting {
        setting(4.5, 304.0)
    }

    /// 12.5 mm/s, one pass, the given optical power and density.
    pub(crate) fn setting(watts: f64, dpi: f64) -> Setting {
        Setting {
            power: Watts(watts),
            speed: MmPerS(12.5),
            passes: 1,
            pitch_along: Mm(25.4 / dpi),
            pitch_across: Mm(25.4 / dpi),
            lines: Along::X,
        }
    }

    /// The design's starting values: poster paint on clear glass, assumed.
    pub(crate) const POSTER_PAINT: Response = Response {
        y_unmarked: 0.03,
        y_marked: 0.65,
        y_char: 0.10,
        x_half: 2.2,
        rise: 6.25,
        x_char: 9.0,
        char_rise: 8.0,
        schwarzschild: 0.8,
        v0: MmPerS(12.5),
    };

    /// Poster paint under a beam of 0.12 mm at 12.5 mm/s.
    pub(crate) fn poster_paint(watts: f64, dpi: f64) -> Burn {
        Burn::new(Beam { along: Mm(0.12), across: Mm(0.12) }, setting(watts, dpi), POSTER_PAINT)
    }

    #[test]
    fn dose_of_a_solid_agrees_with_the_check_values() {
        // check values B05, B06 (computed: P/(v pitch)).
        assert!((trade().solid_dose().0 - 4.308661417322835).abs() < 1e-9);
        let doubled = Setting { pitch_across: Mm(25.4 / 608.0), ..trade() };
        assert!((doubled.solid_dose().0 - 8.61732283464567).abs() < 1e-9);
    }

    #[test]
    fn the_rise_is_half_at_its_half_point() {
        let b = Burn::plain(1.5, 1.5);
        assert!((b.mark(0.5) - 0.5).abs() < 1e-12);
        assert!(b.mark(1.0) > 0.98 && b.mark(0.0) == 0.0 && b.char(1e9) == 0.0);
    }
}
