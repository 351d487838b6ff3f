//! Fit: the coating's response, with reciprocity, from the lightness of patches of known exposure.

use serde::{Deserialize, Serialize};

use super::least_squares::minimise;
use super::photo::lightness;
use super::sheet::{Expected, Pattern, Wedge};
use crate::mark::{Response, Taps};

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
}

/// Index of each parameter in the vector of the fit. Positive values are fitted as logarithms.
const MARKED: usize = 0;
const HALF: usize = 1;
const RISE: usize = 2;
const S: usize = 3;
const CHARRED: usize = 4;
const CHAR: usize = 5;
const CHAR_RISE: usize = 6;
/// Limits of the parameters, as fitted: no coating is steeper than 30 or marks outside 0.05–50 J/mm².
const LOW: [f64; 7] = [-7.0, -3.0, 0.0, 0.2, -7.0, -2.3, 0.3];
const HIGH: [f64; 7] = [0.3, 3.9, 3.4, 1.4, 0.0, 5.3, 3.4];

/// Exposures between the lines of a solid, relative to its mean: the beam's profile across, summed over lines.
pub fn ripple(wedge: &Wedge) -> Vec<f64> {
    ripple_of(wedge.beam_across.0 / wedge.pitch_across.0)
}

/// The same for a beam of `across` pitches.
fn ripple_of(across: f64) -> Vec<f64> {
    let radius = Taps::radius_for(across);
    let taps = Taps::new(1.0, across, 8, radius);
    taps.across.chunks(2 * radius + 1).map(|c| c.iter().map(|&v| f64::from(v)).sum()).collect()
}

struct Model<'a> {
    points: &'a [Point],
    ripple: &'a [f64],
    y_unmarked: f64,
    v0: f64,
    with_char: bool,
}

impl Model<'_> {
    fn response(&self, p: &[f64; 7]) -> Response {
        let c = |i: usize| p[i].clamp(LOW[i], HIGH[i]);
        Response {
            y_unmarked: self.y_unmarked,
            y_marked: c(MARKED).exp(),
            y_char: c(CHARRED).exp(),
            x_half: c(HALF).exp(),
            rise: c(RISE).exp(),
            x_char: if self.with_char { c(CHAR).exp() } else { f64::INFINITY },
            char_rise: c(CHAR_RISE).exp(),
            schwarzschild: c(S),
            v0: crate::units::MmPerS(self.v0),
        }
    }

    fn lightness(&self, p: &[f64; 7], point: &Point) -> f64 {
        let r = self.response(p);
        let x = point.dose * (point.speed / self.v0).powf(1.0 - r.schwarzschild);
        let y = self.ripple.iter().map(|e| r.look(x * e)).sum::<f64>() / self.ripple.len() as f64;
        lightness(y)
    }

    fn rest(&self, p: &[f64; 7]) -> Vec<f64> {
        // A parameter beyond its limit is pulled back, so that the fit does not drift along a flat.
        let mut beyond: f64 = (0..7).map(|i| (p[i] - p[i].clamp(LOW[i], HIGH[i])).abs()).sum();
        if self.with_char {
            // Char comes after the mark, never before: without this a coating that marks dark and chars
            // darker would fit as well with the two changed over.
            beyond += (p[HALF] + 0.25 - p[CHAR]).max(0.0);
        }
        self.points.iter().map(|q| (self.lightness(p, q) - q.lightness) / q.error + 10.0 * beyond).collect()
    }

    fn solve(&self, start: [f64; 7], free: &[usize]) -> Option<Solved> {
        let whole = |x: &[f64]| {
            let mut all = start;
            free.iter().zip(x).for_each(|(&i, v)| all[i] = *v);
            all
        };
        let first: Vec<f64> = free.iter().map(|&i| start[i]).collect();
        let m = minimise(&first, |x| self.rest(&whole(x)))?;
        let mut error = [f64::NAN; 7];
        free.iter().zip(&m.error).for_each(|(&i, e)| error[i] = *e);
        Some(Solved { all: whole(&m.at), cost: m.cost, error })
    }
}

struct Solved {
    all: [f64; 7],
    cost: f64,
    /// Standard uncertainty of each parameter as fitted; NaN where it was not free.
    error: [f64; 7],
}

