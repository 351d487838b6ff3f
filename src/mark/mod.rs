//! What the beam does: exposure of dots, response of the coating, forecast of the look.
//!
//! The model is in the design's section 4: a Gaussian beam swept along each dot, dose, Schwarzschild
//! reciprocity, a rise and a char response.

pub mod advise;
pub mod beam;
pub mod blocks;
mod blurred;
pub mod by_power;
pub mod exposure;
pub mod forecast;
mod hairlines;
mod lettering;
pub mod lost;
pub mod patch;
pub mod response;
pub mod settings;
pub mod sums;
pub mod table;
mod unsure;
pub mod walk;

pub use beam::{Beam, Taps};
pub use blocks::Blocks;
pub use blurred::{Blurred, blurred};
pub use by_power::by_power;
pub use exposure::CellSamples;
pub use forecast::{Band, Forecast};
pub use lettering::lettering_of;
pub use lost::{LineWork, Lost};
pub use response::{Burn, Response, Setting};
pub use sums::{Sums, Totals};
pub use unsure::Unsure;
pub use walk::{Walked, Wish, sums, walk};
