//! How the art is read and laid on its blank.

use crate::art::turn::{Turn, TurnError};
use crate::job::asked::{ArtJob, BlankJob};
use crate::job::error::PlanError;
use crate::job::words::{Align, Anchor, Crop, Offset, ReadAs};
use crate::placement::{Place, Spot};
use crate::texts::text;

/// How the art is read and laid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SettledArt {
    /// The page of a PDF or TIFF, counted from 1.
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
    /// Where it lies; `None`: in the middle, on dots of its own.
    pub spot: Option<Spot>,
}

/// A place on the blank; `None` where nothing was asked.
pub(super) fn spot(anchor: Option<Anchor>, at: Option<Offset>, align: Option<Align>) -> Option<Spot> {
    let asked = anchor.is_some() || at.is_some() || align.is_some();
    asked.then(|| Spot { anchor: anchor.unwrap_or_default(), at: at.unwrap_or_default(), align })
}

pub(super) fn settle(art: &ArtJob, blank: &BlankJob) -> Result<SettledArt, PlanError> {
    let turn = art.turn.unwrap_or(0);
    let page = art.page.unwrap_or(1);
    if page == 0 {
        return Err(PlanError::absurd(text!("job.wrong.page").to_string()));
    }
    Ok(SettledArt {
        page,
        read_as: art.read_as.unwrap_or(ReadAs::Auto),
        crop: art.crop.unwrap_or(Crop::WHOLE),
        turn: turn.to_string().parse().map_err(|e: TurnError| PlanError::absurd(e.to_string()))?,
        mirror: art.mirror.unwrap_or(false),
        place: blank.place.unwrap_or(Place::Inside),
        spot: spot(art.anchor, art.at, None),
    })
}
