//! Gain: the dot-gain curves of a wedge's screens, and what the fitted response foretells of the same dots.

use crate::mark::{Burn, Forecast};
use crate::placement::Grid;
use crate::plane::Dots;
use crate::wedge::draw::{Bench, dots_of};
use crate::wedge::measure::{PatchValue, Refusal};
use crate::wedge::reading::{Gain, GainStep};
use crate::wedge::spread::square;
use crate::wedge::target::{Pattern, TestPatch, Wedge};

/// The curves of all screens, with 0 and the solid as their ends. Empty when no solid could be measured. `burn` gives the
/// burn of a patch as it was fitted; without it nothing is foretold.
pub fn gains(
    wedge: &Wedge,
    values: &[Result<PatchValue, Refusal>],
    y_unmarked: f64,
    burn: Option<&dyn Fn(&TestPatch) -> Burn>,
) -> Vec<Gain> {
    let Some((solid, solid_error)) = solid(wedge, values) else { return Vec::new() };
    let mut out: Vec<Gain> = Vec::new();
    for (p, value) in wedge.patches.iter().zip(values) {
        if p.screen.is_empty() {
            continue;
        }
        let Ok(v) = value else { continue };
        let span = solid - y_unmarked;
        let mark = (v.y - y_unmarked) / span;
        let uncertainty = libm::hypot(v.y_error, mark * solid_error) / span.abs();
        let foretold = burn.and_then(|of| foretold(wedge, p, &of(p)));
        let step = GainStep { coverage: p.coverage.0, mark, uncertainty, foretold };
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

/// The mark of a patch's dots under a burn, as a share of a solid's; `None` where the dots are not those that were drawn.
fn foretold(wedge: &Wedge, patch: &TestPatch, burn: &Burn) -> Option<f64> {
    if patch.pattern == Pattern::Solid {
        return Some(1.0);
    }
    let grid = Grid { along: wedge.pitch_along, across: wedge.pitch_across };
    let n = |mm: f64, pitch: f64| (mm / pitch).round().max(1.0) as usize;
    let size = (n(patch.size[0], grid.along.0), n(patch.size[1], grid.across.0));
    let bench = Bench {
        rated_power: wedge.rated_power,
        grid,
        beam: wedge.beam(),
        response: wedge.expected.response(),
    };
    let asked = TestPatch { coverage: patch.wanted.unwrap_or(patch.coverage), ..patch.clone() };
    let dots = dots_of(&bench, &asked, size);
    let same = (dots.coverage() - patch.coverage.0).abs() < 2e-3;
    let forecast = Forecast::new(burn);
    same.then(|| mean(&forecast, &dots) / f64::from(forecast.solid().mark))
}

/// The mean mark of dots away from their edge, where the beam's light is missing, weighted as the photo's patch is: with a
/// raised cosine each way.
fn mean(forecast: &Forecast, dots: &Dots) -> f64 {
    let (w, h) = (dots.width(), dots.height());
    let marks = forecast.plane(dots);
    let edge = 4.min(w.min(h) / 4);
    let hann = |i: usize, n: usize| {
        let t = (i as f64 + 0.5 - edge as f64) / (n - 2 * edge) as f64;
        square(libm::sin(std::f64::consts::PI * t))
    };
    let (mut sum, mut weights) = (0.0, 0.0);
    for y in edge..h - edge {
        for (x, m) in marks.row(y).iter().enumerate().take(w - edge).skip(edge) {
            let weight = hann(x, w) * hann(y, h);
            sum += weight * f64::from(*m);
            weights += weight;
        }
    }
    sum / weights.max(1e-9)
}

/// Whether a screen is given the mark that is wanted and finds the dots for it by itself. Its row on a wedge
/// shows what it laid and what came of it; it needs no dot-gain curve.
pub fn wants_mark(screen: &str) -> bool {
    crate::screen::find(screen).is_some_and(|s| s.wants == crate::screen::Wants::Mark)
}

/// Mean luminance of the solids at the screens' setting with its standard uncertainty.
pub(super) fn solid(wedge: &Wedge, values: &[Result<PatchValue, Refusal>]) -> Option<(f64, f64)> {
    let dial = wedge.patches.iter().find(|p| !p.screen.is_empty()).map(|p| p.dial);
    let all: Vec<(f64, f64)> = wedge
        .patches
        .iter()
        .zip(values)
        .filter(|(p, _)| p.pattern == Pattern::Solid && !p.charred && dial.is_none_or(|d| d == p.dial))
        .filter_map(|(_, v)| v.as_ref().ok().map(|v| (v.y, v.y_error)))
        .collect();
    let n = all.len() as f64;
    (n > 0.0).then(|| {
        let mean = all.iter().map(|l| l.0).sum::<f64>() / n;
        (mean, all.iter().map(|l| l.1).fold(0.0, f64::max) / n.sqrt())
    })
}
