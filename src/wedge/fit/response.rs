//! Response: the coating's answer to exposure, with reciprocity, from the lightness of patches of known exposure.

use nalgebra::{DMatrix, DVector};

use super::exposures::Exposures;
use super::fitted::{ResponseFit, unknown};
use super::model::{BeamGuess, Model, Point, Solved};
use super::search::search;
use super::settle::settle;
use crate::colour::{lstar, luminance};
use crate::progress::{Progress, Stopped};
use crate::wedge::spread::robust_size;
use crate::wedge::target::Expected;

/// What a fit is made from.
#[derive(Debug, Clone, Copy)]
pub struct Data<'a> {
    /// The patches, those of the sheet that is read first.
    pub points: &'a [Point],
    /// The ways in which the light over the points may be off, as natural logarithms at one standard deviation, a row
    /// for each point (empty: the light is known).
    pub modes: &'a [Vec<f64>],
    /// The exposures of their fills; the first fill is a solid of the sheet that is read.
    pub exposures: &'a Exposures,
    /// Luminance of the bare coating on each sheet, on the scale of its points' lightness.
    pub bare: &'a [f64],
    /// What is known of the beam.
    pub beam: BeamGuess,
}

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
/// The sizes of the light's modes are estimated in turn with the curve, each held to its standard deviation: dark gaps
/// settle the light less well than the bright patches between them.
///
/// # Errors
/// [`Stopped`] where the person asked for it.
pub fn fit(data: &Data, expected: &Expected, progress: &dyn Progress) -> Result<ResponseFit, Stopped> {
    let Data { points: seen, modes, exposures, bare, beam } = *data;
    let mut points = seen.to_vec();
    let mut light = vec![0.0; points.len()];
    let mut errors: Vec<f64> = points.iter().map(|p| p.error).collect();
    let s_free = distinct_speeds(seen) >= 1.3;
    let mut solved: Option<Solved> = None;
    let with_light = modes.iter().any(|m| !m.is_empty());
    let rounds = if with_light { 6 } else { 3 };
    progress.expect(rounds);
    let v0 = expected.v0.0;
    for _ in 0..rounds {
        progress.go_on(1)?;
        let base = Model { points: &points, errors: &errors, exposures, bare, beam, v0, char: None };
        let Some(found) = search(&base, expected, s_free, solved.as_ref()) else { break };
        let model = Model { char: found.char, ..base };
        let curve = model.lightnesses(&found.all);
        let next = reweighted(&points, &curve);
        solved = Some(found);
        if with_light {
            light = light_over(seen, &next, &curve, modes);
            points = seen.iter().zip(&light).map(|(p, l)| under(p, *l)).collect();
        } else if next == errors {
            break;
        }
        errors = next;
    }
    let base = Model { points: &points, errors: &errors, exposures, bare, beam, v0, char: None };
    let y_unmarked = bare.first().copied().unwrap_or(expected.y_unmarked);
    Ok(match solved {
        Some(s) => ResponseFit { light, ..settle(&base, s, expected, s_free) },
        None => unknown(seen, y_unmarked, beam.beam, expected, "the fit found no curve through the patches"),
    })
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
fn reweighted(points: &[Point], curve: &[f64]) -> Vec<f64> {
    let rest: Vec<f64> = curve.iter().zip(points).map(|(l, p)| (l - p.lightness).abs() / p.error).collect();
    let scale = robust_size(rest.iter().copied()).max(1.0);
    points.iter().zip(&rest).map(|(p, z)| p.error * scale * (z / scale / 2.5).max(1.0)).collect()
}

fn distinct_speeds(points: &[Point]) -> f64 {
    let low = points.iter().map(|p| p.speed).fold(f64::INFINITY, f64::min);
    let high = points.iter().map(|p| p.speed).fold(0.0, f64::max);
    if low > 0.0 && low.is_finite() { high / low } else { 1.0 }
}

#[cfg(test)]
mod tests {
    use super::super::exposures::Fill;
    use super::super::model::{CHAR, CHAR_RISE, CHARRED, HALF, MARKED, RISE, S};
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
        let data = Data { points, modes, exposures: &exposures, bare: &[y_unmarked], beam };
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
        Point { dose, speed, lightness, error: 0.3, fill: 0, sheet: 0, place: [0.0, 0.0] }
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
    fn char_is_the_mean_over_the_looks_it_may_have() {
        let r = expected().response();
        let f = of_solids(&forty(0.8, 1, &r), &[], FLAT, 0.03);
        assert!((f.chars.iter().map(|c| c.0).sum::<f64>() - 1.0).abs() < 1e-9 && f.chars.len() > 3);
        let five = r.exposure_at_char(0.05);
        assert!((f.char(five, 12.5).unwrap() - 0.05).abs() < 0.01, "{:?}", f.char(five, 12.5));
    }
}
