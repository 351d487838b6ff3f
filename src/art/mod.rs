//! Art: opening picture files into linear light, and drawings at the density itself.
//!
//! ```text
//! bytes --sniff--> JPEG, PNG, TIFF, WebP, HEIC, BMP, GIF --decode, profile, orient--> Raster --+
//!               \-> PDF --a page--> SVG --guard, parse--> Vector -------------------------------+--> Art
//! Art --reading--> photo, drawing or paper      Art --extent--> hull of what is not transparent
//! Art, View, columns x rows --render--> Rendered: light and alpha, one value a dot
//! ```
//!
//! A file is a stranger's: it is opened within stated [bounds], decoders and the drawing library run where
//! their panics are caught, and a drawing's cost is known before it is drawn.

pub mod bounds;
pub mod extent;
pub mod icc;
pub mod likeness;
pub mod open;
pub mod photo;
pub mod reading;
pub mod render;
pub mod turn;
pub mod vector;

mod colours;
mod contain;
mod decode;
mod error;
mod heic;
mod jpeg;
mod pages;
mod picture;
mod resolution;
mod samples;
mod sniff;
mod view;

pub use bounds::{Opening, Patience};
use colours::Colours;
pub use error::{OpenError, RenderError};
pub use likeness::{Likeness, likeness};
pub use open::{open, open_as, open_path, open_within};
pub use photo::{Photo, open_photo};
pub use picture::{Art, Model, Raster};
pub use reading::Kind;
pub use render::{Rendered, render};
pub use resolution::Resolution;
pub use sniff::{Format, is_picture};
pub use vector::{ClosedOutline, Fonts, FontsError, Form};
pub use view::{View, Window};
