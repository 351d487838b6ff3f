//! Sheet: a wedge as data, what `wedge.toml` holds: geometry in mm and the exposure of each patch.

use serde::{Deserialize, Serialize};

use crate::blank::Shape;
use crate::mark::{Beam, Burn, Response, Setting};
use crate::placement::Along;
use crate::texts::{self, text};
use crate::units::{JoulesPerMm2, Mm, MmPerS, Share, Watts};

/// The version of `wedge.toml` that this program writes and reads.
pub const VERSION: u32 = 1;
/// A finder mark's ring runs from this share of its outer radius to the outer radius.
pub const RING: f64 = 0.64;
/// A finder mark's centre dot (or the odd mark's hole) has this share of the outer radius.
pub const CENTRE: f64 = 0.34;
/// How far beyond the cells of the patches labels begin at the least, mm: up to there the coating is bare.
pub const LABELS_OFF_MM: f64 = 0.2;

/// What a wedge measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum WedgeKind {
    /// Patches of power by speed: response and best setting.
    Exposure,
    /// Coverage steps of screens, line pairs, dots: dot gain and beam width.
    Tone,
    /// Vernier combs: lag between lines of opposite directions.
    Timing,
    /// All of it on one piece: response, char, beam, dot gain and lag from one photo.
    Combined,
}

impl WedgeKind {
    /// Its name in files and on the command line.
    pub fn name(self) -> &'static str {
        match self {
            WedgeKind::Exposure => "exposure",
            WedgeKind::Tone => "tone",
            WedgeKind::Timing => "timing",
            WedgeKind::Combined => "combined",
        }
    }

    /// The same as a word in the language of the page.
    pub fn word(self) -> &'static str {
        kind_word(self.name())
    }
}

/// The word for a kind of wedge by its name; other names stay as they are.
pub fn kind_word(name: &str) -> &str {
    texts::known(&format!("wedge.kind.{name}")).unwrap_or(name)
}

/// Power, speed and passes of a part of the wedge.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Dial {
    /// Power as a share of the laser's rated power, 0 to 100 %.
    pub power: Share,
    /// Speed while marking.
    pub speed: MmPerS,
    /// Times each line is marked, at least 1.
    pub passes: u32,
}

/// How fast a machine can mark dots of one pitch one by one, along x.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Carries {
    /// As far as laser, link and controller take in a move for each, and the axis goes.
    pub switched: MmPerS,
    /// As far as the controller sees far enough ahead to stop; as `switched` where it is not known how far it sees.
    pub seen: MmPerS,
}

/// What a patch is filled with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pattern {
    /// Every dot on.
    Solid,
    /// A screen at a coverage.
    Screen,
    /// Lines along the scan: `period` rows on, as many off.
    LinesAlong,
    /// Lines across the scan: `period` columns on, as many off.
    LinesAcross,
    /// Single dots, one in a square of `period` by `period`.
    Dots,
}

/// One patch: a rectangle of whole dots with its exposure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TestPatch {
    /// Its name, unique on the wedge: column letter and row number (`C4`).
    pub name: String,
    /// Column and row, from 0 at the upper left.
    pub cell: [usize; 2],
    /// Centre, mm from the blank's left (x) and from its lower edge (y, upwards).
    pub centre: [f64; 2],
    /// Width and height, mm.
    pub size: [f64; 2],
    /// Power, speed, passes.
    #[serde(flatten)]
    pub dial: Dial,
    /// What it is filled with.
    pub pattern: Pattern,
    /// Share of the dots that are on.
    pub coverage: Share,
    /// The screen that made the dots; empty unless the pattern is a screen.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub screen: String,
    /// Line pairs and dots: width in pitches; 0 otherwise.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub period: usize,
    /// What the screen was given: a coverage, or the mark itself where it sees to the dot gain; none without a screen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wanted: Option<Share>,
    /// Burnt beyond all doubt, so that the look of char is measured: no setting to pick.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub charred: bool,
}

impl TestPatch {
    /// Whether it stands for a setting that may be picked: a solid of the grid of powers by speeds.
    pub fn is_setting(&self) -> bool {
        self.pattern == Pattern::Solid && !self.charred && self.screen.is_empty()
    }
}

fn is_zero(n: &usize) -> bool {
    *n == 0
}

/// One finder mark.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FinderMark {
    /// Centre, mm from the blank's left and lower edge.
    pub centre: [f64; 2],
    /// Outer diameter, mm.
    pub diameter: Mm,
    /// The one that differs: a disc with a hole where the others are a ring with a dot.
    pub odd: bool,
}

/// A row of cells that holds the id's first bits, so that a photo is never read with another wedge's file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Code {
    /// Centre of the first cell, mm from the blank's left and lower edge.
    pub first: [f64; 2],
    /// From cell to cell along x, mm.
    pub step: f64,
    /// Side of a cell, mm.
    pub cell: f64,
    /// One character a cell: 1 marked, 0 left alone.
    pub bits: String,
}

