//! Response: the coating's answer to exposure, with reciprocity, from the lightness of patches of known exposure.

use nalgebra::{DMatrix, DVector};

use super::exposures::Exposures;
use super::fitted::{ResponseFit, unknown};
use super::limited::limited;
use super::model::{BeamGuess, CHAR, CHAR_RISE, CHARRED, Model, Point, Solved, slope_spread};
use super::search::search;
use super::settle::settle;
use super::toned::toned;
use super::uneven::{flat_miss, strays, unevenness};
use super::veil::{self, veil};
use crate::colour::{lstar, luminance};
use crate::progress::{Progress, Stopped};
use crate::texts::text;
use crate::wedge::spread::{robust_size, square};
use crate::wedge::target::Expected;

/// What a fit is made from.
#[derive(Debug, Clone, Copy)]
pub struct Data<'a> {
    /// The patches, those of the sheet that is read first.
    pub points: &'a [Point],
    /// The ways in which the light over the points may be off, as natural logarithms at one standard deviation, a row
    /// for each point (empty: the light is known).
    pub modes: &'a [Vec<f64>],
    /// The ways in which a veil that was taken off may be off over the points, likewise, as shares of the gaps' light.
    pub ways: &'a [Vec<f64>],
    /// The shapes of a veil over the points, to look for one (empty: none is looked for).
    pub shapes: &'a [Vec<f64>],
    /// How much L* of each point grows under a camera's curve that is steeper by one in the middle (empty: not looked for).
    pub tones: &'a [f64],
    /// The exposures of their fills; the first fill is a solid of the sheet that is read.
    pub exposures: &'a Exposures,
    /// Luminance of the bare coating on each sheet, on the scale of its points' lightness.
    pub bare: &'a [f64],
    /// What is known of the beam.
    pub beam: BeamGuess,
}

/// What the first round takes points to be off by besides their own errors, L*: before it is known how uneven the coating is, the
/// curve would bend after its streaks, char and all, and none of them would be left to be seen.
const FIRST: f64 = 0.7;

/// Fits the response, and the beam where fine patterns show it, to the points. What the points cannot tell is left as
/// expected and named as not measured.
///
/// The model is the mean over a pattern's exposures `e` of `look(D e (v/v0)^(1−s))` as L*, by the
/// Levenberg-Marquardt method from several starts; the char is taken in only where it explains more than
/// chance would (Akaike's corrected criterion lower by 4, Burnham and Anderson 2002). Points far off the
/// curve lose weight (Huber's, at 2.5 robust standard deviations): a flaw in one patch does not bend it.
///
/// The beam is held to what was known of it (a normal distribution of its logarithm), so that what is open of it is open
/// in the rise too: a solid between its lines is half of one, half of the other.
///
/// What points are off by together (the light over them, for dark gaps settle it less well than the bright patches between
/// them; a veil that was taken off) is part of their covariance: generalised least squares.
///
/// # Errors
/// [`Stopped`] where the person asked for it.
pub fn fit(data: &Data, expected: &Expected, progress: &dyn Progress) -> Result<ResponseFit, Stopped> {
    let Data { points, exposures, bare, beam, .. } = *data;
    let y_unmarked = bare.first().copied().unwrap_or(expected.y_unmarked);
    let shared = Shared::of(data, y_unmarked);
    let mut errors: Vec<f64> = points.iter().map(|p| libm::hypot(p.error, FIRST)).collect();
    let mut white = shared.white(&errors);
    let s_free = distinct_speeds(points) >= 1.3;
    let mut solved: Option<Solved> = None;
    let rounds = if shared.is_none() { 4 } else { 5 };
    progress.expect(rounds);
    let (v0, slope) = (expected.v0.0, slope_spread(points));
    let (mut off, mut uneven) = (vec![0.0; points.len()], 0.0);
    for _ in 0..rounds {
        progress.go_on(1)?;
        let white_ref = white.as_ref();
        let base =
            Model { points, errors: &errors, exposures, bare, beam, v0, char: None, white: white_ref, slope };
        let Some(found) = search(&base, expected, s_free, solved.as_ref()) else { break };
        let model = Model { char: found.char, ..base };
        let (curve, steep) = (model.lightnesses(&found.all), model.steepness(&found.all));
        solved = Some(found);
        off = shared.off(&shared.sizes(points, &errors, &curve, white_ref));
        uneven = unevenness(points, &curve, &off, &steep, &|p| base.is_solid(p));
        let own: Vec<f64> =
            points.iter().zip(&steep).map(|(p, s)| libm::hypot(p.error, uneven * s)).collect();
        let next = reweighted(points, &own, &curve, &off);
        if next == errors {
            break;
        }
        white = shared.white(&next);
        errors = next;
    }
    let white = white.as_ref();
    let base = Model { points, errors: &errors, exposures, bare, beam, v0, char: None, white, slope };
    let Some(found) = solved else {
        return Ok(unknown(points, y_unmarked, beam.beam, expected, text!("wedge.open.no-curve")));
    };
    let mut free = base.free(s_free);
    free.extend(found.char.map_or(&[][..], |_| &[CHARRED, CHAR, CHAR_RISE]));
    let model = Model { char: found.char, ..base };
    let curve = model.lightnesses(&found.all);
    let slopes = model.slopes(&found.all, &free);
    let veil = (!data.shapes.is_empty())
        .then(|| {
            veil(points, &errors, &curve, &slopes, y_unmarked, data.shapes, &|p| {
                model.is_solid(p) && !p.charred
            })
        })
        .flatten();
    let steep = model.steepness(&found.all);
    let flat_miss = flat_miss(points, &curve, &off, &steep);
    let strays = strays(points, &curve, &off, &steep, uneven, &|p| model.is_solid(p));
    let limited = limited(&model, &found.all, &curve, &off, &slopes);
    let tones = if base.has_fine() { data.tones } else { &[] };
    let toned = toned(points, &errors, &curve, &off, &slopes, tones, &|p| model.is_solid(p));
    let out = settle(&base, found, expected, s_free, data.tones);
    let light = shared.light(&shared.sizes(points, &errors, &out.fitted, white));
    let squares: f64 =
        out.fitted.iter().zip(points).zip(&off).map(|((f, p), o)| square(f - p.lightness - o)).sum();
    let rms = (squares / points.len().max(1) as f64).sqrt();
    Ok(ResponseFit { light, veil, limited, toned, uneven, flat_miss, strays, rms, ..out })
}

