//! The recipe: a plan and art in, an outcome out, stage by stage. No file and no clock inside.

mod again;
mod alike;
mod axis;
mod bare_strip;
mod bars;
mod carry;
mod checked;
mod codes;
pub mod compare;
mod drawable;
mod error;
mod foresee;
mod judging;
mod laid;
mod laid_round;
mod layers;
mod left_out;
mod likely;
mod off_middle;
mod outcome;
mod pace;
mod past_margin;
mod read;
mod readings;
mod shares;
mod shown;
pub mod tray;
mod wanted;

pub use drawable::Drawable;
pub use error::PipelineError;
pub use judging::{of_the_lines, of_the_process};
pub use laid::{dots, times};
pub use layers::{Layer, SharedLayers, layers};
pub use outcome::Outcome;
pub use pace::{LADDER, Pace, WORTH_A_RUNG, asking_for};
pub use shown::{Shown, wanted};
pub use wanted::{Wanted, placed};

use crate::art::{self, Art};
use crate::findings::art as of_art;
use crate::job::Plan;
use crate::job::words::{Crop, ToneBy};
use crate::note::Note;
use crate::placement::{Place, Placement};
use crate::plane::Dots;
use crate::progress::Progress;
use crate::proof::{facts, words};
use again::Source;

/// Carries a plan of one picture through. `name` is the art's name for the report.
///
/// # Errors
/// See [`PipelineError`]; [`PipelineError::Stopped`] where the person asked for it.
pub fn run(plan: &Plan, art: &Art, name: &str, progress: &dyn Progress) -> Result<Outcome, PipelineError> {
    run_shown(plan, Shown::Art(art), name, progress)
}

/// Carries a plan through, of one picture or of layers.
///
/// # Errors
/// As [`run`].
pub fn run_shown(
    plan: &Plan,
    shown: Shown<'_>,
    name: &str,
    progress: &dyn Progress,
) -> Result<Outcome, PipelineError> {
    let wanted = wanted(plan, shown, progress)?;
    let about_art = match shown {
        Shown::Art(art) => facts::art_facts(art, name, &wanted.reading),
        Shown::Layers(layers) => facts::art_facts_of_layers(layers.len(), name, &wanted.reading),
    };
    let reading = wanted.reading.clone();
    let mut others = judging::of_the_wanted(plan, shown, &wanted);
    others.extend(off_middle::off_middle(plan, shown, &wanted));
    let left_out = wanted.left_out(&Drawable::of(plan), shown, progress)?;
    let mut notes: Vec<Note> = shown.arts().flat_map(|art| art.notes().iter().cloned()).collect();
    notes.extend(wanted.notes.iter().cloned());
    notes.extend(scaled(plan, shown, &wanted.placement));
    if plan.scan.tone_by == ToneBy::Power {
        notes.push(Note::fact(words::by_power()));
    }
    let elsewhere = plan.curve_elsewhere(plan.dots.screen.name);
    notes.extend(elsewhere.map(|curve| Note::fact(words::curve_elsewhere(curve))));
    let judge =
        (plan.scan.tone_by == ToneBy::Dots).then(|| likely::judge(plan, &wanted.tone, &wanted.placement));
    let codes = codes::seen(plan, shown, &wanted, progress)?;
    others.extend(bars::findings(plan, shown, &wanted, progress));
    let (mut stages, detail) = carry::carry(plan, shown, (wanted, left_out), (name, notes), progress)?;
    others.extend(codes::findings(plan, &codes, &stages.dots, &stages.placement.rect));
    stages.likely = judge.map(|judge| likely::likely(plan, &judge, &stages.dots));
    others.extend(axis::other_axis(plan, &stages));
    let readings = match shown.alone() {
        Some(art) => readings::unsure(plan, art, &reading, &stages.dots, progress)?,
        None => None,
    };
    others.extend(readings.as_ref().map(|r| of_art::reading_unsure(&reading, r.second.kind)));
    let findings = judging::findings(plan, Source::Shown(shown), (&stages, &detail), others, progress);
    progress.go_on(0)?;
    let report = facts::report(plan, about_art, &stages.found(), &findings);
    let original = shown.own_picture(plan).map(art::likeness).transpose()?;
    Ok(Outcome { stages, findings, report, original, readings })
}

/// A drawing may differ so much from the size that it states before that is told.
const AS_STATED: f64 = 0.02;

/// What is told of a drawing that states its size and is to be as large as fits.
fn scaled(plan: &Plan, shown: Shown<'_>, placement: &Placement) -> Option<Note> {
    let Art::Vector(drawing) = shown.alone()? else { return None };
    let (width, height) = drawing.stated_mm()?;
    let (width, height) = if plan.art.turn.swaps() { (height, width) } else { (width, height) };
    let times = placement.wished_height.0 / height;
    let whole = plan.art.place == Place::Inside && plan.art.crop == Crop::WHOLE;
    (whole && (times - 1.0).abs() > AS_STATED).then(|| words::scaled((width, height), times))
}

/// Judges dots that something else made: they lie in the middle of the blank.
///
/// # Errors
/// See [`PipelineError`]; [`PipelineError::Stopped`] where the person asked for it.
pub fn judge(plan: &Plan, dots: Dots, name: &str, progress: &dyn Progress) -> Result<Outcome, PipelineError> {
    let about_art = facts::art_facts_of_dots(name, dots.width(), dots.height());
    let (stages, detail) = carry::judged(plan, dots, name, progress)?;
    let source = Source::Dots(&stages.dots);
    let findings = judging::findings(plan, source, (&stages, &detail), Vec::new(), progress);
    progress.go_on(0)?;
    let report = facts::report(plan, about_art, &stages.found(), &findings);
    Ok(Outcome { stages, findings, report, original: None, readings: None })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::art::open;
    use crate::job::Job;
    use crate::progress::Silent;

    #[test]
    fn a_drawing_in_millimetres_that_is_made_as_large_as_fits_says_how_much_larger_it_becomes() {
        let notes = |size: &str, more: &str| -> Vec<String> {
            let text = format!(
                "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 10 5' {size}><rect width='10' height='5'/></svg>"
            );
            let job = format!("blank = {{ shape = 'rect:30x20mm', margin = '5mm'{more} }}");
            let plan = Plan::of(&job.parse::<Job>().unwrap()).unwrap();
            let outcome = run(&plan, &open(text.as_bytes(), "it").unwrap(), "it.svg", &Silent).unwrap();
            outcome.report.notes.iter().map(|n| n.says.to_string()).collect()
        };
        let told = |notes: &[String]| notes.iter().any(|n| n.starts_with("The drawing says"));
        let larger = notes("width='10mm' height='5mm'", "");
        let wanted = "The drawing says 10 x 5 mm and becomes 2 times as large here; for its true size say --place 10x5mm.";
        assert!(larger.iter().any(|n| n == wanted), "{larger:?}");
        let smaller = notes("width='40mm' height='20mm'", "");
        assert!(told(&smaller) && !smaller.iter().any(|n| n.contains("--place 40")), "{smaller:?}");
        for (size, more) in [
            ("", ""),
            ("width='20mm' height='10mm'", ""),
            ("width='10mm' height='5mm'", ", place = '16x8mm'"),
        ] {
            assert!(!told(&notes(size, more)), "{size} {more}");
        }
    }
}
