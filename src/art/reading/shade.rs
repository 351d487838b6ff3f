//! Shade: the light of bare paper with the shadows of hands and phones across it.
//!
//! A shadow's edge is narrower than the cells of the background can follow, and yet wider than the edge of a sheet of paper
//! on its table or of ink. So the picture is looked at in finer cells as well: they tell soft edges from sharp ones, and
//! where light changes from cell to cell they are the background. They cannot be that everywhere, as they take solids of
//! ink for paper.

use super::background::{Background, around, closing, grid_of, paper_of, row_between, smooth};
use super::cells::Cells;
use crate::plane::median;

/// Fine cells along the side of a cell.
const FINE: usize = 5;
/// Least side of a fine cell, pixels: less holds grain alone.
const LEAST_SIDE: usize = 2;
/// Light that differs by more than this factor across an edge makes it one.
const EDGE: f32 = 1.22;
/// From an edge's middle to where its light has settled, fine cells.
const SPAN: usize = 6;
/// Share of an edge's step that a sharp one takes over two fine cells, at least. The edge of a sheet that is somewhat out
/// of focus takes 0.6, a shadow a fiftieth of the picture wide at most 0.35 (own made-up photos).
const SHARP: f32 = 0.45;
/// Share of a soft rim that may seem sharp, as strokes and other edges cross it.
const SOFT_RIM: f32 = 0.3;
/// Logarithms of the ratio of light within a cell and its neighbours from where fine cells count, and where they alone do.
const STEEP: (f32, f32) = (0.12, 0.24);
/// So far around a steep place they count too, cells: the closing and the smoothing carry its step there.
const STEEP_REACH: usize = 2;
/// Under this share of the light all around, what fine cells show is ink.
const INK_UNDER: f32 = 0.6;
/// What is under this share of the cells' background may be shade that they carried over.
const CARRIED: f32 = 0.88;

/// Which cells hold a sharp edge that is no stroke's.
pub(super) struct Edges {
    sharp: Vec<bool>,
    near: Vec<bool>,
}

impl Edges {
    /// Of light in fine cells, `k` x `k` a cell.
    fn of(fine: &[f32], grid: Cells, k: usize) -> Edges {
        let (columns, rows) = (grid.columns * k, grid.rows * k);
        let log: Vec<f32> = fine.iter().map(|l| libm::logf(l.max(1e-3))).collect();
        let mut sharp = vec![false; grid.columns * grid.rows];
        let least = libm::logf(EDGE);
        for y in 0..rows {
            for x in 0..columns {
                let across = |d: usize| {
                    log[y * columns + (x + d).min(columns - 1)] - log[y * columns + x.saturating_sub(d)]
                };
                let down = |d: usize| {
                    log[(y + d).min(rows - 1) * columns + x] - log[y.saturating_sub(d) * columns + x]
                };
                let is_sharp = |near: f32, far: f32| far.abs() > least && near.abs() > SHARP * far.abs();
                if is_sharp(across(1), across(SPAN)) || is_sharp(down(1), down(SPAN)) {
                    sharp[(y / k) * grid.columns + x / k] = true;
                }
            }
        }
        let near = widened(&sharp, grid, 1);
        Edges { sharp, near }
    }

    /// Whether the rim of a patch is mostly soft.
    pub fn soft_rim(&self, grid: Cells, patch: &[usize]) -> bool {
        let rim = grid.rim(patch);
        let sharp = rim.iter().filter(|&&i| self.near[i]).count();
        (sharp as f32) < SOFT_RIM * rim.len() as f32
    }
}

/// The cells within `reach` of those that are on.
pub(super) fn widened(on: &[bool], grid: Cells, reach: usize) -> Vec<bool> {
    let on: Vec<f32> = on.iter().map(|&on| f32::from(u8::from(on))).collect();
    around(&on, grid.columns, grid.rows, reach, f32::max).into_iter().map(|v| v > 0.0).collect()
}

/// The light of bare paper, shadows with it.
pub(super) struct Shade {
    ground: Background,
    edges: Edges,
    grid: Cells,
    size: (usize, usize),
    k: usize,
    /// Fine cells before ink was told from shade.
    all: Vec<f32>,
    fine: Vec<f32>,
    /// How much the fine cells count, by cells.
    weight: Vec<f32>,
}

