//! View: which part of the art is seen, turned and mirrored.

use serde::{Deserialize, Serialize};

use super::picture::Art;
use super::turn::Turn;

/// A part of a picture in fractions of its width and height, from the upper left corner.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Window {
    /// Left edge, 0..1.
    pub left: f64,
    /// Upper edge, 0..1.
    pub top: f64,
    /// Right edge, above `left`, at most 1.
    pub right: f64,
    /// Lower edge, above `top`, at most 1.
    pub bottom: f64,
}

impl Window {
    /// The whole picture.
    pub const WHOLE: Window = Window { left: 0.0, top: 0.0, right: 1.0, bottom: 1.0 };

    /// Width, in fractions of the whole.
    pub fn width(&self) -> f64 {
        self.right - self.left
    }

    /// Height, in fractions of the whole.
    pub fn height(&self) -> f64 {
        self.bottom - self.top
    }

    /// Whether it lies within the picture and is not empty (a billionth is granted for rounding).
    pub(super) fn is_sound(&self) -> bool {
        let grace = 1e-9;
        self.left >= -grace
            && self.top >= -grace
            && self.right <= 1.0 + grace
            && self.bottom <= 1.0 + grace
            && self.width() > grace
            && self.height() > grace
    }

    pub(crate) fn at(&self, (x, y): (f64, f64)) -> (f64, f64) {
        (self.left + x * self.width(), self.top + y * self.height())
    }

    fn within(&self, (x, y): (f64, f64)) -> (f64, f64) {
        ((x - self.left) / self.width(), (y - self.top) / self.height())
    }

    fn around(a: (f64, f64), b: (f64, f64)) -> Window {
        let clip = |v: f64| v.clamp(0.0, 1.0);
        Window {
            left: clip(a.0.min(b.0)),
            top: clip(a.1.min(b.1)),
            right: clip(a.0.max(b.0)),
            bottom: clip(a.1.max(b.1)),
        }
    }
}

/// What is seen of the art: first cropped, then turned clockwise, then mirrored left to right, then
/// looked at through `window` (the whole of it, unless only a part is placed on the blank).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct View {
    /// Part of the art as opened.
    pub crop: Window,
    /// Turn of the cropped art.
    pub turn: Turn,
    /// Left and right changed, after the turn (for marking the back of glass).
    pub mirror: bool,
    /// Part of the cropped, turned and mirrored art.
    pub window: Window,
}

impl Default for View {
    fn default() -> Self {
        View { crop: Window::WHOLE, turn: Turn::None, mirror: false, window: Window::WHOLE }
    }
}

impl View {
    /// Width and height of the cropped and turned art, in source units (the window is not applied).
    pub fn size(&self, art: &Art) -> (f64, f64) {
        let (w, h) = art.size();
        let (w, h) = (w * self.crop.width(), h * self.crop.height());
        if self.turn.swaps() { (h, w) } else { (w, h) }
    }

    /// The seen part in fractions of the art as opened.
    pub(crate) fn region(&self) -> Window {
        let back = |p| self.crop.at(self.turn.back(self.mirror, self.window.at(p)));
        Window::around(back((0.0, 0.0)), back((1.0, 1.0)))
    }

    /// The seen part in fractions of the whole art once that is turned and mirrored.
    pub(super) fn turned_region(&self) -> Window {
        let r = self.region();
        let ahead = |p| self.turn.ahead(self.mirror, p);
        Window::around(ahead((r.left, r.top)), ahead((r.right, r.bottom)))
    }

    /// Where a point of the art as opened (fractions) comes to lie in the seen part (fractions).
    pub(super) fn seen(&self, p: (f64, f64)) -> (f64, f64) {
        self.window.within(self.turn.ahead(self.mirror, self.crop.within(p)))
    }
}
