//! Outputs: an outcome written into a sink, and the report completed with what was written.

mod pictures;
mod tray;

use std::io;

use crate::encode::sink::{Files, OutputError, Sink};
use crate::encode::{EncodeError, bmp, png, tiff};
use crate::findings::{motion, replay};
use crate::job::Plan;
use crate::pipeline::Outcome;
use crate::plane::Dots;
use crate::progress::{Progress, Silent, Stopped};
use crate::proof::canvas::ProofError;
use crate::proof::report::{FileFacts, Report};
use crate::proof::ticket;
use crate::scan::limits::LimitsError;
use crate::scan::outline;
use crate::scan::program::{Cost, Program, Unwritten};
use crate::scan::readback::{self, ReadBackError};
use crate::scan::replay::ReplayOptions;

pub use tray::{Asked, MOST_TRAYS, OrderReport, TRAY, Tray, write_trays};

/// The files of a job carried through.
pub const JOB: Files = Files {
    names: &[
        "dots.png",
        "dots.tiff",
        "dots.bmp",
        "proof.png",
        "round.png",
        "cut.svg",
        "customer.png",
        "density.png",
        "loupe.png",
        "readings.png",
        "ticket.html",
        "job.toml",
        "report.json",
        "program.nc",
        "outline.nc",
    ],
    never_beside: &[("wedge.toml", "a wedge")],
};

/// The files of dots that were only judged.
pub const PROOF: Files = Files {
    names: &["proof.png", "round.png", "cut.svg", "density.png", "loupe.png", "report.json"],
    never_beside: &[],
};

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
    #[error("a file could not be put into words: {0}; this is a fault of the program, please report it")]
    Words(String),
    /// A program that cannot be written or read back.
    #[error(transparent)]
    ReadBack(#[from] ReadBackError),
    /// A tray that does not lie on the bed.
    #[error(transparent)]
    Limits(#[from] LimitsError),
    /// A program that must not be run.
    #[error("{0} is not safe to run, so nothing was written. {1}")]
    Unsafe(String, String),
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
    progress.begin("pictures and pages", 0.5)?;
    progress.expect(1);
    let rect = &stages.placement.rect;
    let mut files: Vec<FileFacts> = Vec::new();

    let dots = &stages.dots;
    let black_or_white = format!("the dots, {} = beam on", plan.dots.beam_on);
    put(output, &mut files, "dots.png", &black_or_white, &png::dots(dots, rect.grid, plan.dots.beam_on)?)?;
    if let Some(packing) = plan.dots.tiff {
        put(
            output,
            &mut files,
            "dots.tiff",
            &black_or_white,
            &tiff::dots(dots, rect.grid, plan.dots.beam_on, packing)?,
        )?;
    }
    if plan.dots.bmp {
        put(
            output,
            &mut files,
            "dots.bmp",
            &black_or_white,
            &bmp::dots(dots, rect.grid, plan.dots.beam_on)?,
        )?;
    }

    progress.go_on(1)?;
    let pictures = pictures::drawn(plan, outcome, loupe_at, progress)?;
    pictures.put(output, &mut files)?;

    let mut report = outcome.report.clone();
    let stopped = outcome.is_stopped(plan);
    if stopped {
        report.program = None;
    } else {
        let scan = &stages.program;
        progress.begin("scan program", 0.5)?;
        // What was found before was accepted, or no program would be written.
        let overhang = motion::overhang(&outcome.findings);
        let marking =
            write_program("program.nc", &scan.program(dots), Some(dots), overhang, output, progress)?;
        let about = "the scan program: what the machine runs".to_string();
        files.push(FileFacts { name: "program.nc".into(), bytes: Some(marking.bytes), about });
        let walk = write_program("outline.nc", &scan.outline(), None, overhang, output, &Silent)?;
        files.push(FileFacts {
            name: "outline.nc".into(),
            bytes: Some(walk.bytes),
            about: outline::about(&plan.blank.shape).into(),
        });
    }

    let job = plan.written_back(&outcome.findings).to_toml().map_err(|e| WriteError::Words(e.to_string()))?;
    output.put("job.toml", job.as_bytes())?;
    files.push(FileFacts {
        name: "job.toml".into(),
        bytes: Some(job.len() as u64),
        about: "the whole job; running it again gives the same bytes".into(),
    });
    for (name, about) in [("report.json", "every figure, for other programs"), ("ticket.html", "this page")] {
        files.push(FileFacts { name: name.into(), bytes: None, about: about.into() });
    }
    report.files = files;
    let json = report.to_json().map_err(|e| WriteError::Words(e.to_string()))?;
    output.put("report.json", json.as_bytes())?;
    output.put("ticket.html", ticket::ticket(&report, stopped, &pictures.for_the_ticket())?.as_bytes())?;
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
        Some(stop) => Err(WriteError::Unsafe(name.to_string(), stop.message.to_string())),
        None => Ok(cost),
    }
}

/// Writes a file and notes it.
fn put(
    output: &mut dyn Sink,
    files: &mut Vec<FileFacts>,
    name: &str,
    about: &str,
    bytes: &[u8],
) -> Result<(), WriteError> {
    output.put(name, bytes)?;
    files.push(FileFacts { name: name.into(), bytes: Some(bytes.len() as u64), about: about.into() });
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
    progress.begin("pictures", 1.0)?;
    let mut files = Vec::new();
    pictures::drawn(plan, outcome, loupe_at, progress)?.put(output, &mut files)?;
    files.push(FileFacts { name: "report.json".into(), bytes: None, about: "every figure".into() });
    report.files = files;
    report.program = None;
    let json = report.to_json().map_err(|e| WriteError::Words(e.to_string()))?;
    output.put("report.json", json.as_bytes())?;
    Ok(report)
}
