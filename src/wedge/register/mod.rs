//! Register: where the wedge lies in the photo, by its finder marks and then by the edges of its patches.

pub mod camera;
pub mod centre;
pub mod detect;
pub mod homography;
pub mod locate;
pub mod photo;
pub mod refine;
pub mod three_marks;
