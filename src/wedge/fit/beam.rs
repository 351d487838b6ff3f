//! Beam: its width along and across, from line pairs, single dots and solids of a tone wedge.

use super::exposures::{Fill, parts};
use super::gain::solid;
use super::least_squares::{Minimum, minimise};
use super::model::{ALONG, SLOPE_SPREAD};
use super::settle::REPEATS;
use crate::colour::lstar;
use crate::mark::Response;
use crate::progress::{Progress, Stopped};
use crate::texts::text;
use crate::wedge::measure::{PatchValue, Refusal};
use crate::wedge::measurement::Measurement;
use crate::wedge::reading::BeamReading;
use crate::wedge::spread::square;
use crate::wedge::target::{Pattern, Wedge};

/// A patch as the fit takes it.
struct Seen {
    fill: Fill,
    lightness: f64,
    error: f64,
    /// Exposure of a solid under the expected response, J/mm².
    x: f64,
    place: [f64; 2],
}

/// Mean luminance of a fill under a beam (mm) and an exposure.
fn forecast(fill: &Fill, beam: [f64; 2], x: f64, r: &Response) -> f64 {
    parts(fill, beam).iter().map(|(e, share)| share * r.look(x * e)).sum()
}

/// Fits the beam's diameters to line pairs, single dots and solids. The response is the expected one: its
/// half point and steepness may move within what is known of them (2 % and 5 % where they were measured,
/// 20 % and 25 % where they are assumed), the look of a full mark is free, and so is a slope of the coating's
/// sensitivity over the piece, within what brushed paint has.
///
/// # Errors
/// [`Stopped`] where the person asked for it.
pub fn beam(
    wedge: &Wedge,
    values: &[Result<PatchValue, Refusal>],
    y_unmarked: f64,
    progress: &dyn Progress,
) -> Result<BeamReading, Stopped> {
    let pitch = [wedge.pitch_along.0, wedge.pitch_across.0];
    let data: Vec<Seen> = wedge
        .patches
        .iter()
        .zip(values)
        .filter(|(p, _)| p.pattern != Pattern::Screen)
        .filter_map(|(p, v)| {
            let (y, error) = v.as_ref().ok().map(|v| (v.y, v.y_error))?;
            let burn = wedge.burn(&p.dial, wedge.expected.response());
            let slope = libm::hypot((lstar(y + error) - lstar(y)).abs(), 0.3);
            Some(Seen {
                fill: Fill { pattern: p.pattern, period: p.period, pitch },
                lightness: lstar(y),
                error: slope,
                x: burn.x_solid,
                place: wedge.place(p),
            })
        })
        .collect();
    let lines = |p: Pattern| data.iter().filter(|d| d.fill.pattern == p).count();
    if lines(Pattern::LinesAlong) < 3 || lines(Pattern::LinesAcross) < 3 || lines(Pattern::Solid) < 1 {
        return Ok(BeamReading::not(text!("wedge.open.beam.few")));
    }
    let e = &wedge.expected;
    let base = Response { y_unmarked, ..e.response() };
    let (half_error, rise_error) = if e.measured { (0.02, 0.05) } else { (0.20, 0.25) };
    let start_look = solid(wedge, values).map_or(e.y_marked, |s| s.0).max(1e-3);
    let rest = |p: &[f64]| -> Vec<f64> {
        let [along, across, half, rise, look, right, down] = *p else { return Vec::new() };
        let r = Response {
            x_half: base.x_half * libm::exp(half.clamp(-1.5, 1.5)),
            rise: base.rise * libm::exp(rise.clamp(-1.0, 1.0)),
            y_marked: libm::exp(look.clamp(-7.0, 0.5)),
            ..base
        };
        let beam = [along, across].map(|v: f64| libm::exp(v.clamp(-4.6, 1.0)));
        let mut out: Vec<f64> = data
            .iter()
            .map(|d| {
                let x = d.x * libm::exp((right * d.place[0] + down * d.place[1]).clamp(-1.0, 1.0));
                (lstar(forecast(&d.fill, beam, x, &r)) - d.lightness) / d.error
            })
            .collect();
        out.push(half / half_error);
        out.push(rise / rise_error);
        out.extend([right / SLOPE_SPREAD.1, down / SLOPE_SPREAD.1]);
        out
    };
    let mut best: Option<Minimum> = None;
    let scales = [0.7, 1.0, 1.5];
    progress.expect(scales.len() as u64);
    for scale in scales {
        progress.go_on(1)?;
        let start = [
            libm::log(wedge.beam_along.0 * scale),
            libm::log(wedge.beam_across.0 * scale),
            0.0,
            0.0,
            libm::log(start_look),
            0.0,
            0.0,
        ];
        if let Some(m) = minimise(&start, rest)
            && best.as_ref().is_none_or(|b| m.cost < b.cost)
        {
            best = Some(m);
        }
    }
    let Some(m) = best else {
        return Ok(BeamReading::not(text!("wedge.open.beam.none")));
    };
    let known = |i: usize| {
        let (v, e) = (libm::exp(m.at[i]), libm::hypot(m.error[i], REPEATS[i + ALONG]));
        if e <= 0.15 { Measurement::value(v, v * e) } else { Measurement::not(text!("wedge.open.lines")) }
    };
    let n = data.len() as f64;
    let squares: f64 = rest(&m.at).iter().take(data.len()).zip(&data).map(|(r, d)| square(r * d.error)).sum();
    Ok(BeamReading { along_mm: known(0), across_mm: known(1), rms: Some((squares / n).sqrt()) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::blank::Blank;
    use crate::mark::Beam;
    use crate::mark::response::tests::POSTER_PAINT;
    use crate::placement::Grid;
    use crate::progress::Silent;
    use crate::units::{Mm, MmPerS, Share, Watts};
    use crate::wedge::draw::{Request, draw};
    use crate::wedge::target::{Dial, TestPatch, WedgeKind};

    fn tone_wedge() -> Wedge {
        let request = Request {
            kind: WedgeKind::Tone,
            blank: Blank { shape: "rect:100x100mm".parse().unwrap(), margin: Mm(2.5) },
            machine: "bench diode".into(),
            coating: "harbour white".into(),
            rated_power: Watts(5.0),
            beam: Beam { along: Mm(0.12), across: Mm(0.12) },
            beam_measured: false,
            grid: Grid { along: Mm(0.0875), across: Mm(0.0875) },
            powers: vec![Share(0.9)],
            speeds: vec![MmPerS(12.5)],
            chosen: Dial { power: Share(0.9), speed: MmPerS(12.5), passes: 1 },
            marks_power: None,
            marks_speed: None,
            response: POSTER_PAINT,
            response_measured: true,
            screens: vec!["threshold".into()],
            coverages: (1..=8).map(|i| Share(f64::from(i) / 8.0)).collect(),
            combs: 3,
            patch: Mm(4.0),
        };
        draw(&request).unwrap().wedge
    }

    /// Paint that is thicker on one side is no wider or narrower beam, whichever side it is.
    #[test]
    fn a_slope_of_the_coating_does_not_pass_for_a_beam() {
        let wedge = tone_wedge();
        let (r, truth) = (wedge.expected.response(), [0.14, 0.10]);
        for (right, down) in [(0.0, 0.0), (0.1, 0.0), (-0.1, 0.0), (0.0, 0.1), (0.0, -0.1)] {
            let value = |p: &TestPatch| {
                let fill = Fill {
                    pattern: p.pattern,
                    period: p.period,
                    pitch: [wedge.pitch_along.0, wedge.pitch_across.0],
                };
                let [x, y] = wedge.place(p);
                let slope = (right * x + down * y).exp();
                Ok(PatchValue::sure(forecast(&fill, truth, wedge.burn(&p.dial, r).x_solid * slope, &r)))
            };
            let values: Vec<_> = wedge.patches.iter().map(value).collect();
            let found = beam(&wedge, &values, r.y_unmarked, &Silent).unwrap();
            for (told, truth) in [(found.along_mm, truth[0]), (found.across_mm, truth[1])] {
                let off = told.get().unwrap() / truth - 1.0;
                assert!(off.abs() < 0.02, "{right} {down}: {truth} mm is told {:+.1} % off", 100.0 * off);
            }
        }
    }
}
