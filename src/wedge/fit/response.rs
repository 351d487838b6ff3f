//! Fit: the coating's response, with reciprocity, from the lightness of patches of known exposure.

use nalgebra::{DMatrix, DVector};
use serde::{Deserialize, Serialize};

use super::least_squares::robust_size;
use super::model::{
    CHAR, CHAR_RISE, CHAR_RISE_SPREAD, CHARRED, CHARRED_SPREAD, CharGuess, HALF, HIGH, LOW, MARKED, Model,
    RISE, S, Solved,
};
pub use super::model::{Point, ripple};
use crate::colour::{lstar, luminance};
use crate::mark::Response;
use crate::wedge::target::{Expected, Pattern, Wedge};

/// A value that was measured, or the reason why it was not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Known {
    /// Measured.
    Measured {
        /// The value.
        value: f64,
        /// Its standard uncertainty, in the same unit.
        uncertainty: f64,
    },
    /// Not measured.
    NotMeasured {
        /// Why, in words.
        not_measured: String,
    },
}

impl Known {
    /// A value with its standard uncertainty.
    pub fn value(value: f64, uncertainty: f64) -> Self {
        Known::Measured { value, uncertainty }
    }

    /// The reason why there is no value.
    pub fn not(reason: impl Into<String>) -> Self {
        Known::NotMeasured { not_measured: reason.into() }
    }

    /// The value, where there is one.
    pub fn get(&self) -> Option<f64> {
        match self {
            Known::Measured { value, .. } => Some(*value),
            Known::NotMeasured { .. } => None,
        }
    }
}

/// The response with what is known of each of its values.
#[derive(Debug, Clone, PartialEq)]
pub struct ResponseFit {
    /// Values in force: measured where they could be, as expected where not.
    pub response: Response,
    /// The curve through the patches. Where values are not settled one by one they still describe the
    /// patches together; `x_char` is infinite where no char showed.
    pub curve: Response,
    /// Look of a full mark, luminance.
    pub y_marked: Known,
    /// Look of char, luminance.
    pub y_char: Known,
    /// Exposure at half rise, J/mm².
    pub x_half: Known,
    /// Steepness of the rise.
    pub rise: Known,
    /// Exposure at half char, J/mm².
    pub x_char: Known,
    /// Steepness of the char.
    pub char_rise: Known,
    /// Schwarzschild exponent.
    pub schwarzschild: Known,
    /// Root mean square of the residuals, L*.
    pub rms: f64,
    /// Patches that were fitted.
    pub patches: usize,
    /// Fitted L* of each point.
    pub fitted: Vec<f64>,
    /// Exposures between a solid's lines, relative to their mean.
    pub ripple: Vec<f64>,
    /// The curves that explain the patches about as well as [`Self::curve`], each with its weight (sum 1): one
    /// for each look that char may have. Empty where no char showed.
    pub chars: Vec<(f64, Response)>,
    /// How much lighter than it was taken the light over each point is, natural logarithm: what the patches know
    /// of the light beyond the gaps.
    pub light: Vec<f64>,
}

impl ResponseFit {
    /// L* of the curve for a solid of mean exposure `x` (J/mm²), the lines' ripple taken in.
    pub fn lightness(&self, x: f64) -> f64 {
        let n = self.ripple.len().max(1) as f64;
        lstar(self.ripple.iter().map(|e| self.curve.look(x * e)).sum::<f64>() / n)
    }

    /// Char to be expected at the settings `dose` (J/mm²) and `speed` (mm/s), the mean over [`Self::chars`];
    /// `None` where no char showed.
    ///
    /// The best curve alone is a poor judge of where char sets in. Few patches are charred through, so the look
    /// of char is often open to a factor of two, and where a paler char is set the same patches are explained by
    /// one that comes sooner. What is not known is therefore averaged over instead of being settled by the best.
    pub fn char(&self, dose: f64, speed: f64) -> Option<f64> {
        let q = |r: &Response| r.q(dose * (speed / r.v0.0).powf(1.0 - r.schwarzschild));
        (!self.chars.is_empty()).then(|| self.chars.iter().map(|(w, r)| w * q(r)).sum())
    }
}

