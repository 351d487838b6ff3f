//! Layout: where finder marks, patches, labels and the id's cells lie on a blank, in whole dots.

use super::glyphs;
use crate::blank::{Blank, Shape};
use crate::placement::Grid;
use crate::units::Mm;

/// The least side of a patch, mm: below it a phone photo has too few pixels inside once the blurred
/// edge is left out (at 12 MP and a 90 mm blank a pixel is 0.035 mm, the edge about 0.3 mm each side).
pub const LEAST_PATCH_MM: f64 = 2.0;

/// A rectangle in mm from the blank's upper left corner, y downwards.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    /// Left edge.
    pub left: f64,
    /// Upper edge.
    pub top: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

impl Area {
    /// Middle.
    pub fn centre(&self) -> (f64, f64) {
        (self.left + self.width / 2.0, self.top + self.height / 2.0)
    }
}

/// A line of text with its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// What it says.
    pub text: String,
    /// Left edge, mm.
    pub left: f64,
    /// Upper edge, mm.
    pub top: f64,
    /// Height of the glyphs, mm.
    pub height: f64,
}

/// What is to be laid out.
#[derive(Debug, Clone, PartialEq)]
pub struct Contents {
    /// Text at the left of each row, top to bottom.
    pub row_labels: Vec<String>,
    /// Text above each column, left to right.
    pub column_labels: Vec<String>,
    /// A line under the patches.
    pub footer: String,
    /// Rows and columns of patches.
    pub rows: usize,
    /// See `rows`.
    pub columns: usize,
    /// The most that a patch measures either way, mm; none where it takes what there is.
    pub most: Option<f64>,
}

/// The finished layout. All places in mm from the blank's upper left corner, y downwards.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// Left and upper edge of the dot rectangle, its columns and rows.
    pub left: f64,
    /// See `left`.
    pub top: f64,
    /// See `left`.
    pub columns: usize,
    /// See `left`.
    pub rows: usize,
    /// Patch rectangles, row after row.
    pub cells: Vec<Area>,
    /// The same as dot ranges `(first column, first row, columns, rows)`.
    pub cell_dots: Vec<[usize; 4]>,
    /// Outer diameter of the finder marks.
    pub mark_diameter: f64,
    /// Centres of the finder marks, clockwise, the odd one first.
    pub marks: [(f64, f64); 4],
    /// Labels.
    pub labels: Vec<Label>,
    /// Centre of the first code cell, step, side, cells (0 where there is no room).
    pub code: (f64, f64, f64, f64, usize),
    /// A small patch beside the last column, level with a row: its dots as in `cell_dots`, and the row. None where
    /// there is no room.
    pub beside: Option<([usize; 4], usize)>,
}

/// The most that the patch beside the grid measures either way, mm.
const BESIDE_MM: f64 = 3.0;
/// What is left free around it, mm.
const BESIDE_GAP_MM: f64 = 0.7;

/// Why a wedge does not fit its blank.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LayoutError {
    /// The margin leaves nothing.
    #[error(
        "the margin of {margin} leaves nothing of the blank {blank}; give a smaller margin or a larger blank"
    )]
    NoRoom {
        /// The blank.
        blank: String,
        /// Its margin.
        margin: Mm,
    },
    /// Patches would be too small to be measured.
    #[error(
        "{columns} x {rows} patches on {blank} would be {side:.1} mm wide, and a photo needs at least {LEAST_PATCH_MM} mm; ask for fewer steps or take a larger blank"
    )]
    TooSmall {
        /// Columns asked for.
        columns: usize,
        /// Rows asked for.
        rows: usize,
        /// The blank.
        blank: String,
        /// The side that a patch would have.
        side: f64,
    },
}

