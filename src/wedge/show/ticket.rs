//! Ticket: how to burn the wedge and photograph it, as a page to print.

use minijinja::{Value, context};

use crate::blank::Surface;
use crate::colour::lstar;
use crate::job::Plan;
use crate::proof::canvas::{Picture, ProofError};
use crate::proof::page::fill;
use crate::proof::report::{Standing, StepFacts};
use crate::proof::sheet::{Sheet, Stated};
use crate::proof::steps::{self, step};
use crate::proof::words;
use crate::units::{MM_PER_INCH, counted, duration, short};
use crate::wedge::draw::Drawing;
use crate::wedge::target::{Comb, Dial, Pattern, Wedge, WedgeKind};

/// The ticket for a wedge drawn under `plan`; `seconds` is the burning time of its program, `picture` how it is
/// expected to look, `said` what to look at before it is burnt.
///
/// # Errors
/// When the template does not fit or the picture has no pixels, which are faults of the program.
pub fn ticket(
    drawing: &Drawing,
    seconds: f64,
    plan: &Plan,
    picture: &Picture,
    said: Vec<String>,
) -> Result<String, ProofError> {
    let w = &drawing.wedge;
    let (standing, expected) = if w.expected.measured {
        (Standing::Measured, "the picture shows what an earlier wedge foretells")
    } else {
        (
            Standing::Assumed,
            "the picture shows what is assumed; your wedge will differ, and that is what it is for",
        )
    };
    let rows = rows(drawing, standing);
    let letters: Vec<Vec<usize>> =
        rows.iter().map(|(name, text)| vec![name.len() + text.chars().count() + 2]).collect();
    let mut cautions = said;
    cautions.extend(words::cautions(&plan.machine, &plan.coating, plan.surface));
    let steps = all_steps(w.kind, plan);
    let sheet = Sheet {
        kind: "Workbench ticket of a wedge",
        title: format!("{} ({})", w.id, w.kind.name()),
        about: format!(
            "Wedge on {}, {}, margin {} · {} · {}, {} at full power",
            words::surface(plan.surface),
            w.blank,
            w.margin,
            w.coating,
            w.machine,
            w.rated_power
        ),
        standing: (standing, expected),
        stopped: None,
        shown: None,
        settings: settings(w, seconds),
        picture,
        picture_title: "What to expect",
        caption: "The wedge after cleaning, as expected. The finder marks in its corners are for the photo."
            .into(),
        steps: &steps,
        cautions: &cautions,
        beside: [letters.clone(), letters],
    };
    let rows: Vec<Value> = rows.into_iter().map(|(name, text)| context! { name, text }).collect();
    fill("wedge-ticket.html", include_str!("ticket.html"), context! { sheet => sheet.values()?, rows })
}

fn rows(drawing: &Drawing, standing: Standing) -> Vec<(&'static str, String)> {
    let w = &drawing.wedge;
    let (e, s) = (&w.expected, &w.fiducials);
    vec![
        ("Patches", patches(w)),
        (
            "Marks and labels",
            format!(
                "{} at {}, {} pass{}: a coating that needs half as much again as {standing} is still marked",
                s.power,
                s.speed,
                s.passes,
                if s.passes == 1 { "" } else { "es" }
            ),
        ),
        (
            "Expected lightness",
            format!("L* {:.0} bare, {:.0} marked ({standing})", lstar(e.y_unmarked), lstar(e.y_marked)),
        ),
        ("Pitch", format!("{} along the lines, {} between them", w.pitch_along, w.pitch_across)),
    ]
}

/// What the program sets by itself, in large figures.
fn settings(w: &Wedge, seconds: f64) -> Vec<Stated> {
    let dials: Vec<Dial> = w
        .patches
        .iter()
        .filter(|p| !p.charred)
        .map(|p| p.dial)
        .chain(w.combs.iter().map(|c| c.dial))
        .collect();
    let range = |of: fn(&Dial) -> f64, decimals: usize, unit: &str| {
        let low = dials.iter().map(of).fold(f64::INFINITY, f64::min);
        let high = dials.iter().map(of).fold(0.0, f64::max);
        let (low, high) = (short(low, decimals), short(high, decimals));
        if low == high { format!("{low} {unit}") } else { format!("{low} to {high} {unit}") }
    };
    let passes = dials.first().map_or(1, |d| d.passes);
    let own = "set by the program";
    vec![
        Stated::new("Power", range(|d| d.power.0 * 100.0, 1, "%"), own.into()),
        Stated::new("Speed", range(|d| d.speed.0, 2, "mm/s"), own.into()),
        Stated::new("Passes", passes.to_string(), "over each line".into()),
        Stated::new(
            "Line pitch",
            format!("{} mm", short(w.pitch_across.0, 4)),
            format!("{} dpi", short(MM_PER_INCH / w.pitch_across.0, 1)),
        ),
        Stated::new("Time", duration(seconds), "with all turns".into()),
    ]
}

