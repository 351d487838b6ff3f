//! Rebuilt dots (or S levels): what a program marks, from swept stretches. A cell is marked when its centre is swept.

use serde::Serialize;

use crate::blank::{Blank, Shape};
use crate::placement::DotRect;
use crate::plane::Dots;
use crate::units::Mm;

/// How far from a dot's centre a stretch may pass across the line and still count as its line, in pitches.
const OFF_CENTRE: f64 = 0.25;
/// What rounding may take from a centre that is just reached, in pitches.
const GRACE: f64 = 1e-6;

/// Dots under reconstruction. Stretches along rows are kept by rows, those along columns by columns, so
/// that either are set byte by byte.
#[derive(Debug, Clone)]
pub struct RebuiltDots {
    rect: DotRect,
    /// Upper edge of the first row, mm above the blank's lower edge.
    top: f64,
    /// Dots a mm along and across: a product is several times faster than a quotient.
    per_mm: (f64, f64),
    /// The height of the last level stretch and its row, where it passes a row closely enough.
    level: (f64, Option<usize>),
    /// The same of the last upright stretch and its column.
    upright: (f64, Option<usize>),
    rows: Swept,
    /// Its rows are the columns; none until something is swept along one.
    columns: Option<Swept>,
    off_grid_mm: f64,
}

/// Dots that were swept, and by which S word.
#[derive(Debug, Clone)]
struct Swept {
    dots: Dots,
    levels: Option<Vec<f32>>,
    again: u64,
}

/// What a program marks.
#[derive(Debug, Clone)]
pub struct Rebuilt {
    /// The dots.
    pub dots: Dots,
    /// The S words row after row, where they were kept.
    pub levels: Option<Vec<f32>>,
    /// Dots that were swept more than once: as many as the passes beyond the first.
    pub again: u64,
    /// Length of beam-on stretches that pass between the lines or beside the grid, mm.
    pub off_grid_mm: f64,
}

impl Swept {
    fn new(width: usize, height: usize, levels: bool) -> Self {
        Swept { dots: Dots::off(width, height), levels: levels.then(|| vec![0.0; width * height]), again: 0 }
    }

    /// Dots `first..end` of a row.
    #[inline(always)]
    fn mark(&mut self, row: usize, first: usize, end: usize, power: f64) {
        let width = self.dots.width();
        let bits = self.dots.row_mut(row);
        let (a, b) = (first / 8, (end - 1) / 8);
        let (head, tail) = (0xFFu8 >> (first % 8), 0xFFu8 << (7 - (end - 1) % 8));
        let mut again = 0;
        if a == b {
            let mask = head & tail;
            again += (bits[a] & mask).count_ones();
            bits[a] |= mask;
        } else {
            again += (bits[a] & head).count_ones() + (bits[b] & tail).count_ones();
            bits[a] |= head;
            bits[b] |= tail;
            for byte in &mut bits[a + 1..b] {
                again += byte.count_ones();
                *byte = 0xFF;
            }
        }
        self.again += u64::from(again);
        if let Some(levels) = &mut self.levels {
            let at = row * width;
            levels[at + first..at + end].fill(power as f32);
        }
    }

    /// Columns become rows.
    fn turned(self) -> Swept {
        let (width, height) = (self.dots.width(), self.dots.height());
        let levels = self.levels.map(|l| {
            (0..width).flat_map(|x| l.iter().skip(x).step_by(width.max(1)).copied().take(height)).collect()
        });
        Swept { dots: turned(&self.dots), levels, again: self.again }
    }

    /// Takes in what was swept elsewhere, of the same size.
    fn join(&mut self, other: &Swept) {
        self.again += other.again;
        for (a, b) in self.dots.bits_mut().iter_mut().zip(other.dots.bits()) {
            self.again += u64::from((*a & b).count_ones());
            *a |= b;
        }
        if let (Some(mine), Some(theirs)) = (&mut self.levels, &other.levels) {
            mine.iter_mut().zip(theirs).filter(|(_, t)| **t > 0.0).for_each(|(m, t)| *m = *t);
        }
    }
}

