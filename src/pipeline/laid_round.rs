//! Laid round: art on a cone, drawn together where that is narrower.
//!
//! Art is placed on a mantle whose girth is the widest all over ([`Blank::to_place_on`]) and drawn there. Then each row of
//! its wanted mark is drawn together towards the middle, opposite the seam, by as much as the cone is narrower at its
//! height: so what is upright in it runs straight up the piece, as on a printed cup, and both ends of a row meet at the
//! seam. Dots stay as wide as they are, and rows as far apart.

use crate::blank::{Blank, Mantle, Shape};
use crate::parallel;
use crate::placement::{self, DotRect, Grid, Outline, Place, PlaceError, Placement, Spot};
use crate::plane::Tone;
use crate::units::Mm;

/// A blank that is a cone.
pub(super) struct Cone<'a> {
    blank: &'a Blank,
    mantle: Mantle,
}

impl<'a> Cone<'a> {
    /// The blank, where it is one.
    pub fn of(blank: &'a Blank) -> Option<Self> {
        let mantle = blank.shape.turned().filter(Mantle::is_cone)?;
        Some(Cone { blank, mantle })
    }

    /// How many times narrower it is than where it is widest, `down` mm from its upper edge.
    fn narrower(&self, down: f64) -> f64 {
        let slant = self.mantle.slant();
        self.mantle.widest() / self.mantle.across((slant - down).clamp(0.0, slant))
    }

    /// The line opposite the seam, mm from the left edge.
    fn middle(&self) -> f64 {
        self.blank.shape.width() / 2.0
    }

    /// Where on the mantle of one girth lies what comes to lie at `right` mm, `down` mm from the upper edge.
    pub fn flat(&self, right: f64, down: f64) -> f64 {
        self.middle() + (right - self.middle()) * self.narrower(down)
    }

    /// What art is placed on, as wide as it comes to be at half the height of the piece.
    pub fn as_at_half_height(&self) -> Shape {
        let narrower = self.narrower(self.mantle.slant() / 2.0);
        match self.blank.to_place_on().shape {
            Shape::Cylinder { diameter, height, closed } => {
                Shape::Cylinder { diameter: Mm(diameter.0 / narrower), height, closed }
            }
            flat => {
                Shape::Rect { width: Mm(flat.width() / narrower), height: Mm(flat.height()), radius: Mm(0.0) }
            }
        }
    }

    /// Places art on the mantle of one girth, such that once laid round it has its size and its proportions at half its own
    /// height, and lies there as far from the middle as it should.
    ///
    /// # Errors
    /// A blank of which the margin leaves nothing, or too many dots.
    pub fn place(
        &self,
        outline: &Outline,
        size: Place,
        spot: Option<Spot>,
        grid: Grid,
    ) -> Result<Placement, PlaceError> {
        /// How high it lies depends on its size, and that on how high it lies: much less with each time.
        const TIMES: usize = 4;
        let blank = self.blank.to_place_on();
        let place = |wider: f64| {
            let outline = Outline { aspect: outline.aspect * wider, hull: outline.hull.clone() };
            let size = match size {
                Place::Box { width, height } => Place::Box { width: Mm(width.0 * wider), height },
                other => other,
            };
            let spot = spot.map(|mut spot| {
                spot.at.right.0 *= wider;
                spot
            });
            placement::placed(&outline, &blank, size, spot.as_ref(), grid)
        };
        let mut wider = self.narrower(self.mantle.slant() / 2.0);
        let mut placed = place(wider)?;
        for _ in 1..TIMES {
            wider = self.narrower(placed.rect.top.0 + placed.rect.height() / 2.0);
            placed = place(wider)?;
        }
        placed.rect.left.0 += self.middle() - blank.shape.width() / 2.0;
        placed.wished_width.0 /= wider;
        Ok(placed)
    }

