//! Measured: all patches on one scale of lightness, and what the gaps between them leave open of the light.

use super::patches::{self, Refusal};
use super::rectify::Flat;
use super::scale::{extreme_ratio, scale};
use super::surface::{LightSurface, gaps};
use super::value::PatchValue;
use crate::art::Photo;
use crate::wedge::ask::{Ask, ReadingError};
use crate::wedge::reading::Scale;
use crate::wedge::register::Located;
use crate::wedge::target::Wedge;

/// The patches as they were measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// The value of each patch of the wedge, or why there is none.
    pub values: Vec<Result<PatchValue, Refusal>>,
    /// The ways in which the light over each patch may be off, natural logarithms at one standard deviation.
    pub modes: Vec<Vec<f64>>,
    /// What lightness is measured against.
    pub scale: Scale,
    /// Whether the marks are lighter than the bare coating.
    pub lighter: bool,
    /// How unevenly the piece is lit: lightest over darkest gap.
    pub light_ratio: f64,
}

/// Measures all patches against the unmarked gaps between them.
///
/// # Errors
/// When no gap or no patch can be measured, or the white reference cannot be used.
pub fn measure(
    photo: &Photo,
    flat: &Flat,
    located: &Located,
    wedge: &Wedge,
    ask: &Ask,
) -> Result<Measured, ReadingError> {
    let guard = patches::guard(wedge, located.blur);
    let surface = LightSurface::fit(gaps(flat, wedge, guard), 3).ok_or_else(|| {
        ReadingError::Nothing(format!(
            "the edges are blurred over {:.2} mm and leave no unmarked gap between the patches to compare with; take a sharper photo",
            5.0 * located.blur
        ))
    })?;
    let lit = patches::measure(photo, flat, &located.camera, &surface, wedge, located.blur);
    if lit.iter().all(Result::is_err) {
        let why = lit.iter().find_map(|m| m.as_ref().err()).map_or(String::new(), ToString::to_string);
        return Err(ReadingError::Nothing(format!("{why}; take another photo in even, diffuse light")));
    }
    let lights: Vec<f64> = surface.gaps.iter().map(|g| surface.at(g.at.0, g.at.1)).collect();
    let lighter = if wedge.marks.is_empty() { extreme_ratio(&lit) > 1.0 } else { located.lighter };
    let scale = scale(photo, wedge, ask, &located.camera, &surface, &lit, lighter)?;
    let height = wedge.blank.height();
    let places: Vec<(f64, f64)> = wedge.patches.iter().map(|p| (p.centre[0], height - p.centre[1])).collect();
    let value =
        |m: &Result<_, Refusal>| m.as_ref().map(|m| PatchValue::of(m, scale.y_unmarked)).map_err(|e| *e);
    Ok(Measured {
        values: lit.iter().map(value).collect(),
        modes: surface.modes(&places),
        lighter,
        light_ratio: lights.iter().copied().fold(0.0, f64::max)
            / lights.iter().copied().fold(f64::INFINITY, f64::min),
        scale,
    })
}
