//! Model: the coating's response and the beam under trial, against patches of known exposure.

use nalgebra::{DMatrix, DVector};

use super::exposures::Exposures;
use super::least_squares::minimise;
use crate::colour::lstar;
use crate::mark::Response;
use crate::parallel;
use crate::wedge::spread::square;
use crate::wedge::target::Pattern;

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
    /// What it is filled with: index of the fit's fills.
    pub fill: usize,
    /// The sheet that it lies on: 0 for the one that is read, then those read before.
    pub sheet: usize,
    /// Where it lies on the piece: from −1 at the left and the upper edge to 1 at the right and the lower one; 0 on sheets
    /// read before.
    pub place: [f64; 2],
    /// Times each line was marked.
    pub passes: f64,
    /// Whether it was burnt to be charred, beside the grid; of sheets read before that is not known.
    pub charred: bool,
}

/// Sheets read before that a fit takes in, at most.
pub const EARLIER: usize = 3;
/// Parameters of the fit.
pub(super) const ALL: usize = 9 + EARLIER + 2;
/// The parameters, in their order. Positive values are fitted as logarithms.
pub(super) type Parameters = [f64; ALL];

/// Index of each parameter in the vector of the fit.
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
/// The beam's diameter along the lines.
pub(super) const ALONG: usize = 7;
/// The beam's diameter across them.
pub(super) const ACROSS: usize = 8;
/// The look of a full mark on the first sheet read before; the others follow. A photo's light is known to a factor only.
pub(super) const OTHER: usize = 9;
/// Slope of the coating's sensitivity from the piece's middle to its right and to its lower edge, natural logarithm: a brush
/// leaves more paint on one side. Without it a slope passes for reciprocity, for speeds grow from left to right.
pub(super) const SLOPE: usize = OTHER + EARLIER;
/// What is known of it beforehand, one standard deviation (own judgement): 8 % where speeds and powers lie over the sheet in an
/// order of their own; 3 % where they grow from side to side, for with more of it open reciprocity is no longer told from one photo.
pub(super) const SLOPE_SPREAD: (f64, f64) = (0.03, 0.08);
/// Limits of the parameters, as fitted: no coating is steeper than 30 or marks outside 0.05–50 J/mm², no beam is outside
/// 0.01–2 mm. A full mark may be three times as light as white: on a relative scale it is where the lightest patch is a fifth of it.
pub(super) const LOW: Parameters =
    [-7.0, -3.0, 0.0, 0.2, -7.0, -2.3, 0.3, -4.6, -4.6, -7.0, -7.0, -7.0, -0.4, -0.4];
/// See [`LOW`].
pub(super) const HIGH: Parameters = [1.1, 3.9, 3.4, 1.4, 0.0, 5.3, 3.4, 0.7, 0.7, 1.1, 1.1, 1.1, 0.4, 0.4];

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

/// What is known of the beam beforehand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeamGuess {
    /// 1/e² diameters along and across the lines, mm.
    pub beam: [f64; 2],
    /// Their standard uncertainty, as natural logarithms; 0 takes them as known and fits neither.
    pub spread: f64,
}

/// Points with what the model needs to meet them.
#[derive(Clone, Copy)]
pub(super) struct Model<'a> {
    pub points: &'a [Point],
    /// Standard uncertainty of each point in force, L*.
    pub errors: &'a [f64],
    /// The exposures of the points' fills.
    pub exposures: &'a Exposures,
    /// Luminance of the bare coating on each sheet.
    pub bare: &'a [f64],
    pub beam: BeamGuess,
    pub v0: f64,
    /// The char that is expected; none for a response without char.
    pub char: Option<CharGuess>,
    /// What makes the points' errors in force independent, where they share some (the inverse of the Cholesky factor of their
    /// covariance).
    pub white: Option<&'a DMatrix<f64>>,
    /// What is known of the coating's slope beforehand, see [`slope_spread`].
    pub slope: f64,
}

/// How much of a slope the points leave room for: little, where speed grows with the place.
pub(super) fn slope_spread(points: &[Point]) -> f64 {
    let own = || points.iter().filter(|p| p.sheet == 0);
    let n = own().count().max(1) as f64;
    let mean = |of: &dyn Fn(&Point) -> f64| own().map(of).sum::<f64>() / n;
    let (x, v) = (mean(&|p| p.place[0]), mean(&|p| libm::log(p.speed)));
    let shared = mean(&|p| (p.place[0] - x) * (libm::log(p.speed) - v));
    let squares = mean(&|p| square(p.place[0] - x)) * mean(&|p| square(libm::log(p.speed) - v));
    if square(shared) > 0.25 * squares { SLOPE_SPREAD.0 } else { SLOPE_SPREAD.1 }
}

