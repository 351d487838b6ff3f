//! Brief: all that a plan is settled from. The job as asked, what it names, and what is known of its art's file.

use super::asked::Job;
use super::error::PlanError;
use super::named::Named;
use super::plan::Plan;
use super::settle;
use crate::note::Note;

/// What is known of the art's file before it is opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ArtFile {
    /// What it is called in sentences: the file's name without its folder, or `standard input`.
    pub name: String,
    /// The file as seen from where the job file will lie; `-` for standard input.
    pub path: String,
    /// CRC-32 of its bytes.
    pub crc32: u32,
}

/// All that a plan is settled from.
#[derive(Debug, Clone, PartialEq)]
pub struct Brief {
    /// The job, as asked.
    pub job: Job,
    /// What it names.
    pub(crate) named: Named,
    /// Its art's file; `None` where no art has been read yet.
    pub art: Option<ArtFile>,
    /// The files of its layers, one each; `None` for a layer without a file. Empty where none has been read yet.
    pub layers: Vec<Option<ArtFile>>,
    /// What was said to the person on the way here and belongs on the report, one sentence each without its full stop.
    pub notes: Vec<Note>,
}

impl Brief {
    /// The brief of a job whose art is not read yet: what the job names is read.
    ///
    /// # Errors
    /// See [`Named::read`].
    pub fn read(job: Job) -> Result<Brief, PlanError> {
        Ok(Brief { named: Named::read(&job)?, job, art: None, layers: Vec::new(), notes: Vec::new() })
    }

    /// Fills in defaults and checks all numbers, each by itself and against each other. No file is touched.
    ///
    /// # Errors
    /// A number out of its range, a name that stands for nothing, a blank smaller than its margins.
    pub fn settle(&self) -> Result<Plan, PlanError> {
        settle::settle(self)
    }
}