impl Shade {
    /// Of a picture of relative luminance.
    pub fn of(width: usize, height: usize, light: &[f32]) -> Shade {
        let (columns, rows) = grid_of(width, height);
        let (grid, size) = (Cells { columns, rows }, (width, height));
        let k = ((width / columns).min(height / rows) / LEAST_SIDE).clamp(1, FINE);
        let closed = closing(&paper_of((columns * k, rows * k), size, light, None), columns * k, rows * k);
        let edges = Edges::of(&closed, grid, k);
        let ground = Background::on_cells((columns, rows), size, light, None, Some(&edges));
        let crisp = ground.crisp();
        let steep = steepness(crisp, grid);
        let soft = carried_over(&closed, crisp, &steep, (grid, k), &edges);
        let lowest = around(crisp, columns, rows, STEEP_REACH, f32::min);
        let told = (0..closed.len())
            .map(|i| {
                let cell = (i / (columns * k) / k) * columns + i % (columns * k) / k;
                let ink = closed[i] < INK_UNDER * lowest[cell] && !soft[cell];
                if ink { ground.light()[cell] } else { closed[i] }
            })
            .collect::<Vec<f32>>();
        let weight: Vec<f32> =
            steep.iter().zip(&soft).map(|(&s, &soft)| if soft { 1.0 } else { s }).collect();
        let weight = smooth(&around(&weight, columns, rows, STEEP_REACH, f32::max), columns, rows);
        let of_fine = |v: &[f32]| smooth(v, columns * k, rows * k);
        Shade { edges, grid, size, k, all: of_fine(&closed), fine: of_fine(&told), weight, ground }
    }

    /// The cells.
    pub fn cells(&self) -> Cells {
        self.grid
    }

    /// The fine cells, and how many lie along the side of a cell.
    pub fn fine_cells(&self) -> (Cells, usize) {
        (Cells { columns: self.grid.columns * self.k, rows: self.grid.rows * self.k }, self.k)
    }

    /// The light of each cell, row after row.
    pub fn light(&self) -> &[f32] {
        self.ground.light()
    }

    /// Where the light steps as at the edge of a sheet: at once, and by more than a shadow takes.
    pub fn steps(&self) -> Vec<bool> {
        let sharp = widened(&self.edges.sharp, self.grid, super::background::STEP_REACH);
        self.ground.steps().into_iter().zip(sharp).map(|(step, sharp)| step && sharp).collect()
    }

    /// Whether light may differ between two neighbouring cells of one sheet, however much: there is no sharp edge between
    /// them.
    pub fn softly(&self, i: usize, j: usize) -> bool {
        !self.edges.near[i] && !self.edges.near[j]
    }

    /// Takes the paper of cells that are not `known` from those around them: what lies there is ink.
    pub fn carry(&mut self, known: &[bool]) {
        self.ground.carry(known);
        self.weight.iter_mut().zip(known).filter(|(_, known)| !**known).for_each(|(w, _)| *w = 0.0);
    }

    /// Where the light changes most between two neighbouring cells, or a few cells beyond them: across and down, in cells.
    pub fn edge_between(&self, i: usize, j: usize) -> (f32, f32) {
        let (Cells { columns, rows }, k) = (self.grid, self.k);
        let middle =
            |cell: usize| ((cell % columns * k + k / 2) as isize, (cell / columns * k + k / 2) as isize);
        let ((x, y), (right, below)) = (middle(i), middle(j));
        let (dx, dy) = ((right - x).signum(), (below - y).signum());
        let light = |n: isize| {
            let x = (x + n * dx).clamp(0, (columns * k) as isize - 1) as usize;
            let y = (y + n * dy).clamp(0, (rows * k) as isize - 1) as usize;
            self.all[y * columns * k + x].max(1e-3)
        };
        let reach = (super::background::STEP_REACH * k) as isize;
        let step = |n: &isize| (libm::logf(light(*n)) - libm::logf(light(*n + 1))).abs();
        let at = (-reach..=reach + k as isize).max_by(|a, b| step(a).total_cmp(&step(b))).unwrap_or(0);
        let of = |v: isize, d: isize| (v as f32 + 0.5 + (at as f32 + 0.5) * d as f32) / k as f32;
        (of(x, dx), of(y, dy))
    }

    /// The background of row `y`, one value a column.
    pub fn row(&self, y: usize, out: &mut [f32]) {
        let grid = (self.grid.columns, self.grid.rows);
        let (mut fine, mut weight) = (vec![0.0f32; out.len()], vec![0.0f32; out.len()]);
        self.ground.row(y, out);
        row_between(&self.fine, (grid.0 * self.k, grid.1 * self.k), self.size, y, &mut fine);
        row_between(&self.weight, grid, self.size, y, &mut weight);
        for ((o, f), w) in out.iter_mut().zip(fine).zip(weight) {
            *o += (f.min(*o) - *o) * w;
        }
    }

