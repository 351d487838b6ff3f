//! `--search-time`: how many passes of a searching screen fit into a time on this machine. The clock is here; the
//! job file keeps the number, so that the job gives the same bytes wherever it is run again.

use std::time::Instant;

use crate::job::words::ToneBy;
use crate::job::{Brief, Plan};
use crate::note::Note;
use crate::parallel;
use crate::screen::fitted::{self, SearchRate};
use crate::units::counted;

/// Reads a time in seconds, more than none and at most an hour; a closing `s` is taken too.
pub fn parse_seconds(text: &str) -> Result<f64, String> {
    let seconds = text.strip_suffix('s').unwrap_or(text).trim().parse::<f64>();
    seconds
        .ok()
        .filter(|s| *s > 0.0 && *s <= 3600.0)
        .ok_or_else(|| "it is a number of seconds up to 3600, such as 5".into())
}

/// Asks for the passes that the time allows, where the plan's screen searches; what to tell of it, which is noted too.
pub fn ask_for(brief: &mut Brief, plan: &Plan, seconds: f64) -> String {
    let screen = plan.dots.screen;
    let said = if plan.scan.tone_by == ToneBy::Power {
        "tones by power need no search; the search time is not used".to_string()
    } else if screen.searches {
        let shape = plan.blank.printable().unwrap_or(plan.blank.shape);
        let dots = shape.area() / (plan.grid.along.0 * plan.grid.across.0);
        let passes = fitted::passes_within(seconds, dots as usize, parallel::threads(), rate(plan));
        brief.job.dots.effort = Some(passes);
        format!("{} of search, about {seconds} s on this machine", counted(passes.into(), "pass"))
    } else {
        format!("{} does not search; the search time is not used", screen.name)
    };
    brief.notes.push(Note::fact(said.as_str()));
    said
}

/// Times the search of the sample on one thread.
fn rate(plan: &Plan) -> SearchRate {
    let time = |passes| {
        let begun = Instant::now();
        fitted::search_sample(&plan.dots.options, passes);
        begun.elapsed().as_secs_f64()
    };
    // The first passes make most of the changes, the later ones take about the same time each.
    let (one, nine) = parallel::with_threads(1, || (time(1), time(9)));
    SearchRate::from_sample(one, (nine - one) / 8.0)
}
