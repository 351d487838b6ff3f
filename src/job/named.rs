//! What a job names, read and checked: machine, coating, process and tone curve. Here alone settling a job
//! touches files; afterwards all is at hand.

use std::path::Path;

use super::asked::{BlankJob, Job, Reference};
use super::error::{FileError, KitError, PlanError};
use super::kit;
use super::words::DotGain;
use super::{Coating, Machine, ProcessFile};
use super::{file, file_name};
use crate::texts::{self, text};
use crate::tone::dot_gain::GainCurve;

/// The things that a job names, or the kit's own where it names none.
#[derive(Debug, Clone, PartialEq)]
pub struct Named {
    /// The machine.
    pub machine: Machine,
    /// The coating.
    pub coating: Coating,
    /// What was measured, where anything was.
    pub measured: Option<ProcessFile>,
    /// The measured tone curve, where the dot-gain curve comes from a file.
    pub tone_curve: Option<GainCurve>,
}

impl Named {
    /// Reads all that `job` names.
    ///
    /// # Errors
    /// A name that neither the kit nor a file has; a file that cannot be read, understood or believed.
    pub fn read(job: &Job) -> Result<Named, PlanError> {
        Ok(Named {
            machine: thing(&job.machine, kit::DEFAULT_MACHINE, "machine", kit::machine, Machine::check)?,
            coating: thing(
                &job.coating,
                &usual_coating(&job.blank)?,
                "coating",
                kit::coating,
                Coating::check,
            )?,
            measured: process(&job.process)?,
            tone_curve: match &job.tone.dot_gain {
                Some(DotGain::File(path)) => Some(tone_curve(&file_name::path(path))?),
                _ => None,
            },
        })
    }
}

/// The coating that is taken where none is named: the blank's usual one.
fn usual_coating(blank: &BlankJob) -> Result<String, KitError> {
    let of_blank = blank.coatings.iter().flatten().next().cloned();
    let of_surface = |surface| kit::coatings_on(surface).map(|all| all.into_iter().next());
    Ok(match (of_blank, blank.surface) {
        (Some(coating), _) => Some(coating),
        (None, Some(surface)) => of_surface(surface)?,
        (None, None) => None,
    }
    .unwrap_or_else(|| kit::DEFAULT_COATING.to_string()))
}

/// The named or embedded thing, checked either way.
fn thing<T: Clone>(
    reference: &Option<Reference<T>>,
    default: &str,
    what: &'static str,
    load: impl Fn(&str) -> Result<T, KitError>,
    check: impl Fn(&T) -> Result<(), file::Absurd>,
) -> Result<T, PlanError> {
    match reference {
        None => Ok(load(default)?),
        Some(Reference::Name(name)) => Ok(load(name)?),
        Some(Reference::Whole(whole)) => {
            check(whole).map_err(|w| {
                let filled =
                    texts::filled(&format!("job.in-job.{what}"), &[("key", &w.key), ("why", &w.why)]);
                PlanError::absurd(filled)
            })?;
            Ok((**whole).clone())
        }
    }
}

/// The named or embedded process file, checked either way.
fn process(reference: &Option<Reference<ProcessFile>>) -> Result<Option<ProcessFile>, PlanError> {
    match reference {
        None => Ok(None),
        Some(Reference::Name(path)) => Ok(Some(read_process(&file_name::path(path))?)),
        Some(Reference::Whole(p)) => {
            p.check()
                .map_err(|w| PlanError::absurd(text!("job.in-job.process", key = w.key, why = w.why)))?;
            Ok(Some((**p).clone()))
        }
    }
}

/// Reads and checks a process file.
///
/// # Errors
/// Where it cannot be read, is no process file, or holds a value that nothing measures to.
pub fn read_process(path: &Path) -> Result<ProcessFile, FileError> {
    let text = file::read_text("process", path)?;
    let p: ProcessFile = file::parse("process", path, &text)?;
    p.check().map_err(|w| file::absurd("process", path, &text, w))?;
    if p.says_nothing() {
        return Err(FileError::Absurd {
            what: "process",
            path: path.to_path_buf(),
            line: None,
            cause: text!("job.says-nothing").into(),
        });
    }
    Ok(p)
}

fn tone_curve(path: &Path) -> Result<GainCurve, PlanError> {
    let text = file::read_text("tone curve", path)?;
    GainCurve::from_toml(&text).map_err(|e| PlanError::absurd(format!("{}: {e}", path.display())))
}
