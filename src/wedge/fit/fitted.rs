//! Fitted: the response with what is known of each of its values.

use super::likely::LikelyTruth;
use super::limited::Limited;
use super::model::Point;
use super::toned::Toned;
use super::uneven::Strays;
use super::veil::Veil;
use crate::colour::lstar;
use crate::mark::Response;
use crate::wedge::measurement::Measurement;
use crate::wedge::reading::ResponseReading;
use crate::wedge::target::Expected;

/// The response with what is known of each of its values.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponseFit {
    /// Values in force: measured where they could be, as expected where not.
    pub response: Response,
    /// The curve through the patches. Where values are not settled one by one they still describe the
    /// patches together; `x_char` is infinite where no char showed.
    pub curve: Response,
    /// Look of a full mark, luminance.
    pub y_marked: Measurement,
    /// Look of char, luminance.
    pub y_char: Measurement,
    /// Exposure at half rise, J/mm².
    pub x_half: Measurement,
    /// Steepness of the rise.
    pub rise: Measurement,
    /// Exposure at half char, J/mm².
    pub x_char: Measurement,
    /// What half char lies above, J/mm², where no patch of the grids shows char.
    pub char_above: Option<f64>,
    /// Steepness of the char.
    pub char_rise: Measurement,
    /// Schwarzschild exponent.
    pub schwarzschild: Measurement,
    /// Root mean square of the residuals, L*.
    pub rms: f64,
    /// Patches that were fitted.
    pub patches: usize,
    /// Fitted L* of each point.
    pub fitted: Vec<f64>,
    /// Exposures between a solid's lines, relative to their mean.
    pub ripple: Vec<f64>,
    /// The beam of the curve: 1/e² diameters along and across the lines, mm.
    pub beam: [f64; 2],
    /// What is known of its diameter along the lines, mm.
    pub beam_along: Measurement,
    /// The same across them.
    pub beam_across: Measurement,
    /// The curves that explain the patches about as well as [`Self::curve`], each with its weight (sum 1): one
    /// for each look that char may have. Empty where no char showed.
    pub chars: Vec<(f64, Response)>,
    /// Ways in which response and beam may differ from these, each as likely as any other. Empty where nothing was fitted.
    pub likely: Vec<LikelyTruth>,
    /// How much lighter than it was taken the light over each point is, natural logarithm: what the patches know
    /// of the light beyond the gaps.
    pub light: Vec<f64>,
    /// The veil that the patches ask for.
    pub veil: Option<Veil>,
    /// By how much the exposure that the coating needs differs from patch to patch, as a share at one standard deviation.
    pub uneven: f64,
    /// How far patches lie off the curve where it is flat, L*; none where too few do.
    pub flat_miss: Option<f64>,
    /// Points that lie off the curve beside each other, by their index.
    pub strays: Option<Strays>,
    /// A speed or power at which the machine seems to have been held.
    pub limited: Option<Limited>,
    /// A curve of tones that the camera laid over the photo; none where fine patterns do not speak for any.
    pub toned: Option<Toned>,
}

impl ResponseFit {
    /// L* of the curve for a solid of mean exposure `x` (J/mm²), the lines' ripple taken in.
    pub fn lightness(&self, x: f64) -> f64 {
        let n = self.ripple.len().max(1) as f64;
        lstar(self.ripple.iter().map(|e| self.curve.look(x * e)).sum::<f64>() / n)
    }

    /// What of it stands in the reading.
    pub fn reading(&self) -> ResponseReading {
        ResponseReading {
            y_marked: self.y_marked.clone(),
            y_char: self.y_char.clone(),
            x_half_j_mm2: self.x_half.clone(),
            rise: self.rise.clone(),
            x_char_j_mm2: self.x_char.clone(),
            x_char_above_j_mm2: self.char_above,
            char_rise: self.char_rise.clone(),
            schwarzschild: self.schwarzschild.clone(),
            v0_mm_s: self.response.v0.0,
            rms_l: self.rms.is_finite().then_some(self.rms),
            patches: self.patches,
            beam_mm: self.rms.is_finite().then_some(self.beam),
        }
    }

    /// Char to be expected at the settings `dose` (J/mm²) and `speed` (mm/s), the mean over [`Self::chars`];
    /// `None` where no char showed.
    ///
    /// The best curve alone is a poor judge of where char sets in. Few patches are charred through, so the look
    /// of char is often open to a factor of two, and where a paler char is set the same patches are explained by
    /// one that comes sooner. What is not known is therefore averaged over instead of being settled by the best.
    pub fn char(&self, dose: f64, speed: f64) -> Option<f64> {
        let q = |r: &Response| r.char_at(dose * libm::pow(speed / r.v0.0, 1.0 - r.schwarzschild));
        (!self.chars.is_empty()).then(|| self.chars.iter().map(|(w, r)| w * q(r)).sum())
    }
}

/// A fit of which nothing is known, for one reason.
pub fn unknown(
    points: &[Point],
    y_unmarked: f64,
    beam: [f64; 2],
    expected: &Expected,
    why: &str,
) -> ResponseFit {
    let not = || Measurement::not(why);
    ResponseFit {
        response: Response { y_unmarked, ..expected.response() },
        curve: Response { y_unmarked, ..expected.response() },
        y_marked: not(),
        y_char: not(),
        x_half: not(),
        rise: not(),
        x_char: not(),
        char_above: None,
        char_rise: not(),
        schwarzschild: not(),
        rms: f64::NAN,
        patches: points.len(),
        fitted: Vec::new(),
        ripple: vec![1.0],
        beam,
        beam_along: not(),
        beam_across: not(),
        chars: Vec::new(),
        likely: Vec::new(),
        light: vec![0.0; points.len()],
        veil: None,
        limited: None,
        toned: None,
        uneven: 0.0,
        flat_miss: None,
        strays: None,
    }
}