/// Fits the response to the points. `y_unmarked` is the luminance of the bare coating on the scale of the
/// points' lightness. What the points cannot tell is left as expected and named as not measured.
///
/// The model is the mean over the lines' ripple of `look(D e (v/v0)^(1−s))` as L*, by the
/// Levenberg-Marquardt method from several starts; the char is taken in only where it explains more than
/// chance would (Akaike's corrected criterion lower by 4, Burnham and Anderson 2002). Points far off the
/// curve lose weight (Huber's, at 2.5 robust standard deviations): a flaw in one patch does not bend it.
///
/// `modes` are the ways in which the light over the points may be off, as natural logarithms at one standard
/// deviation, a row for each point (empty: the light is known). Their sizes are estimated in turn with the curve,
/// each held to its standard deviation: dark gaps settle the light less well than the bright patches between them.
pub fn fit(
    points: &[Point],
    modes: &[Vec<f64>],
    ripple: &[f64],
    y_unmarked: f64,
    expected: &Expected,
) -> ResponseFit {
    let seen = points;
    let mut points = seen.to_vec();
    let mut light = vec![0.0; points.len()];
    let mut errors: Vec<f64> = points.iter().map(|p| p.error).collect();
    let s_free = distinct_speeds(seen) >= 1.3;
    let mut solved: Option<Solved> = None;
    let with_light = modes.iter().any(|m| !m.is_empty());
    for _ in 0..if with_light { 6 } else { 3 } {
        let base =
            Model { points: &points, errors: &errors, ripple, y_unmarked, v0: expected.v0.0, char: None };
        let Some(found) = search(&base, expected, s_free, solved.as_ref()) else { break };
        let model = Model { char: found.char, ..base };
        let next = reweighted(&model, &found.all);
        let curve: Vec<f64> = points.iter().map(|p| model.lightness(&found.all, p)).collect();
        solved = Some(found);
        if with_light {
            light = light_over(seen, &next, &curve, modes);
            points = seen.iter().zip(&light).map(|(p, l)| under(p, *l)).collect();
        } else if next == errors {
            break;
        }
        errors = next;
    }
    let base = Model { points: &points, errors: &errors, ripple, y_unmarked, v0: expected.v0.0, char: None };
    match solved {
        Some(s) => ResponseFit { light, ..settle(&base, s, expected, s_free) },
        None => unknown(seen, y_unmarked, expected, "the fit found no curve through the patches"),
    }
}

/// The point if the light over it is `exp(light)` times what it was taken for.
fn under(p: &Point, light: f64) -> Point {
    Point { lightness: lstar(luminance(p.lightness) * (-light).exp()), ..*p }
}

/// Size of the light's error over each point, natural logarithm: the modes fitted to what the curve leaves, each
/// held to its standard deviation (ridge regression with the modes' own prior).
fn light_over(points: &[Point], errors: &[f64], curve: &[f64], modes: &[Vec<f64>]) -> Vec<f64> {
    let k = modes.first().map_or(0, Vec::len);
    // A step of one in the logarithm of light, in L*.
    let slopes: Vec<f64> =
        points.iter().map(|p| (under(p, -1e-4).lightness - under(p, 1e-4).lightness) / 2e-4).collect();
    let a = DMatrix::from_fn(points.len(), k, |i, j| modes[i][j] * slopes[i] / errors[i]);
    let b = DVector::from_fn(points.len(), |i, _| (points[i].lightness - curve[i]) / errors[i]);
    let normal = a.transpose() * &a + DMatrix::identity(k, k);
    let size = normal.cholesky().map(|c| c.solve(&(a.transpose() * b)));
    let size = size.unwrap_or_else(|| DVector::zeros(k));
    modes.iter().map(|m| m.iter().zip(size.iter()).map(|(m, z)| m * z).sum()).collect()
}

/// The points' own errors, widened together where the curve misses the points by more than they say, and one
/// by one where a point lies far off.
fn reweighted(model: &Model<'_>, at: &[f64; 7]) -> Vec<f64> {
    let rest: Vec<f64> =
        model.points.iter().map(|p| (model.lightness(at, p) - p.lightness).abs() / p.error).collect();
    let scale = robust_size(rest.iter().copied()).max(1.0);
    model.points.iter().zip(&rest).map(|(p, z)| p.error * scale * (z / scale / 2.5).max(1.0)).collect()
}

