//! Findings `qr-code` and `bar-code`: a code that phones or scanners will hardly read on the piece.

use super::art::{exchanged, sized};
use super::{Finding, Remedy, Severity};
use crate::job::settle::Of;
use crate::said::Said;
use crate::texts::text;
use crate::units::short;

/// Modules of light border that phones want around a code (ISO/IEC 18004, 6.3.8).
pub const QUIET: usize = 4;
/// The most of its modules that may come out wrong: the lowest level of error correction mends 7 %, and dirt and a slanting
/// view take their share.
pub const MOST_WRONG: f64 = 0.03;

/// A drawing of the same piece in which a code comes out dark on light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mend {
    /// The picture whose light and dark are exchanged for that.
    pub of: Of,
    /// Whether it is then inverted; else no longer.
    pub invert: bool,
    /// Modules of light border that the code then has.
    pub quiet: usize,
}

/// `qr-code` of one that comes out light on dark, whose modules are so wide (mm); `mend` is what was found to mend that.
pub fn reversed(mend: Option<&Mend>, module: f64) -> Finding {
    let finding = Finding::new("qr-code", Severity::Caution, text!("findings.qr-code.reversed"));
    let picture = |text: Said| Remedy::new("picture", QUIET as f64, "modules", text);
    let (modules, width) = (QUIET, wide(module));
    match mend {
        Some(mend) if mend.quiet >= QUIET => finding.with(exchanged(mend.of, mend.invert).verified(true)),
        Some(mend) => {
            let mut remedy = exchanged(mend.of, mend.invert);
            remedy.text.push(match mend.quiet {
                0 => text!("findings.qr-code.reversed.then.none").to_string(),
                1 => text!("findings.qr-code.reversed.then.one").to_string(),
                quiet => text!("findings.qr-code.reversed.then.many", modules = quiet),
            });
            let border = text!("findings.qr-code.reversed.border", modules, width);
            finding.with(remedy).with(picture(border.into()))
        }
        None => {
            let save = text!("findings.qr-code.reversed.save", modules, width);
            finding.with(picture(Said::from(save).line(" (--invert)")))
        }
    }
}

/// `qr-code` of one with so many modules of light border around it, each so wide (mm), where these are too few.
pub fn border(quiet: usize, module: f64) -> Option<Finding> {
    (quiet < QUIET).then(|| {
        // Most phones read codes with half of the border.
        let severity = if quiet < QUIET / 2 { Severity::Caution } else { Severity::Note };
        let (wanted, width) = (QUIET, wide(module));
        let message = match quiet {
            0 => text!("findings.qr-code.border.none", wanted, width),
            1 => text!("findings.qr-code.border.one", wanted, width),
            modules => text!("findings.qr-code.border.many", modules, wanted, width),
        };
        let text = text!("findings.qr-code.border.wider");
        Finding::new("qr-code", severity, message).with(Remedy::new("picture", QUIET as f64, "modules", text))
    })
}

/// A picture with a code in it: which one it is, its width and its height for each of that, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sized {
    /// The picture.
    pub of: Of,
    /// Its width, mm.
    pub width: f64,
    /// Its height as a multiple of that.
    pub height: f64,
}

/// `qr-code` of one of which this share of modules, each so wide (mm), comes out wrong. `least` is the picture at the size at
/// which it holds, where that has room on the blank.
pub fn too_small(wrong: f64, module: f64, least: Option<Sized>) -> Finding {
    let message =
        text!("findings.qr-code.small", percent = short(wrong * 100.0, 1), width = short(module, 2));
    let finding = Finding::new("qr-code", Severity::Caution, message);
    let remedy = match least {
        Some(Sized { of, width, height }) => {
            // Rounded up, so that it is no smaller than what was found to do.
            let tenths = (width * 10.0).ceil();
            let text = text!("findings.qr-code.small.larger", width = short(tenths / 10.0, 1));
            sized((tenths + 0.01) / 10.0, text, height, of)
        }
        None => Remedy::new("picture", 0.0, "", text!("findings.qr-code.small.shorter")),
    };
    finding.with(remedy)
}

/// The light border that a bar code wants beside its first and its last bar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beside {
    /// How many of its modules wide that is.
    pub modules: usize,
    /// How wide each is, mm.
    pub module: f64,
}

/// `bar-code` of one that comes out light on dark; `mend` is what was found to mend that.
pub fn bars_reversed(mend: Option<&Mend>, wants: Beside) -> Finding {
    let finding = Finding::new("bar-code", Severity::Caution, text!("findings.bar-code.reversed"));
    let picture = |text: Said| Remedy::new("picture", wants.wide(wants.modules), "mm", text);
    let width = wants.told(wants.modules);
    match mend {
        Some(mend) if mend.quiet >= wants.modules => {
            finding.with(exchanged(mend.of, mend.invert).verified(true))
        }
        Some(mend) => {
            let mut remedy = exchanged(mend.of, mend.invert);
            remedy.text.push(match mend.quiet {
                0 => text!("findings.bar-code.reversed.then.none").to_string(),
                quiet => text!("findings.bar-code.reversed.then.some", width = wants.told(quiet)),
            });
            let border = text!("findings.bar-code.reversed.border", width);
            finding.with(remedy).with(picture(border.into()))
        }
        None => {
            let save = text!("findings.bar-code.reversed.save", width);
            finding.with(picture(Said::from(save).line(" (--invert)")))
        }
    }
}

