//! Program: the scan program of a whole wedge, part after part, each at its own power and speed.

use std::io;

use super::drawing::Drawing;
use super::parts::{Part, Way};
use crate::blank::Blank;
use crate::plane::Dots;
use crate::scan::limits::{BeamLag, Limits, LimitsError};
use crate::scan::lines::Marking;
use crate::scan::program::{self, Notes};
use crate::scan::raster::{RasterPath, Scan, Ways};
use crate::units::short;
use crate::wedge::target::WedgeKind;

/// The program's bytes and how long it takes.
#[derive(Debug, Clone, PartialEq)]
pub struct WedgeProgram {
    /// RS-274 words.
    pub bytes: Vec<u8>,
    /// Burning time with turns, s.
    pub seconds: f64,
}

/// Why no program can be written.
#[derive(Debug, thiserror::Error)]
pub enum ProgramError {
    /// What is asked of the machine.
    #[error(transparent)]
    Limits(#[from] LimitsError),
    /// Writing into memory failed.
    #[error("the program could not be put together ({0}); free some memory")]
    Write(#[from] io::Error),
}

/// Writes the parts in their order. A timing wedge is written without the machine's lag taken up, so that
/// it shows the whole lag. The comments describe the whole sheet, so that a replay rebuilds all its dots.
pub fn program(drawing: &Drawing, limits: &Limits, blank: Blank) -> Result<WedgeProgram, ProgramError> {
    let wedge = &drawing.wedge;
    let plain = |first: bool, last: bool| Limits {
        lag: if wedge.kind == WedgeKind::Timing { BeamLag::Mm(0.0) } else { limits.lag },
        header: if first { limits.header.clone() } else { Vec::new() },
        footer: if last { limits.footer.clone() } else { Vec::new() },
        ..limits.clone()
    };
    let mut bytes = Vec::new();
    let mut seconds = 0.0;
    // The whole sheet's own comments, from a part that covers it and marks nothing.
    let raster = RasterPath::new(
        &plain(true, true),
        Scan::new(wedge.fiducials.speed.0, wedge.fiducials.power.0),
        drawing.rect,
        blank,
    )?;
    let notes = Notes {
        job: format!("{} wedge {}", wedge.kind.name(), wedge.id),
        settings: vec![
            format!("machine {}, coating {}", wedge.machine, wedge.coating),
            format!("{} parts, each with its own power and speed", drawing.parts.len()),
        ],
        cautions: Vec::new(),
    };
    let mut about = Vec::new();
    let empty = Dots::off(drawing.rect.columns, drawing.rect.rows);
    program::write(&raster, Marking::Dots(&empty), &notes, &mut about)?;
    for line in lines(&about).filter(|l| l.starts_with(b"(") && !l.starts_with(b"(speed")) {
        push(&mut bytes, line);
    }
    let count = drawing.parts.len();
    for (i, part) in drawing.parts.iter().enumerate() {
        let (first, last) = (i == 0, i + 1 == count);
        let mut one = Vec::new();
        let raster = RasterPath::new(&plain(first, last), scan(part), part.rect, blank)?;
        let done = program::write(&raster, Marking::Dots(&part.dots), &Notes::default(), &mut one)?;
        seconds += done.estimate.times.total();
        push(&mut bytes, comment(part).as_bytes());
        for line in lines(&one) {
            let ends = line == b"M2" || line == b"G0X0Y0";
            if !line.starts_with(b"(") && (last || !ends) {
                push(&mut bytes, line);
            }
        }
    }
    Ok(WedgeProgram { bytes, seconds })
}

fn scan(part: &Part) -> Scan {
    Scan {
        passes: part.dial.passes,
        ways: match part.way {
            Way::Both => Ways::Both,
            Way::Right => Ways::One,
            Way::Left => Ways::Back,
        },
        ..Scan::new(part.dial.speed.0, part.dial.power.0)
    }
}

fn comment(part: &Part) -> String {
    let d = &part.dial;
    let passes = if d.passes == 1 { String::new() } else { format!(", {} passes", d.passes) };
    format!(
        "({}: power {}%, speed {} mm/s{passes})",
        part.name.to_lowercase(),
        short(100.0 * d.power.0, 1),
        short(d.speed.0, 2)
    )
}

fn lines(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    bytes.split(|&b| b == b'\n').filter(|l| !l.is_empty())
}

fn push(out: &mut Vec<u8>, line: &[u8]) {
    out.extend_from_slice(line);
    out.push(b'\n');
}
