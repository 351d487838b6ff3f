//! What whoever uses the library needs to come from text to a plan, and sees of it.

use std::path::Path;
use std::str::FromStr;

use super::plan::{self, Plan};
use super::{FileError, Job, Machine, PlanError, file};
use crate::note::Note;

impl FromStr for Job {
    type Err = FileError;

    /// A job from the text of a job file. The art's file name stays as it is written.
    fn from_str(text: &str) -> Result<Job, FileError> {
        file::parse("job", Path::new("job.toml"), text)
    }
}

impl Plan {
    /// Settles a job: machine, coating and process are read where they are named, defaults filled in, all
    /// numbers checked, each by itself and against each other.
    ///
    /// # Errors
    /// A name that stands for nothing, a file that cannot be used, a number out of its range, a blank
    /// smaller than its margins. Each is one sentence that says what to do.
    pub fn of(job: &Job) -> Result<Plan, PlanError> {
        plan::resolve(job)
    }

    /// The job that gives this plan again: every default written out.
    pub fn job(&self) -> &Job {
        &self.job
    }

    /// The machine, with what was measured of it and the piece that it turns.
    pub fn machine(&self) -> &Machine {
        &self.machine
    }

    /// What was assumed because nothing was said, one sentence each.
    pub fn assumptions(&self) -> &[Note] {
        &self.assumptions
    }

    /// Other things a person should know, one sentence each.
    pub fn notes(&self) -> &[Note] {
        &self.notes
    }
}
