//! Process: a reading as a process file, what was measured with its uncertainty, the rest with its reason.

use crate::job::kit::spoken;
use crate::job::process::{
    BeamSize, Best, ExposureAt, FittedBeam, MeasuredValue, PatchRecord, ProcessFile, SheetRecord, ToneCurve,
};
use crate::texts::text;
use crate::units::{JoulesPerMm2, Mm, MmPerS, Share};
use crate::wedge::apart::no_char;
use crate::wedge::fit::wants_mark;
use crate::wedge::measurement::Measurement;
use crate::wedge::reading::{Gain, NoteAbout, PatchReading, Reading};
use crate::wedge::spread::square;
use crate::wedge::target::{Pattern, TestPatch, Wedge};

/// What the reading has measured, laid over what `earlier` held (from other wedges of the same machine and
/// coating; of one with another coating as much as holds). Only looks that rest on a white reference are written as measured.
pub fn process(reading: &Reading, wedge: &Wedge, earlier: Option<ProcessFile>) -> ProcessFile {
    let earlier = earlier.filter(|e| !e.is_of_another_bench(&reading.machine, wedge.rated_power));
    let other_coating = earlier.as_ref().is_some_and(|e| e.is_of_others(&reading.machine, &reading.coating));
    let held = earlier.map(|e| e.holding(&reading.machine, wedge.rated_power, &reading.coating));
    let mut p = held.unwrap_or_default();
    p.wedge = if p.wedge.is_empty() || (other_coating && !p.has_beam()) {
        reading.wedge.clone()
    } else if p.wedge.contains(&reading.wedge) {
        p.wedge
    } else if other_coating {
        text!("wedge.process.beam-of", earlier = p.wedge, wedge = reading.wedge)
    } else {
        text!("wedge.process.wedges", earlier = p.wedge, wedge = reading.wedge)
    };
    match reading.doubts.first() {
        Some(doubt) => (p.doubt, p.doubt_of) = (doubt.clone(), reading.wedge.clone()),
        // What spoke against another wedge's reading still does.
        None if p.doubt_of == reading.wedge || (p.doubt_of.is_empty() && p.wedge == reading.wedge) => {
            (p.doubt, p.doubt_of) = (String::new(), String::new());
        }
        None => {}
    }
    p.date.clone_from(&reading.date);
    p.machine.clone_from(&reading.machine);
    p.coating.clone_from(&reading.coating);
    p.rated_power = Some(wedge.rated_power);
    if reading.response.as_ref().and_then(|r| no_char(&p, r)).is_some() {
        (p.x_char, p.char_rise) = (None, None);
    }
    let mut missing = |key: &str, known: &Measurement| {
        if let Measurement::NotMeasured { not_measured } = known {
            p.not_measured.insert(key.to_string(), not_measured.clone());
        } else {
            p.not_measured.remove(key);
        }
    };
    if let Some(r) = &reading.response {
        for (key, known) in [
            ("x_half", &r.x_half_j_mm2),
            ("rise", &r.rise),
            ("x_char", &r.x_char_j_mm2),
            ("char_rise", &r.char_rise),
            ("schwarzschild", &r.schwarzschild),
        ] {
            missing(key, known);
        }
        let looks = if reading.scale.absolute {
            None
        } else if reading.notes.iter().any(|note| note.about == NoteAbout::NotWhite) {
            Some(Measurement::not(text!("wedge.process.not-white")))
        } else {
            Some(Measurement::not(text!("wedge.process.relative")))
        };
        let bare = Measurement::value(reading.scale.y_unmarked, 0.0);
        for (key, known) in [("unmarked", &bare), ("marked", &r.y_marked), ("charred", &r.y_char)] {
            missing(key, looks.as_ref().unwrap_or(known));
        }
        set(&mut p.x_half, &r.x_half_j_mm2, |v| ExposureAt::Dose(JoulesPerMm2(v)));
        set(&mut p.rise, &r.rise, |v| v);
        set(&mut p.x_char, &r.x_char_j_mm2, |v| ExposureAt::Dose(JoulesPerMm2(v)));
        set(&mut p.char_rise, &r.char_rise, |v| v);
        set(&mut p.schwarzschild, &r.schwarzschild, |v| v);
        p.v0 = Some(MmPerS(r.v0_mm_s));
        p.beam_fitted = r
            .beam_mm
            .map(|[along, across]| FittedBeam { along: Mm(rounded(along)), across: Mm(rounded(across)) });
        if reading.scale.absolute {
            p.absolute_lightness = true;
            let scale = reading.scale.sigma;
            let y = reading.scale.y_unmarked;
            p.unmarked = Some(MeasuredValue { value: rounded(y), sigma: Some(rounded(y * scale)) });
            // The whole scale is off alike.
            let with_scale = |known: &Measurement| match *known {
                Measurement::Measured { value, uncertainty } => {
                    Measurement::value(value, libm::hypot(uncertainty, value * scale))
                }
                _ => known.clone(),
            };
            set(&mut p.marked, &with_scale(&r.y_marked), |v| v);
            set(&mut p.charred, &with_scale(&r.y_char), |v| v);
        }
    }
    if let Some(pick) = &reading.pick {
        p.best = Some(Best {
            power: Share(pick.power_percent / 100.0),
            speed: MmPerS(pick.speed_mm_s),
            pitch: Mm(wedge.pitch_across.0),
            passes: pick.passes,
        });
    }
    if let Some(b) = &reading.beam {
        missing_in(&mut p, "beam_along", &b.along_mm);
        missing_in(&mut p, "beam_across", &b.across_mm);
        set(&mut p.beam_along, &b.along_mm, |v| BeamSize::Mm(Mm(v)));
        set(&mut p.beam_across, &b.across_mm, |v| BeamSize::Mm(Mm(v)));
    }
    if p.beam_along.is_some() && p.beam_across.is_some() {
        p.beam_fitted = None;
    }
    for g in &reading.dot_gain {
        let curve = curve(g, setting(wedge, &g.screen));
        p.tone_curve.retain(|c| c.screen != g.screen);
        if let Some(c) = curve {
            p.tone_curve.push(c);
        }
    }
    if let Some(record) = record(reading, wedge) {
        p.sheet.retain(|s| s.wedge != record.wedge);
        p.sheet.insert(0, record);
        p.sheet.truncate(KEPT_SHEETS);
    }
    if let Some((lag, error)) = mean_lag(reading) {
        p.lag_ms = Some(MeasuredValue { value: rounded(lag), sigma: Some(rounded(error)) });
        p.not_measured.remove("lag_ms");
    } else if !reading.lags.is_empty() {
        p.not_measured.insert("lag_ms".into(), text!("wedge.process.no-comb").into());
    }
    sound(p)
}

