//! Wedge: drawing and reading a test piece, the way the machine is measured.
//!
//! ```text
//! Request --draw (layout, cells, signs)--> Drawing --program--> wedge.nc
//!                                             |
//!                                          Wedge (sheet, wedge.toml)
//!                                             |
//! photo --open--> Photo --locate (detect, register, homography)--> rectify --> patches --> fit --> pick --> Reading
//! ```
//!
//! Places on the sheet are mm from the blank's lower left corner, y upwards; inside the reading, mm from its
//! upper left corner, y downwards, as the photo's rows run.

pub mod cells;
pub mod compare;
pub mod curves;
pub mod detect;
pub mod draw;
pub mod fit;
pub mod glyphs;
pub mod grid;
pub mod homography;
pub mod layout;
pub mod least_squares;
pub mod lightness;
pub mod locate;
pub mod model;
pub mod patches;
pub mod photo;
pub mod pick;
pub mod picture;
pub mod preview;
pub mod process;
pub mod program;
pub mod read;
pub mod reading;
pub mod rectify;
pub mod refine;
pub mod register;
pub mod sheet;
pub mod signs;
pub mod three;
pub mod ticket;
pub mod timing;
pub mod tone;
pub mod verdict;
pub mod view;
