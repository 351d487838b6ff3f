//! Comb: the vernier pair that shows the lag between opposite directions.

use super::layout::DotBox;
use super::parts::{BurntPart, COMB, Way};
use super::request::{DrawError, Request};
use crate::placement::DotRect;
use crate::plane::Dots;
use crate::texts::text;
use crate::units::{Mm, MmPerS};
use crate::wedge::target::{Comb, Dial};

/// A comb pair in a cell: upper half marked towards the right, lower half towards the left. The lower
/// comb's step is one dot longer, so the pair that lines up, counted from the middle, gives the lag in dots.
/// `whole` is the rectangle of all dots, `height` the blank's, mm.
pub(super) fn comb(
    request: &Request,
    speed: MmPerS,
    cell: &DotBox,
    whole: &DotRect,
    height: f64,
) -> Result<Comb, DrawError> {
    let (px, py) = (whole.grid.along.0, whole.grid.across.0);
    let line_dots = ((0.3 / px).round() as usize).max(2);
    let step = ((1.3 / px).round() as usize).max(line_dots + 4);
    let side = (cell.columns / 2).saturating_sub(line_dots) / (step + 1);
    if side < 3 || cell.rows < 12 {
        return Err(DrawError::Asked(text!(
            "wedge.draw.combs",
            width = Mm(cell.columns as f64 * px),
            lines = 2 * side + 1
        )));
    }
    let middle_dot = cell.column + cell.columns / 2;
    let area = cell.area(whole);
    let mid = area.top + (cell.rows / 2) as f64 * py;
    Ok(Comb {
        name: speed.to_string(),
        dial: Dial { speed, ..request.chosen },
        middle: whole.left.0 + (middle_dot as f64 + line_dots as f64 / 2.0) * px,
        side,
        line_dots,
        step_right: step as f64 * px,
        step_left: (step + 1) as f64 * px,
        rows_right: [height - mid, height - area.top],
        rows_left: [height - area.top - area.height, height - mid],
    })
}

/// The two halves of a comb pair as they are burnt: the upper one towards the right, the lower one towards the left.
pub(super) fn halves(comb: &Comb, cell: &DotBox, whole: &DotRect) -> [(DotBox, BurntPart); 2] {
    let upper = cell.rows / 2;
    [
        (Way::Right, "RIGHT", DotBox { rows: upper, ..*cell }, comb.step_right),
        (
            Way::Left,
            "LEFT",
            DotBox { row: cell.row + upper, rows: cell.rows - upper, ..*cell },
            comb.step_left,
        ),
    ]
    .map(|(way, arrow, place, step)| {
        let part = BurntPart {
            name: format!("{COMB} {} {arrow}", comb.name),
            dial: comb.dial,
            dots: lines(comb, &place, (step / whole.grid.along.0).round() as usize),
            rect: place.rect(whole),
            way,
        };
        (place, part)
    })
}

/// The lines of one half, `step` dots apart.
fn lines(comb: &Comb, place: &DotBox, step: usize) -> Dots {
    let mut dots = Dots::off(place.columns, place.rows);
    for y in 0..place.rows {
        for k in 0..=2 * comb.side {
            let x = place.columns / 2 + k * step;
            let Some(x) = x.checked_sub(comb.side * step) else { continue };
            (x..(x + comb.line_dots).min(place.columns)).for_each(|x| dots.set(x, y, true));
        }
    }
    dots
}
