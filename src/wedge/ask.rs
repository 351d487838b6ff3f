//! Ask: what a reading is asked with, and why a photo gives none.

use super::register::photo::PhotoError;
use crate::job::ProcessFile;
use crate::job::process::{BeamSize, MeasuredValue, SheetRecord};
use crate::progress::Stopped;
use crate::texts::text;
use crate::wedge::target::Wedge;

/// What a reading is asked with.
#[derive(Debug, Clone, PartialEq)]
pub struct Ask {
    /// Four points given by hand, photo pixels: the centres of the finder marks, the odd one (the disc with
    /// a hole) first, then clockwise; for a grid that was drawn elsewhere its outer corners, clockwise from
    /// the upper left. Empty: the finder marks are searched.
    pub corners: Vec<(f64, f64)>,
    /// A white reference in the photo: x, y, width, height in pixels.
    pub white: Option<[f64; 4]>,
    /// The white reference's luminance, 0..1. Default 1.
    pub white_luminance: f64,
    /// Grain above which a patch is not picked, L*. Default 3.
    pub grain_limit: f64,
    /// The day, as it shall be written.
    pub date: String,
    /// Sheets of the same machine and coating that were read before: their patches are fitted together with these.
    pub earlier: Vec<SheetRecord>,
    /// The beam along and across the lines as earlier wedges of the same machine measured it, mm.
    pub beam: [Option<f64>; 2],
    /// What the earlier file holds of this machine and coating: this reading is laid over it.
    pub held: Option<ProcessFile>,
}

impl Ask {
    /// Takes in what an earlier process file of this machine has measured: the beam, and all else where it is of the same
    /// coating.
    pub fn after(self, earlier: Option<&ProcessFile>, wedge: &Wedge) -> Ask {
        let (machine, power) = (&wedge.machine, wedge.rated_power);
        let Some(p) = earlier.filter(|p| !p.is_of_another_bench(machine, power)) else { return self };
        let mm = |v: &Option<MeasuredValue<BeamSize>>| match v.as_ref()?.value {
            BeamSize::Mm(mm) => Some(mm.0),
            BeamSize::Pitches(_) => None,
        };
        let held = p.holding(machine, power, &wedge.coating);
        let beam = [mm(&held.beam_along), mm(&held.beam_across)];
        Ask { earlier: held.sheet.clone(), beam, held: Some(held), ..self }
    }
}

impl Default for Ask {
    fn default() -> Self {
        Ask {
            corners: Vec::new(),
            white: None,
            white_luminance: 1.0,
            grain_limit: 3.0,
            date: String::new(),
            earlier: Vec::new(),
            beam: [None; 2],
            held: None,
        }
    }
}

/// Why a photo gives no reading.
#[derive(Debug, thiserror::Error)]
pub enum ReadingError {
    /// The file.
    #[error(transparent)]
    Photo(#[from] PhotoError),
    /// No consistent set of marks.
    #[error("{}", text!("wedge.why.no-marks", rings = .rings, discs = .discs))]
    NoMarks {
        /// Rings seen.
        rings: usize,
        /// Discs seen.
        discs: usize,
    },
    /// The id's cells say another wedge.
    #[error("{}", text!("wedge.why.other-wedge", seen = .seen, given = .given))]
    OtherWedge {
        /// First digits of the id in the photo.
        seen: String,
        /// The id in the file.
        given: String,
    },
    /// The marks are there but what should be between them is not.
    #[error("{}", text!("wedge.why.not-this", given = .given, why = .why))]
    NotThis {
        /// The id in the file.
        given: String,
        /// What is missing.
        why: String,
    },
    /// The marks run the wrong way round.
    #[error("{}", text!("wedge.why.mirrored"))]
    Mirrored,
    /// Two pieces in one photo.
    #[error("{}", text!("wedge.why.two-pieces"))]
    TwoPieces,
    /// The points given by hand do not do.
    #[error("{}", text!("wedge.why.corners", what = .0))]
    Corners(String),
    /// The white reference does not do.
    #[error("{}", text!("wedge.why.white", what = .0))]
    White(String),
    /// The person asked to stop.
    #[error(transparent)]
    Stopped(#[from] Stopped),
    /// Nothing can be measured.
    #[error("{}", text!("wedge.why.nothing", why = .0))]
    Nothing(String),
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_photo_without_marks_may_be_of_another_wedge() {
        let why = ReadingError::NoMarks { rings: 0, discs: 0 }.to_string();
        assert!(why.contains("if the piece is of another wedge, give its own wedge.toml"), "{why}");
    }
}
