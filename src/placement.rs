//! Placement: where the art lies on the blank, in whole dots.

use std::ops::Range;

use crate::blank::Blank;
use crate::units::Mm;

/// Distances between dots (mm): `along` between dots of a row (x), `across` between rows (y). Both above zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// Between neighbouring dots of a row (x).
    pub along: Mm,
    /// Between neighbouring rows (y).
    pub across: Mm,
}

/// The dot rectangle on the blank: its true place and size after rounding to whole dots.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DotRect {
    /// Left edge of the first column, mm from the blank's left.
    pub left: Mm,
    /// Top edge of the first row, mm from the blank's top (downwards).
    pub top: Mm,
    /// Columns.
    pub columns: usize,
    /// Rows.
    pub rows: usize,
    /// Distances between dots.
    pub grid: Grid,
}

impl DotRect {
    /// True width, mm: columns times pitch.
    pub fn width(&self) -> f64 {
        self.columns as f64 * self.grid.along.0
    }

    /// True height, mm: rows times pitch.
    pub fn height(&self) -> f64 {
        self.rows as f64 * self.grid.across.0
    }

    /// Machine coordinates (x to the right, y up, mm from the blank's lower left corner) of the centre
    /// of the dot in column `x` of row `y` (0 at the top).
    pub fn centre(&self, blank: &Blank, x: usize, y: usize) -> (f64, f64) {
        (
            self.left.0 + (x as f64 + 0.5) * self.grid.along.0,
            blank.shape.height() - self.top.0 - (y as f64 + 0.5) * self.grid.across.0,
        )
    }

    /// The columns of row `y` whose whole dot cell lies on the blank less its margin.
    ///
    /// Every shape is convex, so a row has one stretch; a cell lies inside when all its corners do.
    /// A billionth of a millimetre is granted, so that art of exactly the printable width keeps its edge.
    pub fn allowed(&self, blank: &Blank, y: usize) -> Range<usize> {
        let Some(printable) = blank.printable() else { return 0..0 };
        let grace = 1e-9;
        let (w, h) = (blank.shape.width(), blank.shape.height());
        let top = self.top.0 + y as f64 * self.grid.across.0 - h / 2.0;
        let bottom = top + self.grid.across.0;
        let inner = |v: f64| if v.abs() < grace { 0.0 } else { v - grace * v.signum() };
        let (Some((l1, r1)), Some((l2, r2))) = (printable.span(inner(top)), printable.span(inner(bottom)))
        else {
            return 0..0;
        };
        let left = l1.max(l2) + w / 2.0 - self.left.0;
        let right = r1.min(r2) + w / 2.0 - self.left.0;
        let first = ((left - grace) / self.grid.along.0).ceil().max(0.0) as usize;
        let end = ((right + grace) / self.grid.along.0).floor().max(0.0) as usize;
        let end = end.min(self.columns);
        first.min(end)..end
    }
}
