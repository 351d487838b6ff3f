//! Exposure: what an exposure wedge tells: the response through its patches, or which way it missed its range.

use super::fitted::{ResponseFit, unknown};
use super::model::{Point, ripple};
use super::response::fit;
use super::verdict::judge;
use crate::colour::lstar;
use crate::progress::{Progress, Stopped};
use crate::wedge::measure::{Measured, PatchValue, Refusal};
use crate::wedge::target::{Pattern, Wedge};

/// Patches that the response needs, at least.
const LEAST: usize = 5;

/// The response of an exposure wedge with what it says of each patch.
#[derive(Debug, Clone, PartialEq)]
pub struct ExposureFit {
    /// The response.
    pub response: ResponseFit,
    /// Which way to move the range, where all patches are under- or over-burnt.
    pub missed: Option<String>,
    /// L* and char of the curve at each patch of the wedge; none where nothing was fitted.
    pub curve: Vec<Option<(f64, Option<f64>)>>,
    /// What the fit knows of the light over each patch beyond the gaps, natural logarithm; 0 where nothing.
    pub light: Vec<f64>,
    /// What a reader must know.
    pub notes: Vec<String>,
}

/// Fits the response to the patches.
///
/// # Errors
/// [`Stopped`] where the person asked for it.
pub fn exposure(wedge: &Wedge, measured: &Measured, progress: &dyn Progress) -> Result<ExposureFit, Stopped> {
    let Measured { values, modes, lighter, .. } = measured;
    let y_unmarked = measured.scale.y_unmarked;
    let unsettled = modes.iter().all(Vec::is_empty);
    let points = points(wedge, values, unsettled);
    let plain: Vec<Point> = points.iter().map(|p| p.1).collect();
    let open: Vec<Vec<f64>> = points.iter().map(|p| modes.get(p.0).cloned().unwrap_or_default()).collect();
    let settings: Vec<Point> = points
        .iter()
        .filter(|(i, _)| wedge.patches.get(*i).is_some_and(|p| !p.charred))
        .map(|p| p.1)
        .collect();
    let missed = judge(&settings, lstar(y_unmarked), *lighter);
    let few = || format!("{} patches could be measured and the response needs {LEAST}", settings.len());
    let why = missed.clone().or_else(|| (settings.len() < LEAST).then(few));
    let response = match &why {
        Some(why) => unknown(&plain, y_unmarked, &wedge.expected, why),
        None => fit(&plain, &open, &ripple(wedge), y_unmarked, &wedge.expected, progress)?,
    };
    let mut curve = vec![None; values.len()];
    for ((i, p), l) in points.iter().zip(&response.fitted) {
        if let Some(of) = curve.get_mut(*i) {
            *of = Some((*l, response.char(p.dose, p.speed)));
        }
    }
    let mut light = vec![0.0; values.len()];
    for ((i, _), l) in points.iter().zip(&response.light) {
        if let Some(of) = light.get_mut(*i) {
            *of = *l;
        }
    }
    Ok(ExposureFit { response, missed, curve, light, notes: why.into_iter().collect() })
}

/// The solid patches that could be measured, as the fit takes them, each with its index on the wedge. `unsettled`
/// says that nothing is known of the light's error beside the patches' own uncertainty.
fn points(wedge: &Wedge, values: &[Result<PatchValue, Refusal>], unsettled: bool) -> Vec<(usize, Point)> {
    wedge
        .patches
        .iter()
        .zip(values)
        .enumerate()
        .filter(|(_, (p, _))| p.pattern == Pattern::Solid)
        .filter_map(|(i, (p, v))| {
            let v = v.as_ref().ok()?;
            let (dose, speed) = (wedge.dose(&p.dial), p.dial.speed.0);
            Some((i, Point { dose, speed, lightness: v.l, error: v.l_fit(unsettled) }))
        })
        .collect()
}
