//! Fit: the coating's response, the beam and the dot gain from what was measured, and the pick.

pub mod least_squares;
pub mod model;
pub mod pick;
pub mod response;
pub mod tone;
pub mod verdict;