/// What is said of an earlier process of which only a part holds for this wedge, or nothing.
pub fn held_of(earlier: &ProcessFile, wedge: &Wedge) -> Option<String> {
    let (machine, power) = (&wedge.machine, wedge.rated_power);
    if earlier.of_other_machine(machine) {
        return Some(text!("wedge.note.process.machine", then = spoken(&earlier.machine)));
    }
    if let Some(then) = earlier.of_other_laser(power) {
        return Some(text!("wedge.note.process.laser", then, now = power));
    }
    let held = earlier.holding(machine, power, &wedge.coating);
    let then = spoken(&earlier.coating);
    earlier.is_of_others(machine, &wedge.coating).then(|| match held.has_beam() {
        true => text!("wedge.note.process.beam", then),
        false => text!("wedge.note.process.coating", then),
    })
}

/// The file without what its own check refuses: a reading is not lost for one value, and the file says why there is none.
fn sound(mut p: ProcessFile) -> ProcessFile {
    while let Err(absurd) = p.check() {
        let had = match absurd.key {
            "unmarked" => p.unmarked.take().is_some(),
            "marked" => p.marked.take().is_some(),
            "charred" => p.charred.take().is_some(),
            "rise" => p.rise.take().is_some(),
            "char_rise" => p.char_rise.take().is_some(),
            "schwarzschild" => p.schwarzschild.take().is_some(),
            "beam_fitted" => p.beam_fitted.take().is_some(),
            // The sheet that was just read, which is the first.
            "sheet" | "patch" if !p.sheet.is_empty() => {
                p.sheet.remove(0);
                continue;
            }
            _ => false,
        };
        if !had {
            break;
        }
        let why = text!("wedge.process.absurd", why = absurd.why);
        p.not_measured.insert(absurd.key.into(), why);
    }
    p
}

/// Sheets that a process file keeps, the newest first: a later one is fitted together with them.
const KEPT_SHEETS: usize = 3;

