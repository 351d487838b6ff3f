//! Doubt: what speaks against a reading, so that it is not taken for true.

use super::fit::{BENT, ExposureFit, Limited};
use super::measure::{Measured, Refusal};
use super::reading::Mend;
use super::target::{Dial, Pattern, Wedge};
use crate::texts::text;
use crate::units::short;

/// Patches of a good photo lie on one curve to 0.3 L* where it is flat (rendered photos); above this the light was not what it
/// was taken for. Where it is steep, an uneven coating moves them.
const OFF_CURVE: f64 = 0.7;
/// A coating more uneven than this, as a share of the exposure: no setting suits all of it.
pub const TOO_UNEVEN: f64 = 0.08;
/// Light that differs by more over the piece has an edge or a glare in it, which no smooth surface follows.
const UNEVEN: f64 = 1.9;
/// Without exposures to tell a lamp from a reflection (a tone wedge read alone) light that differs by more may be either:
/// in rendered photos without a veil or a shadow it differs by up to 1.18, by 1.6 where it falls off towards a side.
const UNEVEN_ALONE: f64 = 1.25;
/// Where light that does not belong there spoils more than one patch in so many, it mostly reaches others too (rendered photos
/// with and without, see `tests/outside/wedges.md`).
const SPOILT_ONE_IN: usize = 10;
/// Below half, reciprocity fails more than any heat conduction allows.
const LEAST_EXPONENT: f64 = 0.45;
/// In rendered photos without a veil or a shadow solids of one setting differ by less, L*, paint that is thicker on one side
/// taken in (0.8 L*).
const UNLIKE: f64 = 1.0;
/// A burn has grain; a drawing has none, L*.
const LEAST_GRAIN: f64 = 0.02;

/// What speaks against the reading, a sentence each, with what takes it away; what follows from another comes after it.
pub fn doubts(wedge: &Wedge, measured: &Measured, found: Option<&ExposureFit>) -> Vec<(Mend, String)> {
    let photo = |says: String| (Mend::Photo, says);
    let mut out: Vec<(Mend, String)> = of_photo(wedge, measured, found).into_iter().map(photo).collect();
    let Some(found) = found else { return out };
    let fit = &found.response;
    // Where no patch reaches a full mark, the coating's own rise passes for the camera's curve.
    let told = measured.glare.is_none() && found.short.is_none();
    let bent = fit.toned.filter(|t| told && t.steeper.abs() > BENT);
    if bent.is_none() {
        out.extend(curved(measured.steeper).map(photo));
    }
    let before = out.len();
    hold(&mut out, fit.limited);
    if let Some(s) = fit.schwarzschild.get().filter(|s| *s < LEAST_EXPONENT) {
        out.push((Mend::Controller, text!("wedge.doubt.exponent", exponent = short(s, 2))));
    }
    if let Some(toned) = bent {
        let share = short(100.0 * (measured.steeper + toned.steeper).abs(), 0);
        out.push(photo(text!("wedge.doubt.bent", share)));
    }
    // What a machine does to speeds or powers also scatters the patches: one reason is enough.
    if out.len() > before {
        return out;
    }
    if fit.uneven > TOO_UNEVEN {
        out.push((Mend::Coat, text!("wedge.doubt.uneven", share = short(100.0 * fit.uneven, 0))));
    }
    if let Some(miss) = fit.flat_miss.or(Some(fit.rms)).filter(|m| *m > OFF_CURVE) {
        out.push(photo(text!("wedge.doubt.off-curve", off = short(miss, 1))));
    } else if let Some(strays) = &found.strays {
        let names: Vec<&str> =
            strays.which.iter().filter_map(|i| wedge.patches.get(*i)).map(|p| p.name.as_str()).collect();
        let (patches, most) = (names.join(", "), short(strays.most.abs(), 1));
        out.push(photo(if strays.most < 0.0 {
            text!("wedge.doubt.strays.darker", patches, most)
        } else {
            text!("wedge.doubt.strays.lighter", patches, most)
        }));
    }
    out
}

/// What speaks against the light and the photo, a sentence each.
fn of_photo(wedge: &Wedge, measured: &Measured, found: Option<&ExposureFit>) -> Vec<String> {
    let mut out = Vec::new();
    if measured.light_ratio > UNEVEN {
        out.push(text!("wedge.doubt.light", times = short(measured.light_ratio, 1)));
    }
    let stray = |v: &&Result<_, Refusal>| matches!(v, Err(Refusal::Glare { .. } | Refusal::Uneven { .. }));
    let refused = measured.values.iter().filter(stray).count();
    out.extend(match found {
        Some(_) => spoilt(refused, wedge.patches.len()),
        None => alone(measured.light_ratio, refused),
    });
    if let Some(share) = measured.glare {
        out.push(text!("wedge.doubt.reflection", share = short(100.0 * share, 0)));
    }
    let clipped = measured.values.iter().filter(|v| matches!(v, Err(Refusal::Clipped { .. }))).count();
    if clipped > 0 {
        out.push(match clipped {
            1 => text!("wedge.doubt.clipped.one", clipped),
            _ => text!("wedge.doubt.clipped.many", clipped),
        });
    }
    let grains = wedge.patches.iter().zip(&measured.values).filter(|(p, _)| p.pattern == Pattern::Solid);
    let mut grains: Vec<f64> = grains.filter_map(|(_, v)| v.as_ref().ok().map(|v| v.grain)).collect();
    grains.sort_by(f64::total_cmp);
    if grains.get(grains.len() / 2).is_some_and(|g| *g < LEAST_GRAIN) {
        out.push(text!("wedge.doubt.no-grain").into());
    }
    let solids =
        wedge.patches.iter().zip(&measured.values).filter(|(p, _)| p.pattern == Pattern::Solid && !p.charred);
    let solids: Vec<(Dial, f64)> =
        solids.filter_map(|(p, v)| v.as_ref().ok().map(|v| (p.dial, v.l))).collect();
    // Below a full mark the coating's own unevenness moves them further.
    let most = if found.is_some_and(|f| f.short.is_some()) { 2.0 * UNLIKE } else { UNLIKE };
    if let Some(unlike) = unlike(&solids, most) {
        out.push(text!("wedge.doubt.alike", most = short(unlike, 1)));
    }
    out
}

