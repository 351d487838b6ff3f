//! Placement: where the art lies on the blank, in whole dots.

mod ready;
mod spot;

pub use self::ready::{Ready, of_dots};
pub use self::spot::{Align, Anchor, Offset, Spot};

use std::f64::consts::PI;
use std::fmt;
use std::ops::Range;
use std::str::FromStr;

use crate::art::Window;
use crate::blank::{Blank, Mantle, Shape, parse_size};
use crate::texts::text;
use crate::units::Mm;

/// The axis that lines run along.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Along {
    /// Lines are rows of dots.
    #[default]
    X,
    /// Lines are columns of dots, for blanks that must not be shaken sideways or a head faster along y.
    Y,
}

impl Along {
    /// The other axis.
    pub fn turned(self) -> Along {
        match self {
            Along::X => Along::Y,
            Along::Y => Along::X,
        }
    }

    /// What belongs to x and to y, as what belongs to the direction along the lines and across them; and back.
    pub fn swap<T>(self, (x, y): (T, T)) -> (T, T) {
        match self {
            Along::X => (x, y),
            Along::Y => (y, x),
        }
    }
}

/// Distances between dots (mm): `along` between dots of a row (x), `across` between rows (y). Both above zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// Between neighbouring dots of a row (x).
    pub along: Mm,
    /// Between neighbouring rows (y).
    pub across: Mm,
}

impl Grid {
    /// Area of a dot's cell, mm².
    pub fn cell_mm2(&self) -> f64 {
        self.along.0 * self.across.0
    }
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

    /// From where to where its art reaches at its lower edge and at its upper one, mm from the blank's left. On a cone, round
    /// which art is drawn together, its sides run straight up the piece; where each lies farthest out, the dots end.
    pub fn sides(&self, shape: &Shape) -> [(f64, f64); 2] {
        let (left, right) = (self.left.0, self.left.0 + self.width());
        let Some(mantle) = shape.turned().filter(Mantle::is_cone) else { return [(left, right); 2] };
        let (middle, high) = (shape.width() / 2.0, shape.height() - self.top.0);
        let ends = [high - self.height(), high].map(|up| mantle.across(up));
        let (wide, narrow) = (ends[0].max(ends[1]), ends[0].min(ends[1]));
        // Half a girth is half a turn, and more than that nothing reaches, however its dots were rounded.
        let turn = |aside: f64| (aside / if aside > 0.0 { wide } else { narrow }).min(PI / 2.0);
        let (to_left, to_right) = (turn(middle - left), turn(right - middle));
        ends.map(|across| (middle - to_left * across, middle + to_right * across))
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

/// How large the art becomes on its blank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Place {
    /// As large as fits on the blank less its margin around the picture's middle; what is transparent may reach past it.
    Inside,
    /// As large as needed to leave nothing of the blank less its margin free; the rest is cut off.
    Cover,
    /// As large as fits into a box of this size, proportions kept.
    Box {
        /// Width of the box.
        width: Mm,
        /// Height of the box.
        height: Mm,
    },
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Place::Inside => f.write_str("inside"),
            Place::Cover => f.write_str("cover"),
            Place::Box { width, height } => write!(f, "{}x{}mm", width.0, height.0),
        }
    }
}

impl FromStr for Place {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        match text.trim() {
            "inside" => Ok(Place::Inside),
            "cover" => Ok(Place::Cover),
            t if t.contains(['x', '×']) => {
                let (width, height) = parse_size(t)?;
                if width.0 > 2000.0 || height.0 > 2000.0 {
                    return Err(text!("placement.place.large", text));
                }
                Ok(Place::Box { width, height })
            }
            _ => Err(text!("placement.place.none", text)),
        }
    }
}

/// The art, as far as its place on the blank is concerned: after cropping and turning.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    /// Width over height of the art's box.
    pub aspect: f64,
    /// Points around all that is not transparent, in fractions of the box (x to the right, y down).
    pub hull: Vec<(f64, f64)>,
}

