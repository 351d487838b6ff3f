//! Dotwright makes pictures and logos ready to be marked on coated blanks by a small laser.
//!
//! ```text
//! art file --open--> Art --place--> Placement --render--> Tone --shape--> Tone --screen--> Dots --mask--> Dots
//!                                                                                           |
//!            Process (machine + coating + blank, measured or assumed) --------+-------------+
//!                                                                            v             v
//!                                         Forecast (dose, mark, over-burn)      ScanProgram (moves, time)
//!                                                                            |             |
//!                                                              Findings <----+-------------+
//!                                                                  |
//!                  proof.png, ticket.html, dots.png/.tiff/.bmp, program.nc, job.toml, report.json
//! ```
//!
//! Lower rooms know nothing of higher ones: `units`, `plane`, `parallel`, `colour`, then `art`, `blank`, `mark`,
//! `scan`, `encode`, `visual_quality`, then `screen`, `tone`, then `job`, `findings`, `proof`, `wedge`, then `pipeline`,
//! then `cli`.

pub mod art;
pub mod blank;
#[cfg(feature = "cli")]
pub mod cli;
pub mod colour;
pub mod encode;
pub mod findings;
pub mod job;
pub mod mark;
pub mod outputs;
pub mod parallel;
pub mod pipeline;
pub mod placement;
pub mod plane;
pub mod progress;
pub mod proof;
pub mod scan;
pub mod screen;
pub mod tone;
pub mod units;
pub mod visual_quality;
pub mod wedge;
