//! Numbers that know their unit: lengths, pitches, powers, speeds, doses.
//!
//! Every value a maker types or reads carries its unit. Parsing and printing live here and
//! nowhere else, so that `12.5mm/s` on the command line, in a job file and on the ticket is
//! the same text for the same number.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::texts::text;

/// Millimetres in one inch (exact by definition).
pub const MM_PER_INCH: f64 = 25.4;

/// Why a text is not a value with a unit. The message says what was read and what is expected.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    /// No number could be read at the start of the text.
    #[error("{}", text!("units.no-number", text = .text, example = either(.example)))]
    NotANumber {
        /// The text as given.
        text: String,
        /// A valid text, and what else it may be written as.
        example: &'static [&'static str],
    },
    /// A number without its unit.
    #[error("{}", text!("units.no-unit", text = .text, example = with_unit(.text, .example)))]
    NoUnit {
        /// The text as given.
        text: String,
        /// A valid text, and what else it may be written as.
        example: &'static [&'static str],
    },
    /// A decimal comma, which separates other things here.
    #[error("{}", text!("units.comma", text = .text, point = .point))]
    Comma {
        /// The text as given.
        text: String,
        /// The same with a point.
        point: String,
    },
    /// A unit that this quantity does not have.
    #[error("{}", text!("units.unknown", text = .text, unit = .unit, known = .known))]
    UnknownUnit {
        /// The text as given.
        text: String,
        /// The unit as given.
        unit: String,
        /// The units that are known for this quantity.
        known: &'static str,
    },
    /// A number outside the range of its quantity.
    #[error("{}", text!("units.out-of-range", text = .text, range = .range))]
    OutOfRange {
        /// The text as given.
        text: String,
        /// The range in words.
        range: &'static str,
    },
}

/// A way to write it, or both.
fn either(ways: &[impl fmt::Display]) -> String {
    match ways {
        [first, second] => text!("units.either", first, second),
        _ => ways.first().map_or(String::new(), ToString::to_string),
    }
}

/// The number as given with the unit of the example. Where that says it in two ways, it is the way whose own number is nearer:
/// no pitch is that many mm. A number up to 1 without its unit is a share of the whole: as a percentage it is next to nothing.
fn with_unit(text: &str, example: &[&str]) -> String {
    let number: f64 = text.trim().parse().unwrap_or(0.0);
    let parts = |way: &&str| {
        let unit = way.trim_start_matches(|c: char| c.is_ascii_digit() || c == '.').to_string();
        let own: f64 = way.strip_suffix(&unit).and_then(|n| n.parse().ok()).unwrap_or(1.0);
        (libm::log(number.abs().max(f64::MIN_POSITIVE) / own).abs(), unit)
    };
    let nearest = example.iter().map(parts).min_by(|a, b| a.0.total_cmp(&b.0));
    match nearest.map_or(String::new(), |(_, unit)| unit) {
        unit if unit == "%" && (0.0..=1.0).contains(&number) => short(100.0 * number, 2) + "%",
        unit => format!("{}{unit}", text.trim()),
    }
}

/// Splits `12.5mm/s` into 12.5 and `mm/s`. White space around either part is ignored.
fn split(text: &str, example: &'static [&'static str]) -> Result<(f64, String), UnitError> {
    let t = text.trim();
    let end = t
        .char_indices()
        .find(|&(_, c)| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+')))
        .map_or(t.len(), |(i, _)| i);
    let value: f64 =
        t[..end].parse().map_err(|_| UnitError::NotANumber { text: text.to_string(), example })?;
    let unit = t[end..].trim();
    // A unit never begins with a comma, so that a digit after one is a decimal.
    let decimals = unit.strip_prefix(',').is_some_and(|u| u.starts_with(|c: char| c.is_ascii_digit()));
    if decimals && !t[..end].contains('.') {
        let point = t.replacen(',', ".", 1);
        // Without its unit it would be refused once more.
        let bare = point.parse::<f64>().is_ok();
        return Err(UnitError::Comma {
            text: text.to_string(),
            point: if bare { with_unit(&point, example) } else { point },
        });
    }
    Ok((value, unit.to_string()))
}

/// Prints a number with at most `decimals` decimals and no trailing zeros (`12.5`, `90`, `0.0836`).
pub fn short(value: f64, decimals: usize) -> String {
    let s = format!("{value:.decimals$}");
    if !s.contains('.') {
        return s;
    }
    let s = s.trim_end_matches('0').trim_end_matches('.');
    if s == "-0" { "0".to_string() } else { s.to_string() }
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $unit:literal, $decimals:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        pub struct $name(pub f64);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, concat!("{}", $unit), short(self.0, $decimals))
            }
        }
        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
                // Full precision: a job file must give the same bytes when it is run again.
                s.serialize_str(&format!(concat!("{}", $unit), self.0))
            }
        }
        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
                String::deserialize(d)?.parse().map_err(serde::de::Error::custom)
            }
        }
    };
}

