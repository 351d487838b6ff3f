//! Connected patches of cells (over-burnt ones, or ones whose detail is lost), found row by row without a
//! plane of labels.

use crate::plane::sets::Sets;

/// A connected patch of over-burnt cells (cells that share edges).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellPatch {
    /// Over-burnt area, in cells.
    pub area: f64,
    /// The cell with the greatest exposure.
    pub worst: (usize, usize),
    /// Its relative exposure.
    pub peak: f32,
    /// First and last column, first and last row.
    pub bounds: (usize, usize, usize, usize),
}

impl CellPatch {
    fn join(&mut self, other: &CellPatch) {
        self.area += other.area;
        if other.peak > self.peak || (other.peak == self.peak && other.worst.1 < self.worst.1) {
            (self.peak, self.worst) = (other.peak, other.worst);
        }
        let (a, b) = (self.bounds, other.bounds);
        self.bounds = (a.0.min(b.0), a.1.max(b.1), a.2.min(b.2), a.3.max(b.3));
    }

    fn larger(self, other: Option<CellPatch>) -> Option<CellPatch> {
        match other {
            Some(o) if o.area > self.area || (o.area == self.area && o.worst.1 < self.worst.1) => Some(o),
            _ => Some(self),
        }
    }
}

/// A run of over-burnt cells in one row and the patch it belongs to.
#[derive(Debug, Clone, Copy)]
struct Run {
    from: u32,
    end: u32,
    patch: u32,
}

/// Patches of some consecutive rows, as they grow.
#[derive(Debug, Default)]
pub struct CellPatches {
    /// Patches that were joined, and the figures of each.
    joined: Sets,
    figures: Vec<CellPatch>,
    /// Runs of the first and of the latest row; `None` before the first row.
    first: Option<Vec<Run>>,
    latest: Vec<Run>,
}

impl CellPatches {
    /// Takes in the next row: over-burnt shares and exposures; empty where none is over-burnt.
    pub fn row(&mut self, y: usize, charred: &[f32], peak: &[f32]) {
        let mut runs = Vec::new();
        let mut x = 0;
        while let Some(skip) = charred[x..].iter().position(|&c| c > 0.0) {
            let from = x + skip;
            let end = charred[from..].iter().position(|&c| c <= 0.0).map_or(charred.len(), |n| from + n);
            let area = charred[from..end].iter().map(|&c| f64::from(c)).sum();
            let worst = (from..end).fold(from, |w, i| if peak[i] > peak[w] { i } else { w });
            let patch = self.joined.add();
            self.figures.push(CellPatch {
                area,
                worst: (worst, y),
                peak: peak[worst],
                bounds: (from, end - 1, y, y),
            });
            runs.push(Run { from: from as u32, end: end as u32, patch });
            x = end;
        }
        if self.first.is_none() {
            self.first = Some(runs.clone());
        } else {
            let above = std::mem::take(&mut self.latest);
            self.touch(&above, &runs);
        }
        self.latest = runs;
    }

    /// Takes in the rows that follow.
    pub fn append(&mut self, below: CellPatches) {
        let Some(first) = below.first else { return };
        let shift = self.joined.append(below.joined);
        let shifted = |runs: Vec<Run>| -> Vec<Run> {
            runs.into_iter().map(|r| Run { patch: r.patch + shift, ..r }).collect()
        };
        self.figures.extend(below.figures);
        let first = shifted(first);
        if self.first.is_none() {
            self.first = Some(first);
        } else {
            let above = std::mem::take(&mut self.latest);
            self.touch(&above, &first);
        }
        self.latest = shifted(below.latest);
    }

    /// The largest patch.
    pub fn finish(self) -> Option<CellPatch> {
        self.joined.roots().fold(None, |best, i| self.figures[i as usize].larger(best))
    }

    /// Joins the patches of runs that touch.
    fn touch(&mut self, above: &[Run], below: &[Run]) {
        let mut i = 0;
        for run in below {
            while i < above.len() && above[i].end <= run.from {
                i += 1;
            }
            let mut j = i;
            while j < above.len() && above[j].from < run.end {
                self.join(above[j].patch, run.patch);
                j += 1;
            }
        }
    }

    fn join(&mut self, a: u32, b: u32) {
        if let Some((keep, drop)) = self.joined.join(a, b) {
            let other = self.figures[drop as usize];
            self.figures[keep as usize].join(&other);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn patches(rows: &[&str], first: usize) -> CellPatches {
        let mut p = CellPatches::default();
        for (i, row) in rows.iter().enumerate() {
            let charred: Vec<f32> = row.bytes().map(|b| if b == b'#' { 1.0 } else { 0.0 }).collect();
            p.row(first + i, &charred, &charred);
        }
        p
    }

    const PICTURE: [&str; 6] = ["##..#", ".#..#", ".####", "#....", "#.###", "###.#"];

    #[test]
    fn a_patch_is_what_hangs_together_by_edges() {
        let largest = patches(&PICTURE, 0).finish().unwrap();
        assert_eq!((largest.area, largest.bounds), (9.0, (0, 4, 0, 2)));
        assert!(patches(&["...", "..."], 0).finish().is_none());
    }

    #[test]
    fn bands_put_together_give_the_same_patches() {
        for cut in 1..PICTURE.len() {
            for second in cut..=PICTURE.len() {
                let mut p = CellPatches::default();
                p.append(patches(&PICTURE[..cut], 0));
                p.append(patches(&PICTURE[cut..second], cut));
                p.append(patches(&PICTURE[second..], second));
                let largest = p.finish().unwrap();
                assert_eq!((largest.area, largest.bounds), (9.0, (0, 4, 0, 2)), "{cut} {second}");
            }
        }
    }
}
