//! The report: every figure of a job, for the ticket and, as `report.json`, for other programs.
//!
//! Units are in the names of the fields. A value of the process says whether it was measured, given or
//! assumed. The fields of the JSON file are listed in [`schema`].

pub mod schema;

use serde::Serialize;

use crate::findings::Finding;
pub use crate::job::process::{Footing, Known, Standing};
use crate::note::Note;

pub use schema::FIELDS;

/// Version of the JSON layout. It rises when a field is renamed or removed or changes its meaning, not
/// when one is added.
pub const SCHEMA_VERSION: u32 = 1;

/// The sign shown beside a standing's word, so that colour is never needed to tell them apart.
pub fn sign(standing: Standing) -> &'static str {
    match standing {
        Standing::Assumed => "?",
        Standing::Measured => "✓",
        Standing::Given => "✎",
    }
}

/// Its class in the style of pages.
pub fn class(standing: Standing) -> &'static str {
    match standing {
        Standing::Assumed => "assumed",
        Standing::Measured => "measured",
        Standing::Given => "given",
    }
}

/// Everything that is known of a job after it was prepared.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// Version of the JSON layout.
    pub schema_version: u32,
    /// Name and version of the program that wrote it.
    pub written_by: String,
    /// The picture or drawing.
    pub art: ArtFacts,
    /// The piece it goes on.
    pub blank: BlankFacts,
    /// Where it lies.
    pub placement: PlacementFacts,
    /// What is laid down.
    pub dots: DotFacts,
    /// What decides the look of the burn.
    pub process: ProcessFacts,
    /// What the burn is forecast to look like.
    pub forecast: Option<ForecastFacts>,
    /// Of a round piece, how it is turned; absent for a flat one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub round: Option<RoundFacts>,
    /// How long it takes.
    pub times: Option<TimeFacts>,
    /// The scan program.
    pub program: Option<ProgramFacts>,
    /// Mark fraction against coverage on flat patches, by rising coverage; empty where not computed.
    pub gain_curve: Vec<GainPoint>,
    /// What to know before burning, the most serious first.
    pub findings: Vec<Finding>,
    /// The files of the job.
    pub files: Vec<FileFacts>,
    /// What the program decided on its own, in sentences.
    pub notes: Vec<Note>,
    /// Safety, in sentences.
    pub cautions: Vec<String>,
    /// What to do, in order.
    pub steps: Vec<StepFacts>,
}

/// The picture or drawing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ArtFacts {
    /// File name without its folder, or `standard input`.
    pub name: String,
    /// File format in words (`JPEG`, `SVG`, …).
    pub format: String,
    /// How it was read: `photo`, `drawing` or `paper`.
    pub read_as: String,
    /// How sure that is, 0 to 1; none where it was asked for or cannot be otherwise.
    pub read_as_sure_share: Option<f64>,
    /// Why it was read so.
    pub read_as_why: String,
    /// Columns of the source as it stands upright; absent for drawings without pixels.
    pub width_px: Option<u32>,
    /// Rows of the source as it stands upright.
    pub height_px: Option<u32>,
    /// Of how many things it is made, which are measured as one: a picture, texts, borders.
    #[serde(skip)]
    pub layers: usize,
}

/// The piece.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BlankFacts {
    /// The outline as on the command line (`round:90mm`).
    pub shape: String,
    /// Width of the outline.
    pub width_mm: f64,
    /// Height of the outline.
    pub height_mm: f64,
    /// What is kept free at the edge.
    pub margin_mm: f64,
    /// The surface in words (`clear glass`, `slate`, …).
    pub surface: String,
}

/// Where the art lies.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlacementFacts {
    /// Width that was asked for.
    pub wished_width_mm: f64,
    /// Height that was asked for.
    pub wished_height_mm: f64,
    /// Width after rounding to whole dots.
    pub true_width_mm: f64,
    /// Height after rounding to whole dots.
    pub true_height_mm: f64,
    /// Left edge, from the blank's left.
    pub left_mm: f64,
    /// Top edge, from the blank's top, downwards.
    pub top_mm: f64,
    /// Turn, degrees clockwise.
    pub turn_deg: f64,
    /// Whether it is mirrored, to be seen through the back of glass.
    pub mirror: bool,
    /// From which side it is seen, in words, where it is mirrored.
    pub shown: Option<String>,
}

