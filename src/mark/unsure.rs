//! How far a burn may be off from what is known of it.

use super::Burn;

/// What is not known of a burn: standard deviations, as shares of the values.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Unsure {
    /// Of the beam's diameters, 0 to 0.5.
    pub beam: f64,
    /// Of the exposure, as seen against the half exposure, 0 to 0.5.
    pub exposure: f64,
}

impl Unsure {
    /// The most that counts: half of a value. Who knows less than that has no machine to make dots for.
    pub const MOST: f64 = 0.5;

    /// Whether all is known, to a tenth of a percent.
    pub fn is_none(&self) -> bool {
        self.beam < 1e-3 && self.exposure < 1e-3
    }

    /// Five machines that stand for what may be: the planned one, those with a narrower and a wider beam, and those with
    /// less and more exposure. A solid's mean exposure does not depend on the beam.
    pub fn machines(&self, burn: &Burn) -> [Burn; 5] {
        let [beam, exposure] = [self.beam, self.exposure].map(|v| v.clamp(0.0, Unsure::MOST));
        let wide = |by: f64| Burn { along: burn.along * by, across: burn.across * by, ..*burn };
        let strong = |by: f64| Burn { x_solid: burn.x_solid * by, ..*burn };
        [*burn, wide(1.0 - beam), wide(1.0 + beam), strong(1.0 - exposure), strong(1.0 + exposure)]
    }
}