impl RebuiltDots {
    /// Empty cells on the grid of `rect` on `blank`; with `levels` the S words are kept too (4 bytes a dot).
    pub fn new(rect: DotRect, blank: &Blank, levels: bool) -> Self {
        RebuiltDots {
            rect,
            top: blank.shape.height() - rect.top.0,
            per_mm: (1.0 / rect.grid.along.0, 1.0 / rect.grid.across.0),
            level: (f64::NAN, None),
            upright: (f64::NAN, None),
            rows: Swept::new(rect.columns, rect.rows, levels),
            columns: None,
            off_grid_mm: 0.0,
        }
    }

    /// What was swept in all.
    pub fn finish(self) -> Rebuilt {
        let mut all = self.rows;
        if let Some(columns) = self.columns {
            all.join(&columns.turned());
        }
        Rebuilt { dots: all.dots, levels: all.levels, again: all.again, off_grid_mm: self.off_grid_mm }
    }

    /// Sweeps from one point to another with the beam at the S word `power`; mm from the blank's lower
    /// left corner.
    #[inline(always)]
    pub fn sweep(&mut self, from: (f64, f64), to: (f64, f64), power: f64) {
        let column = |x: f64| (x - self.rect.left.0) * self.per_mm.0 - 0.5;
        let row = |y: f64| (self.top - y) * self.per_mm.1 - 0.5;
        if from.1 == to.1 {
            if from.1 != self.level.0 {
                self.level = (from.1, nearest(row(from.1), self.rect.rows));
            }
            match (self.level.1, centres(column(from.0), column(to.0), self.rect.columns)) {
                (Some(row), (first, end)) if first < end => self.rows.mark(row, first, end, power),
                _ => self.off_grid_mm += (to.0 - from.0).abs(),
            }
        } else if from.0 == to.0 {
            if from.0 != self.upright.0 {
                self.upright = (from.0, nearest(column(from.0), self.rect.columns));
            }
            match (self.upright.1, centres(row(from.1), row(to.1), self.rect.rows)) {
                (Some(column), (first, end)) if first < end => {
                    let (rect, levels) = (&self.rect, self.rows.levels.is_some());
                    self.columns
                        .get_or_insert_with(|| Swept::new(rect.rows, rect.columns, levels))
                        .mark(column, first, end, power);
                }
                _ => self.off_grid_mm += (to.1 - from.1).abs(),
            }
        } else {
            let (a, b) = ((column(from.0), row(from.1)), (column(to.0), row(to.1)));
            self.sweep_slope(a, b, power, (from.0 - to.0).hypot(from.1 - to.1));
        }
    }

    /// Any slope: every centre along the longer axis that the stretch passes closely enough.
    #[cold]
    fn sweep_slope(&mut self, a: (f64, f64), b: (f64, f64), power: f64, mm: f64) {
        let steep = (b.1 - a.1).abs() > (b.0 - a.0).abs();
        let turn = |p: (f64, f64)| if steep { (p.1, p.0) } else { p };
        let (mut a, mut b) = (turn(a), turn(b));
        if a.0 > b.0 {
            std::mem::swap(&mut a, &mut b);
        }
        let (long, wide) =
            if steep { (self.rect.rows, self.rect.columns) } else { (self.rect.columns, self.rect.rows) };
        let (first, end) = centres(a.0, b.0, long);
        let slope = if b.0 > a.0 { (b.1 - a.1) / (b.0 - a.0) } else { 0.0 };
        let mut any = false;
        for i in first..end {
            if let Some(c) = nearest(a.1 + slope * (i as f64 - a.0), wide) {
                let (row, column) = if steep { (i, c) } else { (c, i) };
                self.rows.mark(row, column, column + 1, power);
                any = true;
            }
        }
        if !any {
            self.off_grid_mm += mm;
        }
    }
}

/// The line of `count` whose centre lies close enough to `at` (in lines, 0 at the first one's centre).
fn nearest(at: f64, count: usize) -> Option<usize> {
    let line = (at + 0.5).floor();
    let near = (at - line).abs() <= OFF_CENTRE && line >= 0.0 && line < count as f64;
    near.then_some(line as usize)
}

/// Columns become rows, 8 x 8 dots at a time.
fn turned(dots: &Dots) -> Dots {
    let mut out = Dots::off(dots.height(), dots.width());
    let (stride, to) = (dots.stride(), out.stride());
    let (from, bits) = (dots.bits(), out.bits_mut());
    for group in 0..to {
        let rows = (dots.height() - 8 * group).min(8);
        for column in 0..stride {
            let mut block = [0u8; 8];
            for (i, byte) in block[..rows].iter_mut().enumerate() {
                *byte = from[(8 * group + i) * stride + column];
            }
            if block == [0; 8] {
                continue;
            }
            let lines = (dots.width() - 8 * column).min(8);
            for i in 0..lines {
                let line = block.iter().fold(0, |line, byte| line << 1 | (byte >> (7 - i) & 1));
                bits[(8 * column + i) * to + group] = line;
            }
        }
    }
    out
}