/// One vernier comb pair: equal lines marked in opposite directions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Comb {
    /// Its name (`12.5mm/s`).
    pub name: String,
    /// Power, speed, passes.
    #[serde(flatten)]
    pub dial: Dial,
    /// x of the middle line of both combs, mm from the blank's left.
    pub middle: f64,
    /// Lines on either side of the middle one.
    pub side: usize,
    /// Width of a line in dots.
    pub line_dots: usize,
    /// From line to line in the comb marked towards the right, mm.
    pub step_right: f64,
    /// From line to line in the comb marked towards the left, mm.
    pub step_left: f64,
    /// Lower and upper edge of the comb marked towards the right, mm from the blank's lower edge.
    pub rows_right: [f64; 2],
    /// Lower and upper edge of the comb marked towards the left, mm from the blank's lower edge.
    pub rows_left: [f64; 2],
}

/// The response that was expected when the wedge was drawn; it gives units to what a photo cannot
/// (absolute looks, reference speed) and starting values to the fit. All assumed unless measured before.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct Expected {
    pub y_unmarked: f64,
    pub y_marked: f64,
    pub y_char: f64,
    pub x_half: JoulesPerMm2,
    pub rise: f64,
    pub x_char: JoulesPerMm2,
    pub char_rise: f64,
    pub schwarzschild: f64,
    pub v0: MmPerS,
    /// Whether x_half, rise and Schwarzschild exponent come from an earlier wedge.
    pub measured: bool,
}

impl Expected {
    /// Packs a response.
    pub fn from_response(r: &Response, measured: bool) -> Self {
        Expected {
            y_unmarked: r.y_unmarked,
            y_marked: r.y_marked,
            y_char: r.y_char,
            x_half: JoulesPerMm2(r.x_half),
            rise: r.rise,
            x_char: JoulesPerMm2(r.x_char.min(9999.0)),
            char_rise: r.char_rise,
            schwarzschild: r.schwarzschild,
            v0: r.v0,
            measured,
        }
    }

    /// The response it stands for.
    pub fn response(&self) -> Response {
        Response {
            y_unmarked: self.y_unmarked,
            y_marked: self.y_marked,
            y_char: self.y_char,
            x_half: self.x_half.0,
            rise: self.rise,
            x_char: self.x_char.0,
            char_rise: self.char_rise,
            schwarzschild: self.schwarzschild,
            v0: self.v0,
        }
    }
}

/// A whole wedge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Wedge {
    /// Version of this file.
    pub version: u32,
    /// `W` and six hexadecimal digits, a hash of all else that is burnt or foretold: the same wedge has the same id.
    pub id: String,
    /// What it measures.
    pub kind: WedgeKind,
    /// The blank it is drawn for.
    pub blank: Shape,
    /// What is kept free inside the blank's outline.
    pub margin: Mm,
    /// The machine's name.
    pub machine: String,
    /// The coating's name.
    pub coating: String,
    /// Rated optical power of the laser: the power at 100 %.
    pub rated_power: Watts,
    /// 1/e² beam diameter along the scan.
    pub beam_along: Mm,
    /// 1/e² beam diameter across the scan.
    pub beam_across: Mm,
    /// Whether the beam comes from an earlier tone wedge.
    pub beam_measured: bool,
    /// Between dots of a row.
    pub pitch_along: Mm,
    /// Between rows.
    pub pitch_across: Mm,
    /// Left edge of the first column, mm from the blank's left.
    pub left: Mm,
    /// Upper edge of the first row, mm from the blank's upper edge (downwards).
    pub top: Mm,
    /// Columns of dots.
    pub columns: usize,
    /// Rows of dots.
    pub rows: usize,
    /// Power, speed and passes of finder marks, labels and the id's cells: chosen to mark surely.
    #[serde(rename = "signs")]
    pub fiducials: Dial,
    /// How fast the machine marks dots of this pitch; no part of the id. None in a file of an earlier version.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub carries: Option<Carries>,
    /// The response that was expected.
    pub expected: Expected,
    /// The id's cells; none on a blank too small for them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub code: Option<Code>,
    /// The four finder marks, clockwise as the owner sees them, the odd one first.
    #[serde(rename = "mark", default)]
    pub marks: Vec<FinderMark>,
    /// The patches.
    #[serde(rename = "patch", default)]
    pub patches: Vec<TestPatch>,
    /// The combs of a timing wedge.
    #[serde(rename = "comb", default, skip_serializing_if = "Vec::is_empty")]
    pub combs: Vec<Comb>,
}

/// Why a text is not a wedge.
#[derive(Debug, thiserror::Error)]
pub enum TargetError {
    /// Not TOML, or a field is missing or wrong.
    #[error("{}", text!("wedge.file.syntax", why = .0))]
    Syntax(String),
    /// Written by another version.
    #[error("{}", text!("wedge.file.version", found = .found, own = VERSION))]
    Version {
        /// The version in the file.
        found: u32,
    },
    /// The contents do not give the id.
    #[error("{}", text!("wedge.file.changed", computed = .computed, found = .found))]
    Changed {
        /// The id that the contents give.
        computed: String,
        /// The id in the file.
        found: String,
    },
    /// Numbers that no wedge has.
    #[error("{}", text!("wedge.file.impossible", what = .0))]
    Impossible(String),
}

