//! The forecast in figures and on a coarser grid, in one pass over the dots.

use super::forecast::{Band, Forecast, Solid};
use super::patch::{Patch, Patches};
use crate::plane::{Dots, Light};

/// What a burn comes to. Areas in dot cells; times the cell's mm² they are mm².
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Cells in the plane.
    pub cells: u64,
    /// Dots that are on.
    pub dots: u64,
    /// Mean mark fraction over the plane.
    pub mean_mark: f64,
    /// Marked area, cells: the sum of all mark fractions; where char takes the mark away again, that
    /// area still counts (it has been worked on).
    pub marked: f64,
    /// Over-burnt area, cells: where char is 5 % and more.
    pub charred: f64,
    /// The largest patch of over-burnt cells that share edges.
    pub largest: Option<Patch>,
    /// Greatest relative exposure anywhere, and the column and row of its cell.
    pub peak: f32,
    /// Where `peak` is.
    pub peak_at: (usize, usize),
    /// Cells deep inside solids: every dot that reaches them is on.
    pub solid_cells: u64,
    /// One of them.
    pub solid_at: Option<(usize, usize)>,
    /// What becomes of those.
    pub solid: Solid,
}

/// The forecast look and the over-burnt share on a coarser grid.
#[derive(Debug, Clone, PartialEq)]
pub struct Reduced {
    /// Look in linear light: `y_unmarked + mark (y_marked − y_unmarked)`, mean over each cell.
    pub look: Light,
    /// Share of each cell that is over-burnt, 0 to 1, row after row.
    pub charred: Vec<f32>,
}

/// The figures of a burn.
pub fn summary(dots: &Dots, forecast: &Forecast) -> Summary {
    one_pass(dots, forecast, None).0
}

/// The figures, and the look on a grid of `columns` by `rows` cells (no more than there are dots) that
/// share the plane's area evenly: each value is the mean over its exact area, dots cut by a cell's
/// border counting by their share.
pub fn reduced(dots: &Dots, forecast: &Forecast, columns: usize, rows: usize) -> (Summary, Reduced) {
    let columns = columns.clamp(1, dots.width().max(1));
    let rows = rows.clamp(1, dots.height().max(1));
    let (summary, planes) = one_pass(dots, forecast, Some((columns, rows)));
    let (look, charred) = planes.unwrap_or_default();
    let burn = forecast.burn();
    let look = look.into_iter().map(|m| burn.look_of(f64::from(m)) as f32).collect();
    (summary, Reduced { look: Light::from_vec(columns, rows, look), charred })
}

/// What one band comes to.
struct Part {
    marked: f64,
    mean: f64,
    charred: f64,
    peak: f32,
    peak_at: (usize, usize),
    solid_cells: u64,
    solid_at: Option<(usize, usize)>,
    patches: Patches,
    /// First coarse row touched, and the weighted sums of mark and char of each touched row.
    coarse: (usize, Vec<f32>, Vec<f32>),
}

type Planes = (Vec<f32>, Vec<f32>);

fn one_pass(dots: &Dots, forecast: &Forecast, grid: Option<(usize, usize)>) -> (Summary, Option<Planes>) {
    let (width, height) = (dots.width(), dots.height());
    let coarse = grid.map(|(columns, rows)| (Shares::new(width, columns), Shares::new(height, rows)));
    let parts = forecast.bands(dots, |band| part(dots, forecast, &band, coarse.as_ref()));
    let mut all = Summary {
        cells: (width * height) as u64,
        dots: dots.count(),
        mean_mark: 0.0,
        marked: 0.0,
        charred: 0.0,
        largest: None,
        peak: 0.0,
        peak_at: (0, 0),
        solid_cells: 0,
        solid_at: None,
        solid: forecast.solid(),
    };
    let mut planes = grid.map(|(columns, rows)| (vec![0.0; columns * rows], vec![0.0; columns * rows]));
    let mut patches = Patches::default();
    for part in parts {
        all.marked += part.marked;
        all.mean_mark += part.mean;
        all.charred += part.charred;
        all.solid_cells += part.solid_cells;
        all.solid_at = all.solid_at.or(part.solid_at);
        if part.peak > all.peak {
            (all.peak, all.peak_at) = (part.peak, part.peak_at);
        }
        patches.append(part.patches);
        if let (Some((look, charred)), Some((columns, _))) = (&mut planes, grid) {
            let (first, marks, chars) = part.coarse;
            for (to, from) in [(look, marks), (charred, chars)] {
                to[first * columns..].iter_mut().zip(from).for_each(|(t, f)| *t += f);
            }
        }
    }
    all.mean_mark /= (all.cells as f64).max(1.0);
    all.largest = patches.finish();
    (all, planes)
}