/// The whole numbers between `a` and `b` that are below `count`, as a half-open range.
#[inline(always)]
fn centres(a: f64, b: f64, count: usize) -> (usize, usize) {
    let (low, high) = if a < b { (a, b) } else { (b, a) };
    // Both are moved up by one so that truncation rounds down also just below zero.
    let first = (low - GRACE + 2.0).max(1.0) as usize - 1;
    let end = (high + GRACE + 1.0).max(0.0) as usize;
    (first, end.min(count))
}

/// How rebuilt dots differ from those wanted.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Difference {
    /// Bit for bit the same.
    pub same: bool,
    /// Dots that should be on and are not.
    pub missing: u64,
    /// Dots that are on and should not be.
    pub extra: u64,
    /// Column and row of the first twenty that differ.
    pub first: Vec<(usize, usize)>,
}

/// Compares dots of one size; `None` where the sizes differ.
pub fn compare(wanted: &Dots, found: &Dots) -> Option<Difference> {
    if (wanted.width(), wanted.height()) != (found.width(), found.height()) {
        return None;
    }
    let mut d = Difference { same: true, missing: 0, extra: 0, first: Vec::new() };
    for y in 0..wanted.height() {
        let (w, f) = (wanted.row(y), found.row(y));
        if w == f {
            continue;
        }
        d.same = false;
        for (i, (&a, &b)) in w.iter().zip(f).enumerate() {
            d.missing += u64::from((a & !b).count_ones());
            d.extra += u64::from((b & !a).count_ones());
            for bit in 0..8 {
                if (a ^ b) << bit & 0x80 != 0 && d.first.len() < 20 {
                    d.first.push((i * 8 + bit, y));
                }
            }
        }
    }
    Some(d)
}

/// Whether stretches lie on a blank. Rows and columns repeat, so the last one's span is kept.
#[derive(Debug, Clone)]
pub struct Inside {
    shape: Shape,
    turned: Shape,
    row: (f64, Option<(f64, f64)>),
    column: (f64, Option<(f64, f64)>),
}

impl Inside {
    /// The blank, with two micrometres granted for rounding.
    pub fn new(blank: &Blank) -> Self {
        let shape = blank.shape.inset(-0.002).unwrap_or(blank.shape);
        let turned = match shape {
            Shape::Rect { width, height, radius } => Shape::Rect { width: height, height: width, radius },
            round => round,
        };
        let half = |s: Shape| Mm(s.width() / 2.0).0 - 0.002;
        let place = |span: Option<(f64, f64)>, s: Shape| span.map(|(l, r)| (l + half(s), r + half(s)));
        Inside {
            shape,
            turned,
            row: (0.0, place(shape.span(-half(turned)), shape)),
            column: (0.0, place(turned.span(-half(shape)), turned)),
        }
    }

