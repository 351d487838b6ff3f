//! Background: the light that bare paper would give at each place, with its shadows, from the picture itself.
//!
//! Strokes are narrow and darker than the paper around them. So the light of a cell is a high quantile of what it
//! holds; a closing (the greatest of a neighbourhood, then the least of that) carries the paper over what is
//! broader than a cell, and leaves a shadow, which is broader than the neighbourhood, as it is. A closing of the
//! picture's tones as background estimate: J. Serra, Image Analysis and Mathematical Morphology (1982).
//! A patch of cells far darker than the lightest paper a good way around is no shadow but a solid of ink: the paper there
//! is carried in from its sides. One that reaches the picture's edge is what the sheet lies on, and stays; so does one that
//! comes in from there with a soft rim, as ink has none.

use super::cells::Cells;
use super::shade::Edges;

/// Cells along the longer side.
const CELLS: usize = 100;
/// Half width of the closing, cells: a solid up to a tenth of the longer side is carried over.
const REACH: usize = 5;
/// Half width of the surroundings in which a solid's paper is looked for, cells.
const FAR: usize = 16;
/// A cell under this share of its surroundings' paper is ink: a shadow of a hand or a phone leaves more than half of
/// the light (common practice, no source).
const INK_UNDER: f32 = 0.42;
/// Under this share of the light at its brim, a hollow of any width is black.
const BLACK: f32 = 0.1;
/// Half width of the neighbourhood in which a step is looked for, cells. The shadow of a hand, that takes half of the light
/// over a tenth of the picture, leaves 0.7 of it over such a way; a table under a sheet takes more at once.
pub(super) const STEP_REACH: usize = 3;
/// What a step leaves of the light, at most.
const STEP: f32 = 0.62;
/// Passes that even out the seams of what is carried in from several sides.
const SEAM: usize = 20;
/// Share of a cell that is darker than its paper, at most: the light of paper is read from the rest.
const QUANTILE: f64 = 0.8;

/// The light of bare paper, by cells.
#[derive(Debug, Clone)]
pub(super) struct Background {
    columns: usize,
    rows: usize,
    size: (usize, usize),
    light: Vec<f32>,
    /// Before it was smoothed.
    crisp: Vec<f32>,
}

impl Background {
    /// Of a picture of relative luminance; places that are not `opaque` do not count.
    pub fn of(width: usize, height: usize, light: &[f32], opaque: Option<&[bool]>) -> Background {
        let (columns, rows) = grid_of(width, height);
        Background::on_cells((columns, rows), (width, height), light, opaque, None)
    }

    /// The same on so many cells, and with the picture's edges where they are known.
    pub fn on_cells(
        (columns, rows): (usize, usize),
        size: (usize, usize),
        light: &[f32],
        opaque: Option<&[bool]>,
        edges: Option<&Edges>,
    ) -> Background {
        let raw = paper_of((columns, rows), size, light, opaque);
        let raw = without_solids(raw, columns, rows, edges);
        let closed = closing(&raw, columns, rows);
        let light = smooth(&closed, columns, rows);
        Background { columns, rows, size, light, crisp: closed }
    }

    /// Takes the light of cells that are not `known` from those around them.
    pub fn carry(&mut self, known: &[bool]) {
        let mut light: Vec<Option<f32>> =
            self.light.iter().zip(known).map(|(l, k)| k.then_some(*l)).collect();
        carry_in(&mut light, self.columns, self.rows);
        self.light.iter_mut().zip(light).for_each(|(l, known)| *l = known.unwrap_or(*l));
        // Rings from several sides meet in a seam.
        for _ in 0..SEAM {
            let even = smooth(&self.light, self.columns, self.rows);
            self.light.iter_mut().zip(even).zip(known).filter(|(_, k)| !**k).for_each(|((l, e), _)| *l = e);
        }
    }

    /// The light of each cell, row after row.
    pub fn light(&self) -> &[f32] {
        &self.light
    }

