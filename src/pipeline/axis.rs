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
use crate::units::Mm;

/// Times both axes on what is marked in squares of the line pitch, so that no finer switching along one of them counts; `None`
/// where the other one is no clear saving, and for photos and pieces that are turned, whose lines lie as they have to.
pub(super) fn other_axis(plan: &Plan, stages: &Stages) -> Option<Finding> {
    let drawn = stages.kind.is_some_and(|kind| kind.is_drawn());
    if !drawn || plan.scan.tone_by != ToneBy::Dots || plan.blank.shape.turned().is_some() {
        return None;
    }
    let whole = stages.program.written.estimate.times.total();
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
    let (wide, high) = plan.switched();
    let (columns, rows) = ((rect.columns / wide).max(1), (rect.rows / high).max(1));
    let mut dots = Dots::off(columns, rows);
    for y in 0..rows {
        for x in 0..columns {
            let own = x * wide..((x + 1) * wide).min(rect.columns);
            let mut down = y * high..((y + 1) * high).min(rect.rows);
            if down.any(|y| own.clone().any(|x| stages.dots.get(x, y))) {
                dots.set(x, y, true);
            }
        }
    }
    let times = |pitch: Mm, times: usize| Mm(pitch.0 * times as f64);
    let grid = Grid { along: times(rect.grid.along, wide), across: times(rect.grid.across, high) };
    let rect = DotRect { columns, rows, grid, ..rect };
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
        outcome.findings.into_iter().find(|f| f.name == "other-axis").map(|f| f.message.to_string())
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
