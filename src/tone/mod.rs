//! Tone: levels, contrast, sharpening; the look of the piece; the dot-gain curve.

pub mod gain;
pub mod piece;
pub mod shape;

mod local;
mod sharpen;
