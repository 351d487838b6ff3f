//! Reading: what a photo of a wedge tells, as data.

use serde::{Deserialize, Serialize};

use super::fit::response::{Known, ResponseFit};
use super::fit::tone::{BeamReading, Gain};
use super::measure::timing::Lag;

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
    pub lightness: Known,
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
    pub why: String,
    /// How far power may rise, in percent of this setting, before char reaches 5 %; where it was measured.
    pub latitude_percent: Known,
    /// Seconds for a square of 85 mm at this speed and the wedge's pitch, turns of the head left out.
    pub seconds_for_85_mm: f64,
}

/// The response's values as they were read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct ResponseReading {
    pub y_marked: Known,
    pub y_char: Known,
    pub x_half_j_mm2: Known,
    pub rise: Known,
    pub x_char_j_mm2: Known,
    pub char_rise: Known,
    pub schwarzschild: Known,
    pub v0_mm_s: f64,
    pub rms_l: Option<f64>,
    pub patches: usize,
}

impl ResponseReading {
    /// From a fit.
    pub fn new(fit: &ResponseFit) -> Self {
        ResponseReading {
            y_marked: fit.y_marked.clone(),
            y_char: fit.y_char.clone(),
            x_half_j_mm2: fit.x_half.clone(),
            rise: fit.rise.clone(),
            x_char_j_mm2: fit.x_char.clone(),
            char_rise: fit.char_rise.clone(),
            schwarzschild: fit.schwarzschild.clone(),
            v0_mm_s: fit.response.v0.0,
            rms_l: fit.rms.is_finite().then_some(fit.rms),
            patches: fit.patches,
        }
    }
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
    pub lags: Vec<Lag>,
    /// What a reader must know, each a sentence.
    pub notes: Vec<String>,
}
