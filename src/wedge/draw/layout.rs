//! Layout: where finder marks, patches, labels and the id's cells lie on a blank, in whole dots.

use super::contents::Contents;
use super::glyphs;
use super::labels::{Label, LabelSizes, labels};
use super::room::{LEAST_PATCH_MM, Room, beside, corner_inset, rect_room, round_room};
use crate::blank::{Blank, Shape};
use crate::placement::{DotRect, Grid};
use crate::texts::text;
use crate::units::{Mm, short};

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

/// A rectangle of whole dots within those of the wedge, counted from its upper left dot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DotBox {
    /// First column.
    pub column: usize,
    /// First row.
    pub row: usize,
    /// Columns.
    pub columns: usize,
    /// Rows.
    pub rows: usize,
}

impl DotBox {
    /// The box as a rectangle in mm, where `whole` is that of all dots.
    pub fn area(&self, whole: &DotRect) -> Area {
        let (px, py) = (whole.grid.along.0, whole.grid.across.0);
        Area {
            left: whole.left.0 + self.column as f64 * px,
            top: whole.top.0 + self.row as f64 * py,
            width: self.columns as f64 * px,
            height: self.rows as f64 * py,
        }
    }

    /// The box as a rectangle of dots on the blank, where `whole` is that of all dots.
    pub fn rect(&self, whole: &DotRect) -> DotRect {
        let area = self.area(whole);
        DotRect {
            left: Mm(area.left),
            top: Mm(area.top),
            columns: self.columns,
            rows: self.rows,
            grid: whole.grid,
        }
    }
}

/// The row of cells under the patches that holds the first bits of the wedge's id.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CodeCells {
    /// Centre of the first cell.
    pub first: (f64, f64),
    /// From cell to cell.
    pub step: f64,
    /// Side of a cell.
    pub side: f64,
    /// How many; 0 where there is no room.
    pub count: usize,
}

/// The finished layout. All places in mm from the blank's upper left corner, y downwards.
#[derive(Debug, Clone, PartialEq)]
pub struct TargetLayout {
    /// All dots.
    pub whole: DotRect,
    /// The dots of the patches, row after row.
    pub cells: Vec<DotBox>,
    /// Outer diameter of the finder marks.
    pub mark_diameter: f64,
    /// Centres of the finder marks, clockwise, the odd one first.
    pub marks: [(f64, f64); 4],
    /// Labels.
    pub labels: Vec<Label>,
    /// The cells of the id.
    pub code: CodeCells,
    /// A small patch beside the last column, level with a row: its dots, and the row. None where there is no room.
    pub beside: Option<(DotBox, usize)>,
}

/// Why a wedge does not fit its blank.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LayoutError {
    /// The margin leaves nothing.
    #[error("{}", text!("wedge.layout.margin", margin = .margin, blank = .blank))]
    NoRoom {
        /// The blank.
        blank: String,
        /// Its margin.
        margin: Mm,
    },
    /// Not even the least wedge has room.
    #[error("{}", text!(
        "wedge.layout.no-room",
        blank = .blank,
        columns = .columns,
        rows = .rows,
        least = .least,
    ))]
    NoWedge {
        /// Columns asked for.
        columns: usize,
        /// Rows asked for.
        rows: usize,
        /// The blank.
        blank: String,
        /// The blank that would do, in words.
        least: String,
    },
    /// Patches would be too small to be measured.
    #[error("{}", text!(
        "wedge.layout.small-patches",
        columns = .columns,
        rows = .rows,
        blank = .blank,
        side = format_args!("{:.1}", .side),
        least = LEAST_PATCH_MM,
    ))]
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
///
/// # Errors
/// When the margin leaves nothing of the blank, or patches too small to be measured.
pub fn lay_out(blank: &Blank, grid: Grid, contents: &Contents) -> Result<TargetLayout, LayoutError> {
    let printable = blank
        .printable()
        .ok_or_else(|| LayoutError::NoRoom { blank: blank.shape.to_string(), margin: blank.margin })?;
    let shorter = printable.width().min(printable.height());
    let Sizes { mark, text, cell } = sizes(shorter);
    let room = room(&printable, contents);
    let whole = all_dots(blank, &printable, grid);
    let middle = (blank.shape.width() / 2.0, blank.shape.height() / 2.0);
    let step = (room.width / contents.columns as f64, room.height / contents.rows as f64);
    let cells = patches(blank, contents, &room, step, &whole)?;
    // One dot further in than the mark's radius: its outermost dots are whole.
    let inset = mark / 2.0 + grid.along.0.max(grid.across.0);
    let row = contents.rows / 5;
    let beside = beside(&printable, mark, &room, row, step.1).map(|(x, y, side)| {
        let place = |at: f64, from: f64, p: f64| ((at - from) / p).ceil().max(0.0) as usize;
        let n = |p: f64| (side / p).floor() as usize;
        let (px, py) = (grid.along.0, grid.across.0);
        let (column, top) =
            (place(middle.0 + x, whole.left.0, px), place(middle.1 + y - side / 2.0, whole.top.0, py));
        (DotBox { column, row: top, columns: n(px), rows: n(py) }, row)
    });
    Ok(TargetLayout {
        cells,
        mark_diameter: mark,
        marks: marks(&printable, &room, middle, inset),
        labels: labels(contents, &room, middle, step, &LabelSizes { text, cell }),
        code: code(&room, middle, cell),
        beside,
        whole,
    })
}

