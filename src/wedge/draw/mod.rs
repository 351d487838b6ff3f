//! Draw: a wedge from what was asked, its dots, and the scan program that burns it.

pub mod cells;
pub mod drawing;
pub mod fiducials;
pub mod glyphs;
pub mod layout;
pub mod program;
