//! Meeting: what layers do to those that they meet: to lie across them, to hide or clear them away, to be seen nowhere.

use std::sync::Arc;

use super::{Cells, Lattice, clear};
use crate::findings::layers::How;
use crate::job::settle::{SettledLayer, Shows};
use crate::pipeline::layers::DrawnLayer;
use crate::plane::Tone;

/// What came of the layers of a piece where they meet.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Meeting {
    /// The layers that spoil what is below them, or are spoilt by it; each layer at most once as the upper one.
    pub crossing: Vec<Overlap>,
    /// The layers that are to be left bare where hardly anything is marked, by their numbers from 0.
    pub unseen: Vec<usize>,
}

/// A layer that lies across others.
#[derive(Debug, Clone, PartialEq)]
pub struct Overlap {
    /// Its number among the layers, from 0.
    pub upper: usize,
    /// The numbers of those below it that it meets, the one that suffers most first.
    pub lower: Vec<usize>,
    /// What it does to them.
    pub how: How,
    /// Share of the ink of the upper layer where something is marked already ([`How::Across`], [`How::Doubled`]), or of that
    /// of the lower one that is lost.
    pub share: f64,
    /// Whether to clear around the upper layer would mend it: what lies below loses little by that.
    pub clears_well: bool,
}

/// A layer drawn, and where it lies on the lattice.
#[derive(Clone, Copy)]
pub(super) struct Drawn<'a> {
    pub settled: &'a SettledLayer,
    pub part: &'a Arc<DrawnLayer>,
    pub cells: Cells,
}

/// Less than this share of what is bared was marked: it is not seen (own judgement).
const LEAST_BARED: f64 = 0.15;
/// From this share of its ink on, a layer lies across what is marked below it, or is lost below what lies across it (own
/// judgement: strokes that only touch share less).
const CROSSING: f64 = 0.1;
/// From this share of a text's ink on, a border has run into its letters: their tails, mostly (own judgement).
const RUN_INTO: f64 = 0.01;
/// A picture that loses this share of its ink is not cleared around something on it, but cleared away (own judgement).
const GONE: f64 = 0.5;
/// Of a picture no more than this share is cleared where clearing is to mend something (own judgement).
const LITTLE: f64 = 0.25;

impl Drawn<'_> {
    fn is_text(&self) -> bool {
        matches!(self.settled.shows, Shows::Text(_))
    }

    fn is_border(&self) -> bool {
        matches!(self.settled.shows, Shows::Border { .. })
    }

    fn is_drawn(&self) -> bool {
        self.part.wanted.kind.is_drawn()
    }

    fn tone(&self) -> &Tone {
        &self.part.wanted.tone
    }

    fn ink(&self) -> f64 {
        self.tone().data().iter().map(|&v| f64::from(v)).sum()
    }

    /// A stretch of one of its rows, by the lattice's rows and columns.
    fn part(&self, row: i64, (left, right): (i64, i64)) -> &[f32] {
        let Cells { x, y } = self.cells;
        &self.tone().row((row - y.0) as usize)[(left - x.0) as usize..(right - x.0) as usize]
    }

    /// As much of its ink as lies where the other's does.
    fn shared(&self, other: &Drawn<'_>) -> f64 {
        let (a, b) = (self.cells, other.cells);
        let (x0, x1) = (a.x.0.max(b.x.0), a.x.1.min(b.x.1));
        let mut sum = 0.0;
        for y in a.y.0.max(b.y.0)..a.y.1.min(b.y.1) {
            if x0 >= x1 {
                break;
            }
            let (own, others) = (self.part(y, (x0, x1)), other.part(y, (x0, x1)));
            sum += own.iter().zip(others).map(|(&v, &w)| f64::from(v * w)).sum::<f64>();
        }
        sum
    }

    /// As much of its ink as the other one clears away.
    fn cleared_by(&self, other: &Drawn<'_>, lattice: &Lattice) -> f64 {
        let Some(halo) = other.settled.clear else { return 0.0 };
        let (along, across) = lattice.dots(halo);
        // Those that lie apart need not be drawn.
        let apart = |a: (i64, i64), b: (i64, i64), reach: f64| {
            a.0 as f64 > b.1 as f64 + reach || b.0 as f64 > a.1 as f64 + reach
        };
        if apart(self.cells.x, other.cells.x, along) || apart(self.cells.y, other.cells.y, across) {
            return 0.0;
        }
        let all = self.cells.joined(other.cells);
        let mut left = Tone::filled(all.columns(), all.rows(), 0.0);
        let (x0, y0) = self.cells.within(all);
        for y in 0..self.tone().height() {
            let start = (y0 + y) * all.columns() + x0;
            left.data_mut()[start..start + self.tone().width()].copy_from_slice(self.tone().row(y));
        }
        clear(&mut left, other.cells.within(all), other.tone(), (along, across));
        self.ink() - left.data().iter().map(|&v| f64::from(v)).sum::<f64>()
    }
}