/// What points are off by together: the light over them, a veil that was taken off.
struct Shared {
    /// The light's ways over each point, natural logarithm at one standard deviation.
    modes: Vec<Vec<f64>>,
    /// By how much L* is too low for one standard deviation of each way: of the light, then of the veil.
    columns: DMatrix<f64>,
}

impl Shared {
    fn of(data: &Data, y_unmarked: f64) -> Shared {
        let Data { points, modes, ways, .. } = *data;
        let width = |v: &[Vec<f64>]| v.iter().map(Vec::len).max().unwrap_or(0);
        let (lights, veils) = (width(modes), width(ways));
        let at = |v: &[Vec<f64>], i: usize, k: usize| v.get(i).and_then(|r| r.get(k)).copied().unwrap_or(0.0);
        let columns = DMatrix::from_fn(points.len(), lights + veils, |i, k| {
            let p = &points[i];
            if k < lights {
                // A step of one in the logarithm of light, in L*.
                let step = (under(p, 1e-4).lightness - under(p, -1e-4).lightness) / 2e-4;
                step * at(modes, i, k)
            } else {
                veil::slope(p.lightness, y_unmarked) * at(ways, i, k - lights)
            }
        });
        Shared { modes: modes.to_vec(), columns }
    }

    fn is_none(&self) -> bool {
        self.columns.ncols() == 0
    }

    /// The columns in units of the points' errors.
    fn in_errors(&self, errors: &[f64]) -> DMatrix<f64> {
        DMatrix::from_fn(self.columns.nrows(), self.columns.ncols(), |i, k| self.columns[(i, k)] / errors[i])
    }

    /// The inverse of the Cholesky factor of the points' covariance `1 + A Aᵀ` in units of their errors.
    fn white(&self, errors: &[f64]) -> Option<DMatrix<f64>> {
        if self.is_none() {
            return None;
        }
        let a = self.in_errors(errors);
        let n = a.nrows();
        let factor = (DMatrix::identity(n, n) + &a * a.transpose()).cholesky()?.l();
        factor.solve_lower_triangular(&DMatrix::identity(n, n))
    }

    /// How much of each way there is: what the curve leaves of the points, each way held to its standard deviation.
    fn sizes(
        &self,
        points: &[Point],
        errors: &[f64],
        curve: &[f64],
        white: Option<&DMatrix<f64>>,
    ) -> DVector<f64> {
        let Some(white) = white else { return DVector::zeros(0) };
        let rest = DVector::from_fn(points.len(), |i, _| (curve[i] - points[i].lightness) / errors[i]);
        (white * self.in_errors(errors)).transpose() * (white * rest)
    }

    /// By how much each point's L* is too low.
    fn off(&self, sizes: &DVector<f64>) -> Vec<f64> {
        if sizes.is_empty() {
            return vec![0.0; self.columns.nrows()];
        }
        (&self.columns * sizes).iter().copied().collect()
    }

