//! Trial: the one place where a change is tried. The job is worked through again with it and judged anew.

use super::burn::Verdict;
use super::change::Change;
use crate::mark::{Burn, Forecast, sums};
use crate::placement::Grid;
use crate::plane::Dots;
use crate::progress::Progress;

/// The job worked through again with a change: what the same command with that value would lay down.
#[derive(Debug, Clone)]
pub struct Remade {
    /// The dots.
    pub dots: Dots,
    /// Their pitches.
    pub grid: Grid,
    /// The burn.
    pub burn: Burn,
}

/// Works the job through with a change up to the dots; `None` where it cannot be done or is to stop.
pub type Remake<'a> = dyn Fn(Change) -> Option<Remade> + 'a;

/// What a change comes to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trial {
    /// The burn with the change.
    pub burn: Burn,
    /// What the forecast then says of over-burn.
    pub verdict: Verdict,
}

impl Trial {
    /// Tries a change; `None` where it cannot be carried through, or the work is to stop.
    pub fn of(change: Change, remake: &Remake<'_>, progress: &dyn Progress) -> Option<Trial> {
        let made = remake(change)?;
        let verdict = verdict(&made.dots, &made.burn, &made.grid, progress)?;
        Some(Trial { burn: made.burn, verdict })
    }
}

/// Judges dots under a burn; `None` where the work is to stop.
pub(super) fn verdict(dots: &Dots, burn: &Burn, grid: &Grid, progress: &dyn Progress) -> Option<Verdict> {
    let sums = sums(&Forecast::new(burn), dots, progress).ok()?;
    Some(Verdict::new(&sums, grid.cell_mm2()))
}