/// What is laid down.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DotFacts {
    /// Dots a row.
    pub columns: u64,
    /// Rows.
    pub rows: u64,
    /// Distance between dots of a line.
    pub pitch_along_mm: f64,
    /// Distance between lines.
    pub pitch_across_mm: f64,
    /// Lines an inch, 25.4 / pitch_across_mm.
    pub density_dpi: f64,
    /// Why this pitch.
    pub pitch_why: String,
    /// How far off the beam may be, one standard deviation, as a share: what the searching screens make their dots for and
    /// the likeness to expect allows for; 0 for ready-made dots.
    pub unsure_beam_share: f64,
    /// The same of the exposure.
    pub unsure_exposure_share: f64,
    /// Dots on which the beam is on.
    pub on_count: u64,
    /// Their share of the places where dots may be (on the blank less its margin), 0 to 1.
    pub coverage_share: f64,
    /// The screen's name.
    pub screen: String,
    /// The dot-gain curve in words (`off`, `forecast`, a file's name).
    pub dot_gain: String,
    /// What stands for beam on in the picture files: `black` or `white`.
    pub beam_on: String,
}

/// What decides the look of the burn.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ProcessFacts {
    /// The machine's name.
    pub machine: String,
    /// The coating's name.
    pub coating: String,
    /// `lighter` or `darker` than the unmarked piece.
    pub marks: String,
    /// Measured when every value that shapes the forecast was measured, else assumed.
    pub standing: Standing,
    /// The laser's wavelength.
    pub wavelength_nm: Option<Known<f64>>,
    /// The laser's rated optical power.
    pub rated_power_w: Known<f64>,
    /// 1/e² diameter along the scan.
    pub beam_along_mm: Known<f64>,
    /// 1/e² diameter across the scan.
    pub beam_across_mm: Known<f64>,
    /// Power setting as a share of the rated power, 0 to 1.
    pub power_share: Known<f64>,
    /// Scan speed.
    pub speed_mm_per_s: Known<f64>,
    /// Times each line is marked.
    pub passes: Known<u32>,
    /// Mean dose of a solid fill, power · passes / (speed · pitch_across).
    pub dose_j_per_mm2: f64,
    /// Effective exposure of a solid fill, after reciprocity.
    pub effective_exposure_j_per_mm2: f64,
    /// Relative luminance of the unmarked piece after cleaning, 0 to 1.
    pub y_unmarked: Known<f64>,
    /// Relative luminance of a full mark, 0 to 1.
    pub y_marked: Known<f64>,
    /// Relative luminance of a charred place, 0 to 1.
    pub y_char: Known<f64>,
    /// Effective exposure at half the rise.
    pub x_half_j_per_mm2: Known<f64>,
    /// Steepness of the rise.
    pub rise: Known<f64>,
    /// Effective exposure at half the char; absent where the coating never chars.
    pub x_char_j_per_mm2: Option<Known<f64>>,
    /// Steepness of the char.
    pub char_rise: Known<f64>,
    /// Schwarzschild's exponent, ½ to 1.
    pub schwarzschild: Known<f64>,
    /// Reference speed of the reciprocity law.
    pub reference_speed_mm_per_s: Known<f64>,
}

impl ProcessFacts {
    /// How much of it was measured.
    pub fn footing(&self) -> Footing {
        let beam = self.beam_along_mm.standing;
        let (rise, char) = (self.rise.standing, self.char_rise.standing);
        Footing::of(
            self.power_share.standing,
            [beam, self.y_marked.standing, rise, char, self.schwarzschild.standing],
        )
    }
}

