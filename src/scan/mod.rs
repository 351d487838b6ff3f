//! Scan program: lines, motion, RS-274 words, replay.
//!
//! ```text
//! Limits + Scan + DotRect --resolve--> RasterPath --ScanLines--> ScanLine, ScanLine, ... --program--> words
//!                                                                  |
//!                                                       motion: time, speed, load on the link
//! words --reader--> moves --replay--> dots, time, path, findings
//! ```
//!
//! The writer ([`program`]) and the reader ([`reader`], [`replay`]) share no code, so that one can
//! prove the other.

pub mod backplot;
pub mod block;
pub mod cells;
mod comments;
pub mod estimate;
pub mod grey;
pub mod limits;
pub mod lines;
pub mod motion;
pub mod number;
pub mod outline;
pub mod program;
pub mod raster;
pub mod reader;
pub mod replay;
