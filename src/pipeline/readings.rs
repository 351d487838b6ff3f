//! Readings: art that could be either is forecast by both of its likely readings, for a person to choose.

use super::drawable::Drawable;
use super::error::PipelineError;
use super::laid::dots;
use super::wanted::wanted_as;
use crate::art::Art;
use crate::art::reading::{Decision, UNSURE};
use crate::job::Plan;
use crate::mark::{Forecast, Wish, walk};
use crate::plane::Dots;
use crate::progress::{Progress, Within};
use crate::proof::layout::{Layout, Look};
use crate::proof::readings::{OneReading, Readings};
use crate::screen;

/// Longest side of one of the pictures, pixels.
const SIDE: usize = 560;
/// The screen of the second look: quick, and near enough to tell a photo from a drawing.
const SCREEN: &str = "floyd-steinberg";

/// Both readings, where the decision is less sure than [`UNSURE`]. `made` are the dots of the first.
pub(super) fn unsure(
    plan: &Plan,
    art: &Art,
    reading: &Decision,
    made: &Dots,
    progress: &dyn Progress,
) -> Result<Option<Readings>, PipelineError> {
    let Some(other) = reading.other.filter(|_| reading.sure < UNSURE) else { return Ok(None) };
    let progress = &Within(progress);
    let drawn = wanted_as(&Drawable::of(plan), art, other.into(), progress)?;
    let placement = drawn.placement;
    let screen = screen::find(SCREEN).unwrap_or(plan.dots.screen);
    let (laid, _) = dots(plan, screen, drawn.kind, drawn.tone, &placement, progress)?;
    let layout = Layout::new(&plan.blank, &placement.rect, SIDE);
    let look = |dots: &Dots| -> Result<Look, PipelineError> {
        let wish = Wish { blocks: (layout.step_along, layout.step_across), ink: None };
        let seen = walk(&Forecast::new(&plan.burn), dots, wish, progress)?;
        Ok(super::foresee::pictured(seen.blocks).0)
    };
    let first = OneReading { kind: reading.kind, look: look(made)? };
    Ok(Some(Readings { layout, first, second: OneReading { kind: other, look: look(&laid)? } }))
}
