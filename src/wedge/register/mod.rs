//! Register: where the wedge lies in the photo, by its finder marks and then by the edges of its patches.

mod camera;
mod candidate;
mod centre;
mod code;
mod detect;
mod four_marks;
mod homography;
mod locate;
pub mod photo;
mod refine;
mod regions;
mod three_marks;

pub use camera::Camera;
pub use locate::{Located, locate};
