//! Response: the coating's answer to exposure, with reciprocity, from the lightness of patches of known exposure.

use nalgebra::{DMatrix, DVector};

use super::fitted::{ResponseFit, unknown};
use super::model::{Model, Point, Solved};
use super::search::search;
use super::settle::settle;
use crate::colour::{lstar, luminance};
use crate::progress::{Progress, Stopped};
use crate::wedge::spread::robust_size;
use crate::wedge::target::Expected;

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
///
/// # Errors
/// [`Stopped`] where the person asked for it.
pub fn fit(
    points: &[Point],
    modes: &[Vec<f64>],
    ripple: &[f64],
    y_unmarked: f64,
    expected: &Expected,
    progress: &dyn Progress,
) -> Result<ResponseFit, Stopped> {
    let seen = points;
    let mut points = seen.to_vec();
    let mut light = vec![0.0; points.len()];
    let mut errors: Vec<f64> = points.iter().map(|p| p.error).collect();
    let s_free = distinct_speeds(seen) >= 1.3;
    let mut solved: Option<Solved> = None;
    let with_light = modes.iter().any(|m| !m.is_empty());
    let rounds = if with_light { 6 } else { 3 };
    progress.expect(rounds);
    for _ in 0..rounds {
        progress.go_on(1)?;
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
    Ok(match solved {
        Some(s) => ResponseFit { light, ..settle(&base, s, expected, s_free) },
        None => unknown(seen, y_unmarked, expected, "the fit found no curve through the patches"),
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
fn reweighted(model: &Model<'_>, at: &[f64; 7]) -> Vec<f64> {
    let rest: Vec<f64> =
        model.points.iter().map(|p| (model.lightness(at, p) - p.lightness).abs() / p.error).collect();
    let scale = robust_size(rest.iter().copied()).max(1.0);
    model.points.iter().zip(&rest).map(|(p, z)| p.error * scale * (z / scale / 2.5).max(1.0)).collect()
}

fn distinct_speeds(points: &[Point]) -> f64 {
    let low = points.iter().map(|p| p.speed).fold(f64::INFINITY, f64::min);
    let high = points.iter().map(|p| p.speed).fold(0.0, f64::max);
    if low > 0.0 && low.is_finite() { high / low } else { 1.0 }
}

#[cfg(test)]
mod tests {
    use super::super::model::ripple_of;
    use super::*;
    use crate::mark::Response;
    use crate::progress::Silent;
    use crate::units::{JoulesPerMm2, MmPerS};
    use crate::wedge::measurement::Measurement;

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
        let f = fit(&points, &[], &waves, v["y_unmarked"].as_f64().unwrap(), &expected(), &Silent).unwrap();
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
            let Measurement::Measured { value, uncertainty } = known else { panic!("{name}: {known:?}") };
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
        let f = fit(&points, &[], &[1.0], 0.03, &expected(), &Silent).unwrap();
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
        let f = fit(&points, &modes, &[1.0], 0.03, &expected(), &Silent).unwrap();
        for (l, m) in f.light.iter().zip(&modes) {
            assert!((l - 1.3 * m[0]).abs() < 0.15 * 0.006, "{l} for {}", 1.3 * m[0]);
        }
        assert!((f.x_half.get().unwrap() / 2.2 - 1.0).abs() < 2e-3);
    }

    #[test]
    fn char_is_the_mean_over_the_looks_it_may_have() {
        let r = expected().response();
        let f = fit(&forty(0.8, 1, &r), &[], &[1.0], 0.03, &expected(), &Silent).unwrap();
        assert!((f.chars.iter().map(|c| c.0).sum::<f64>() - 1.0).abs() < 1e-9 && f.chars.len() > 3);
        let five = r.exposure_at_char(0.05);
        assert!((f.char(five, 12.5).unwrap() - 0.05).abs() < 0.01, "{:?}", f.char(five, 12.5));
    }
}
