//! Toned: whether the camera bent the photo's tones, told by fine patterns, whose light is a mixture of mark and bare coating.
//!
//! Solids alone do not tell: under an S-curve they are those of another coating.

use nalgebra::{DMatrix, DVector};

use super::model::Point;

/// How many times the mean square that is left the bend must explain to count (F with one degree of freedom: a chance of 1 in
/// 1000 at 60 points): streaks and the edge of a shadow pass for a bend at 7 to 10, where true bends of a tenth reach 14.
const SURE: f64 = 12.0;
/// A bend that is known to no better than this is not told from a coating's own rise: where no patch is well above a full mark,
/// what the bend does and no parameter can is a tenth of an L*, which lens and camera do to fine patterns as well. Of 15 photos
/// under slopes of 1.1 to 1.27, whose strongest patch was full, 14 know it to 0.03 to 0.06; of 20 without a bend, whose
/// strongest had 0.5 to 0.96 of the mark, none to better than 0.07.
const OPEN: f64 = 0.07;
/// By how much the look of fine patterns of one kind is off together, L*: a lens blurs and a camera sharpens them (rendered photos).
pub(super) const FINE: f64 = 0.3;
/// What is left of a curve that was taken off.
const LEAST: f64 = 0.01;
/// A curve that is steeper by less than this in the middle is common and moves no patch by more than 0.6 L*.
pub const BENT: f64 = 0.03;

/// A camera's curve of tones.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Toned {
    /// By how much steeper it is than the standard one in the middle of the coded values, as a share.
    pub steeper: f64,
    /// Standard uncertainty of that.
    pub sigma: f64,
}

/// The curve of tones that explains best what the fitted `curve` leaves of the points. `tones` are how much L* of each grows
/// under one that is steeper by one, `slopes` those of the fitted curve by each parameter: what they have taken up already is
/// left out on both sides. None where it explains too little.
pub(super) fn toned(
    points: &[Point],
    errors: &[f64],
    curve: &[f64],
    off: &[f64],
    slopes: &DMatrix<f64>,
    tones: &[f64],
    solid: &dyn Fn(&Point) -> bool,
) -> Option<Toned> {
    let n = points.len();
    let freedom = n.checked_sub(slopes.ncols() + 8)? as f64;
    let taken = DMatrix::from_fn(n, slopes.ncols(), |i, j| slopes[(i, j)] / errors[i]).qr().q();
    let left = |v: DVector<f64>| &v - &taken * (taken.transpose() * &v);
    let rest = left(DVector::from_fn(n, |i, _| (points[i].lightness + off[i] - curve[i]) / errors[i]));
    let bent = left(DVector::from_fn(n, |i, _| tones.get(i).copied().unwrap_or(0.0) / errors[i]));
    let square = bent.norm_squared();
    if square < 1e-6 {
        return None;
    }
    let steeper = bent.dot(&rest) / square;
    let explained = steeper * steeper * square;
    let after = ((rest.norm_squared() - explained) / freedom).max(0.3);
    let mut kinds: Vec<usize> = points.iter().filter(|p| !solid(p)).map(|p| p.fill).collect();
    kinds.sort_unstable();
    kinds.dedup();
    let moved = |kind: &usize| {
        let off = |i: usize| if points[i].fill == *kind { FINE / errors[i] } else { 0.0 };
        bent.dot(&left(DVector::from_fn(n, |i, _| off(i)))) / square
    };
    let together = kinds.iter().map(moved).map(|m| m * m).sum::<f64>();
    let found = Toned { steeper, sigma: (after / square + together).sqrt() };
    (steeper.abs() > LEAST && explained > SURE * after && found.sigma < OPEN).then_some(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bend_that_no_parameter_can_make_is_found_and_noise_is_not() {
        let noise = |i: usize| 0.1 * ((i * 37 % 41) as f64 / 20.0 - 1.0);
        let tones: Vec<f64> = (0..50).map(|i| if i % 3 == 0 { 16.0 } else { 2.0 * noise(i) }).collect();
        let points = |steeper: f64| -> Vec<Point> {
            let lightness = |i: usize| 50.0 + steeper * tones[i] + noise(i);
            let fill = |i: usize| usize::from(i.is_multiple_of(3));
            let point = |i: usize| Point {
                dose: 1.0,
                speed: 10.0,
                lightness: lightness(i),
                error: 0.1,
                fill: fill(i),
                sheet: 0,
                place: [0.0, 0.0],
                passes: 1.0,
                charred: false,
            };
            (0..50).map(point).collect()
        };
        let none = [0.0; 50];
        let level = DMatrix::from_element(50, 1, 1.0);
        let of = |steeper: f64, slopes: &DMatrix<f64>| {
            toned(&points(steeper), &[0.1; 50], &[50.0; 50], &none, slopes, &tones, &|_| true)
        };
        let found = of(0.12, &level).unwrap();
        assert!((found.steeper - 0.12).abs() < 0.01 && found.sigma < 0.01, "{found:?}");
        assert_eq!(of(0.0, &level), None);
        // Streaks and shadows pass for a bend that explains seven to ten times what is left; of a true one it is more. The
        // scatter is ten times as wide here, so that a bend that is more than LEAST may be too little.
        let scattered = |bend: f64| {
            let mut points = points(bend);
            points.iter_mut().enumerate().for_each(|(i, p)| p.lightness += 9.0 * noise(i));
            toned(&points, &[1.0; 50], &[50.0; 50], &none, &level, &tones, &|_| true)
        };
        let explains = |t: &Toned| (t.steeper / t.sigma).powi(2);
        let all: Vec<Option<Toned>> = (1..60).map(|i| scattered(0.002 * f64::from(i))).collect();
        let first = all.iter().flatten().next().unwrap();
        assert!(all[..3].iter().all(Option::is_none) && first.steeper > 2.0 * LEAST, "{first:?}");
        assert!((12.0..18.0).contains(&explains(first)), "{}", explains(first));
        // What fine patterns of one kind are off by together is not told from a bend that moves them by little more.
        let told = |solid: &dyn Fn(&Point) -> bool, of: f64| {
            let tones: Vec<f64> = tones.iter().map(|t| of * t).collect();
            toned(&points(0.12), &[0.1; 50], &[50.0; 50], &none, &level, &tones, solid)
        };
        assert!(told(&|_| true, 0.1).is_some() && told(&|p| p.fill == 0, 1.0).is_some());
        assert_eq!(told(&|p| p.fill == 0, 0.1), None);
        // What a parameter can do as well is the parameter's.
        let all = DMatrix::from_column_slice(50, 1, &tones);
        assert_eq!(of(0.12, &all), None);
    }
}
