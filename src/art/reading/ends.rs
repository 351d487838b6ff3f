//! Ends: where a sheet of paper ends on what it lies on, in finer cells than those that tell that it does.
//!
//! From what surely is the sheet bare paper goes on to its very edge. Around a stroke near the edge there is such paper too,
//! so the stroke is the sheet's; what is dark and hangs together with what lies around the sheet is not.

use super::background::paper_of;
use super::cells::Cells;
use super::shade::{Shade, widened};

/// The sheet goes on so far beyond the cells that surely are its, at most.
const REACH: usize = super::background::STEP_REACH + 3;
/// A closing carries the paper over a wedge of the table that is no deeper at the picture's edge, cells.
const WEDGE: usize = 6;
/// Bare paper is as light as its ground within this factor.
const BARE: f32 = 1.22;
/// So many fine cells at its edge are left out: the edge is no stroke, and somewhat out of focus.
const RIM: usize = 3;
/// What is this dark at the last fine cells of the sheet reaches past them.
const CUT: f32 = 0.3;

/// The fine cells of a sheet.
pub(super) struct Ends {
    grid: Cells,
    /// Fine cells along the side of a cell.
    k: usize,
    on: Vec<bool>,
}

impl Ends {
    /// Of the sheet that surely lies on the cells `inner`; `ground` is its light, carried on beyond these.
    pub fn of(ground: &Shade, picture: &[f32], (width, height): (usize, usize), inner: &[bool]) -> Ends {
        let (cells, (grid, k)) = (ground.cells(), ground.fine_cells());
        let fine = |of: &[bool]| -> Vec<bool> {
            let cell = |i: usize| i / grid.columns / k * cells.columns + i % grid.columns / k;
            (0..grid.columns * grid.rows).map(|i| of[cell(i)]).collect()
        };
        let (zone, inner) = (fine(&widened(inner, cells, REACH)), fine(inner));
        let light = paper_of((grid.columns, grid.rows), (width, height), picture, None);
        let bare = bare(ground, grid, (width, height), &light);
        let mut reached = inner.clone();
        let begin = (0..inner.len()).filter(|&i| inner[i]).collect();
        grid.flood(begin, |_, j| zone[j] && bare[j] && !std::mem::replace(&mut reached[j], true));
        let begin: Vec<usize> =
            (0..zone.len()).filter(|&i| !reached[i] && (!zone[i] || grid.at_edge(i))).collect();
        let mut off = vec![false; zone.len()];
        begin.iter().for_each(|&i| off[i] = true);
        grid.flood(begin, |_, j| !reached[j] && !std::mem::replace(&mut off[j], true));
        // From there into wedges of the same that were taken for the sheet.
        let wedge = dark_at_edges(&bare, grid, WEDGE * k);
        let begin = (0..off.len()).filter(|&i| off[i]).collect();
        grid.flood(begin, |_, j| wedge[j] && !std::mem::replace(&mut off[j], true));
        let on = widened(&off, grid, RIM).into_iter().map(|off| !off).collect();
        Ends { grid, k, on }
    }

    /// Whether a place of a picture of such a size is the sheet's.
    pub fn has(&self, (x, y): (usize, usize), (width, height): (usize, usize)) -> bool {
        let (c, r) = (x * self.grid.columns / width.max(1), y * self.grid.rows / height.max(1));
        self.on[r * self.grid.columns + c]
    }

    /// The share of the picture that it fills.
    pub fn share(&self) -> f64 {
        self.on.iter().filter(|on| **on).count() as f64 / self.on.len().max(1) as f64
    }

    /// The cells that wholly are the sheet's.
    pub fn whole(&self) -> Vec<bool> {
        let mut whole = vec![true; self.on.len() / (self.k * self.k)];
        let columns = self.grid.columns / self.k;
        for (i, on) in self.on.iter().enumerate() {
            let cell = i / self.grid.columns / self.k * columns + i % self.grid.columns / self.k;
            whole[cell] &= on;
        }
        whole
    }

    /// Where something dark reaches the sheet's edge, in shares of the picture: the middle of the longest such place. `light` is
    /// `width` wide, dark where it is marked.
    pub fn cut(&self, light: &[f32], width: usize) -> Option<[f64; 2]> {
        let mut at_rim = vec![false; self.on.len()];
        self.grid.flood((0..self.on.len()).filter(|&i| self.on[i]).collect(), |i, j| {
            at_rim[i] |= !self.on[j];
            false
        });
        let means = self.grid.means(light, width);
        let dark: Vec<bool> = at_rim.iter().zip(means).map(|(&at_rim, l)| at_rim && 1.0 - l > CUT).collect();
        let patches = self.grid.patches(&dark);
        let mut longest =
            patches.into_iter().max_by_key(|p| (p.len(), std::cmp::Reverse(p.first().copied())))?;
        longest.sort_unstable();
        let i = *longest.get(longest.len() / 2)?;
        let (c, r) = ((i % self.grid.columns) as f64 + 0.5, (i / self.grid.columns) as f64 + 0.5);
        Some([c / self.grid.columns as f64, r / self.grid.rows as f64])
    }
}

