//! MarkCandidate: a place in the photo that looks like a finder mark.

use super::homography::Homography;
use crate::wedge::target::Wedge;

/// A mark-like place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkCandidate {
    /// Centre in photo pixels.
    pub at: (f64, f64),
    /// Outer diameter in photo pixels (of the circle of the same area).
    pub diameter: f64,
    /// A disc with a hole rather than a ring with a dot.
    pub odd: bool,
    /// The mark is lighter than what is round it.
    pub lighter: bool,
}

/// The largest scale over the smallest among the blank's corners; `None` where one lies at infinity.
pub(super) fn scale_spread(map: &Homography, wedge: &Wedge) -> Option<f64> {
    let (w, h) = (wedge.blank.width(), wedge.blank.height());
    let (mut least, mut most) = (f64::INFINITY, 0.0f64);
    for corner in [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)] {
        let scale = map.scale(corner)?;
        (least, most) = (least.min(scale), most.max(scale));
    }
    Some(most / least)
}