    /// The same before it was smoothed.
    pub fn crisp(&self) -> &[f32] {
        &self.crisp
    }

    /// Where the light steps as no shadow does, on the darker side of the step, `STEP_REACH` cells deep: where a sheet ends on
    /// its table.
    pub fn steps(&self) -> Vec<bool> {
        let lightest = around(&self.crisp, self.columns, self.rows, STEP_REACH, f32::max);
        self.crisp.iter().zip(lightest).map(|(&c, l)| c < STEP * l).collect()
    }

    /// The background of row `y`, one value a column.
    pub fn row(&self, y: usize, out: &mut [f32]) {
        row_between(&self.light, (self.columns, self.rows), self.size, y, out);
    }

    /// The standard deviation of its logarithm, and its median.
    pub fn spread(&self) -> (f64, f64) {
        let logs: Vec<f64> = self.light.iter().map(|&l| libm::log(f64::from(l.max(1e-4)))).collect();
        let n = logs.len().max(1) as f64;
        let mean = logs.iter().sum::<f64>() / n;
        let deviation = (logs.iter().map(|l| (l - mean) * (l - mean)).sum::<f64>() / n).sqrt();
        let mut sorted = self.light.clone();
        sorted.sort_unstable_by(f32::total_cmp);
        (deviation, sorted.get(sorted.len() / 2).copied().map_or(1.0, f64::from))
    }
}

/// Columns and rows of cells of a picture.
pub(super) fn grid_of(width: usize, height: usize) -> (usize, usize) {
    let side = (width.max(height) as f64 / CELLS as f64).max(4.0);
    let n = |size: usize| ((size as f64 / side).round() as usize).max(1);
    (n(width), n(height))
}

/// The light that paper gives in each cell, were it not for what is broader than a cell.
pub(super) fn paper_of(
    (columns, rows): (usize, usize),
    (width, height): (usize, usize),
    light: &[f32],
    opaque: Option<&[bool]>,
) -> Vec<f32> {
    let cell = (width as f64 / columns as f64, height as f64 / rows as f64);
    let cut = |i: usize, size: f64, n: usize| ((i as f64 * size).round() as usize).min(n);
    let quantiles = crate::parallel::map(rows, |r| {
        let ys = cut(r, cell.1, height)..cut(r + 1, cell.1, height);
        (0..columns)
            .map(|c| {
                let xs = cut(c, cell.0, width)..cut(c + 1, cell.0, width);
                let mut values: Vec<f32> = ys
                    .clone()
                    .flat_map(|y| xs.clone().map(move |x| y * width + x))
                    .filter(|&i| opaque.is_none_or(|o| o[i]))
                    .map(|i| light[i])
                    .collect();
                let at = (values.len() as f64 * QUANTILE) as usize;
                (at < values.len()).then(|| *values.select_nth_unstable_by(at, f32::total_cmp).1)
            })
            .collect::<Vec<Option<f32>>>()
    });
    quantiles.into_iter().flatten().map(|v| v.unwrap_or(0.0)).collect()
}

/// Row `y` of a picture of such a size, between the middles of the cells whose values are given.
pub(super) fn row_between(
    values: &[f32],
    (columns, rows): (usize, usize),
    size: (usize, usize),
    y: usize,
    out: &mut [f32],
) {
    let cell = (size.0 as f64 / columns as f64, size.1 as f64 / rows as f64);
    let at = |v: f64, cell: f64, n: usize| {
        let p = ((v + 0.5) / cell - 0.5).clamp(0.0, (n - 1) as f64);
        let i = (p as usize).min(n.saturating_sub(2));
        (i, (i + 1).min(n - 1), (p - i as f64) as f32)
    };
    let (above, below, v) = at(y as f64, cell.1, rows);
    let line: Vec<f32> = (0..columns)
        .map(|c| {
            let (a, b) = (values[above * columns + c], values[below * columns + c]);
            a + (b - a) * v
        })
        .collect();
    for (x, o) in out.iter_mut().enumerate() {
        let (left, right, u) = at(x as f64, cell.0, columns);
        *o = line[left] + (line[right] - line[left]) * u;
    }
}