/// Where the art lies on the blank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placement {
    /// The wished width of the whole art, mm.
    pub wished_width: Mm,
    /// The wished height of the whole art, mm.
    pub wished_height: Mm,
    /// The dots that show it, at their true size.
    pub rect: DotRect,
    /// The part of the art that those dots show.
    pub window: Window,
    /// How far the art would reach past the margin, mm (0 where it does not, or where it is meant to).
    pub past_margin: Mm,
}

impl Placement {
    /// The middle of the whole art, of which the window is shown, from the middle of a blank of that shape: to the right and
    /// down, mm.
    pub fn middle(&self, shape: &Shape) -> (f64, f64) {
        let of = |start: f64, side: f64, first: f64, part: f64, blank: f64| {
            start + side * (0.5 - first) / part - blank / 2.0
        };
        let (rect, seen) = (&self.rect, &self.window);
        (
            of(rect.left.0, rect.width(), seen.left, seen.width(), shape.width()),
            of(rect.top.0, rect.height(), seen.top, seen.height(), shape.height()),
        )
    }
}

/// Why art cannot be placed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PlaceError {
    /// Nothing is left inside the margin.
    #[error("{}", text!("placement.no-room", shape = .shape, margin = .margin))]
    NoRoom {
        /// The blank's outline.
        shape: String,
        /// Its margin.
        margin: String,
    },
    /// Moved so far that nothing of it fits.
    #[error("{}", text!("placement.too-far", distance = .0))]
    TooFar(String),
    /// More dots than the program works on.
    #[error("{}", text!(
        "placement.too-many-dots",
        width = .width,
        height = .height,
        pitch = .pitch,
        millions = .millions,
    ))]
    TooManyDots {
        /// Wanted width.
        width: String,
        /// Wanted height.
        height: String,
        /// Wanted pitch.
        pitch: String,
        /// Dots, in millions.
        millions: u64,
    },
}

/// The most dots of one job.
pub const MOST_DOTS: f64 = 400e6;

/// Places art on a blank, centred, in whole dots.
///
/// The number of dots each way is `round(size / pitch)`; where that would reach past the margin by
/// less than a dot it is one dot fewer. Only the part inside the margin's box gets dots.
///
/// # Errors
/// A blank of which the margin leaves nothing, or more than [`MOST_DOTS`].
pub fn place(outline: &Outline, blank: &Blank, place: Place, grid: Grid) -> Result<Placement, PlaceError> {
    let no_room = || PlaceError::NoRoom { shape: blank.shape.to_string(), margin: blank.margin.to_string() };
    let printable = blank.printable().ok_or_else(no_room)?;
    let (pw, ph) = (printable.width(), printable.height());
    // The art's box for a height of one.
    let (uw, uh) = (outline.aspect, 1.0);
    let inside = |scale: f64| {
        outline.hull.iter().all(|&(x, y)| printable.contains((x - 0.5) * uw * scale, (y - 0.5) * uh * scale))
    };
    let largest_inside = || largest((pw / uw).max(ph / uh), inside);
    let scale = match place {
        Place::Inside => largest_inside(),
        // A drawing with an empty border of its own is at least as large as one that is to fit.
        Place::Cover => (pw / uw).max(ph / uh).max(largest_inside()),
        Place::Box { width, height } => (width.0 / uw).min(height.0 / uh),
    };
    let (width, height) = (uw * scale, uh * scale);
    let past = match place {
        Place::Box { .. } if !inside(scale * (1.0 - 1e-9)) => {
            let fit = largest_inside();
            (width - uw * fit).max(height - uh * fit) / 2.0
        }
        _ => 0.0,
    };
    let (columns, x0, x1) = whole_dots(width, pw, grid.along.0);
    let (rows, y0, y1) = whole_dots(height, ph, grid.across.0);
    few_enough((columns, rows), (width.min(pw), height.min(ph)), grid)?;
    let rect = DotRect {
        left: Mm((blank.shape.width() - columns as f64 * grid.along.0) / 2.0),
        top: Mm((blank.shape.height() - rows as f64 * grid.across.0) / 2.0),
        columns,
        rows,
        grid,
    };
    let window = Window { left: x0, top: y0, right: x1, bottom: y1 };
    Ok(Placement { wished_width: Mm(width), wished_height: Mm(height), rect, window, past_margin: Mm(past) })
}