    /// Whether a part of the picture looks like another part of the same paper, were it darker: it is as even, and strokes
    /// lie on it that are as deep. The parts are given by cells.
    pub fn alike(&self, light: &[f32], part: &[bool], other: &[bool]) -> bool {
        let depth = self.depths(light);
        let (Some(here), Some(there)) = (self.look(&depth, part), self.look(&depth, other)) else {
            return false;
        };
        // Light that is weaker has more grain against itself.
        there.rough < 2.5 * here.rough.max(1e-4)
            && (0.002..0.15).contains(&there.strokes)
            && there.depth > 0.3 * here.depth
    }

    /// How far the mean of each fine cell lies below its background.
    fn depths(&self, light: &[f32]) -> Vec<f32> {
        let (columns, rows) = (self.grid.columns * self.k, self.grid.rows * self.k);
        let (width, height) = self.size;
        let from = |i: usize, n: usize, size: usize| i * size / n;
        let rows_of = crate::parallel::map(rows, |r| {
            (0..columns)
                .map(|c| {
                    let (mut sum, mut n) = (0.0f32, 0u32);
                    for y in from(r, rows, height)..from(r + 1, rows, height) {
                        for x in from(c, columns, width)..from(c + 1, columns, width) {
                            sum += light[y * width + x];
                            n += 1;
                        }
                    }
                    1.0 - sum / n.max(1) as f32 / self.all[r * columns + c].max(1e-4)
                })
                .collect::<Vec<f32>>()
        });
        rows_of.into_iter().flatten().collect()
    }

    /// How a part looks, given by cells; `None` where it is too small to tell.
    fn look(&self, depth: &[f32], part: &[bool]) -> Option<Look> {
        let columns = self.grid.columns * self.k;
        let within = |i: usize| part[(i / columns / self.k) * self.grid.columns + i % columns / self.k];
        let places: Vec<usize> = (0..depth.len()).filter(|&i| within(i)).collect();
        if places.len() < 200 {
            return None;
        }
        let middle = median(places.iter().map(|&i| depth[i]))?;
        let rough = 1.48 * median(places.iter().map(|&i| (depth[i] - middle).abs()))?;
        let least = (5.0 * rough).max(0.04);
        let dark: Vec<bool> = (0..depth.len()).map(|i| within(i) && depth[i] - middle > least).collect();
        let rows = self.grid.rows * self.k;
        // A stroke goes on to both sides; a speck does not.
        let goes_on = |i: usize| {
            let (x, y) = (i % columns, i / columns);
            let ys = y.saturating_sub(1)..(y + 2).min(rows);
            let xs = x.saturating_sub(1)..(x + 2).min(columns);
            ys.flat_map(|y| xs.clone().map(move |x| y * columns + x)).filter(|&j| dark[j]).count() >= 3
        };
        let strokes: Vec<f32> =
            places.iter().filter(|&&i| dark[i] && goes_on(i)).map(|&i| depth[i]).collect();
        let share = strokes.len() as f32 / places.len() as f32;
        Some(Look { rough, strokes: share, depth: median(strokes).unwrap_or(0.0) })
    }
}

/// What a part of a picture looks like.
struct Look {
    /// How much its bare places differ, as a standard deviation.
    rough: f32,
    /// The share of strokes.
    strokes: f32,
    /// How deep most of these are.
    depth: f32,
}

/// How much fine cells count where light changes, 0 to 1.
fn steepness(crisp: &[f32], grid: Cells) -> Vec<f32> {
    let log: Vec<f32> = crisp.iter().map(|l| libm::logf(l.max(1e-4))).collect();
    let most = around(&log, grid.columns, grid.rows, 1, f32::max);
    let least = around(&log, grid.columns, grid.rows, 1, f32::min);
    let weight = |(a, b): (f32, f32)| ((a - b - STEEP.0) / (STEEP.1 - STEEP.0)).clamp(0.0, 1.0);
    most.into_iter().zip(least).map(weight).collect()
}

/// Shade that the cells' closing carried over, as at the tip of a finger's shadow or where a shadow narrows at the picture's
/// edge: a patch next to a steep place, with a soft rim. A smudge that lies alone is drawn.
fn carried_over(
    fine: &[f32],
    crisp: &[f32],
    steep: &[f32],
    (grid, k): (Cells, usize),
    edges: &Edges,
) -> Vec<bool> {
    let columns = grid.columns * k;
    let mut below = vec![false; crisp.len()];
    for (i, &f) in fine.iter().enumerate() {
        let cell = (i / columns / k) * grid.columns + i % columns / k;
        below[cell] |= f < CARRIED * crisp[cell];
    }
    let mut soft = vec![false; crisp.len()];
    for patch in grid.patches(&below) {
        if grid.rim(&patch).into_iter().any(|i| steep[i] > 0.0) && edges.soft_rim(grid, &patch) {
            patch.into_iter().for_each(|i| soft[i] = true);
        }
    }
    soft
}
