//! Unused: options of the line that nothing in use has a use for are refused and not passed over in silence.

use super::failure::Failure;
use super::options::PieceOptions;
use crate::job::Plan;
use crate::job::words::{DotGain, ToneBy};
use crate::screen::{SCREENS, Screen};

/// Refuses them.
///
/// # Errors
/// A sentence that names the option, the screens in use, and those that take it. `plan` is one of the job.
pub fn refused(options: &PieceOptions, screens: &[&Screen], plan: &Plan) -> Result<(), Failure> {
    let (dots, tone) = (&options.dots, &options.tone);
    let said = [
        ("level", dots.level.is_some()),
        ("matrix", dots.matrix.is_some()),
        ("raster-order", dots.raster_order),
        ("as-published", dots.as_published),
        ("ruling", dots.ruling.is_some()),
        ("angle", dots.angle.is_some()),
        ("effort", dots.effort.is_some()),
        ("known", dots.known.is_some()),
        ("time", options.scan.time.is_some()),
        ("dot-gain", tone.dot_gain.is_some()),
    ];
    let from_file = matches!(tone.dot_gain, Some(DotGain::File(_)));
    for (option, _) in said.into_iter().filter(|(_, said)| *said) {
        if plan.scan.tone_by == ToneBy::Power {
            return Err(Failure::input(format!(
                "--{option} does nothing with tones by power, for which no screen lays dots; leave it out, or say --tone-by dots"
            )));
        }
        // A screen that sees to the dot gain itself still follows a tone wedge that was burnt with it, unless told not to.
        let follows =
            |s: &Screen| option == "dot-gain" && !from_file && plan.measured_curve(s.name).is_some();
        // The likeness to expect hangs on how well the machine is known, whatever laid the dots.
        let of_all = option == "known";
        if !of_all && !screens.iter().any(|s| s.takes.contains(&option) || follows(s)) {
            let names = |of: &[&Screen]| of.iter().map(|s| s.name).collect::<Vec<_>>().join(", ");
            let takers: Vec<&Screen> =
                SCREENS.iter().copied().filter(|s| s.takes.contains(&option)).collect();
            let why = match option {
                "dot-gain" => ", which reckons with the growth of dots by itself",
                _ => "",
            };
            return Err(Failure::input(format!(
                "--{option} does nothing with the screen {}{why}; leave it out, or say --screen with one of: {}",
                names(screens),
                names(&takers)
            )));
        }
    }
    Ok(())
}
