//! Shown: what lies on a piece, one picture or layers that meet in its wanted mark.

mod letters;
mod meeting;

pub use meeting::Meeting;

use std::sync::Arc;

use meeting::Drawn;

use super::drawable::Drawable;
use super::error::PipelineError;
use super::layers::Layer;
use super::left_out::LeftOut;
use super::wanted::{LayerPicture, Wanted, wanted_as};
use crate::art::reading::Decision;
use crate::art::{Art, Kind, Window};
use crate::blank::Blank;
use crate::job::Plan;
use crate::job::settle::{Of, SettledLayer, Shows};
use crate::placement::{DotRect, Grid, Placement};
use crate::plane::Tone;
use crate::progress::{Progress, Within};
use crate::texts::text;
use crate::units::Mm;

/// What lies on a piece.
#[derive(Debug, Clone, Copy)]
pub enum Shown<'a> {
    /// One picture.
    Art(&'a Art),
    /// Those of the plan's layers, one each.
    Layers(&'a [Arc<Layer>]),
}

/// Ink from here on is cleared around.
const INK: f32 = 0.02;

impl<'a> Shown<'a> {
    /// All of them.
    pub fn arts(self) -> impl Iterator<Item = &'a Art> {
        let (one, many) = match self {
            Shown::Art(art) => (Some(art), &[][..]),
            Shown::Layers(layers) => (None, layers),
        };
        one.into_iter().chain(many.iter().map(|l| &l.art.art))
    }

    /// The piece's own picture, be it alone or below layers that are no pictures; `None` where there are several or none.
    pub fn own_picture(self, plan: &Plan) -> Option<&'a Art> {
        let layers = match self {
            Shown::Art(art) => return Some(art),
            Shown::Layers(layers) => layers,
        };
        let mut files = plan.layers.iter().zip(layers).filter(|(s, _)| matches!(s.shows, Shows::File(_)));
        let own = files.next().filter(|(settled, _)| settled.of == Of::Art)?;
        files.next().is_none().then_some(&own.1.art.art)
    }

    /// The one picture, where there is nothing else.
    pub fn alone(self) -> Option<&'a Art> {
        match self {
            Shown::Art(art) => Some(art),
            Shown::Layers(_) => None,
        }
    }
}

/// Art to the wanted mark of the piece: place, render, shape, look; layers meet from the bottom up.
///
/// # Errors
/// See [`PipelineError`]; [`PipelineError::Stopped`] where the person asked for it.
pub fn wanted(plan: &Plan, shown: Shown<'_>, progress: &dyn Progress) -> Result<Wanted, PipelineError> {
    Drawable::of(plan).wanted(shown, progress)
}

impl Drawable<'_> {
    /// As [`wanted`].
    ///
    /// # Errors
    /// See [`PipelineError`]; [`PipelineError::Stopped`] where the person asked for it.
    pub fn wanted(&self, shown: Shown<'_>, progress: &dyn Progress) -> Result<Wanted, PipelineError> {
        match shown {
            Shown::Art(art) => wanted_as(self, art, self.art.read_as, progress),
            Shown::Layers(layers) => of_layers(self, layers, progress),
        }
    }
}

fn of_layers(
    piece: &Drawable<'_>,
    layers: &[Arc<Layer>],
    progress: &dyn Progress,
) -> Result<Wanted, PipelineError> {
    progress.begin(text!("pipeline.stage.layers"), piece.shares.before_dots())?;
    let quiet = Within(progress);
    let mut drawn = Vec::with_capacity(layers.len());
    for (settled, layer) in piece.layers.iter().zip(layers) {
        drawn.push((settled, layer.part(piece, settled, &quiet)?));
    }
    let each = drawn.iter().map(|(_, p)| p.beyond).collect();
    let lost: f64 = drawn.iter().map(|(_, p)| p.lost).sum();
    let ink: f64 = drawn.iter().map(|(_, p)| p.ink).sum();
    let lattice = Lattice::of(&piece.blank, piece.grid);
    let rects: Vec<Cells> = drawn.iter().map(|(_, p)| lattice.cells(&p.wanted.placement.rect)).collect();
    let Some(all) = rects.iter().copied().reduce(Cells::joined) else { return Err(PipelineError::Nothing) };
    let mut tone = Tone::filled(all.columns(), all.rows(), 0.0);
    let mut meeting = Meeting::default();
    let on_lattice: Vec<Drawn<'_>> = drawn
        .iter()
        .zip(&rects)
        .map(|(&(settled, ref part), &cells)| Drawn { settled, part, cells })
        .collect();
    for (i, upper) in on_lattice.iter().enumerate() {
        let marked = meet(&mut tone, (all, upper.cells), upper.settled, &upper.part.wanted.tone, &lattice);
        meeting.add(&on_lattice[..i], upper, &marked, &lattice);
    }
    let photo = drawn.iter().any(|(_, p)| p.wanted.kind == Kind::Photo);
    let kind = if photo { Kind::Photo } else { Kind::Drawing };
    let rect = lattice.rect(all);
    let reach = drawn.iter().filter(|(settled, _)| !settled.is_border_within(piece.blank.margin));
    let past = reach.map(|(_, p)| p.wanted.placement.past_margin.0).fold(0.0, f64::max);
    let placement = Placement {
        wished_width: Mm(rect.width()),
        wished_height: Mm(rect.height()),
        rect,
        window: Window::WHOLE,
        past_margin: Mm(past),
    };
    let pictures: Vec<LayerPicture> = drawn
        .iter()
        .enumerate()
        .filter(|(_, (settled, _))| matches!(settled.shows, Shows::File(_)))
        .map(|(layer, (_, part))| {
            let Wanted { reading, around, alike, emptied, placement, .. } = &part.wanted;
            LayerPicture {
                layer,
                reading: reading.clone(),
                around: *around,
                alike: *alike,
                emptied: *emptied,
                placement: *placement,
            }
        })
        .collect();
    let reading = match pictures.as_slice() {
        // Beside texts and borders, how the piece's own picture was read is what there is to say.
        [own] if piece.layers.get(own.layer).is_some_and(|l| l.of == Of::Art) => own.reading.clone(),
        _ => Decision::asked(kind, text!("pipeline.layers.by-itself")),
    };
    let notes = drawn.iter().zip(layers).flat_map(|((_, p), l)| {
        p.wanted
            .notes
            .iter()
            .map(|note| note.each(|said| text!("pipeline.of-layer", layer = l.art.name, said)))
    });
    Ok(Wanted {
        placement,
        kind,
        reading,
        around: None,
        automatic: drawn.iter().find_map(|(_, p)| p.wanted.automatic),
        alike: None,
        emptied: None,
        pictures,
        meeting,
        notes: notes.collect(),
        left_out: Some(LeftOut { share: if ink > 0.0 { lost / ink } else { 0.0 }, each }),
        tone,
    })
}

