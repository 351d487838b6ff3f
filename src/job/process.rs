//! The process: all that decides how a burn looks, and for each value how it is known.

mod checked;
mod holding;

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};

use crate::mark::{Beam, Burn, Response, Setting};
use crate::placement::Along;
use crate::texts::text;
use crate::units::{JoulesPerMm2, Mm, MmPerS, Share, Watts};
use crate::wedge::target::Pattern;

/// How a value is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Standing {
    /// Common practice, never measured on this machine.
    Assumed,
    /// Stated by the maker, on the command line or in a file of their own.
    Given,
    /// Read from a wedge.
    Measured,
}

impl fmt::Display for Standing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Standing::Assumed => text!("job.standing.assumed"),
            Standing::Given => text!("job.standing.given"),
            Standing::Measured => text!("job.standing.measured"),
        })
    }
}

/// What a forecast rests on, all values that decide the burn's look taken together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Footing {
    /// All were measured on this machine.
    Measured,
    /// Some were, or the setting was picked on a wedge.
    InPart,
    /// None was.
    Assumed,
}

impl Footing {
    /// Of values that are known like this, and of a power that is.
    pub fn of(power: Standing, values: [Standing; 5]) -> Footing {
        let measured = |s: &Standing| *s == Standing::Measured;
        match values.iter().all(measured) {
            true => Footing::Measured,
            false if measured(&power) || values.iter().any(measured) => Footing::InPart,
            false => Footing::Assumed,
        }
    }
}

/// A value and how it is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Known<T> {
    /// The value.
    pub value: T,
    /// How it is known.
    pub standing: Standing,
    /// By what: a kit entry, an option, a wedge with its date.
    pub source: String,
}

impl<T> Known<T> {
    /// A value with its standing and source.
    pub fn new(value: T, standing: Standing, source: impl Into<String>) -> Self {
        Known { value, standing, source: source.into() }
    }
}

/// All that decides how a burn looks.
#[derive(Debug, Clone, PartialEq)]
pub struct Process {
    /// 1/e² diameters of the beam.
    pub beam: Known<Beam>,
    /// Optical power of the laser at 100 %.
    pub rated_power: Known<Watts>,
    /// Power setting.
    pub power: Known<Share>,
    /// Speed while marking.
    pub speed: Known<MmPerS>,
    /// Passes over each line.
    pub passes: Known<u32>,
    /// Pitch along the lines.
    pub pitch_along: Known<Mm>,
    /// Pitch across the lines.
    pub pitch_across: Known<Mm>,
    /// The axis that lines run along.
    pub lines: Along,
    /// Looks of the piece: unmarked, marked, charred.
    pub looks: Known<[f64; 3]>,
    /// The rise: `x_half`, steepness.
    pub rise: Known<(f64, f64)>,
    /// The char: `x_char`, steepness.
    pub char: Known<(f64, f64)>,
    /// Reciprocity: Schwarzschild exponent and reference speed.
    pub reciprocity: Known<(f64, MmPerS)>,
}

impl Process {
    /// What the machine is set to.
    pub fn setting(&self) -> Setting {
        Setting {
            power: Watts(self.rated_power.value.0 * self.power.value.0),
            speed: self.speed.value,
            passes: self.passes.value,
            pitch_along: self.pitch_along.value,
            pitch_across: self.pitch_across.value,
            lines: self.lines,
        }
    }

    /// The coating's response.
    pub fn response(&self) -> Response {
        let [y_unmarked, y_marked, y_char] = self.looks.value;
        Response {
            y_unmarked,
            y_marked,
            y_char,
            x_half: self.rise.value.0,
            rise: self.rise.value.1,
            x_char: self.char.value.0,
            char_rise: self.char.value.1,
            schwarzschild: self.reciprocity.value.0,
            v0: self.reciprocity.value.1,
        }
    }

    /// Beam, setting and response together.
    pub fn burn(&self) -> Burn {
        Burn::new(self.beam.value, self.setting(), self.response())
    }

