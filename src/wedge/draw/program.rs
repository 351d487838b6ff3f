//! Program: the scan program of a whole wedge, part after part, each at its own power and speed.

use super::drawing::Drawing;
use super::parts::{BurntPart, Way};
use crate::blank::Blank;
use crate::findings::replay;
use crate::placement::Along;
use crate::progress::Silent;
use crate::scan::axis::on_whole_lines;
use crate::scan::comments::{of_rotary, said};
use crate::scan::limits::{BeamLag, Limits, LimitsError};
use crate::scan::lines::Marking;
use crate::scan::program::{Notes, Program};
use crate::scan::raster::{RasterPath, Scan, Ways};
use crate::scan::readback::{self, ReadBackError};
use crate::scan::replay::{Ground, ReplayOptions};
use crate::scan::toolpath::Toolpath;
use crate::texts::text;
use crate::units::short;

/// The program's bytes and how long it takes.
#[derive(Debug, Clone, PartialEq)]
pub struct WedgeProgram {
    /// RS-274 words.
    pub bytes: Vec<u8>,
    /// Burning time with turns, s.
    pub seconds: f64,
    /// How much a part's power differs most from the one asked for, as a share: S words are whole numbers.
    pub power_error: f64,
}

/// Why no program can be written.
#[derive(Debug, thiserror::Error)]
pub enum ProgramError {
    /// What is asked of the machine.
    #[error(transparent)]
    Limits(#[from] LimitsError),
    /// Powers that the machine cannot tell apart.
    #[error("{}", text!("wedge.program.coarse-power", full = .full, percent = .percent))]
    CoarsePower {
        /// The S word of full power.
        full: u32,
        /// How much a power would be wrong, %.
        percent: String,
    },
    /// Moves beyond the bed.
    #[error("{}", text!("wedge.program.off-bed", bed = .bed, by = .by))]
    OffBed {
        /// The bed, in words.
        bed: String,
        /// How far, mm.
        by: String,
    },
    /// Writing into memory failed, or the reader does not understand what was written.
    #[error(transparent)]
    ReadBack(#[from] ReadBackError),
    /// A program that must not be run.
    #[error("{}", text!("wedge.program.unsafe", what = .0))]
    Unsafe(String),
}

/// A power that is wrong by more makes a wedge worthless: what it measures would be wrong alike.
const POWER_SPOILT: f64 = 0.05;

/// Writes the parts in their order and reads the program back. A wedge with combs is written without the
/// machine's lag taken up, so that they show the whole lag. The comments describe the whole sheet, so that a
/// replay rebuilds all its dots.
///
/// # Errors
/// What the machine cannot do; a program that leaves the bed or would not mark the wedge's dots.
pub fn program(drawing: &Drawing, limits: &Limits, blank: Blank) -> Result<WedgeProgram, ProgramError> {
    let wedge = &drawing.wedge;
    let limits = &limits_of(drawing, limits);
    let notes = Notes {
        job: format!("{} wedge {}", wedge.kind.name(), wedge.id),
        settings: vec![
            format!("machine {}, coating {}", wedge.machine, wedge.coating),
            format!("{} parts, each with its own power and speed", drawing.parts.len()),
        ],
        cautions: Vec::new(),
    };
    let rect = on_whole_lines(&limits.y, Along::X, drawing.rect, &blank);
    let mut comments = notes.of_place(&rect, &blank);
    comments.extend(of_rotary(limits));
    comments.extend(said::lag(limits.lag).map(|lag| format!("({lag})")));
    comments.extend(notes.remarks());
    let mut parts = Vec::with_capacity(drawing.parts.len());
    let mut power_error = 0.0f64;
    for part in &drawing.parts {
        let path = RasterPath::new(limits, scan(part), part.rect, blank)?;
        power_error = power_error.max(path.power_error().abs());
        let path = path.ordered(Marking::Dots(&part.dots));
        parts.push(Toolpath { remark: remark(part), ..Toolpath::raster(path, Marking::Dots(&part.dots)) });
    }
    if power_error > POWER_SPOILT {
        let percent = short(power_error * 100.0, 1);
        return Err(ProgramError::CoarsePower { full: limits.full_scale_s, percent });
    }
    let program = Program::new(limits, comments, parts);
    let ground = Ground { rect, blank };
    let options = ReplayOptions { ground: Some(ground), ..ReplayOptions::of(&program) };
    let mut bytes = Vec::new();
    let (cost, mut replayed) = readback::write(&program, &options, &mut bytes, &Silent)?;
    let by = limits.off_bed(Some(&blank), cost.estimate.reach);
    if by > 0.0 {
        let bed = limits.bed();
        return Err(ProgramError::OffBed { bed, by: short(by, 2) });
    }
    replayed.against(&drawing.dots);
    match replay::harmful(&replayed.report, 0.0) {
        Some(stop) => Err(ProgramError::Unsafe(stop.message.to_string())),
        None => Ok(WedgeProgram { bytes, seconds: cost.estimate.times.total(), power_error }),
    }
}

/// The machine as the program is written for it: combs show the whole lag.
pub(super) fn limits_of(drawing: &Drawing, limits: &Limits) -> Limits {
    let lag = if drawing.wedge.combs.is_empty() { limits.lag } else { BeamLag::Mm(0.0) };
    Limits { lag, ..limits.clone() }
}

pub(super) fn scan(part: &BurntPart) -> Scan {
    Scan {
        passes: part.dial.passes,
        ways: match part.way {
            Way::Both => Ways::Both,
            Way::Right => Ways::One,
            Way::Left => Ways::Back,
        },
        // Combs measure how late the beam is: a head that hurries off would show another lag at each end of a line.
        hurry: part.way == Way::Both,
        ..Scan::new(part.dial.speed.0, part.dial.power.0)
    }
}

fn remark(part: &BurntPart) -> String {
    let d = &part.dial;
    let passes = if d.passes == 1 { String::new() } else { format!(", {} passes", d.passes) };
    format!(
        "{}: power {}%, speed {} mm/s{passes}",
        part.name.to_lowercase(),
        short(100.0 * d.power.0, 1),
        short(d.speed.0, 2)
    )
}
