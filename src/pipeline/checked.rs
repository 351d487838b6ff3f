//! Checked: a remedy counts as checked when the job, carried through again with it, has no caution and no stop that it
//! did not have before.

use super::again::Source;
use super::foresee::foresee;
use super::judging;
use super::laid::Laid;
use super::outcome::Stages;
use super::wanted::{Wanted, wanted};
use crate::findings::change::Change;
use crate::findings::detail::Detail;
use crate::findings::{Finding, Remedy, Severity};
use crate::job::Plan;
use crate::placement;
use crate::progress::{Progress, Within};
use crate::proof::layout::MOST_PIXELS;
use crate::units::{Mm, MmPerS, Share, Watts};

/// Carries the job through with each remedy that claims to be checked, and takes the claim back, saying why, where
/// that brings what was not there before or leaves what it was to clear.
pub(super) fn check(plan: &Plan, source: Source<'_>, findings: &mut [Finding], progress: &dyn Progress) {
    let before: Vec<&'static str> = serious(findings);
    for finding in findings {
        let name = finding.name;
        for remedy in finding.remedies.iter_mut().filter(|r| r.verified) {
            let Some(change) = change(plan, remedy) else { continue };
            // What cannot be carried through was refused by the machine, or the person wants the work to end.
            let Some(after) = carried(plan, source, change, progress) else {
                remedy.verified = false;
                continue;
            };
            let mut brought: Vec<&str> = after.iter().copied().filter(|n| !before.contains(n)).collect();
            brought.dedup();
            if !brought.is_empty() {
                remedy.text.push_str(&format!("; that brings {}", brought.join(" and ")));
            }
            remedy.verified = brought.is_empty() && !after.contains(&name);
        }
        finding.remedies.sort_by_key(|r| !r.verified);
    }
}

/// Names of the findings that a person must look at.
fn serious(findings: &[Finding]) -> Vec<&'static str> {
    findings.iter().filter(|f| f.severity >= Severity::Caution).map(|f| f.name).collect()
}

/// The change that a remedy asks for; `None` for one that asks for other art, another place or another file.
fn change(plan: &Plan, remedy: &Remedy) -> Option<Change> {
    let rated = plan.process.rated_power.value.0;
    Some(match remedy.change {
        "power" => Change::Power(Watts(rated * remedy.value / 100.0)),
        "speed" => Change::Speed(MmPerS(remedy.value)),
        "pitch" => Change::Pitch(Mm(remedy.value)),
        "ceiling" => Change::Ceiling(Share(remedy.value / 100.0)),
        _ => return None,
    })
}

/// What is serious in the job with a change; nothing where it cannot be carried through.
fn carried(
    plan: &Plan,
    source: Source<'_>,
    change: Change,
    progress: &dyn Progress,
) -> Option<Vec<&'static str>> {
    let plan = plan.with(change).ok()?;
    let quiet = Within(progress);
    let (placement, laid, kind, left_out) = match source {
        Source::Art(art) => {
            let wanted = wanted(&plan, art, &quiet).ok()?;
            let left_out = wanted.left_out(&plan, art, &quiet).ok()?;
            let (placement, kind) = (wanted.placement, wanted.kind);
            (placement, Laid::new(&plan, wanted, &quiet).ok()?, Some(kind), left_out)
        }
        Source::Dots(dots) if matches!(change, Change::Power(_) | Change::Speed(_)) => {
            let placement = placement::of_dots(&plan.blank, plan.grid, dots.width(), dots.height());
            (placement, Laid::given(dots.clone()), None, 0.0)
        }
        Source::Dots(_) => return None,
    };
    let seen = foresee(&plan, &placement, &laid, MOST_PIXELS, "", &quiet).ok()?;
    let lost = seen.lost;
    let stages = Stages::new(placement, (0.0, None), laid, seen, kind, left_out, Vec::new());
    let blurred = match (source, kind) {
        (Source::Art(art), Some(kind)) => {
            Wanted::blurred(&plan, art, (kind, &stages.placement), &stages.dots, &quiet).ok()?
        }
        _ => None,
    };
    let mut names = serious(&judging::of_the_job(&plan, source, &stages, &Detail { lost, blurred }));
    names.extend(judging::of_the_burn(&plan, &stages));
    Some(names)
}