/// Sizes of finder marks, labels and the id's cells, mm.
struct Sizes {
    mark: f64,
    text: f64,
    cell: f64,
}

fn sizes(shorter: f64) -> Sizes {
    let text = (0.02 * shorter).clamp(1.3, 1.6);
    // On 90 mm a mark of 5 mm spans 70 pixels of a photo of 3 megapixels; what is larger only takes longer to burn.
    Sizes { mark: (0.065 * shorter).clamp(3.0, 5.2), text, cell: 0.55 * text }
}

/// What the printable part leaves for the patches.
fn room(printable: &Shape, contents: &Contents) -> Room {
    let Sizes { mark, text, cell } = sizes(printable.width().min(printable.height()));
    let row_text = contents.row_labels.iter().map(|l| glyphs::width(l, text)).fold(0.0, f64::max);
    let footer = cell + text + 1.9;
    let room = match *printable {
        Shape::Rect { .. } | Shape::Cylinder { .. } | Shape::Cone { .. } => {
            rect_room(printable, mark, row_text, text, footer)
        }
        Shape::Round { diameter } => {
            round_room(diameter.0 / 2.0, mark, row_text, text, footer, contents.rows)
        }
    };
    room.unwrap_or(Room { left: 0.0, top: 0.0, width: 0.0, height: 0.0, corners: false })
}

/// What is left free between patches, mm, where they are so far apart from one to the next.
fn gap(step: f64) -> f64 {
    (0.24 * step).clamp(0.8, 3.0)
}

/// Whether a blank has room for patches that can be measured.
fn has_room(blank: &Blank, contents: &Contents) -> bool {
    blank.printable().is_some_and(|printable| {
        let room = room(&printable, contents);
        let (sx, sy) = (room.width / contents.columns as f64, room.height / contents.rows as f64);
        (sx - gap(sx)).min(sy - gap(sy)).min(contents.most.0).min(contents.most.1) >= LEAST_PATCH_MM
    })
}

/// Whether a blank has room for the least wedge of which a response is told that is drawn unasked.
pub fn holds_a_wedge(blank: &Blank) -> bool {
    let contents = Contents {
        row_labels: vec!["100%".into(), "45%".into()],
        column_labels: vec!["12.5".into(), "6.5".into(), "30.5".into()],
        footer: String::new(),
        rows: 2,
        columns: 3,
        most: (LEAST_DRAWN_MM, LEAST_DRAWN_MM),
    };
    has_room(blank, &contents)
}

/// The side of the smallest patches that are drawn unasked, mm.
const LEAST_DRAWN_MM: f64 = 2.4;

/// The most that a blank is made larger to see how large one must be, mm.
const MOST_LARGER: u32 = 60;

/// The smallest blank of the same kind that has room for the contents, in words; sides in whole mm.
fn least(blank: &Blank, contents: &Contents) -> Option<String> {
    let fits = |shape: Shape| has_room(&Blank { shape, ..*blank }, contents);
    let larger = |by: u32| {
        let by = f64::from(by);
        match blank.shape {
            Shape::Rect { width, height, radius } => {
                let (w, h) = (Mm((width.0 + by).floor()), Mm((height.0 + by).floor()));
                let shapes = [(width, h), (w, height), (w, h)].map(|(width, height)| Shape::Rect {
                    width,
                    height,
                    radius,
                });
                shapes.into_iter().find(|shape| fits(*shape)).map(|s| {
                    text!(
                        "wedge.layout.least.sides",
                        width = short(s.width(), 1),
                        height = short(s.height(), 1)
                    )
                })
            }
            Shape::Round { diameter } => {
                let shape = Shape::Round { diameter: Mm((diameter.0 + by).floor()) };
                fits(shape).then(|| text!("wedge.layout.least.across", diameter = short(shape.width(), 1)))
            }
            Shape::Cylinder { .. } | Shape::Cone { .. } => None,
        }
    };
    (1..=MOST_LARGER).find_map(larger)
}

