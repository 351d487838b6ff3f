//! Uneven: how much more or less exposure each place of a coating needs, from how patches scatter where their look is steep.

use super::model::Point;
use crate::wedge::spread::square;

/// Unevenness that is tried, as a share of the exposure: from a thousandth on, each half as much again.
const TRIED: i32 = 12;
/// Degrees of freedom of Student's distribution, by which a few stray patches do not count (Lange, Little and Taylor, J. Am.
/// Stat. Assoc. 84, 1989).
const FREEDOM: f64 = 4.0;
/// Points that tell it, at least.
const LEAST: usize = 12;

/// The share of the exposure by which a coating's need differs from patch to patch, one standard deviation, that makes what a
/// curve leaves of the points likeliest: scatter that grows with the curve's slope is the coating's, scatter that does not is
/// the photo's. Only points that `count` are looked at, for fine patterns are missed for other reasons. `steep` is the slope of each point's L* by the logarithm of its exposure, `off` what points are off by together.
pub(super) fn unevenness(
    points: &[Point],
    curve: &[f64],
    off: &[f64],
    steep: &[f64],
    count: &dyn Fn(&Point) -> bool,
) -> f64 {
    let rest: Vec<f64> = curve.iter().zip(points).zip(off).map(|((l, p), o)| l - p.lightness - o).collect();
    if points.iter().filter(|p| count(p)).count() < LEAST {
        return 0.0;
    }
    let likelihood = |uneven: f64, noise: f64| -> f64 {
        let of = |((r, p), s): ((&f64, &Point), &f64)| {
            let both = square(noise * p.error) + square(uneven * s);
            0.5 * libm::log(both) + 0.5 * (FREEDOM + 1.0) * libm::log1p(r * r / (FREEDOM * both))
        };
        -rest.iter().zip(points).zip(steep).filter(|((_, p), _)| count(p)).map(of).sum::<f64>()
    };
    // What a curve of a dozen parameters leaves is less than the errors.
    let noises: Vec<f64> = (-2..=8).map(|i| libm::pow(2.0, 0.5 * f64::from(i))).collect();
    let best = |uneven: f64| noises.iter().map(|&n| likelihood(uneven, n)).fold(f64::NEG_INFINITY, f64::max);
    let none = best(0.0);
    let tried = (0..TRIED).map(|i| 0.001 * libm::pow(1.5, f64::from(i))).map(|u| (best(u), u));
    match tried.max_by(|a, b| a.0.total_cmp(&b.0)) {
        Some((l, u)) if l > none + 1.0 => u,
        _ => 0.0,
    }
}

/// How far points lie off a curve where the curve is flat, L*: there neither the coating nor the machine moves them, only
/// light that is not what it was taken for. Four fifths of them decide, for a speck or a pinhole moves one. None for few.
pub(super) fn flat_miss(points: &[Point], curve: &[f64], off: &[f64], steep: &[f64]) -> Option<f64> {
    /// A tenth more exposure moves a flat point by no more than 2 L*.
    const FLAT: f64 = 20.0;
    let mut flat: Vec<f64> = curve
        .iter()
        .zip(points)
        .zip(off)
        .zip(steep)
        .filter(|(((_, p), _), s)| p.sheet == 0 && s.abs() < FLAT)
        .map(|(((l, p), o), _)| (l - p.lightness - o).abs())
        .collect();
    flat.sort_by(f64::total_cmp);
    // Four fifths of a normal distribution lie within 1.2816 standard deviations.
    (flat.len() >= 6).then(|| flat.get(flat.len() * 4 / 5).copied().unwrap_or(0.0) / 1.2816)
}

/// Points that lie off a curve together with a point beside them, on the same side: what falls on a part of the piece, as
/// the edge of a shadow does, is taken for no coating's answer by the curve through all the others.
#[derive(Debug, Clone, PartialEq)]
pub struct Strays {
    /// Which they are, by index.
    pub which: Vec<usize>,
    /// By how much the worst of them is lighter than the curve has it, L*; negative: darker.
    pub most: f64,
}