    /// The light over each point, natural logarithm.
    fn light(&self, sizes: &DVector<f64>) -> Vec<f64> {
        let of = |m: &Vec<f64>| m.iter().zip(sizes.iter()).map(|(m, z)| m * z).sum::<f64>();
        let mut out: Vec<f64> = self.modes.iter().map(of).collect();
        out.resize(self.columns.nrows(), 0.0);
        out
    }
}

/// The point if the light over it is `exp(light)` times what it was taken for.
fn under(p: &Point, light: f64) -> Point {
    Point { lightness: lstar(luminance(p.lightness) * libm::exp(-light)), ..*p }
}

/// The points' own errors, widened together where the curve misses the points by more than they say, and one
/// by one where a point lies far off. `own` are their errors with the coating's unevenness, `off` is what they are off by
/// together.
fn reweighted(points: &[Point], own: &[f64], curve: &[f64], off: &[f64]) -> Vec<f64> {
    let miss = |(((l, p), o), e): (((&f64, &Point), &f64), &f64)| (l - p.lightness - o).abs() / e;
    let rest: Vec<f64> = curve.iter().zip(points).zip(off).zip(own).map(miss).collect();
    let scale = robust_size(rest.iter().copied()).max(1.0);
    own.iter().zip(&rest).map(|(e, z)| e * scale * (z / scale / 2.5).max(1.0)).collect()
}

fn distinct_speeds(points: &[Point]) -> f64 {
    let low = points.iter().map(|p| p.speed).fold(f64::INFINITY, f64::min);
    let high = points.iter().map(|p| p.speed).fold(0.0, f64::max);
    if low > 0.0 && low.is_finite() { high / low } else { 1.0 }
}

#[cfg(test)]
mod tests {
    use super::super::exposures::Fill;
    use super::super::limited::Limited;
    use super::super::model::{HALF, MARKED, RISE, S};
    use super::super::settle::REPEATS;
    use super::*;
    use crate::mark::Response;
    use crate::progress::Silent;
    use crate::units::{JoulesPerMm2, MmPerS};
    use crate::wedge::measurement::Measurement;
    use crate::wedge::target::Pattern;

    /// A beam so wide that a solid has no ripple, pitches.
    const FLAT: f64 = 6.0;

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

    /// The fit of solids under a known beam, `across` pitches wide.
    fn of_solids(points: &[Point], modes: &[Vec<f64>], across: f64, y_unmarked: f64) -> ResponseFit {
        let exposures = Exposures::new(vec![Fill { pattern: Pattern::Solid, period: 0, pitch: [0.1, 0.1] }]);
        let beam = BeamGuess { beam: [0.1 * across, 0.1 * across], spread: 0.0 };
        let data = Data {
            points,
            modes,
            ways: &[],
            shapes: &[],
            tones: &[],
            exposures: &exposures,
            bare: &[y_unmarked],
            beam,
        };
        fit(&data, &expected(), &Silent).unwrap()
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
            .map(|((&dose, &speed), &lightness)| Point { error: 0.5, ..at(dose, speed, lightness) })
            .collect();
        let across = v["beam_mm"].as_f64().unwrap() / v["pitch_mm"].as_f64().unwrap();
        let f = of_solids(&points, &[], across, v["y_unmarked"].as_f64().unwrap());
        for (name, known, i) in [
            ("y_marked", &f.y_marked, MARKED),
            ("x_half", &f.x_half, HALF),
            ("rise", &f.rise, RISE),
            ("schwarzschild", &f.schwarzschild, S),
            ("y_char", &f.y_char, CHARRED),
            ("x_char", &f.x_char, CHAR),
            ("char_rise", &f.char_rise, CHAR_RISE),
        ] {
            let want = numbers(&v["fit"], name);
            let Measurement::Measured { value, uncertainty } = known else { panic!("{name}: {known:?}") };
            assert!((value / want[0] - 1.0).abs() < 2e-3, "{name}: {value} for {}", want[0]);
            // What all patches of a piece share comes on top of what scipy knows.
            let shared = REPEATS[i] * if i == S { 1.0 } else { *value };
            let said = want[1].hypot(shared);
            assert!((uncertainty / said - 1.0).abs() < 0.05, "{name}: ± {uncertainty} for {said}");
        }
    }

    fn at(dose: f64, speed: f64, lightness: f64) -> Point {
        Point {
            dose,
            speed,
            lightness,
            error: 0.3,
            fill: 0,
            sheet: 0,
            place: [0.0, 0.0],
            passes: 1.0,
            charred: false,
        }
    }

    fn made(dose: f64, speed: f64, r: &Response) -> Point {
        let x = dose * (speed / r.v0.0).powf(1.0 - r.schwarzschild);
        at(dose, speed, lstar(r.look(x)))
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
        let f = of_solids(&points, &[], FLAT, 0.03);
        assert!((f.x_half.get().unwrap() - 2.2).abs() < 0.02);
        assert!(f.schwarzschild.get().is_none() && f.x_char.get().is_none(), "{f:?}");
        assert_eq!(f.response.schwarzschild, 0.8);
        assert!(!f.curve.x_char.is_finite());
    }