/// What the burn is forecast to look like.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ForecastFacts {
    /// Mean mark fraction over the dot rectangle, 0 to 1.
    pub mean_mark_share: f64,
    /// Mean wanted mark fraction over the dot rectangle, 0 to 1.
    pub mean_wanted_share: f64,
    /// Area where the mark fraction is at least one half.
    pub marked_mm2: f64,
    /// Area where the char fraction is at least 5 %.
    pub over_burn_mm2: f64,
    /// How like the wanted mark the piece will look on the machine that the dots were made for: PSNR as the eye sees it from
    /// 300 mm; none for ready-made dots, for tones by power, and where nothing differs.
    pub likeness_planned_db: Option<f64>,
    /// The same over what is not known of beam and exposure.
    pub likeness_expected_db: Option<f64>,
}

/// How a round piece is turned.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RoundFacts {
    /// Its diameter; of a cone, where it is widest.
    pub diameter_mm: f64,
    /// What a cone has beyond a cylinder; absent for that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cone: Option<ConeFacts>,
    /// All round it where it is widest: the width of the unrolled picture.
    pub girth_mm: f64,
    /// `margin` or `closed`.
    pub seam: String,
    /// The letter of the rotary's words.
    pub letter: String,
    /// Units of its words a mm of surface, where the piece is widest.
    pub units_per_mm: f64,
    /// Motor steps from line to line; null where lines run round the piece.
    pub steps_a_line: Option<f64>,
    /// The turn from line to line; null where lines run round the piece.
    pub degrees_a_line: Option<f64>,
    /// How much lower the surface lies where the head stands beside the rotary's middle by the machine's
    /// `placement_tolerance`.
    pub falls_mm: f64,
    /// What the curve does to the focus, in sentences.
    pub focus: String,
}

/// What a cone has beyond a cylinder.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ConeFacts {
    /// Diameter at its foot.
    pub foot_mm: f64,
    /// Diameter at its top.
    pub top_mm: f64,
    /// The way up along its mantle: the height of the unrolled picture.
    pub slant_mm: f64,
    /// How far the rotary is tilted so that the mantle's highest line lies level, degrees.
    pub tilt_deg: f64,
}

/// How long it takes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TimeFacts {
    /// Of the whole program, from its first line to its last.
    pub total_s: f64,
    /// With the beam on.
    pub beam_on_s: f64,
    /// In gaps between marks, rapids over long ones among them.
    pub gaps_s: f64,
    /// In run-ups and turns.
    pub run_up_s: f64,
    /// Of these, in turns from line to line.
    pub turn_s: f64,
    /// From the program's zero to the first line and back from the last.
    pub approach_s: f64,
    /// At rest, as header or footer of the machine ask; none where they do not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dwell_s: Option<f64>,
    /// What no program can be quicker than at this dose and power: the length of all marks by the speed.
    pub bound_s: f64,
}

/// The scan program.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ProgramFacts {
    /// Lines of text.
    pub lines: u64,
    /// Bytes.
    pub bytes: u64,
    /// Way of the head, beam on or off.
    pub travel_mm: f64,
    /// Run-up before and after each line.
    pub run_up_mm: f64,
    /// What is said of the controller and its link, in words; absent where nothing is known of them.
    pub link: Option<String>,
}

/// One point of the dot-gain curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GainPoint {
    /// Dot coverage, 0 to 1.
    pub coverage_share: f64,
    /// Mark fraction that it gives, 0 to 1.
    pub mark_share: f64,
}

/// One file of the job.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FileFacts {
    /// Its name in the folder.
    pub name: String,
    /// Its size; absent for the report and for the ticket, which are written from this report.
    pub bytes: Option<u64>,
    /// What it is for, in a few words.
    pub about: String,
}

/// One thing to do.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StepFacts {
    /// In two or three words (`Clean the glass`).
    pub title: String,
    /// In sentences.
    pub text: String,
}

impl Report {
    /// The report as indented JSON with a newline at its end. A number that is not finite becomes null.
    ///
    /// # Errors
    /// Only when memory runs out: no field can fail.
    pub fn to_json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self).map(|s| s + "\n")
    }
}