impl Meeting {
    /// Takes the next layer in, which is number `below.len()`: `marked` is the share of its ink where something was marked.
    pub(super) fn add(&mut self, below: &[Drawn<'_>], upper: &Drawn<'_>, marked: f64, lattice: &Lattice) {
        if upper.settled.bare {
            // What is left bare takes from what lies below: that is what it is for.
            if marked < LEAST_BARED {
                self.unseen.push(below.len());
            }
            return;
        }
        self.crossing.extend(across(below, upper, marked).or_else(|| lost(below, upper, lattice)));
    }
}

/// The upper layer lies across what is marked: it cannot be told from it.
fn across(below: &[Drawn<'_>], upper: &Drawn<'_>, marked: f64) -> Option<Overlap> {
    let into_border = |lower: &Drawn<'_>| lower.is_border() && lower.shared(upper) >= RUN_INTO * upper.ink();
    let runs_into = upper.is_text() && upper.settled.clear.is_none() && below.iter().any(into_border);
    if upper.is_border() || (marked < CROSSING && !runs_into) {
        return None;
    }
    let mut met: Vec<(usize, f64)> = below.iter().map(|lower| lower.shared(upper)).enumerate().collect();
    met.retain(|(_, shared)| *shared > 0.0);
    met.sort_by(|a, b| b.1.total_cmp(&a.1));
    let photo = |i: usize| below.get(i).is_some_and(|lower| !lower.is_drawn());
    let doubled = !upper.is_drawn() && met.first().is_some_and(|(i, _)| photo(*i));
    let little = |(i, shared): &(usize, f64)| {
        let lower = &below[*i];
        !lower.is_text() && (!lower.is_drawn() || shared / lower.ink().max(1.0) < LITTLE)
    };
    Some(Overlap {
        upper: below.len(),
        how: if doubled { How::Doubled } else { How::Across },
        share: marked,
        clears_well: upper.is_drawn() && met.iter().all(little),
        lower: met.into_iter().map(|(i, _)| i).collect(),
    })
}

/// A layer below is lost to the upper one, which covers it or clears it away.
fn lost(below: &[Drawn<'_>], upper: &Drawn<'_>, lattice: &Lattice) -> Option<Overlap> {
    let clears = upper.settled.clear.is_some();
    let share = |lower: &Drawn<'_>| {
        // To clear a place on a picture, or to lay a border over its edge, is meant; to do that to a text is not.
        let least = match (clears, lower.is_text()) {
            _ if lower.is_border() => return 0.0,
            (false, true) if upper.is_border() => RUN_INTO,
            (_, true) => CROSSING,
            (true, false) if lower.is_drawn() => GONE,
            (false, false) if !upper.is_border() && (lower.is_drawn() || !upper.is_drawn()) => CROSSING,
            // A text on a photo says what it is across.
            _ => return 0.0,
        };
        let gone = if clears { lower.cleared_by(upper, lattice) } else { lower.shared(upper) };
        let share = gone / lower.ink().max(1e-9);
        if share >= least { share } else { 0.0 }
    };
    let mut all: Vec<(usize, f64)> = below.iter().map(share).enumerate().collect();
    all.retain(|(_, share)| *share > 0.0);
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    let &(worst, share) = all.first()?;
    let how = match clears {
        true => How::Clears,
        false if !upper.is_drawn() && !below[worst].is_drawn() => How::Doubled,
        false => How::Covers,
    };
    Some(Overlap {
        upper: below.len(),
        lower: all.into_iter().map(|(i, _)| i).collect(),
        how,
        share,
        clears_well: false,
    })
}
