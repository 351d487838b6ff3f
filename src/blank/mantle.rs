//! The mantle: what of a round piece turns under the head.

use std::f64::consts::PI;

use crate::units::Mm;

/// The mantle of a round piece: what turns under the head. A cylinder's ends are alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mantle {
    /// Diameter at the foot.
    pub foot: Mm,
    /// Diameter at the top.
    pub top: Mm,
    /// Height, straight up.
    pub height: Mm,
}

impl Mantle {
    /// Whether its ends differ.
    pub fn is_cone(&self) -> bool {
        self.foot != self.top
    }

    /// The greater of its diameters, mm.
    pub fn widest(&self) -> f64 {
        self.foot.0.max(self.top.0)
    }

    /// The lesser of its diameters, mm.
    pub fn narrowest(&self) -> f64 {
        self.foot.0.min(self.top.0)
    }

    /// Its girth where it is widest, mm.
    pub fn girth(&self) -> f64 {
        PI * self.widest()
    }

    /// The way up along it, mm.
    pub fn slant(&self) -> f64 {
        libm::hypot(self.height.0, (self.top.0 - self.foot.0) / 2.0)
    }

    /// Its diameter `up` mm from the foot along it, mm.
    pub fn across(&self, up: f64) -> f64 {
        self.foot.0 + (self.top.0 - self.foot.0) * up / self.slant()
    }

    /// Where along it, mm from the foot, it is narrowest.
    pub fn narrow_end(&self) -> f64 {
        if self.foot.0 <= self.top.0 { 0.0 } else { self.slant() }
    }

    /// How far its axis is turned from level where its highest line lies level, degrees.
    pub fn tilt(&self) -> f64 {
        libm::atan2((self.top.0 - self.foot.0).abs() / 2.0, self.height.0).to_degrees()
    }

    /// The radius of the circle about the sector's point that the foot is unrolled to, mm, by similar triangles; the top's
    /// is the slant more or less. None for a cylinder, whose mantle is a rectangle.
    pub fn unrolled_foot(&self) -> Option<f64> {
        self.is_cone().then(|| self.foot.0 * self.slant() / (self.top.0 - self.foot.0).abs())
    }
}
