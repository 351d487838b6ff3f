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
        let mut settled: Vec<(i32, i32)> = points
            .iter()
            .map(|&p| {
                let (x, y) = limits.to_program(p);
                (um(x), um(y))
            })
            .collect();
        settled.dedup();
        let speed = speed.min(limits.x.top_speed).min(limits.y.top_speed);
        Contour { points: settled, level, feed: (speed * 60_000.0).round() as i64 }
    }
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