/// Lays the contents out on the blank. Rectangles carry their finder marks in the corners, discs at the
/// edge midpoints, where a disc has room beside the square of patches.
pub fn lay_out(blank: &Blank, grid: Grid, contents: &Contents) -> Result<Layout, LayoutError> {
    let printable = blank
        .printable()
        .ok_or_else(|| LayoutError::NoRoom { blank: blank.shape.to_string(), margin: blank.margin })?;
    let shorter = printable.width().min(printable.height());
    let mark = (0.085 * shorter).clamp(3.0, 7.0);
    let text = (0.028 * shorter).clamp(1.3, 2.4);
    let row_text = contents.row_labels.iter().map(|l| glyphs::width(l, text)).fold(0.0, f64::max);
    let cell = 0.55 * text;
    let footer = cell + text + 1.9;
    let half = match printable {
        Shape::Rect { .. } => rect_room(&printable, mark, row_text, text, footer),
        Shape::Round { diameter } => round_room(diameter.0 / 2.0, mark, row_text, text, footer, contents),
    };
    let room = half.unwrap_or(Room { left: 0.0, top: 0.0, width: 0.0, height: 0.0, corners: false });
    let (px, py) = (grid.along.0, grid.across.0);
    let columns = ((printable.width() / px + 1e-9).floor() as usize).max(1);
    let rows = ((printable.height() / py + 1e-9).floor() as usize).max(1);
    let left = (blank.shape.width() - columns as f64 * px) / 2.0;
    let top = (blank.shape.height() - rows as f64 * py) / 2.0;

    // Patches: whole dots, the same number in each.
    let (sx, sy) = (room.width / contents.columns as f64, room.height / contents.rows as f64);
    let gap = |step: f64| (0.24 * step).clamp(0.8, 3.0);
    let cap = contents.most.unwrap_or(f64::INFINITY);
    let (wx, wy) = ((sx - gap(sx)).min(cap), (sy - gap(sy)).min(cap));
    let side = wx.min(wy);
    if side < LEAST_PATCH_MM {
        return Err(LayoutError::TooSmall {
            columns: contents.columns,
            rows: contents.rows,
            blank: blank.shape.to_string(),
            side: side.max(0.0),
        });
    }
    let (nx, ny) = ((wx / px).floor() as usize, (wy / py).floor() as usize);
    let (mx, my) = (blank.shape.width() / 2.0, blank.shape.height() / 2.0);
    let mut cells = Vec::new();
    let mut cell_dots = Vec::new();
    for r in 0..contents.rows {
        for c in 0..contents.columns {
            let x = mx + room.left + (c as f64 + 0.5) * sx - nx as f64 * px / 2.0;
            let y = my + room.top + (r as f64 + 0.5) * sy - ny as f64 * py / 2.0;
            let c0 = ((x - left) / px).round().max(0.0) as usize;
            let r0 = ((y - top) / py).round().max(0.0) as usize;
            cell_dots.push([c0, r0, nx, ny]);
            cells.push(Area {
                left: left + c0 as f64 * px,
                top: top + r0 as f64 * py,
                width: nx as f64 * px,
                height: ny as f64 * py,
            });
        }
    }

    let mut labels = Vec::new();
    let widest = contents.column_labels.iter().map(|l| glyphs::width(l, 1.0)).fold(0.0, f64::max);
    let column_text = if widest > 0.0 { text.min(0.72 * sx / widest).max(0.9) } else { text };
    for (c, l) in contents.column_labels.iter().enumerate() {
        let w = glyphs::width(l, column_text);
        labels.push(Label {
            text: l.clone(),
            left: mx + room.left + (c as f64 + 0.5) * sx - w / 2.0,
            top: my + room.top - 0.2 - column_text,
            height: column_text,
        });
    }
    for (r, l) in contents.row_labels.iter().enumerate() {
        labels.push(Label {
            text: l.clone(),
            left: mx + room.left - 0.4 - glyphs::width(l, text),
            top: my + room.top + (r as f64 + 0.5) * sy - text / 2.0,
            height: text,
        });
    }
    let bits = ((room.width / (1.6 * cell)).floor() as usize).min(16);
    let bits = if bits < 8 { 0 } else { bits };
    let bottom = my + room.top + room.height;
    let code = (
        mx + room.left + room.width / 2.0 - (bits as f64 - 1.0) / 2.0 * 1.6 * cell,
        bottom + 0.4 + cell / 2.0,
        1.6 * cell,
        cell,
        bits,
    );
    let fit = 0.9 * room.width / glyphs::width(&contents.footer, 1.0).max(1e-9);
    let footer_text = text.min(fit);
    if footer_text >= 0.9 {
        labels.push(Label {
            text: contents.footer.clone(),
            left: mx + room.left + (room.width - glyphs::width(&contents.footer, footer_text)) / 2.0,
            top: bottom + 1.3 + cell,
            height: footer_text,
        });
    }
    // One dot further in than the mark's radius: its outermost dots are whole.
    let (w, h, m) = (printable.width() / 2.0, printable.height() / 2.0, mark / 2.0 + px.max(py));
    let marks = if room.corners {
        let t = corner_inset(&printable, m);
        [
            (mx - w + t, my - h + t),
            (mx + w - t, my - h + t),
            (mx + w - t, my + h - t),
            (mx - w + t, my + h - t),
        ]
    } else {
        [(mx, my - h + m), (mx + w - m, my), (mx, my + h - m), (mx - w + m, my)]
    };
    let row = contents.rows / 5;
    let beside = beside(&printable, mark, &room, row, sy).map(|(x, y, side)| {
        let place = |at: f64, from: f64, p: f64| ((at - from) / p).ceil().max(0.0) as usize;
        let n = |p: f64| (side / p).floor() as usize;
        ([place(mx + x, left, px), place(my + y - side / 2.0, top, py), n(px), n(py)], row)
    });
    Ok(Layout {
        left,
        top,
        columns,
        rows,
        cells,
        cell_dots,
        mark_diameter: mark,
        marks,
        labels,
        code,
        beside,
    })
}

