//! Findings about the machine and the process: step-beat, weak-laser, coating-mismatch, process-elsewhere, process-doubted,
//! assumed.

use super::{Finding, Remedy, Severity};
use crate::blank::Surface;
use crate::job::kit::spoken;
use crate::said::Said;
use crate::texts::{self, text};
use crate::units::{MM_PER_INCH, Mm, Watts, short};

/// How line spacing alternates when the pitch is not a whole number of motor steps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beat {
    /// Motor steps a line.
    pub steps: f64,
    /// Lines from one odd spacing to the next.
    pub lines: f64,
    /// The same distance in mm.
    pub period: Mm,
    /// How much more dose the narrow spacing gets than the wide one, as a share.
    pub swing: f64,
}

/// The beat of a pitch, `None` where it is a whole number of steps (to a millionth of a step).
///
/// The motor goes to the nearest step, so lines are `floor` or `ceil` of `steps` apart; the odd one comes
/// every `1 / |steps − round(steps)|` lines, and the dose swings by `ceil/floor − 1`.
pub fn beat(pitch: Mm, steps_per_mm: f64) -> Option<Beat> {
    let steps = pitch.0 * steps_per_mm;
    let odd = (steps - steps.round()).abs();
    if odd < 1e-6 {
        return None;
    }
    let lines = 1.0 / odd;
    let swing = if steps < 1.0 { f64::INFINITY } else { steps.ceil() / steps.floor() - 1.0 };
    Some(Beat { steps, lines, period: Mm(lines * pitch.0), swing })
}

/// `step-beat`: line spacing alternates; `height` is the art's size across the lines, mm.
pub fn step_beat(pitch: Mm, steps_per_mm: f64, height: Mm) -> Option<Finding> {
    let b = beat(pitch, steps_per_mm)?;
    if b.period.0 > 2.0 * height.0 {
        // Fewer than one odd spacing in the whole art: nothing to see.
        return None;
    }
    let (steps, period) = (short(b.steps, 3), Mm((b.period.0 * 1000.0).round() / 1000.0));
    let message = if b.swing.is_finite() {
        text!("findings.step-beat.swing", pitch, steps, period, swing = short(b.swing * 100.0, 1))
    } else {
        text!("findings.step-beat.double", pitch, steps, period)
    };
    let mut finding = Finding::new("step-beat", Severity::Caution, message);
    let mut exact: Vec<f64> = [b.steps.floor(), b.steps.ceil()].into_iter().filter(|s| *s >= 1.0).collect();
    exact.sort_by(|x, y| (x - b.steps).abs().total_cmp(&(y - b.steps).abs()));
    for steps in exact {
        let p = steps / steps_per_mm;
        let (mm, dpi) = (short(p, 5), short(MM_PER_INCH / p, 2));
        let text = match steps as u64 {
            1 => text!("findings.step-beat.pitch.one", pitch = mm, dpi),
            steps => text!("findings.step-beat.pitch.many", pitch = mm, dpi, steps),
        };
        finding =
            finding.with(Remedy::new("pitch", p, "mm", text).verified(beat(Mm(p), steps_per_mm).is_none()));
    }
    Some(finding)
}

/// `weak-laser`: the coating is known to need more power than this laser has.
pub fn weak_laser(laser: Watts, least: Watts, coating: &str) -> Option<Finding> {
    (laser.0 < least.0).then(|| {
        let message = text!("findings.weak-laser", coating, least, laser);
        let text = text!("findings.weak-laser.stronger", least);
        Finding::new("weak-laser", Severity::Caution, message).with(Remedy::new("laser", least.0, "W", text))
    })
}

/// A coating that a blank takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitting {
    /// As `--coating` names it.
    pub id: String,
    /// What its file calls it.
    pub name: String,
    /// The weakest laser that is known to mark it.
    pub least: Watts,
}

