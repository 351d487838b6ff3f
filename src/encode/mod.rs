//! Encoders: one file format a file; they return bytes. Where the bytes go is decided in [`sink`].

pub mod bmp;
pub mod png;
pub mod sink;
pub mod tiff;

mod beam_on;
mod density;
mod error;

pub use beam_on::BeamOn;
pub use density::pixels_per_metre;
pub use error::EncodeError;
