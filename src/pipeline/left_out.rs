//! Left out: what of the wanted mark lies where no dot may be, and how far past the margin that reaches.

use super::drawable::Drawable;
use super::error::PipelineError;
use super::laid_round::Cone;
use super::shown::Shown;
use super::wanted::{Wanted, placed};
use crate::art;
use crate::blank::{Blank, Shape};
use crate::placement;
use crate::progress::{Progress, Within};
use crate::units::Mm;

/// What of one picture or layer has no dots.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Beyond {
    /// Its share of all that is wanted of it, 0 to 1.
    pub share: f64,
    /// How far it reaches past the margin; 0 where it is no more than a frayed edge.
    pub past: Mm,
    /// Whether it is a photo, which may be meant to be cut.
    pub photo: bool,
}

/// What of a piece has no dots.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LeftOut {
    /// The share of the ink of what is drawn, 0 to 1; photos, which may be cut, do not count.
    pub share: f64,
    /// The one picture, or each layer in its order.
    pub each: Vec<Beyond>,
}

/// Places along the longer side in which ink that is left out is looked for.
const COARSE: f64 = 400.0;
/// What is wanted less than this is ground rather than ink, and so much ink past the margin is no speck, mm² (own
/// judgement).
const INK: f32 = 0.1;
const SPECK_MM2: f64 = 0.1;

/// Sums what is wanted, and what of it lies past a shape.
struct Sum<'a> {
    shape: &'a Shape,
    /// A dot that lies across the margin is left out; that is a frayed edge, not a cut.
    near: Shape,
    /// Width and height of a place, mm.
    cell: (f64, f64),
    all: f64,
    lost: f64,
    /// Ink past the shape: how much, and its outermost places, mm from the middle of the blank.
    ink: f64,
    outermost: Vec<(f64, f64)>,
}

impl Sum<'_> {
    fn of(shape: &Shape, grace: f64, cell: (f64, f64)) -> Option<Sum<'_>> {
        let near = shape.inset(-grace)?;
        Some(Sum { shape, near, cell, all: 0.0, lost: 0.0, ink: 0.0, outermost: Vec::new() })
    }

    /// Takes in a row as far as it may lie past the shape: `right` and `down` tell where its places lie.
    fn row(
        &mut self,
        row: &[f32],
        places: impl Iterator<Item = usize>,
        right: impl Fn(usize) -> f64,
        down: f64,
    ) {
        let mut ends: Option<(usize, usize)> = None;
        for x in places.filter(|&x| row[x] > 0.0) {
            if self.near.contains(right(x), down) {
                continue;
            }
            self.lost += f64::from(row[x]);
            if row[x] >= INK {
                self.ink += f64::from(row[x]) * self.cell.0 * self.cell.1;
                ends = Some((ends.map_or(x, |e| e.0), x));
            }
        }
        if let Some((first, last)) = ends {
            let (w, h) = (self.cell.0 / 2.0, self.cell.1 / 2.0);
            let corners = [right(first) - w, right(last) + w];
            self.outermost.extend(corners.into_iter().flat_map(|x| [(x, down - h), (x, down + h)]));
        }
    }

    fn beyond(&self) -> Beyond {
        let share = if self.all > 0.0 { (self.lost / self.all).min(1.0) } else { 0.0 };
        let past = if self.ink < SPECK_MM2 {
            0.0
        } else {
            placement::past_edge(self.shape, || self.outermost.iter().copied())
        };
        Beyond { share, past: Mm(past), photo: false }
    }
}

impl Wanted {
    /// What lies where no dot may be, or beyond the part of the art that has dots. Of photos it is only looked for where they
    /// are not meant to be cut.
    ///
    /// # Errors
    /// As [`Drawable::wanted`]: a part that is left out is looked for in the whole art, drawn coarsely.
    pub fn left_out(
        &self,
        piece: &Drawable<'_>,
        shown: Shown<'_>,
        progress: &dyn Progress,
    ) -> Result<LeftOut, PipelineError> {
        if let Some(known) = &self.left_out {
            return Ok(known.clone());
        }
        let drawn = self.kind.is_drawn();
        if !drawn && self.placement.past_margin.0 <= 0.0 {
            return Ok(LeftOut { share: 0.0, each: vec![Beyond { photo: true, ..Beyond::default() }] });
        }
        let beyond = if self.placement.window == art::Window::WHOLE {
            self.beyond_of_all(&piece.blank)
        } else {
            self.beyond_of_part(piece, shown, progress)?
        };
        let beyond = Beyond { photo: !drawn, ..beyond };
        Ok(LeftOut { share: if drawn { beyond.share } else { 0.0 }, each: vec![beyond] })
    }

