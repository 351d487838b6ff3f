//! Axis: whether the lines of a drawing would better run along the other axis.

use super::foresee::raster_along;
use super::outcome::Stages;
use crate::findings::{Finding, axis};
use crate::job::Plan;
use crate::job::words::ToneBy;
use crate::placement::{Along, DotRect, Grid, Placement};
use crate::plane::Dots;
use crate::progress::Silent;
use crate::scan::lines::Marking;
use crate::scan::program::Program;

/// Times both axes on what is marked in squares of the line pitch, so that no finer switching along one of them counts; `None`
/// where the other one is no clear saving, and for photos and pieces that are turned, whose lines lie as they have to.
pub(super) fn other_axis(plan: &Plan, stages: &Stages) -> Option<Finding> {
    let drawn = stages.kind.is_some_and(|kind| kind.is_drawn());
    if !drawn || plan.scan.tone_by != ToneBy::Dots || plan.blank.shape.turned().is_some() {
        return None;
    }
    let whole = stages.program.as_ref()?.written.estimate.times.total();
    let (dots, placement) = squares(plan, stages);
    let other = plan.scan.lines.turned();
    let seconds = |along: Along| -> Option<f64> {
        let marking = Marking::Dots(&dots);
        let raster = raster_along(plan, &placement, along).ok()?.ordered(marking);
        let cost = Program::of_raster(raster, marking, Vec::new()).measure(&Silent).ok()?;
        Some(cost.estimate.times.total())
    };
    let (here, there) = crate::parallel::both(|| seconds(plan.scan.lines), || seconds(other));
    axis::other_axis(other, (here?, there?), whole)
}

/// What is marked, in squares of the wider pitch.
fn squares(plan: &Plan, stages: &Stages) -> (Dots, Placement) {
    let rect = stages.placement.rect;
    let switches = plan.dots.options.switches.max(1) as usize;
    let columns = (rect.columns / switches).max(1);
    let mut dots = Dots::off(columns, rect.rows);
    for y in 0..rect.rows {
        for x in 0..columns {
            let own = x * switches..((x + 1) * switches).min(rect.columns);
            if own.clone().any(|i| stages.dots.get(i, y)) {
                dots.set(x, y, true);
            }
        }
    }
    let grid =
        Grid { along: crate::units::Mm(rect.grid.along.0 * switches as f64), across: rect.grid.across };
    let rect = DotRect { columns, grid, ..rect };
    (dots, Placement { rect, ..stages.placement })
}

#[cfg(test)]
mod tests {
    use crate::art;
    use crate::job::Job;
    use crate::pipeline;
    use crate::progress::Silent;

    fn hint(body: &str) -> Option<String> {
        let svg = format!("<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 60 60'>{body}</svg>");
        let job: Job = "blank = { shape = 'rect:60x60mm', margin = '2mm' }".parse().unwrap();
        let plan = crate::job::Plan::of(&job).unwrap();
        let art = art::open(svg.as_bytes(), "'posts.svg'").unwrap();
        let outcome = pipeline::run(&plan, &art, "posts.svg", &Silent).unwrap();
        outcome.findings.into_iter().find(|f| f.name == "other-axis").map(|f| f.message)
    }

    #[test]
    fn posts_are_better_marked_along_their_length() {
        let posts: String =
            (0..5).map(|i| format!("<rect x='{}' y='2' width='1' height='56'/>", 4 + 12 * i)).collect();
        assert!(
            hint(&posts).is_some_and(|m| m.starts_with("lines along y would take about")),
            "{:?}",
            hint(&posts)
        );
        let beams: String =
            (0..5).map(|i| format!("<rect y='{}' x='2' height='1' width='56'/>", 4 + 12 * i)).collect();
        assert_eq!(hint(&beams), None);
    }
}
