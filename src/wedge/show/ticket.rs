//! Ticket: how to burn the wedge and photograph it, as a page to print.

use minijinja::{Value, context};

use crate::blank::Surface;
use crate::colour::lstar;
use crate::job::Plan;
use crate::job::kit::spoken;
use crate::proof::canvas::{Picture, ProofError};
use crate::proof::page::fill;
use crate::proof::report::{Standing, StepFacts};
use crate::proof::sheet::{Sheet, Stated};
use crate::proof::steps::{self, step};
use crate::proof::words;
use crate::texts::text;
use crate::units::{MM_PER_INCH, duration, short};
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
        (Standing::Measured, text!("wedge.ticket.expected.measured"))
    } else {
        (Standing::Assumed, text!("wedge.ticket.expected.assumed"))
    };
    let rows = rows(drawing, standing);
    let letters: Vec<Vec<usize>> =
        rows.iter().map(|(name, text)| vec![name.chars().count() + text.chars().count() + 2]).collect();
    let mut cautions = said;
    cautions.extend(words::cautions(&plan.machine, &plan.coating, plan.surface));
    let steps = all_steps(w.kind, plan);
    let sheet = Sheet {
        kind: text!("wedge.ticket.kind"),
        title: format!("{} ({})", w.id, w.kind.word()),
        about: text!(
            "wedge.ticket.about",
            surface = words::surface(plan.surface),
            blank = w.blank,
            margin = w.margin,
            coating = spoken(&w.coating),
            machine = spoken(&w.machine),
            power = w.rated_power
        ),
        standing: (standing, expected),
        stopped: None,
        shown: None,
        settings: settings(w, seconds),
        picture,
        picture_title: text!("wedge.ticket.picture"),
        caption: text!("wedge.ticket.caption").into(),
        steps: &steps,
        cautions: &cautions,
        beside: [letters.clone(), letters],
    };
    let page_title = text!("wedge.ticket.title", wedge = sheet.title);
    let rows: Vec<Value> = rows.into_iter().map(|(name, text)| context! { name, text }).collect();
    fill(
        "wedge-ticket.html",
        include_str!("ticket.html"),
        context! { sheet => sheet.values()?, title => page_title, this => text!("wedge.ticket.this"), rows },
    )
}

fn rows(drawing: &Drawing, standing: Standing) -> Vec<(&'static str, String)> {
    let w = &drawing.wedge;
    let (e, s) = (&w.expected, &w.fiducials);
    vec![
        (text!("wedge.ticket.patches"), patches(w)),
        (
            text!("wedge.ticket.marks"),
            match s.passes {
                1 => text!("wedge.ticket.marks.once", power = s.power, speed = s.speed, standing),
                n => {
                    text!("wedge.ticket.marks.passes", power = s.power, speed = s.speed, passes = n, standing)
                }
            },
        ),
        (
            text!("wedge.ticket.lightness"),
            text!(
                "wedge.ticket.lightness.text",
                bare = format_args!("{:.0}", lstar(e.y_unmarked)),
                marked = format_args!("{:.0}", lstar(e.y_marked)),
                standing
            ),
        ),
        (
            text!("wedge.ticket.pitch"),
            text!("wedge.ticket.pitch.text", along = w.pitch_along, across = w.pitch_across),
        ),
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
        if low == high { format!("{low} {unit}") } else { text!("wedge.ticket.range", low, high, unit) }
    };
    let passes = dials.first().map_or(1, |d| d.passes);
    let own = text!("wedge.ticket.own");
    vec![
        Stated::new(text!("wedge.ticket.power"), range(|d| d.power.0 * 100.0, 1, "%"), own.into()),
        Stated::new(text!("wedge.ticket.speed"), range(|d| d.speed.0, 2, "mm/s"), own.into()),
        Stated::new(text!("wedge.ticket.passes"), passes.to_string(), text!("wedge.ticket.over-line").into()),
        Stated::new(
            text!("wedge.ticket.line-pitch"),
            format!("{} mm", short(w.pitch_across.0, 4)),
            format!("{} dpi", short(MM_PER_INCH / w.pitch_across.0, 1)),
        ),
        Stated::new(text!("wedge.ticket.time"), duration(seconds), text!("wedge.ticket.with-turns").into()),
    ]
}