quantity!(
    /// A length in millimetres. Parsed from `90mm`, `9cm`, `3.5in`, `120um`.
    Mm, "mm", 4
);
quantity!(
    /// An optical power in watts. Parsed from `5W`, `800mW`.
    Watts, "W", 3
);
quantity!(
    /// A speed in millimetres a second. Parsed from `12.5mm/s`, `750mm/min`.
    MmPerS, "mm/s", 4
);
quantity!(
    /// A dose (energy on an area) in joules per square millimetre. Parsed from `4.3J/mm2`, `430J/cm2`.
    JoulesPerMm2, "J/mm2", 3
);

impl FromStr for Mm {
    type Err = UnitError;
    fn from_str(text: &str) -> Result<Self, UnitError> {
        let example = &["90mm"];
        let (v, unit) = split(text, example)?;
        let mm = match unit.as_str() {
            "mm" => v,
            "cm" => v * 10.0,
            "um" | "µm" => v / 1000.0,
            // Not a whole number of binary fractions: to a millionth of a µm, so that 3.5in is 88.9mm.
            "in" | "\"" => (v * MM_PER_INCH * 1e9).round() / 1e9,
            "" => return Err(UnitError::NoUnit { text: text.to_string(), example }),
            _ => {
                return Err(UnitError::UnknownUnit {
                    text: text.to_string(),
                    unit,
                    known: text!("units.known.length"),
                });
            }
        };
        finite(mm, text, text!("units.range.length")).map(Mm)
    }
}

impl FromStr for Watts {
    type Err = UnitError;
    fn from_str(text: &str) -> Result<Self, UnitError> {
        let example = &["5W"];
        let (v, unit) = split(text, example)?;
        let w = match unit.as_str() {
            "W" | "w" => v,
            "mW" => v / 1000.0,
            "" => return Err(UnitError::NoUnit { text: text.to_string(), example }),
            _ => {
                return Err(UnitError::UnknownUnit {
                    text: text.to_string(),
                    unit,
                    known: text!("units.known.power"),
                });
            }
        };
        finite(w, text, text!("units.range.power")).map(Watts)
    }
}

impl FromStr for MmPerS {
    type Err = UnitError;
    fn from_str(text: &str) -> Result<Self, UnitError> {
        let example = &["12.5mm/s", "750mm/min"];
        let (v, unit) = split(text, example)?;
        let s = match unit.as_str() {
            "mm/s" => v,
            "mm/min" => v / 60.0,
            "cm/s" => v * 10.0,
            "in/s" => v * MM_PER_INCH,
            "in/min" => v * MM_PER_INCH / 60.0,
            "" => return Err(UnitError::NoUnit { text: text.to_string(), example }),
            _ => {
                return Err(UnitError::UnknownUnit {
                    text: text.to_string(),
                    unit,
                    known: text!("units.known.speed"),
                });
            }
        };
        finite(s, text, text!("units.range.speed")).map(MmPerS)
    }
}

impl FromStr for JoulesPerMm2 {
    type Err = UnitError;
    fn from_str(text: &str) -> Result<Self, UnitError> {
        let example = &["4.3J/mm2"];
        let (v, unit) = split(text, example)?;
        let d = match unit.as_str() {
            "J/mm2" | "J/mm²" => v,
            "J/cm2" | "J/cm²" => v / 100.0,
            "" => return Err(UnitError::NoUnit { text: text.to_string(), example }),
            _ => {
                return Err(UnitError::UnknownUnit {
                    text: text.to_string(),
                    unit,
                    known: text!("units.known.dose"),
                });
            }
        };
        finite(d, text, text!("units.range.dose")).map(JoulesPerMm2)
    }
}

fn finite(value: f64, text: &str, range: &'static str) -> Result<f64, UnitError> {
    if value.is_finite() && value.abs() <= 10_000.0 {
        Ok(value)
    } else {
        Err(UnitError::OutOfRange { text: text.to_string(), range })
    }
}

/// The distance between the centres of neighbouring dots, in millimetres; always above zero.
///
/// Parsed from a density (`290.3dpi`, `120lpcm`) or a distance (`0.0875mm`). `pitch = 25.4 / dpi` mm.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Pitch(f64);

