//! Ready dots: what something else made, in the middle of a blank.

use std::ops::Range;

use super::{DotRect, Grid, Placement, least_growth};
use crate::art::Window;
use crate::blank::{Blank, Shape};
use crate::plane::Dots;
use crate::units::Mm;

/// How far past the margin dots may be and are still on it, mm: a file tells how dense its dots are in whole pixels a metre, by
/// which dots that were made to fill a blank seem to be a few thousandths of a millimetre past its margin.
const ROUNDING_MM: f64 = 0.005;

/// Ready dots in the middle of a blank.
#[derive(Debug, Clone, PartialEq)]
pub struct Ready {
    /// Where they lie, those beyond the margin's box left out.
    pub placement: Placement,
    /// Those that lie within that box, and on only where they may be marked.
    pub dots: Dots,
}

/// Lays ready `dots` into the middle of a blank. The placement says how far those that are on reach past the margin.
pub fn of_dots(blank: &Blank, grid: Grid, dots: Dots) -> Ready {
    let (w, h) = (blank.shape.width(), blank.shape.height());
    let at = |columns: usize, rows: usize| DotRect {
        left: Mm((w - columns as f64 * grid.along.0) / 2.0),
        top: Mm((h - rows as f64 * grid.across.0) / 2.0),
        columns,
        rows,
        grid,
    };
    let whole = at(dots.width(), dots.height());
    let granted = Blank { margin: Mm(blank.margin.0 - ROUNDING_MM), ..*blank };
    let past = past_margin(blank, &granted, &whole, &dots);
    let room = granted.printable().map_or((0.0, 0.0), |p| (p.width(), p.height()));
    let columns = within(whole.columns, grid.along.0, room.0);
    let rows = within(whole.rows, grid.across.0, room.1);
    let window = Window {
        left: columns.start as f64 / whole.columns.max(1) as f64,
        top: rows.start as f64 / whole.rows.max(1) as f64,
        right: columns.end as f64 / whole.columns.max(1) as f64,
        bottom: rows.end as f64 / whole.rows.max(1) as f64,
    };
    let placement = Placement {
        wished_width: Mm(whole.width()),
        wished_height: Mm(whole.height()),
        rect: at(columns.len(), rows.len()),
        window,
        past_margin: Mm(past),
    };
    let all = columns == (0..whole.columns) && rows == (0..whole.rows);
    let mut dots = if all { dots } else { dots.part(columns, rows) };
    for y in 0..dots.height() {
        dots.keep_only(y, placement.rect.allowed(&granted, y));
    }
    Ready { placement, dots }
}

/// Of `all` dots around a middle those within `room` mm around it, at least one where there are any: as many are left out
/// on one side as on the other, so that the middle stays where it is.
fn within(all: usize, pitch: f64, room: f64) -> Range<usize> {
    let over = (all as f64 * pitch - room) / 2.0;
    let out = (over / pitch - 1e-6).ceil().max(0.0) as usize;
    let out = out.min(all.saturating_sub(1) / 2);
    out..all - out
}

