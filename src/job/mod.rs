//! Job: what was asked, and the machine, coating and process it is asked for; resolved once into a plan.

pub mod asked;
pub mod coating;
mod face;
pub mod file;
pub mod file_name;
pub mod kit;
pub mod machine;
pub mod plan;
pub mod process;
pub mod settle;
pub mod words;

pub use asked::Job;
pub use coating::Coating;
pub use machine::Machine;
pub use plan::Plan;
pub use process::{Known, Process, ProcessFile, Standing};