/// How the blank is laid.
fn laid(plan: &Plan) -> String {
    let Some(turned) = plan.machine.turned else {
        return text!("wedge.ticket.lay.flat").into();
    };
    let limits = plan.machine.limits();
    let rotary = char::from(if limits.x.turns.is_some() { limits.x.letter } else { limits.y.letter });
    text!(
        "wedge.ticket.lay.turned",
        diameter = turned.mantle.foot,
        rotary,
        degrees = short(360.0 * plan.blank.shape.height() / turned.girth(), 1)
    )
}

/// What to do, from the bare blank to the reading.
fn all_steps(kind: WedgeKind, plan: &Plan) -> Vec<StepFacts> {
    let work = &plan.coating.work;
    let mut all = steps::before(work, plan.surface);
    all.extend([
        step(text!("wedge.ticket.lay"), laid(plan)),
        steps::protect(),
        step(text!("wedge.ticket.mark"), text!("wedge.ticket.mark.text")),
    ]);
    all.extend(steps::after(work, plan.surface));
    let photo = match plan.surface {
        Surface::Glass | Surface::Metal | Surface::Tile => text!("wedge.ticket.photo.mirrors"),
        Surface::Slate => text!("wedge.ticket.photo.dull"),
    };
    let read = match kind {
        WedgeKind::Timing => {
            text!("wedge.ticket.read.timing")
        }
        WedgeKind::Tone => {
            text!("wedge.ticket.read.tone")
        }
        WedgeKind::Combined => {
            text!("wedge.ticket.read.combined")
        }
        WedgeKind::Exposure => {
            text!("wedge.ticket.read.exposure")
        }
    };
    all.extend([step(text!("wedge.ticket.photo"), photo), step(text!("wedge.ticket.read"), read)]);
    all
}

fn patches(w: &Wedge) -> String {
    match w.kind {
        WedgeKind::Exposure => solids(w),
        WedgeKind::Tone => tones(w),
        WedgeKind::Timing => combs(w),
        WedgeKind::Combined => {
            text!("wedge.ticket.combined", solids = solids(w), tones = tones(w), combs = combs(w))
        }
    }
}

/// The patches of power by speed.
fn solids(w: &Wedge) -> String {
    let grid = || w.patches.iter().filter(|p| p.is_setting());
    let power = |f: fn(f64, f64) -> f64, z: f64| grid().map(|p| p.dial.power.0 * 100.0).fold(z, f);
    let speed = |f: fn(f64, f64) -> f64, z: f64| grid().map(|p| p.dial.speed.0).fold(z, f);
    let dose = |f: fn(f64, f64) -> f64, z: f64| grid().map(|p| w.dose(&p.dial)).fold(z, f);
    let solids = text!(
        "wedge.ticket.solids",
        count = grid().count(),
        weakest = short(power(f64::min, f64::INFINITY), 1),
        strongest = short(power(f64::max, 0.0), 1),
        slowest = short(speed(f64::min, f64::INFINITY), 2),
        fastest = short(speed(f64::max, 0.0), 2),
        least = format_args!("{:.2}", dose(f64::min, f64::INFINITY)),
        most = format_args!("{:.2}", dose(f64::max, 0.0))
    );
    let charred = w.patches.iter().find(|p| p.charred).map(|p| match p.dial.passes {
        1 => text!("wedge.ticket.charred.once", patch = p.name),
        passes => text!("wedge.ticket.charred.passes", patch = p.name, passes),
    });
    match charred {
        Some(charred) => format!("{solids}; {charred}"),
        None => solids,
    }
}

/// The rows of screens and the fine patterns.
fn tones(w: &Wedge) -> String {
    let of_screens = || w.patches.iter().filter(|p| !p.screen.is_empty());
    let dial = of_screens().next().map_or(w.fiducials, |p| p.dial);
    let mut screens: Vec<&str> = of_screens().map(|p| p.screen.as_str()).collect();
    screens.dedup();
    let periods = w.patches.iter().filter(|p| p.pattern == Pattern::LinesAlong).map(|p| p.period);
    text!(
        "wedge.ticket.tones",
        count = of_screens().count(),
        power = dial.power,
        speed = dial.speed,
        screens = screens.join(", "),
        widest = periods.max().unwrap_or(0)
    )
}

/// The combs.
fn combs(w: &Wedge) -> String {
    let one = |c: &Comb| {
        text!(
            "wedge.ticket.comb",
            speed = c.dial.speed,
            lines = 2 * c.side + 1,
            right = format_args!("{:.3}", c.step_right),
            left = format_args!("{:.3}", c.step_left)
        )
    };
    w.combs.iter().map(one).collect::<Vec<_>>().join(", ")
}