    #[test]
    fn a_patch_that_is_hardly_charred_is_not_taken_for_a_full_mark() {
        // The strongest of the grid has three quarters of the mark, what was to be charred a tenth of the char.
        let r = Response { x_half: 6.6, x_char: 27.0, ..expected().response() };
        let charred = |r: &Response| Point { charred: true, ..made(23.0, 7.1, r) };
        let points: Vec<Point> = forty(0.7, 1, &r).into_iter().chain([charred(&r)]).collect();
        let f = of_solids(&points, &[], FLAT, 0.03);
        assert!((f.x_half.get().unwrap() / 6.6 - 1.0).abs() < 0.02, "{:?}", f.x_half);
        // What is known of the full mark is known from char alone, so the half of it is known less well than beside full marks.
        let usual = Response { x_char: 27.0, ..expected().response() };
        let full = of_solids(&forty(0.7, 1, &usual), &[], FLAT, 0.03);
        let share = |m: &Measurement| m.uncertainty() / m.get().unwrap();
        assert!(share(&f.x_half) > share(&full.x_half), "{:?} {:?}", f.x_half, full.x_half);
        let Measurement::NotMeasured { not_measured } = &f.x_char else { panic!("{:?}", f.x_char) };
        assert!(not_measured.contains("above 7.7 J/mm²"), "{not_measured}");
        // Of a coating that does not char, and marks fully, that patch is one more full mark.
        let never = Response { x_char: f64::INFINITY, ..expected().response() };
        let points: Vec<Point> = forty(0.5, 1, &never).into_iter().chain([charred(&never)]).collect();
        let f = of_solids(&points, &[], FLAT, 0.03);
        assert!(!f.curve.x_char.is_finite() && (f.x_half.get().unwrap() / 2.2 - 1.0).abs() < 0.01);
    }

    #[test]
    fn char_of_the_charred_patch_alone_does_not_say_when_it_sets_in() {
        // Charred through beside a grid that shows nothing of it.
        let r = Response { x_char: 14.0, ..expected().response() };
        let deep = Point { charred: true, ..made(30.0, 12.5, &r) };
        let points: Vec<Point> = forty(0.4, 1, &r).into_iter().chain([deep]).collect();
        let f = of_solids(&points, &[], FLAT, 0.03);
        assert!(f.x_char.get().is_none() && f.char_rise.get().is_none(), "{f:?}");
        assert!((f.y_char.get().unwrap() / 0.1 - 1.0).abs() < 0.1, "{:?}", f.y_char);
        assert!((f.x_half.get().unwrap() / 2.2 - 1.0).abs() < 0.01);
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
        let f = of_solids(&points, &modes, FLAT, 0.03);
        for (l, m) in f.light.iter().zip(&modes) {
            assert!((l - 1.3 * m[0]).abs() < 0.15 * 0.006, "{l} for {}", 1.3 * m[0]);
        }
        assert!((f.x_half.get().unwrap() / 2.2 - 1.0).abs() < 2e-3);
    }

    #[test]
    fn a_controller_that_holds_the_speed_is_told_from_reciprocity() {
        let r = expected().response();
        let held_at = |limit: f64| -> Vec<Point> {
            let speeds = [6.0f64, 8.0, 11.0, 14.0, 20.0];
            let one = |i: u32| {
                let (dose, v) = (0.25 * f64::from(i / 5 + 2), speeds[i as usize % 5]);
                let driven = v.min(limit);
                Point { lightness: made(dose * v / driven, driven, &r).lightness, ..at(dose, v, 0.0) }
            };
            (0..50).map(one).collect()
        };
        let held = of_solids(&held_at(13.0), &[], FLAT, 0.03).limited;
        assert!(matches!(held, Some(Limited::Speed(v)) if (11.0..16.0).contains(&v)), "{held:?}");
        assert_eq!(of_solids(&held_at(30.0), &[], FLAT, 0.03).limited, None);
    }

    #[test]
    fn char_is_the_mean_over_the_looks_it_may_have() {
        let r = expected().response();
        let f = of_solids(&forty(0.8, 1, &r), &[], FLAT, 0.03);
        assert!((f.chars.iter().map(|c| c.0).sum::<f64>() - 1.0).abs() < 1e-9 && f.chars.len() > 3);
        let five = r.exposure_at_char(0.05);
        assert!((f.char(five, 12.5).unwrap() - 0.05).abs() < 0.01, "{:?}", f.char(five, 12.5));
    }
}