/// All dots that the printable part holds, in its middle.
fn all_dots(blank: &Blank, printable: &Shape, grid: Grid) -> DotRect {
    let (px, py) = (grid.along.0, grid.across.0);
    let columns = ((printable.width() / px + 1e-9).floor() as usize).max(1);
    let rows = ((printable.height() / py + 1e-9).floor() as usize).max(1);
    DotRect {
        left: Mm((blank.shape.width() - columns as f64 * px) / 2.0),
        top: Mm((blank.shape.height() - rows as f64 * py) / 2.0),
        columns,
        rows,
        grid,
    }
}

/// The patches: whole dots, the same number in each.
fn patches(
    blank: &Blank,
    contents: &Contents,
    room: &Room,
    (sx, sy): (f64, f64),
    whole: &DotRect,
) -> Result<Vec<DotBox>, LayoutError> {
    let (px, py) = (whole.grid.along.0, whole.grid.across.0);
    let (wx, wy) = ((sx - gap(sx)).min(contents.most.0), (sy - gap(sy)).min(contents.most.1));
    let side = wx.min(wy);
    // Two by two tell power from speed; of fewer steps there are none.
    let is_least = contents.columns <= 2 && contents.rows <= 2;
    if side < LEAST_PATCH_MM
        && is_least
        && let Some(least) = least(blank, contents)
    {
        let (columns, rows) = (contents.columns, contents.rows);
        return Err(LayoutError::NoWedge { columns, rows, blank: blank.shape.to_string(), least });
    }
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
    for r in 0..contents.rows {
        for c in 0..contents.columns {
            let x = mx + room.left + (c as f64 + 0.5) * sx - nx as f64 * px / 2.0;
            let y = my + room.top + (r as f64 + 0.5) * sy - ny as f64 * py / 2.0;
            cells.push(DotBox {
                column: ((x - whole.left.0) / px).round().max(0.0) as usize,
                row: ((y - whole.top.0) / py).round().max(0.0) as usize,
                columns: nx,
                rows: ny,
            });
        }
    }
    Ok(cells)
}

/// Centres of the finder marks, clockwise, the odd one first; `inset` is how far from an edge they lie.
fn marks(printable: &Shape, room: &Room, (mx, my): (f64, f64), inset: f64) -> [(f64, f64); 4] {
    let (w, h) = (printable.width() / 2.0, printable.height() / 2.0);
    if room.corners {
        let t = corner_inset(printable, inset);
        [
            (mx - w + t, my - h + t),
            (mx + w - t, my - h + t),
            (mx + w - t, my + h - t),
            (mx - w + t, my + h - t),
        ]
    } else {
        [(mx, my - h + inset), (mx + w - inset, my), (mx, my + h - inset), (mx - w + inset, my)]
    }
}

/// The cells of the id: at least eight, or none.
fn code(room: &Room, (mx, my): (f64, f64), side: f64) -> CodeCells {
    let bits = ((room.width / (1.6 * side)).floor() as usize).min(16);
    let count = if bits < 8 { 0 } else { bits };
    let bottom = my + room.top + room.height;
    CodeCells {
        first: (
            mx + room.left + room.width / 2.0 - (count as f64 - 1.0) / 2.0 * 1.6 * side,
            bottom + 0.4 + side / 2.0,
        ),
        step: 1.6 * side,
        side,
        count,
    }
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
            most: (f64::INFINITY, f64::INFINITY),
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
            let beside = l.beside.iter().map(|(dots, _)| dots);
            let mut boxes: Vec<Area> = l.cells.iter().chain(beside).map(|d| d.area(&l.whole)).collect();
            for t in &l.labels {
                boxes.push(Area {
                    left: t.left,
                    top: t.top,
                    width: glyphs::width(&t.text, t.height),
                    height: t.height,
                });
            }
            let m = l.mark_diameter;
            let code = l.code;
            if code.count > 0 {
                boxes.push(Area {
                    left: code.first.0 - code.side / 2.0,
                    top: code.first.1 - code.side / 2.0,
                    width: code.step * (code.count - 1) as f64 + code.side,
                    height: code.side,
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

    #[test]
    fn where_the_least_wedge_has_no_room_the_blank_that_would_do_is_named() {
        for text in ["rect:20x15mm", "round:20mm", "rect:14x80mm"] {
            let b = blank(text);
            let e = lay_out(&b, grid(), &contents(2, 2)).unwrap_err().to_string();
            assert!(
                e.contains("does not fit") && e.contains("at least") && !e.contains("fewer steps"),
                "{e}"
            );
            assert!(!holds_a_wedge(&b), "{text}");
            let said = e.split("at least ").nth(1).unwrap().split(" mm").next().unwrap();
            let shape = match said.split_once(" x ") {
                Some((w, h)) => format!("rect:{w}x{h}mm"),
                None => format!("round:{said}mm"),
            };
            assert!(lay_out(&blank(&shape), grid(), &contents(2, 2)).is_ok(), "{shape}");
        }
        assert!(["rect:60x40mm", "round:60mm"].into_iter().all(|text| holds_a_wedge(&blank(text))));
    }
}
