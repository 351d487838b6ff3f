//! Reading: what a photo of a wedge tells, as data.

use serde::{Deserialize, Serialize, Serializer};

use super::measurement::Measurement;
use crate::said::Said;
use crate::texts::text;

/// One patch as it was read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PatchReading {
    /// Its name (`C4`).
    pub name: String,
    /// Power, percent of the rated power.
    pub power_percent: f64,
    /// Speed, mm/s.
    pub speed_mm_s: f64,
    /// Passes.
    pub passes: u32,
    /// Dose of a solid at its setting, J/mm².
    pub dose_j_mm2: f64,
    /// Share of the dots that are on.
    pub coverage: f64,
    /// Lightness L*, absolute or relative as the reading's scale says.
    pub lightness: Measurement,
    /// Grain: standard deviation of L* through a square aperture of 0.4 mm.
    pub grain: Option<f64>,
    /// L* of the fitted response.
    pub fitted: Option<f64>,
    /// Char fraction of the fitted response, where char was measured.
    pub char: Option<f64>,
}

/// What lightness is measured against.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Scale {
    /// Whether a white reference in the photo makes it absolute.
    pub absolute: bool,
    /// How it was settled, in words.
    pub note: String,
    /// Luminance of the bare coating on this scale.
    pub y_unmarked: f64,
    /// How well an absolute scale is known, one standard deviation as a share; 0 for a relative one.
    #[serde(default)]
    pub sigma: f64,
}

/// The practitioner's choice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PickReading {
    /// The patch's name.
    pub patch: String,
    /// Power, percent.
    pub power_percent: f64,
    /// Speed, mm/s.
    pub speed_mm_s: f64,
    /// Passes.
    pub passes: u32,
    /// L*.
    pub lightness: f64,
    /// Grain, L*.
    pub grain: f64,
    /// Why this one, in words.
    pub why: Said,
    /// How far power may rise, in percent of this setting, before char reaches 5 %; where it was measured.
    pub latitude_percent: Measurement,
    /// Seconds for a square of 85 mm at this speed and the wedge's pitch, turns of the head left out.
    pub seconds_for_85_mm: f64,
}

/// The response's values as they were read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct ResponseReading {
    pub y_marked: Measurement,
    pub y_char: Measurement,
    pub x_half_j_mm2: Measurement,
    pub rise: Measurement,
    pub x_char_j_mm2: Measurement,
    /// What half char lies above, where no patch of the grid shows char; known of a fresh reading alone.
    #[serde(skip)]
    pub x_char_above_j_mm2: Option<f64>,
    pub char_rise: Measurement,
    pub schwarzschild: Measurement,
    pub v0_mm_s: f64,
    pub rms_l: Option<f64>,
    pub patches: usize,
    /// The beam of the curve, along and across the lines, mm: where it was not measured, the response holds with it.
    #[serde(default)]
    pub beam_mm: Option<[f64; 2]>,
}

/// The measured dot-gain curve of one screen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Gain {
    /// The screen.
    pub screen: String,
    /// Rising coverage.
    pub steps: Vec<GainStep>,
}

/// One step of the curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct GainStep {
    /// Share of the dots that are on.
    pub coverage: f64,
    /// Mark fraction (Murray–Davies, against the bare coating and the solid of the same wedge).
    pub mark: f64,
    /// Its standard uncertainty.
    pub uncertainty: f64,
    /// The mark that the fitted response and beam foretell of the same dots, on the same scale; none where they do not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub foretold: Option<f64>,
}

/// The beam as it was measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BeamReading {
    /// 1/e² diameter along the scan, mm.
    pub along_mm: Measurement,
    /// 1/e² diameter across the scan, mm.
    pub across_mm: Measurement,
    /// Root mean square of the residuals, L*; none where nothing was fitted.
    pub rms: Option<f64>,
}

impl BeamReading {
    /// Neither way, for one reason.
    pub fn not(why: &str) -> Self {
        BeamReading { along_mm: Measurement::not(why), across_mm: Measurement::not(why), rms: None }
    }
}

/// The lag at one speed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LagReading {
    /// The comb's name.
    pub name: String,
    /// Speed, mm/s.
    pub speed_mm_s: f64,
    /// How far lines marked towards the right lie right of those marked towards the left, mm. Above zero
    /// where the beam comes late.
    pub offset_mm: Measurement,
    /// Time by which the beam comes late: the offset over twice the speed, ms.
    pub lag_ms: Measurement,
    /// The line, counted from the middle (left below zero), at which the two combs line up.
    pub lines_up_at: Option<i64>,
}

