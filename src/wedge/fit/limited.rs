//! Limited: whether the machine held speed or power below what the program asked for.

use nalgebra::{DMatrix, DVector};

use super::model::{Model, Parameters, Point};

/// Limits that are tried, from the least setting to the most.
const TRIED: usize = 24;
/// How many times the mean square that is left a limit must explain to count (F with one degree of freedom: a chance of one in
/// ten thousand at 40 patches is 19).
const SURE: f64 = 25.0;

/// A limit that explains the patches.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Limited {
    /// Speeds above this one, mm/s, were driven at it.
    Speed(f64),
    /// Powers above this share of the most that was asked for were burnt at it.
    Power(f64),
}

/// The point if speeds above `limit` were driven at it: slower is stronger.
fn slowed(p: &Point, limit: f64) -> Point {
    if p.speed > limit { Point { dose: p.dose * p.speed / limit, speed: limit, ..*p } } else { *p }
}

/// What goes with the power.
fn power(p: &Point) -> f64 {
    p.dose * p.speed / p.passes
}

/// Looks for the limit that explains best what the fit leaves of the patches of the sheet that is read. `slopes` are those of
/// the curve by the `free` parameters: what they have taken up of it already is left out on both sides. None where no limit
/// explains enough.
pub(super) fn limited(
    model: &Model<'_>,
    all: &Parameters,
    curve: &[f64],
    off: &[f64],
    slopes: &DMatrix<f64>,
) -> Option<Limited> {
    let points = model.points;
    let n = points.len();
    let freedom = n.checked_sub(slopes.ncols() + 8)? as f64;
    let taken = DMatrix::from_fn(n, slopes.ncols(), |i, j| slopes[(i, j)] / points[i].error).qr().q();
    let left = |v: DVector<f64>| &v - &taken * (taken.transpose() * &v);
    let rest = left(DVector::from_fn(n, |i, _| (points[i].lightness + off[i] - curve[i]) / points[i].error));
    let own = || points.iter().filter(|p| p.sheet == 0);
    let reach = |of: &dyn Fn(&Point) -> f64| {
        let low = own().map(of).fold(f64::INFINITY, f64::min);
        (low, own().map(of).fold(0.0, f64::max))
    };
    let (slow, fast) = reach(&|p| p.speed);
    let (weak, strong) = reach(&power);
    let explained = |changed: Vec<Point>| -> Option<f64> {
        let under = Model { points: &changed, ..*model }.lightnesses(all);
        let step = left(DVector::from_fn(n, |i, _| (under[i] - curve[i]) / points[i].error));
        let square = step.norm_squared();
        if square < 1e-6 {
            return None;
        }
        let size = step.dot(&rest) / square;
        let after = rest.norm_squared() - size * size * square;
        (0.5..2.0).contains(&size).then(|| size * size * square / (after / freedom).max(0.3))
    };
    let mut best: Option<(f64, Limited)> = None;
    for i in 1..TRIED {
        let t = i as f64 / TRIED as f64;
        let limit = slow * libm::pow(fast / slow, t);
        let speeds = points.iter().map(|p| if p.sheet == 0 { slowed(p, limit) } else { *p }).collect();
        let most = weak * libm::pow(strong / weak, t);
        let weaker = |p: &Point| Point { dose: p.dose * (most / power(p)).min(1.0), ..*p };
        let powers = points.iter().map(|p| if p.sheet == 0 { weaker(p) } else { *p }).collect();
        for (of, what) in
            [(explained(speeds), Limited::Speed(limit)), (explained(powers), Limited::Power(most / strong))]
        {
            if let Some(f) = of.filter(|f| *f > SURE)
                && best.is_none_or(|b| f > b.0)
            {
                best = Some((f, what));
            }
        }
    }
    best.map(|b| b.1)
}
