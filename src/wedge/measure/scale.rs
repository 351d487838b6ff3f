//! Scale: that on which the patches' luminance is stated, absolute or relative.

use super::patches::{PatchLight, Refusal};
use super::surface::LightSurface;
use crate::art::Photo;
use crate::colour::lstar;
use crate::texts::text;
use crate::units::short;
use crate::wedge::ask::{Ask, ReadingError};
use crate::wedge::reading::Scale;
use crate::wedge::register::Camera;
use crate::wedge::target::Wedge;

/// The ratio to the bare coating that is furthest from one.
pub fn extreme_ratio(measured: &[Result<PatchLight, Refusal>]) -> f64 {
    measured
        .iter()
        .flatten()
        .map(|m| m.ratio)
        .max_by(|a, b| libm::log(a.max(1e-6)).abs().total_cmp(&libm::log(b.max(1e-6)).abs()))
        .unwrap_or(1.0)
}

/// The light at a white reference that two ways of carrying it on give further apart, as a logarithm, is not known.
const MOST_SPREAD: f64 = 0.15;
/// What the reference's own evenness and the camera leave open, as a logarithm (own judgement).
const LEAST_SPREAD: f64 = 0.015;

/// What lightness is measured against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Against {
    /// A white reference in the photo, and its light there.
    White(f64),
    /// The lightest patch, whose look was expected.
    Lightest,
    /// The bare coating, whose look was expected.
    Bare,
}

/// Settles luminance: from the white reference, or from one look that was expected.
///
/// # Errors
/// When the white reference cannot be used.
pub fn scale(
    photo: &Photo,
    wedge: &Wedge,
    ask: &Ask,
    camera: &Camera,
    surface: &LightSurface,
    measured: &[Result<PatchLight, Refusal>],
    lighter: bool,
) -> Result<(Scale, Against), ReadingError> {
    if let Some(white) = ask.white {
        let (scale, light) = absolute(photo, ask, camera, surface, white)?;
        return Ok((scale, Against::White(light)));
    }
    let e = &wedge.expected;
    let best = measured.iter().flatten().map(|m| m.ratio).fold(0.0, f64::max);
    // The lightest look is known best; it is the full mark where marks are light and marked at all.
    if lighter && best > 1.0 + 0.3 * (e.y_marked / e.y_unmarked - 1.0).max(0.0) && best > 1.3 {
        return Ok((
            relative(text!("wedge.scale.what.lightest"), e.y_marked, e.y_marked / best),
            Against::Lightest,
        ));
    }
    Ok((relative(text!("wedge.scale.what.bare"), e.y_unmarked, e.y_unmarked), Against::Bare))
}

/// A scale on which `what` has the luminance `expected` and the bare coating `y_unmarked`.
pub fn relative(what: &str, expected: f64, y_unmarked: f64) -> Scale {
    Scale {
        absolute: false,
        note: text!(
            "wedge.scale.relative",
            what,
            lightness = format_args!("{:.1}", lstar(expected)),
            luminance = format_args!("{:.2}", expected)
        ),
        y_unmarked,
        sigma: 0.0,
    }
}

fn absolute(
    photo: &Photo,
    ask: &Ask,
    camera: &Camera,
    surface: &LightSurface,
    white: [f64; 4],
) -> Result<(Scale, f64), ReadingError> {
    let [x, y, w, h] = white;
    let (pw, ph) = (photo.light.width() as f64, photo.light.height() as f64);
    if !(x >= 0.0 && y >= 0.0 && w >= 4.0 && h >= 4.0 && x + w <= pw && y + h <= ph) {
        return Err(ReadingError::White(text!(
            "wedge.white.outside",
            x,
            y,
            width = w,
            height = h,
            photo_width = pw,
            photo_height = ph
        )));
    }
    if !(ask.white_luminance > 0.0 && ask.white_luminance <= 1.0) {
        return Err(ReadingError::White(text!("wedge.white.luminance", luminance = ask.white_luminance)));
    }
    let (mut sum, mut n, mut clipped) = (0.0, 0.0, 0.0);
    for py in y as usize..(y + h) as usize {
        for px in x as usize..(x + w) as usize {
            sum += f64::from(photo.light.row(py).get(px).copied().unwrap_or(0.0));
            n += 1.0;
            clipped += f64::from(u8::from(photo.clipped.get(px, py)));
        }
    }
    if clipped > 0.01 * n {
        return Err(ReadingError::White(text!(
            "wedge.white.clipped",
            share = format_args!("{:.0}", 100.0 * clipped / n)
        )));
    }
    let light = sum / n;
    if light < 0.02 {
        return Err(ReadingError::White(text!("wedge.white.black").into()));
    }
    // The light at the card is that of the piece carried on, as a slope and as a bend: how far the two differ there is how
    // well it is known.
    let middle = (x + w / 2.0, y + h / 2.0);
    let at = camera.back_project(middle).unwrap_or((0.0, 0.0));
    let carried = |order: usize| LightSurface::fit(surface.gaps.clone(), order).map(|s| s.at(at.0, at.1));
    let (Some(sloped), Some(bent)) = (carried(1), carried(2)) else {
        return Err(ReadingError::White(text!("wedge.white.few-gaps").into()));
    };
    let spread = libm::log(bent / sloped).abs();
    if spread > MOST_SPREAD {
        return Err(ReadingError::White(text!(
            "wedge.white.unknown-light",
            apart = short(100.0 * spread, 0)
        )));
    }
    let bare = (sloped * bent).sqrt();
    let sigma = libm::hypot(spread, LEAST_SPREAD);
    let y_unmarked = ask.white_luminance * bare / light;
    if !(1e-4..=1.0).contains(&y_unmarked) {
        return Err(ReadingError::White(text!(
            "wedge.white.absurd",
            luminance = format_args!("{:.2}", y_unmarked)
        )));
    }
    let scale = Scale {
        absolute: true,
        note: text!(
            "wedge.scale.absolute",
            luminance = format_args!("{:.2}", ask.white_luminance),
            uncertainty = short(100.0 * sigma, 0)
        ),
        y_unmarked,
        sigma,
    };
    Ok((scale, light))
}
