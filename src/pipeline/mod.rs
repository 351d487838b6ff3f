//! The recipe: a plan and art in, an outcome out, stage by stage. No file and no clock inside.

mod again;
mod checked;
pub mod compare;
mod error;
mod foresee;
mod judging;
mod laid;
mod outcome;
mod read;
mod readings;
mod shares;
mod wanted;

pub use error::PipelineError;
pub use laid::{Laid, dots};
pub use outcome::{Outcome, Stages};
pub use wanted::{Wanted, wanted};

use crate::art::{self, Art};
use crate::findings::art as of_art;
use crate::findings::detail::Detail;
use crate::job::Plan;
use crate::job::words::ToneBy;
use crate::placement;
use crate::plane::Dots;
use crate::progress::Progress;
use crate::proof::layout::MOST_PIXELS;
use crate::proof::{facts, words};
use again::Source;
use shares::Shares;

/// Carries a plan through. `name` is the art's name for the report.
///
/// # Errors
/// See [`PipelineError`]; [`PipelineError::Stopped`] where the person asked for it.
pub fn run(plan: &Plan, art: &Art, name: &str, progress: &dyn Progress) -> Result<Outcome, PipelineError> {
    let wanted = wanted(plan, art, progress)?;
    let (placement, mean) = (wanted.placement, (wanted.mean(plan), laid::reachable(plan, &wanted)));
    let about_art = facts::art_facts(art, name, &wanted.reading);
    let (reading, around) = (wanted.reading.clone(), wanted.around);
    let read = wanted.kind;
    let (kind, left_out) = (Some(read), wanted.left_out(plan, art, progress)?);
    let mut notes = [art.notes(), &wanted.notes].concat();
    if plan.scan.tone_by == ToneBy::Power {
        notes.push(words::BY_POWER.to_string());
    }
    notes.extend(plan.curve_elsewhere(plan.dots.screen.name).map(words::curve_elsewhere));
    let laid = Laid::new(plan, wanted, progress)?;
    let seen = foresee::foresee(plan, &placement, &laid, MOST_PIXELS, name, progress)?;
    let lost = seen.lost;
    let stages = Stages::new(placement, mean, laid, seen, kind, left_out, notes);
    progress.begin("findings", Shares::of_job(plan).findings)?;
    let blurred = Wanted::blurred(plan, art, (read, &stages.placement), &stages.dots, progress)?;
    let detail = Detail { lost, blurred };
    let mut findings = judging::findings(plan, Source::Art(art), &stages, &detail, progress);
    judging::add(&mut findings, around.and_then(|a| of_art::sheet_edge(&a)));
    let readings = readings::unsure(plan, art, &reading, &stages.dots, progress)?;
    judging::add(&mut findings, readings.as_ref().map(|r| of_art::reading_unsure(&reading, r.second.kind)));
    progress.go_on(0)?;
    let report = facts::report(plan, about_art, &stages.found(), &findings);
    let original = Some(art::likeness(art)?);
    Ok(Outcome { stages, findings, report, original, readings })
}

/// Judges dots that something else made: they lie in the middle of the blank.
///
/// # Errors
/// See [`PipelineError`]; [`PipelineError::Stopped`] where the person asked for it.
pub fn judge(plan: &Plan, dots: Dots, name: &str, progress: &dyn Progress) -> Result<Outcome, PipelineError> {
    let placement = placement::of_dots(&plan.blank, plan.grid, dots.width(), dots.height());
    let about_art = facts::art_facts_of_dots(name, dots.width(), dots.height());
    let (mean, laid) = ((dots.coverage(), None), Laid::given(dots));
    let seen = foresee::foresee(plan, &placement, &laid, MOST_PIXELS, name, progress)?;
    let stages = Stages::new(placement, mean, laid, seen, None, 0.0, Vec::new());
    progress.begin("findings", Shares::of_job(plan).findings)?;
    let findings = judging::findings(plan, Source::Dots(&stages.dots), &stages, &Detail::default(), progress);
    progress.go_on(0)?;
    let report = facts::report(plan, about_art, &stages.found(), &findings);
    Ok(Outcome { stages, findings, report, original: None, readings: None })
}
