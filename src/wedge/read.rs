//! Read: from a photo's bytes and the wedge that it shows to a reading.

use super::apart::apart;
use super::ask::{Ask, ReadingError};
use super::doubt::{TOO_UNEVEN, doubts};
use super::evidence::Evidence;
use super::fit::{BENT, ExposureFit, Toned, beam, choose, exposure, gains};
use super::measure::{Measured, PatchValue, Refusal, combs, measure, rectify};
use super::measurement::Measurement;
use super::mismatch::mismatch;
use super::reading::{BeamReading, Mend, NoteAbout, PatchReading, PhotoReading, Reading, ReadingNote, Scale};
use super::register::{Located, locate, photo};
use super::target::{TestPatch, Wedge, WedgeKind};
use crate::art::Photo;
use crate::colour::lstar;
use crate::job::kit::spoken;
use crate::mark::{Beam, Burn};
use crate::progress::{Portion, Progress, Within};
use crate::said::Said;
use crate::texts::text;
use crate::units::{Mm, short};

/// The part of the time that opening the photo takes (12 megapixels, JPEG).
const OPENING: f64 = 0.35;

/// Times a veil is looked for: each takes off what the one before left.
const VEILS: usize = 3;

/// Times a curve of tones is looked for: it is not linear.
const BENDS: usize = 3;

/// A curve steeper by more than this in the middle of the coded values is not taken off.
const MOST_BENT: f64 = 0.3;

/// A veil of more of the gaps' light is not taken off: what is left under it is known too poorly.
const MOST_VEIL: f64 = 0.4;

/// Reads a photo of a wedge; `name` stands for the file in messages.
///
/// # Errors
/// When the file is no photo, the photo does not show the wedge, or nothing can be measured in it; and
/// [`ReadingError::Stopped`] where the person asked for it.
pub fn read(
    bytes: &[u8],
    name: &str,
    wedge: &Wedge,
    ask: &Ask,
    progress: &dyn Progress,
) -> Result<Evidence, ReadingError> {
    progress.begin(text!("wedge.stage.open"), OPENING)?;
    let photo = photo::open(bytes, name)?;
    read_photo(&photo, wedge, ask, &Portion::new(progress, 1.0 - OPENING))
}

