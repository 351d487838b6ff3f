//! Wedge: drawing and reading a test piece.

pub mod detect;
pub mod draw;
pub mod glyphs;
pub mod homography;
pub mod layout;
pub mod photo;
pub mod preview;
pub mod register;
pub mod sheet;
