//! Drawable: what of a plan the wanted mark rests on, and nothing else. It is drawn as it is planned, or otherwise, to see
//! what the plan's own dots do not show.

use std::borrow::Cow;

use super::shares::Shares;
use crate::art::Kind;
use crate::blank::Blank;
use crate::job::Plan;
use crate::job::settle::{SettledArt, SettledLayer, SettledTone};
use crate::job::words::ReadAs;
use crate::placement::{Grid, Place};
use crate::tone::tone_mapping::Looks;
use crate::units::Mm;

/// A blank, what lies on it, and how finely that is drawn.
#[derive(Debug, Clone)]
pub struct Drawable<'a> {
    /// Distances between the places that are drawn.
    pub grid: Grid,
    /// The blank and its margin.
    pub blank: Blank,
    /// How the art is read and laid.
    pub art: SettledArt,
    /// What is done to its tones.
    pub tone: &'a SettledTone,
    /// What lies there, bottom to top; empty where it is its art and nothing else.
    pub layers: Cow<'a, [SettledLayer]>,
    /// The looks that tones are turned into.
    pub looks: Looks,
    /// How long each stage takes.
    pub(super) shares: Shares,
}

impl<'a> Drawable<'a> {
    /// As it is planned.
    pub fn of(plan: &'a Plan) -> Self {
        let response = &plan.burn.response;
        Drawable {
            grid: plan.grid,
            blank: plan.blank,
            art: plan.art,
            tone: &plan.tone,
            layers: Cow::Borrowed(&plan.layers),
            looks: Looks { unmarked: response.y_unmarked, marked: response.y_marked },
            shares: Shares::of_job(plan),
        }
    }

    /// The same blank with the whole of the art on it, small and in about `places` places along its longer side: to see
    /// what of it another placement leaves out.
    pub fn in_small(self, places: f64) -> Self {
        // Half the room: even art with a transparent border, which may reach past the margin, is then shown whole.
        let room = self.blank.shape.width().min(self.blank.shape.height()) - 2.0 * self.blank.margin.0;
        let side = Mm((room / 2.0).max(1e-3));
        let pitch = Mm(side.0 / places);
        let place = Place::Box { width: side, height: side };
        Drawable {
            grid: Grid { along: pitch, across: pitch },
            art: SettledArt { place, spot: None, ..self.art },
            // What art is placed on: there a cone is not narrower above or below.
            blank: self.blank.to_place_on(),
            ..self
        }
    }

    /// One of its layers alone, which is settled as a piece's art is.
    pub fn of_layer<'b>(&self, layer: &'b SettledLayer, place: Place) -> Drawable<'b> {
        let mut blank = self.blank;
        if place == Place::Inside {
            blank.margin = Mm(blank.margin.0.max(layer.free.0));
        }
        Drawable {
            grid: self.grid,
            blank,
            art: SettledArt { place, ..layer.art },
            tone: &layer.tone,
            layers: Cow::Borrowed(&[]),
            looks: self.looks,
            shares: self.shares,
        }
    }

    /// The same piece with its art drawn `times` finer than its lines lie apart, as fine either way: to see what of it the
    /// dots, of which so many make up a line pitch of a row and of a column, cannot show. Its art is known to be of `kind`.
    pub fn finer(self, times: usize, (wide, high): (usize, usize), kind: Kind) -> Self {
        let of = |pitch: Mm, switches: usize| Mm(pitch.0 * switches as f64 / times.max(1) as f64);
        let grid = Grid { along: of(self.grid.along, wide), across: of(self.grid.across, high) };
        Drawable { grid, art: SettledArt { read_as: kind.into(), ..self.art }, ..self }
    }

    /// The same drawn in the cells of `grid`.
    pub fn roughly(self, grid: Grid) -> Self {
        Drawable { grid, ..self }
    }

    /// The same where it is known how its art is read, or each of its layers in their order; `None` is not known.
    pub fn read_as(mut self, known: &[Option<ReadAs>]) -> Self {
        if self.layers.is_empty() {
            self.art.read_as = known.first().copied().flatten().unwrap_or(self.art.read_as);
        } else {
            for (layer, known) in self.layers.to_mut().iter_mut().zip(known) {
                layer.art.read_as = known.unwrap_or(layer.art.read_as);
            }
        }
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::Job;

    #[test]
    fn a_known_reading_is_taken_and_the_plan_stays_as_it_is() {
        let job: Job = "[[layer]]\nborder = '0.5mm'\n[[layer]]\ntext = 'Anna'".parse().unwrap();
        let plan = Plan::of(&job).unwrap();
        let planned: Vec<ReadAs> = plan.layers.iter().map(|layer| layer.art.read_as).collect();
        let piece = Drawable::of(&plan).read_as(&[None, Some(ReadAs::Paper)]);
        let read: Vec<ReadAs> = piece.layers.iter().map(|layer| layer.art.read_as).collect();
        assert_eq!(read, [planned[0], ReadAs::Paper]);
        assert_eq!(plan.layers[1].art.read_as, planned[1]);
        let alone = Drawable::of(&plan).of_layer(&plan.layers[1], Place::Inside);
        assert!(alone.layers.is_empty() && alone.blank.margin.0 >= plan.layers[1].free.0);
    }

    #[test]
    fn what_is_drawn_finer_is_as_fine_either_way() {
        let plan = Plan::of(&Job::default()).unwrap();
        assert_ne!(plan.grid.along, plan.grid.across, "the beam switches within a line pitch");
        let fine = Drawable::of(&plan).finer(2, plan.switched(), Kind::Drawing);
        assert_eq!((fine.grid.along, fine.grid.across), (Mm(0.04375), Mm(0.04375)));
        assert_eq!(fine.art.read_as, ReadAs::Drawing);
    }
}