    /// Of art that has dots wherever it lies, those beyond the margin among them.
    fn beyond_of_all(&self, blank: &Blank) -> Beyond {
        let rect = &self.placement.rect;
        let grace = 1.5 * rect.grid.along.0.max(rect.grid.across.0);
        let printable = blank.printable();
        let sum = printable.as_ref().and_then(|s| Sum::of(s, grace, (rect.grid.along.0, rect.grid.across.0)));
        let Some(mut sum) = sum else { return Beyond::default() };
        let (w, h) = (blank.shape.width() / 2.0, blank.shape.height() / 2.0);
        for y in 0..self.tone.height() {
            let row = self.tone.row(y);
            sum.all += row.iter().map(|&v| f64::from(v)).sum::<f64>();
            let allowed = rect.allowed(blank, y);
            let down = h - rect.centre(blank, 0, y).1;
            let outside = (0..allowed.start).chain(allowed.end..row.len());
            sum.row(row, outside, |x| rect.centre(blank, x, y).0 - w, down);
        }
        sum.beyond()
    }

    /// Of art of which only a part has dots.
    fn beyond_of_part(
        &self,
        piece: &Drawable<'_>,
        shown: Shown<'_>,
        progress: &dyn Progress,
    ) -> Result<Beyond, PipelineError> {
        let drawn = piece.clone().in_small(COARSE).wanted(shown, &Within(progress))?.tone;
        let (w, h) = (drawn.width() as f64, drawn.height() as f64);
        // On a cone, where it lies before it is laid round.
        let (p, wished_width) = match (Cone::of(&piece.blank), shown.alone()) {
            (Some(_), Some(art)) => {
                let flat = placed(piece, art)?.0;
                (flat, flat.rect.width() / flat.window.width())
            }
            _ => (self.placement, self.placement.wished_width.0),
        };
        let cell = (wished_width / w, p.wished_height.0 / h);
        // What is seen in a place lies anywhere in it.
        let grace = 1.5 * p.rect.grid.along.0.max(p.rect.grid.across.0) + 0.5 * libm::hypot(cell.0, cell.1);
        let on: Blank = piece.blank.to_place_on();
        let printable = on.printable();
        let sum = printable.as_ref().and_then(|s| Sum::of(s, grace, cell));
        let Some(mut sum) = sum else { return Ok(Beyond::default()) };
        let shape = &piece.blank.shape;
        // The middle of the whole art, of which the window is shown, from the middle of the blank.
        let (cx, cy) = p.middle(shape);
        for y in 0..drawn.height() {
            let row = drawn.row(y);
            sum.all += row.iter().map(|&v| f64::from(v)).sum::<f64>();
            let down = cy + ((y as f64 + 0.5) / h - 0.5) * p.wished_height.0;
            sum.row(row, 0..row.len(), |x| cx + ((x as f64 + 0.5) / w - 0.5) * wished_width, down);
        }
        Ok(sum.beyond())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ground_and_specks_past_a_shape_are_not_ink() {
        let shape: Shape = "rect:10x10mm".parse().unwrap();
        let beyond = |v: f32, cells: usize| {
            let mut sum = Sum::of(&shape, 0.1, (0.1, 0.1)).unwrap();
            let row = vec![v; cells];
            sum.all += 100.0;
            sum.row(&row, 0..cells, |x| 5.05 + 0.1 * x as f64, 0.0);
            sum.beyond()
        };
        assert_eq!(beyond(1.0, 5).past, Mm(0.0), "a speck");
        assert_eq!(beyond(0.05, 30).past, Mm(0.0), "ground");
        let found = beyond(1.0, 30);
        assert!((found.past.0 - 3.0).abs() < 0.02, "{found:?}");
        // The first place is a frayed edge.
        assert!((found.share - 0.29).abs() < 1e-9, "{found:?}");
    }
}