/// The best minimum, with char or without; `known` is that of an earlier round, to start from.
fn search(base: &Model<'_>, expected: &Expected, s_free: bool, known: Option<&Solved>) -> Option<Solved> {
    let bare = lstar(base.y_unmarked);
    let extreme = base
        .points
        .iter()
        .map(|p| p.lightness)
        .max_by(|a, b| (a - bare).abs().total_cmp(&(b - bare).abs()))
        .unwrap_or(bare);
    let marked = luminance(extreme).max(1e-3);
    let halves = half_guesses(base.points, bare, extreme, expected);
    let start = |half: f64, s: f64| -> [f64; 7] {
        let char_rise = expected.char_rise.ln();
        [marked.ln(), half.ln(), 5f64.ln(), s, expected.y_char.max(1e-3).ln(), (4.0 * half).ln(), char_rise]
    };
    let mut free = vec![MARKED, HALF, RISE];
    if s_free {
        free.push(S);
    }
    let plain: Vec<[f64; 7]> = match known {
        Some(k) => vec![k.all],
        None => {
            halves.iter().flat_map(|&h| [expected.schwarzschild, 0.65, 0.95].map(|s| start(h, s))).collect()
        }
    };
    let rising = best(plain.into_iter().filter_map(|s| base.solve(s, &free)));
    let with: Vec<usize> = free.iter().copied().chain([CHARRED, CHAR, CHAR_RISE]).collect();
    let n = base.points.len();
    let mut both = None;
    if n >= with.len() + 2 {
        // Char may look otherwise than expected, too: as soot, which reflects 2 % to 4 %, and darker than the
        // darkest patch, which is on its way there.
        let looks = [expected.y_char.max(1e-3), 0.03f64.min(0.5 * marked)];
        let later = (expected.x_char.0 / expected.x_half.0).clamp(1.5, 20.0);
        let guesses = looks.map(|look| CharGuess { look, rise: expected.char_rise, later });
        let starts: Vec<[f64; 7]> = match known {
            Some(k) if k.char.is_some() => vec![k.all],
            _ => rising
                .iter()
                .map(|r| r.all)
                .chain(halves.iter().map(|&h| start(h, rising.as_ref().map_or(0.8, |r| r.all[S]))))
                .flat_map(|all| [2.5f64, 4.5].map(|ratio| with_char_at(all, ratio)))
                .collect(),
        };
        both = best(guesses.into_iter().flat_map(|g| starts.iter().map(move |s| (g, *s))).filter_map(
            |(g, mut s)| {
                if known.is_none_or(|k| k.char.is_none()) {
                    s[CHARRED] = g.look.ln();
                }
                Model { char: Some(g), ..*base }.solve(s, &with)
            },
        ));
    }
    let n = n as f64;
    let score = |cost: f64, k: f64| cost + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0).max(1.0);
    match (rising, both) {
        (Some(a), Some(b)) => {
            // Of the char's three values two are roughly known beforehand: it counts as one parameter.
            let k = free.len() as f64;
            Some(if score(a.cost, k) - score(b.cost, k + 1.0) > 4.0 { b } else { a })
        }
        (a, b) => a.or(b),
    }
}

fn with_char_at(mut all: [f64; 7], ratio: f64) -> [f64; 7] {
    all[CHAR] = all[HALF] + ratio.ln();
    all
}

fn best(all: impl Iterator<Item = Solved>) -> Option<Solved> {
    all.min_by(|a, b| a.cost.total_cmp(&b.cost))
}

