//! Ticket: how to burn the wedge and photograph it, as a page to print.

use minijinja::{Value, context};

use crate::colour::lstar;
use crate::proof::canvas::ProofError;
use crate::proof::page::fill;
use crate::units::{duration, short};
use crate::wedge::draw::Drawing;
use crate::wedge::target::{Wedge, WedgeKind};

/// The ticket; `seconds` is the burning time of the program, where one was written.
///
/// # Errors
/// When the template does not fit, which is a fault of the program.
pub fn ticket(drawing: &Drawing, seconds: f64) -> Result<String, ProofError> {
    let w = &drawing.wedge;
    let s = &w.fiducials;
    let e = &w.expected;
    let standing = if e.measured { "measured" } else { "assumed" };
    let rows = [
        ("Wedge", format!("{} ({})", w.id, w.kind.name())),
        ("Blank", format!("{}, margin {}", w.blank, w.margin)),
        ("Machine", format!("{}, {} at 100%", w.machine, w.rated_power)),
        (
            "Coating",
            format!(
                "{}; expected L* {:.0} bare, {:.0} marked ({standing})",
                w.coating,
                lstar(e.y_unmarked),
                lstar(e.y_marked)
            ),
        ),
        ("Pitch", format!("{} along the lines, {} between them", w.pitch_along, w.pitch_across)),
        ("Patches", patches(w)),
        (
            "Marks and labels",
            format!(
                "{} at {}, {} pass: twice to half the exposure the {standing} response needs would still mark",
                s.power, s.speed, s.passes
            ),
        ),
        ("Time", duration(seconds)),
    ];
    let read = match w.kind {
        WedgeKind::Timing => {
            "By eye: in each row find the line of the upper comb that continues straight into a line of the lower one, and count lines from the middle (to the right: above zero). Times the step's difference it is how far the two directions lie apart; half of it over the speed is the lag. A photo is read to the hundredth of a millimetre."
        }
        WedgeKind::Tone => {
            "The photo tells the dot gain of each screen and the width of the beam. Burn it with the setting you will use."
        }
        WedgeKind::Exposure => {
            "The photo tells the best power and speed, and how the coating answers to exposure."
        }
    };
    let rows: Vec<Value> = rows.into_iter().map(|(name, text)| context! { name, text }).collect();
    let values = context! { id => w.id.clone(), rows, standing, read };
    fill("wedge-ticket.html", include_str!("ticket.html"), values)
}

fn patches(w: &Wedge) -> String {
    match w.kind {
        WedgeKind::Exposure => {
            let grid = || w.patches.iter().filter(|p| !p.charred);
            let power = |f: fn(f64, f64) -> f64, z: f64| grid().map(|p| p.dial.power.0 * 100.0).fold(z, f);
            let speed = |f: fn(f64, f64) -> f64, z: f64| grid().map(|p| p.dial.speed.0).fold(z, f);
            let dose = |f: fn(f64, f64) -> f64, z: f64| grid().map(|p| w.dose(&p.dial)).fold(z, f);
            let charred = w.patches.iter().find(|p| p.charred).map_or(String::new(), |p| {
                format!(
                    "; {} beside them is over-burnt on purpose ({} passes): it shows the photo what char looks like, and is no setting",
                    p.name, p.dial.passes
                )
            });
            format!(
                "{}: power {} to {} % (rows), speed {} to {} mm/s (columns), dose {:.2} to {:.2} J/mm2{charred}",
                grid().count(),
                short(power(f64::min, f64::INFINITY), 1),
                short(power(f64::max, 0.0), 1),
                short(speed(f64::min, f64::INFINITY), 2),
                short(speed(f64::max, 0.0), 2),
                dose(f64::min, f64::INFINITY),
                dose(f64::max, 0.0)
            )
        }
        WedgeKind::Tone => {
            let dial = w.patches.first().map_or(w.fiducials, |p| p.dial);
            let mut screens: Vec<&str> =
                w.patches.iter().map(|p| p.screen.as_str()).filter(|s| !s.is_empty()).collect();
            screens.dedup();
            format!(
                "{} at {}, {}: rows of {}; then, at 60% of that power, line pairs of 1 to 6 pitches along and across the lines, and single dots",
                w.patches.len(),
                dial.power,
                dial.speed,
                screens.join(", ")
            )
        }
        WedgeKind::Timing => {
            let c: Vec<String> = w
                .combs
                .iter()
                .map(|c| {
                    format!(
                        "{} ({} lines of {:.3} over {:.3} mm)",
                        c.dial.speed,
                        2 * c.side + 1,
                        c.step_right,
                        c.step_left
                    )
                })
                .collect();
            c.join(", ")
        }
    }
}
