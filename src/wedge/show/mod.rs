//! Show: a wedge and its reading as pictures, pages and files for the maker.

pub mod compare;
pub mod curves;
pub mod picture;
pub mod preview;
pub mod process;
pub mod summary;
pub mod ticket;
