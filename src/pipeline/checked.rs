//! Checked: a remedy counts as checked when the job, carried through again with it, has no caution and no stop that it
//! did not have before, and none of its cautions has become a stop.

use super::again::{Again, Source};
use super::alike;
use super::carry::{carry, judged};
use super::drawable::Drawable;
use super::judging::{self, Named};
use super::left_out::LeftOut;
use super::outcome::Stages;
use crate::findings::change::{Change, WHOLE_PITCH};
use crate::findings::{Finding, Remedy, Severity, in_words};
use crate::job::Plan;
use crate::texts::text;
use crate::units::{Mm, MmPerS, Share, Watts};

/// Carries the job through with each remedy that claims to be checked, and takes the claim back, saying why, where
/// that brings what was not there before or leaves what it was to clear.
/// `stages` are those of the job. Of a large job, each try of which takes seconds, one checked remedy is enough for
/// each finding, and what the person accepted needs none.
pub(super) fn check(again: &Again<'_>, stages: &Stages, findings: &mut [Finding]) {
    let left_out = &stages.left_out;
    let sparing = again.is_large(&stages.dots);
    let before = serious(findings);
    for finding in findings {
        let name = finding.name;
        for remedy in &mut finding.remedies {
            alike::pitch_typed(again.plan, remedy);
            alike::speed_typed(again.plan, remedy);
        }
        let mut enough = sparing && again.plan.accepts(finding).passes();
        for remedy in finding.remedies.iter_mut().filter(|r| r.verified) {
            let Some(change) = change(again.plan, remedy) else { continue };
            if enough {
                remedy.verified = false;
                continue;
            }
            // What the plan alone shows to be no better needs no drawing.
            let brings = |plan: &Plan| {
                let found = judging::of_the_plan(plan);
                found.iter().any(|f| Worse::than(&before, *f).is_some()).then_some(found)
            };
            let planned = again.plan.with(change).ok();
            let at_once = planned.as_ref().and_then(brings);
            // What cannot be carried through was refused by the machine, or the person wants the work to end.
            let after = at_once.or_else(|| carried(again, planned?, left_out, change));
            let Some(after) = after else {
                remedy.verified = false;
                continue;
            };
            let mut brought: Vec<Worse> = after.iter().filter_map(|f| Worse::than(&before, *f)).collect();
            brought.dedup();
            if !brought.is_empty() {
                let then: Vec<String> = brought.iter().map(Worse::in_words).collect();
                remedy.text.push(text!(
                    "pipeline.checked.but-then",
                    findings = then.join(text!("pipeline.checked.and"))
                ));
            }
            remedy.verified = brought.is_empty() && after.iter().all(|(n, _)| *n != name);
            enough = sparing && remedy.verified;
        }
        // These are worth a word only where they are known to help.
        finding.remedies.retain(|r| r.verified || ![WHOLE_PITCH, "levels"].contains(&r.change));
        finding.remedies.sort_by_key(|r| !r.verified);
    }
}

/// The findings that a person must look at.
fn serious(findings: &[Finding]) -> Vec<Named> {
    findings.iter().filter(|f| f.severity >= Severity::Caution).map(|f| (f.name, f.severity)).collect()
}

/// What a change makes worse.
#[derive(PartialEq)]
enum Worse {
    /// A finding of this name is new.
    New(&'static str),
    /// One that was a caution is a stop.
    Stop(&'static str),
}

impl Worse {
    /// What makes a finding worse than all of its name that were there `before`; `None` where nothing does.
    fn than(before: &[Named], (name, severity): Named) -> Option<Worse> {
        match before.iter().filter(|(n, _)| *n == name).map(|(_, s)| *s).max() {
            None => Some(Worse::New(name)),
            Some(then) => (severity > then).then_some(Worse::Stop(name)),
        }
    }

    fn in_words(&self) -> String {
        match self {
            Worse::New(name) => in_words(name).to_string(),
            Worse::Stop(name) => text!("pipeline.checked.stop", finding = in_words(name)),
        }
    }
}

/// The change that a remedy asks for; `None` for one that asks for other art, another place or another file.
fn change(plan: &Plan, remedy: &Remedy) -> Option<Change> {
    let rated = plan.process.rated_power.value.0;
    Some(match remedy.change {
        "power" => Change::Power(Watts(rated * remedy.value / 100.0)),
        "speed" => Change::Speed(MmPerS(remedy.value)),
        "pitch" => Change::Pitch(Mm(remedy.value)),
        WHOLE_PITCH => Change::WholePitch,
        "ceiling" => Change::Ceiling(Share(remedy.value / 100.0)),
        "levels" => Change::Levels(Share(remedy.value / 100.0)),
        _ => return alike::change(plan, remedy),
    })
}

/// What is serious in `plan`, the job with a change; nothing where it cannot be carried through.
fn carried(again: &Again<'_>, plan: Plan, left_out: &LeftOut, change: Change) -> Option<Vec<Named>> {
    let quiet = &again.progress;
    let mut found = Vec::new();
    let (stages, detail) = match again.source {
        Source::Shown(shown) => {
            let wanted = again.wanted(&plan, shown)?;
            found.extend(judging::of_the_wanted(&plan, shown, &wanted));
            let left_out = match again.moves_dots(&plan) {
                true => wanted.left_out(&Drawable::of(&plan), shown, quiet).ok()?,
                false => left_out.clone(),
            };
            carry(&plan, shown, (wanted, left_out), ("", Vec::new()), quiet).ok()?
        }
        Source::Dots(dots) if change.keeps_dots() => judged(&plan, dots.clone(), "", quiet).ok()?,
        Source::Dots(_) => return None,
    };
    found.extend(judging::of_the_job(&plan, again.source, &stages, &detail));
    let mut named = serious(&found);
    named.extend(judging::of_the_burn(&plan, &stages));
    Some(named)
}
