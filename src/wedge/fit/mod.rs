//! Fit: the coating's response, the beam and the dot gain from what was measured, and the pick.

mod beam;
mod choice;
mod exposure;
mod exposures;
mod fitted;
mod gain;
mod judged;
mod least_squares;
mod likely;
mod limited;
mod model;
mod pick;
mod reach;
mod response;
mod search;
mod settle;
mod toned;
mod uneven;
mod veil;
mod verdict;

pub use beam::beam;
pub use choice::choose;
pub use exposure::{ExposureFit, exposure};
pub use fitted::ResponseFit;
pub use gain::{gains, wants_mark};
pub use limited::Limited;
pub use toned::{BENT, Toned};
