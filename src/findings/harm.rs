//! How bad a finding is, in one number.

use std::borrow::Cow;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::texts::text;

/// How bad a finding is: a number above zero that grows with the harm, and its unit. Written as `78.54 mm2`.
#[derive(Debug, Clone, PartialEq)]
pub struct Harm {
    /// The number.
    pub value: f64,
    /// Its unit.
    pub unit: Cow<'static, str>,
}

impl Harm {
    /// A number with its unit.
    pub fn new(value: f64, unit: &'static str) -> Harm {
        Harm { value, unit: Cow::Borrowed(unit) }
    }

    /// To four digits, as it is told to people and kept.
    pub fn rounded(&self) -> Harm {
        let value = format!("{:.3e}", self.value).parse().unwrap_or(self.value);
        Harm { value, unit: self.unit.clone() }
    }

    /// Whether this is larger than `other` by more than the share `tolerance` of it, or cannot be held against it.
    pub fn worse_than(&self, other: &Harm, tolerance: f64) -> bool {
        let within = self.value <= other.value * (1.0 + tolerance);
        self.unit != other.unit || !within
    }
}

impl fmt::Display for Harm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.value, self.unit)
    }
}

impl FromStr for Harm {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || text!("findings.harm.no-figure", text);
        let (value, unit) = text.trim().split_once(' ').ok_or_else(wrong)?;
        let value: f64 = value.parse().map_err(|_| wrong())?;
        if !(value.is_finite() && value >= 0.0) {
            return Err(wrong());
        }
        Ok(Harm { value, unit: Cow::Owned(unit.trim().to_string()) })
    }
}

impl Serialize for Harm {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Harm {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        String::deserialize(d)?.parse().map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_is_read_as_it_is_written() {
        let figure = Harm::new(78.539_816, "mm2").rounded();
        assert_eq!(figure.to_string(), "78.54 mm2");
        assert_eq!("78.54 mm2".parse::<Harm>().unwrap(), figure);
        for wrong in ["", "78", "much mm2", "-1 mm", "inf %", "NaN mm"] {
            assert!(wrong.parse::<Harm>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn worse_is_larger_by_more_than_the_tolerance() {
        let then = Harm::new(100.0, "mm2");
        assert!(!Harm::new(100.9, "mm2").worse_than(&then, 0.01));
        assert!(Harm::new(101.1, "mm2").worse_than(&then, 0.01));
        assert!(!Harm::new(3.0, "mm2").worse_than(&then, 0.01));
        assert!(Harm::new(3.0, "%").worse_than(&then, 0.01), "another unit cannot be held against it");
        assert!(Harm::new(f64::NAN, "mm2").worse_than(&then, 0.01));
    }
}