/// The fine cells that are as light as their ground.
fn bare(ground: &Shade, grid: Cells, (width, height): (usize, usize), light: &[f32]) -> Vec<bool> {
    let middle = |i: usize, n: usize, size: usize| (2 * i + 1) * size / (2 * n);
    let mut row = vec![0.0f32; width];
    let mut bare = Vec::with_capacity(light.len());
    for (r, line) in light.chunks_exact(grid.columns).enumerate() {
        ground.row(middle(r, grid.rows, height), &mut row);
        bare.extend(line.iter().enumerate().map(|(c, l)| {
            let ground = row[middle(c, grid.columns, width)].max(1e-4);
            (ground / BARE..ground * BARE).contains(l)
        }));
    }
    bare
}

/// What is not bare from one of the picture's edges inwards, so deep at most.
fn dark_at_edges(bare: &[bool], grid: Cells, deep: usize) -> Vec<bool> {
    let mut dark = vec![false; bare.len()];
    let mut inwards = |line: &mut dyn Iterator<Item = usize>| {
        line.take(deep).take_while(|&i| !bare[i]).for_each(|i| dark[i] = true);
    };
    let Cells { columns, rows } = grid;
    for c in 0..columns {
        inwards(&mut (0..rows).map(|r| r * columns + c));
        inwards(&mut (0..rows).rev().map(|r| r * columns + c));
    }
    for r in 0..rows {
        inwards(&mut (0..columns).map(|c| r * columns + c));
        inwards(&mut (0..columns).rev().map(|c| r * columns + c));
    }
    dark
}

#[cfg(test)]
mod tests {
    use super::super::paper::{AroundSheet, flattened};
    use crate::plane::Light;

    const SIZE: (usize, usize) = (800, 600);

    /// A sheet from `on` with strokes at `inked`, on a dark table.
    fn photo(on: impl Fn(usize, usize) -> bool, inked: impl Fn(usize, usize) -> bool) -> Light {
        let data = (0..SIZE.0 * SIZE.1).map(|i| {
            let (x, y) = (i % SIZE.0, i / SIZE.0);
            let grain = ((x * 7919 + y * 104_729) % 97) as f32 / 97.0 - 0.5;
            let light = match (on(x, y), inked(x, y)) {
                (false, _) => 0.05,
                (_, true) => 0.1,
                _ => 0.7,
            };
            light * (1.0 + 0.04 * grain)
        });
        Light::from_vec(SIZE.0, SIZE.1, data.collect())
    }

    fn in_middle(x: usize, y: usize) -> bool {
        (80..720).contains(&x) && (60..540).contains(&y)
    }

    fn is_marked(out: &Light, x: usize, y: usize) -> bool {
        out.row(y)[x] < 0.3
    }

    #[test]
    fn what_is_drawn_near_the_edge_of_the_sheet_is_kept_and_lies_in_the_crop() {
        // Two and a half cells from the edges: a bar above, one to the right.
        let inked = |x: usize, y: usize| {
            (200..400).contains(&x) && (80..86).contains(&y)
                || (694..700).contains(&x) && (200..400).contains(&y)
        };
        let (out, sheet, _) = flattened(&photo(in_middle, inked));
        let sheet = sheet.unwrap();
        assert_eq!((sheet.around, sheet.cut), (AroundSheet::Table, None));
        assert!((202..398).all(|x| is_marked(&out, x, 83)) && (202..398).all(|y| is_marked(&out, 697, y)));
        let bare = |x: usize, y: usize| inked(x, y) || out.row(y)[x] > 0.9;
        assert!((0..800).all(|x| bare(x, 62) && bare(x, 59) && bare(x, 20)));
        let [_, top, right, _] = sheet.alone.unwrap().most;
        assert!(top < 80.0 / 600.0 && right > 700.0 / 800.0, "{sheet:?}");
    }

    #[test]
    fn a_stroke_that_runs_off_the_sheet_is_told_with_its_place_and_there_is_no_crop() {
        let inked = |x: usize, y: usize| (300..312).contains(&y) && x > 300;
        let (out, sheet, _) = flattened(&photo(in_middle, inked));
        let sheet = sheet.unwrap();
        let [x, y] = sheet.cut.unwrap();
        assert!((x - 0.88).abs() < 0.04 && (y - 0.51).abs() < 0.02 && sheet.alone.is_none(), "{sheet:?}");
        assert!(is_marked(&out, 650, 306) && !is_marked(&out, 760, 306));
    }

    #[test]
    fn a_wedge_of_the_table_at_the_picture_edge_is_no_ink() {
        // The table is seen to the right of the sheet, and below its corner.
        let on = |x: usize, y: usize| x < 660 && y + x / 10 < 648;
        let inked = |x: usize, y: usize| (100..500).contains(&x) && (300..306).contains(&y);
        let (out, sheet, _) = flattened(&photo(on, inked));
        assert_eq!(sheet.map(|s| s.around), Some(AroundSheet::Table));
        let marked = (560..800).flat_map(|x| (560..600).map(move |y| (x, y)));
        assert!(marked.into_iter().all(|(x, y)| !is_marked(&out, x, y)));
        assert!((105..495).all(|x| is_marked(&out, x, 303)));
    }
}