/// Names what the points leave open; of the mark's own values it is then fixed, at the expected value where
/// the points do not speak against it, and the rest fitted again.
fn settle(base: &Model<'_>, mut solved: Solved, expected: &Expected, s_free: bool) -> ResponseFit {
    let model = Model { char: solved.char, ..*base };
    let mut notes: [Option<String>; 7] = Default::default();
    let mut free = vec![MARKED, HALF, RISE];
    if s_free {
        free.push(S);
    } else {
        notes[S] = Some("it needs speeds that differ by a factor of 1.3 or more".into());
    }
    if solved.char.is_some() {
        free.extend([CHARRED, CHAR, CHAR_RISE]);
    } else {
        let why = "no patch was over-burnt; its exposure lies above the largest of the wedge";
        for i in [CHARRED, CHAR, CHAR_RISE] {
            notes[i] = Some(why.into());
        }
    }
    // Look and steepness of char count as measured where the patches know them better by far than was known before.
    let limits = [0.25, 0.25, 0.6, 0.15, 0.5 * CHARRED_SPREAD, 0.25, 0.5 * CHAR_RISE_SPREAD];
    let defaults =
        [expected.y_marked.ln(), expected.x_half.0.ln(), expected.rise.ln(), expected.schwarzschild];
    for i in [CHARRED, CHAR_RISE, S, RISE, CHAR, MARKED, HALF] {
        let settled = solved.error[i] <= limits[i];
        let at_limit = solved.all[i] <= LOW[i] + 1e-3 || solved.all[i] >= HIGH[i] - 1e-3;
        if !free.contains(&i) || (settled && !at_limit) {
            continue;
        }
        notes[i] = Some("the patches do not settle it".into());
        let Some(&usual) = defaults.get(i) else { continue };
        free.retain(|&j| j != i);
        let fixed_at = |v: f64| {
            let mut start = solved.all;
            start[i] = v;
            model.solve(start, &free)
        };
        let (usual, own) = (fixed_at(usual), fixed_at(solved.all[i]));
        // A rise of the cost by 4 is two standard deviations.
        let allowed = own.as_ref().map_or(f64::INFINITY, |o| o.cost + 4.0);
        match (usual, own) {
            (Some(f), _) if f.cost <= allowed => solved = f,
            (_, Some(f)) => solved = f,
            _ => {}
        }
    }
    let mut out = report(&model, &solved, &notes, expected);
    out.chars = chars(&model, &solved, &free);
    out
}

/// The curve at each look that char may have, the other parameters fitted anew, with its share of the posterior
/// probability (profile likelihood with what is known beforehand).
fn chars(model: &Model<'_>, solved: &Solved, free: &[usize]) -> Vec<(f64, Response)> {
    const STEP: f64 = 0.15;
    if solved.char.is_none() {
        return Vec::new();
    }
    let others: Vec<usize> = free.iter().copied().filter(|&i| i != CHARRED).collect();
    let mut all = vec![(solved.cost, model.response(&solved.all))];
    for way in [-STEP, STEP] {
        let mut at = solved.all;
        // Three standard deviations of what is known beforehand: beyond, nothing is likely.
        for _ in 0..(3.0 * CHARRED_SPREAD / STEP) as usize {
            at[CHARRED] += way;
            let Some(next) = model.solve(at, &others) else { break };
            if next.cost > solved.cost + 12.0 {
                break;
            }
            at = next.all;
            all.push((next.cost, model.response(&at)));
        }
    }
    let least = all.iter().map(|a| a.0).fold(f64::INFINITY, f64::min);
    let weights: Vec<f64> = all.iter().map(|a| (-0.5 * (a.0 - least)).exp()).collect();
    let sum: f64 = weights.iter().sum();
    all.into_iter().zip(weights).map(|((_, r), w)| (w / sum, r)).collect()
}

fn report(
    model: &Model<'_>,
    solved: &Solved,
    notes: &[Option<String>; 7],
    expected: &Expected,
) -> ResponseFit {
    let curve = model.response(&solved.all);
    let known = |i: usize, log: bool| match &notes[i] {
        Some(why) => Known::not(why.clone()),
        None => {
            let v = if log { solved.all[i].exp() } else { solved.all[i] };
            Known::value(v, if log { v * solved.error[i] } else { solved.error[i] })
        }
    };
    let fitted: Vec<f64> = model.points.iter().map(|p| model.lightness(&solved.all, p)).collect();
    let squares: f64 = fitted.iter().zip(model.points).map(|(f, p)| (f - p.lightness).powi(2)).sum();
    let or = |i: usize, fitted: f64, usual: f64| if notes[i].is_some() { usual } else { fitted };
    ResponseFit {
        y_marked: known(MARKED, true),
        y_char: known(CHARRED, true),
        x_half: known(HALF, true),
        rise: known(RISE, true),
        x_char: known(CHAR, true),
        char_rise: known(CHAR_RISE, true),
        schwarzschild: known(S, false),
        rms: (squares / model.points.len().max(1) as f64).sqrt(),
        patches: model.points.len(),
        fitted,
        ripple: model.ripple.to_vec(),
        chars: Vec::new(),
        light: vec![0.0; model.points.len()],
        response: Response {
            y_unmarked: curve.y_unmarked,
            y_marked: or(MARKED, curve.y_marked, expected.y_marked),
            y_char: or(CHARRED, curve.y_char, expected.y_char),
            x_half: or(HALF, curve.x_half, expected.x_half.0),
            rise: or(RISE, curve.rise, expected.rise),
            x_char: or(CHAR, curve.x_char, expected.x_char.0),
            char_rise: or(CHAR_RISE, curve.char_rise, expected.char_rise),
            schwarzschild: or(S, curve.schwarzschild, expected.schwarzschild),
            v0: curve.v0,
        },
        curve,
    }
}