    /// The wanted mark of dots in `flat`, on the mantle of one girth, laid round; and the dots that it then has.
    pub fn laid_round(&self, flat: &DotRect, tone: &Tone) -> (DotRect, Tone) {
        let (pitch, middle) = (flat.grid.along.0, self.middle());
        let row = |y: f64| self.narrower(flat.top.0 + y * flat.grid.across.0);
        // Where either edge comes to lie: the girth changes steadily, so the first or the last row has it farthest out.
        let ends = [row(0.5), row(flat.rows as f64 - 0.5)];
        let edge = |at: f64| ends.map(|narrower| ((middle + (at - middle) / narrower) - flat.left.0) / pitch);
        let (left, right) = (edge(flat.left.0), edge(flat.left.0 + flat.width()));
        let first = (left[0].min(left[1]) + 1e-6).floor();
        let columns = ((right[0].max(right[1]) - 1e-6).ceil() - first).max(1.0) as usize;
        let rect = DotRect { left: Mm(flat.left.0 + first * pitch), columns, ..*flat };
        let mut laid = vec![0.0f32; columns * flat.rows];
        parallel::bands(&mut laid, columns, 16, |top, band| {
            let mut sums = Vec::with_capacity(flat.columns + 1);
            for (y, out) in (top..).zip(band.chunks_exact_mut(columns)) {
                summed(tone.row(y), &mut sums);
                let narrower = row(y as f64 + 0.5);
                // In columns of the mantle of one girth.
                let at = |x: usize| {
                    ((middle - flat.left.0) * (1.0 - narrower) + (rect.left.0 - flat.left.0) * narrower)
                        / pitch
                        + x as f64 * narrower
                };
                for (x, out) in out.iter_mut().enumerate() {
                    *out = ((up_to(&sums, at(x + 1)) - up_to(&sums, at(x))) / narrower) as f32;
                }
            }
        });
        (rect, Tone::from_vec(columns, flat.rows, laid))
    }
}

/// The sums of a row up to each of its edges.
fn summed(row: &[f32], sums: &mut Vec<f64>) {
    let mut sum = 0.0;
    sums.clear();
    sums.push(0.0);
    sums.extend(row.iter().map(|&v| {
        sum += f64::from(v);
        sum
    }));
}