/// The largest scale that fits, which is below four times the one that covers.
fn largest(covers: f64, fits: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0.0, 4.0 * covers);
    for _ in 0..100 {
        let middle = (low + high) / 2.0;
        if fits(middle) { low = middle } else { high = middle }
    }
    low
}

/// Refuses more dots than the program works on.
fn few_enough(
    (columns, rows): (usize, usize),
    (width, height): (f64, f64),
    grid: Grid,
) -> Result<(), PlaceError> {
    let dots = columns as f64 * rows as f64;
    if dots <= MOST_DOTS {
        return Ok(());
    }
    Err(PlaceError::TooManyDots {
        width: Mm(width).to_string(),
        height: Mm(height).to_string(),
        pitch: grid.along.to_string(),
        millions: (dots / 1e6).round() as u64,
    })
}

/// Places art at a spot of its own, or in the middle.
///
/// # Errors
/// As [`place`].
pub fn placed(
    outline: &Outline,
    blank: &Blank,
    size: Place,
    spot: Option<&Spot>,
    grid: Grid,
) -> Result<Placement, PlaceError> {
    match spot {
        Some(spot) => place_at(outline, blank, size, spot, grid),
        None => place(outline, blank, size, grid),
    }
}

/// Places something on a blank at a spot of its own. Its dots are those of one lattice, which has a corner of four dots
/// in the middle of the blank, so that what lies on the same blank meets dot by dot; it comes to lie within half a dot of
/// its place. What would lie beyond the margin's box gets no dots.
///
/// # Errors
/// As [`place`]; one that is to be as large as fits and is moved past the margin.
pub fn place_at(
    outline: &Outline,
    blank: &Blank,
    place: Place,
    spot: &Spot,
    grid: Grid,
) -> Result<Placement, PlaceError> {
    let no_room = || PlaceError::NoRoom { shape: blank.shape.to_string(), margin: blank.margin.to_string() };
    let printable = blank.printable().ok_or_else(no_room)?;
    let (pw, ph) = (printable.width(), printable.height());
    let (uw, uh) = (outline.aspect, 1.0);
    let (right, down) = (spot.at.right.0, -spot.at.up.0);
    if place == Place::Inside && !printable.contains(right, down) {
        return Err(PlaceError::TooFar(spot.at.to_string()));
    }
    // Measured from the middle of the blank.
    let hull = |scale: f64, cx: f64, cy: f64| {
        outline.hull.iter().map(move |&(x, y)| (cx + (x - 0.5) * uw * scale, cy + (y - 0.5) * uh * scale))
    };
    let scale = match place {
        Place::Inside => largest((pw / uw).max(ph / uh), |scale| {
            hull(scale, right, down).all(|(x, y)| printable.contains(x, y))
        }),
        Place::Cover => (pw / uw).max(ph / uh),
        Place::Box { width, height } => (width.0 / uw).min(height.0 / uh),
    };
    let (width, height) = (uw * scale, uh * scale);
    let (cx, cy) = match place {
        Place::Box { width: bw, .. } => {
            let (h, v) = spot.anchor.sides();
            let side = spot.align.map_or(h, Align::side);
            (h * (pw - bw.0) / 2.0 + side * (bw.0 - width) / 2.0 + right, v * (ph - height) / 2.0 + down)
        }
        Place::Inside | Place::Cover => (right, down),
    };
    let past = if place == Place::Cover {
        0.0
    } else {
        past_edge(&printable, || hull(scale * (1.0 - 1e-9), cx, cy))
    };
    // Less than a dot is a frayed edge, and the outline of a drawing is not known any better.
    let past = if past <= grid.along.0.max(grid.across.0) { 0.0 } else { past };
    let (first, columns, x0, x1) = of_lattice(cx, width, pw, grid.along.0);
    let (top, rows, y0, y1) = of_lattice(cy, height, ph, grid.across.0);
    few_enough((columns, rows), (width.min(pw), height.min(ph)), grid)?;
    let rect = DotRect {
        left: Mm(blank.shape.width() / 2.0 + first * grid.along.0),
        top: Mm(blank.shape.height() / 2.0 + top * grid.across.0),
        columns,
        rows,
        grid,
    };
    let window = Window { left: x0, top: y0, right: x1, bottom: y1 };
    Ok(Placement { wished_width: Mm(width), wished_height: Mm(height), rect, window, past_margin: Mm(past) })
}