/// Left edge, middle and side of the patch beside the last column, from the blank's middle.
fn beside(shape: &Shape, mark: f64, room: &Room, row: usize, step: f64) -> Option<(f64, f64, f64)> {
    let left = room.left + room.width + BESIDE_GAP_MM;
    let y = room.top + (row as f64 + 0.5) * step;
    let fits = |side: f64| {
        let (right, upper, lower) = (left + side, y - side / 2.0, y + side / 2.0);
        // The finder marks lie in the corners or at the right edge's middle.
        let clear = if room.corners {
            upper > mark + BESIDE_GAP_MM - shape.height() / 2.0
        } else {
            lower < -mark / 2.0 - BESIDE_GAP_MM
        };
        clear && shape.contains(right, upper) && shape.contains(right, lower)
    };
    let steps = ((BESIDE_MM - LEAST_PATCH_MM) / 0.1).round() as u32;
    // Two tenths of a millimetre more: the patch begins on a whole dot.
    let side = (0..=steps).map(|i| BESIDE_MM - 0.1 * f64::from(i)).find(|side| fits(side + 0.2))?;
    Some((left, y, side))
}

/// The rectangle for patches and the gaps round them, from the blank's middle, y downwards.
struct Room {
    left: f64,
    top: f64,
    width: f64,
    height: f64,
    corners: bool,
}

/// How far from both edges the centre of a disc of radius `m` lies that touches a rounded corner.
fn corner_inset(shape: &Shape, m: f64) -> f64 {
    match *shape {
        Shape::Rect { radius, .. } => m.max(radius.0 - (radius.0 - m) / std::f64::consts::SQRT_2),
        Shape::Round { .. } => m,
    }
}

fn rect_room(shape: &Shape, mark: f64, row_text: f64, text: f64, footer: f64) -> Option<Room> {
    let side = corner_inset(shape, mark / 2.0) + mark / 2.0 + 0.8;
    let (left, top, bottom) = (side.max(row_text + 0.6), side.max(text + 0.6), side.max(footer));
    let (w, h) = (shape.width(), shape.height());
    let room = Room {
        left: left - w / 2.0,
        top: top - h / 2.0,
        width: w - left - side,
        height: h - top - bottom,
        corners: true,
    };
    (room.width > 0.0 && room.height > 0.0).then_some(room)
}

