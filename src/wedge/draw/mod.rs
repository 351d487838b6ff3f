//! Draw: a wedge from what was asked, its dots, and the scan program that burns it.
//!
//! ```text
//! Request --cells--> Contents --layout (room, labels)--> TargetLayout --drawing--> Drawing (Wedge, Dots, Parts) --program-->
//! ```

mod cells;
mod charred;
mod comb;
mod contents;
mod drawing;
mod fiducials;
mod fill;
pub mod followed;
mod glyphs;
mod labels;
mod layout;
mod parts;
pub mod program;
mod range;
mod request;
mod room;
mod scatter;
mod sizes;

pub use drawing::{Drawing, draw};
pub use fill::{Bench, dots_of};
pub use layout::{LayoutError, holds_a_wedge};
pub use parts::{BurntPart, Way};
pub use range::{timing_range, usual_range};
pub use request::{DrawError, Request, steps};
pub use sizes::{LEAST_STRIP, MOST_SECONDS, WedgeSize, sizes, small_sizes, strip};
