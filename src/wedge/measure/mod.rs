//! Measure: the photo laid flat, its light evened, and what each patch and comb shows.

pub mod lightness;
pub mod patches;
pub mod rectify;
pub mod timing;
