//! Wedge: drawing and reading a test piece, the way the machine is measured.
//!
//! ```text
//! Request --draw (layout, cells, finder marks)--> Drawing --program--> wedge.nc
//!                                                    |
//!                                                 Wedge (wedge.toml)
//!                                                    |
//! photo --open--> Photo --register--> Camera --measure--> patches --fit--> response, pick --> Reading --show-->
//! ```
//!
//! Places on the wedge are mm from the blank's lower left corner, y upwards; inside the reading, mm from its
//! upper left corner, y downwards, as the photo's rows run.

pub mod apart;
pub mod ask;
mod doubt;
pub mod draw;
pub mod evidence;
pub mod fit;
pub mod grid;
pub mod measure;
pub mod measurement;
mod mismatch;
pub mod read;
pub mod reading;
pub mod register;
pub mod show;
pub mod target;

mod spread;
