//! Why a plan could not be carried through.

use crate::art::RenderError;
use crate::placement::PlaceError;
use crate::progress::Stopped;
use crate::scan::limits::LimitsError;
use crate::texts::text;
use crate::tone::dot_gain::GainError;
use crate::tone::shape::ShapingError;

/// Why a plan could not be carried through.
#[derive(Debug, thiserror::Error)]
pub enum PipelineError {
    /// The art cannot go on the blank.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// The art cannot be drawn.
    #[error(transparent)]
    Render(#[from] RenderError),
    /// Nothing of the art can be seen.
    #[error("{}", text!("pipeline.transparent"))]
    Nothing,
    /// Nothing of a layer can be seen.
    #[error("{}", text!("pipeline.transparent-layer", layer = .0))]
    NothingIn(String),
    /// The tones cannot be shaped as asked.
    #[error(transparent)]
    Shape(#[from] ShapingError),
    /// A measured tone curve cannot be used.
    #[error(transparent)]
    Gain(#[from] GainError),
    /// The machine cannot run the job.
    #[error(transparent)]
    Limits(#[from] LimitsError),
    /// A picture cannot be drawn.
    #[error("{}", text!("pipeline.no-picture", why = .0))]
    Picture(String),
    /// The person asked to stop.
    #[error(transparent)]
    Stopped(#[from] Stopped),
}
