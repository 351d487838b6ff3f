//! Outputs: an outcome written into a sink, and the report completed with what was written.

mod files;
mod pictures;
mod tray;

use std::io;

use crate::encode::sink::{OutputError, Sink};
use crate::encode::{EncodeError, bmp, png, tiff};
use crate::findings::{Finding, motion, replay};
use crate::job::Plan;
use crate::pipeline::Outcome;
use crate::plane::Dots;
use crate::progress::{Progress, Silent, Stopped};
use crate::proof::canvas::ProofError;
use crate::proof::report::{FileFacts, Report};
use crate::proof::ticket;
use crate::said::Said;
use crate::scan::limits::LimitsError;
use crate::scan::program::{Cost, Program, Unwritten};
use crate::scan::readback::{self, ReadBackError};
use crate::scan::replay::ReplayOptions;
use crate::texts::text;

pub use files::{Case, FILES, JOB, JobFile, PROOF};
pub use tray::{Asked, MOST_TRAYS, Now, Of, OrderReport, TRAY, Tray, write_trays};
#[cfg(feature = "desk")]
pub(crate) use tray::{OfPieces, each_remedy, is_of_one_picture};

/// Why the outputs cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// A file or folder.
    #[error(transparent)]
    Output(#[from] OutputError),
    /// A picture file.
    #[error(transparent)]
    Encode(#[from] EncodeError),
    /// A picture or page.
    #[error(transparent)]
    Proof(#[from] ProofError),
    /// The report or the job file.
    #[error("{}", text!("outputs.why.words", detail = .0))]
    Words(String),
    /// A program that cannot be written or read back.
    #[error(transparent)]
    ReadBack(#[from] ReadBackError),
    /// A tray that does not lie on the bed.
    #[error(transparent)]
    Limits(#[from] LimitsError),
    /// A program that must not be run.
    #[error("{}", text!("outputs.why.unsafe", name = .0, stop = .1.message))]
    Unsafe(String, Box<Finding>),
    /// A tray that leaves the bed.
    #[error("{0}")]
    OffBed(#[source] Said),
    /// The person asked to stop.
    #[error(transparent)]
    Stopped(#[from] Stopped),
}

/// Writes the files of a job into a sink, which puts them in place or not; returns the completed report.
///
/// # Errors
/// When a file cannot be made or written, or when `progress` ends the work.
pub fn write(
    plan: &Plan,
    outcome: &Outcome,
    loupe_at: Option<(f64, f64)>,
    output: &mut dyn Sink,
    progress: &dyn Progress,
) -> Result<Report, WriteError> {
    let stages = &outcome.stages;
    progress.begin(text!("outputs.stage.pictures-pages"), 0.5)?;
    progress.expect(1);
    let rect = &stages.placement.rect;
    let case = Case { plan, outcome, loupe_at };
    let mut written: Vec<FileFacts> = Vec::new();

    let (dots, beam_on) = (&stages.dots, plan.dots.beam_on);
    put(output, &mut written, plan, &files::PNG, &png::dots(dots, rect.grid, beam_on)?)?;
    if let Some(packing) = plan.dots.tiff {
        put(output, &mut written, plan, &files::TIFF, &tiff::dots(dots, rect.grid, beam_on, packing)?)?;
    }
    if files::BMP.is_of(&case) {
        put(output, &mut written, plan, &files::BMP, &bmp::dots(dots, rect.grid, beam_on)?)?;
    }

    progress.go_on(1)?;
    let pictures = pictures::drawn(&case, progress)?;
    pictures.put(plan, output, &mut written)?;

    let mut report = outcome.report.clone();
    let open: Vec<&str> = outcome.stops(plan).map(|f| f.name).collect();
    let stopped = !open.is_empty();
    if stopped {
        report.program = None;
    } else {
        let scan = &stages.program;
        progress.begin(text!("outputs.stage.program"), 0.5)?;
        // What was found before was accepted, or no program would be written.
        let overhang = motion::overhang(&outcome.findings);
        let cost =
            write_program(files::PROGRAM.name, &scan.program(dots), Some(dots), overhang, output, progress)?;
        written.push(files::PROGRAM.facts(plan, Some(cost.bytes)));
        let cost = write_program(files::OUTLINE.name, &scan.outline(), None, overhang, output, &Silent)?;
        written.push(files::OUTLINE.facts(plan, Some(cost.bytes)));
    }

    let job = plan.written_back(&outcome.findings).to_toml().map_err(|e| WriteError::Words(e.to_string()))?;
    put(output, &mut written, plan, &files::JOB_FILE, job.as_bytes())?;
    written.extend([&files::REPORT, &files::TICKET].map(|file| file.facts(plan, None)));
    report.files = written;
    let json = report.to_json().map_err(|e| WriteError::Words(e.to_string()))?;
    output.put(files::REPORT.name, json.as_bytes())?;
    let page = ticket::ticket(&report, &open, &pictures.for_the_ticket())?;
    output.put(files::TICKET.name, page.as_bytes())?;
    Ok(report)
}

/// Writes a program and reads it back as it is written; what it comes to. It marks `dots`, where there are any, and may
/// leave the bed by `overhang` mm, which was accepted.
pub(crate) fn write_program(
    name: &str,
    program: &Program<'_>,
    dots: Option<&Dots>,
    overhang: f64,
    output: &mut dyn Sink,
    progress: &dyn Progress,
) -> Result<Cost, WriteError> {
    let options = ReplayOptions::of(program);
    let mut done = None;
    let streamed = output.stream(name, &mut |out| match readback::write(program, &options, out, progress) {
        Ok(written) => {
            done = Some(Ok(written));
            Ok(())
        }
        // The sink says what it could not write, and where.
        Err(ReadBackError::Unwritten(Unwritten::Io(e))) => Err(e),
        Err(e) => {
            done = Some(Err(e));
            Err(io::Error::other("the program was given up"))
        }
    });
    let (cost, mut replayed) = match done {
        Some(Err(ReadBackError::Unwritten(Unwritten::Stopped(stopped)))) => return Err(stopped.into()),
        Some(Err(e)) => return Err(e.into()),
        Some(Ok(done)) => streamed.map(|_| done)?,
        None => return Err(streamed.err().map_or_else(|| WriteError::Words(name.into()), WriteError::from)),
    };
    if let Some(dots) = dots {
        replayed.against(dots);
    }
    match replay::harmful(&replayed.report, overhang) {
        Some(stop) => Err(WriteError::Unsafe(name.to_string(), Box::new(stop))),
        None => Ok(cost),
    }
}

/// Writes a file and notes it.
fn put(
    output: &mut dyn Sink,
    written: &mut Vec<FileFacts>,
    plan: &Plan,
    file: &JobFile,
    bytes: &[u8],
) -> Result<(), WriteError> {
    output.put(file.name, bytes)?;
    written.push(file.facts(plan, Some(bytes.len() as u64)));
    Ok(())
}

/// Writes the pictures and the report of dots that were only judged.
///
/// # Errors
/// As [`write()`].
pub fn write_proof(
    plan: &Plan,
    outcome: &Outcome,
    loupe_at: Option<(f64, f64)>,
    output: &mut dyn Sink,
    progress: &dyn Progress,
) -> Result<Report, WriteError> {
    let mut report = outcome.report.clone();
    progress.begin(text!("outputs.stage.pictures"), 1.0)?;
    let mut written = Vec::new();
    let case = Case { plan, outcome, loupe_at };
    pictures::drawn(&case, progress)?.put(plan, output, &mut written)?;
    written.push(files::REPORT.facts(plan, None));
    report.files = written;
    report.program = None;
    let json = report.to_json().map_err(|e| WriteError::Words(e.to_string()))?;
    output.put(files::REPORT.name, json.as_bytes())?;
    Ok(report)
}
