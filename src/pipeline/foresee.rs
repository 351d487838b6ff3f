//! Foresee: the forecast and the scan program of what is laid down, for every command that needs them.

use super::error::PipelineError;
use super::laid::Laid;
use super::shares::Shares;
use crate::job::Plan;
use crate::mark::{Blocks, Forecast, Lost, Sums, Totals, Wish, by_power, walk};
use crate::parallel;
use crate::placement::{Along, Placement};
use crate::progress::{Progress, Stopped};
use crate::proof::layout::{Layout, Look};
use crate::proof::words;
use crate::scan::comments::can_say;
use crate::scan::limits::LimitsError;
use crate::scan::program::{Cost, Notes, Program};
use crate::scan::raster::{RasterPath, Scan};
use crate::texts::{self, text};

/// What is foreseen.
#[derive(Debug, Clone)]
pub(super) struct Foreseen {
    /// How the piece is drawn.
    pub layout: Layout,
    /// The look of the piece, in the samples of `layout`.
    pub look: Look,
    /// Greatest exposure of each sample, relative to the one at which over-burn begins; empty where the
    /// coating never chars.
    pub dose: Vec<f32>,
    /// What the forecast comes to.
    pub totals: Totals,
    /// The sums by which a burn of dots is judged.
    pub sums: Option<Sums>,
    /// The detail of a drawing that is lost.
    pub lost: Option<Lost>,
    /// Lines, run-up and speed of the scan program.
    pub raster: RasterPath,
    /// What the scan program says of itself.
    pub notes: Notes,
    /// How long, large and dense the scan program will be.
    pub written: Cost,
}

/// Sentences for a program's comments: those in English that a comment, which has plain letters alone, could not spell in
/// the language of the page.
fn spelt(say: impl Fn() -> Vec<String>) -> Vec<String> {
    let own = say();
    let english = texts::in_english(&say);
    own.into_iter().zip(english).map(|(own, english)| if can_say(&own) { own } else { english }).collect()
}

/// Forecasts what is laid down and measures its scan program, in one walk over the dots each and both at
/// once. `most` is the longest side of the picture, pixels.
pub(super) fn foresee(
    plan: &Plan,
    placement: &Placement,
    laid: &Laid,
    most: usize,
    name: &str,
    progress: &dyn Progress,
) -> Result<Foreseen, PipelineError> {
    let shares = Shares::of_job(plan);
    progress.begin(text!("pipeline.stage.forecast"), shares.forecast + shares.program)?;
    let layout = Layout::new(&plan.blank, &placement.rect, most);
    let sides = (layout.step_along, layout.step_across);
    let raster = raster(plan, placement)?.ordered(laid.marking());
    let notes = Notes {
        job: name.to_string(),
        settings: spelt(|| words::settings(plan)),
        cautions: spelt(|| words::cautions(&plan.machine, &plan.coating, plan.surface)),
    };
    // Nothing is stored, so nothing can fail but a request to stop.
    let program = Program::of_raster(raster.clone(), laid.marking(), notes.of_raster(&raster));
    let measure = || program.measure(progress).map_err(|_| Stopped);
    let (seen, written) = parallel::both(|| forecast(plan, laid, sides, progress), measure);
    let ((blocks, totals, sums, lost), written) = (seen?, written?);
    let (look, dose) = pictured(blocks);
    Ok(Foreseen { layout, look, dose, totals, sums, lost, raster, notes, written })
}

type Forecasted = (Blocks, Totals, Option<Sums>, Option<Lost>);

fn forecast(
    plan: &Plan,
    laid: &Laid,
    blocks: (usize, usize),
    progress: &dyn Progress,
) -> Result<Forecasted, Stopped> {
    if let Some(p) = &laid.powers {
        let (blocks, totals) = by_power(&plan.burn, &p.tone, &p.levels, p.full, blocks);
        return Ok((blocks, totals, None, None));
    }
    let wish = Wish { blocks, ink: laid.ink.as_ref() };
    let seen = walk(&Forecast::new(&plan.burn), &laid.dots, wish, progress)?;
    Ok((seen.blocks, seen.sums.totals, Some(seen.sums), seen.lost))
}

/// A forecast by blocks as a picture shows it, and its exposures.
pub(super) fn pictured(blocks: Blocks) -> (Look, Vec<f32>) {
    let look = Look {
        columns: blocks.columns,
        rows: blocks.rows,
        step_along: blocks.along as f64,
        step_across: blocks.across as f64,
        luminance: blocks.look,
        over_burn: blocks.charred,
    };
    (look, blocks.dose)
}

/// The lines of a plan's dots, in rows.
pub(super) fn raster(plan: &Plan, placement: &Placement) -> Result<RasterPath, LimitsError> {
    raster_along(plan, placement, plan.scan.lines)
}

/// The same along the axis that is named.
pub(super) fn raster_along(
    plan: &Plan,
    placement: &Placement,
    along: Along,
) -> Result<RasterPath, LimitsError> {
    let p = &plan.process;
    let mut scan = Scan::new(p.speed.value.0, p.power.value.0);
    scan.ways = plan.scan.ways;
    scan.along = along;
    scan.passes = p.passes.value;
    scan.run_up = plan.scan.run_up.map(|r| r.0);
    scan.trim = plan.scan.trim.0;
    RasterPath::new(&plan.machine.limits(), scan, placement.rect, plan.blank)
}
