//! Scan program: lines, motion, RS-274 words, replay.
//!
//! ```text
//! Head + Scan + DotRect --resolve--> Course --Lines--> Line, Line, ... --program--> words
//!                                                          |
//!                                                       motion: time, speed, load on the link
//! words --reader--> moves --replay--> dots, time, path, findings
//! ```
//!
//! The writer ([`program`]) and the reader ([`reader`], [`replay`]) share no code, so that one can
//! prove the other.

pub mod cells;
mod comments;
pub mod course;
pub mod grey;
pub mod head;
pub mod lines;
pub mod motion;
pub mod number;
pub mod outline;
pub mod program;
pub mod reader;
pub mod replay;
pub mod tally;
pub mod trace;
pub mod words;
