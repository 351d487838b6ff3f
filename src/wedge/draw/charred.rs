//! Charred: the one patch that is burnt beyond doubt, so that the photo shows what char looks like.

use super::cells::cell_name;
use super::layout::DotBox;
use super::request::{Request, rounded, sorted_speeds};
use crate::mark::{Burn, Setting};
use crate::placement::{Along, DotRect};
use crate::units::{Share, Watts};
use crate::wedge::target::{Dial, Pattern, TestPatch};

/// Times the expected exposure at half char that the charred patch gets: with a steepness of 8 and a coating that
/// chars at a fifth more it is still 99 % charred, and with one of 6 at half as much again 91 %.
const CHARRED: f64 = 2.2;
/// The most passes over the charred patch.
const MOST_PASSES: u32 = 20;

/// The setting that chars beyond doubt: the strongest of the wedge, as many times as it takes. None where the
/// coating is not expected to char, or where no number of passes does it.
///
/// Few patches of a good wedge are charred, and none fully: without this one a pale char that sets in early looks
/// like a black one that sets in late, and the exposure of 5 % char is known half as well.
pub(super) fn charring_dial(request: &Request) -> Option<Dial> {
    let r = &request.response;
    let power = request.powers.iter().copied().max_by(|a, b| a.0.total_cmp(&b.0)).map(rounded)?;
    let speed = sorted_speeds(request).into_iter().next()?;
    let setting = Setting {
        power: Watts(request.rated_power.0 * power.0),
        speed,
        passes: 1,
        pitch_along: request.grid.along,
        pitch_across: request.grid.across,
        lines: Along::X,
    };
    let once = Burn::new(request.beam, setting, *r).x_solid;
    let passes = (CHARRED * r.x_char / once).ceil();
    (passes <= f64::from(MOST_PASSES)).then(|| Dial { power, speed, passes: (passes as u32).max(1) })
}

/// The patch at `place` beside the grid; `whole` is the rectangle of all dots, `height` the blank's, mm.
pub(super) fn charred_patch(
    place: &DotBox,
    whole: &DotRect,
    height: f64,
    cell: [usize; 2],
    dial: Dial,
) -> TestPatch {
    let area = place.area(whole);
    TestPatch {
        name: cell_name(cell[0], cell[1]),
        cell,
        centre: [area.left + area.width / 2.0, height - area.top - area.height / 2.0],
        size: [area.width, area.height],
        dial,
        pattern: Pattern::Solid,
        coverage: Share(1.0),
        screen: String::new(),
        period: 0,
        wanted: None,
        charred: true,
    }
}
