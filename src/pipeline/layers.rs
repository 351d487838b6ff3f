//! Layers opened: each with its art, and drawn once for all pieces that have it.

use std::collections::HashMap;
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use super::drawable::Drawable;
use super::error::PipelineError;
use super::laid_round::Cone;
use super::left_out::Beyond;
use super::shown::Shown;
use super::wanted::{Wanted, placed, wanted_as};
use crate::art::{Art, OpenError, Opening};
use crate::job::Plan;
use crate::job::settle::{Of, SettledLayer, Shows};
use crate::layer::{self, LayerArt};
use crate::placement::{Grid, Place, Placement};
use crate::progress::Progress;
use crate::units::Mm;

/// A layer opened.
#[derive(Debug)]
pub struct Layer {
    /// Its art.
    pub art: LayerArt,
    /// What was drawn of it before; `None`: nothing is kept.
    drawn: Option<Kept>,
}

/// What was drawn of a layer, at which pitches, and how many bytes more may be kept of all layers.
#[derive(Debug)]
struct Kept {
    parts: Mutex<Vec<(Grid, Arc<DrawnLayer>)>>,
    room: Arc<AtomicI64>,
}

/// A layer drawn.
#[derive(Debug)]
pub struct DrawnLayer {
    /// Its wanted mark.
    pub wanted: Wanted,
    /// Its ink, dots.
    pub ink: f64,
    /// As much of it as has no dots.
    pub lost: f64,
    /// What of it has no dots, be it ink or a photo.
    pub beyond: Beyond,
}

/// The layers that several pieces have in common, drawn once.
#[derive(Debug)]
pub struct SharedLayers {
    known: Mutex<HashMap<String, Arc<Layer>>>,
    room: Arc<AtomicI64>,
}

/// Bytes of drawn layers that are kept.
const ROOM: i64 = 128 << 20;

impl Default for SharedLayers {
    fn default() -> Self {
        SharedLayers { known: Mutex::default(), room: Arc::new(AtomicI64::new(ROOM)) }
    }
}

impl Layer {
    /// Where it lies on a piece, for which it is settled so.
    ///
    /// # Errors
    /// As [`placed`].
    pub fn placed(&self, plan: &Plan, settled: &SettledLayer) -> Result<Placement, PipelineError> {
        Ok(placed(&Drawable::of(plan).of_layer(settled, self.art.place), &self.art.art)?.0)
    }

    /// Its wanted mark on a piece, for which it is settled so.
    pub(super) fn part(
        &self,
        piece: &Drawable<'_>,
        settled: &SettledLayer,
        progress: &dyn Progress,
    ) -> Result<Arc<DrawnLayer>, PipelineError> {
        let before = self.drawn.as_ref().and_then(|kept| {
            let drawn = kept.parts.lock().unwrap_or_else(PoisonError::into_inner);
            drawn.iter().find(|(grid, _)| *grid == piece.grid).map(|(_, part)| Arc::clone(part))
        });
        if let Some(part) = before {
            return Ok(part);
        }
        let part = Arc::new(self.draw(piece, settled, progress)?);
        if let Some(Kept { parts, room }) = &self.drawn {
            let bytes = 4 * part.wanted.tone.data().len() as i64;
            if room.fetch_sub(bytes, Ordering::Relaxed) >= bytes {
                parts.lock().unwrap_or_else(PoisonError::into_inner).push((piece.grid, Arc::clone(&part)));
            } else {
                room.fetch_add(bytes, Ordering::Relaxed);
            }
        }
        Ok(part)
    }

    fn draw(
        &self,
        piece: &Drawable<'_>,
        settled: &SettledLayer,
        progress: &dyn Progress,
    ) -> Result<DrawnLayer, PipelineError> {
        let alone = piece.of_layer(settled, self.art.place);
        let wanted =
            wanted_as(&alone, &self.art.art, settled.art.read_as, progress).map_err(|e| match e {
                PipelineError::Nothing => PipelineError::NothingIn(self.art.name.clone()),
                other => other,
            })?;
        let left_out = wanted.left_out(&alone, Shown::Art(&self.art.art), progress)?;
        let beyond = left_out.each.first().copied().unwrap_or_default();
        let drawn = wanted.kind.is_drawn();
        let ink = if drawn { wanted.tone.data().iter().map(|&v| f64::from(v)).sum() } else { 0.0 };
        Ok(DrawnLayer { wanted, ink, lost: ink * left_out.share, beyond })
    }
}

/// The share of a cylinder's girth on which a text can be read from one side: a third, whose ends are seen at 60 degrees (own
/// judgement).
const IN_FRONT: f64 = 1.0 / 3.0;

/// A text that is as large as fits, on a piece that is turned, keeps to what is seen of it at once.
fn in_front(plan: &Plan, place: Place) -> Place {
    match (place, plan.blank.shape.turned(), plan.blank.to_place_on().printable()) {
        (Place::Inside, Some(mantle), Some(whole)) => {
            let width = whole.width().min(mantle.girth() * IN_FRONT);
            Place::Box { width: Mm(width), height: Mm(whole.height()) }
        }
        _ => place,
    }
}

/// The layers of a plan, opened, in their order: `files` are those that were opened, one for each layer that shows a file.
/// Files and borders that are settled alike on other pieces are those of `common`.
///
/// # Errors
/// Where fonts or the drawing library fail.
pub fn layers(
    plan: &Plan,
    files: Vec<(String, Art)>,
    opening: &Opening,
    common: Option<&SharedLayers>,
) -> Result<Vec<Arc<Layer>>, OpenError> {
    let mut files = files.into_iter();
    let mut all = Vec::with_capacity(plan.layers.len());
    for settled in &plan.layers {
        let place = settled.art.place;
        let art = match &settled.shows {
            Shows::File(_) => match files.next() {
                Some((name, art)) => LayerArt { art, place, name },
                None => continue,
            },
            Shows::Text(text) => {
                let middle = settled.art.spot.is_none_or(|spot| spot.anchor.is_midway());
                let art = text.drawn(in_front(plan, place), middle, opening)?;
                all.push(Arc::new(Layer { art, drawn: None }));
                continue;
            }
            Shows::Border { width, inset } => {
                let shape = Cone::of(&plan.blank).map_or(plan.blank.shape, |cone| cone.as_at_half_height());
                layer::border(&shape, *width, *inset)?
            }
        };
        let Some(common) = common else {
            all.push(Arc::new(Layer { art, drawn: None }));
            continue;
        };
        // All that decides how it is drawn, but for the pitch: not which of the layers of its piece it is.
        let alike = SettledLayer { of: Of::Art, ..settled.clone() };
        let key = format!("{alike:?} {:?} {:?}", plan.blank, plan.burn.response);
        let mut known = common.known.lock().unwrap_or_else(PoisonError::into_inner);
        let fresh =
            || Layer { art, drawn: Some(Kept { parts: Mutex::default(), room: Arc::clone(&common.room) }) };
        all.push(Arc::clone(known.entry(key).or_insert_with(|| Arc::new(fresh()))));
    }
    Ok(all)
}
