//! Places: a window of a piece in mm as a picture of so many pixels.

use crate::job::{Footing, Plan};
use crate::placement::DotRect;
use crate::proof::layout::Layout;
use crate::proof::picture::Scene;

/// A window of the piece, mm from the upper left corner of its blank, and its width in pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seen {
    /// Left edge.
    pub x: f64,
    /// Upper edge.
    pub y: f64,
    /// Width.
    pub w: f64,
    /// Height.
    pub h: f64,
    /// Pixels along the width.
    pub px: usize,
}

/// The most pixels along a side of a picture that is asked for.
pub(super) const MOST_PIXELS: usize = 2048;

impl Seen {
    /// The whole blank, its longer side `px` pixels.
    pub fn whole(plan: &Plan, px: usize) -> Seen {
        let (w, h) = (plan.blank.shape.width(), plan.blank.shape.height());
        let px = ((px as f64 * w / w.max(h)).round() as usize).max(1);
        Seen { x: 0.0, y: 0.0, w, h, px }
    }

    /// Whether there is such a window; none is larger than some thousand pixels.
    pub fn is_sound(&self) -> bool {
        let finite = [self.x, self.y, self.w, self.h].iter().all(|v| v.is_finite() && v.abs() < 1e5);
        finite
            && self.w > 1e-3
            && self.h > 1e-3
            && (1..=MOST_PIXELS).contains(&self.px)
            && self.rows() <= MOST_PIXELS
    }

    /// The size of a pixel, mm.
    pub fn pixel(&self) -> f64 {
        self.w / self.px as f64
    }

    /// Rows of pixels.
    pub fn rows(&self) -> usize {
        ((self.h / self.pixel()).round() as usize).max(1)
    }

    /// As pictures are laid out; it is filled from a look of any step.
    pub fn layout(&self) -> Layout {
        Layout {
            pixel: self.pixel(),
            step_along: 1,
            step_across: 1,
            width: self.px,
            height: self.rows(),
            left: self.x,
            top: self.y,
            smooth: true,
        }
    }
}

/// What is drawn around a look whose dots lie in `rect`.
pub(super) fn scene<'a>(plan: &'a Plan, rect: &'a DotRect) -> Scene<'a> {
    Scene {
        blank: &plan.blank,
        surface: plan.surface,
        rect,
        y_unmarked: plan.burn.response.y_unmarked,
        y_marked: plan.burn.response.y_marked,
        footing: Footing::Assumed,
        spots: &[],
    }
}