/// Reads a photo that is decoded already.
///
/// # Errors
/// As [`read`].
pub fn read_photo(
    photo: &Photo,
    wedge: &Wedge,
    ask: &Ask,
    progress: &dyn Progress,
) -> Result<Evidence, ReadingError> {
    progress.begin(text!("wedge.stage.find"), 0.45)?;
    let located = locate(photo, wedge, ask, progress)?;
    progress.begin(text!("wedge.stage.flat"), 0.2)?;
    let flat = rectify(photo, &located.camera, wedge.blank.width(), wedge.blank.height());
    let mut reading = begun(photo, wedge, ask, &located);
    if !wedge.combs.is_empty() {
        progress.begin(text!("wedge.stage.combs"), 0.05)?;
        reading.lags = combs(&flat, wedge, located.lighter);
    }
    if wedge.patches.is_empty() {
        return Ok(Evidence { reading, flat, fit: None, missed: None });
    }
    progress.begin(text!("wedge.stage.patches"), 0.05)?;
    let mut measured = measure(photo, &flat, &located, wedge, ask)?;
    let unscaled = || measure(photo, &flat, &located, wedge, &Ask { white: None, ..ask.clone() });
    let mut not_white = measured.is_beyond_white();
    if not_white {
        measured = unscaled()?;
    }
    progress.begin(text!("wedge.stage.response"), 0.25)?;
    let y_unmarked = measured.scale.y_unmarked;
    if wedge.kind == WedgeKind::Tone && ask.earlier.is_empty() {
        tell_not_white(&mut reading, not_white);
        take_in(&mut reading, photo, wedge, &measured);
        reading.dot_gain = gains(wedge, &measured.values, y_unmarked, None);
        reading.beam = Some(beam(wedge, &measured.values, y_unmarked, progress)?);
        if !wedge.expected.measured {
            reading.notes.push(ReadingNote::fact(Said::two(
                text!("wedge.note.assumed-response.line"),
                text!("wedge.note.assumed-response.page"),
            )));
        }
        doubt(&mut reading, wedge, &measured, None);
        reading.notes.extend(mismatch(wedge, &reading).map(ReadingNote::fact));
        return Ok(Evidence { reading, flat, fit: None, missed: None });
    }
    let (mut measured, mut found) = fitted(wedge, measured, ask, progress)?;
    if measured.is_look_beyond_white(&found.response) {
        not_white = true;
        (measured, found) = fitted(wedge, unscaled()?, ask, progress)?;
    }
    tell_not_white(&mut reading, not_white);
    take_in(&mut reading, photo, wedge, &measured);
    let y_unmarked = measured.scale.y_unmarked;
    reading.notes.extend(found.notes.iter().map(|n| ReadingNote::fact(n.as_str())));
    for (patch, curve) in reading.patches.iter_mut().zip(&found.curve) {
        if let Some((fitted, char)) = *curve {
            (patch.fitted, patch.char) = (Some(fitted), char);
        }
    }
    if found.missed.is_none() && wedge.kind != WedgeKind::Tone {
        let chosen = choose(wedge, &measured, &found, ask);
        reading.pick = chosen.pick;
        reading.notes.extend(found.short.as_ref().map(|s| s.said.clone()));
        // Of two ranges that one would be a weaker guess.
        let more = |n: &ReadingNote| found.short.is_none() || !matches!(n.about, NoteAbout::Strongest(_));
        reading.notes.extend(chosen.notes.into_iter().filter(more));
    }
    let fit = &found.response;
    if (0.02..=TOO_UNEVEN).contains(&fit.uneven) {
        reading
            .notes
            .push(ReadingNote::fact(text!("wedge.note.uneven", share = short(100.0 * fit.uneven, 0))));
    }
    if wedge.patches.iter().any(|p| !p.screen.is_empty()) {
        let beam = Beam { along: Mm(fit.beam[0]), across: Mm(fit.beam[1]) };
        let burn = |p: &TestPatch| Burn::new(beam, wedge.setting(&p.dial), fit.curve);
        reading.dot_gain = gains(wedge, &measured.values, y_unmarked, Some(&burn));
    }
    if wedge.patches.iter().any(|p| p.period > 0) {
        reading.beam = Some(BeamReading {
            along_mm: fit.beam_along.clone(),
            across_mm: fit.beam_across.clone(),
            rms: fit.rms.is_finite().then_some(fit.rms),
        });
    }
    reading.response = Some(fit.reading());
    let differs = ask.held.as_ref().and_then(|earlier| apart(earlier, &reading));
    reading.notes.extend(differs.map(ReadingNote::fact));
    doubt(&mut reading, wedge, &measured, Some(&found));
    if !reading.doubts.is_empty() && is_fine_alone(photo, wedge, ask, progress)? {
        disagree(&mut reading);
    }
    reading.notes.extend(mismatch(wedge, &reading).map(ReadingNote::fact));
    Ok(Evidence { reading, flat, fit: Some(found.response), missed: found.missed })
}

/// Fits the response to the patches, with the veil and the camera's curve taken off that show in them.
fn fitted(
    wedge: &Wedge,
    mut measured: Measured,
    ask: &Ask,
    progress: &dyn Progress,
) -> Result<(Measured, ExposureFit), ReadingError> {
    let mut found = exposure(wedge, &measured, ask, progress)?;
    for _ in 0..VEILS {
        let told = found.short.as_ref().is_none_or(|s| s.shows_veils);
        let Some(veil) = found.veil.as_ref().filter(|_| told) else { break };
        let next = measured.unveiled(veil);
        if next.veil.most() > MOST_VEIL {
            measured.glare = Some(next.veil.most());
            break;
        }
        measured = next;
        found = exposure(wedge, &measured, ask, progress)?;
    }
    for _ in 0..BENDS {
        let Some(Toned { steeper, sigma }) = found.response.toned else { break };
        let first = measured.steeper == 0.0;
        // Where no patch reaches a full mark, a bend is not told from the coating's own rise.
        if measured.glare.is_some()
            || found.short.is_some()
            || (first && steeper.abs() < BENT)
            || (measured.steeper + steeper).abs() > MOST_BENT
        {
            break;
        }
        measured = measured.straightened(steeper, sigma);
        found = exposure(wedge, &measured, ask, progress)?;
    }
    if let Some(tied) = measured.tied_to(&found.curve) {
        measured = tied;
        found = exposure(wedge, &measured, ask, progress)?;
    }
    Ok((measured, found))
}

