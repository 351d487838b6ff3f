//! The pictures of a piece: each is drawn and encoded by itself, several at once.

use super::{Case, FileFacts, JobFile, WriteError, files, put};
use crate::encode::sink::Sink;
use crate::findings::Severity;
use crate::job::Plan;
use crate::parallel;
use crate::pipeline::Outcome;
use crate::progress::Progress;
use crate::proof::canvas::Picture;
use crate::proof::close_up::close_up;
use crate::proof::legend::stack;
use crate::proof::loupe;
use crate::proof::picture::{self, Scene};
use crate::proof::{customer, cut, density, readings, round, ticket};
use crate::texts::text;

/// A picture and its file.
struct Drawn {
    file: &'static JobFile,
    picture: Picture,
    png: Vec<u8>,
}

/// The pictures of a piece, in the order of their files.
pub(super) struct Pictures {
    proof: Drawn,
    density: Drawn,
    round: Option<Drawn>,
    /// The cut of a cone, an SVG.
    cut: Option<String>,
    customer: Option<Drawn>,
    loupe: Option<Drawn>,
    readings: Option<Drawn>,
}

/// What is drawn around a look.
fn scene<'a>(plan: &'a Plan, outcome: &'a Outcome, spots: &'a [(f64, f64)]) -> Scene<'a> {
    Scene {
        blank: &plan.blank,
        surface: plan.surface,
        rect: &outcome.stages.placement.rect,
        y_unmarked: plan.burn.response.y_unmarked,
        y_marked: plan.burn.response.y_marked,
        footing: plan.process.footing(),
        spots,
    }
}

/// What draws one of them; `None` where the job has none of its kind.
type Draws<'a> = &'a (dyn Fn() -> Result<Option<Drawn>, WriteError> + Sync);

/// Draws and encodes proof, customer's picture, density, loupe and readings; may be ended between them.
///
/// # Errors
/// When one cannot be drawn or encoded, or when `progress` ends the work.
pub(super) fn drawn(
    &Case { plan, outcome, loupe_at }: &Case<'_>,
    progress: &dyn Progress,
) -> Result<Pictures, WriteError> {
    let stages = &outcome.stages;
    let layout = &stages.layout;
    let spots: Vec<(f64, f64)> =
        outcome.findings.iter().filter(|f| f.severity > Severity::Note).filter_map(|f| f.at_mm).collect();
    let scene_at = scene(plan, outcome, &spots);
    let scene = &scene_at;
    let proof = || {
        let picture = picture::ringed(scene, layout, &stages.look)?;
        let png = picture::with_legend(&picture, scene, layout)?.to_png(Some(layout.pixel))?;
        Ok(Some(Drawn { file: &files::FORECAST, picture, png }))
    };
    let round = || {
        let Some(mantle) = plan.blank.shape.turned() else { return Ok(None) };
        let picture = round::views(scene, layout, &stages.look, &mantle, layout.width)?;
        let png = picture.to_png(None)?;
        Ok(Some(Drawn { file: &files::ROUND, picture, png }))
    };
    let customer = || {
        let Some(original) = &outcome.original else { return Ok(None) };
        let original = original.turned(plan.art.turn, false);
        let picture = customer::customer(&original, scene, layout, &stages.look, plan.art.mirror)?;
        let png = picture.to_png(None)?;
        Ok(Some(Drawn { file: &files::CUSTOMER, picture, png }))
    };
    let density = || {
        let dose = (!stages.dose.is_empty()).then_some(stages.dose.as_slice());
        let picture = density::density(scene, layout, &stages.dots, dose)?;
        let png = picture.to_png(Some(layout.pixel))?;
        Ok(Some(Drawn { file: &files::DENSITY, picture, png }))
    };
    let loupe = || {
        let Some(place) = loupe_at else { return Ok(None) };
        let picture = loupe_picture(plan, outcome, scene, place)?;
        let png = picture.to_png(None)?;
        Ok(Some(Drawn { file: &files::LOUPE, picture, png }))
    };
    let readings = || {
        let Some(readings) = &outcome.readings else { return Ok(None) };
        let picture = readings::picture(&self::scene(plan, outcome, &[]), readings)?;
        let png = picture.to_png(None)?;
        Ok(Some(Drawn { file: &files::READINGS, picture, png }))
    };
    let all: [Draws; 6] = [&customer, &proof, &density, &round, &readings, &loupe];
    progress.expect(all.len() as u64);
    let mut done = parallel::map(all.len(), |i| {
        progress.go_on(0)?;
        let drawn = all[i]();
        progress.go_on(1)?;
        drawn
    })
    .into_iter();
    let mut next = || done.next().unwrap_or(Ok(None));
    let (customer, proof, density) = (next()?, next()?, next()?);
    let (round, readings, loupe) = (next()?, next()?, next()?);
    // Every piece has these two.
    let missing = || WriteError::Words(text!("outputs.why.no-picture").into());
    let (mut proof, density) = (proof.ok_or_else(missing)?, density.ok_or_else(missing)?);
    // On the ticket a round piece is seen from its sides and unrolled.
    if let Some(round) = &round {
        proof.picture = stack(&round.picture, &proof.picture);
    }
    let cut = cut::cut(scene, layout, &stages.look)?;
    Ok(Pictures { proof, density, round, cut, customer, loupe, readings })
}

impl Pictures {
    /// Puts them into a sink and notes their files.
    pub(super) fn put(
        &self,
        plan: &Plan,
        output: &mut dyn Sink,
        written: &mut Vec<FileFacts>,
    ) -> Result<(), WriteError> {
        let all = [Some(&self.proof), self.round.as_ref(), self.customer.as_ref(), Some(&self.density)];
        for d in all.into_iter().chain([self.loupe.as_ref(), self.readings.as_ref()]).flatten() {
            put(output, written, plan, d.file, &d.png)?;
        }
        if let Some(cut) = &self.cut {
            put(output, written, plan, &files::CUT, cut.as_bytes())?;
        }
        Ok(())
    }

    /// Those that stand on the ticket.
    pub(super) fn for_the_ticket(&self) -> ticket::Pictures<'_> {
        ticket::Pictures {
            proof: &self.proof.picture,
            density: &self.density.picture,
            loupe: self.loupe.as_ref().map(|d| &d.picture),
        }
    }
}

/// Side of the loupe's window, mm.
const LOUPE_SIDE: f64 = 6.0;

fn loupe_picture(
    plan: &Plan,
    outcome: &Outcome,
    scene: &Scene,
    place: (f64, f64),
) -> Result<Picture, WriteError> {
    let window = loupe::window(scene, place, LOUPE_SIDE)?;
    let look = close_up(&plan.burn, &outcome.stages.dots, &window);
    Ok(loupe::loupe(scene, &outcome.stages.dots, &window, &look)?)
}