    /// Whether both ends (mm from the blank's lower left corner) lie on the blank; every shape is convex,
    /// so all between them does as well.
    #[inline(always)]
    pub fn holds(&mut self, from: (f64, f64), to: (f64, f64)) -> bool {
        let (w, h) = (self.shape.width() / 2.0 - 0.002, self.shape.height() / 2.0 - 0.002);
        if from.1 == to.1 {
            if from.1 != self.row.0 {
                self.row = (from.1, self.shape.span(from.1 - h).map(|(l, r)| (l + w, r + w)));
            }
            self.row.1.is_some_and(|(l, r)| from.0.min(to.0) >= l && from.0.max(to.0) <= r)
        } else if from.0 == to.0 {
            if from.0 != self.column.0 {
                self.column = (from.0, self.turned.span(from.0 - w).map(|(l, r)| (l + h, r + h)));
            }
            self.column.1.is_some_and(|(l, r)| from.1.min(to.1) >= l && from.1.max(to.1) <= r)
        } else {
            self.shape.contains(from.0 - w, from.1 - h) && self.shape.contains(to.0 - w, to.1 - h)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::placement::Grid;

    fn cells() -> RebuiltDots {
        let blank = Blank { shape: "rect:20x10mm".parse().unwrap(), margin: Mm(1.0) };
        let grid = Grid { along: Mm(0.5), across: Mm(0.5) };
        let rect = DotRect { left: Mm(2.0), top: Mm(2.0), columns: 20, rows: 8, grid };
        RebuiltDots::new(rect, &blank, true)
    }

    #[test]
    fn a_dot_is_on_where_its_centre_is_swept() {
        let mut c = cells();
        // Row 0 is at y = 10 − 2 − 0.25; columns are at 2.25, 2.75, …
        c.sweep((2.3, 7.75), (3.8, 7.75), 5.0);
        c.sweep((12.4, 7.25), (11.7, 7.25), 7.0);
        c.sweep((3.25, 6.8), (3.25, 5.7), 9.0);
        let Rebuilt { dots, levels, again, .. } = c.finish();
        let on: Vec<_> =
            (0..8).flat_map(|y| (0..20).map(move |x| (x, y))).filter(|&(x, y)| dots.get(x, y)).collect();
        assert_eq!(on, [(1, 0), (2, 0), (3, 0), (19, 1), (2, 2), (2, 3), (2, 4)].map(|p| p));
        assert_eq!(again, 0);
        let l = levels.unwrap();
        assert_eq!((l[1], l[20 + 19], l[3 * 20 + 2]), (5.0, 7.0, 9.0));
    }

    #[test]
    fn what_passes_between_lines_or_beside_the_grid_is_counted() {
        let mut c = cells();
        c.sweep((2.3, 7.5), (3.8, 7.5), 5.0); // between rows 0 and 1
        c.sweep((0.0, 7.75), (1.0, 7.75), 5.0); // left of the grid
        c.sweep((2.3, 9.9), (3.3, 9.9), 5.0); // above it
        assert!((c.off_grid_mm - 3.5).abs() < 1e-9);
        c.sweep((2.3, 7.75), (3.8, 7.75), 5.0);
        c.sweep((2.3, 7.75), (3.3, 7.75), 5.0);
        // Down a column that crosses them, and down it once more.
        c.sweep((2.75, 8.0), (2.75, 6.0), 5.0);
        c.sweep((2.75, 8.0), (2.75, 7.4), 5.0);
        let rebuilt = c.finish();
        assert_eq!((rebuilt.again, rebuilt.dots.count()), (4, 6));
    }

    #[test]
    fn columns_become_rows_at_every_size() {
        for (width, height) in [(1, 1), (7, 9), (8, 8), (9, 17), (64, 3), (30, 70)] {
            let mut d = Dots::off(width, height);
            (0..width * height).filter(|i| i * i % 7 < 3).for_each(|i| d.set(i % width, i / width, true));
            let t = turned(&d);
            let all = (0..width).all(|x| (0..height).all(|y| d.get(x, y) == t.get(y, x)));
            assert!(all && t.width() == height && t.height() == width, "{width} {height}");
            assert_eq!(turned(&t), d);
        }
    }

    #[test]
    fn differences_are_counted_and_placed() {
        let mut a = Dots::off(12, 2);
        let mut b = a.clone();
        assert!(compare(&a, &b).unwrap().same);
        a.set(9, 1, true);
        b.set(0, 0, true);
        let d = compare(&a, &b).unwrap();
        assert_eq!((d.same, d.missing, d.extra, d.first), (false, 1, 1, vec![(0, 0), (9, 1)]));
        assert!(compare(&a, &Dots::off(12, 3)).is_none());
    }

    #[test]
    fn stretches_are_on_the_blank_or_not() {
        let blank = Blank { shape: "round:20mm".parse().unwrap(), margin: Mm(1.0) };
        let mut inside = Inside::new(&blank);
        assert!(inside.holds((0.0, 10.0), (20.0, 10.0)));
        assert!(!inside.holds((-0.1, 10.0), (20.0, 10.0)));
        assert!(!inside.holds((0.0, 0.0), (1.0, 0.0)));
        assert!(inside.holds((10.0, 0.0), (10.0, 20.0)));
        assert!(!inside.holds((3.0, 3.0), (3.0, 1.0)));
        assert!(inside.holds((5.0, 5.0), (15.0, 15.0)) && !inside.holds((5.0, 5.0), (19.0, 19.0)));
    }
}