/// Takes in what was held below what the program asks for. Patches that were burnt weaker than they should make the others look
/// as if a reflection lay on them, which is then told after its cause.
fn hold(doubts: &mut Vec<(Mend, String)>, limited: Option<Limited>) {
    match limited {
        Some(Limited::Speed(v)) => {
            doubts.push((Mend::Speed, text!("wedge.doubt.held-speed", speed = short(v, 0))));
        }
        Some(Limited::Power(share)) => {
            let says = text!("wedge.doubt.held-power", share = short(100.0 * share, 0));
            doubts.insert(0, (Mend::Power, says));
        }
        None => {}
    }
}

/// What speaks against a reading of which so many patches were `refused` for light that does not belong there.
fn spoilt(refused: usize, patches: usize) -> Option<String> {
    (SPOILT_ONE_IN * refused > patches).then(|| text!("wedge.doubt.spoilt", refused, patches))
}

/// What speaks against tones off which a camera's curve was taken that is `steeper` than the standard one.
fn curved(steeper: f64) -> Option<String> {
    let share = short(100.0 * steeper.abs(), 0);
    (steeper.abs() > BENT).then(|| {
        if steeper > 0.0 {
            text!("wedge.doubt.curved.steeper", share)
        } else {
            text!("wedge.doubt.curved.flatter", share)
        }
    })
}

/// What speaks against the light where no exposures tell how far it reaches: a tone wedge that is read alone. So many patches
/// were `refused` for light that does not belong there.
fn alone(light_ratio: f64, refused: usize) -> Option<String> {
    match light_ratio {
        r if (UNEVEN_ALONE..=UNEVEN).contains(&r) => {
            Some(text!("wedge.doubt.alone.light", times = short(r, 1)))
        }
        // A flaw of the coating spoils one.
        _ if refused > 1 => Some(text!("wedge.doubt.alone.patches", refused)),
        _ => None,
    }
}

/// By how much solids of one setting differ, L*, where it is more than `limit`, which a coating does: what a tone wedge, whose dots lie on
/// no curve, tells of the light.
fn unlike(solids: &[(Dial, f64)], limit: f64) -> Option<f64> {
    let pairs =
        solids.iter().flat_map(|(p, a)| solids.iter().filter(move |(q, _)| q == p).map(move |(_, b)| a - b));
    Some(pairs.fold(0.0, f64::max)).filter(|most| *most > limit)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{MmPerS, Share};

    #[test]
    fn a_tone_wedge_read_alone_is_doubted_for_its_light() {
        // Up to a quarter light falls off towards a side; beyond 1.9 times any wedge is doubted, by another sentence.
        assert_eq!((alone(1.2, 0), alone(1.2, 1), alone(2.0, 0)), (None, None, None));
        assert!(alone(1.3, 0).unwrap().contains("differs 1.3 times"));
        assert!(alone(1.9, 0).is_some());
        assert!(alone(1.1, 2).unwrap().contains("2 patches"));
    }

    #[test]
    fn a_reading_is_doubted_for_many_refused_patches_and_for_a_curve_that_was_taken_off() {
        assert_eq!((spoilt(3, 37), spoilt(6, 64)), (None, None));
        assert!(spoilt(4, 37).unwrap().contains("4 of 37 patches"));
        assert_eq!((curved(0.0), curved(0.02), curved(-0.02)), (None, None, None));
        assert!(curved(0.21).unwrap().contains("21 % steeper"));
        assert!(curved(-0.08).unwrap().contains("8 % flatter"));
    }

    #[test]
    fn a_power_that_is_held_is_told_before_the_reflection_that_it_looks_like() {
        let before = || vec![(Mend::Photo, "a reflection lies on the piece".to_string())];
        let mends = |limited| {
            let mut doubts = before();
            hold(&mut doubts, limited);
            doubts.iter().map(|(mend, _)| *mend).collect::<Vec<_>>()
        };
        assert_eq!(mends(Some(Limited::Power(0.7))), [Mend::Power, Mend::Photo]);
        assert_eq!(mends(Some(Limited::Speed(11.0))), [Mend::Photo, Mend::Speed]);
        assert_eq!(mends(None), [Mend::Photo]);
    }

    #[test]
    fn solids_are_held_against_those_of_their_own_setting() {
        let dial = |power: f64, passes| Dial { power: Share(power), speed: MmPerS(10.0), passes };
        let (weak, strong, twice) = (dial(0.5, 1), dial(0.9, 1), dial(0.5, 2));
        // Those of other settings may differ by as much as they like.
        assert_eq!(unlike(&[(weak, 40.0), (strong, 80.0), (twice, 60.0), (weak, 40.8)], 1.0), None);
        let most =
            unlike(&[(weak, 40.0), (strong, 80.0), (weak, 41.2), (strong, 82.5), (weak, 40.4)], 1.0).unwrap();
        assert!((most - 2.5).abs() < 1e-12);
        assert_eq!(unlike(&[], 1.0), None);
    }
}
