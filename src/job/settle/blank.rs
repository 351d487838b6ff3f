//! What is marked on.

use crate::blank::{Blank, Surface};
use crate::job::asked::BlankJob;
use crate::job::error::PlanError;
use crate::job::{Coating, kit};
use crate::placement::PlaceError;
use crate::texts::text;

/// What is marked on.
pub(super) struct Stock {
    /// Its outline and margin.
    pub blank: Blank,
    /// Its surface.
    pub surface: Surface,
    /// The coatings it takes, as the kit or a file names them, the usual one first.
    pub coatings: Vec<String>,
    /// What the kit calls the blank that is taken where none is asked for.
    pub usual: String,
}

/// `said` is the coating that was asked for: where no surface is, it tells what the blank is made of.
pub(super) fn settle(asked: &BlankJob, said: Option<&Coating>) -> Result<Stock, PlanError> {
    let usual = kit::blank(kit::DEFAULT_BLANK)?;
    let shape = asked.shape.unwrap_or(usual.shape);
    let margin = asked.margin.unwrap_or(usual.margin);
    if !(0.0..=1000.0).contains(&margin.0) {
        return Err(PlanError::absurd(text!("job.wrong.margin", margin)));
    }
    let blank = Blank { shape, margin };
    if blank.printable().is_none() {
        return Err(PlaceError::NoRoom { shape: shape.to_string(), margin: margin.to_string() }.into());
    }
    let surface = match (asked.surface, said) {
        (Some(surface), _) => surface,
        (None, Some(coating)) => kit::surface_for(coating)?.unwrap_or(usual.surface),
        (None, None) => usual.surface,
    };
    let coatings = match asked.coatings.as_ref().filter(|named| !named.is_empty()) {
        Some(named) => named.clone(),
        None => kit::coatings_on(surface)?,
    };
    Ok(Stock { blank, surface, coatings, usual: usual.name })
}
