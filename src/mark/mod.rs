//! What the beam does: exposure of dots, response of the coating, forecast of the look.
//!
//! The model is in the design's section 4: a Gaussian beam swept along each dot, dose, Schwarzschild
//! reciprocity, a rise and a char response.

pub mod advise;
pub mod beam;
pub mod curve;
pub mod exposure;
pub mod forecast;
pub mod patch;
pub mod response;
pub mod summary;

pub use beam::{Beam, Taps};
pub use exposure::Samples;
pub use forecast::{Band, Forecast, Solid};
pub use patch::Patch;
pub use response::{Burn, Response, Setting};
pub use summary::{Reduced, Summary, reduced, summary};
