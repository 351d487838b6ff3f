//! Exposure: what the patches of a wedge tell: the response and the beam, or which way the wedge missed its range.

use super::exposures::{Exposures, Fill};
use super::fitted::{ResponseFit, unknown};
use super::model::{BeamGuess, EARLIER, Point};
use super::reach::{ShortOfFull, short_of_full};
use super::response::{Data, fit};
use super::uneven::Strays;
use super::veil::shapes;
use super::verdict::judge;
use crate::colour::lstar;
use crate::job::process::SheetRecord;
use crate::progress::{Progress, Stopped};
use crate::texts::text;
use crate::wedge::ask::Ask;
use crate::wedge::measure::{Measured, PatchValue, Refusal, TONES, VeilOver};
use crate::wedge::spread::square;
use crate::wedge::target::{Pattern, Wedge, WedgeKind};

/// Solids that the response needs, at least.
const LEAST: usize = 5;
/// How well a beam is known that was assumed, and one that an earlier wedge told, as natural logarithms: makers of diodes
/// differ by a fifth (common practice).
const BEAM_SPREAD: (f64, f64) = (0.2, 0.05);

/// The response of a wedge with what it says of each patch.
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
    /// The veil over each patch that the patches ask for, beyond what was taken off.
    pub veil: Option<VeilOver>,
    /// Patches of the wedge that lie off the curve beside each other.
    pub strays: Option<Strays>,
    /// Where no patch of the grid reaches a full mark.
    pub short: Option<ShortOfFull>,
    /// What a reader must know.
    pub notes: Vec<String>,
}

/// Fits the response to the patches, together with those of sheets that were read before.
///
/// # Errors
/// [`Stopped`] where the person asked for it.
pub fn exposure(
    wedge: &Wedge,
    measured: &Measured,
    ask: &Ask,
    progress: &dyn Progress,
) -> Result<ExposureFit, Stopped> {
    let Measured { values, modes, lighter, .. } = measured;
    let height = wedge.blank.height();
    let places: Vec<(f64, f64)> = wedge.patches.iter().map(|p| (p.centre[0], height - p.centre[1])).collect();
    // A veil needs patches of all looks all over the piece.
    let shapes = if places.len() >= 24 {
        shapes(&places, &measured.bumps, wedge.blank.width().max(height))
    } else {
        Vec::new()
    };
    let y_unmarked = measured.scale.y_unmarked;
    let unsettled = modes.iter().all(Vec::is_empty);
    let pitch = [wedge.pitch_along.0, wedge.pitch_across.0];
    // The fit takes the pitch of the sheet that is read from its first fill.
    let mut fills = vec![Fill { pattern: Pattern::Solid, period: 0, pitch }];
    let own = points(wedge, values, unsettled, &mut fills);
    let settings: Vec<Point> = own
        .iter()
        .filter(|(i, _)| wedge.patches.get(*i).is_some_and(|p| p.is_setting()))
        .map(|p| p.1)
        .collect();
    let width = modes.iter().map(Vec::len).max().unwrap_or(0);
    let mut all: Vec<Point> = own.iter().map(|p| p.1).collect();
    let of_own = |rows: &[Vec<f64>]| -> Vec<Vec<f64>> {
        own.iter().map(|p| rows.get(p.0).cloned().unwrap_or_default()).collect()
    };
    let tones: Vec<f64> = own.iter().map(|p| measured.tones.get(p.0).copied().unwrap_or(0.0)).collect();
    let (mut open, ways, own_shapes) = (of_own(modes), of_own(&measured.veil.ways), of_own(&shapes));
    let mut bare = vec![y_unmarked];
    for sheet in ask.earlier.iter().filter(|s| s.wedge != wedge.id).take(EARLIER) {
        all.extend(recorded(sheet, bare.len(), &mut fills));
        open.resize(all.len(), vec![0.0; width]);
        bare.push(sheet.y_unmarked);
    }
    let solid = |p: &Point| fills.get(p.fill).is_some_and(|f| f.pattern == Pattern::Solid);
    let solids = all.iter().filter(|p| solid(p) && !p.charred).count();
    let missed = judge(&settings, lstar(y_unmarked), *lighter);
    let few = || text!("wedge.open.few", solids, least = LEAST);
    let why = missed.clone().or_else(|| (solids < LEAST).then(few));
    let known = wedge.beam_measured || ask.beam.iter().all(Option::is_some);
    let spread = if known { BEAM_SPREAD.1 } else { BEAM_SPREAD.0 };
    let [along, across] = ask.beam;
    let beam = [along.unwrap_or(wedge.beam_along.0), across.unwrap_or(wedge.beam_across.0)];
    let beam = BeamGuess { beam, spread };
    let response = match &why {
        Some(why) => unknown(&all, y_unmarked, beam.beam, &wedge.expected, why),
        None => {
            let exposures = Exposures::new(fills);
            let (points, modes, ways) = (&all, &open, &ways);
            let shapes: &[Vec<f64>] = if shapes.is_empty() { &[] } else { &own_shapes };
            let tones = tones.as_slice();
            let data = Data { points, modes, ways, shapes, tones, exposures: &exposures, bare: &bare, beam };
            fit(&data, &wedge.expected, progress)?
        }
    };
    let mut curve = vec![None; values.len()];
    for ((i, p), l) in own.iter().zip(&response.fitted) {
        if let Some(of) = curve.get_mut(*i) {
            *of = Some((*l, response.char(p.dose, p.speed)));
        }
    }
    let mut light = vec![0.0; values.len()];
    for ((i, _), l) in own.iter().zip(&response.light) {
        if let Some(of) = light.get_mut(*i) {
            *of = *l;
        }
    }
    let veil = response.veil.as_ref().map(|v| {
        let (over, ways) = shapes.iter().map(|s| v.over(s)).unzip();
        VeilOver { share: over, ways }
    });
    let strays = response.strays.as_ref().map(|s| {
        let patch = |i: &usize| own.get(*i).map(|p| p.0);
        Strays { which: s.which.iter().filter_map(patch).collect(), most: s.most }
    });
    // A tone wedge has one setting only.
    let grid = wedge.kind != WedgeKind::Tone && missed.is_none();
    let short = grid.then(|| short_of_full(wedge, &response, measured.scale.absolute)).flatten();
    Ok(ExposureFit { strays, response, missed, curve, light, veil, short, notes: why.into_iter().collect() })
}