/// `coating-mismatch`: the coating is none of those that the blank takes. `blank` says what it is made of;
/// those that the laser is too weak for come last.
pub fn coating_mismatch(coating: &str, blank: &str, takes: &[Fitting], laser: Watts) -> Option<Finding> {
    if takes.is_empty() || takes.iter().any(|f| f.name == coating) {
        return None;
    }
    let names: Vec<&str> = takes.iter().map(|f| spoken(&f.name)).collect();
    let names = match names.as_slice() {
        [one] => one.to_string(),
        [first @ .., last] => text!("findings.coating-mismatch.or", first = first.join(", "), last),
        [] => return None,
    };
    let message = text!("findings.coating-mismatch", coating = spoken(coating), blank, names);
    let mut fitting: Vec<&Fitting> = takes.iter().collect();
    fitting.sort_by_key(|f| laser.0 < f.least.0);
    let finding = Finding::new("coating-mismatch", Severity::Caution, message);
    Some(fitting.iter().fold(finding, |finding, f| {
        let name = spoken(&f.name);
        let take =
            |option: &str| text!("findings.coating-mismatch.take", coating = name, option, least = f.least);
        let text = Said::two(take(&format!(": --coating {}", f.id)), take(""));
        finding.with(Remedy::new("coating", f.least.0, "W", text).set("coating", f.id.as_str()))
    }))
}

/// A `coating-mismatch` whose coating belongs on blanks of that surface, which may be what the blank is made of.
pub fn or_of_surface(finding: Finding, surface: Surface) -> Finding {
    let take = |option: &str| text!("findings.coating-mismatch.surface", surface, option);
    let text = Said::two(take(&format!(": --surface {surface}")), take(""));
    finding.with(Remedy::new("surface", 0.0, "", text).set("blank.surface", surface.to_string()))
}

/// `process-elsewhere`: the process was measured with another coating, or on an `other_machine`; each is given by its name as
/// measured and as used.
pub fn process_elsewhere(other_machine: bool, machine: (&str, &str), coating: (&str, &str)) -> Finding {
    let message = if !other_machine {
        text!("findings.process-elsewhere.coating", then = coating.0, now = coating.1)
    } else {
        let of = |machine: &str, coating: &str| match coating {
            "" => machine.to_string(),
            _ => text!("findings.process-elsewhere.on", coating, machine),
        };
        let (then, now) = (of(machine.0, coating.0), of(machine.1, coating.1));
        text!("findings.process-elsewhere.machine", then, now)
    };
    let text = text!("findings.process-elsewhere.wedge", coating = coating.1, machine = machine.1);
    Finding::new("process-elsewhere", Severity::Caution, message).with(Remedy::new("process", 0.0, "", text))
}

/// `process-elsewhere`: the process was measured on this machine while its laser had the rated power `then`.
pub fn process_of_other_laser(then: Watts, now: Watts, machine: &str) -> Finding {
    let message = text!("findings.process-elsewhere.laser", machine, then, now);
    let text = text!("findings.process-elsewhere.laser.wedge", now);
    Finding::new("process-elsewhere", Severity::Caution, message).with(Remedy::new("process", 0.0, "", text))
}

/// `process-doubted`: the process comes from a reading that is not to be used.
pub fn process_doubted(doubt: &str) -> Option<Finding> {
    (!doubt.is_empty()).then(|| {
        let message = text!("findings.process-doubted", doubt);
        let text = text!("findings.process-doubted.again");
        Finding::new("process-doubted", Severity::Caution, message)
            .with(Remedy::new("process", 0.0, "", text))
    })
}

/// How many values decide the look: beam, looks, response, char and reciprocity. A wedge measures them all.
const DECISIVE: usize = 5;

/// How light the bare piece, the mark and char are: a wedge measures these only against white that lies beside it.
const LOOKS: &str = "looks";

/// What measures `values` that were never measured, in a sentence for those who only ask for advice.
pub fn advised(values: &[&str]) -> Option<String> {
    let list = values.join(", ");
    match values {
        [] => None,
        [LOOKS] => Some(format!(
            "Never measured here: {list}. Read the wedge again from a photo with a white card beside it (--white)."
        )),
        _ => Some(format!("Never measured here: {list}. Burn a wedge before you trust these figures.")),
    }
}

