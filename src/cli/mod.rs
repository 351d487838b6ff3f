//! The command line: one command a file.

pub mod options;
