//! Mismatch: where a sheet can hardly have been burnt on the coating that is named.

use super::reading::Reading;
use super::target::{Pattern, Wedge, WedgeKind};
use crate::colour::luminance;
use crate::job::kit::spoken;
use crate::mark::Response;
use crate::texts::text;
use crate::units::short;

/// A coating of the kind that is named takes at most so many times as much exposure for half a mark as usual, and at least
/// that part of it: 1.3 times for the coating, 1.3 for a laser that is weaker than it is rated, and room for the reading.
const EXPOSURE: f64 = 2.2;
/// Its bare and its marked look differ from the usual ones by at most this factor: 30 % less is 1.43 times.
const LOOK: f64 = 1.45;
/// Light that a lens strays over bare and marked places, as a share of white.
const STRAY: f64 = 0.02;
/// The solids of a tone wedge, burnt at one setting, may reach no more of a full mark.
const REACHED: f64 = 0.6;
/// Standard deviations by which a value may be off.
const SURE: f64 = 3.0;

/// What to say of a sheet whose response or looks no coating of the kind that is named has. Where the wedge was drawn with
/// measured values, the comparison with those says it.
pub fn mismatch(wedge: &Wedge, reading: &Reading) -> Option<String> {
    if wedge.expected.measured || wedge.kind == WedgeKind::Timing {
        return None;
    }
    let usual = wedge.expected.response();
    // Marks that are darker instead of lighter, or the other way round, are told of as such.
    if reading.marks_lighter != (usual.y_marked > usual.y_unmarked) {
        return None;
    }
    let what: Vec<String> =
        [half(wedge, reading, &usual), looks(wedge, reading, &usual)].into_iter().flatten().collect();
    (!what.is_empty()).then(|| {
        let (coating, what) = (spoken(&wedge.coating), what.join(text!("wedge.mismatch.and")));
        text!("wedge.note.mismatch", coating, what)
    })
}

/// Doses of half a mark at the sheet's middle speed that are too far apart: there the exponent hardly counts.
fn half(wedge: &Wedge, reading: &Reading, usual: &Response) -> Option<String> {
    let response = reading.response.as_ref()?;
    let x_half = response.x_half_j_mm2.get()?;
    let settings = || wedge.patches.iter().filter(|p| p.is_setting()).map(|p| libm::log(p.dial.speed.0));
    let speed = libm::exp(settings().sum::<f64>() / settings().count().max(1) as f64);
    let dose = |x: f64, s: f64, v0: f64| x * libm::pow(speed / v0, s - 1.0);
    let s = response.schwarzschild.get().unwrap_or(usual.schwarzschild);
    let here = dose(x_half, s, response.v0_mm_s);
    let usually = dose(usual.x_half, usual.schwarzschild, usual.v0.0);
    let sigma = response.x_half_j_mm2.uncertainty() / x_half;
    let apart = libm::log(here / usually).abs() - SURE * sigma;
    (apart > libm::log(EXPOSURE)).then(|| {
        let (here, usual, speed) = (short(here, 1), short(usually, 1), short(speed, 1));
        text!("wedge.mismatch.half", here, usual, speed)
    })
}

/// How many times as light a full mark is as the bare coating, or the other way round, where that is beyond what is usual: a
/// photo tells it without a white card.
fn looks(wedge: &Wedge, reading: &Reading, usual: &Response) -> Option<String> {
    // What strays over a piece changes its looks.
    if !reading.doubts.is_empty() {
        return None;
    }
    let lighter = usual.y_marked > usual.y_unmarked;
    let full = reading.response.as_ref().map(|r| &r.y_marked);
    let full = full.and_then(|y| Some((y.get()?, y.uncertainty(), 1.0)));
    let (y, sigma, reached) = full.or_else(|| Some((solid(wedge, reading, lighter)?, 0.0, REACHED)))?;
    let times = |marked: f64, bare: f64| if lighter { marked / bare } else { bare / marked };
    let by = if lighter { LOOK } else { 1.0 / LOOK };
    let weakest = usual.y_unmarked + reached * (usual.y_marked - usual.y_unmarked);
    let room = 1.0 + SURE * sigma / y;
    let least = times(weakest / by + STRAY, usual.y_unmarked * by + STRAY) / room;
    let most = times(usual.y_marked * by, usual.y_unmarked / by) * room;
    let (here, usual) = (times(y, reading.scale.y_unmarked), times(usual.y_marked, usual.y_unmarked));
    (here < least || here > most).then(|| {
        let (here, usual) = (short(here, 1), short(usual, 1));
        if lighter {
            text!("wedge.mismatch.lighter", here, usual)
        } else {
            text!("wedge.mismatch.darker", here, usual)
        }
    })
}

