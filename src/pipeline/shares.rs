//! Shares: what part of the whole time each stage takes, so that a bar moves evenly.

use crate::job::Plan;
use crate::job::words::ToneBy;
use crate::screen::Screen;

/// Shares of the stages of a job carried through; they add up to 1. Rough means of photos of 1 to 90 million
/// dots on two processors: a bar need not be exact.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shares {
    /// Placing the art: finding its hull.
    pub placing: f64,
    /// Drawing it at the dots' density.
    pub drawing: f64,
    /// Shaping its tones.
    pub tones: f64,
    /// The dot-gain curve.
    pub gain: f64,
    /// Screening.
    pub dots: f64,
    /// The forecast.
    pub forecast: f64,
    /// Measuring the scan program.
    pub program: f64,
    /// Judging, and trying what would mend it.
    pub findings: f64,
}

impl Shares {
    /// Screens that make a dot as they come to it.
    const DIRECT: Shares = Shares {
        placing: 0.05,
        drawing: 0.25,
        tones: 0.1,
        gain: 0.02,
        dots: 0.05,
        forecast: 0.4,
        program: 0.1,
        findings: 0.03,
    };
    /// Screens that search for their dots.
    const SEARCHING: Shares = Shares {
        placing: 0.005,
        drawing: 0.025,
        tones: 0.01,
        gain: 0.0,
        dots: 0.9,
        forecast: 0.04,
        program: 0.015,
        findings: 0.005,
    };

    /// The shares of a job by a screen.
    pub fn of(screen: &Screen) -> Shares {
        if screen.searches { Shares::SEARCHING } else { Shares::DIRECT }
    }

    /// The shares of a job: one whose tones are by power makes no dots, whatever its screen.
    pub fn of_job(plan: &Plan) -> Shares {
        if plan.scan.tone_by == ToneBy::Power { Shares::DIRECT } else { Shares::of(plan.dots.screen) }
    }

    /// All that comes before the screen, as a share of the job.
    pub fn before_dots(&self) -> f64 {
        self.placing + self.drawing + self.tones
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_add_up_to_the_whole() {
        for s in [Shares::DIRECT, Shares::SEARCHING] {
            let all = s.before_dots() + s.gain + s.dots + s.forecast + s.program + s.findings;
            assert!((all - 1.0).abs() < 1e-12, "{s:?}: {all}");
        }
    }
}
