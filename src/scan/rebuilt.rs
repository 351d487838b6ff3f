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
    rows: Swept,
    /// Its rows are the columns; none until something is swept along one.
    columns: Option<Swept>,
    off_grid_mm: f64,
}

/// Where stretches along one axis lie among the dots.
#[derive(Debug, Clone, Copy)]
pub struct Lane {
    upright: bool,
    /// The row or column, where they pass one closely enough.
    line: Option<usize>,
    /// Turn a coordinate into dots along that line, 0 at the first one's centre.
    scale: f64,
    offset: f64,
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
        let count = end - first;
        let bits = self.dots.row_mut(row);
        // Nearly all runs of a picture are short: four bytes at once hold them, whatever byte they begin in.
        match bits.get_mut(first / 8..).and_then(<[u8]>::first_chunk_mut::<4>) {
            Some(four) if count <= 25 => {
                let now = u32::from_be_bytes(*four);
                let mask = (u32::MAX << (32 - count)) >> (first % 8);
                if now & mask != 0 {
                    self.again += u64::from((now & mask).count_ones());
                }
                *four = (now | mask).to_be_bytes();
            }
            _ => self.again += mark_long(bits, first, end),
        }
        if let Some(levels) = &mut self.levels {
            let at = row * self.dots.width();
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
    pub fn sweep(&mut self, from: (f64, f64), to: (f64, f64), power: f64) {
        if from.1 == to.1 || from.0 == to.0 {
            let upright = from.1 != to.1;
            let turn = |p: (f64, f64)| if upright { (p.1, p.0) } else { p };
            let ((from, fixed), (to, _)) = (turn(from), turn(to));
            self.sweep_lane(&self.lane(upright, fixed, 1.0, 0.0), from, to, (to - from).abs(), power);
        } else {
            let column = |x: f64| (x - self.rect.left.0) * self.per_mm.0 - 0.5;
            let row = |y: f64| (self.top - y) * self.per_mm.1 - 0.5;
            let (a, b) = ((column(from.0), row(from.1)), (column(to.0), row(to.1)));
            self.sweep_slope(a, b, power, libm::hypot(from.0 - to.0, from.1 - to.1));
        }
    }

    /// The lane of a stretch along x (`upright`: along y) that lies `fixed` mm from the blank's lower (left)
    /// edge, for coordinates that are `sign` times those of the blank less `shift`.
    pub fn lane(&self, upright: bool, fixed: f64, sign: f64, shift: f64) -> Lane {
        let (left, top, per_mm) = (self.rect.left.0, self.top, self.per_mm);
        if upright {
            let line = nearest((fixed - left) * per_mm.0 - 0.5, self.rect.columns);
            Lane { upright, line, scale: -sign * per_mm.1, offset: (top - shift) * per_mm.1 - 0.5 }
        } else {
            let line = nearest((top - fixed) * per_mm.1 - 0.5, self.rect.rows);
            Lane { upright, line, scale: sign * per_mm.0, offset: (shift - left) * per_mm.0 - 0.5 }
        }
    }

    /// Sweeps along a lane from one coordinate to another, `mm` apart, with the beam at the S word `power`.
    #[inline(always)]
    pub fn sweep_lane(&mut self, lane: &Lane, from: f64, to: f64, mm: f64, power: f64) {
        let at = |p: f64| p * lane.scale + lane.offset;
        let count = if lane.upright { self.rect.rows } else { self.rect.columns };
        match (lane.line, centres(at(from), at(to), count)) {
            (Some(line), (first, end)) if first < end => {
                if lane.upright {
                    self.upright_lines().mark(line, first, end, power);
                } else {
                    self.rows.mark(line, first, end, power);
                }
            }
            _ => self.off_grid_mm += mm,
        }
    }

    /// The plane whose rows are the columns.
    fn upright_lines(&mut self) -> &mut Swept {
        let (rect, levels) = (&self.rect, self.rows.levels.is_some());
        self.columns.get_or_insert_with(|| Swept::new(rect.rows, rect.columns, levels))
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

/// Sets bits `first..end` of a packed row, byte by byte; how many were set before.
fn mark_long(bits: &mut [u8], first: usize, end: usize) -> u64 {
    let mut again = 0;
    for (i, byte) in bits[first / 8..end.div_ceil(8)].iter_mut().enumerate() {
        let at = first / 8 * 8 + 8 * i;
        let head = 0xFF >> first.saturating_sub(at).min(7);
        let tail = 0xFF << (at + 8).saturating_sub(end).min(7);
        again += u64::from((*byte & head & tail).count_ones());
        *byte |= head & tail;
    }
    again
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

/// The whole numbers between `a` and `b`, which are within ±2^31, that are below `count`, as a half-open range.
#[inline(always)]
fn centres(a: f64, b: f64, count: usize) -> (usize, usize) {
    let (low, high) = if a < b { (a, b) } else { (b, a) };
    let clamped = |v: i32| (v.max(0) as usize).min(count);
    (clamped(whole(low - GRACE + 0.5 - 1e-9)), clamped(whole(high + GRACE + 0.5 + 1e-9)))
}

/// The nearest whole number: at this size the last bit of a number counts ones. A cast takes thrice as long.
#[inline(always)]
fn whole(v: f64) -> i32 {
    const ONES: f64 = 6_755_399_441_055_744.0;
    (v + ONES).to_bits() as i32
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

/// Whether stretches lie on a blank.
#[derive(Debug, Clone)]
pub struct Inside {
    shape: Shape,
    turned: Shape,
}

impl Inside {
    /// The blank, with two micrometres granted for rounding.
    pub fn new(blank: &Blank) -> Self {
        let shape = match blank.shape {
            // Past its seam a cone is marked twice, closed or not.
            Shape::Cone { foot, top, height, seam, .. } => {
                Shape::Cone { foot, top, height, seam, closed: false }
            }
            // All of a closed cylinder's girth may be marked: at its seam too a stretch has what is granted.
            Shape::Cylinder { diameter, height, .. } => Shape::Cylinder { diameter, height, closed: false },
            other => other,
        };
        let shape = shape.inset(-0.002).unwrap_or(shape);
        let turned = match shape {
            Shape::Rect { width, height, radius } => Shape::Rect { width: height, height: width, radius },
            // Lines run round a cone; along it, its box is what can be said of a stretch by itself.
            Shape::Cone { .. } => {
                Shape::Rect { width: Mm(shape.height()), height: Mm(shape.width()), radius: Mm(0.0) }
            }
            round => round,
        };
        Inside { shape, turned }
    }

    /// From where to where a stretch along x (`upright`: along y) may lie that is `fixed` mm from the blank's
    /// lower (left) edge, mm from its left (lower) edge; `None` where there is nothing of the blank.
    pub fn span(&self, upright: bool, fixed: f64) -> Option<(f64, f64)> {
        let (shape, other) = if upright { (self.turned, self.shape) } else { (self.shape, self.turned) };
        // Half the size of the blank itself, along and across.
        let (along, across) = (shape.width() / 2.0 - 0.002, other.width() / 2.0 - 0.002);
        shape.span(across - fixed).map(|(low, high)| (low + along, high + along))
    }

    /// Whether both ends (mm from the blank's lower left corner) lie on the blank; every shape is convex,
    /// so all between them does as well.
    pub fn holds(&self, from: (f64, f64), to: (f64, f64)) -> bool {
        if from.1 == to.1 || from.0 == to.0 {
            let upright = from.1 != to.1;
            let turn = |p: (f64, f64)| if upright { (p.1, p.0) } else { p };
            let ((from, fixed), (to, _)) = (turn(from), turn(to));
            self.span(upright, fixed).is_some_and(|(low, high)| from.min(to) >= low && from.max(to) <= high)
        } else {
            let (w, h) = (self.shape.width() / 2.0 - 0.002, self.shape.height() / 2.0 - 0.002);
            self.shape.contains(from.0 - w, h - from.1) && self.shape.contains(to.0 - w, h - to.1)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::placement::Grid;
    use crate::units::Mm;

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
    fn runs_of_every_place_and_length_are_marked() {
        for width in [1, 7, 24, 31, 40, 77] {
            for first in 0..width {
                for end in first + 1..=width {
                    let mut swept = Swept::new(width, 2, false);
                    swept.mark(1, first, end, 1.0);
                    let on: Vec<usize> = (0..width).filter(|&x| swept.dots.get(x, 1)).collect();
                    assert!(
                        on == (first..end).collect::<Vec<_>>() && swept.dots.row(0).iter().all(|b| *b == 0)
                    );
                    assert_eq!(swept.again, 0);
                    swept.mark(1, 0, width, 1.0);
                    assert_eq!(swept.again as usize, end - first);
                    assert_eq!(mark_long(swept.dots.row_mut(1), first, end) as usize, end - first);
                }
            }
        }
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
        let inside = Inside::new(&blank);
        assert!(inside.holds((0.0, 10.0), (20.0, 10.0)));
        assert!(!inside.holds((-0.1, 10.0), (20.0, 10.0)));
        assert!(!inside.holds((0.0, 0.0), (1.0, 0.0)));
        assert!(inside.holds((10.0, 0.0), (10.0, 20.0)));
        assert!(!inside.holds((3.0, 3.0), (3.0, 1.0)));
        assert!(inside.holds((5.0, 5.0), (15.0, 15.0)) && !inside.holds((5.0, 5.0), (19.0, 19.0)));
    }

    #[test]
    fn a_closed_cylinder_holds_what_reaches_its_seam() {
        let blank = Blank { shape: "cylinder:40x20mm:closed".parse().unwrap(), margin: Mm(1.0) };
        let (inside, girth) = (Inside::new(&blank), blank.shape.width());
        // Whole micrometres lie up to half a one past the seam.
        assert!(
            inside.holds((0.0, 1.0), (girth, 1.0)) && inside.holds((-0.0005, 19.0), (girth + 0.0005, 19.0))
        );
        assert!(inside.holds((girth, 1.0), (girth, 19.0)) && inside.holds((0.0, 20.0), (0.0, 0.0)));
        assert!(!inside.holds((0.0, 1.0), (girth + 0.01, 1.0)) && !inside.holds((-0.01, 1.0), (1.0, 1.0)));
        assert!(!inside.holds((0.0, 20.01), (1.0, 20.01)) && !inside.holds((girth, -0.01), (girth, 1.0)));
    }

    #[test]
    fn a_cone_is_left_past_its_seam_and_past_its_ends() {
        // 40 mm across its foot, 60 at its top: half girths of 62.83 and 94.25 mm about the middle at 94.25.
        let blank = Blank { shape: "cone:40x60x50mm:closed".parse().unwrap(), margin: Mm(1.0) };
        let inside = Inside::new(&blank);
        let (middle, high) = (30.0 * std::f64::consts::PI, blank.shape.height());
        let at = |half: f64, up: f64| inside.holds((middle - half, up), (middle + half, up));
        assert!(at(62.8, 0.0) && !at(63.0, 0.0) && at(94.2, high) && !at(94.3, high));
        assert!(!at(1.0, -0.01) && !at(1.0, high + 0.01));
        // Up along the seam, as the outline goes, and straight up beside it.
        let foot = 20.0 * std::f64::consts::PI;
        assert!(inside.holds((middle + foot, 0.0), (2.0 * middle, high)));
        assert!(!inside.holds((middle + foot + 0.1, 0.0), (2.0 * middle, high)));
    }
}