impl Pitch {
    /// A pitch of `mm` millimetres; `None` unless it is a finite number above zero.
    pub fn from_mm(mm: f64) -> Option<Self> {
        (mm.is_finite() && mm > 0.0).then_some(Pitch(mm))
    }

    /// A pitch from dots an inch; `None` unless it is a finite number above zero.
    pub fn from_dpi(dpi: f64) -> Option<Self> {
        (dpi.is_finite() && dpi > 0.0).then(|| Pitch(MM_PER_INCH / dpi))
    }

    /// The pitch in millimetres.
    pub fn mm(self) -> f64 {
        self.0
    }

    /// The density in dots an inch.
    pub fn dpi(self) -> f64 {
        MM_PER_INCH / self.0
    }

    /// The whole number of dots nearest to `size`, at least one: `round(size / pitch)`.
    pub fn dots(self, size: Mm) -> usize {
        ((size.0 / self.0).round() as usize).max(1)
    }
}

impl fmt::Display for Pitch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}mm ({}dpi)", short(self.0, 4), short(self.dpi(), 1))
    }
}

impl FromStr for Pitch {
    type Err = UnitError;
    fn from_str(text: &str) -> Result<Self, UnitError> {
        let example = &["290.3dpi", "0.0875mm"];
        let (v, unit) = split(text, example)?;
        let range = text!("units.range.pitch");
        let mm = match unit.as_str() {
            "dpi" | "lpi" => MM_PER_INCH / v,
            "lpcm" => 10.0 / v,
            "mm" => v,
            "um" | "µm" => v / 1000.0,
            "" => return Err(UnitError::NoUnit { text: text.to_string(), example }),
            _ => {
                return Err(UnitError::UnknownUnit {
                    text: text.to_string(),
                    unit,
                    known: text!("units.known.pitch"),
                });
            }
        };
        if mm.is_finite() && (0.005 - 1e-12..=5.0 + 1e-12).contains(&mm) {
            Ok(Pitch(mm))
        } else {
            Err(UnitError::OutOfRange { text: text.to_string(), range })
        }
    }
}

impl Serialize for Pitch {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(&format!("{}mm", self.0))
    }
}

impl<'de> Deserialize<'de> for Pitch {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        String::deserialize(d)?.parse().map_err(serde::de::Error::custom)
    }
}

/// A share of a whole, 0 to 1. Parsed from and printed as a percentage (`90%`).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct Share(pub f64);

impl fmt::Display for Share {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}%", short(self.0 * 100.0, 2))
    }
}

impl FromStr for Share {
    type Err = UnitError;
    fn from_str(text: &str) -> Result<Self, UnitError> {
        let example = &["90%"];
        let (v, unit) = split(text, example)?;
        match unit.as_str() {
            "%" => {}
            "" => return Err(UnitError::NoUnit { text: text.to_string(), example }),
            _ => return Err(UnitError::UnknownUnit { text: text.to_string(), unit, known: "%" }),
        }
        if (0.0..=100.0).contains(&v) {
            Ok(Share(v / 100.0))
        } else {
            Err(UnitError::OutOfRange { text: text.to_string(), range: text!("units.range.share") })
        }
    }
}

impl Serialize for Share {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(&format!("{}%", short(self.0 * 100.0, 12)))
    }
}

impl<'de> Deserialize<'de> for Share {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        String::deserialize(d)?.parse().map_err(serde::de::Error::custom)
    }
}

/// Seconds as `45 s`, `12 min 30 s` or `2 h 21 min`, rounded to the last unit shown.
pub fn duration(seconds: f64) -> String {
    let s = seconds.max(0.0).round() as u64;
    if s < 60 {
        text!("units.duration.seconds", seconds = s)
    } else if s < 3600 {
        text!("units.duration.minutes", minutes = s / 60, seconds = s % 60)
    } else {
        let min = (s + 30) / 60;
        text!("units.duration.hours", hours = min / 60, minutes = min % 60)
    }
}

