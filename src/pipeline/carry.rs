//! Carry: a wanted mark carried through to dots, forecast and scan program, for the job itself and for what would mend it.

use super::error::PipelineError;
use super::foresee::foresee;
use super::laid::{self, Laid};
use super::left_out::LeftOut;
use super::outcome::Stages;
use super::pace::Pace;
use super::shares::Shares;
use super::shown::Shown;
use super::wanted::Wanted;
use crate::art::Kind;
use crate::findings::detail::Detail;
use crate::job::Plan;
use crate::note::Note;
use crate::parallel;
use crate::placement;
use crate::plane::Dots;
use crate::progress::Progress;
use crate::proof::layout::MOST_PIXELS;
use crate::proof::words;
use crate::texts::text;

/// Carries `wanted`, which was made from what is `shown`, through; `left_out` is what of it has no dots.
///
/// # Errors
/// See [`PipelineError`]; [`PipelineError::Stopped`] where the person asked for it.
pub(super) fn carry(
    plan: &Plan,
    shown: Shown<'_>,
    (wanted, left_out): (Wanted, LeftOut),
    (name, mut notes): (&str, Vec<Note>),
    progress: &dyn Progress,
) -> Result<(Stages, Detail), PipelineError> {
    let (placement, kind) = (wanted.placement, wanted.kind);
    let mean = (wanted.mean(plan), laid::reachable(plan, &wanted));
    let exact =
        kind == Kind::Drawing && shown.arts().all(|a| a.pixels().is_none() && a.picture_within().is_none());
    let laid = Laid::new(plan, (wanted, exact), progress)?;
    // What runs together is looked for while the forecast and the scan program are walked through.
    let (seen, blurred) = parallel::both(
        || foresee(plan, &placement, &laid, MOST_PIXELS, name, progress),
        || Wanted::blurred(plan, shown, (kind, &placement), &laid.dots, progress),
    );
    let (seen, blurred) = (seen?, blurred?);
    let pace = laid.pace;
    if pace != Pace::ALL_LINES {
        let lasts = seen.written.estimate.times.total();
        notes.push(words::pace(lasts, (pace.time, pace.lost_db), pace.asked, pace.lines_show()));
    }
    let lost = seen.lost;
    let stages = Stages::new(placement, mean, laid, seen, Some(kind), left_out, notes);
    progress.begin(text!("pipeline.stage.findings"), Shares::of_job(plan).findings)?;
    Ok((stages, Detail { lost, blurred, of_photo: kind == Kind::Photo }))
}

/// The same for dots that something else made: they lie in the middle of the blank, those past its margin left out.
///
/// # Errors
/// As [`carry`].
pub(super) fn judged(
    plan: &Plan,
    dots: Dots,
    name: &str,
    progress: &dyn Progress,
) -> Result<(Stages, Detail), PipelineError> {
    let placement::Ready { placement, dots } = placement::of_dots(&plan.blank, plan.grid, dots);
    let (mean, laid) = ((dots.coverage(), None), Laid::given(dots));
    let seen = foresee(plan, &placement, &laid, MOST_PIXELS, name, progress)?;
    let stages = Stages::new(placement, mean, laid, seen, None, LeftOut::default(), Vec::new());
    progress.begin(text!("pipeline.stage.findings"), Shares::of_job(plan).findings)?;
    Ok((stages, Detail::default()))
}
