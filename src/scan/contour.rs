//! The contour: straight stretches one after the other, with the beam at one power.

use super::limits::Limits;
use super::raster::um;

/// A line of straight stretches.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contour {
    /// Its points, µm of the program along x and y; no two neighbours are the same.
    pub points: Vec<(i32, i32)>,
    /// The S word; 0 walks it with the beam off.
    pub level: u32,
    /// The F word in thousandths of a mm/min.
    pub feed: i64,
}

impl Contour {
    /// The contour through `points` (mm to the right of and above the blank's lower left corner) at the S
    /// word `level` and at `speed` mm/s, or as fast as the slower axis can.
    pub fn new(limits: &Limits, points: &[(f64, f64)], level: u32, speed: f64) -> Contour {
        let mut settled: Vec<(i32, i32)> = by_short_ways(limits, points)
            .into_iter()
            .map(|p| {
                let (x, y) = limits.to_program(p);
                (um(x), um(y))
            })
            .collect();
        settled.dedup();
        let speed = speed.min(limits.x.top_speed).min(limits.y.top_speed);
        Contour { points: settled, level, feed: (speed * 60_000.0).round() as i64 }
    }
}

/// The points with others between them where a rotary turns a cone: what is straight on its mantle is no steady turn as
/// the head goes up it. A turn, half a girth at most from the middle, goes as one over the diameter; in so many parts it
/// is off by a 25th of a millimetre at most.
fn by_short_ways(limits: &Limits, points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    const OFF: f64 = 0.04;
    let Some(mantle) = limits.cone() else { return points.to_vec() };
    // 1/d bends by 2 (Δd)²/d³ over the whole way, and a chord over the nth part of it is off by an 8n²th of that.
    let opens = mantle.widest() / mantle.narrowest() - 1.0;
    let bend = opens * opens;
    let most = (mantle.girth() / 2.0 * bend / 4.0 / OFF).sqrt().ceil().max(1.0);
    let mut all: Vec<(f64, f64)> = points.first().copied().into_iter().collect();
    for pair in points.windows(2) {
        let (p, q) = (pair[0], pair[1]);
        let parts = if p.1 == q.1 { 1.0 } else { most };
        all.extend((1..parts as usize).map(|i| {
            let t = i as f64 / parts;
            (p.0 + t * (q.0 - p.0), p.1 + t * (q.1 - p.1))
        }));
        all.push(q);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_closer_than_a_micrometre_are_one() {
        let mut limits = Limits::default();
        limits.y.top_speed = 30.0;
        let c = Contour::new(&limits, &[(0.0, 0.0), (0.0004, 0.0), (1.0, 0.0), (0.0, 0.0)], 5, 50.0);
        assert_eq!(c.points, [(0, 0), (1000, 0), (0, 0)]);
        assert_eq!((c.level, c.feed), (5, 1_800_000));
    }
}