/// A fit of which nothing is known, for one reason.
pub fn unknown(points: &[Point], y_unmarked: f64, expected: &Expected, why: &str) -> ResponseFit {
    let not = || Known::not(why);
    ResponseFit {
        response: Response { y_unmarked, ..expected.response() },
        curve: Response { y_unmarked, ..expected.response() },
        y_marked: not(),
        y_char: not(),
        x_half: not(),
        rise: not(),
        x_char: not(),
        char_rise: not(),
        schwarzschild: not(),
        rms: f64::NAN,
        patches: points.len(),
        fitted: Vec::new(),
        ripple: vec![1.0],
        chars: Vec::new(),
        light: vec![0.0; points.len()],
    }
}

fn distinct_speeds(points: &[Point]) -> f64 {
    let low = points.iter().map(|p| p.speed).fold(f64::INFINITY, f64::min);
    let high = points.iter().map(|p| p.speed).fold(0.0, f64::max);
    if low > 0.0 && low.is_finite() { high / low } else { 1.0 }
}

/// Exposures at which the patches pass half way from bare to the extreme, and the expected one.
fn half_guesses(points: &[Point], bare: f64, extreme: f64, expected: &Expected) -> Vec<f64> {
    let exposure = |p: &Point| p.dose * (p.speed / expected.v0.0).powf(1.0 - expected.schwarzschild);
    let mut sorted: Vec<(f64, f64)> =
        points.iter().map(|p| (exposure(p), (p.lightness - bare) / (extreme - bare))).collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let passed = sorted.windows(2).find(|w| w[0].1 < 0.5 && w[1].1 >= 0.5).map(|w| (w[0].0 * w[1].0).sqrt());
    let mut out = vec![passed.unwrap_or(expected.x_half.0)];
    if passed.is_some_and(|p| (p / expected.x_half.0).ln().abs() > 0.2) {
        out.push(expected.x_half.0);
    }
    out
}

