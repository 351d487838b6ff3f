//! Wedge: drawing and reading a test piece.

pub mod compare;
pub mod detect;
pub mod draw;
pub mod fit;
pub mod glyphs;
pub mod grid;
pub mod homography;
pub mod layout;
pub mod least_squares;
pub mod patches;
pub mod photo;
pub mod pick;
pub mod preview;
pub mod process;
pub mod program;
pub mod read;
pub mod reading;
pub mod rectify;
pub mod register;
pub mod sheet;
pub mod timing;
pub mod tone;
pub mod verdict;
