//! Unused: options of the line that no screen in use has a use for are refused and not passed over in silence.

use super::failure::Failure;
use super::options::PieceOptions;
use crate::screen::{SCREENS, Screen};

/// Refuses them.
///
/// # Errors
/// A sentence that names the option, the screens in use, and those that take it.
pub fn refused(options: &PieceOptions, screens: &[&Screen]) -> Result<(), Failure> {
    let (dots, tone) = (&options.dots, &options.tone);
    let said = [
        ("level", dots.level.is_some()),
        ("matrix", dots.matrix.is_some()),
        ("raster-order", dots.raster_order),
        ("as-published", dots.as_published),
        ("ruling", dots.ruling.is_some()),
        ("angle", dots.angle.is_some()),
        ("effort", dots.effort.is_some()),
        ("dot-gain", tone.dot_gain.is_some()),
    ];
    for (option, _) in said.into_iter().filter(|(_, said)| *said) {
        if !screens.iter().any(|s| s.takes.contains(&option)) {
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