/// The luminance of the solid of a tone wedge that is marked most; none of other wedges, whose solids are of many exposures.
fn solid(wedge: &Wedge, reading: &Reading, lighter: bool) -> Option<f64> {
    let solids = wedge.patches.iter().zip(&reading.patches);
    let solids =
        solids.filter(|(p, _)| wedge.kind == WedgeKind::Tone && p.pattern == Pattern::Solid && !p.charred);
    let marked = |l: &f64| if lighter { *l } else { -*l };
    let most =
        solids.filter_map(|(_, read)| read.lightness.get()).max_by(|a, b| marked(a).total_cmp(&marked(b)));
    most.map(luminance)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::kit;
    use crate::placement::Grid;
    use crate::units::{Mm, MmPerS, Share, Watts};
    use crate::wedge::apart::tests::response;
    use crate::wedge::grid::{ForeignGrid, wedge};
    use crate::wedge::measurement::Measurement;
    use crate::wedge::reading::ResponseReading;
    use crate::wedge::show::summary::tests::reading;

    /// A sheet that was drawn for a coating of the kit.
    fn sheet(named: &str) -> Wedge {
        let coating = kit::coating(named).unwrap();
        let speeds: Vec<MmPerS> = [6.0, 9.0, 14.0, 21.0].map(MmPerS).into();
        wedge(&ForeignGrid {
            powers: [0.3, 0.45, 0.65, 0.9].map(Share).into(),
            speeds,
            passes: 1,
            size: (Mm(60.0), Mm(60.0)),
            gap: Share(0.2),
            rated_power: Watts(5.0),
            beam: crate::mark::Beam { along: Mm(0.12), across: Mm(0.12) },
            pitch: Grid { along: Mm(0.0875), across: Mm(0.0875) },
            response: coating.response(),
            machine: "diode 5 W".into(),
            coating: coating.name.clone(),
        })
        .unwrap()
    }

    /// What a photo without fault tells of a piece with a coating of the kit whose half exposure, marked look and bare look are
    /// so many times as large.
    fn read(burnt: &str, (half, marked, bare): (f64, f64, f64)) -> Reading {
        let is = kit::coating(burnt).unwrap().response();
        let known = |v: f64| Measurement::value(v, 0.02 * v);
        let response = ResponseReading {
            y_marked: known(is.y_marked * marked),
            x_half_j_mm2: known(is.x_half * half),
            schwarzschild: known(is.schwarzschild),
            v0_mm_s: is.v0.0,
            ..response(1.0, None)
        };
        let mut reading = Reading { response: Some(response), ..reading() };
        reading.marks_lighter = is.y_marked > is.y_unmarked;
        reading.scale.y_unmarked = is.y_unmarked * bare;
        reading
    }

    const KIT: [&str; 6] = [
        "poster-paint",
        "blackboard-paint",
        "zinc-spray",
        "dry-film-moly",
        "bare-slate",
        "black-anodised-aluminium",
    ];

    #[test]
    fn a_coating_that_is_off_by_a_third_is_that_coating() {
        let off = [0.7, 1.0, 1.3];
        for named in KIT {
            let sheet = sheet(named);
            for (half, marked, bare) in
                off.iter().flat_map(|h| off.map(|m| off.map(|b| (*h, m, b)))).flatten()
            {
                assert_eq!(
                    mismatch(&sheet, &read(named, (half, marked, bare))),
                    None,
                    "{named} {half} {marked}"
                );
                // And with a laser that gives less than it is rated at.
                assert_eq!(mismatch(&sheet, &read(named, (1.3 * half, marked, bare))), None, "{named}");
            }
        }
    }

    #[test]
    fn another_coating_is_told_with_what_is_usual() {
        let said = |named: &str, burnt: &str| mismatch(&sheet(named), &read(burnt, (1.0, 1.0, 1.0)));
        let zinc = said("poster-paint", "zinc-spray").unwrap();
        assert!(zinc.contains("half a mark takes") && zinc.contains("poster paint"), "{zinc}");
        let slate = said("poster-paint", "bare-slate").unwrap();
        assert!(slate.contains("5.3 times as light") && slate.contains("21.7 times"), "{slate}");
        // Marks that are darker are told by a note of their own; a doubted photo tells no looks.
        assert_eq!(said("poster-paint", "dry-film-moly"), None);
        let doubted = Reading { doubts: vec!["glare".into()], ..read("bare-slate", (1.0, 1.0, 1.0)) };
        assert_eq!(mismatch(&sheet("poster-paint"), &doubted), None);
        let mut measured = sheet("poster-paint");
        measured.expected.measured = true;
        assert_eq!(mismatch(&measured, &read("bare-slate", (1.0, 1.0, 1.0))), None);
    }
}