/// How the blank is laid.
fn laid(plan: &Plan) -> String {
    let Some(turned) = plan.machine.turned else {
        return "Lay the blank in its jig and focus on the coating. The program sets every power and speed itself."
            .into();
    };
    let limits = plan.machine.limits();
    let rotary = char::from(if limits.x.turns.is_some() { limits.x.letter } else { limits.y.letter });
    format!(
        "Set the piece, {} across, in the rotary and focus on its highest line: the wedge runs along it, and {rotary} turns it by {}° from its zero. The program sets every power and speed itself. Photograph it later with the middle of the wedge uppermost, straight from above.",
        turned.mantle.foot,
        short(360.0 * plan.blank.shape.height() / turned.girth(), 1)
    )
}

/// What to do, from the bare blank to the reading.
fn all_steps(kind: WedgeKind, plan: &Plan) -> Vec<StepFacts> {
    let work = &plan.coating.work;
    let mut all = steps::before(work, plan.surface);
    all.extend([
        step("Lay", laid(plan)),
        steps::protect(),
        step(
            "Mark",
            "Run wedge.nc, and stay beside it until the head is back and the beam is off. Finder marks and labels come last: a wedge without them was broken off.",
        ),
    ]);
    all.extend(steps::after(work, plan.surface));
    let mirrored = match plan.surface {
        Surface::Glass | Surface::Metal | Surface::Tile => "no window mirrored in the piece, ",
        Surface::Slate => "",
    };
    let read = match kind {
        WedgeKind::Timing => {
            "Run dotwright wedge read PHOTO --wedge wedge.toml --out reading. By eye: in each row find the line of the upper comb that continues straight into a line of the lower one, and count lines from the middle, to the right above zero. Times the step's difference, that is how far the two directions lie apart; half of it over the speed is the lag."
        }
        WedgeKind::Tone => {
            "Run dotwright wedge read PHOTO --wedge wedge.toml --out reading. It tells the dot gain of each screen and the width of the beam, for the setting this wedge was burnt with."
        }
        WedgeKind::Combined => {
            "Run dotwright wedge read PHOTO --wedge wedge.toml --out reading. It tells the best power and speed, how the coating answers to exposure, the width of the beam, the dot gain of each screen and the lag."
        }
        WedgeKind::Exposure => {
            "Run dotwright wedge read PHOTO --wedge wedge.toml --out reading. It tells the best power and speed, and how the coating answers to exposure."
        }
    };
    all.extend([
        step(
            "Photo",
            format!("All four finder marks in the picture, the piece filling most of it, sharp; a lean of up to 25 degrees does no harm. Even, diffuse light from the side; no flash, {mirrored}no beauty mode, no filter. A white card beside the piece makes lightness absolute: give its place with --white."),
        ),
        step("Read", read),
    ]);
    all
}

fn patches(w: &Wedge) -> String {
    match w.kind {
        WedgeKind::Exposure => solids(w),
        WedgeKind::Tone => tones(w),
        WedgeKind::Timing => combs(w),
        WedgeKind::Combined => format!("{}; {}; combs at {}", solids(w), tones(w), combs(w)),
    }
}

/// The patches of power by speed.
fn solids(w: &Wedge) -> String {
    let grid = || w.patches.iter().filter(|p| p.is_setting());
    let power = |f: fn(f64, f64) -> f64, z: f64| grid().map(|p| p.dial.power.0 * 100.0).fold(z, f);
    let speed = |f: fn(f64, f64) -> f64, z: f64| grid().map(|p| p.dial.speed.0).fold(z, f);
    let dose = |f: fn(f64, f64) -> f64, z: f64| grid().map(|p| w.dose(&p.dial)).fold(z, f);
    let charred = w.patches.iter().find(|p| p.charred).map_or(String::new(), |p| {
        format!(
            "; {} beside them is over-burnt on purpose ({}): it shows the photo what char looks like, and is no setting",
            p.name,
            counted(p.dial.passes.into(), "pass")
        )
    });
    format!(
        "{}: power {} to {} % (rows), speed {} to {} mm/s (columns), dose {:.2} to {:.2} J/mm²{charred}",
        grid().count(),
        short(power(f64::min, f64::INFINITY), 1),
        short(power(f64::max, 0.0), 1),
        short(speed(f64::min, f64::INFINITY), 2),
        short(speed(f64::max, 0.0), 2),
        dose(f64::min, f64::INFINITY),
        dose(f64::max, 0.0)
    )
}

/// The rows of screens and the fine patterns.
fn tones(w: &Wedge) -> String {
    let of_screens = || w.patches.iter().filter(|p| !p.screen.is_empty());
    let dial = of_screens().next().map_or(w.fiducials, |p| p.dial);
    let mut screens: Vec<&str> = of_screens().map(|p| p.screen.as_str()).collect();
    screens.dedup();
    let periods = w.patches.iter().filter(|p| p.pattern == Pattern::LinesAlong).map(|p| p.period);
    format!(
        "{} at {}, {}: rows of {} with rising coverage; at 60% of that power, line pairs of up to {} pitches along and across the lines, and dots",
        of_screens().count(),
        dial.power,
        dial.speed,
        screens.join(", "),
        periods.max().unwrap_or(0)
    )
}

/// The combs.
fn combs(w: &Wedge) -> String {
    let one = |c: &Comb| {
        format!(
            "{} ({} lines of {:.3} over {:.3} mm)",
            c.dial.speed,
            2 * c.side + 1,
            c.step_right,
            c.step_left
        )
    };
    w.combs.iter().map(one).collect::<Vec<_>>().join(", ")
}
