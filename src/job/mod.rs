//! Job: what was asked, and the machine, coating and process it is asked for; resolved once into a plan.
//!
//! ```text
//! Job (asked) --read what it names--> Brief --settle, part by part--> Plan --written back--> Job
//! ```

pub mod acceptance;
pub mod asked;
pub mod brief;
pub mod coating;
pub mod error;
mod face;
pub mod file;
pub mod file_name;
pub mod kit;
pub mod machine;
mod machine_keys;
mod mistyped;
pub mod named;
pub mod near;
pub mod plan;
pub mod process;
pub mod rotary;
pub mod settle;
pub mod swapped;
pub mod unsaid;
pub mod words;
mod written;

pub use asked::Job;
pub use brief::{ArtFile, Brief};
pub use coating::Coating;
pub use error::{FileError, KitError, PlanError};
pub use machine::{Laser, Machine};
pub use named::Named;
pub use plan::Plan;
pub use process::{Footing, Known, Process, ProcessFile, Standing};