    /// The values that decide the burn's look.
    fn decisive(&self) -> [(&'static str, Standing); 5] {
        [
            ("beam", self.beam.standing),
            ("looks", self.looks.standing),
            ("response", self.rise.standing),
            ("char", self.char.standing),
            ("reciprocity", self.reciprocity.standing),
        ]
    }

    /// The names of what was never measured, of the values that decide the burn's look.
    pub fn assumed(&self) -> Vec<&'static str> {
        self.decisive().iter().filter(|(_, s)| *s == Standing::Assumed).map(|(n, _)| *n).collect()
    }

    /// How much of it was measured.
    pub fn footing(&self) -> Footing {
        Footing::of(self.power.standing, self.decisive().map(|(_, s)| s))
    }
}

/// A beam size in a process file: `0.12mm`, or `1.5pitch` for a beam stated in pitches.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BeamSize {
    /// Millimetres.
    Mm(Mm),
    /// Multiples of the pitch in use.
    Pitches(f64),
}

impl BeamSize {
    /// In mm at the given pitch (mm).
    pub fn mm(self, pitch: f64) -> Mm {
        match self {
            BeamSize::Mm(mm) => mm,
            BeamSize::Pitches(n) => Mm(n * pitch),
        }
    }
}

/// An exposure in a process file: `2.2J/mm2`, `0.5solid` (a share of a solid's), or `never`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ExposureAt {
    /// Effective exposure in J/mm².
    Dose(JoulesPerMm2),
    /// A multiple of the effective exposure of a solid at the setting in use.
    OfSolid(f64),
    /// Not reached by any exposure.
    Never,
}

impl ExposureAt {
    /// In J/mm², for a solid's effective exposure.
    pub fn dose(self, solid: f64) -> f64 {
        match self {
            ExposureAt::Dose(d) => d.0,
            ExposureAt::OfSolid(share) => share * solid,
            ExposureAt::Never => f64::INFINITY,
        }
    }
}

macro_rules! text_value {
    ($name:ident, $parse:expr, $print:expr) => {
        impl std::str::FromStr for $name {
            type Err = String;
            fn from_str(text: &str) -> Result<Self, String> {
                $parse(text.trim())
            }
        }
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&$print(*self))
            }
        }
        impl Serialize for $name {
            fn serialize<S: serde::Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
                s.serialize_str(&self.to_string())
            }
        }
        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
                String::deserialize(d)?.parse().map_err(serde::de::Error::custom)
            }
        }
    };
}

text_value!(
    BeamSize,
    |t: &str| match t.strip_suffix("pitch") {
        Some(n) => n
            .trim()
            .parse::<f64>()
            .ok()
            .filter(|n| *n > 0.0 && *n <= 20.0)
            .map(BeamSize::Pitches)
            .ok_or_else(|| text!("job.word.beam", text = t)),
        None => {
            let mm: Mm = t.parse().map_err(|e: crate::units::UnitError| e.to_string())?;
            if mm.0 > 0.0 { Ok(BeamSize::Mm(mm)) } else { Err(text!("job.word.beam.zero", beam = mm)) }
        }
    },
    |v: BeamSize| match v {
        BeamSize::Mm(mm) => format!("{}mm", mm.0),
        BeamSize::Pitches(n) => format!("{n}pitch"),
    }
);

text_value!(
    ExposureAt,
    |t: &str| {
        if t == "never" {
            return Ok(ExposureAt::Never);
        }
        let value = match t.strip_suffix("solid") {
            Some(n) => ExposureAt::OfSolid(
                n.trim().parse::<f64>().map_err(|_| text!("job.word.exposure", text = t))?,
            ),
            None => ExposureAt::Dose(t.parse().map_err(|e: crate::units::UnitError| e.to_string())?),
        };
        match value {
            ExposureAt::Dose(JoulesPerMm2(v)) | ExposureAt::OfSolid(v) if !(v > 0.0 && v.is_finite()) => {
                Err(text!("job.word.exposure.zero", text = t))
            }
            v => Ok(v),
        }
    },
    |v: ExposureAt| match v {
        ExposureAt::Dose(d) => format!("{}J/mm2", d.0),
        ExposureAt::OfSolid(n) => format!("{n}solid"),
        ExposureAt::Never => "never".to_string(),
    }
);

