//! Beam: its width along and across, from line pairs, single dots and solids of a tone wedge.

use super::exposures::{Fill, parts};
use super::gain::solid;
use super::least_squares::{Minimum, minimise};
use super::model::ALONG;
use super::settle::REPEATS;
use crate::colour::lstar;
use crate::mark::Response;
use crate::progress::{Progress, Stopped};
use crate::wedge::measure::{PatchValue, Refusal};
use crate::wedge::measurement::Measurement;
use crate::wedge::reading::BeamReading;
use crate::wedge::target::{Pattern, Wedge};

/// Mean luminance of a fill under a beam (mm) and an exposure.
fn forecast(fill: &Fill, beam: [f64; 2], x: f64, r: &Response) -> f64 {
    parts(fill, beam).iter().map(|(e, share)| share * r.look(x * e)).sum()
}

/// Fits the beam's diameters to line pairs, single dots and solids. The response is the expected one: its
/// half point and steepness may move within what is known of them (2 % and 5 % where they were measured,
/// 20 % and 25 % where they are assumed), the look of a full mark is free.
///
/// # Errors
/// [`Stopped`] where the person asked for it.
pub fn beam(
    wedge: &Wedge,
    values: &[Result<PatchValue, Refusal>],
    y_unmarked: f64,
    progress: &dyn Progress,
) -> Result<BeamReading, Stopped> {
    let data: Vec<(Pattern, usize, f64, f64, f64)> = wedge
        .patches
        .iter()
        .zip(values)
        .filter(|(p, _)| p.pattern != Pattern::Screen)
        .filter_map(|(p, v)| {
            let (y, error) = v.as_ref().ok().map(|v| (v.y, v.y_error))?;
            let burn = wedge.burn(&p.dial, wedge.expected.response());
            let slope = (lstar(y + error) - lstar(y)).abs().hypot(0.3);
            Some((p.pattern, p.period, lstar(y), slope, burn.x_solid))
        })
        .collect();
    let lines = |p: Pattern| data.iter().filter(|d| d.0 == p).count();
    if lines(Pattern::LinesAlong) < 3 || lines(Pattern::LinesAcross) < 3 || lines(Pattern::Solid) < 1 {
        return Ok(BeamReading::not("it needs a solid and at least three line pairs each way"));
    }
    let e = &wedge.expected;
    let base = Response { y_unmarked, ..e.response() };
    let (half_error, rise_error) = if e.measured { (0.02, 0.05) } else { (0.20, 0.25) };
    let start_look = solid(wedge, values).map_or(e.y_marked, |s| s.0).max(1e-3);
    let pitch = [wedge.pitch_along.0, wedge.pitch_across.0];
    let rest = |p: &[f64]| -> Vec<f64> {
        let [along, across, half, rise, look] = *p else { return Vec::new() };
        let r = Response {
            x_half: base.x_half * half.clamp(-1.5, 1.5).exp(),
            rise: base.rise * rise.clamp(-1.0, 1.0).exp(),
            y_marked: look.clamp(-7.0, 0.5).exp(),
            ..base
        };
        let beam = [along, across].map(|v: f64| v.clamp(-4.6, 1.0).exp());
        let mut out: Vec<f64> = data
            .iter()
            .map(|&(pattern, period, l, error, x)| {
                (lstar(forecast(&Fill { pattern, period, pitch }, beam, x, &r)) - l) / error
            })
            .collect();
        out.push(half / half_error);
        out.push(rise / rise_error);
        out
    };
    let mut best: Option<Minimum> = None;
    let scales = [0.7, 1.0, 1.5];
    progress.expect(scales.len() as u64);
    for scale in scales {
        progress.go_on(1)?;
        let start = [
            (wedge.beam_along.0 * scale).ln(),
            (wedge.beam_across.0 * scale).ln(),
            0.0,
            0.0,
            start_look.ln(),
        ];
        if let Some(m) = minimise(&start, rest)
            && best.as_ref().is_none_or(|b| m.cost < b.cost)
        {
            best = Some(m);
        }
    }
    let Some(m) = best else {
        return Ok(BeamReading::not("the fit found no beam that explains the line pairs"));
    };
    let known = |i: usize| {
        let (v, e) = (m.at[i].exp(), m.error[i].hypot(REPEATS[i + ALONG]));
        if e <= 0.15 {
            Measurement::value(v, v * e)
        } else {
            Measurement::not("the line pairs do not settle it")
        }
    };
    let n = data.len() as f64;
    let squares: f64 = rest(&m.at).iter().take(data.len()).zip(&data).map(|(r, d)| (r * d.3).powi(2)).sum();
    Ok(BeamReading { along_mm: known(0), across_mm: known(1), rms: Some((squares / n).sqrt()) })
}