/// How far points reach past a shape, mm, to a hundredth; 0 where they do not.
pub fn past_edge<I: Iterator<Item = (f64, f64)>>(shape: &Shape, points: impl Fn() -> I) -> f64 {
    least_growth(|by| shape.inset(-by).is_some_and(|s| points().all(|(x, y)| s.contains(x, y))))
}

/// By how much a shape must grow until it `holds` everything, mm, to a hundredth.
fn least_growth(holds: impl Fn(f64) -> bool) -> f64 {
    if holds(0.0) {
        return 0.0;
    }
    let (mut low, mut high) = (0.0, 4000.0);
    while high - low > 0.005 {
        let middle = (low + high) / 2.0;
        if holds(middle) { high = middle } else { low = middle }
    }
    high
}

/// The first dot of a lattice with an edge at 0 and the number of dots for a side of `size` mm around `centre`, as far as
/// it lies within `room` mm around 0; and the shown part as fractions. At least one dot, which may lie outside.
fn of_lattice(centre: f64, size: f64, room: f64, pitch: f64) -> (f64, usize, f64, f64) {
    let whole = (size / pitch).round().max(1.0);
    let start = ((centre - whole * pitch / 2.0) / pitch).round();
    let most = (room / 2.0 / pitch + 1e-9).floor();
    let (from, to) = (start.max(-most), (start + whole).min(most));
    if to - from < 1.0 {
        return (start, 1, 0.0, 1.0 / whole);
    }
    (from, (to - from) as usize, (from - start) / whole, (to - start) / whole)
}

