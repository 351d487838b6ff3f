//! Fiducials: finder marks, the id's cells, ticks and labels, as dots.

use super::glyphs::{self, Strokes};
use super::labels::Label;
use crate::placement::DotRect;
use crate::plane::Dots;
use crate::wedge::target::{CENTRE, Comb, FinderMark, LABELS_OFF_MM, RING, Wedge};

/// Sets the dots of a box (left, top, right, bottom, mm from the blank's upper left corner) whose centres are `on`; only
/// they are asked, never the whole plane.
fn fill(
    dots: &mut Dots,
    rect: &DotRect,
    [left, top, right, bottom]: [f64; 4],
    on: &dyn Fn(f64, f64) -> bool,
) {
    let (px, py) = (rect.grid.along.0, rect.grid.across.0);
    let cell = |v: f64, origin: f64, p: f64, n: usize| (((v - origin) / p).floor().max(0.0) as usize).min(n);
    let (x0, x1) =
        (cell(left, rect.left.0, px, rect.columns), cell(right, rect.left.0, px, rect.columns - 1));
    let (y0, y1) = (cell(top, rect.top.0, py, rect.rows), cell(bottom, rect.top.0, py, rect.rows - 1));
    for y in y0..=y1 {
        for x in x0..=x1 {
            let at = (rect.left.0 + (x as f64 + 0.5) * px, rect.top.0 + (y as f64 + 0.5) * py);
            if on(at.0, at.1) && x < rect.columns && y < rect.rows {
                dots.set(x, y, true);
            }
        }
    }
}

/// One finder mark.
pub(super) fn finder_mark(mark: &FinderMark, wedge: &Wedge, rect: &DotRect) -> Dots {
    let mut dots = Dots::off(rect.columns, rect.rows);
    let (cx, cy) = (mark.centre[0], wedge.blank.height() - mark.centre[1]);
    let r = mark.diameter.0 / 2.0;
    fill(&mut dots, rect, [cx - r, cy - r, cx + r, cy + r], &|x, y| {
        let d = libm::hypot(x - cx, y - cy) / r;
        if mark.odd { (CENTRE..=1.0).contains(&d) } else { (RING..=1.0).contains(&d) || d <= CENTRE }
    });
    dots
}

/// Whether a tick above a comb would lie on coating that is to stay bare below a patch: as far as the reader takes it to be,
/// which is half of the way to the comb and as far as labels keep off.
fn is_crowded(wedge: &Wedge, comb: &Comb) -> bool {
    let least = 2.0 * (0.75 + LABELS_OFF_MM);
    wedge.patches.iter().any(|p| {
        let off = p.centre[1] - p.size[1] / 2.0 - comb.rows_right[1];
        (p.centre[0] - comb.middle).abs() < p.size[0] / 2.0 + 0.5 && (0.0..least).contains(&off)
    })
}

/// Labels, ticks at the combs and the id's cells.
pub(super) fn lettering(wedge: &Wedge, rect: &DotRect, labels: &[Label]) -> Dots {
    let height = wedge.blank.height();
    let mut dots = Dots::off(rect.columns, rect.rows);
    let px = rect.grid.along.0;
    for l in labels {
        let letters: Strokes = glyphs::set(&l.text, l.left, l.top, l.height);
        let (w, h) = (glyphs::width(&l.text, l.height), letters.half_width);
        let place = [l.left - h, l.top - h, l.left + w + h, l.top + l.height + h];
        fill(&mut dots, rect, place, &|x, y| letters.covers(x, y));
    }
    // A tick above and below the middle line of each comb pair, or below alone: where counting starts.
    for c in &wedge.combs {
        let half = c.line_dots as f64 * px / 2.0;
        let above = (height - c.rows_right[1] - 0.75, height - c.rows_right[1] - 0.25);
        let below = (height - c.rows_left[0] + 0.25, height - c.rows_left[0] + 0.75);
        for (top, bottom) in [below].into_iter().chain((!is_crowded(wedge, c)).then_some(above)) {
            let place = [c.middle - half, top, c.middle + half, bottom];
            fill(&mut dots, rect, place, &|x, _| (x - c.middle).abs() <= half);
        }
    }
    if let Some(code) = &wedge.code {
        for (i, bit) in code.bits.chars().enumerate() {
            if bit == '1' {
                let (cx, cy) = (code.first[0] + i as f64 * code.step, height - code.first[1]);
                let h = code.cell / 2.0;
                let place = [cx - h, cy - h, cx + h, cy + h];
                fill(&mut dots, rect, place, &|x, y| (x - cx).abs() <= h && (y - cy).abs() <= h);
            }
        }
    }
    dots
}