/// How far dots that are on, and not on the blank as it is `granted`, reach past the margin, mm.
fn past_margin(blank: &Blank, granted: &Blank, rect: &DotRect, dots: &Dots) -> f64 {
    let Some(printable) = blank.printable() else { return 0.0 };
    let (x0, y0) = (rect.left.0 - blank.shape.width() / 2.0, rect.top.0 - blank.shape.height() / 2.0);
    let mut corners = Vec::new();
    for y in 0..dots.height() {
        let allowed = rect.allowed(granted, y);
        let count = |columns| dots.count_in(columns, y);
        if count(0..allowed.start) + count(allowed.end..dots.width()) == 0 {
            continue;
        }
        let on = |x: &usize| dots.get(*x, y);
        let (Some(first), Some(last)) = ((0..dots.width()).find(on), (0..dots.width()).rfind(on)) else {
            continue;
        };
        for x in [first, last + 1] {
            for y in [y, y + 1] {
                corners.push((x0 + x as f64 * rect.grid.along.0, y0 + y as f64 * rect.grid.across.0));
            }
        }
    }
    if corners.is_empty() {
        return 0.0;
    }
    // Sharp corners stay sharp: what is past one counts by how far it is past a side.
    let grown = |by: f64| match printable {
        Shape::Rect { width, height, radius } if radius.0 == 0.0 => {
            Some(Shape::Rect { width: Mm(width.0 + 2.0 * by), height: Mm(height.0 + 2.0 * by), radius })
        }
        shape => shape.inset(-by),
    };
    least_growth(|by| grown(by).is_some_and(|s| corners.iter().all(|&(x, y)| s.contains(x, y))))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn laid(shape: &str, (columns, rows): (usize, usize), on: impl Fn(usize, usize) -> bool) -> Ready {
        let blank = Blank { shape: shape.parse().unwrap(), margin: Mm(2.0) };
        let mut dots = Dots::off(columns, rows);
        for (x, y) in (0..rows).flat_map(|y| (0..columns).map(move |x| (x, y))) {
            dots.set(x, y, on(x, y));
        }
        of_dots(&blank, Grid { along: Mm(0.1), across: Mm(0.2) }, dots)
    }

    #[test]
    fn dots_of_a_rounded_density_that_fill_the_blank_are_all_kept() {
        let blank = Blank { shape: "rect:94x94mm".parse().unwrap(), margin: Mm(2.0) };
        let dots = Dots::from_packed(1000, 1000, vec![0xFF; 125_000]);
        // 90.004 mm of dots on 90 mm.
        let r = of_dots(&blank, Grid { along: Mm(0.090004), across: Mm(0.090004) }, dots);
        assert_eq!((r.dots.count(), r.placement.past_margin), (1_000_000, Mm(0.0)));
    }

    #[test]
    fn dots_that_fit_stay_as_they_are() {
        let r = laid("rect:34x24mm", (300, 100), |_, _| true);
        let p = r.placement;
        assert!((p.rect.left.0 - 2.0).abs() < 1e-9 && (p.rect.top.0 - 2.0).abs() < 1e-9, "{p:?}");
        assert_eq!((p.rect.columns, p.rect.rows), (300, 100));
        assert_eq!((p.window, p.past_margin), (Window::WHOLE, Mm(0.0)));
        assert_eq!(r.dots.count(), 30_000);
    }

    #[test]
    fn of_dots_that_are_larger_than_the_blank_the_middle_is_kept() {
        // 40 x 30 mm on 30 x 20 mm less the margin of 2 mm: 5 mm are left out on each side.
        let r = laid("rect:34x24mm", (400, 150), |x, y| x % 3 == 0 && y > 20);
        let p = r.placement;
        assert_eq!((p.rect.columns, p.rect.rows, r.dots.width(), r.dots.height()), (300, 100, 300, 100));
        assert!((p.wished_width.0 - 40.0).abs() < 1e-9 && (p.wished_height.0 - 30.0).abs() < 1e-9, "{p:?}");
        assert!((p.past_margin.0 - 5.0).abs() < 0.01, "{:?}", p.past_margin);
        assert!((0..300).all(|x| r.dots.get(x, 7) == ((x + 50) % 3 == 0)));
        // Nothing is said of what lies beyond the margin and stays bare.
        let bare = |x: usize, y: usize| (60..340).contains(&x) && (30..120).contains(&y);
        assert_eq!(laid("rect:34x24mm", (400, 150), bare).placement.past_margin, Mm(0.0));
    }

    #[test]
    fn the_corners_of_a_square_reach_past_a_round_margin() {
        // 28 x 28 mm on a circle of 30 mm: half a diagonal less the radius.
        let r = laid("round:34mm", (280, 140), |_, _| true);
        assert!((r.placement.past_margin.0 - (14.0 * 2f64.sqrt() - 15.0)).abs() < 0.01, "{:?}", r.placement);
        assert_eq!(r.placement.rect.columns, 280);
        // What of the circle lies beyond the square, on each side.
        let segment = 225.0 * (14.0f64 / 15.0).acos() - 14.0 * 29f64.sqrt();
        // The rest less half a dot or so all round its edge.
        let share = r.dots.count() as f64 * 0.02 / (15.0 * 15.0 * std::f64::consts::PI - 4.0 * segment);
        assert!((0.97..1.0).contains(&share), "{share}");
    }
}