/// Dots for a side of `size` mm of which at most `room` mm may show, and the shown part as fractions.
fn whole_dots(size: f64, room: f64, pitch: f64) -> (usize, f64, f64) {
    let shown = size.min(room);
    let mut n = (shown / pitch).round().max(1.0);
    if n * pitch > room * (1.0 + 1e-12) && n > 1.0 {
        n -= 1.0;
    }
    let part = if size > room * (1.0 + 1e-12) { (n * pitch / size).min(1.0) } else { 1.0 };
    (n as usize, 0.5 - part / 2.0, 0.5 + part / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Pitch;

    fn square() -> Outline {
        Outline { aspect: 1.0, hull: vec![(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] }
    }

    fn disc() -> Outline {
        let hull = (0..360).map(|d| (d as f64).to_radians().sin_cos());
        Outline { aspect: 1.0, hull: hull.map(|(s, c)| (0.5 + c / 2.0, 0.5 + s / 2.0)).collect() }
    }

    fn grid(dpi: f64) -> Grid {
        let p = Mm(Pitch::from_dpi(dpi).unwrap().mm());
        Grid { along: p, across: p }
    }

    fn blank(shape: &str, margin: f64) -> Blank {
        Blank { shape: shape.parse().unwrap(), margin: Mm(margin) }
    }

    #[test]
    fn what_is_moved_past_the_margin_is_refused_where_it_is_to_fit() {
        let b = blank("rect:100x100mm", 5.0);
        let at = |to: &str, size: Place| {
            let spot = Spot { at: to.parse().unwrap(), ..Spot::default() };
            place_at(&square(), &b, size, &spot, grid(290.0))
        };
        assert!((at("40mm,0mm", Place::Inside).unwrap().wished_width.0 - 10.0).abs() < 1e-6);
        let e = at("60mm,0mm", Place::Inside).unwrap_err().to_string();
        assert!(e.starts_with("moved by 60mm,0mm (to the right, up)"), "{e}");
        assert!(at("60mm,0mm", Place::Box { width: Mm(60.0), height: Mm(60.0) }).is_ok());
    }

    #[test]
    fn round_art_fills_a_round_blank_and_square_art_stays_within_it() {
        let b = blank("round:90mm", 2.5);
        let p = place(&disc(), &b, Place::Inside, grid(304.0)).unwrap();
        // Fact of the trade (common practice) and check values U02, U03.
        assert!((p.wished_width.0 - 85.0).abs() < 0.02, "{}", p.wished_width);
        assert_eq!(p.rect.columns, 1017);
        assert!((p.rect.width() - 84.97302631578947).abs() < 1e-9);
        let p = place(&square(), &b, Place::Inside, grid(304.0)).unwrap();
        assert!((p.wished_width.0 - 85.0 / 2f64.sqrt()).abs() < 1e-6);
    }

    #[test]
    fn cover_fills_the_printable_box_and_cuts_the_longer_side() {
        let b = blank("rect:100x60mm", 5.0);
        let p = place(&square(), &b, Place::Cover, grid(254.0)).unwrap();
        assert_eq!((p.rect.columns, p.rect.rows), (900, 500));
        assert!((p.window.bottom - p.window.top - 500.0 / 900.0).abs() < 1e-12);
        assert_eq!((p.window.left, p.window.right), (0.0, 1.0));
        assert_eq!(p.past_margin, Mm(0.0));
        // A drawing whose outer fifth is empty all round is made to fit by its ink, and fills no less.
        let hull = vec![(0.2, 0.2), (0.8, 0.2), (0.2, 0.8), (0.8, 0.8)];
        let b = blank("rect:100x100mm", 5.0);
        let width = |by| {
            place(&Outline { aspect: 1.0, hull: hull.clone() }, &b, by, grid(254.0)).unwrap().wished_width.0
        };
        assert!((width(Place::Inside) - 150.0).abs() < 1e-6);
        assert_eq!(width(Place::Cover), width(Place::Inside));
    }

    #[test]
    fn a_box_too_large_says_how_far_it_reaches_past_the_margin() {
        let b = blank("rect:100x100mm", 5.0);
        let ok = place(&square(), &b, "90x90mm".parse().unwrap(), grid(254.0)).unwrap();
        assert_eq!(ok.past_margin, Mm(0.0));
        let p = place(&square(), &b, "96x99mm".parse().unwrap(), grid(254.0)).unwrap();
        assert!((p.past_margin.0 - 3.0).abs() < 1e-6);
        assert_eq!((p.rect.columns, p.rect.rows), (900, 900));
    }

    #[test]
    fn no_allowed_dot_reaches_past_the_margin() {
        for shape in ["round:90mm", "rect:100x60mm", "rect:70x70mm:r8mm"] {
            for dpi in [304.0, 101.6, 77.0] {
                let b = blank(shape, 2.5);
                let printable = b.printable().unwrap();
                let r = place(&square(), &b, Place::Cover, grid(dpi)).unwrap().rect;
                let (w, h, p) = (b.shape.width(), b.shape.height(), r.grid.along.0);
                let mut any = 0;
                for y in 0..r.rows {
                    for x in r.allowed(&b, y) {
                        any += 1;
                        for (i, j) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                            let cx = r.left.0 + (x + i) as f64 * p - w / 2.0;
                            let cy = r.top.0 + (y + j) as f64 * p - h / 2.0;
                            assert!(
                                printable.contains(cx * (1.0 - 1e-9), cy * (1.0 - 1e-9)),
                                "{shape} {dpi}"
                            );
                        }
                    }
                }
                let share = any as f64 * p * p / printable.area();
                assert!(share > 0.97 && share <= 1.0 + 1e-9, "{shape} {dpi}: {share}");
            }
        }
    }

    #[test]
    fn more_than_400_million_dots_are_refused_with_the_number() {
        let b = blank("rect:400x400mm", 0.0);
        let e = place(&square(), &b, Place::Cover, grid(2540.0)).unwrap_err().to_string();
        assert!(e.contains("1600 million dots") && e.contains("400 million"), "{e}");
        let e = place(&square(), &blank("round:4mm", 2.5), Place::Cover, grid(254.0)).unwrap_err();
        assert!(e.to_string().contains("smaller than its margins"));
    }
}