/// The sum up to a place within a row, or beyond it.
fn up_to(sums: &[f64], at: f64) -> f64 {
    let last = sums.len() - 1;
    let at = at.clamp(0.0, last as f64);
    let cell = (at as usize).min(last.saturating_sub(1));
    match sums.get(cell + 1) {
        Some(next) => sums[cell] + (at - cell as f64) * (next - sums[cell]),
        None => sums[last],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GRID: Grid = Grid { along: Mm(0.1), across: Mm(0.1) };

    fn blank(shape: &str) -> Blank {
        Blank { shape: shape.parse().unwrap(), margin: Mm(2.0) }
    }

    #[test]
    fn art_has_its_size_at_half_its_own_height() {
        let blank = blank("cone:60x78x120mm");
        let cone = Cone::of(&blank).unwrap();
        let square = Outline { aspect: 1.0, hull: vec![(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)] };
        let up = Spot { at: crate::placement::Offset { right: Mm(20.0), up: Mm(25.0) }, ..Spot::default() };
        for spot in [None, Some(up)] {
            let size = Place::Box { width: Mm(40.0), height: Mm(40.0) };
            let placed = cone.place(&square, size, spot, GRID).unwrap();
            let (flat, tone) = (placed.rect, Tone::filled(placed.rect.columns, placed.rect.rows, 1.0));
            let (rect, laid) = cone.laid_round(&flat, &tone);
            let wide = |y: usize| laid.row(y).iter().map(|&v| f64::from(v)).sum::<f64>() * 0.1;
            let half = rect.rows / 2;
            assert!((wide(half) - 40.0).abs() < 0.1 && (rect.height() - 40.0).abs() < 0.1, "{}", wide(half));
            // As much narrower lower down as the cone is: 60 + 18 up/slant mm across.
            let across = |y: usize| {
                let up = blank.shape.height() - rect.top.0 - (y as f64 + 0.5) * 0.1;
                60.0 + 18.0 * up / blank.shape.height()
            };
            assert!((wide(rect.rows - 1) / wide(0) - across(rect.rows - 1) / across(0)).abs() < 1e-5);
            // Its middle lies where it was asked for, at half its height.
            let at = |x: usize| rect.left.0 + (x as f64 + 0.5) * 0.1 - blank.shape.width() / 2.0;
            let sum: f64 = laid.row(half).iter().enumerate().map(|(x, &v)| at(x) * f64::from(v)).sum();
            let right = spot.map_or(0.0, |s| s.at.right.0);
            assert!((sum * 0.1 / wide(half) - right).abs() < 0.1);
        }
    }

    #[test]
    fn a_place_laid_round_is_found_again() {
        let blank = blank("cone:80x50x90mm");
        let cone = Cone::of(&blank).unwrap();
        let size = Place::Box { width: Mm(60.0), height: Mm(30.0) };
        let whole = Outline { aspect: 2.0, hull: vec![(0.0, 0.0), (1.0, 1.0)] };
        let flat = cone.place(&whole, size, None, GRID).unwrap().rect;
        // An upright line, 7 mm wide, 40 dots from the left.
        let mut tone = Tone::filled(flat.columns, flat.rows, 0.0);
        let width = tone.width();
        tone.data_mut().chunks_mut(width).for_each(|row| row[40..110].fill(1.0));
        let (rect, laid) = cone.laid_round(&flat, &tone);
        for y in [0, 100, flat.rows - 1] {
            let down = rect.top.0 + (y as f64 + 0.5) * 0.1;
            let sum: f64 = laid.row(y).iter().map(|&v| f64::from(v)).sum();
            let first: f64 =
                laid.row(y).iter().enumerate().map(|(x, &v)| x as f64 * f64::from(v)).sum::<f64>() / sum;
            let middle = rect.left.0 + (first + 0.5) * 0.1;
            assert!((cone.flat(middle, down) - flat.left.0 - 7.5).abs() < 0.01, "{y}");
            assert!((sum * cone.narrower(down) - 70.0).abs() < 0.01);
        }
    }

    #[test]
    fn art_that_covers_a_cone_keeps_its_margin_at_the_narrow_end_and_closes_at_the_seam() {
        for (shape, free) in [("cone:60x78x120mm", 2.0), ("cone:60x78x120mm:closed", 0.0)] {
            let blank = blank(shape);
            let cone = Cone::of(&blank).unwrap();
            let whole = Outline { aspect: 2.0, hull: vec![(0.0, 0.0), (1.0, 1.0)] };
            let flat = cone.place(&whole, Place::Cover, None, GRID).unwrap().rect;
            let (rect, laid) = cone.laid_round(&flat, &Tone::filled(flat.columns, flat.rows, 1.0));
            let low = rect.rows - 1;
            let girth = |y: usize| {
                blank.shape.span(rect.top.0 + (y as f64 + 0.5) * 0.1 - blank.shape.height() / 2.0).unwrap().1
                    * 2.0
            };
            let wide = |y: usize| laid.row(y).iter().map(|&v| f64::from(v)).sum::<f64>() * 0.1;
            assert!((girth(low) - wide(low) - 2.0 * free).abs() < 0.3, "{} {}", girth(low), wide(low));
            assert!(girth(0) - wide(0) >= 2.0 * free - 0.11, "{} {}", girth(0), wide(0));
            // No dot is lost at the narrow end.
            let allowed = rect.allowed(&blank, low);
            assert!(
                laid.row(low)[..allowed.start].iter().chain(&laid.row(low)[allowed.end..]).sum::<f32>() < 2.0
            );
        }
    }
}