/// Says that what was given as a white reference is none, so that nothing rests on it.
fn tell_not_white(reading: &mut Reading, not_white: bool) {
    let says = || Said::two(text!("wedge.note.not-white.line"), text!("wedge.note.not-white.page"));
    reading.notes.extend(not_white.then(|| ReadingNote { about: NoteAbout::NotWhite, says: says() }));
}

/// Takes in what speaks against the reading, as doubts and as notes.
fn doubt(reading: &mut Reading, wedge: &Wedge, measured: &Measured, found: Option<&ExposureFit>) {
    let doubts = doubts(wedge, measured, found);
    reading.notes.extend(doubts.iter().map(|(mend, says)| ReadingNote::doubt(*mend, says.as_str())));
    reading.doubts = doubts.into_iter().map(|(_, says)| says).collect();
}

/// Whether nothing speaks against the sheet where it is read without those before it. A tone wedge alone tells too little for that.
fn is_fine_alone(
    photo: &Photo,
    wedge: &Wedge,
    ask: &Ask,
    progress: &dyn Progress,
) -> Result<bool, ReadingError> {
    if wedge.kind == WedgeKind::Tone || ask.earlier.iter().all(|sheet| sheet.wedge == wedge.id) {
        return Ok(false);
    }
    let alone = Ask { earlier: Vec::new(), beam: [None; 2], held: None, ..ask.clone() };
    let evidence = read_photo(photo, wedge, &alone, &Within(progress))?;
    Ok(evidence.reading.doubts.is_empty() && evidence.missed.is_none())
}

/// Takes what speaks against this sheet and those before it together for what it is: they do not belong together.
fn disagree(reading: &mut Reading) {
    let says = text!("wedge.doubt.sheets");
    reading.notes.retain(|note| !matches!(note.about, NoteAbout::Doubt(_)));
    reading.notes.push(ReadingNote::doubt(Mend::Sheets, says));
    reading.doubts = vec![says.into()];
}

/// The reading before anything is measured.
fn begun(photo: &Photo, wedge: &Wedge, ask: &Ask, located: &Located) -> Reading {
    let middle = (wedge.blank.width() / 2.0, wedge.blank.height() / 2.0);
    let pixels_per_mm = located.camera.scale(middle).unwrap_or(0.0);
    let mut notes: Vec<ReadingNote> = located.notes.iter().map(|n| ReadingNote::fact(n.as_str())).collect();
    notes.extend(photo.facts.notes.iter().map(|n| ReadingNote::fact(n.says.clone())));
    if pixels_per_mm < 6.0 {
        notes.push(ReadingNote::fact(text!(
            "wedge.note.coarse-photo",
            pixels = format_args!("{:.1}", pixels_per_mm)
        )));
    }
    Reading {
        wedge: wedge.id.clone(),
        kind: wedge.kind.name().into(),
        machine: wedge.machine.clone(),
        coating: wedge.coating.clone(),
        date: ask.date.clone(),
        marks_lighter: located.lighter,
        scale: Scale {
            absolute: false,
            note: text!("wedge.scale.none").into(),
            y_unmarked: wedge.expected.y_unmarked,
            sigma: 0.0,
        },
        photo: PhotoReading {
            size: [photo.light.width(), photo.light.height()],
            pixels_per_mm,
            blur_mm: located.blur,
            marks_px: located.marks.iter().map(|m| [m.0, m.1]).collect(),
            homography: located.camera.plane.rows(),
            lens_k1: located.camera.lens.k1,
            light_ratio: 1.0,
        },
        patches: Vec::new(),
        response: None,
        pick: None,
        dot_gain: Vec::new(),
        beam: None,
        lags: Vec::new(),
        doubts: Vec::new(),
        notes,
    }
}