/// How the photo was taken, as far as it shows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PhotoReading {
    /// Pixels across and down.
    pub size: [usize; 2],
    /// Pixels a mm in the middle of the piece.
    pub pixels_per_mm: f64,
    /// Standard deviation of the edges' blur, mm.
    pub blur_mm: f64,
    /// Centres of the finder marks in photo pixels, the odd one first, then clockwise.
    pub marks_px: Vec<[f64; 2]>,
    /// From mm (x to the right, y down, from the blank's upper left corner) to the pixels of a pinhole, row after row.
    pub homography: [f64; 9],
    /// The lens's radial distortion after that: a pixel lies `1 + k1 r²` times as far from the photo's middle,
    /// r in half diagonals; 0 where none was seen.
    #[serde(default)]
    pub lens_k1: f64,
    /// How unevenly the piece was lit: lightest over darkest place, as a ratio.
    pub light_ratio: f64,
}

/// A whole reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// The wedge's id.
    pub wedge: String,
    /// Its kind.
    pub kind: String,
    /// Machine.
    pub machine: String,
    /// Coating.
    pub coating: String,
    /// The day of the reading, as given by the caller.
    pub date: String,
    /// Whether the marks are lighter than the bare coating.
    pub marks_lighter: bool,
    /// What lightness is measured against.
    pub scale: Scale,
    /// The photo.
    pub photo: PhotoReading,
    /// Patches, in the sheet's order.
    pub patches: Vec<PatchReading>,
    /// The response; none for wedges of other kinds.
    pub response: Option<ResponseReading>,
    /// The choice.
    pub pick: Option<PickReading>,
    /// The dot-gain curves of a tone wedge.
    pub dot_gain: Vec<Gain>,
    /// The beam from a tone wedge.
    pub beam: Option<BeamReading>,
    /// The lags of a timing wedge.
    pub lags: Vec<LagReading>,
    /// What speaks against the reading, each a sentence: with any of these it is not to be used.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub doubts: Vec<String>,
    /// What a reader must know, each a sentence.
    pub notes: Vec<ReadingNote>,
}

/// What takes a doubt away.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mend {
    /// Another photo of the piece.
    Photo,
    /// Powers that the controller keeps.
    Power,
    /// Speeds that the controller keeps.
    Speed,
    /// Another piece, coated more evenly.
    Coat,
    /// Speeds and powers that the controller really gives, whichever of them it is.
    Controller,
    /// Sheets of one coating, laser and focus.
    Sheets,
}

/// What a note of a reading is about.
#[derive(Debug, Clone, PartialEq)]
pub enum NoteAbout {
    /// What speaks against the reading, and what takes that away.
    Doubt(Mend),
    /// The best setting may lie beyond the sheet, which another wedge of this range shows.
    Beyond(Said),
    /// The same, told of a pick that is the strongest patch of all and can be used as it is.
    Strongest(Said),
    /// Another wedge of this range may show a setting that does as well.
    MayDo(Said),
    /// What was given as a white reference is not white.
    NotWhite,
    /// Anything else.
    Fact,
}

/// What a reader must know; it is written as its sentence, and what it is about is known of a fresh reading alone.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(from = "Said")]
pub struct ReadingNote {
    /// What it is about.
    pub about: NoteAbout,
    /// The sentence.
    pub says: Said,
}

impl ReadingNote {
    /// A note that only tells.
    pub fn fact(says: impl Into<Said>) -> ReadingNote {
        ReadingNote { about: NoteAbout::Fact, says: says.into() }
    }

    /// A note that speaks against the reading, which `mend` takes away.
    pub fn doubt(mend: Mend, says: impl Into<Said>) -> ReadingNote {
        ReadingNote { about: NoteAbout::Doubt(mend), says: says.into() }
    }

    /// A note about the `range` of another wedge, as `about` makes it of the range; what it says ends with how to draw it.
    pub fn range(about: fn(Said) -> NoteAbout, says: impl Into<Said>, range: Said) -> ReadingNote {
        let says = says.into();
        let with = |says: &str, range: &str| text!("wedge.note.range", says, range);
        let says = Said::two(with(says.on_line(), range.on_line()), with(says.on_page(), range.on_page()));
        ReadingNote { about: about(range), says }
    }
}

impl From<Said> for ReadingNote {
    fn from(says: Said) -> ReadingNote {
        ReadingNote::fact(says)
    }
}

impl Serialize for ReadingNote {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        self.says.serialize(s)
    }
}
