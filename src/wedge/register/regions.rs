//! Regions: what hangs together in a picture of two tones, found run by run without a plane of labels.

use crate::plane::sets::Sets;

/// A connected region: pixels of one tone that share edges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Region {
    /// Pixels.
    pub area: f64,
    /// The lighter of the two tones.
    pub light: bool,
    /// Sums of the columns and of the rows of its pixels.
    sum: (f64, f64),
    /// Least column and row, and greatest.
    low: (u32, u32),
    high: (u32, u32),
    /// The first pixel in reading order.
    start: (u32, u32),
}

impl Region {
    /// Centre of area, in pixels.
    pub fn centre(&self) -> (f64, f64) {
        (self.sum.0 / self.area, self.sum.1 / self.area)
    }

    /// Columns from the first to the last.
    pub fn width(&self) -> f64 {
        f64::from(self.high.0 - self.low.0 + 1)
    }

    /// Rows from the first to the last.
    pub fn height(&self) -> f64 {
        f64::from(self.high.1 - self.low.1 + 1)
    }

    /// Whether the other's box lies within this one's, and touches no side of it.
    pub fn holds(&self, inner: &Region) -> bool {
        self.low.0 < inner.low.0
            && self.low.1 < inner.low.1
            && self.high.0 > inner.high.0
            && self.high.1 > inner.high.1
    }

    fn take(&mut self, run: &Run, y: u32) {
        let n = f64::from(run.end - run.from);
        self.area += n;
        // Sums of whole and half numbers far below 2^53: exact in any order.
        self.sum.0 += n * f64::from(run.from + run.end - 1) / 2.0;
        self.sum.1 += n * f64::from(y);
        self.low = (self.low.0.min(run.from), self.low.1.min(y));
        self.high = (self.high.0.max(run.end - 1), self.high.1.max(y));
    }
}

/// Pixels of one tone in a row, from `from` to before `end`; in the end with the place of its region.
#[derive(Debug, Clone, Copy)]
struct Run {
    from: u32,
    end: u32,
    light: bool,
    region: u32,
}

/// All regions of a picture, in the reading order of their first pixels.
#[derive(Debug, Default)]
pub(super) struct Regions {
    /// The regions.
    pub all: Vec<Region>,
    runs: Vec<Run>,
    /// The first run of each row, and the number of runs.
    rows: Vec<usize>,
}

impl Regions {
    /// The regions of a picture, row after row of `width` pixels, true where it is light.
    pub fn of(light: &[bool], width: usize) -> Regions {
        let mut found = Regions { rows: vec![0], ..Regions::default() };
        let mut sets = Sets::default();
        let mut above = 0..0;
        for row in light.chunks_exact(width.max(1)) {
            let mut over = above.start;
            let mut from = 0;
            for part in row.chunk_by(|a, b| a == b) {
                let end = from + part.len() as u32;
                let number = sets.add();
                // Runs fill their rows, so each from `over` to the one that ends here or later lies above this one.
                while over < above.end {
                    let run = &found.runs[over];
                    if run.light == part[0] {
                        sets.join(over as u32, number);
                    }
                    over += usize::from(run.end <= end);
                    if run.end >= end {
                        break;
                    }
                }
                found.runs.push(Run { from, end, light: part[0], region: 0 });
                from = end;
            }
            above = above.end..found.runs.len();
            found.rows.push(above.end);
        }
        found.gather(sets);
        found
    }

    /// Sums up the regions. A set's root is its first run, so regions come in the order of their first pixels.
    fn gather(&mut self, mut sets: Sets) {
        for y in 0..self.rows.len() - 1 {
            for i in self.rows[y]..self.rows[y + 1] {
                let (root, y) = (sets.root(i as u32) as usize, y as u32);
                let run = self.runs[i];
                if root == i {
                    self.runs[i].region = self.all.len() as u32;
                    let start = (run.from, y);
                    let (area, sum) = (0.0, (0.0, 0.0));
                    self.all.push(Region { area, sum, low: start, high: start, light: run.light, start });
                }
                let region = self.runs[root].region;
                self.runs[i].region = region;
                self.all[region as usize].take(&run, y);
            }
        }
    }