/// Cells of solid ink replaced by the mean of the paper at their sides, ring after ring from the outside in.
fn without_solids(raw: Vec<f32>, columns: usize, rows: usize, edges: Option<&Edges>) -> Vec<f32> {
    let far = around(&around(&raw, columns, rows, FAR, f32::max), columns, rows, FAR, f32::min);
    let mut paper: Vec<Option<f32>> =
        raw.iter().zip(&far).map(|(&r, &f)| (r >= INK_UNDER * f).then_some(r)).collect();
    beyond(&mut paper, &raw, columns, rows);
    if let Some(edges) = edges {
        let grid = Cells { columns, rows };
        shaded(&mut paper, &raw, grid, edges);
        black(&mut paper, &raw, grid, edges);
    }
    let known = paper.iter().flatten().count();
    // Where nearly all would be ink there is no sheet of paper to speak of.
    if known * 4 < raw.len() {
        return raw;
    }
    carry_in(&mut paper, columns, rows);
    paper.into_iter().zip(raw).map(|(p, r)| p.unwrap_or(r)).collect()
}

/// Carries what is known into the other cells, ring after ring, as the mean of those around.
fn carry_in(paper: &mut [Option<f32>], columns: usize, rows: usize) {
    while paper.iter().any(Option::is_none) {
        let before = paper.to_vec();
        for r in 0..rows {
            for c in 0..columns {
                if before[r * columns + c].is_some() {
                    continue;
                }
                let (mut sum, mut n) = (0.0f32, 0u8);
                for y in r.saturating_sub(1)..(r + 2).min(rows) {
                    for x in c.saturating_sub(1)..(c + 2).min(columns) {
                        if let Some(v) = before[y * columns + x] {
                            sum += v;
                            n += 1;
                        }
                    }
                }
                if n > 0 {
                    paper[r * columns + c] = Some(sum / f32::from(n));
                }
            }
        }
        if *paper == before[..] {
            break;
        }
    }
}

/// Dark patches that reach the picture's edge are no ink: their cells are known again.
fn beyond(paper: &mut [Option<f32>], raw: &[f32], columns: usize, rows: usize) {
    let grid = Cells { columns, rows };
    let begin: Vec<usize> = (0..raw.len()).filter(|&i| grid.at_edge(i) && paper[i].is_none()).collect();
    // A stroke that runs off the picture is no table: that takes a fair part of the frame.
    if begin.len() * 12 < 2 * (columns + rows) {
        return;
    }
    begin.iter().for_each(|&i| paper[i] = Some(raw[i]));
    grid.flood(begin, |_, j| {
        let new = paper[j].is_none();
        if new {
            paper[j] = Some(raw[j]);
        }
        new
    });
}

/// Dark patches that come in from the picture's edge with a soft rim are the shadow of a hand: their cells are known again.
fn shaded(paper: &mut [Option<f32>], raw: &[f32], grid: Cells, edges: &Edges) {
    let dark: Vec<bool> = paper.iter().map(Option::is_none).collect();
    for patch in grid.patches(&dark) {
        if patch.iter().any(|&i| grid.at_edge(i)) && edges.soft_rim(grid, &patch) {
            patch.iter().for_each(|&i| paper[i] = Some(raw[i]));
        }
    }
}

/// Black patches amid lighter cells, however wide, are ink unless their rim is soft: a silhouette is no paper whose grain is
/// looked for. A card that lies on a lighter table is not so dark.
fn black(paper: &mut [Option<f32>], raw: &[f32], grid: Cells, edges: &Edges) {
    let filled = filled(raw, grid);
    let dark: Vec<bool> = raw.iter().zip(&filled).map(|(r, f)| *r < BLACK * f).collect();
    for patch in grid.patches(&dark) {
        if !edges.soft_rim(grid, &patch) {
            patch.iter().for_each(|&i| paper[i] = None);
        }
    }
}

