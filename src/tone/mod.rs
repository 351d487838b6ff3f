//! Tone: levels, contrast, sharpening; the look of the piece; the dot-gain curve.

pub mod dot_gain;
pub mod shape;
pub mod tone_mapping;

pub mod automatic;
mod border;
mod box_filter;
mod local;
mod sharpen;
