//! What is marked on.

use crate::blank::{Blank, Surface};
use crate::job::asked::BlankJob;
use crate::job::error::PlanError;
use crate::job::kit;
use crate::placement::PlaceError;

/// What is marked on.
pub(super) struct Stock {
    /// Its outline and margin.
    pub blank: Blank,
    /// Its surface.
    pub surface: Surface,
    /// What the kit calls the blank that is taken where none is asked for.
    pub usual: String,
}

pub(super) fn settle(asked: &BlankJob) -> Result<Stock, PlanError> {
    let usual = kit::blank(kit::DEFAULT_BLANK)?;
    let shape = asked.shape.unwrap_or(usual.shape);
    let margin = asked.margin.unwrap_or(usual.margin);
    if !(0.0..=1000.0).contains(&margin.0) {
        return Err(PlanError::absurd(format!(
            "a margin of {margin} makes no sense; it is from 0mm to 1000mm"
        )));
    }
    let blank = Blank { shape, margin };
    if blank.printable().is_none() {
        return Err(PlaceError::NoRoom { shape: shape.to_string(), margin: margin.to_string() }.into());
    }
    Ok(Stock { blank, surface: asked.surface.unwrap_or(usual.surface), usual: usual.name })
}