/// Each cell as light as the lightest one on the darkest way from it to the picture's edge: hollows are filled to their brim.
fn filled(raw: &[f32], grid: Cells) -> Vec<f32> {
    let mut level: Vec<f32> =
        raw.iter().enumerate().map(|(i, r)| if grid.at_edge(i) { *r } else { f32::MAX }).collect();
    loop {
        let lower = around(&level, grid.columns, grid.rows, 1, f32::min);
        let next: Vec<f32> = raw.iter().zip(lower).map(|(r, l)| r.max(l)).collect();
        if next == level {
            return level;
        }
        level = next;
    }
}

/// The closing. Beyond its edges the plane goes on falling as it does inside them, or else is as at its edge: so paper
/// that darkens towards the edge of the picture is not carried over either.
pub(super) fn closing(v: &[f32], columns: usize, rows: usize) -> Vec<f32> {
    let (wide, high) = (columns + 2 * REACH, rows + 2 * REACH);
    let fall = |at: usize, n: usize| -> (usize, Option<usize>) {
        let last = n - 1;
        match at.checked_sub(REACH) {
            None => (0, Some((REACH - at).min(last))),
            Some(i) if i > last => (last, Some(last - (i - last).min(last))),
            Some(i) => (i, None),
        }
    };
    let beyond = |edge: f32, inner: f32| (edge * edge / inner.max(1e-6)).min(edge);
    let mut padded = Vec::with_capacity(wide * high);
    for y in 0..high {
        let (r, inner_r) = fall(y, rows);
        for x in 0..wide {
            let (c, inner_c) = fall(x, columns);
            let mut value = v[r * columns + c];
            if let Some(i) = inner_c {
                value = beyond(value, v[r * columns + i]);
            }
            if let Some(i) = inner_r {
                value = value.min(beyond(v[r * columns + c], v[i * columns + c]));
            }
            padded.push(value);
        }
    }
    let closed = around(&around(&padded, wide, high, REACH, f32::max), wide, high, REACH, f32::min);
    (0..v.len()).map(|i| closed[(i / columns + REACH) * wide + i % columns + REACH]).collect()
}

/// The greatest or least of the square of so many cells around each cell, first along rows, then along columns.
pub(super) fn around(
    v: &[f32],
    columns: usize,
    rows: usize,
    reach: usize,
    pick: fn(f32, f32) -> f32,
) -> Vec<f32> {
    let mut along = vec![0.0f32; v.len()];
    for r in 0..rows {
        let row = &v[r * columns..(r + 1) * columns];
        for c in 0..columns {
            let part = &row[c.saturating_sub(reach)..(c + reach + 1).min(columns)];
            along[r * columns + c] = part.iter().copied().reduce(pick).unwrap_or(0.0);
        }
    }
    let mut out = vec![0.0f32; v.len()];
    for r in 0..rows {
        let span = r.saturating_sub(reach)..(r + reach + 1).min(rows);
        for c in 0..columns {
            out[r * columns + c] = span.clone().map(|r| along[r * columns + c]).reduce(pick).unwrap_or(0.0);
        }
    }
    out
}