/// The patches as a later reading takes them in again; screens are left out, which no fit looks at. None where there are
/// none.
fn record(reading: &Reading, wedge: &Wedge) -> Option<SheetRecord> {
    let one = |(p, r): (&TestPatch, &PatchReading)| match r.lightness {
        Measurement::Measured { value, uncertainty }
            if p.pattern != Pattern::Screen
                && [value, uncertainty].iter().all(|v| (0.0..=200.0).contains(v)) =>
        {
            Some(PatchRecord {
                dose_j_mm2: rounded(r.dose_j_mm2),
                speed: p.dial.speed,
                pattern: p.pattern,
                period: p.period,
                lightness: rounded(value),
                sigma: rounded(uncertainty),
                charred: p.charred,
            })
        }
        _ => None,
    };
    let patch: Vec<PatchRecord> = wedge.patches.iter().zip(&reading.patches).filter_map(one).collect();
    (!patch.is_empty() && !wedge.marks.is_empty()).then(|| SheetRecord {
        wedge: reading.wedge.clone(),
        pitch_along: wedge.pitch_along,
        pitch_across: wedge.pitch_across,
        y_unmarked: rounded(reading.scale.y_unmarked),
        patch,
    })
}

/// One delay for all speeds, ms: the mean of a timing wedge's lags weighted by their uncertainties, with its
/// own. None where no comb could be read.
pub fn mean_lag(reading: &Reading) -> Option<(f64, f64)> {
    let (mut weight, mut sum) = (0.0, 0.0);
    for l in &reading.lags {
        if let Measurement::Measured { value, uncertainty } = l.lag_ms {
            let w = square(uncertainty.max(1e-4)).recip();
            weight += w;
            sum += w * value;
        }
    }
    (weight > 0.0).then(|| (sum / weight, weight.sqrt().recip()))
}

fn missing_in(p: &mut ProcessFile, key: &str, known: &Measurement) {
    if let Measurement::NotMeasured { not_measured } = known {
        p.not_measured.insert(key.to_string(), not_measured.clone());
    } else {
        p.not_measured.remove(key);
    }
}

/// Six significant digits: more than any reading holds, few enough to be read.
fn rounded(v: f64) -> f64 {
    if v == 0.0 || !v.is_finite() {
        return v;
    }
    let scale = libm::pow(10.0, f64::from(5 - libm::log10(v.abs()).floor() as i32));
    (v * scale).round() / scale
}

fn set<T>(slot: &mut Option<MeasuredValue<T>>, known: &Measurement, make: impl Fn(f64) -> T) {
    if let Measurement::Measured { value, uncertainty } = known {
        *slot = Some(MeasuredValue { value: make(rounded(*value)), sigma: Some(rounded(*uncertainty)) });
    }
}

/// A tone curve that rises: pools neighbouring steps that fall (pool adjacent violators, the least-squares
/// monotone fit; Barlow et al. 1972), starts at bare coating and ends at the solid.
fn curve(gain: &Gain, setting: Option<Best>) -> Option<ToneCurve> {
    // Mean mark, mean square of its uncertainty, coverages.
    let mut pools: Vec<(f64, f64, Vec<f64>)> = Vec::new();
    for s in &gain.steps {
        // A screen that is given the mark itself is held to what is foretold of its dots.
        let at = if wants_mark(&gain.screen) { s.foretold } else { Some(s.coverage) };
        let Some(at) = at.filter(|c| *c > 0.0 && *c <= 1.0) else { continue };
        pools.push((s.mark.clamp(0.0, 1.0), square(s.uncertainty), vec![at]));
        while let [.., a, b] = pools.as_slice() {
            if a.0 <= b.0 {
                break;
            }
            let (n, m) = (a.2.len() as f64, b.2.len() as f64);
            let mean = |x: f64, y: f64| (x * n + y * m) / (n + m);
            let merged = (mean(a.0, b.0), mean(a.1, b.1), [a.2.as_slice(), b.2.as_slice()].concat());
            pools.truncate(pools.len() - 2);
            pools.push(merged);
        }
    }
    let (mut coverage, mut mark, mut sigma) = (vec![0.0], vec![0.0], vec![0.0]);
    for (m, square, cs) in pools {
        for c in cs {
            if coverage.last().is_some_and(|last| c > *last) {
                coverage.push(rounded(c));
                mark.push(rounded(m));
                sigma.push(rounded(square.sqrt().min(1.0)));
            }
        }
    }
    let screen = gain.screen.clone();
    (coverage.len() >= 3).then_some(ToneCurve { screen, coverage, mark, sigma, setting })
}

