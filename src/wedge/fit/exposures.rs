//! Exposures: how the light of a beam lies over solids, line pairs and dots, relative to a solid's mean.

use std::sync::Arc;

use crate::lately::Lately;
use crate::mark::Taps;
use crate::wedge::target::Pattern;

/// Samples a pitch, each way, of fine patterns.
const OVER: usize = 6;
/// Groups of like exposures that stand for a fine pattern: a group's mean in place of its members moves the look by less
/// than 0.02 L*, and the fit takes a twentieth of the time.
const GROUPS: usize = 32;
/// Beams whose exposures are kept: a step of the fit asks for five, and several are taken at once.
const KEPT: usize = 32;

/// A pattern as the beam meets it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fill {
    /// Solid, line pairs or dots.
    pub pattern: Pattern,
    /// Width in pitches of line pairs and dots.
    pub period: usize,
    /// Pitch along and across the lines, mm.
    pub pitch: [f64; 2],
}

impl Fill {
    /// Whether its look hangs on the beam's width along the lines.
    pub fn shows_along(&self) -> bool {
        matches!(self.pattern, Pattern::LinesAcross | Pattern::Dots)
    }

    /// Whether its look tells the beam's width across them; a solid's ripple tells it too, but not apart from the rise.
    pub fn shows_across(&self) -> bool {
        matches!(self.pattern, Pattern::LinesAlong | Pattern::Dots)
    }
}

/// A relative exposure and the share of the area that has it.
pub type Part = (f64, f64);

/// Relative exposure over one period of a row of dots, `on(i)` saying which are on: `over` samples a dot.
/// `taps` holds `over` phases of `2 radius + 1` weights.
fn profile(taps: &[f32], over: usize, radius: usize, period: usize, on: impl Fn(usize) -> bool) -> Vec<f64> {
    let n = 2 * radius + 1;
    let mut out = Vec::with_capacity(period * over);
    for i in 0..period {
        for phase in 0..over {
            let weights = taps.get(phase * n..(phase + 1) * n).unwrap_or(&[]);
            let sum = weights
                .iter()
                .enumerate()
                // Adding 64 periods keeps the index above zero: no beam reaches further (Taps::radius_for).
                .filter(|(j, _)| on((i + 64 * period + j - radius) % period))
                .map(|(_, &w)| f64::from(w))
                .sum();
            out.push(sum);
        }
    }
    out
}

/// Exposures between the lines of a solid under a beam of `across` pitches, relative to their mean.
pub fn ripple(across: f64) -> Vec<f64> {
    let radius = Taps::radius_for(across);
    let taps = Taps::new(1.0, across, 8, radius);
    taps.across.chunks(2 * radius + 1).map(|c| c.iter().map(|&v| f64::from(v)).sum()).collect()
}

/// The exposures of a fill under a beam of these 1/e² diameters along and across, mm.
pub fn parts(fill: &Fill, [along, across]: [f64; 2]) -> Vec<Part> {
    let (along, across) = (along / fill.pitch[0], across / fill.pitch[1]);
    if matches!(fill.pattern, Pattern::Solid | Pattern::Screen) {
        let waves = ripple(across);
        let share = 1.0 / waves.len().max(1) as f64;
        return waves.into_iter().map(|e| (e, share)).collect();
    }
    let radius = Taps::radius_for(along.max(across)).min(32);
    let taps = Taps::new(along, across, OVER, radius);
    let n = fill.period.max(1);
    let full = |_: usize| true;
    let pair = |i: usize| i < n;
    let single = |i: usize| i == 0;
    let of =
        |taps: &[f32], period: usize, on: &dyn Fn(usize) -> bool| profile(taps, OVER, radius, period, on);
    let (xs, ys) = match fill.pattern {
        Pattern::LinesAlong => (vec![1.0], of(&taps.across, 2 * n, &pair)),
        Pattern::LinesAcross => (of(&taps.along, 2 * n, &pair), of(&taps.across, 1, &full)),
        _ => (of(&taps.along, n, &single), of(&taps.across, n, &single)),
    };
    let mut all: Vec<f64> = xs.iter().flat_map(|a| ys.iter().map(move |b| a * b)).collect();
    all.sort_by(f64::total_cmp);
    let count = all.len() as f64;
    let size = all.len().div_ceil(GROUPS).max(1);
    all.chunks(size).map(|c| (c.iter().sum::<f64>() / c.len() as f64, c.len() as f64 / count)).collect()
}

/// The exposures of all fills of a fit, worked out once for each beam that is asked for.
#[derive(Debug)]
pub struct Exposures {
    fills: Vec<Fill>,
    known: Lately<[u64; 2], Vec<Vec<Part>>>,
}

impl Exposures {
    /// Of these fills.
    pub fn new(fills: Vec<Fill>) -> Self {
        Exposures { fills, known: Lately::new(KEPT) }
    }

    /// The fills.
    pub fn fills(&self) -> &[Fill] {
        &self.fills
    }

    /// The exposures of each fill under a beam.
    pub fn under(&self, beam: [f64; 2]) -> Arc<Vec<Vec<Part>>> {
        self.known.get(beam.map(f64::to_bits), || self.fills.iter().map(|f| parts(f, beam)).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pattern_has_the_mean_exposure_of_its_coverage() {
        let pitch = [0.0875, 0.0875];
        for (pattern, period, coverage) in [
            (Pattern::Solid, 0, 1.0),
            (Pattern::LinesAlong, 1, 0.5),
            (Pattern::LinesAcross, 3, 0.5),
            (Pattern::Dots, 3, 1.0 / 9.0),
        ] {
            let all = parts(&Fill { pattern, period, pitch }, [0.12, 0.10]);
            let mean: f64 = all.iter().map(|(e, share)| e * share).sum();
            assert!((mean / coverage - 1.0).abs() < 2e-3, "{pattern:?} {period}: {mean}");
            assert!((all.iter().map(|p| p.1).sum::<f64>() - 1.0).abs() < 1e-12 && all.len() <= 33);
        }
    }

    #[test]
    fn what_is_known_of_a_beam_is_kept() {
        let e = Exposures::new(vec![Fill { pattern: Pattern::Solid, period: 0, pitch: [0.1, 0.1] }]);
        let once = e.under([0.12, 0.12]);
        assert!(Arc::ptr_eq(&once, &e.under([0.12, 0.12])));
        assert!(!Arc::ptr_eq(&once, &e.under([0.12, 0.13])));
    }
}
