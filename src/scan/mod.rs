//! Scan program: lines, motion, RS-274 words, replay.
//!
//! ```text
//! Limits + Scan + DotRect --settle--> RasterPath --ScanLines--> ScanLine, ScanLine, ...
//!
//! Program: opening, parts (Toolpath: raster or contour), closing --write--> words
//!                             |                                      |
//!                          Estimate: time, travel, reach            Load on the link
//!
//! words --reader--> moves --replay--> dots, time, backplot, what is dangerous
//! ```
//!
//! The writer ([`program`]) and the reader ([`reader`], [`replay`]) share no code, so that one can
//! prove the other.

pub mod axis;
pub mod backplot;
pub mod block;
pub(crate) mod comments;
pub mod contour;
mod course;
pub mod estimate;
pub mod gaps;
pub mod grey;
mod islands;
pub mod limits;
pub mod lines;
pub mod load;
pub mod motion;
pub mod number;
pub mod outline;
mod plain;
pub mod preset;
pub mod program;
pub mod raster;
pub mod readback;
pub mod reader;
pub mod rebuilt;
pub mod replay;
pub mod sight;
pub mod toolpath;
mod writer;