/// The setting that the patches of a screen were burnt at.
fn setting(wedge: &Wedge, screen: &str) -> Option<Best> {
    let dial = wedge.patches.iter().find(|p| p.screen == screen)?.dial;
    Some(Best { power: dial.power, speed: dial.speed, pitch: wedge.pitch_across, passes: dial.passes })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Watts;

    #[test]
    fn char_of_an_earlier_sheet_goes_where_this_one_shows_that_it_lies_higher() {
        let earlier = || ProcessFile {
            x_char: Some(MeasuredValue { value: ExposureAt::Dose(JoulesPerMm2(5.28)), sigma: Some(0.065) }),
            char_rise: Some(MeasuredValue { value: 8.9, sigma: Some(0.4) }),
            ..ProcessFile::default()
        };
        let plain = crate::mark::Burn::plain(1.0, 1.0).response;
        let wedge = crate::wedge::grid::wedge(&crate::wedge::grid::tests::grid_of(plain)).unwrap();
        let laid_over = |above: Option<f64>| {
            let response = Some(crate::wedge::apart::tests::response(3.0, above));
            process(
                &Reading { response, ..crate::wedge::show::summary::tests::reading() },
                &wedge,
                Some(earlier()),
            )
        };
        let gone = laid_over(Some(7.6));
        assert!(gone.x_char.is_none() && gone.char_rise.is_none());
        assert!(gone.not_measured.contains_key("x_char"));
        for above in [Some(4.0), None] {
            let kept = laid_over(above);
            assert!(kept.x_char == earlier().x_char && kept.char_rise == earlier().char_rise);
        }
    }

    #[test]
    fn of_a_process_with_another_coating_only_the_beam_is_joined_and_said_so() {
        let plain = crate::mark::Burn::plain(1.0, 1.0).response;
        let drawn = crate::wedge::grid::wedge(&crate::wedge::grid::tests::grid_of(plain)).unwrap();
        let wedge = Wedge { machine: "diode 10 W".into(), coating: "poster paint".into(), ..drawn };
        let of = |coating: &str, beam: bool| ProcessFile {
            wedge: "W9".into(),
            machine: "diode 10 W".into(),
            coating: coating.into(),
            rise: Some(MeasuredValue { value: 6.0, sigma: None }),
            beam_across: beam.then_some(MeasuredValue { value: BeamSize::Mm(Mm(0.11)), sigma: Some(0.002) }),
            ..ProcessFile::default()
        };
        let reading = crate::wedge::show::summary::tests::reading();
        let named = |earlier: ProcessFile| process(&reading, &wedge, Some(earlier)).wedge;
        assert_eq!(named(of("poster paint", true)), "W9 and W1");
        assert_eq!(named(of("zinc galvanising spray", true)), "W1 (beam of W9)");
        assert_eq!(named(of("zinc galvanising spray", false)), "W1");
        let said = |earlier: &ProcessFile| held_of(earlier, &wedge).unwrap_or_default();
        assert_eq!(said(&of("poster paint", true)), "");
        assert!(said(&of("zinc galvanising spray", true)).ends_with("only the beam is joined"));
        assert!(said(&of("zinc galvanising spray", false)).ends_with("nothing of it is used"));
        let other = ProcessFile { machine: "diode 5 W".into(), ..of("poster paint", true) };
        assert!(said(&other).contains("diode 5 W") && named(other) == "W1");
        let watts = Watts(wedge.rated_power.0 * 2.0);
        let stronger = ProcessFile { rated_power: Some(watts), ..of("poster paint", true) };
        assert!(said(&stronger).contains("a laser of") && named(stronger) == "W1");
    }

    #[test]
    fn a_value_that_holds_for_nothing_is_left_out_with_its_reason() {
        let patch = PatchRecord {
            dose_j_mm2: 3.0,
            speed: MmPerS(10.0),
            pattern: Pattern::Solid,
            period: 0,
            lightness: 300.0,
            sigma: 0.3,
            charred: false,
        };
        let sheet = SheetRecord {
            wedge: "W1".into(),
            pitch_along: Mm(0.1),
            pitch_across: Mm(0.1),
            y_unmarked: 0.03,
            patch: vec![patch],
        };
        let p = ProcessFile {
            schwarzschild: Some(MeasuredValue { value: 0.25, sigma: Some(0.01) }),
            rise: Some(MeasuredValue { value: 6.0, sigma: Some(0.1) }),
            sheet: vec![sheet],
            ..ProcessFile::default()
        };
        assert!(p.check().is_err());
        let held = sound(p);
        assert!(held.check().is_ok() && held.sheet.is_empty() && held.rise.is_some());
        assert!(held.schwarzschild.is_none() && held.not_measured["schwarzschild"].contains("0.3 to 1.5"));
    }
}