/// `bar-code` of one with so many modules of light border, where these are too few.
pub fn bars_border(quiet: usize, wants: Beside) -> Option<Finding> {
    (quiet < wants.modules).then(|| {
        // Many scanners read codes with half of it.
        let severity = if quiet < wants.modules / 2 { Severity::Caution } else { Severity::Note };
        let wanted = wants.told(wants.modules);
        let message = match quiet {
            0 => text!("findings.bar-code.border.none", wanted),
            some => text!("findings.bar-code.border.some", wanted, width = wants.told(some)),
        };
        let text = text!("findings.bar-code.border.wider");
        let value = wants.wide(wants.modules);
        Finding::new("bar-code", severity, message).with(Remedy::new("picture", value, "mm", text))
    })
}

impl Beside {
    /// So many modules, mm, rounded up.
    fn wide(&self, modules: usize) -> f64 {
        (modules as f64 * self.module * 10.0).ceil() / 10.0
    }

    fn told(&self, modules: usize) -> String {
        short(self.wide(modules), 1)
    }
}

/// The width of the light border, mm.
fn wide(module: f64) -> String {
    short((QUIET as f64 * module * 10.0).ceil() / 10.0, 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_mends_a_code_is_said_with_its_key() {
        let mend = |of, invert, quiet| reversed(Some(&Mend { of, invert, quiet }), 1.38);
        let found = mend(Of::Art, true, 4);
        assert_eq!(found.remedies[0].text, "exchange its light and dark: --invert");
        assert_eq!(found.remedies[0].text.on_page(), "exchange its light and dark");
        assert_eq!(found.remedies[0].sets, [("tone.invert".to_string(), "true".to_string())]);
        assert!(found.remedies[0].verified && found.remedies.len() == 1);
        let layer = mend(Of::Layer(1), true, 2);
        assert_eq!(
            layer.remedies[0].text,
            "exchange its light and dark: invert = true in its --layer; its light border is then 2 of its modules wide"
        );
        assert_eq!(layer.remedies[0].sets, [("layer.1.invert".to_string(), "true".to_string())]);
        assert_eq!(
            layer.remedies[1].text,
            "give the picture a light border of 4 of its modules (5.6 mm here)"
        );
        assert!(mend(Of::Art, false, 4).remedies[0].text.ends_with(": leave out --invert"));
        let none = reversed(None, 1.0);
        assert!(
            none.remedies[0].text.starts_with("save the code on white") && none.remedies[0].sets.is_empty()
        );
        assert!(!none.remedies[0].text.on_page().contains("--"));
    }

    #[test]
    fn what_mends_a_bar_code_is_said_with_its_key_and_what_is_then_left() {
        let wants = Beside { modules: 7, module: 0.33 };
        let mend = |quiet| bars_reversed(Some(&Mend { of: Of::Art, invert: true, quiet }), wants);
        assert_eq!(mend(7).remedies[0].text, "exchange its light and dark: --invert");
        assert!(mend(7).remedies[0].verified && mend(7).remedies.len() == 1);
        let narrow = mend(3);
        assert_eq!(narrow.remedies[0].sets, [("tone.invert".to_string(), "true".to_string())]);
        assert!(!narrow.remedies[0].verified && narrow.remedies[0].text.ends_with("only 1 mm wide"));
        assert!(narrow.remedies[1].text.contains("2.4 mm"), "{narrow:?}");
        let none = bars_reversed(None, wants);
        assert!(none.remedies[0].sets.is_empty() && !none.remedies[0].text.on_page().contains("--"));
        assert_eq!(bars_border(7, wants), None);
        assert_eq!(bars_border(4, wants).map(|f| f.severity), Some(Severity::Note));
        assert_eq!(bars_border(0, wants).map(|f| f.severity), Some(Severity::Caution));
    }

    #[test]
    fn a_narrow_border_and_small_modules_are_told() {
        assert_eq!(border(4, 1.0), None);
        assert_eq!(border(2, 1.0).map(|f| f.severity), Some(Severity::Note));
        assert_eq!(border(0, 1.0).map(|f| f.severity), Some(Severity::Caution));
        assert!(border(0, 1.0).unwrap().message.contains("is missing: phones want 4 of them, 4 mm here"));
        let found = too_small(0.119, 0.1304, Some(Sized { of: Of::Art, width: 14.12, height: 1.0 }));
        assert!(
            found.message.starts_with("11.9% of the QR code's modules come out wrong: they are 0.13 mm wide")
        );
        assert_eq!(found.remedies[0].text, "make it at least 14.2 mm wide");
        assert!(found.remedies[0].sets[0].1.starts_with("14.2x14.2"), "{found:?}");
        assert!(too_small(0.1, 0.1, None).remedies[0].sets.is_empty());
    }
}