/// Fits the response to the points. `y_unmarked` is the luminance of the bare coating on the scale of the
/// points' lightness. What the points cannot tell is left as expected and named as not measured.
///
/// The model is the mean over the lines' ripple of `look(D e (v/v0)^(1−s))` as L*, by the
/// Levenberg-Marquardt method from several starts; the char is taken in only where it explains more than
/// chance would (Akaike's corrected criterion lower by 6, Burnham and Anderson 2002).
pub fn fit(points: &[Point], ripple: &[f64], y_unmarked: f64, expected: &Expected) -> ResponseFit {
    let base = |with_char| Model { points, ripple, y_unmarked, v0: expected.v0.0, with_char };
    let bare = lightness(y_unmarked);
    let extreme = points
        .iter()
        .map(|p| p.lightness)
        .max_by(|a, b| (a - bare).abs().total_cmp(&(b - bare).abs()))
        .unwrap_or(bare);
    let distinct = distinct_speeds(points);
    let s_free = distinct >= 1.3;
    let start = |half: f64, k: f64, s: f64, charred: f64, y_char: f64| -> [f64; 7] {
        [
            super::photo::luminance(extreme).max(1e-3).ln(),
            half.ln(),
            k.ln(),
            s,
            y_char.max(1e-3).ln(),
            (half * charred).ln(),
            expected.char_rise.ln(),
        ]
    };
    let halves = half_guesses(points, bare, extreme, expected);
    let mut rising: Option<Solved> = None;
    let mut both: Option<Solved> = None;
    let less = |a: &Solved, b: &Option<Solved>| b.as_ref().is_none_or(|b| a.cost < b.cost);
    for &half in &halves {
        for s in [expected.schwarzschild, 0.65, 0.95] {
            let mut free = vec![MARKED, HALF, RISE];
            if s_free {
                free.push(S);
            }
            if let Some(f) = base(false).solve(start(half, 5.0, s, 4.0, expected.y_char), &free)
                && less(&f, &rising)
            {
                rising = Some(f);
            }
            // Char may look otherwise than expected: darker than the darkest patch, too.
            let darker = 0.5 * super::photo::luminance(extreme);
            for (ratio, y_char) in
                [(2.5, expected.y_char), (4.5, expected.y_char), (2.5, darker), (4.5, darker)]
            {
                let free: Vec<usize> = free.iter().copied().chain([CHARRED, CHAR, CHAR_RISE]).collect();
                if points.len() < free.len() + 2 {
                    continue;
                }
                if let Some(f) = base(true).solve(start(half, 5.0, s, ratio, y_char), &free)
                    && less(&f, &both)
                {
                    both = Some(f);
                }
            }
        }
    }
    let n = points.len() as f64;
    let score = |cost: f64, k: f64| cost + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0).max(1.0);
    let k = if s_free { 4.0 } else { 3.0 };
    let with_char = match (&rising, &both) {
        (Some(a), Some(b)) => score(a.cost, k) - score(b.cost, k + 3.0) > 6.0,
        (None, Some(_)) => true,
        _ => false,
    };
    let Some(mut solved) = (if with_char { both } else { rising }) else {
        return unknown(points, y_unmarked, expected, "the fit found no curve through the patches");
    };
    let mut free = vec![MARKED, HALF, RISE];
    let mut notes: [Option<String>; 7] = Default::default();
    if s_free {
        free.push(S);
    } else {
        notes[S] = Some("it needs speeds that differ by a factor of 1.3 or more".into());
    }
    if with_char {
        free.extend([CHARRED, CHAR, CHAR_RISE]);
    } else {
        let why = "no patch was over-burnt; its exposure lies above the largest of the wedge";
        for i in [CHARRED, CHAR, CHAR_RISE] {
            notes[i] = Some(why.into());
        }
    }
    // What the points leave open is fixed, the least certain first, and the rest fitted again: at the
    // expected value where the points do not speak against it, else at the fitted one.
    let limits = [0.25, 0.25, 0.6, 0.15, 0.5, 0.25, 0.6];
    let defaults = [
        expected.y_marked.ln(),
        expected.x_half.0.ln(),
        expected.rise.ln(),
        expected.schwarzschild,
        expected.y_char.max(1e-3).ln(),
        expected.x_char.0.ln(),
        expected.char_rise.ln(),
    ];
    for i in [CHARRED, CHAR_RISE, S, RISE, CHAR, MARKED, HALF] {
        let settled = solved.error[i] <= limits[i];
        let at_limit = solved.all[i] <= LOW[i] + 1e-3 || solved.all[i] >= HIGH[i] - 1e-3;
        if !free.contains(&i) || (settled && !at_limit) {
            continue;
        }
        notes[i] = Some("the patches do not settle it".into());
        free.retain(|&j| j != i);
        let fixed_at = |v: f64| {
            let mut start = solved.all;
            start[i] = v;
            base(with_char).solve(start, &free)
        };
        let (usual, own) = (fixed_at(defaults[i]), fixed_at(solved.all[i]));
        // A rise of the cost by 4 is two standard deviations.
        let allowed = own.as_ref().map_or(f64::INFINITY, |o| o.cost + 4.0);
        match (usual, own) {
            (Some(f), _) if f.cost <= allowed => solved = f,
            (_, Some(f)) => solved = f,
            _ => {}
        }
    }
    report(&base(with_char), &solved, &notes, expected)
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
            let error = error.hypot(0.3);
            Some((i, Point { dose: wedge.dose(&p.dial), speed: p.dial.speed.0, lightness, error }))
        })
        .collect()
}

#[cfg(test)]
mod tests {
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
            serde_json::from_str(include_str!("../../tests/data/wedge/fit.json")).unwrap();
        let (dose, speed, l) = (numbers(&v, "dose"), numbers(&v, "speed"), numbers(&v, "lightness"));
        let points: Vec<Point> = dose
            .iter()
            .zip(&speed)
            .zip(&l)
            .map(|((&dose, &speed), &lightness)| Point { dose, speed, lightness, error: 0.5 })
            .collect();
        let across = v["beam_mm"].as_f64().unwrap() / v["pitch_mm"].as_f64().unwrap();
        let waves = ripple_of(across);
        let f = fit(&points, &waves, v["y_unmarked"].as_f64().unwrap(), &expected());
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
        Point { dose, speed, lightness: lightness(r.look(x)), error: 0.3 }
    }

    #[test]
    fn what_the_patches_do_not_show_is_not_measured() {
        let r = expected().response();
        // One speed: nothing is known of reciprocity; doses up to 4 J/mm²: nothing of char.
        let points: Vec<Point> = (2..14).map(|i| made(0.3 * f64::from(i), 12.5, &r)).collect();
        let f = fit(&points, &[1.0], 0.03, &expected());
        assert!((f.x_half.get().unwrap() - 2.2).abs() < 0.02);
        assert!(f.schwarzschild.get().is_none() && f.x_char.get().is_none(), "{f:?}");
        assert_eq!(f.response.schwarzschild, 0.8);
        assert!(!f.curve.x_char.is_finite());
    }
}