    /// The region round another: the pixel above its first pixel belongs to it. `None` at the upper edge.
    pub fn round(&self, inner: &Region) -> Option<&Region> {
        let above = inner.start.1.checked_sub(1)? as usize;
        let row = self.runs.get(*self.rows.get(above)?..*self.rows.get(above + 1)?)?;
        let run = row.get(row.partition_point(|r| r.end <= inner.start.0))?;
        self.all.get(run.region as usize)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn regions(rows: &[&str]) -> Regions {
        let light: Vec<bool> = rows.iter().flat_map(|r| r.bytes().map(|b| b == b'#')).collect();
        Regions::of(&light, rows[0].len())
    }

    #[test]
    fn regions_come_in_reading_order_with_their_figures() {
        let found = regions(&["..#..", ".###.", "#.#.#", "##.##"]);
        let areas: Vec<f64> = found.all.iter().map(|r| r.area).collect();
        // A corner above, the cross, the other corner; then a foot, what lies beside the cross, the other foot, and a gap.
        assert_eq!(areas, [3.0, 5.0, 3.0, 3.0, 1.0, 1.0, 3.0, 1.0]);
        let cross = &found.all[1];
        assert!(cross.light && cross.centre() == (2.0, 1.0));
        assert_eq!((cross.width(), cross.height()), (3.0, 3.0));
    }

    #[test]
    fn a_ring_is_the_region_round_what_it_holds() {
        let found = regions(&["......", ".####.", ".#..#.", ".#..#.", ".####.", "......"]);
        let [ground, ring, hole] = &found.all[..] else { panic!("{:?}", found.all) };
        assert_eq!((ground.area, ring.area, hole.area), (20.0, 12.0, 4.0));
        assert_eq!(found.round(hole), Some(ring));
        assert_eq!(found.round(ring), Some(ground));
        assert_eq!(found.round(ground), None);
        assert!(ring.holds(hole) && ground.holds(ring) && !hole.holds(ring));
    }

    #[test]
    fn arms_that_meet_below_are_one_region() {
        let found = regions(&["#.#.#", "#.#.#", "#####"]);
        let areas: Vec<f64> = found.all.iter().map(|r| r.area).collect();
        assert_eq!(areas, [11.0, 2.0, 2.0]);
    }

    #[test]
    fn every_pixel_has_the_region_that_spreading_from_it_finds() {
        // A flood of the same picture, pixel by pixel, stands against the runs.
        let (w, h) = (23, 17);
        let light: Vec<bool> = (0..w * h).map(|i| (i * i / 3 + i * 7 / 5) % 5 < 3).collect();
        let found = Regions::of(&light, w);
        let mut label = vec![usize::MAX; w * h];
        let mut areas = Vec::new();
        for start in 0..w * h {
            if label[start] != usize::MAX {
                continue;
            }
            let (mut waiting, mut area) = (vec![start], 0.0);
            label[start] = areas.len();
            while let Some(i) = waiting.pop() {
                area += 1.0;
                let (x, y) = (i % w, i / w);
                let near = [
                    (x > 0).then(|| i - 1),
                    (x + 1 < w).then(|| i + 1),
                    (y > 0).then(|| i - w),
                    (y + 1 < h).then(|| i + w),
                ];
                for j in near.into_iter().flatten() {
                    if label[j] == usize::MAX && light[j] == light[i] {
                        label[j] = areas.len();
                        waiting.push(j);
                    }
                }
            }
            areas.push(area);
        }
        assert!(areas.len() > 20, "{}", areas.len());
        assert_eq!(found.all.iter().map(|r| r.area).collect::<Vec<_>>(), areas);
        for (y, runs) in found.rows.windows(2).enumerate() {
            for run in &found.runs[runs[0]..runs[1]] {
                for x in run.from..run.end {
                    assert_eq!(run.region as usize, label[y * w + x as usize], "{x} {y}");
                }
            }
        }
    }
}
