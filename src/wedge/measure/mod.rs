//! Measure: the photo laid flat, its light evened, and what each patch and comb shows.

mod combs;
mod local;
mod measured;
mod patches;
mod rectify;
mod scale;
mod surface;
mod tone;
mod value;

pub use combs::combs;
pub use measured::{Measured, VeilOver, measure};
pub use patches::Refusal;
pub use rectify::{Flat, rectify};
pub use surface::gaps;
pub use value::{PatchValue, REPEATS, TONES};