/// The lattice of dots that all layers of a piece lie on: it has a corner of four dots in the middle of the blank.
struct Lattice {
    middle: (f64, f64),
    rect: DotRect,
}

/// A rectangle of the lattice: first and end columns and rows.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Cells {
    x: (i64, i64),
    y: (i64, i64),
}

impl Cells {
    fn joined(self, other: Cells) -> Cells {
        let join = |a: (i64, i64), b: (i64, i64)| (a.0.min(b.0), a.1.max(b.1));
        Cells { x: join(self.x, other.x), y: join(self.y, other.y) }
    }

    /// Its first column and row, counted from those of what it is part of.
    fn within(self, all: Cells) -> (usize, usize) {
        ((self.x.0 - all.x.0) as usize, (self.y.0 - all.y.0) as usize)
    }

    fn columns(self) -> usize {
        (self.x.1 - self.x.0) as usize
    }

    fn rows(self) -> usize {
        (self.y.1 - self.y.0) as usize
    }
}

impl Lattice {
    fn of(blank: &Blank, grid: Grid) -> Lattice {
        let middle = (blank.shape.width() / 2.0, blank.shape.height() / 2.0);
        let rect = DotRect { left: Mm(0.0), top: Mm(0.0), columns: 0, rows: 0, grid };
        Lattice { middle, rect }
    }

    fn cells(&self, rect: &DotRect) -> Cells {
        let first = |at: f64, middle: f64, pitch: f64| ((at - middle) / pitch).round() as i64;
        let grid = &self.rect.grid;
        let x = first(rect.left.0, self.middle.0, grid.along.0);
        let y = first(rect.top.0, self.middle.1, grid.across.0);
        Cells { x: (x, x + rect.columns as i64), y: (y, y + rect.rows as i64) }
    }

    /// A length in dots, along and across.
    fn dots(&self, length: Mm) -> (f64, f64) {
        let grid = &self.rect.grid;
        (length.0 / grid.along.0, length.0 / grid.across.0)
    }

    fn rect(&self, cells: Cells) -> DotRect {
        let grid = self.rect.grid;
        DotRect {
            left: Mm(self.middle.0 + cells.x.0 as f64 * grid.along.0),
            top: Mm(self.middle.1 + cells.y.0 as f64 * grid.across.0),
            columns: cells.columns(),
            rows: cells.rows(),
            grid,
        }
    }
}

/// A layer meets what lies below it. What either wants marked is marked, unless the layer's ink is to stay bare; first what
/// lies below is cleared around its ink, where that was asked for. Returns as much of its ink as lies where something was
/// marked, dot by dot.
fn meet(
    below: &mut Tone,
    (all, cells): (Cells, Cells),
    layer: &SettledLayer,
    tone: &Tone,
    lattice: &Lattice,
) -> Vec<f32> {
    let (x0, y0) = cells.within(all);
    let width = below.width();
    if let Some(halo) = layer.clear {
        clear(below, (x0, y0), tone, lattice.dots(halo));
    }
    let mut marked = Vec::with_capacity(tone.data().len());
    for y in 0..tone.height() {
        let start = (y0 + y) * width + x0;
        let under = &mut below.data_mut()[start..start + tone.width()];
        for (under, &v) in under.iter_mut().zip(tone.row(y)) {
            marked.push(*under * v);
            *under = if layer.bare { *under * (1.0 - v) } else { under.max(v) };
        }
    }
    marked
}

/// Clears `below` within `reach` dots, along and across, of the ink of `tone`, which lies at `x0`, `y0`.
fn clear(below: &mut Tone, (x0, y0): (usize, usize), tone: &Tone, reach: (f64, f64)) {
    let (width, height) = (below.width(), below.height() as i64);
    let down = reach.1.floor() as i64;
    for y in 0..tone.height() {
        let row = tone.row(y);
        let mut x = 0;
        while let Some(from) = (x..row.len()).find(|&i| row[i] >= INK) {
            let to = (from..row.len()).find(|&i| row[i] < INK).unwrap_or(row.len());
            for dy in -down..=down {
                let line = (y0 + y) as i64 + dy;
                if !(0..height).contains(&line) {
                    continue;
                }
                let share = if reach.1 > 0.0 { dy as f64 / reach.1 } else { 0.0 };
                let side = (reach.0 * (1.0 - share * share).max(0.0).sqrt()).floor() as usize;
                let first = (x0 + from).saturating_sub(side);
                let end = (x0 + to + side).min(width);
                below.data_mut()[line as usize * width + first..line as usize * width + end].fill(0.0);
            }
            x = to;
        }
    }
}

#[cfg(test)]
mod tests;
