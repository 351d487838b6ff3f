//! What whoever uses the library needs to come from text to a plan.

use std::path::Path;
use std::str::FromStr;

use super::plan::{self, Plan};
use super::{FileError, Job, PlanError, file};

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
}
