//! Doubt: what speaks against a reading, so that it is not taken for true.

use super::fit::{BENT, Limited, ResponseFit};
use super::measure::{Measured, Refusal};
use super::target::{Pattern, Wedge};
use crate::units::short;

/// Patches of a good photo lie on one curve to 0.3 L* where it is flat (rendered photos); above this the light was not what it
/// was taken for. Where it is steep, an uneven coating moves them.
const OFF_CURVE: f64 = 0.7;
/// A coating more uneven than this, as a share of the exposure: no setting suits all of it.
pub const TOO_UNEVEN: f64 = 0.08;
/// Light that differs by more over the piece has an edge or a glare in it, which no smooth surface follows.
const UNEVEN: f64 = 1.9;
/// Below half, reciprocity fails more than any heat conduction allows.
const LEAST_EXPONENT: f64 = 0.45;
/// A burn has grain; a drawing has none, L*.
const LEAST_GRAIN: f64 = 0.02;

/// What speaks against the reading, a sentence each.
pub fn doubts(wedge: &Wedge, measured: &Measured, fit: Option<&ResponseFit>) -> Vec<String> {
    let mut out = Vec::new();
    if measured.light_ratio > UNEVEN {
        out.push(format!(
            "the light over the piece differs {} times: a shadow's edge, a reflection or a lamp too near",
            short(measured.light_ratio, 1)
        ));
    }
    if let Some(share) = measured.glare {
        out.push(format!(
            "a reflection lies on the piece: where it is strongest, {} % of the bare coating's light is not the coating's",
            short(100.0 * share, 0)
        ));
    }
    let clipped = measured.values.iter().filter(|v| matches!(v, Err(Refusal::Clipped { .. }))).count();
    if clipped > 0 {
        out.push(format!(
            "the photo is over-exposed: {clipped} patch{} at the camera's limit, so the lightest of them are missing and the scale of lightness is wrong",
            if clipped == 1 { " is" } else { "es are" }
        ));
    }
    let grains = wedge.patches.iter().zip(&measured.values).filter(|(p, _)| p.pattern == Pattern::Solid);
    let mut grains: Vec<f64> = grains.filter_map(|(_, v)| v.as_ref().ok().map(|v| v.grain)).collect();
    grains.sort_by(f64::total_cmp);
    if grains.get(grains.len() / 2).is_some_and(|g| *g < LEAST_GRAIN) {
        out.push("the patches have no grain at all: this is a picture of the drawing, not a photo of a burnt piece".into());
    }
    let Some(fit) = fit else { return out };
    let before = out.len();
    match fit.limited {
        Some(Limited::Speed(v)) => out.push(format!(
            "patches faster than about {} mm/s look as if they had been burnt at that speed: the controller holds the speed below what the program asks for; raise its limit, or draw the wedge with slower speeds",
            short(v, 0)
        )),
        Some(Limited::Power(share)) => out.push(format!(
            "patches above about {} % of the strongest power look as if they had been burnt at that: the controller holds the power below what the program asks for; correct its full scale, or draw the wedge with less power",
            short(100.0 * share, 0)
        )),
        None => {}
    }
    if let Some(s) = fit.schwarzschild.get().filter(|s| *s < LEAST_EXPONENT) {
        out.push(format!(
            "fast patches are as strong as slow ones (exponent {}): see whether the controller holds the speed below what the program asks for",
            short(s, 2)
        ));
    }
    if measured.glare.is_none()
        && let Some(toned) = fit.toned.filter(|t| t.steeper.abs() > BENT)
    {
        out.push(format!(
            "the camera bent the photo's tones by more than can be taken off (its curve is {} % off the standard one in the middle): switch off its picture styles, or take another camera",
            short(100.0 * (measured.steeper + toned.steeper).abs(), 0)
        ));
    }
    // What a machine does to speeds or powers also scatters the patches: one reason is enough.
    if out.len() > before {
        return out;
    }
    if fit.uneven > TOO_UNEVEN {
        out.push(format!(
            "the coating is uneven: from patch to patch it needs {} % more or less exposure; paint another piece more evenly",
            short(100.0 * fit.uneven, 0)
        ));
    }
    if let Some(miss) = fit.flat_miss.or(Some(fit.rms)).filter(|m| *m > OFF_CURVE) {
        out.push(format!(
            "the patches do not lie on one curve (they are {} L* off): glare or a veil of light on the piece, or a machine that does not keep the program's powers and speeds",
            short(miss, 1)
        ));
    }
    out
}
