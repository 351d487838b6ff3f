//! Choice: which patch is picked, why, and what else it hangs on.

use super::exposure::ExposureFit;
use super::pick::{Choice, pick};
use crate::mark::response::OVER_BURN;
use crate::wedge::measure::{Measured, PatchValue, REPEATS, Refusal};
use crate::wedge::measurement::Measurement;
use crate::wedge::reading::PickReading;
use crate::wedge::spread::robust_size;
use crate::wedge::target::{TestPatch, Wedge};

/// How well the fitted char of a patch near the limit of over-burn is known, as a factor: its exposure to about
/// 1.6 % (measured on rendered photos), and char rises with about the eighth power of it.
const CHAR_FACTOR: f64 = 1.2;

/// The picked patch, and what a reader must know of the choice.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Chosen {
    /// The pick; none where no patch qualifies.
    pub pick: Option<PickReading>,
    /// What a reader must know.
    pub notes: Vec<String>,
}

/// Picks the patch that a practitioner would; those with a grain above `grain_limit` (L*) are left out.
pub fn choose(wedge: &Wedge, measured: &Measured, exposure: &ExposureFit, grain_limit: f64) -> Chosen {
    let Measured { values, lighter, .. } = measured;
    let lighter = *lighter;
    let choices = choices(wedge, values, exposure);
    let at_limit = |limit: f64| pick(&choices, lighter, grain_limit, limit);
    let picked = at_limit(OVER_BURN);
    let other = [OVER_BURN / CHAR_FACTOR, OVER_BURN * CHAR_FACTOR]
        .into_iter()
        .filter_map(at_limit)
        .find(|o| picked.is_some_and(|i| i != *o))
        .and_then(|o| wedge.patches.get(o));
    let patch = |i: usize| Some((wedge.patches.get(i)?, choices.get(i)?.as_ref()?, values.get(i)?));
    let Some((p, c, value)) = picked.and_then(patch) else {
        let note = format!("no patch is picked: all are grainy (above {grain_limit} L*) or over-burnt");
        return Chosen { pick: None, notes: vec![note] };
    };
    let pick = reading(wedge, p, c, value.as_ref().ok(), exposure, lighter);
    let mut notes = Vec::new();
    if let Some(o) = other {
        notes.push(format!(
            "the pick hangs on where char sets in, which the patches tell to about a fifth of its 5 %: {} may be the better setting; compare {} and {} by eye",
            o.name, p.name, o.name
        ));
    }
    let fastest = wedge.patches.iter().map(|p| p.dial.speed.0).fold(0.0, f64::max);
    if p.dial.speed.0 >= fastest {
        notes.push("the pick is in the fastest column: a faster one may do as well; draw another wedge with higher speeds".into());
    }
    Chosen { pick: Some(pick), notes }
}

/// The pick as the reading states it; `value` is that of the patch, where it could be read.
fn reading(
    wedge: &Wedge,
    p: &TestPatch,
    choice: &Choice,
    value: Option<&PatchValue>,
    exposure: &ExposureFit,
    lighter: bool,
) -> PickReading {
    let fit = &exposure.response;
    let latitude = match fit.x_char.get() {
        Some(x_char) => {
            let r = &fit.response;
            // q = 5 % at X = x_char 19^(-1/m).
            let at_five = x_char * 19f64.powf(-1.0 / r.char_rise);
            let x = wedge.burn(&p.dial, *r).x_solid;
            Measurement::value(100.0 * (at_five / x - 1.0), 0.0)
        }
        None => Measurement::not("no patch was over-burnt"),
    };
    let name = if lighter { "lightest" } else { "darkest" };
    let unread = if value.is_none() {
        "; the patch itself could not be read, its lightness is the curve's through the others"
    } else {
        ""
    };
    let lines = 85.0 / wedge.pitch_across.0;
    PickReading {
        patch: p.name.clone(),
        power_percent: 100.0 * p.dial.power.0,
        speed_mm_s: p.dial.speed.0,
        passes: p.dial.passes,
        lightness: value.map_or(choice.lightness, |v| v.l),
        grain: choice.grain,
        why: format!(
            "the fastest within 2 L* of the {name} that is not grainy, then the one with the least power{unread}"
        ),
        latitude_percent: latitude,
        seconds_for_85_mm: lines * 85.0 / p.dial.speed.0 * f64::from(p.dial.passes),
    }
}

/// What the choice sees of each patch; nothing of the charred patch beside the grid.
///
/// A patch's own lightness and the curve's are weighed by their uncertainties: one noisy patch then neither sets
/// the limit of what is light enough nor wins by chance. A patch that could not be read stands for its setting with
/// the curve's lightness and the grain of the patch that was read at the nearest exposure. What the fit knows of
/// the light beyond the gaps is taken out here and left in the reading's measured values.
fn choices(
    wedge: &Wedge,
    values: &[Result<PatchValue, Refusal>],
    exposure: &ExposureFit,
) -> Vec<Option<Choice>> {
    let (fit, light) = (&exposure.response, &exposure.light);
    let settled = fit.x_half.get().is_some() && fit.rms < 1.5;
    let known = light.iter().any(|l| *l != 0.0);
    let x_of = |p: &TestPatch| wedge.burn(&p.dial, fit.curve).x_solid;
    // How many times more than its grain and 0.05 L* the curve misses a patch, in the middle of them all.
    let misses = wedge
        .patches
        .iter()
        .zip(values)
        .zip(light)
        .filter_map(|((p, s), e)| s.as_ref().ok().map(|s| (s, fit.lightness(x_of(p)), e)))
        .map(|(s, l, e)| (s.under(*e) - l) / s.l_grain().hypot(REPEATS));
    let misfit = robust_size(misses).max(1.0);
    let grain_near = |x: f64| {
        wedge
            .patches
            .iter()
            .zip(values)
            .filter_map(|(p, s)| s.as_ref().ok().map(|s| ((x_of(p) / x).ln().abs(), s.grain)))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, grain)| grain)
    };
    wedge
        .patches
        .iter()
        .zip(values)
        .zip(light)
        .map(|((p, s), e)| {
            if p.charred {
                return None;
            }
            let x = x_of(p);
            let curve = settled.then(|| fit.lightness(x));
            let (value, grain) = match (s, curve) {
                (Ok(s), Some(l)) => {
                    // The curve misses a patch by its grain at least; 0.05 L* is set for what both miss.
                    let grain = s.l_grain();
                    let all = s.l_fit(!known);
                    let own = (all.powi(2) - grain.powi(2)).max(REPEATS.powi(2)).recip();
                    let its = (misfit * grain.hypot(REPEATS)).powi(-2);
                    ((own * s.under(*e) + its * l) / (own + its), s.grain)
                }
                (Ok(s), None) => (s.under(*e), s.grain),
                (Err(_), Some(l)) => (l, grain_near(x)?),
                (Err(_), None) => return None,
            };
            Some(Choice {
                lightness: value,
                grain,
                pace: p.dial.speed.0 / f64::from(p.dial.passes),
                power: p.dial.power.0,
                char: fit.char(wedge.dose(&p.dial), p.dial.speed.0).unwrap_or(0.0),
            })
        })
        .collect()
}