fn part(dots: &Dots, forecast: &Forecast, band: &Band, coarse: Option<&(Shares, Shares)>) -> Part {
    let width = band.width;
    let mut part = Part {
        marked: 0.0,
        mean: 0.0,
        charred: 0.0,
        peak: 0.0,
        peak_at: (0, 0),
        solid_cells: 0,
        solid_at: None,
        patches: Patches::default(),
        coarse: (0, Vec::new(), Vec::new()),
    };
    if let Some((_, rows)) = coarse {
        let (first, last) = (rows.of(band.first).0, rows.of(band.first + band.rows() - 1).1);
        let n = (last - first + 1) * coarse.map_or(0, |c| c.0.count);
        part.coarse = (first, vec![0.0; n], vec![0.0; n]);
    }
    let mut line = (Vec::new(), Vec::new());
    for i in 0..band.rows() {
        let y = band.first + i;
        let mark = &band.mark[i * width..(i + 1) * width];
        let peak = &band.peak[i * width..(i + 1) * width];
        let charred = &band.charred[i * width..(i + 1) * width];
        let top = peak.iter().fold(0.0f32, |a, &b| if b > a { b } else { a });
        if top > part.peak {
            part.peak = top;
            part.peak_at = (peak.iter().position(|&p| p == top).unwrap_or(0), y);
        }
        let sum = total(mark);
        part.mean += sum;
        part.marked += sum;
        let hot = top >= forecast.burn().over_burn_from() as f32;
        if hot {
            part.charred += total(charred);
            // What is charred through is not lost from the worked area: it counts by its share at least.
            part.marked += mark.iter().zip(charred).map(|(&m, &c)| f64::from((c - m).max(0.0))).sum::<f64>();
            part.patches.row(y, charred, peak);
        } else {
            part.patches.row(y, &[], &[]);
        }
        solid_cells(dots, forecast.reach(), y, &mut part);
        if let Some((columns, rows)) = coarse {
            columns.reduce(mark, &mut line.0);
            if hot {
                columns.reduce(charred, &mut line.1);
            }
            let (first, last, share) = rows.of(y);
            for (row, share) in [(first, share), (last, rows.each - share)] {
                if share <= 0.0 {
                    continue;
                }
                let at = (row - part.coarse.0) * columns.count;
                add(&mut part.coarse.1[at..at + columns.count], &line.0, share);
                if hot {
                    add(&mut part.coarse.2[at..at + columns.count], &line.1, share);
                }
            }
        }
    }
    part
}

/// The sum of a row, in eight running sums so that it vectorises; the order does not depend on threads.
fn total(row: &[f32]) -> f64 {
    row.chunks(512)
        .map(|chunk| {
            let mut sums = [0.0f32; 8];
            let (eights, rest) = chunk.as_chunks::<8>();
            for eight in eights {
                sums.iter_mut().zip(eight).for_each(|(s, v)| *s += v);
            }
            sums.iter().chain(rest).map(|&v| f64::from(v)).sum::<f64>()
        })
        .sum()
}

fn add(to: &mut [f32], from: &[f32], share: f32) {
    to.iter_mut().zip(from).for_each(|(t, f)| *t += f * share);
}

/// Counts the cells of row `y` whose whole neighbourhood is on, a byte of dots at a time: bytes whose
/// reach in bytes is all on. Cells less than a byte further in than they need be are not counted.
fn solid_cells(dots: &Dots, (along, across): (usize, usize), y: usize, part: &mut Part) {
    if y < across || y + across >= dots.height() {
        return;
    }
    let reach = along.div_ceil(8);
    let full = |x: usize, y: usize| dots.row(y).get(x).is_some_and(|&b| b == 0xFF);
    let mut run = 0;
    for x in 0..dots.stride() {
        if !full(x, y) || !(y - across..=y + across).all(|line| full(x, line)) {
            run = 0;
            continue;
        }
        run += 1;
        if run > 2 * reach {
            part.solid_cells += 8;
            part.solid_at = part.solid_at.or(Some(((x - reach) * 8 + 4, y)));
        }
    }
}

/// How `from` dots share out over `count` cells of equal size.
struct Shares {
    count: usize,
    /// For each dot: first cell, last cell, and what of the dot falls into the first, as a share of a cell.
    of: Vec<(u32, u32, f32)>,
    /// A whole dot as a share of a cell.
    each: f32,
}

impl Shares {
    fn new(from: usize, count: usize) -> Self {
        // Whole numbers, in units of 1/(from * count) of the plane: a dot is `count` long, a cell `from`.
        let of = (0..from)
            .map(|i| {
                let (start, end) = (i * count, (i + 1) * count);
                let (first, last) = (start / from, (end - 1) / from);
                let in_first = if first == last { count } else { (first + 1) * from - start };
                (first as u32, last as u32, (in_first as f64 / from as f64) as f32)
            })
            .collect();
        Shares { count, of, each: (count as f64 / from as f64) as f32 }
    }

    fn of(&self, dot: usize) -> (usize, usize, f32) {
        let (first, last, share) = self.of[dot];
        (first as usize, last as usize, share)
    }

    fn reduce(&self, row: &[f32], out: &mut Vec<f32>) {
        out.clear();
        out.resize(self.count, 0.0);
        for (&v, &(first, last, share)) in row.iter().zip(&self.of) {
            out[first as usize] += v * share;
            if last != first {
                out[last as usize] += v * (self.each - share);
            }
        }
    }
}
