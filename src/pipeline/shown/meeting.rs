//! Meeting: what layers do to those that they meet: to lie across them, to hide or clear them away, to be seen nowhere.

use std::sync::Arc;

use super::{Cells, Lattice, clear, letters};
use crate::findings::layers::{How, Part};
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
    /// As much of the upper layer as lies where something is marked already ([`How::Across`], [`How::Doubled`]), or of the
    /// lower one as is lost.
    pub part: Part,
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
/// From this share of its ink on, or of that of one of its letters, a layer lies across what is marked below it, or is lost
/// below what lies across it (own judgement: strokes that only touch share less).
const CROSSING: f64 = 0.1;
/// From this share of a text's ink on, a border or another text has run into its letters: their tails, mostly (own judgement).
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
        sum(self.tone().data())
    }

    /// A stretch of one of its rows, by the lattice's rows and columns.
    fn part(&self, row: i64, (left, right): (i64, i64)) -> &[f32] {
        let Cells { x, y } = self.cells;
        &self.tone().row((row - y.0) as usize)[(left - x.0) as usize..(right - x.0) as usize]
    }

    /// As much of its ink as lies where the other's does, dot by dot.
    fn shared(&self, other: &Drawn<'_>) -> Vec<f32> {
        let (a, b) = (self.cells, other.cells);
        let (x0, x1) = (a.x.0.max(b.x.0), a.x.1.min(b.x.1));
        let mut all = vec![0.0; self.tone().data().len()];
        for y in a.y.0.max(b.y.0)..a.y.1.min(b.y.1) {
            if x0 >= x1 {
                break;
            }
            let (own, others) = (self.part(y, (x0, x1)), other.part(y, (x0, x1)));
            let first = (y - a.y.0) as usize * self.tone().width() + (x0 - a.x.0) as usize;
            all[first..].iter_mut().zip(own.iter().zip(others)).for_each(|(dot, (v, w))| *dot = v * w);
        }
        all
    }

    /// As much of its ink as the other one clears away, dot by dot.
    fn cleared_by(&self, other: &Drawn<'_>, lattice: &Lattice) -> Vec<f32> {
        let mut own = self.tone().data().to_vec();
        let (along, across) = other.settled.clear.map_or((0.0, 0.0), |halo| lattice.dots(halo));
        // Those that lie apart need not be drawn.
        let apart = |a: (i64, i64), b: (i64, i64), reach: f64| {
            a.0 as f64 > b.1 as f64 + reach || b.0 as f64 > a.1 as f64 + reach
        };
        if apart(self.cells.x, other.cells.x, along) || apart(self.cells.y, other.cells.y, across) {
            own.fill(0.0);
            return own;
        }
        let all = self.cells.joined(other.cells);
        let mut left = Tone::filled(all.columns(), all.rows(), 0.0);
        let (x0, y0) = self.cells.within(all);
        let width = self.tone().width();
        let start = |y: usize| (y0 + y) * all.columns() + x0;
        for y in 0..self.tone().height() {
            left.data_mut()[start(y)..start(y) + width].copy_from_slice(self.tone().row(y));
        }
        clear(&mut left, other.cells.within(all), other.tone(), (along, across));
        for (y, row) in own.chunks_exact_mut(width.max(1)).enumerate() {
            row.iter_mut().zip(&left.data()[start(y)..]).for_each(|(dot, left)| *dot -= left);
        }
        own
    }
}

fn sum(dots: &[f32]) -> f64 {
    dots.iter().map(|&v| f64::from(v)).sum()
}

impl Meeting {
    /// Takes the next layer in, which is number `below.len()`: `marked` is as much of its ink as lies where something was
    /// marked, dot by dot.
    pub(super) fn add(&mut self, below: &[Drawn<'_>], upper: &Drawn<'_>, marked: &[f32], lattice: &Lattice) {
        if upper.settled.bare {
            // What is left bare takes from what lies below: that is what it is for.
            if sum(marked) / upper.ink().max(1e-9) < LEAST_BARED {
                self.unseen.push(below.len());
            }
            return;
        }
        self.crossing.extend(across(below, upper, marked).or_else(|| lost(below, upper, lattice)));
    }
}

/// As much of a layer as is `gone`, where that is at least the share of its ink or it is too much of a letter.
fn spoilt(of: &Drawn<'_>, gone: &[f32], least: f64) -> Option<Part> {
    let share = sum(gone) / of.ink().max(1e-9);
    // Where all of it is there, no letter needs to be looked at.
    let looked_at = of.is_text() && share > 0.0 && share < CROSSING;
    let letter = looked_at.then(|| letters::worst(of.tone(), gone)).filter(|worst| *worst >= CROSSING);
    (share >= least || letter.is_some()).then_some(Part { share, letter })
}

/// The upper layer lies across what is marked: it cannot be told from it.
fn across(below: &[Drawn<'_>], upper: &Drawn<'_>, marked: &[f32]) -> Option<Overlap> {
    if upper.is_border() {
        return None;
    }
    let met: Vec<Vec<f32>> = below.iter().map(|lower| upper.shared(lower)).collect();
    let run_into = |(lower, shared): (&Drawn<'_>, &Vec<f32>)| {
        (lower.is_border() || lower.is_text()) && sum(shared) >= RUN_INTO * upper.ink()
    };
    let runs_into = upper.is_text() && upper.settled.clear.is_none() && below.iter().zip(&met).any(run_into);
    let part = spoilt(upper, marked, if runs_into { 0.0 } else { CROSSING })?;
    let mut met: Vec<(usize, f64)> = met.iter().map(|shared| sum(shared)).enumerate().collect();
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
        part,
        clears_well: upper.is_drawn() && met.iter().all(little),
        lower: met.into_iter().map(|(i, _)| i).collect(),
    })
}

/// A layer below is lost to the upper one, which covers it or clears it away.
fn lost(below: &[Drawn<'_>], upper: &Drawn<'_>, lattice: &Lattice) -> Option<Overlap> {
    let clears = upper.settled.clear.is_some();
    let of = |lower: &Drawn<'_>| {
        // To clear a place on a picture, or to lay a border over its edge, is meant; to do that to a text is not.
        let least = match (clears, lower.is_text()) {
            _ if lower.is_border() => return None,
            (false, true) if upper.is_border() || upper.is_text() => RUN_INTO,
            (_, true) => CROSSING,
            (true, false) if lower.is_drawn() => GONE,
            (false, false) if !upper.is_border() && (lower.is_drawn() || !upper.is_drawn()) => CROSSING,
            // A text on a photo says what it is across.
            _ => return None,
        };
        let gone = if clears { lower.cleared_by(upper, lattice) } else { lower.shared(upper) };
        spoilt(lower, &gone, least)
    };
    let found = below.iter().enumerate().filter_map(|(i, lower)| Some((i, of(lower)?)));
    let mut all: Vec<(usize, Part)> = found.filter(|(_, part)| part.share > 0.0).collect();
    all.sort_by(|a, b| b.1.share.total_cmp(&a.1.share));
    let &(worst, part) = all.first()?;
    let how = match clears {
        true => How::Clears,
        false if !upper.is_drawn() && !below[worst].is_drawn() => How::Doubled,
        false => How::Covers,
    };
    Some(Overlap {
        upper: below.len(),
        lower: all.into_iter().map(|(i, _)| i).collect(),
        how,
        part,
        clears_well: false,
    })
}
