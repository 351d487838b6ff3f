//! How the art is read and laid on its blank.

use crate::art::turn::{Turn, TurnError};
use crate::job::asked::{ArtJob, BlankJob};
use crate::job::error::PlanError;
use crate::job::words::{Crop, ReadAs};
use crate::placement::Place;

/// How the art is read and laid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SettledArt {
    /// The page of a PDF, counted from 1.
    pub page: u32,
    /// How it is read.
    pub read_as: ReadAs,
    /// Which part of it is used.
    pub crop: Crop,
    /// How it is turned, clockwise.
    pub turn: Turn,
    /// Whether it is mirrored left to right after turning.
    pub mirror: bool,
    /// How large it becomes.
    pub place: Place,
}

pub(super) fn settle(art: &ArtJob, blank: &BlankJob) -> Result<SettledArt, PlanError> {
    let turn = art.turn.unwrap_or(0);
    let page = art.page.unwrap_or(1);
    if page == 0 {
        return Err(PlanError::absurd("page 0 is no page: pages are counted from 1".to_string()));
    }
    Ok(SettledArt {
        page,
        read_as: art.read_as.unwrap_or(ReadAs::Auto),
        crop: art.crop.unwrap_or(Crop::WHOLE),
        turn: turn.to_string().parse().map_err(|e: TurnError| PlanError::absurd(e.to_string()))?,
        mirror: art.mirror.unwrap_or(false),
        place: blank.place.unwrap_or(Place::Inside),
    })
}
