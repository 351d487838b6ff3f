//! How error diffusion begins.
//!
//! The publications begin with no error at all. A light tone then leaves the first rows blank until enough
//! has gathered (at 1/255 more than a hundred rows), and then lays its first dots in a burst. So rows that
//! mirror the first ones are walked before the plane, from an error such as the method itself settles at.

/// Rows walked before the plane.
pub(super) const LEAD: usize = 32;

/// The error that column `x` of the first row begins with, in fixed point.
pub(super) fn error(_x: usize, _tone: f32) -> i32 {
    0
}
