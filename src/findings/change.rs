//! Change: one thing of a job made otherwise, to be tried and, where it helps, to be advised.

use super::Remedy;
use crate::said::Said;
use crate::texts::text;
use crate::units::{MM_PER_INCH, Mm, MmPerS, Share, Watts, short};

/// The remedy that asks for [`Change::WholePitch`].
pub const WHOLE_PITCH: &str = "whole pitch";

/// One change of the job.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Change {
    /// Another optical power.
    Power(Watts),
    /// Another speed.
    Speed(MmPerS),
    /// Another pitch, across the lines (along them in proportion).
    Pitch(Mm),
    /// Dots as far apart along the lines as the lines lie.
    WholePitch,
    /// Coverage held to a share.
    Ceiling(Share),
    /// The darkest and lightest tones made black and white, this share clipped at either end.
    Levels(Share),
    /// Another speed with the power that leaves the exposure as it is, or the other way round.
    Alike {
        /// The speed.
        speed: MmPerS,
        /// The optical power.
        power: Watts,
        /// Whether the pitch is asked for as it is: another speed alone may settle another.
        pitch_kept: bool,
    },
}

/// Which way a change is meant to move the exposure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Aim {
    /// Less of it.
    Cooler,
    /// More of it.
    Hotter,
}

/// The pitch along the lines and that across them, of which so many `times` that along them are one: one is a whole number of
/// the other as they are typed.
pub fn pitches(across: f64, times: f64) -> [String; 2] {
    let times = times.round().max(1.0);
    let along = (1e6 * across / times).round() / 1e6;
    [along, times * along].map(|v| format!("{}mm", short(v, 6)))
}

/// How they are typed; a pitch alone is that of both.
pub fn typed_pitches(across: f64, times: f64) -> String {
    let [along, across] = pitches(across, times);
    if along == across {
        format!("--pitch {along}")
    } else {
        format!("--pitch {along} --pitch-across {across}")
    }
}

impl Change {
    /// Whether dots stay where they are and only the burn changes, so that it can be tried on dots whose art is not at hand.
    pub fn keeps_dots(self) -> bool {
        matches!(self, Change::Power(_) | Change::Speed(_) | Change::Alike { .. })
    }

    /// The remedy that says this: `value` is the number that a maker sets (a share of the power or of the
    /// coverage in %, a speed in mm/s, a pitch in mm).
    pub fn remedy(self, value: f64, aim: Aim) -> Remedy {
        let (change, unit, key, text) = match self {
            Change::Power(power) => {
                let share = short(value, 0);
                let text = match aim {
                    Aim::Cooler => text!("findings.remedy.power.lower", share, power),
                    Aim::Hotter => text!("findings.remedy.power.raise", share, power),
                };
                ("power", "%", Some("burn.power"), text)
            }
            Change::Speed(speed) => {
                let text = match aim {
                    Aim::Cooler => text!("findings.remedy.speed.faster", speed),
                    Aim::Hotter => text!("findings.remedy.speed.slower", speed),
                };
                ("speed", "mm/s", Some("burn.speed"), text)
            }
            Change::Pitch(pitch) => {
                let dpi = short(MM_PER_INCH / pitch.0, 1);
                let text = match aim {
                    Aim::Cooler => text!("findings.remedy.pitch.widen", pitch, dpi),
                    Aim::Hotter => text!("findings.remedy.pitch.narrow", pitch, dpi),
                };
                ("pitch", "mm", None, text)
            }
            Change::WholePitch => {
                let text = text!("findings.remedy.whole-pitch", pitch = Mm(value));
                (WHOLE_PITCH, "mm", None, text)
            }
            Change::Ceiling(_) => {
                let text = text!("findings.remedy.ceiling", coverage = short(value, 0));
                ("ceiling", "%", Some("tone.ceiling"), text)
            }
            Change::Levels(_) => {
                let levels = format!("auto:{}%", short(value, 4));
                let text = Said::from(text!("findings.remedy.levels")).line(format!(" (--levels {levels})"));
                return Remedy::new("levels", value, "%", text).set("tone.levels", levels);
            }
            Change::Alike { speed, power, .. } => {
                ("speed and power", "mm/s", None, text!("findings.remedy.alike", speed, power))
            }
        };
        let remedy = Remedy::new(change, value, unit, text);
        match key {
            Some(key) => remedy.set(key, format!("{}{unit}", short(value, 4))),
            None => remedy,
        }
    }
}