/// The largest square of patches, moved off the middle to make room for the labels, whose corners and
/// labels stay inside the disc and clear of the finder marks at the edge midpoints.
fn round_room(
    radius: f64,
    mark: f64,
    row_text: f64,
    text: f64,
    footer: f64,
    contents: &Contents,
) -> Option<Room> {
    let (left_band, top_band) = (row_text + 0.8, text + 0.6);
    let inside = |x: f64, y: f64| x.hypot(y) <= radius;
    let clear = mark + 0.6;
    let mut side = 2.0 * radius;
    while side > 4.0 {
        // Moved right by half the left band and up by half of what the footer takes more than the top labels.
        let left = -side / 2.0 + (left_band / 2.0).min(2.0);
        let top = -side / 2.0 - (footer - top_band) / 2.0;
        let (right, bottom) = (left + side, top + side);
        let step = side / contents.rows as f64;
        let last_row = (step / 2.0 - text / 2.0).max(0.0);
        let label_x = left - left_band;
        let fits = inside(left, top)
            && inside(right, top)
            && inside(left, bottom)
            && inside(right, bottom)
            && inside(left + step * 0.15, top - top_band)
            && inside(right - step * 0.15, top - top_band)
            && inside(label_x, top + last_row)
            && inside(label_x, bottom - last_row)
            && inside(left + 0.05 * side, bottom + footer)
            && inside(right - 0.05 * side, bottom + footer)
            && label_x >= -radius + clear + 0.8
            && right <= radius - clear
            && top - top_band >= -radius + clear
            && bottom + footer <= radius - clear;
        if fits {
            return Some(Room { left, top, width: side, height: side, corners: false });
        }
        side -= 0.1;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn contents(columns: usize, rows: usize) -> Contents {
        Contents {
            row_labels: (0..rows).map(|_| "100%".to_string()).collect(),
            column_labels: (0..columns).map(|_| "12.5".to_string()).collect(),
            footer: "W123456 ROWS % COLUMNS mm/s".into(),
            rows,
            columns,
            most: None,
        }
    }

    fn grid() -> Grid {
        Grid { along: Mm(25.4 / 304.0), across: Mm(25.4 / 304.0) }
    }

    fn blank(text: &str) -> Blank {
        Blank { shape: text.parse().unwrap(), margin: Mm(2.5) }
    }

    #[test]
    fn everything_lies_inside_the_margin_and_apart() {
        for text in ["round:90mm", "rect:100x60mm", "rect:100x100mm:r8mm", "rect:60x60mm", "round:60mm"] {
            let b = blank(text);
            let l = lay_out(&b, grid(), &contents(5, 5)).unwrap();
            let p = b.printable().unwrap();
            let (mx, my) = (b.shape.width() / 2.0, b.shape.height() / 2.0);
            let mut boxes: Vec<Area> = l.cells.clone();
            if let Some(([c, r, nx, ny], _)) = l.beside {
                let (px, py) = (grid().along.0, grid().across.0);
                let (left, top) = (l.left + c as f64 * px, l.top + r as f64 * py);
                boxes.push(Area { left, top, width: nx as f64 * px, height: ny as f64 * py });
            }
            for t in &l.labels {
                boxes.push(Area {
                    left: t.left,
                    top: t.top,
                    width: glyphs::width(&t.text, t.height),
                    height: t.height,
                });
            }
            let m = l.mark_diameter;
            let (cx, cy, step, cell, bits) = l.code;
            if bits > 0 {
                boxes.push(Area {
                    left: cx - cell / 2.0,
                    top: cy - cell / 2.0,
                    width: step * (bits - 1) as f64 + cell,
                    height: cell,
                });
            }
            for b in &boxes {
                for (x, y) in [
                    (b.left, b.top),
                    (b.left + b.width, b.top),
                    (b.left, b.top + b.height),
                    (b.left + b.width, b.top + b.height),
                ] {
                    assert!(p.contains(x - mx, y - my), "{text}: {b:?}");
                }
            }
            for &(x, y) in &l.marks {
                for i in 0..64 {
                    let a = f64::from(i) * std::f64::consts::PI / 32.0;
                    let r = m / 2.0 - 1e-9;
                    assert!(p.contains(x - mx + r * a.cos(), y - my + r * a.sin()), "{text}: mark {x} {y}");
                }
                boxes.push(Area { left: x - m / 2.0, top: y - m / 2.0, width: m, height: m });
            }
            for (i, a) in boxes.iter().enumerate() {
                for b in &boxes[..i] {
                    let apart = a.left >= b.left + b.width
                        || b.left >= a.left + a.width
                        || a.top >= b.top + b.height
                        || b.top >= a.top + a.height;
                    assert!(apart, "{text}: {a:?} meets {b:?}");
                }
            }
        }
    }

    #[test]
    fn a_blank_too_small_says_how_small_the_patches_would_be() {
        let e = lay_out(&blank("round:30mm"), grid(), &contents(7, 7)).unwrap_err().to_string();
        assert!(e.contains("7 x 7") && e.contains("fewer steps"), "{e}");
        let e = lay_out(&blank("rect:5x5mm"), grid(), &contents(2, 2)).unwrap_err().to_string();
        assert!(e.contains("leaves nothing"), "{e}");
    }
}