/// A measured value with its uncertainty (one standard deviation, in the value's unit; absent where unknown).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeasuredValue<T> {
    /// The value.
    pub value: T,
    /// One standard deviation, in the unit of the value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sigma: Option<f64>,
}

/// A tone curve: which mark a coverage gives, for one screen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ToneCurve {
    /// The screen it was measured with.
    pub screen: String,
    /// Dot coverage, 0..1, rising; for a screen that is given the mark itself, the wanted share of a solid's mark.
    pub coverage: Vec<f64>,
    /// Share of the mark of a solid burnt beside it (Murray–Davies), 0..1, not falling. A solid need not be a full
    /// mark: whoever uses the curve brings it to that scale.
    pub mark: Vec<f64>,
    /// Standard uncertainty of each mark; empty where it is not known.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sigma: Vec<f64>,
    /// The setting that it was burnt at; it holds for no other. None where it is not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub setting: Option<Best>,
}

impl ToneCurve {
    /// Whether it holds at a setting: the same pitch and passes, and the dose and the speed to 3 %, within which dot
    /// gain moves by less than a percent of the mark (forecast, poster paint).
    pub fn holds_at(&self, power: Share, speed: MmPerS, pitch: Mm, passes: u32) -> bool {
        let near = |a: f64, b: f64, within: f64| (a / b - 1.0).abs() <= within;
        self.setting.as_ref().is_none_or(|s| {
            s.passes == passes
                && near(pitch.0, s.pitch.0, 0.01)
                && near(speed.0, s.speed.0, 0.03)
                && near(power.0 / speed.0, s.power.0 / s.speed.0, 0.03)
        })
    }
}

/// A process file (`process.toml`): what a wedge has measured. Every value is optional: what is absent
/// was not measured and stays as machine and coating say.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProcessFile {
    /// The wedge's id.
    #[serde(default)]
    pub wedge: String,
    /// When the wedge was read, `2026-11-25`.
    #[serde(default)]
    pub date: String,
    /// The machine's name at that time.
    #[serde(default)]
    pub machine: String,
    /// The coating's name at that time.
    #[serde(default)]
    pub coating: String,
    /// Rated optical power of the laser at that time; None where it is not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rated_power: Option<Watts>,
    /// Why its reading is not to be used, where that was found: the first of what speaks against it.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub doubt: String,
    /// The wedge whose reading that was: read again without a doubt, it takes the doubt away.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub doubt_of: String,
    /// Whether lightness is absolute (a white reference was in the photo) or relative.
    #[serde(default)]
    pub absolute_lightness: bool,
    /// 1/e² beam diameter along the scan; by a wedge, whose lines run along x, along x.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub beam_along: Option<MeasuredValue<BeamSize>>,
    /// 1/e² beam diameter across the scan.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub beam_across: Option<MeasuredValue<BeamSize>>,
    /// The beam under which the response was fitted, where no wedge measured it: `x_half` and `rise` hold together with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub beam_fitted: Option<FittedBeam>,
    /// Look where nothing was marked, luminance 0..1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unmarked: Option<MeasuredValue<f64>>,
    /// Look of a full mark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub marked: Option<MeasuredValue<f64>>,
    /// Look of a charred place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub charred: Option<MeasuredValue<f64>>,
    /// Effective exposure at half the mark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub x_half: Option<MeasuredValue<ExposureAt>>,
    /// Steepness of the rise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rise: Option<MeasuredValue<f64>>,
    /// Effective exposure at half the char.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub x_char: Option<MeasuredValue<ExposureAt>>,
    /// Steepness of the char.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub char_rise: Option<MeasuredValue<f64>>,
    /// Schwarzschild exponent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub schwarzschild: Option<MeasuredValue<f64>>,
    /// Reference speed of the reciprocity law.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub v0: Option<MmPerS>,
    /// The setting that the practitioner's pick names.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub best: Option<Best>,
    /// How late the beam was measured to answer, ms: half of what lies between opposite directions over the speed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lag_ms: Option<MeasuredValue<f64>>,
    /// A measured tone curve for each screen on a tone wedge.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub tone_curve: Vec<ToneCurve>,
    /// The patches of the sheets that were read, the newest first: a later sheet is fitted together with them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sheet: Vec<SheetRecord>,
    /// What could not be measured, and why, by key.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub not_measured: BTreeMap<String, String>,
}