/// Takes the measured patches and their scale into the reading, with what is to be said of them.
fn take_in(reading: &mut Reading, photo: &Photo, wedge: &Wedge, measured: &Measured) {
    reading.photo.light_ratio = measured.light_ratio;
    reading.marks_lighter = measured.lighter;
    reading.scale = measured.scale.clone();
    reading.patches = wedge
        .patches
        .iter()
        .zip(&measured.values)
        .map(|(p, v)| patch_reading(wedge, p, v, measured.scale.sigma))
        .collect();
    let unread: Vec<String> = (wedge.patches.iter().zip(&measured.values))
        .filter_map(|(p, v)| v.as_ref().err().map(|why| format!("{} ({why})", p.name)))
        .collect();
    if !unread.is_empty() {
        let patches = unread.iter().take(6).cloned().collect::<Vec<_>>().join(", ");
        reading.notes.push(ReadingNote::fact(match unread.len().saturating_sub(6) {
            0 => text!("wedge.note.unread.all", patches),
            more => text!("wedge.note.unread.more", patches, more),
        }));
    }
    reading.notes.push(ReadingNote::fact(if photo.facts.profile {
        text!("wedge.note.profile", colours = photo.facts.colour)
    } else {
        text!("wedge.note.own-curve").to_string()
    }));
    // A stronger bend is a doubt.
    if measured.steeper != 0.0 && measured.steeper.abs() <= BENT {
        let share = short(100.0 * measured.steeper.abs(), 0);
        reading.notes.push(ReadingNote::fact(if measured.steeper > 0.0 {
            text!("wedge.note.curve.steeper", share)
        } else {
            text!("wedge.note.curve.flatter", share)
        }));
    }
    let veil = measured.veil.most();
    if veil > 0.0 {
        reading.notes.push(ReadingNote::fact(text!("wedge.note.veil", share = short(100.0 * veil, 0))));
    }
    if measured.lighter != (wedge.expected.y_marked > wedge.expected.y_unmarked) {
        let coating = spoken(&wedge.coating);
        reading.notes.push(ReadingNote::fact(if measured.lighter {
            text!("wedge.note.marks.lighter", coating)
        } else {
            text!("wedge.note.marks.darker", coating)
        }));
    }
}

fn patch_reading(wedge: &Wedge, p: &TestPatch, s: &Result<PatchValue, Refusal>, scale: f64) -> PatchReading {
    PatchReading {
        name: p.name.clone(),
        power_percent: 100.0 * p.dial.power.0,
        speed_mm_s: p.dial.speed.0,
        passes: p.dial.passes,
        dose_j_mm2: wedge.dose(&p.dial),
        coverage: p.coverage.0,
        lightness: match s {
            // What the whole scale is off by comes on top of the patch's own error.
            Ok(s) => Measurement::value(s.l, libm::hypot(s.l_error, lstar(s.y * (1.0 + scale)) - s.l)),
            Err(e) => Measurement::not(e.to_string()),
        },
        grain: s.as_ref().ok().map(|s| s.grain),
        fitted: None,
        char: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wedge::show::summary::tests::reading;
    use crate::wedge::show::summary::wants_photo;

    #[test]
    fn sheets_that_do_not_belong_together_are_told_instead_of_what_it_looks_like() {
        let mut one = reading();
        one.notes = vec![ReadingNote::fact("it is lit"), ReadingNote::doubt(Mend::Photo, "glare lies on it")];
        one.doubts = vec!["glare lies on it".into()];
        assert!(wants_photo(&one));
        disagree(&mut one);
        assert!(!wants_photo(&one) && one.doubts.len() == 1, "{one:?}");
        assert!(one.doubts[0].contains("no common curve") && one.notes.len() == 2, "{one:?}");
    }
}