/// Each cell and its eight neighbours by the weights 1 2 1 both ways: the cells' own steps are gone.
pub(super) fn smooth(v: &[f32], columns: usize, rows: usize) -> Vec<f32> {
    let pass = |v: &[f32], n: usize, stride: usize, i: usize, at: usize| {
        let (before, after) = (if at > 0 { i - stride } else { i }, if at + 1 < n { i + stride } else { i });
        (v[before] + 2.0 * v[i] + v[after]) / 4.0
    };
    let along: Vec<f32> = (0..v.len()).map(|i| pass(v, columns, 1, i, i % columns)).collect();
    (0..v.len()).map(|i| pass(&along, rows, columns, i, i / columns)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::linear_to_srgb;

    #[test]
    fn strokes_leave_no_trace_and_a_shadow_stays() {
        let (w, h) = (600, 400);
        // Paper that darkens to the right, with strokes 6 wide and a solid of 40 x 40.
        let paper = |x: usize| 0.8 - 0.5 * x as f32 / w as f32;
        let light: Vec<f32> = (0..w * h)
            .map(|i| {
                let (x, y) = (i % w, i / w);
                let inked = (x + 30) % 60 < 6 || ((300..340).contains(&x) && (100..140).contains(&y));
                if inked { paper(x) * 0.1 } else { paper(x) }
            })
            .collect();
        let ground = Background::of(w, h, &light, None);
        let mut row = vec![0.0; w];
        for y in [20, 120, 380] {
            ground.row(y, &mut row);
            for (x, &found) in row.iter().enumerate().take(597).skip(3) {
                assert!((found / paper(x) - 1.0).abs() < 0.06, "{x} {y}: {found} for {}", paper(x));
            }
        }
    }

    #[test]
    fn a_large_solid_is_no_shadow() {
        let (w, h) = (500, 400);
        let light: Vec<f32> = (0..w * h)
            .map(|i| {
                let (x, y) = (i % w, i / w);
                if (150..300).contains(&x) && (100..250).contains(&y) { 0.05 } else { 0.7 }
            })
            .collect();
        let mut row = vec![0.0; w];
        Background::of(w, h, &light, None).row(200, &mut row);
        assert!(row.iter().all(|b| (b - 0.7).abs() < 0.02), "{row:?}");
    }

    #[test]
    fn a_table_around_the_sheet_stays_dark() {
        let (w, h) = (500, 400);
        let light: Vec<f32> = (0..w * h)
            .map(|i| if (80..420).contains(&(i % w)) && (60..340).contains(&(i / w)) { 0.7 } else { 0.1 })
            .collect();
        let mut row = vec![0.0; w];
        Background::of(w, h, &light, None).row(200, &mut row);
        assert!((row[20] - 0.1).abs() < 0.02 && (row[250] - 0.7).abs() < 0.02, "{} {}", row[20], row[250]);
    }

    #[test]
    fn the_smallest_picture_has_a_background() {
        let ground = Background::of(1, 1, &[0.3], None);
        let mut row = [0.0];
        ground.row(0, &mut row);
        assert_eq!(row, [0.3]);
    }

    #[test]
    fn a_silhouette_is_solid_however_wide_it_is() {
        let (w, h) = (800, 600);
        let data = (0..w * h).map(|i| {
            let (x, y) = ((i % w) as f32, (i / w) as f32);
            let head = (x - 400.0).hypot(y - 300.0) < 210.0;
            let paper = if head { 0.01 } else { 0.9 };
            (paper + if i % 7 < 3 { 0.004 } else { -0.004 }) * (1.0 - 0.4 * x / w as f32)
        });
        let (out, sheet, _) =
            crate::art::reading::flattened(&crate::plane::Light::from_vec(w, h, data.collect()));
        assert!(sheet.is_none(), "{sheet:?}");
        let places = (0..w * h).map(|i| ((i % w) as f32 - 400.0).hypot((i / w) as f32 - 300.0));
        let inks = |from: f32, to: f32| -> Vec<f64> {
            let there = places.clone().enumerate().filter(|(_, r)| (from..to).contains(r));
            there.map(|(i, _)| 1.0 - linear_to_srgb(f64::from(out.data()[i]))).collect()
        };
        assert!(inks(0.0, 205.0).iter().all(|ink| *ink > 0.9));
        assert!(inks(220.0, 290.0).iter().filter(|ink| **ink > 0.05).count() < 100);
    }
}