/// The points of a wedge's solid patches.
pub fn points(wedge: &Wedge, measured: &[Option<(f64, f64)>]) -> Vec<(usize, Point)> {
    wedge
        .patches
        .iter()
        .zip(measured)
        .enumerate()
        .filter(|(_, (p, _))| p.pattern == Pattern::Solid)
        .filter_map(|(i, (p, m))| {
            let (lightness, error) = (*m)?;
            Some((i, Point { dose: wedge.dose(&p.dial), speed: p.dial.speed.0, lightness, error }))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::model::ripple_of;
    use super::*;
    use crate::units::{JoulesPerMm2, MmPerS};

    fn expected() -> Expected {
        Expected {
            y_unmarked: 0.03,
            y_marked: 0.65,
            y_char: 0.10,
            x_half: JoulesPerMm2(2.2),
            rise: 6.25,
            x_char: JoulesPerMm2(9.0),
            char_rise: 8.0,
            schwarzschild: 0.8,
            v0: MmPerS(12.5),
            measured: false,
        }
    }

    fn numbers(v: &serde_json::Value, key: &str) -> Vec<f64> {
        v[key].as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
    }

    #[test]
    fn the_fit_is_that_of_scipy_on_the_same_data() {
        // tests/outside/make_wedge_fit.py: scipy.optimize.least_squares, its own model.
        let v: serde_json::Value =
            serde_json::from_str(include_str!("../../../tests/data/wedge/fit.json")).unwrap();
        let (dose, speed, l) = (numbers(&v, "dose"), numbers(&v, "speed"), numbers(&v, "lightness"));
        let points: Vec<Point> = dose
            .iter()
            .zip(&speed)
            .zip(&l)
            .map(|((&dose, &speed), &lightness)| Point { dose, speed, lightness, error: 0.5 })
            .collect();
        let across = v["beam_mm"].as_f64().unwrap() / v["pitch_mm"].as_f64().unwrap();
        let waves = ripple_of(across);
        let f = fit(&points, &[], &waves, v["y_unmarked"].as_f64().unwrap(), &expected());
        for (name, known) in [
            ("y_marked", &f.y_marked),
            ("x_half", &f.x_half),
            ("rise", &f.rise),
            ("schwarzschild", &f.schwarzschild),
            ("y_char", &f.y_char),
            ("x_char", &f.x_char),
            ("char_rise", &f.char_rise),
        ] {
            let want = numbers(&v["fit"], name);
            let Known::Measured { value, uncertainty } = known else { panic!("{name}: {known:?}") };
            assert!((value / want[0] - 1.0).abs() < 2e-3, "{name}: {value} for {}", want[0]);
            assert!((uncertainty / want[1] - 1.0).abs() < 0.05, "{name}: ± {uncertainty} for {}", want[1]);
        }
    }

    fn made(dose: f64, speed: f64, r: &Response) -> Point {
        let x = dose * (speed / r.v0.0).powf(1.0 - r.schwarzschild);
        Point { dose, speed, lightness: lstar(r.look(x)), error: 0.3 }
    }

    /// Forty patches at four speeds, each four of a dose `step` J/mm² larger, from `first` steps on.
    fn forty(step: f64, first: u32, r: &Response) -> Vec<Point> {
        let speeds = [6.0, 9.0, 13.0, 20.0];
        (0..40).map(|i| made(step * f64::from(i / 4 + first), speeds[i as usize % 4], r)).collect()
    }

    #[test]
    fn what_the_patches_do_not_show_is_not_measured() {
        let r = expected().response();
        // One speed: nothing is known of reciprocity; doses up to 4 J/mm²: nothing of char.
        let points: Vec<Point> = (2..14).map(|i| made(0.3 * f64::from(i), 12.5, &r)).collect();
        let f = fit(&points, &[], &[1.0], 0.03, &expected());
        assert!((f.x_half.get().unwrap() - 2.2).abs() < 0.02);
        assert!(f.schwarzschild.get().is_none() && f.x_char.get().is_none(), "{f:?}");
        assert_eq!(f.response.schwarzschild, 0.8);
        assert!(!f.curve.x_char.is_finite());
    }

    #[test]
    fn light_that_the_gaps_leave_open_is_told_by_the_patches() {
        let true_points = forty(0.25, 2, &expected().response());
        // A slope of light of 0.6 % at one standard deviation, across places that have nothing to do with dose.
        let modes: Vec<Vec<f64>> =
            (0..40).map(|i| vec![0.006 * (f64::from(i * 7 % 40) / 20.0 - 1.0)]).collect();
        let points: Vec<Point> = true_points
            .iter()
            .zip(&modes)
            .map(|(p, m)| Point { error: 0.03, ..under(p, -1.3 * m[0]) })
            .collect();
        let f = fit(&points, &modes, &[1.0], 0.03, &expected());
        for (l, m) in f.light.iter().zip(&modes) {
            assert!((l - 1.3 * m[0]).abs() < 0.15 * 0.006, "{l} for {}", 1.3 * m[0]);
        }
        assert!((f.x_half.get().unwrap() / 2.2 - 1.0).abs() < 2e-3);
    }

    #[test]
    fn char_is_the_mean_over_the_looks_it_may_have() {
        let r = expected().response();
        let f = fit(&forty(0.8, 1, &r), &[], &[1.0], 0.03, &expected());
        assert!((f.chars.iter().map(|c| c.0).sum::<f64>() - 1.0).abs() < 1e-9 && f.chars.len() > 3);
        let five = r.exposure_at_char(0.05);
        assert!((f.char(five, 12.5).unwrap() - 0.05).abs() < 0.01, "{:?}", f.char(five, 12.5));
    }
}
