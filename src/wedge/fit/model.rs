//! Model: the coating's response under trial, against patches of known exposure.

use super::least_squares::minimise;
use crate::colour::lstar;
use crate::mark::{Response, Taps};
use crate::wedge::target::Wedge;

/// One patch as the fit takes it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Dose of the solid, J/mm².
    pub dose: f64,
    /// Speed, mm/s.
    pub speed: f64,
    /// Lightness L*.
    pub lightness: f64,
    /// Its standard uncertainty, L*.
    pub error: f64,
}

/// Index of each parameter in the vector of the fit. Positive values are fitted as logarithms.
pub(super) const MARKED: usize = 0;
/// See [`MARKED`].
pub(super) const HALF: usize = 1;
/// See [`MARKED`].
pub(super) const RISE: usize = 2;
/// See [`MARKED`].
pub(super) const S: usize = 3;
/// See [`MARKED`].
pub(super) const CHARRED: usize = 4;
/// See [`MARKED`].
pub(super) const CHAR: usize = 5;
/// See [`MARKED`].
pub(super) const CHAR_RISE: usize = 6;
/// Limits of the parameters, as fitted: no coating is steeper than 30 or marks outside 0.05–50 J/mm².
pub(super) const LOW: [f64; 7] = [-7.0, -3.0, 0.0, 0.2, -7.0, -2.3, 0.3];
/// See [`LOW`].
pub(super) const HIGH: [f64; 7] = [0.3, 3.9, 3.4, 1.4, 0.0, 5.3, 3.4];

/// What is known of char beforehand, as natural logarithms with standard deviations: its look to a factor of
/// two, its steepness to a factor of 1.35, how much later it comes than the mark to one of 1.5 (common practice;
/// the kit's coatings lie within). Few patches of a good grid are charred, and they alone would settle neither:
/// a pale char that comes early looks like a black one that comes late, and the limit of over-burn would swing
/// between them. The charred patch beside the grid settles the look; a grid that was drawn elsewhere has none.
pub(super) const CHARRED_SPREAD: f64 = 0.7;
/// See [`CHARRED_SPREAD`].
pub(super) const CHAR_RISE_SPREAD: f64 = 0.3;
/// See [`CHARRED_SPREAD`].
const CHAR_SPREAD: f64 = 0.4;

/// Exposures between the lines of a solid, relative to its mean: the beam's profile across, summed over lines.
pub fn ripple(wedge: &Wedge) -> Vec<f64> {
    ripple_of(wedge.beam_across.0 / wedge.pitch_across.0)
}

/// The same for a beam of `across` pitches.
pub(super) fn ripple_of(across: f64) -> Vec<f64> {
    let radius = Taps::radius_for(across);
    let taps = Taps::new(1.0, across, 8, radius);
    taps.across.chunks(2 * radius + 1).map(|c| c.iter().map(|&v| f64::from(v)).sum()).collect()
}

/// The char that is expected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CharGuess {
    /// Its look, luminance.
    pub look: f64,
    /// Its steepness.
    pub rise: f64,
    /// Its half exposure over that of the mark.
    pub later: f64,
}

/// Points with what the model needs to meet them.
#[derive(Clone, Copy)]
pub(super) struct Model<'a> {
    pub points: &'a [Point],
    /// Standard uncertainty of each point in force, L*.
    pub errors: &'a [f64],
    pub ripple: &'a [f64],
    pub y_unmarked: f64,
    pub v0: f64,
    /// The char that is expected; none for a response without char.
    pub char: Option<CharGuess>,
}

impl Model<'_> {
    /// The response that the parameters stand for; `x_char` is infinite without char.
    pub fn response(&self, p: &[f64; 7]) -> Response {
        let c = |i: usize| p[i].clamp(LOW[i], HIGH[i]);
        Response {
            y_unmarked: self.y_unmarked,
            y_marked: c(MARKED).exp(),
            y_char: c(CHARRED).exp(),
            x_half: c(HALF).exp(),
            rise: c(RISE).exp(),
            x_char: if self.char.is_some() { c(CHAR).exp() } else { f64::INFINITY },
            char_rise: c(CHAR_RISE).exp(),
            schwarzschild: c(S),
            v0: crate::units::MmPerS(self.v0),
        }
    }

    /// The mean look over the lines' ripple of `look(D e (v/v0)^(1−s))`, as L*.
    pub fn lightness(&self, p: &[f64; 7], point: &Point) -> f64 {
        let r = self.response(p);
        let x = point.dose * (point.speed / self.v0).powf(1.0 - r.schwarzschild);
        let y = self.ripple.iter().map(|e| r.look(x * e)).sum::<f64>() / self.ripple.len() as f64;
        lstar(y)
    }

    fn rest(&self, p: &[f64; 7]) -> Vec<f64> {
        // A parameter beyond its limit is pulled back, so that the fit does not drift along a flat.
        let mut beyond: f64 = (0..7).map(|i| (p[i] - p[i].clamp(LOW[i], HIGH[i])).abs()).sum();
        if self.char.is_some() {
            // Char comes after the mark: it reaches 5 % (q = 1/20, so (x_char/x)^m = 19) no sooner than the mark
            // nine tenths (r = 9/10). A coating of which this were not so could not be marked well at any
            // setting; without it a coating that marks dark and chars darker fits as well with a pale char
            // that does half of the marking.
            let nine_tenths = p[HALF] + 9f64.ln() / p[RISE].exp();
            let twentieth = p[CHAR] - 19f64.ln() / p[CHAR_RISE].exp();
            beyond += (nine_tenths - twentieth).max(0.0);
        }
        let mut out: Vec<f64> = self
            .points
            .iter()
            .zip(self.errors)
            .map(|(q, e)| (self.lightness(p, q) - q.lightness) / e + 10.0 * beyond)
            .collect();
        if let Some(guess) = self.char {
            out.push((p[CHARRED] - guess.look.ln()) / CHARRED_SPREAD);
            out.push((p[CHAR_RISE] - guess.rise.ln()) / CHAR_RISE_SPREAD);
            out.push((p[CHAR] - p[HALF] - guess.later.ln()) / CHAR_SPREAD);
        }
        out
    }

    /// Minimises over the `free` parameters from `start`.
    pub fn solve(&self, start: [f64; 7], free: &[usize]) -> Option<Solved> {
        let whole = |x: &[f64]| {
            let mut all = start;
            free.iter().zip(x).for_each(|(&i, v)| all[i] = *v);
            all
        };
        let first: Vec<f64> = free.iter().map(|&i| start[i]).collect();
        let m = minimise(&first, |x| self.rest(&whole(x)))?;
        let mut error = [f64::NAN; 7];
        free.iter().zip(&m.error).for_each(|(&i, e)| error[i] = *e);
        Some(Solved { all: whole(&m.at), cost: m.cost, error, char: self.char })
    }
}

/// A minimum of the model.
#[derive(Clone)]
pub(super) struct Solved {
    pub all: [f64; 7],
    pub cost: f64,
    /// Standard uncertainty of each parameter as fitted; NaN where it was not free.
    pub error: [f64; 7],
    /// The char that the model expected.
    pub char: Option<CharGuess>,
}