/// Index of a fill, which is added where it is new.
fn index_of(fill: Fill, fills: &mut Vec<Fill>) -> usize {
    fills.iter().position(|f| *f == fill).unwrap_or_else(|| {
        fills.push(fill);
        fills.len() - 1
    })
}

/// The patches that could be measured, screens left out, as the fit takes them, each with its index on the wedge.
/// `unsettled` says that nothing is known of the light's error beside the patches' own uncertainty.
fn points(
    wedge: &Wedge,
    values: &[Result<PatchValue, Refusal>],
    unsettled: bool,
    fills: &mut Vec<Fill>,
) -> Vec<(usize, Point)> {
    let pitch = [wedge.pitch_along.0, wedge.pitch_across.0];
    let mut out = Vec::new();
    for (i, (p, v)) in wedge.patches.iter().zip(values).enumerate() {
        let Ok(v) = v else { continue };
        if p.pattern == Pattern::Screen {
            continue;
        }
        let fill = index_of(Fill { pattern: p.pattern, period: p.period, pitch }, fills);
        let (dose, speed) = (wedge.dose(&p.dial), p.dial.speed.0);
        out.push((
            i,
            Point {
                dose,
                speed,
                lightness: v.l,
                error: v.l_fit(unsettled),
                fill,
                sheet: 0,
                place: wedge.place(p),
                passes: f64::from(p.dial.passes),
                charred: p.charred,
            },
        ));
    }
    out
}

/// The patches of a sheet that was read before.
fn recorded(record: &SheetRecord, sheet: usize, fills: &mut Vec<Fill>) -> Vec<Point> {
    let pitch = [record.pitch_along.0, record.pitch_across.0];
    let point = |p: &crate::job::process::PatchRecord| Point {
        dose: p.dose_j_mm2,
        speed: p.speed.0,
        lightness: p.lightness,
        // What a camera does to tones is not each patch's own.
        error: (square(p.sigma) - square(TONES)).max(0.0).sqrt().max(0.1),
        fill: index_of(Fill { pattern: p.pattern, period: p.period, pitch }, fills),
        sheet,
        place: [0.0, 0.0],
        passes: 1.0,
        charred: p.charred,
    };
    record.patch.iter().map(point).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_patch_that_was_burnt_to_be_charred_is_known_as_such_when_its_sheet_is_taken_in_again() {
        let patch = |more: &str| {
            format!(
                "[[patch]]\ndose_j_mm2 = 9.0\nspeed = '7mm/s'\npattern = 'solid'\nperiod = 0\nlightness = 60.0\nsigma = 0.3\n{more}"
            )
        };
        let head = "wedge = 'W1'\npitch_along = '0.1mm'\npitch_across = '0.1mm'\ny_unmarked = 0.03\n";
        let text = format!("{head}{}{}", patch(""), patch("charred = true\n"));
        let sheet: SheetRecord = toml::from_str(&text).unwrap();
        let points = recorded(&sheet, 1, &mut Vec::new());
        assert_eq!(points.iter().map(|p| p.charred).collect::<Vec<_>>(), [false, true]);
        // What says nothing new is not written.
        assert_eq!(toml::to_string(&sheet).unwrap().matches("charred").count(), 1);
    }
}
