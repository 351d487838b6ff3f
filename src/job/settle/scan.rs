//! How the scan program is made.

use crate::job::acceptance::{self, Acceptance};
use crate::job::asked::ScanJob;
use crate::job::error::PlanError;
use crate::job::words::{Along, ToneBy, Ways};
use crate::texts::text;
use crate::units::Mm;

/// How the scan program is made.
#[derive(Debug, Clone, PartialEq)]
pub struct SettledScan {
    /// Tones by dots or power.
    pub tone_by: ToneBy,
    /// Lines there and back or one way.
    pub ways: Ways,
    /// The axis that lines run along.
    pub lines: Along,
    /// Run-up where it was given.
    pub run_up: Option<Mm>,
    /// What each run is shortened by at either end.
    pub trim: Mm,
    /// Findings of severity stop that may pass.
    pub accept: Vec<Acceptance>,
}

pub(super) fn settle(scan: &ScanJob) -> Result<SettledScan, PlanError> {
    let trim = scan.trim.unwrap_or(Mm(0.0));
    if !(0.0..=1.0).contains(&trim.0) {
        return Err(PlanError::absurd(text!("job.wrong.trim", trim)));
    }
    if let Some(r) = scan.run_up.filter(|r| !(0.0..=200.0).contains(&r.0)) {
        return Err(PlanError::absurd(text!("job.wrong.run-up", run_up = r)));
    }
    let accept = scan.accept.clone().unwrap_or_default();
    acceptance::check(&accept)?;
    Ok(SettledScan {
        tone_by: scan.tone_by.unwrap_or(ToneBy::Dots),
        ways: scan.direction.unwrap_or(Ways::Both),
        lines: scan.axis.unwrap_or_default(),
        run_up: scan.run_up,
        trim,
        accept,
    })
}