/// Looks for points that stray together. What the coating's unevenness explains is left out; only points of the sheet
/// that is read and that `count` are looked at. None where no two do.
pub(super) fn strays(
    points: &[Point],
    curve: &[f64],
    off: &[f64],
    steep: &[f64],
    uneven: f64,
    count: &dyn Fn(&Point) -> bool,
) -> Option<Strays> {
    /// What rendered photos in good light leave beyond the points' own errors, L*: less.
    const LEAST_MISS: f64 = 0.7;
    /// Exposure that any point may differ by, and how many standard deviations of the coating's unevenness.
    const EXPOSURE: (f64, f64) = (0.03, 3.0);
    let used: Vec<usize> = (0..points.len()).filter(|&i| points[i].sheet == 0 && count(&points[i])).collect();
    let apart = |i: usize, j: usize| {
        let ([ax, ay], [bx, by]) = (points[i].place, points[j].place);
        libm::hypot(ax - bx, ay - by)
    };
    let others = |i: usize| used.iter().copied().filter(move |&j| j != i);
    let mut nearest: Vec<f64> =
        used.iter().map(|&i| others(i).map(|j| apart(i, j)).fold(f64::INFINITY, f64::min)).collect();
    nearest.sort_by(f64::total_cmp);
    // Diagonals of a grid's cells count as beside.
    let beside = 1.5 * nearest.get(nearest.len() / 2)?;
    let miss = |i: usize| points[i].lightness + off[i] - curve[i];
    let room = |i: usize| 2.0 * points[i].error + (EXPOSURE.0 + EXPOSURE.1 * uneven) * steep[i].abs();
    let limits = |i: usize| miss(i).abs() / (LEAST_MISS + room(i));
    // The edge of a shadow lies over one more than over the other: of that, half is asked.
    let together = |i: usize, j: usize| {
        let (less, more) = (limits(i).min(limits(j)), limits(i).max(limits(j)));
        more > 1.0 && less > 0.5 && miss(i) * miss(j) > 0.0 && apart(i, j) < beside
    };
    let which: Vec<usize> = used.iter().copied().filter(|&i| others(i).any(|j| together(i, j))).collect();
    let most = which.iter().map(|&i| miss(i)).max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    Some(Strays { which, most })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scatter_on_the_slope_is_the_coatings_and_on_the_flat_the_photos() {
        let noise = |i: usize| ((i * 37 % 41) as f64 / 20.0 - 1.0) * 1.7;
        let steep: Vec<f64> = (0..60).map(|i| if i % 2 == 0 { 70.0 } else { 3.0 }).collect();
        let scattered = |of: &dyn Fn(usize) -> f64| -> Vec<Point> {
            let point = |i: usize| Point {
                dose: 1.0,
                speed: 10.0,
                lightness: 60.0 + of(i) * noise(i),
                error: 0.15,
                fill: 0,
                sheet: 0,
                place: [0.0, 0.0],
                passes: 1.0,
                charred: false,
            };
            (0..60).map(point).collect()
        };
        let (curve, off) = ([60.0; 60], [0.0; 60]);
        let uneven = scattered(&|i| 0.03 * steep[i]);
        let every = |_: &Point| true;
        let u = unevenness(&uneven, &curve, &off, &steep, &every);
        assert!((0.02..0.045).contains(&u), "{u}");
        let lit = scattered(&|_| 0.8);
        assert!(unevenness(&lit, &curve, &off, &steep, &every) < 0.004);
        let miss = |points: &[Point]| flat_miss(points, &curve, &off, &steep).unwrap();
        assert!(miss(&lit) > 0.6 && miss(&uneven) < 0.15, "{} {}", miss(&lit), miss(&uneven));
    }

    #[test]
    fn two_points_beside_each_other_stray_together_and_one_alone_does_not() {
        let grid = |off: &dyn Fn(usize, usize) -> f64| -> Vec<Point> {
            let point = |i: usize| Point {
                dose: 1.0,
                speed: 10.0,
                lightness: 60.0 + off(i % 6, i / 6) + if i.is_multiple_of(2) { 0.3 } else { -0.3 },
                error: 0.15,
                fill: 0,
                sheet: 0,
                place: [0.1 * (i % 6) as f64, 0.1 * (i / 6) as f64],
                passes: 1.0,
                charred: false,
            };
            (0..36).map(point).collect()
        };
        let every = |_: &Point| true;
        let found = |points: &[Point], steep: f64, uneven: f64| {
            let found = strays(points, &[60.0; 36], &[0.0; 36], &[steep; 36], uneven, &every);
            found.map(|s| (s.which, (10.0 * s.most).round() as i32))
        };
        let corner = grid(&|x, y| if x + y < 2 { -4.0 + x as f64 } else { 0.0 });
        assert_eq!(found(&corner, 5.0, 0.0), Some((vec![0, 1, 6], -37)));
        // Where only the worst goes beyond its limit, what lies beside it still counts.
        assert_eq!(found(&corner, 80.0, 0.0), Some((vec![0, 1, 6], -37)));
        // A coating that is as uneven as that explains them; so does a slope, and so do errors: pinholes make patches grainy.
        assert_eq!(found(&corner, 30.0, 0.05), None);
        assert_eq!(found(&corner, 150.0, 0.0), None);
        let grainy: Vec<Point> = corner.iter().map(|p| Point { error: 1.7, ..*p }).collect();
        assert_eq!(found(&grainy, 5.0, 0.0), None);
        // A pinhole, two flaws far from each other, and two on different sides.
        assert_eq!(found(&grid(&|x, y| if (x, y) == (3, 3) { -9.0 } else { 0.0 }), 5.0, 0.0), None);
        assert_eq!(
            found(&grid(&|x, y| if (x, y) == (0, 0) || (x, y) == (4, 4) { -9.0 } else { 0.0 }), 5.0, 0.0),
            None
        );
        let sides = grid(&|x, y| if y > 0 { 0.0 } else { [5.0, -5.0, 0.0, 0.0, 0.0, 0.0][x] });
        assert_eq!(found(&sides, 5.0, 0.0), None);
    }
}