/// The wedge that measures a job's values.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WedgeOf {
    /// What it is burnt on.
    pub on: &'static str,
    /// The command that draws it.
    pub drawn_by: String,
}

/// `assumed`: values that decide the look were never measured; a `wedge` measures them.
pub fn assumed(values: &[&str], wedge: &WedgeOf) -> Option<Finding> {
    (!values.is_empty()).then(|| {
        let named =
            values.iter().map(|&value| texts::known(&format!("findings.decisive.{value}")).unwrap_or(value));
        let list = named.collect::<Vec<_>>().join(", ");
        let some = values.len() < DECISIVE;
        let (message, measured) = if some {
            (text!("findings.assumed.some", values = list), list.as_str())
        } else {
            (text!("findings.assumed.all", values = list), text!("findings.assumed.them-all"))
        };
        let (blank, command) = (wedge.on, wedge.drawn_by.as_str());
        // Another wedge without anything white in its photo would leave the looks as they are.
        let text = match values {
            [LOOKS] => Said::two(text!("findings.assumed.looks.line"), text!("findings.assumed.looks.page")),
            _ if some && values.contains(&LOOKS) => Said::two(
                text!("findings.assumed.white.line", blank, command, values = measured),
                text!("findings.assumed.white.page", blank, values = measured),
            ),
            _ => Said::two(
                text!("findings.assumed.wedge.line", blank, command, values = measured),
                text!("findings.assumed.wedge.page", blank, values = measured),
            ),
        };
        Finding::new("assumed", Severity::Note, message).with(Remedy::new("process", 1.0, "wedge", text))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_still_to_be_measured_is_told_from_what_was_never_measured() {
        let draw = WedgeOf { on: "a spare blank", drawn_by: "dotwright wedge draw --out DIR".into() };
        let said = |values: &[&str]| {
            let f = assumed(values, &draw).unwrap();
            (f.message.clone(), f.remedies[0].text.clone())
        };
        let on_page =
            |values: &[&str]| assumed(values, &draw).unwrap().remedies[0].text.on_page().to_string();
        let (all, wedge) = said(&["beam", "looks", "response", "char", "reciprocity"]);
        assert!(
            wedge.starts_with("burn a wedge on a spare blank ('dotwright wedge draw --out DIR'), which"),
            "{wedge}"
        );
        assert!(all.starts_with("never measured") && wedge.contains("measures them all"), "{all} {wedge}");
        let (some, wedge) = said(&["char"]);
        assert!(some.starts_with("not yet measured") && some.contains(": char;"), "{some}");
        assert!(wedge.contains("which measures char,"), "{wedge}");
        assert!(wedge.ends_with("read it, and pass its process file with --process"), "{wedge}");
        assert_eq!(on_page(&["char"]), "burn a wedge on a spare blank, which measures char, and read it");
        // A wedge alone leaves these as they are.
        let (_, white) = said(&["looks"]);
        assert_eq!(
            white,
            "read the wedge again from a photo with a white card beside it (--white), which measures them, and pass its process file with --process"
        );
        assert_eq!(
            on_page(&["looks"]),
            "read the wedge again from a photo with white paper beside it, which measures them"
        );
        let (_, both) = said(&["looks", "char"]);
        assert!(
            both.contains("which measures looks, char, read it from a photo with a white card"),
            "{both}"
        );
        assert!(advised(&["looks"]).unwrap().ends_with("(--white)."));
        assert!(
            advised(&["looks", "char"]).unwrap().ends_with("Burn a wedge before you trust these figures.")
        );
        assert_eq!(advised(&[]), None);
        assert_eq!(assumed(&[], &draw), None);
    }

    #[test]
    fn the_beat_of_304_dpi_at_80_steps_a_mm() {
        // check values U17, U18, U19 (computed): 127/19 steps, 19/6 lines, 0.264583 mm, 7/6.
        let b = beat(Mm(25.4 / 304.0), 80.0).unwrap();
        assert!((b.steps - 127.0 / 19.0).abs() < 1e-12);
        assert!((b.lines - 19.0 / 6.0).abs() < 1e-9);
        assert!((b.period.0 - 0.26458333333333334).abs() < 1e-9);
        assert!((b.swing - (7.0 / 6.0 - 1.0)).abs() < 1e-12);
    }

    #[test]
    fn whole_steps_have_no_beat() {
        // check value U20: 5 to 8 steps at 80 steps a mm.
        for dpi in [406.4, 338.6666666666667, 290.2857142857143, 254.0] {
            assert_eq!(beat(Mm(25.4 / dpi), 80.0), None, "{dpi}");
        }
    }

    #[test]
    fn the_nearest_exact_pitch_comes_first_and_is_verified() {
        let f = step_beat(Mm(25.4 / 304.0), 80.0, Mm(85.0)).unwrap();
        assert_eq!(f.remedies.len(), 2);
        assert!((f.remedies[0].value - 0.0875).abs() < 1e-12 && f.remedies.iter().all(|r| r.verified));
        assert!(f.message.contains("0.265mm") && f.message.contains("16.7%"), "{}", f.message);
    }

    #[test]
    fn a_coating_that_does_not_belong_on_the_blank_is_answered_with_those_that_do() {
        let fitting =
            |id: &str, name: &str, least| Fitting { id: id.into(), name: name.into(), least: Watts(least) };
        let glass = [fitting("zinc-spray", "zinc spray", 10.0), fitting("poster-paint", "poster paint", 5.0)];
        let f = coating_mismatch("bare slate", "glass", &glass, Watts(5.0)).unwrap();
        assert!(f.message.contains("glass, which takes zinc spray or poster paint"), "{}", f.message);
        assert!(
            f.remedies[0].text.contains("--coating poster-paint"),
            "what this laser marks comes first: {f:?}"
        );
        assert_eq!(f.remedies[0].text.on_page(), "take poster paint (a laser of 5W or more)");
        assert_eq!(f.remedies[0].sets, [("coating".to_string(), "poster-paint".to_string())]);
        let f = or_of_surface(f, Surface::Slate);
        let last = f.remedies.last().unwrap();
        assert_eq!(last.text.on_page(), "or say that the blank is slate, where it is");
        assert!(last.text.contains("where it is: --surface slate"), "{last:?}");
        assert_eq!(last.sets, [("blank.surface".to_string(), "slate".to_string())]);
        assert!(coating_mismatch("poster paint", "glass", &glass, Watts(5.0)).is_none());
        assert!(coating_mismatch("poster paint", "glass", &[], Watts(5.0)).is_none());
    }

    #[test]
    fn zinc_with_five_watts_is_too_weak() {
        assert!(weak_laser(Watts(5.0), Watts(10.0), "zinc galvanising spray").is_some());
        assert!(weak_laser(Watts(10.0), Watts(10.0), "zinc galvanising spray").is_none());
    }

    #[test]
    fn a_process_from_elsewhere_names_what_it_was_measured_for() {
        let same = ("diode 5 W", "diode 5 W");
        let f = process_elsewhere(false, same, ("poster paint", "zinc spray"));
        assert_eq!(
            f.message,
            "the process was measured for poster paint, not for zinc spray: of it only the beam and its lag are used"
        );
        assert!(f.remedies[0].text.starts_with("burn a wedge of zinc spray on diode 5 W"), "{f:?}");
        let f = process_elsewhere(true, ("diode 5 W", "diode 10 W"), ("poster paint", "poster paint"));
        assert!(f.message.contains("poster paint on diode 5 W, not for poster paint on diode 10 W"), "{f:?}");
        assert!(f.message.ends_with("nothing of it is used"));
        let f = process_of_other_laser(Watts(5.0), Watts(10.0), "diode 5 W");
        assert!(f.name == "process-elsewhere" && f.message.contains("a laser of 5W, not of 10W"), "{f:?}");
        assert!(process_doubted("").is_none());
    }
}
