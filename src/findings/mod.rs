//! Findings: things worth saying before burning, each with remedies that carry numbers.

pub mod art;
pub mod axis;
pub mod burn;
pub mod change;
pub mod code;
pub mod detail;
pub mod faint;
mod harm;
mod in_words;
pub mod inks;
pub mod layers;
pub mod lines;
pub mod link;
pub mod machine;
pub mod margin;
pub mod motion;
pub(crate) mod remedies;
pub mod replay;
pub mod switch;
pub mod tone;
pub mod trial;

pub use harm::Harm;
pub use in_words::in_words;
use serde::Serialize;

use crate::said::Said;
use crate::texts::text;
use crate::units::short;

/// Names of the findings that may be of severity stop: those that can be accepted.
pub const STOPS: &[&str] = &[
    "over-burn",
    "link-starved",
    "off-bed",
    "coarse-power",
    "under-burn",
    "faint",
    "edge-dwell",
    "short-sighted",
];

/// How serious a finding is. `Stop` keeps the scan program from being written unless accepted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Likely to disappoint.
    Caution,
    /// Would ruin the blank or is unsafe.
    Stop,
}

/// One change that would clear a finding.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Remedy {
    /// What to change: `power`, `speed`, `pitch`, `ceiling`, `margin`, `size`, …; `speed and power` where one is lowered
    /// for the other.
    pub change: &'static str,
    /// The value that clears the finding, in `unit`.
    pub value: f64,
    /// The unit of `value` (`%`, `mm/s`, `mm`, …).
    pub unit: &'static str,
    /// The remedy in words, with its number and unit, as a maker reads it.
    pub text: Said,
    /// Whether it is known to clear the finding. A power, a speed, a pitch or a ceiling was tried: the job was carried through
    /// again with it, and nothing else was worse than before. Anything else is worked out from the finding's own figures,
    /// and what it brings besides was not looked at.
    pub verified: bool,
    /// The keys of the job that it sets, as the page names them, and their values; none where it is done elsewhere.
    #[serde(skip)]
    pub sets: Vec<(String, String)>,
    /// Where it asks a question: its answers, each of which sets its own keys.
    #[serde(skip)]
    pub answers: Vec<Remedy>,
}

impl Remedy {
    /// A remedy that was not tried.
    pub fn new(change: &'static str, value: f64, unit: &'static str, text: impl Into<Said>) -> Remedy {
        let text = text.into();
        Remedy { change, value, unit, text, verified: false, sets: Vec::new(), answers: Vec::new() }
    }

    /// The same remedy, tried or not.
    #[must_use]
    pub fn verified(self, verified: bool) -> Remedy {
        Remedy { verified, ..self }
    }

    /// The same remedy, which sets a key of the job.
    #[must_use]
    pub fn set(mut self, key: impl Into<String>, value: impl Into<String>) -> Remedy {
        self.sets.push((key.into(), value.into()));
        self
    }

    /// The speed that it names, mm/s: alone, or with the power that goes with it.
    pub fn speed(&self) -> Option<f64> {
        (self.unit == "mm/s").then_some(self.value)
    }

    /// A lower speed, mm/s, with the power lowered alike, told to so many decimals; it was tried. How much power that is
    /// is told once the coating is known.
    pub(super) fn slower(speed: f64, decimals: usize) -> Remedy {
        let text = text!("findings.slower", speed = short(speed, decimals));
        Remedy::new("speed", speed, "mm/s", text).verified(true)
    }
}

/// One thing worth saying before burning.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// Stable name, as in the README's table (`over-burn`, `step-beat`, …).
    pub name: &'static str,
    /// How serious it is.
    pub severity: Severity,
    /// One sentence: the fact, with numbers and units, and the place where one is worse than the rest.
    pub message: Said,
    /// The same for an order, which has not all the files of a job; `None` where it says the same.
    #[serde(skip)]
    pub of_order: Option<String>,
    /// Affected area in mm², where it has one.
    pub area_mm2: Option<f64>,
    /// The worst spot, mm from the blank's lower left corner (x to the right, y up).
    pub at_mm: Option<(f64, f64)>,
    /// How bad it is, where one number tells: what an acceptance is held to.
    #[serde(skip)]
    pub harm: Option<Harm>,
    /// What would clear it, best first.
    pub remedies: Vec<Remedy>,
}

/// A spot on the blank in words; `at` as in [`Finding::at_mm`].
fn spot(at: (f64, f64)) -> String {
    text!("findings.spot", left = short(at.0, 1), bottom = short(at.1, 1))
}

impl Finding {
    /// A finding without place and remedies; add them with struct update or the builders below.
    pub fn new(name: &'static str, severity: Severity, message: impl Into<Said>) -> Self {
        Finding {
            name,
            severity,
            message: message.into(),
            of_order: None,
            area_mm2: None,
            at_mm: None,
            harm: None,
            remedies: Vec::new(),
        }
    }

    /// The same finding with the number that tells how bad it is; it grows with the harm.
    pub fn measuring(mut self, value: f64, unit: &'static str) -> Self {
        self.harm = Some(Harm::new(value, unit));
        self
    }

    /// What it says in an order, which has no options.
    pub(crate) fn in_order(&self) -> &str {
        self.of_order.as_deref().unwrap_or(self.message.on_page())
    }

    /// The same finding with a remedy added.
    pub fn with(mut self, remedy: Remedy) -> Self {
        self.remedies.push(remedy);
        self
    }
}
