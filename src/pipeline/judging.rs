//! Judging: what is worth saying of a job, family by family.

use super::again::{Again, Source};
use super::outcome::Stages;
use crate::art::Art;
use crate::findings::{
    Finding, art as of_art, burn, detail, lines as of_lines, machine as of_machine, motion,
};
use crate::job::Plan;
use crate::mark::Lost;
use crate::progress::Progress;
use crate::units::{Mm, MmPerS};

/// All findings of a job, the most serious first.
pub(super) fn findings(
    plan: &Plan,
    source: Source<'_>,
    stages: &Stages,
    lost: Option<&Lost>,
    progress: &dyn Progress,
) -> Vec<Finding> {
    let mut all = match source {
        Source::Art(art) => art_findings(plan, art, stages),
        Source::Dots(_) => Vec::new(),
    };
    let rect = &stages.placement.rect;
    all.extend(lost.and_then(|lost| detail::detail_below_beam(lost, &plan.burn, rect, &plan.blank)));
    all.extend(burn_findings(plan, source, stages, progress));
    all.extend(machine_findings(plan, stages));
    all.sort_by_key(|f| std::cmp::Reverse(f.severity));
    all
}

/// Findings about the art.
fn art_findings(plan: &Plan, art: &Art, stages: &Stages) -> Vec<Finding> {
    let p = &stages.placement;
    let Some((w, h)) = art.pixels() else { return Vec::new() };
    let crop = plan.art.crop.window();
    let (mut w, mut h) = (w as f64 * crop.width(), h as f64 * crop.height());
    if plan.art.turn.swaps() {
        std::mem::swap(&mut w, &mut h);
    }
    let shown = (w * p.window.width(), h * p.window.height());
    let rect = &p.rect;
    of_art::coarse_art(shown, (rect.columns, rect.rows), Mm(rect.width())).into_iter().collect()
}

/// Findings about place, lines, motion and machine.
fn machine_findings(plan: &Plan, stages: &Stages) -> Vec<Finding> {
    let mut all = Vec::new();
    let p = &stages.placement;
    let process = &plan.process;
    let beam = process.beam.value;
    let radius = Mm(beam.along.0.max(beam.across.0) / 2.0);
    let fitting = Mm((p.wished_width.0 - 2.0 * p.past_margin.0).max(0.0));
    let motion_of = &plan.machine.motion;
    let tolerance = motion_of.placement_tolerance;
    all.extend(of_art::past_margin(p.past_margin, plan.blank.margin, tolerance, radius, fitting));
    let (setting, response) = (process.setting(), process.response());
    let steps_per_mm = plan.machine.axes(setting.lines).1.steps_per_mm;
    let (_, across) = setting.lines.swap((p.rect.width(), p.rect.height()));
    all.extend(of_lines::apart(beam, &setting, &response, steps_per_mm));
    all.extend(of_lines::crowded(beam, setting.pitch_across, steps_per_mm));
    all.extend(of_machine::step_beat(setting.pitch_across, steps_per_mm, Mm(across)));
    if let Some(p) = &stages.program {
        all.extend(motion::all(&p.raster, p.marking(&stages.dots), &p.written));
    }
    let least = plan.coating.start.least_power;
    all.extend(of_machine::weak_laser(process.rated_power.value, least, &plan.coating.name));
    all.extend(of_machine::assumed(&process.assumed()));
    all
}

/// Findings from the forecast; what would mend them is tried on the job carried through again.
fn burn_findings(plan: &Plan, source: Source<'_>, stages: &Stages, progress: &dyn Progress) -> Vec<Finding> {
    let Some(sums) = &stages.sums else { return Vec::new() };
    let process = &plan.process;
    let again = Again::new(plan, source, progress);
    let (along, across) = plan.machine.axes(process.lines);
    let case = burn::Case {
        dots: &stages.dots,
        rect: &stages.placement.rect,
        blank: &plan.blank,
        beam: process.beam.value,
        setting: process.setting(),
        response: process.response(),
        rated_power: process.rated_power.value,
        top_speed: MmPerS(along.top_speed),
        steps_per_mm: across.steps_per_mm,
        remake: &|change| again.with(change),
        progress,
    };
    [burn::over_burn(&case, sums), burn::under_burn(&case, sums)].into_iter().flatten().collect()
}
