//! Gain: the dot-gain curves of a tone wedge.

use crate::wedge::measure::{PatchValue, Refusal};
use crate::wedge::reading::{Gain, GainStep};
use crate::wedge::target::{Pattern, Wedge};

/// The curves of all screens, with 0 and the solid as their ends. Empty when no solid could be measured.
pub fn gains(wedge: &Wedge, values: &[Result<PatchValue, Refusal>], y_unmarked: f64) -> Vec<Gain> {
    let Some((solid, solid_error)) = solid(wedge, values) else { return Vec::new() };
    let mut out: Vec<Gain> = Vec::new();
    for (p, value) in wedge.patches.iter().zip(values) {
        if p.screen.is_empty() {
            continue;
        }
        let Ok(v) = value else { continue };
        let span = solid - y_unmarked;
        let mark = (v.y - y_unmarked) / span;
        let uncertainty = v.y_error.hypot(mark * solid_error) / span.abs();
        let step = GainStep { coverage: p.coverage.0, mark, uncertainty };
        match out.iter_mut().find(|g| g.screen == p.screen) {
            Some(g) => g.steps.push(step),
            None => out.push(Gain { screen: p.screen.clone(), steps: vec![step] }),
        }
    }
    for g in &mut out {
        g.steps.sort_by(|a, b| a.coverage.total_cmp(&b.coverage));
    }
    out
}

/// Whether a screen is given the mark that is wanted and finds the dots for it by itself. Its row on a wedge
/// shows what it laid and what came of it; it needs no dot-gain curve.
pub fn wants_mark(screen: &str) -> bool {
    crate::screen::find(screen).is_some_and(|s| s.wants == crate::screen::Wants::Mark)
}

/// Mean luminance of the solid patches with its standard uncertainty.
pub(super) fn solid(wedge: &Wedge, values: &[Result<PatchValue, Refusal>]) -> Option<(f64, f64)> {
    let all: Vec<(f64, f64)> = wedge
        .patches
        .iter()
        .zip(values)
        .filter(|(p, _)| p.pattern == Pattern::Solid)
        .filter_map(|(_, v)| v.as_ref().ok().map(|v| (v.y, v.y_error)))
        .collect();
    let n = all.len() as f64;
    (n > 0.0).then(|| {
        let mean = all.iter().map(|l| l.0).sum::<f64>() / n;
        (mean, all.iter().map(|l| l.1).fold(0.0, f64::max) / n.sqrt())
    })
}
