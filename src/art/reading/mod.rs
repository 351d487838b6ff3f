//! Reading: whether art is a photo, a drawing or a drawing on paper, and how sure that is.
//!
//! ```text
//! Art, part of it --small--> codes and background --features--> 24 numbers --model--> how likely each reading is
//! drawing --ink--> dark ink on white, its tones settled      paper --flattened--> strokes alone
//! ```

mod alike;
mod alone;
mod background;
mod bars;
mod cells;
mod coloured;
mod decide;
mod doubt;
mod edged;
mod ends;
mod features;
mod hatched;
mod ink;
mod kind;
mod lost;
mod model;
mod on_ground;
mod paler;
mod paper;
mod qr;
mod ruled;
mod shade;
mod shaded;
mod small;
mod soft;
mod straight;
mod tones;
mod weights;
mod white;

pub use alike::AlikeInks;
#[cfg(test)]
pub(crate) use bars::tests::{RETAIL, widths as bar_widths};
pub use bars::{BarCode, bar_codes};
pub use coloured::by_colour;
pub use decide::{Decision, UNSURE, decide, features};
pub use hatched::is_hatched;
pub use ink::{Inked, inked, on_its_ground, share_of_ink};
pub use kind::Kind;
pub use paper::{AroundSheet, PaperSheet, flattened};
#[cfg(test)]
pub(crate) use qr::tests::dark as qr_dark;
pub use qr::{QrCode, maybe_qr_codes, qr_codes};
pub use ruled::Ruled;