impl Model<'_> {
    /// The response that the parameters stand for; `x_char` is infinite without char.
    pub fn response(&self, p: &Parameters) -> Response {
        let c = |i: usize| p[i].clamp(LOW[i], HIGH[i]);
        Response {
            y_unmarked: self.bare.first().copied().unwrap_or(0.0),
            y_marked: libm::exp(c(MARKED)),
            y_char: libm::exp(c(CHARRED)),
            x_half: libm::exp(c(HALF)),
            rise: libm::exp(c(RISE)),
            x_char: if self.char.is_some() { libm::exp(c(CHAR)) } else { f64::INFINITY },
            char_rise: libm::exp(c(CHAR_RISE)),
            schwarzschild: c(S),
            v0: crate::units::MmPerS(self.v0),
        }
    }

    /// The same on another sheet, whose photo has its own scale of light.
    fn response_on(&self, p: &Parameters, sheet: usize) -> Response {
        let own = self.response(p);
        let Some(k) = sheet.checked_sub(1) else { return own };
        let i = OTHER + k.min(EARLIER - 1);
        let y_marked = libm::exp(p[i].clamp(LOW[i], HIGH[i]));
        Response {
            y_unmarked: self.bare.get(sheet).copied().unwrap_or(own.y_unmarked),
            y_marked,
            y_char: own.y_char * y_marked / own.y_marked,
            ..own
        }
    }

    /// The beam that the parameters stand for, mm.
    pub fn beam_of(&self, p: &Parameters) -> [f64; 2] {
        [ALONG, ACROSS].map(|i| libm::exp(p[i].clamp(LOW[i], HIGH[i])))
    }

    /// L* of each point: the mean look over its exposures.
    pub fn lightnesses(&self, p: &Parameters) -> Vec<f64> {
        let parts = self.exposures.under(self.beam_of(p));
        let sheets: Vec<Response> = (0..self.bare.len().max(1)).map(|s| self.response_on(p, s)).collect();
        let of = |point: &Point| {
            let (Some(parts), Some(r)) = (parts.get(point.fill), sheets.get(point.sheet)) else { return 0.0 };
            let slope = p[SLOPE] * point.place[0] + p[SLOPE + 1] * point.place[1];
            let x = point.dose * libm::pow(point.speed / self.v0, 1.0 - r.schwarzschild) * libm::exp(slope);
            lstar(parts.iter().map(|(e, share)| share * r.look(x * e)).sum::<f64>())
        };
        self.points.iter().map(of).collect()
    }

    /// How L* of each point changes with the logarithm of its exposure.
    pub fn steepness(&self, p: &Parameters) -> Vec<f64> {
        let step = 0.01f64;
        let times = |by: f64| -> Vec<f64> {
            let points: Vec<Point> =
                self.points.iter().map(|q| Point { dose: q.dose * libm::exp(by), ..*q }).collect();
            Model { points: &points, ..*self }.lightnesses(p)
        };
        times(step).iter().zip(times(-step)).map(|(a, b)| (a - b) / (2.0 * step)).collect()
    }

    /// Which parameters the points may tell, char left out; `s_free`: speeds differ enough for the exponent.
    pub fn free(&self, s_free: bool) -> Vec<usize> {
        let mut free = vec![MARKED, HALF, RISE];
        if s_free {
            free.push(S);
        }
        if self.beam.spread > 0.0 {
            free.push(ACROSS);
            if self.exposures.fills().iter().any(|f| f.shows_along()) {
                free.push(ALONG);
            }
        }
        free.extend((1..self.bare.len().min(EARLIER + 1)).map(|s| OTHER + s - 1));
        if self.sloped() {
            free.extend([SLOPE, SLOPE + 1]);
        }
        free
    }

    /// Whether there are patches enough, and spread enough, to tell a slope of the coating.
    fn sloped(&self) -> bool {
        let spread = |i: usize| {
            let at = || self.points.iter().map(move |p| p.place[i]);
            at().fold(f64::NEG_INFINITY, f64::max) - at().fold(f64::INFINITY, f64::min)
        };
        self.points.len() >= 20 && spread(0) > 0.3 && spread(1) > 0.3
    }

    /// Whether a point is of a solid.
    pub fn is_solid(&self, point: &Point) -> bool {
        self.exposures.fills().get(point.fill).is_some_and(|f| f.pattern == Pattern::Solid)
    }

    /// Whether any of its fills is finer than a solid.
    pub fn has_fine(&self) -> bool {
        self.exposures.fills().iter().any(|f| f.pattern != Pattern::Solid)
    }

    fn rest(&self, p: &Parameters) -> Vec<f64> {
        // A parameter beyond its limit is pulled back, so that the fit does not drift along a flat.
        let mut beyond: f64 = (0..ALL).map(|i| (p[i] - p[i].clamp(LOW[i], HIGH[i])).abs()).sum();
        if self.char.is_some() {
            // Char comes after the mark: it reaches 5 % (q = 1/20, so (x_char/x)^m = 19) no sooner than the mark
            // nine tenths (r = 9/10). A coating of which this were not so could not be marked well at any
            // setting; without it a coating that marks dark and chars darker fits as well with a pale char
            // that does half of the marking.
            let nine_tenths = p[HALF] + libm::log(9.0) / libm::exp(p[RISE]);
            let twentieth = p[CHAR] - libm::log(19.0) / libm::exp(p[CHAR_RISE]);
            beyond += (nine_tenths - twentieth).max(0.0);
        }
        let lightnesses = self.lightnesses(p);
        let off =
            lightnesses.iter().zip(self.points).zip(self.errors).map(|((l, q), e)| (l - q.lightness) / e);
        let mut out: Vec<f64> = match self.white {
            Some(white) => (white * DVector::from_vec(off.collect())).iter().copied().collect(),
            None => off.collect(),
        };
        out.iter_mut().for_each(|v| *v += 10.0 * beyond);
        if let Some(guess) = self.char {
            out.push((p[CHARRED] - libm::log(guess.look)) / CHARRED_SPREAD);
            out.push((p[CHAR_RISE] - libm::log(guess.rise)) / CHAR_RISE_SPREAD);
            out.push((p[CHAR] - p[HALF] - libm::log(guess.later)) / CHAR_SPREAD);
        }
        out.extend([p[SLOPE] / self.slope, p[SLOPE + 1] / self.slope]);
        if self.beam.spread > 0.0 {
            out.push((p[ALONG] - libm::log(self.beam.beam[0])) / self.beam.spread);
            out.push((p[ACROSS] - libm::log(self.beam.beam[1])) / self.beam.spread);
        }
        out
    }

    /// How L* of each point changes with each `free` parameter, a column each.
    pub fn slopes(&self, p: &Parameters, free: &[usize]) -> DMatrix<f64> {
        let step = 1e-4;
        let column = |&i: &usize| {
            let (mut up, mut down) = (*p, *p);
            up[i] += step;
            down[i] -= step;
            let (up, down) = (self.lightnesses(&up), self.lightnesses(&down));
            DVector::from_iterator(up.len(), up.iter().zip(&down).map(|(a, b)| (a - b) / (2.0 * step)))
        };
        DMatrix::from_columns(&parallel::map(free.len(), |k| column(&free[k])))
    }

    /// By how much char changes the look of that patch of the grids that shows it best while it is only partly charred, L*. A
    /// patch that is charred through tells what char looks like, but hardly when it sets in.
    pub fn char_seen(&self, p: &Parameters) -> f64 {
        /// Of the whole change.
        const THROUGH: f64 = 0.9;
        let whole = (lstar(libm::exp(p[CHARRED])) - lstar(libm::exp(p[MARKED]))).abs();
        let without = Model { char: None, ..*self }.lightnesses(p);
        let changes = self.lightnesses(p).into_iter().zip(without).map(|(a, b)| (a - b).abs());
        let of_grids = changes.zip(self.points).filter(|(_, p)| !p.charred).map(|(change, _)| change);
        of_grids.filter(|change| *change < THROUGH * whole).fold(0.0, f64::max)
    }

    /// The strongest exposure of the grids' patches, J/mm².
    pub fn strongest(&self, p: &Parameters) -> f64 {
        let exposure = |q: &Point| q.dose * libm::pow(q.speed / self.v0, 1.0 - p[S]);
        self.points.iter().filter(|q| !q.charred && self.is_solid(q)).map(exposure).fold(0.0, f64::max)
    }

    /// Minimises over the `free` parameters from `start`.
    pub fn solve(&self, start: Parameters, free: &[usize]) -> Option<Solved> {
        let whole = |x: &[f64]| {
            let mut all = start;
            free.iter().zip(x).for_each(|(&i, v)| all[i] = *v);
            all
        };
        let first: Vec<f64> = free.iter().map(|&i| start[i]).collect();
        let m = minimise(&first, |x| self.rest(&whole(x)))?;
        let mut error = [f64::NAN; ALL];
        free.iter().zip(&m.error).for_each(|(&i, e)| error[i] = *e);
        let (free, covariance) = (free.to_vec(), m.covariance);
        Some(Solved { all: whole(&m.at), cost: m.cost, error, char: self.char, free, covariance })
    }
}

/// A minimum of the model.
#[derive(Clone)]
pub(super) struct Solved {
    pub all: Parameters,
    pub cost: f64,
    /// Standard uncertainty of each parameter as fitted; NaN where it was not free.
    pub error: Parameters,
    /// The char that the model expected.
    pub char: Option<CharGuess>,
    /// The parameters that were free.
    pub free: Vec<usize>,
    /// The covariance of their errors, in that order; none where they are not settled.
    pub covariance: Option<DMatrix<f64>>,
}