/// So many of a thing, which is named as one of it is: `1 piece`, `3 passes`.
pub fn counted(count: u64, thing: &str) -> String {
    let more = if thing.ends_with('s') { "es" } else { "s" };
    format!("{count} {thing}{}", if count == 1 { "" } else { more })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_of_a_thing_is_named_alone() {
        assert_eq!([0, 1, 2].map(|n| counted(n, "piece")), ["0 pieces", "1 piece", "2 pieces"]);
        assert_eq!([1, 3].map(|n| counted(n, "pass")), ["1 pass", "3 passes"]);
    }

    #[test]
    fn lengths_are_read_in_the_units_of_a_workbench() {
        assert_eq!("90mm".parse::<Mm>().unwrap(), Mm(90.0));
        assert_eq!("3.5in".parse::<Mm>().unwrap().0, 88.9);
        assert_eq!(" 9 cm ".parse::<Mm>().unwrap(), Mm(90.0));
        assert_eq!("120um".parse::<Mm>().unwrap(), Mm(0.12));
    }

    #[test]
    fn a_missing_or_unknown_unit_is_refused_with_an_example() {
        let e = "90".parse::<Mm>().unwrap_err().to_string();
        assert_eq!(e, "'90' has no unit; write for example 90mm");
        let speed = |text: &str| text.parse::<MmPerS>().unwrap_err().to_string();
        assert!(
            speed("12").ends_with("for example 12mm/s") && speed("750").ends_with("for example 750mm/min")
        );
        let pitch = |text: &str| text.parse::<Pitch>().unwrap_err().to_string();
        assert!(pitch("254").ends_with("for example 254dpi") && pitch("0.1").ends_with("for example 0.1mm"));
        let share = |text: &str| text.parse::<Share>().unwrap_err().to_string();
        assert!(share("0.9").ends_with("for example 90%") && share("80").ends_with("for example 80%"));
        assert!(share("1").ends_with("for example 100%"));
        let e = "90px".parse::<Mm>().unwrap_err().to_string();
        assert!(e.contains("unknown unit 'px'") && e.contains("mm"), "{e}");
        assert!("mm".parse::<Mm>().is_err());
        assert!("110%".parse::<Share>().is_err());
        assert!("0dpi".parse::<Pitch>().is_err());
    }

    #[test]
    fn what_is_written_instead_of_a_decimal_comma_is_not_refused_again() {
        let said = |e: UnitError| e.to_string();
        let share = |text: &str| said(text.parse::<Share>().unwrap_err());
        assert_eq!(share("0,9"), "'0,9' has a decimal comma; write 90%");
        assert_eq!(share("92,5"), "'92,5' has a decimal comma; write 92.5%");
        assert_eq!(share("0,9%"), "'0,9%' has a decimal comma; write 0.9%");
        assert_eq!(said("12,5".parse::<MmPerS>().unwrap_err()), "'12,5' has a decimal comma; write 12.5mm/s");
        assert_eq!(said("0,1".parse::<Pitch>().unwrap_err()), "'0,1' has a decimal comma; write 0.1mm");
        assert_eq!(said("9,5 cm".parse::<Mm>().unwrap_err()), "'9,5 cm' has a decimal comma; write 9.5 cm");
    }

    #[test]
    fn speeds_agree_with_the_feed_word() {
        // check value U16: 12.5 mm/s = 750 mm/min = 29.52755905511811 in/min (computed from 25.4 mm an inch).
        assert_eq!("750mm/min".parse::<MmPerS>().unwrap(), MmPerS(12.5));
        let v = "29.52755905511811in/min".parse::<MmPerS>().unwrap();
        assert!((v.0 - 12.5).abs() < 1e-12);
    }

    #[test]
    fn pitch_and_dots_agree_with_the_check_values() {
        // check values U01, U02, U03 (computed from 25.4 mm an inch).
        let p = "304dpi".parse::<Pitch>().unwrap();
        assert!((p.mm() - 0.08355263157894736).abs() < 1e-15);
        assert_eq!(p.dots(Mm(85.0)), 1017);
        assert!((1017.0 * p.mm() - 84.97302631578947).abs() < 1e-9);
    }

    #[test]
    fn what_is_stored_is_read_back_exactly() {
        for mm in [0.08355263157894736, 0.1, 1.0 / 3.0] {
            let p = Pitch::from_mm(mm).unwrap();
            let s = serde_json::to_string(&p).unwrap();
            assert_eq!(serde_json::from_str::<Pitch>(&s).unwrap(), p);
        }
    }

    #[test]
    fn durations_are_rounded_to_the_last_unit_shown() {
        assert_eq!(duration(11.6), "12 s");
        assert_eq!(duration(45.2), "45 s");
        assert_eq!(duration(59.7), "1 min 0 s");
        assert_eq!(duration(250.0), "4 min 10 s");
        assert_eq!(duration(750.0), "12 min 30 s");
        assert_eq!(duration(6992.7), "1 h 57 min");
        assert_eq!(duration(7199.0), "2 h 0 min");
        assert_eq!(duration(8459.0), "2 h 21 min");
    }
}