/// The beam of a fit, 1/e² diameters: what solids tell of it between its lines, held to what was assumed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FittedBeam {
    /// Along the scan.
    pub along: Mm,
    /// Across it.
    pub across: Mm,
}

/// The patches of a wedge as they were read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SheetRecord {
    /// The wedge's id.
    pub wedge: String,
    /// Pitch along the lines.
    pub pitch_along: Mm,
    /// Pitch across them.
    pub pitch_across: Mm,
    /// Luminance of the bare coating, on the scale of the patches' lightness.
    pub y_unmarked: f64,
    /// The patches.
    pub patch: Vec<PatchRecord>,
}

/// A patch as it was read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PatchRecord {
    /// Dose of a solid at its setting, J/mm².
    pub dose_j_mm2: f64,
    /// Speed.
    pub speed: MmPerS,
    /// What it is filled with.
    pub pattern: Pattern,
    /// Line pairs and dots: width in pitches; 0 otherwise.
    pub period: usize,
    /// Lightness L*.
    pub lightness: f64,
    /// Its standard uncertainty, L*.
    pub sigma: f64,
    /// Whether it was burnt to be charred, beside the grid. Default false, which of files of old is not known.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub charred: bool,
}

/// A setting of a wedge: that of its best patch, or that of its tones.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Best {
    /// Power setting.
    pub power: Share,
    /// Speed.
    pub speed: MmPerS,
    /// Pitch of the lines of the patch.
    pub pitch: Mm,
    /// Passes.
    pub passes: u32,
}

impl ProcessFile {
    /// The same for lines along y: those of a wedge run along x, and a beam that is wider one way does not turn with the lines.
    /// None where the two widths are the same or no wedge measured them: what is stated by hand is stated of the lines.
    pub fn along_y(&self) -> Option<ProcessFile> {
        let width = |v: &Option<MeasuredValue<BeamSize>>| v.as_ref().map(|v| v.value);
        let differ = width(&self.beam_along) != width(&self.beam_across)
            || self.beam_fitted.as_ref().is_some_and(|b| b.along != b.across);
        (!self.wedge.is_empty() && differ).then(|| ProcessFile {
            beam_along: self.beam_across.clone(),
            beam_across: self.beam_along.clone(),
            beam_fitted: self.beam_fitted.as_ref().map(|b| FittedBeam { along: b.across, across: b.along }),
            ..self.clone()
        })
    }

    /// Whether a wedge measured all that decides how a burn looks: beam, looks, response, char and reciprocity.
    pub fn measures_all(&self) -> bool {
        let beam = self.beam_along.is_some() && self.beam_across.is_some();
        let looks = self.unmarked.is_some() && self.marked.is_some();
        let response = self.x_half.is_some() && self.rise.is_some();
        let rest = self.x_char.is_some() && self.schwarzschild.is_some();
        !self.wedge.is_empty() && beam && looks && response && rest
    }

    /// `wedge w-12ab, 2026-11-25`.
    pub fn source(&self) -> String {
        match (self.wedge.is_empty(), self.date.is_empty()) {
            (false, false) => text!("job.wedge.of-date", wedge = self.wedge, date = self.date),
            (false, true) => text!("job.wedge.undated", wedge = self.wedge),
            _ => text!("job.process-file").to_string(),
        }
    }
}