impl Wedge {
    /// The id that the contents give: FNV-1a over the file without its id, folded to 24 bits.
    pub fn computed_id(&self) -> String {
        let mut bare = self.clone();
        bare.id.clear();
        bare.carries = None;
        if let Some(code) = &mut bare.code {
            code.bits = "0".repeat(code.bits.len());
        }
        let text = toml::to_string(&bare).unwrap_or_default();
        let hash = text
            .bytes()
            .fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0000_0100_0000_01b3));
        format!("W{:06X}", (hash ^ (hash >> 24) ^ (hash >> 48)) & 0xFF_FFFF)
    }

    /// Settles the id and writes it into the code cells.
    pub fn seal(&mut self) {
        self.id = self.computed_id();
        let id = u32::from_str_radix(self.id.trim_start_matches('W'), 16).unwrap_or(0);
        if let Some(code) = &mut self.code {
            let n = code.bits.len();
            code.bits = (0..n).map(|i| if id >> (23 - i.min(23)) & 1 == 1 { '1' } else { '0' }).collect();
        }
    }

    /// The file's text.
    ///
    /// # Errors
    /// A wedge that cannot be put into words.
    pub fn to_toml(&self) -> Result<String, TargetError> {
        toml::to_string(self).map_err(|e| TargetError::Syntax(e.to_string()))
    }

    /// Reads a file's text and checks it.
    ///
    /// # Errors
    /// Text that is no wedge file, is of another version or was changed by hand, or a wedge that cannot be.
    pub fn from_toml(text: &str) -> Result<Self, TargetError> {
        let wedge: Wedge =
            toml::from_str(text).map_err(|e| TargetError::Syntax(e.message().replace('\n', " ")))?;
        if wedge.version != VERSION {
            return Err(TargetError::Version { found: wedge.version });
        }
        wedge.check()?;
        let computed = wedge.computed_id();
        if computed != wedge.id {
            return Err(TargetError::Changed { computed, found: wedge.id });
        }
        Ok(wedge)
    }

    fn check(&self) -> Result<(), TargetError> {
        let bad = |what: &str| Err(TargetError::Impossible(what.to_string()));
        let positive = |v: f64| v.is_finite() && v > 0.0;
        for (name, v) in [
            ("rated_power", self.rated_power.0),
            ("beam_along", self.beam_along.0),
            ("beam_across", self.beam_across.0),
            ("pitch_along", self.pitch_along.0),
            ("pitch_across", self.pitch_across.0),
            ("v0", self.expected.v0.0),
            ("x_half", self.expected.x_half.0),
        ] {
            if !positive(v) {
                return bad(&text!("wedge.file.value", name, value = v));
            }
        }
        if self.marks.len() != 4 && !self.marks.is_empty() {
            return bad(&text!("wedge.file.marks", count = self.marks.len()));
        }
        let dials = self.patches.iter().map(|p| &p.dial).chain(self.combs.iter().map(|c| &c.dial));
        if dials.into_iter().any(|d| !positive(d.power.0) || !positive(d.speed.0) || d.passes == 0) {
            return bad(text!("wedge.file.setting"));
        }
        let finite = |v: &[f64]| v.iter().all(|x| x.is_finite());
        if self.patches.iter().any(|p| !finite(&p.centre) || !positive(p.size[0]) || !positive(p.size[1])) {
            return bad(text!("wedge.file.place"));
        }
        Ok(())
    }

    /// Where a patch lies on the piece: from −1 at the left and the upper edge to 1 at the right and the lower one.
    pub fn place(&self, patch: &TestPatch) -> [f64; 2] {
        let part = |at: f64, size: f64| 2.0 * at / size - 1.0;
        [part(patch.centre[0], self.blank.width()), -part(patch.centre[1], self.blank.height())]
    }

    /// The beam as the model takes it.
    pub fn beam(&self) -> Beam {
        Beam { along: self.beam_along, across: self.beam_across }
    }

    /// The setting of a dial on this machine and pitch.
    pub fn setting(&self, dial: &Dial) -> Setting {
        Setting {
            power: Watts(self.rated_power.0 * dial.power.0),
            speed: dial.speed,
            passes: dial.passes,
            pitch_along: self.pitch_along,
            pitch_across: self.pitch_across,
            lines: Along::X,
        }
    }

    /// Mean dose of a solid at a dial, J/mm².
    pub fn dose(&self, dial: &Dial) -> f64 {
        self.setting(dial).solid_dose().0
    }

    /// The burn model of a dial under a response.
    pub fn burn(&self, dial: &Dial, response: Response) -> Burn {
        Burn::new(self.beam(), self.setting(dial), response)
    }
}
